package core_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// parsed is one file of the module, those of testdata as well.
type parsed struct {
	dir  string // from the root
	test bool
	*ast.File
}

func parsedFiles(t *testing.T) []parsed {
	t.Helper()
	root := moduleRoot(t)
	var all []parsed
	err := fs.WalkDir(os.DirFS(root), ".", func(name string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && name != "." && strings.HasPrefix(d.Name(), "."):
			return fs.SkipDir
		case d.IsDir() || path.Ext(name) != ".go":
			return nil
		}
		f, err := parser.ParseFile(token.NewFileSet(), filepath.Join(root, filepath.FromSlash(name)), nil, parser.SkipObjectResolution)
		all = append(all, parsed{path.Dir(name), strings.HasSuffix(name, "_test.go"), f})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// TestExportsAreUsed: what a room of bot exports, another package of the program
// uses; what only tests use is not exported, except by rooms that are for tests. A
// type counts as used if an exported declaration has it, and a constant if its
// type is used.
func TestExportsAreUsed(t *testing.T) {
	files := parsedFiles(t)
	used := make(map[string]bool) // "bot/chat.Event"
	for _, f := range files {
		if !f.test || f.dir == "testdata/live" {
			usesOf(f, used)
		}
	}
	e := exports{names: make(map[string]bool), carriers: make(map[string][]string)}
	for _, f := range files {
		if !f.test && within(f.dir, "bot") && !slices.Contains(forTests, f.dir) {
			e.add(f)
		}
	}
	for changed := true; changed; {
		changed = false
		for name := range e.names {
			if !used[name] && slices.ContainsFunc(e.carriers[name], func(by string) bool { return used[by] }) {
				used[name], changed = true, true
			}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(e.names)) {
		if !used[name] && exportedAnyway[name] == "" {
			t.Errorf("%s is exported, and no other package uses it", name)
		}
	}
	if len(e.names) < 100 {
		t.Errorf("only %d names were looked at", len(e.names))
	}
}

// exportedAnyway gives reasons for names that nobody uses.
var exportedAnyway = map[string]string{
	"bot/mattermost.ErrDown":      "the doc comment of Open promises it to callers",
	"bot/photo.LongestFetchPause": "tests of other rooms pass this time",
	"bot/photo.Patience":          "tests of other rooms pass this time",
	"bot/retry.FirstPause":        "tests of other rooms pass this time",
	"bot/retry.LongestPause":      "tests of other rooms pass this time",
	"bot/rehearsal.People":        "tests of other rooms have the same people",
}

// usesOf notes the names of other packages that a file uses.
func usesOf(f parsed, used map[string]bool) {
	names := make(map[string]string)
	for _, spec := range f.Imports {
		p, _ := strconv.Unquote(spec.Path.Value)
		ours, isOurs := strings.CutPrefix(p, modulePath+"/")
		if !isOurs {
			continue
		}
		name := path.Base(ours)
		if spec.Name != nil {
			name = spec.Name.Name
		}
		names[name] = ours
	}
	ast.Inspect(f.File, func(n ast.Node) bool {
		if s, ok := n.(*ast.SelectorExpr); ok {
			if id, ok := s.X.(*ast.Ident); ok && names[id.Name] != "" {
				used[names[id.Name]+"."+s.Sel.Name] = true
			}
		}
		return true
	})
}

// exports are the names that packages export, with the names whose use makes
// each used as well: for a type the declarations that have it, for a constant its
// type.
type exports struct {
	names    map[string]bool
	carriers map[string][]string
}

// add notes what a file exports.
func (e exports) add(f parsed) {
	for _, d := range f.Decls {
		switch d := d.(type) {
		case *ast.FuncDecl:
			by := d.Name.Name
			if d.Recv != nil {
				by = receiver(d.Recv)
			} else {
				e.note(f.dir, by)
			}
			if ast.IsExported(d.Name.Name) {
				e.carry(f.dir, by, d.Type)
			}
		case *ast.GenDecl:
			var of string // a constant without a type has that of the line before
			for _, spec := range d.Specs {
				switch s := spec.(type) {
				case *ast.TypeSpec:
					e.note(f.dir, s.Name.Name)
					e.carry(f.dir, s.Name.Name, s.Type)
				case *ast.ValueSpec:
					if id, ok := s.Type.(*ast.Ident); ok {
						of = id.Name
					}
					for _, name := range s.Names {
						e.note(f.dir, name.Name)
						if d.Tok == token.CONST && of != "" {
							e.carriers[f.dir+"."+name.Name] = append(e.carriers[f.dir+"."+name.Name], f.dir+"."+of)
						}
						if s.Type != nil {
							e.carry(f.dir, name.Name, s.Type)
						}
					}
				}
			}
		}
	}
}

func (e exports) note(dir, name string) {
	if ast.IsExported(name) {
		e.names[dir+"."+name] = true
	}
}

// carry notes that whoever uses a name uses the names in its declaration too.
func (e exports) carry(dir, by string, declared ast.Node) {
	ast.Inspect(declared, func(n ast.Node) bool {
		if id, ok := n.(*ast.Ident); ok && id.Name != by {
			e.carriers[dir+"."+id.Name] = append(e.carriers[dir+"."+id.Name], dir+"."+by)
		}
		return true
	})
}

// receiver is the type of a method.
func receiver(of *ast.FieldList) string {
	expr := of.List[0].Type
	if star, ok := expr.(*ast.StarExpr); ok {
		expr = star.X
	}
	if id, ok := expr.(*ast.Ident); ok {
		return id.Name
	}
	return ""
}
