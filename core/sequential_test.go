package core_test

import (
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"go/types"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// TestSequential: the packages that .ci/run leaves out of the race detector start no
// goroutine, wait for none, and change no variable that all who call them share. The
// race detector sees them all the same where others call them.
func TestSequential(t *testing.T) {
	script, err := os.ReadFile(filepath.Join("..", ".ci", "run"))
	if err != nil {
		t.Fatal(err)
	}
	list := regexp.MustCompile(`(?m)^sequential='(.*)'$`).FindSubmatch(script)
	if list == nil {
		t.Fatal(".ci/run does not say which packages it leaves out")
	}
	for _, dir := range strings.Fields(string(list[1])) {
		files, err := filepath.Glob(filepath.Join("..", dir, "*.go"))
		if err != nil || len(files) == 0 {
			t.Fatalf("%s has no file, %v", dir, err)
		}
		fset := token.NewFileSet()
		var parsed []*ast.File
		for _, name := range files {
			if strings.HasSuffix(name, "_test.go") {
				continue
			}
			f, err := parser.ParseFile(fset, name, nil, 0)
			if err != nil {
				t.Fatal(err)
			}
			parsed = append(parsed, f)
		}
		racing(fset, parsed, func(n ast.Node, what string) {
			t.Errorf("%v: %s %s: the race detector must see it", fset.Position(n.Pos()), dir, what)
		})
	}
}

// TestRacingIsFound tries the test above on code that breaks each rule.
func TestRacingIsFound(t *testing.T) {
	for _, tt := range []struct{ src, want string }{
		{"import \"sync\"", "imports sync"},
		{"import \"sync/atomic\"", "imports sync/atomic"},
		{"func f() { go f() }", "starts a goroutine"},
		{"var c chan int", "has a channel"},
		{"func f() { select {} }", "waits in a select"},
		{"var n int\nfunc f() { n = 1 }", "changes n"},
		{"var n int\nfunc f() { n++ }", "changes n"},
		{"var n []struct{ a int }\nfunc f() { n[0].a += 1 }", "changes n"},
		{"var n *int\nfunc f() { *n = 1 }", "changes n"},
		{"var n int\nfunc f() *int { return &n }", "changes n"},
		{"var n map[int]int\nfunc f() { delete(n, 1) }", "changes n"},
		{"var n map[int]int\nfunc f() { clear(n) }", "changes n"},
		{"var n int\nfunc f() { for n = range 3 {} }", "changes n"},
		{"var n = 1\nfunc f() int { n := n; n++; return n }", ""},
		{"var n = func() int { n := 1; n++; return n }()", ""},
		{"var n int\nfunc init() { n = 1 }", ""},
		{"import \"os\"\nfunc f() string { return os.Args[0] }", ""},
	} {
		fset := token.NewFileSet()
		f, err := parser.ParseFile(fset, "x.go", "package x\n"+tt.src, 0)
		if err != nil {
			t.Fatal(err)
		}
		var found []string
		racing(fset, []*ast.File{f}, func(_ ast.Node, what string) { found = append(found, what) })
		if got := strings.Join(found, ", "); got != tt.want {
			t.Errorf("%q: found %q, want %q", tt.src, got, tt.want)
		}
	}
}

type noImports struct{}

func (noImports) Import(string) (*types.Package, error) { return nil, errors.New("not needed") }

// racing reports whatever in a package could race.
func racing(fset *token.FileSet, files []*ast.File, report func(n ast.Node, what string)) {
	info := &types.Info{Uses: make(map[*ast.Ident]types.Object)}
	config := types.Config{Importer: noImports{}, Error: func(error) {}} // names of its own are found all the same
	pkg, _ := config.Check("x", fset, files, info)
	changed := func(e ast.Expr) {
		if id := root(e); id != nil {
			if v, ok := info.Uses[id].(*types.Var); ok && v.Parent() == pkg.Scope() {
				report(e, "changes "+id.Name)
			}
		}
	}
	for _, f := range files {
		impure(f, func(n ast.Node, what string) {
			if what == "imports sync" || what == "imports sync/atomic" || slices.Contains([]string{"starts a goroutine", "has a channel", "waits in a select"}, what) {
				report(n, what)
			}
		})
		ast.Inspect(f, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.FuncDecl: // before main there is one goroutine
				return n.Name.Name != "init" || n.Recv != nil
			case *ast.AssignStmt:
				for _, e := range n.Lhs {
					changed(e)
				}
			case *ast.IncDecStmt:
				changed(n.X)
			case *ast.RangeStmt:
				changed(n.Key)
				changed(n.Value)
			case *ast.UnaryExpr:
				if n.Op == token.AND {
					changed(n.X)
				}
			case *ast.CallExpr:
				if id, ok := n.Fun.(*ast.Ident); ok && slices.Contains([]string{"delete", "clear", "copy"}, id.Name) {
					changed(n.Args[0])
				}
			}
			return true
		})
	}
}

// root is the variable that an expression is a part of, nil if of none.
func root(e ast.Expr) *ast.Ident {
	switch e := e.(type) {
	case *ast.Ident:
		return e
	case *ast.IndexExpr:
		return root(e.X)
	case *ast.SelectorExpr:
		return root(e.X)
	case *ast.StarExpr:
		return root(e.X)
	case *ast.ParenExpr:
		return root(e.X)
	case *ast.SliceExpr:
		return root(e.X)
	}
	return nil
}
