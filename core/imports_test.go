package core_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const (
	modulePath = "benchbell"
	estimates  = "core/estimate"
	chatServer = "github.com/mattermost/mattermost"
)

// rooms says what the code of each room may import besides the standard
// library and packages of its own: other rooms, and other people's packages. A
// package that is in no room must not exist. What is estimated is a room of its
// own within core: core decides, and does so without statistics.
//
// The tests of core, store, commands and scheduler may use other people's
// packages, but no other room of the module; those of the rooms in bot may use
// all rooms.
var rooms = map[string][]string{
	"core":      {estimates},
	estimates:   {"gonum.org/v1/gonum"},
	"store":     {"core", "go.etcd.io/bbolt", "github.com/agnivade/levenshtein"},
	"commands":  {"core", estimates, "github.com/dustin/go-humanize", "github.com/agnivade/levenshtein"},
	"scheduler": {"github.com/robfig/cron/v3"},

	"bot/chat":       {"core"},
	"bot/retry":      {"github.com/cenkalti/backoff/v5"},
	"bot/mattermost": {"bot/chat", "bot/retry", "core", chatServer, "github.com/gorilla/websocket"},

	"bot/chart":    {"core", "gonum.org/v1/plot", "golang.org/x/image"},
	"bot/paper":    {"core", "commands", "codeberg.org/go-pdf/fpdf", "codeberg.org/go-fonts/liberation", "golang.org/x/image", "golang.org/x/text"},
	"bot/calendar": {"core", "commands", "store", "github.com/arran4/golang-ical"},
	"bot/register": {"core", "commands", "github.com/agnivade/levenshtein"},
	"bot/config":   {"core", "scheduler", "bot/paper", "bot/register", "bot/calendar", "github.com/pelletier/go-toml/v2"},
	"bot/ledger":   {"core", "commands", "store", "bot/chat", "bot/config", "bot/register"},
	"bot/document": {
		"core", estimates, "commands", "store", "bot/chat", "bot/config", "bot/ledger", "bot/register",
		"bot/paper", "bot/chart", "bot/calendar",
	},

	"bot/engine": {"core", "commands", "store", "scheduler", "bot/chat", "bot/config", "bot/ledger", "bot/register"},
	"bot/outbox": {"core", "commands", "store", "bot/chat", "bot/retry"},
	"bot/photo":  {"core", "store", "bot/chat", "bot/retry"},
	"bot/serve": {
		"commands", "store", "scheduler", "bot/chat", "bot/retry", "bot/config", "bot/ledger", "bot/document",
		"bot/engine", "bot/outbox", "bot/photo",
	},
	"bot/rehearsal": {
		"core", "commands", "store", "testdata/demo", "bot/chat", "bot/config", "bot/register", "bot/ledger", "bot/document",
		"bot/engine", "bot/outbox", "bot/photo",
	},
	"bot/benchbell": {
		"core", "store", "github.com/dustin/go-humanize", "bot/chat", "bot/config", "bot/ledger", "bot/document", "bot/calendar",
		"bot/engine", "bot/mattermost", "bot/serve", "bot/rehearsal",
	},
	"bot/chattest": {"core", "bot/chat"},
}

// forTests are rooms that only tests import.
var forTests = []string{"bot/chattest", "store/storetest"}

// nameless are names that say nothing about what a package is for.
var nameless = []string{"util", "utils", "common", "helper", "helpers", "type", "types", "model", "models", "misc", "base", "shared"}

// source is one file of the module.
type source struct {
	file    string // path from the root
	dir     string
	room    string
	test    bool
	pkg     string
	imports []string
}

// sources parses the imports of every Go file of the module.
func sources(t *testing.T) []source {
	t.Helper()
	root := moduleRoot(t)
	var all []source
	err := fs.WalkDir(os.DirFS(root), ".", func(name string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && name != "." && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata"):
			return fs.SkipDir
		case d.IsDir() || path.Ext(name) != ".go":
			return nil
		}
		f, err := parser.ParseFile(token.NewFileSet(), filepath.Join(root, filepath.FromSlash(name)), nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		s := source{file: name, dir: path.Dir(name), room: roomOf(path.Dir(name)), test: strings.HasSuffix(name, "_test.go"), pkg: f.Name.Name}
		for _, spec := range f.Imports {
			p, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				return err
			}
			s.imports = append(s.imports, p)
		}
		all = append(all, s)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// roomOf returns the room that a folder is in or below, empty if it is in none.
func roomOf(dir string) string {
	room := ""
	for r := range rooms {
		if within(dir, r) && len(r) > len(room) {
			room = r
		}
	}
	return room
}

// moduleRoot returns the directory with the module's go.mod: the one above.
func moduleRoot(t *testing.T) string {
	t.Helper()
	mod, err := os.ReadFile(filepath.Join("..", "go.mod"))
	if err != nil || !strings.HasPrefix(string(mod), "module "+modulePath+"\n") {
		t.Fatalf("the module is not where it is looked for, %v", err)
	}
	return ".."
}

// within reports whether an import path is a package or one below it.
func within(p, pkg string) bool { return p == pkg || strings.HasPrefix(p, pkg+"/") }

// standard reports whether an import path is of the standard library: its
// first element has no dot, and it is not of this module.
func standard(p string) bool {
	first, _, _ := strings.Cut(p, "/")
	return !strings.Contains(first, ".") && first != modulePath
}

// TestImports holds every room to what it may import, so that the arrows of the
// design point one way.
func TestImports(t *testing.T) {
	seen := make(map[string]bool)
	for _, s := range sources(t) {
		seen[s.room] = true
		if s.room == "" {
			t.Errorf("%s is in no room: say in this test what it may import", s.file)
			continue
		}
		for _, p := range s.imports {
			switch {
			case !s.test && slices.ContainsFunc(forTests, func(r string) bool { return p == modulePath+"/"+r }):
				t.Errorf("%s imports %s, which is for tests alone", s.file, p)
			case !s.mayImport(p):
				t.Errorf("%s imports %s: %s may import the standard library and %v", s.file, p, s.room, rooms[s.room])
			}
		}
		if slices.Contains(nameless, s.pkg) || slices.Contains(nameless, path.Base(s.dir)) {
			t.Errorf("%s: the name of package %s says nothing: name it after what it is for", s.file, s.pkg)
		}
	}
	for room := range rooms {
		if !seen[room] {
			t.Errorf("no file of %s was looked at", room)
		}
	}
}

// mayImport reports whether a file may import a package.
func (s source) mayImport(p string) bool {
	ours, isOurs := strings.CutPrefix(p, modulePath+"/")
	switch {
	case standard(p), isOurs && roomOf(ours) == s.room && s.room != "":
		return true
	case s.test && within(s.room, "bot"):
		return !within(p, chatServer) || s.room == "bot/mattermost"
	case s.test && !isOurs:
		return !within(p, chatServer)
	}
	return slices.ContainsFunc(rooms[s.room], func(may string) bool {
		if isOurs {
			return ours == may || roomOf(ours) == may
		}
		return within(p, may)
	})
}

// TestMayImport tries the rule above on imports that break it.
func TestMayImport(t *testing.T) {
	for _, tt := range []struct {
		room string
		test bool
		path string
		want bool
	}{
		{"core", false, "benchbell/core/estimate", true},
		{"core/estimate", false, "benchbell/core", false},
		{"core", false, "benchbell/store", false},
		{"core", true, "benchbell/store", false},
		{"core", true, "pgregory.net/rapid", true},
		{"core", false, "pgregory.net/rapid", false},
		{"store", false, "benchbell/bot/chat", false},
		{"bot/chat", false, "benchbell/core", true},
		{"bot/chat", false, "benchbell/core/estimate", false},
		{"bot/chat", false, "benchbell/store", false},
		{"bot/chat", true, "benchbell/store", true},
		{"bot/outbox", false, "benchbell/bot/engine", false},
		{"bot/engine", false, "benchbell/bot/document", false},
		{"bot/engine", false, chatServer + "/server/public/model", false},
		{"bot/engine", true, chatServer + "/server/public/model", false},
		{"bot/mattermost", false, chatServer + "/server/public/model", true},
		{"bot/serve", false, "benchbell/testdata/demo", false},
		{"bot/rehearsal", false, "benchbell/testdata/demo", true},
		{"", false, "benchbell/core", false},
	} {
		if got := (source{room: tt.room, test: tt.test}).mayImport(tt.path); got != tt.want {
			t.Errorf("%s (test: %t) may import %s: %t, want %t", tt.room, tt.test, tt.path, got, tt.want)
		}
	}
}

// TestDemoIsNotServed: the bot that runs has no invented station in it.
func TestDemoIsNotServed(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", modulePath+"/bot/serve", modulePath+"/bot/mattermost", modulePath+"/bot/document").Output()
	if err != nil {
		t.Fatal(err)
	}
	needs := strings.Fields(string(out))
	if !slices.Contains(needs, modulePath+"/bot/engine") {
		t.Fatalf("what the bot needs was not found, only %d packages", len(needs))
	}
	for _, p := range needs {
		if within(p, modulePath+"/testdata") || p == modulePath+"/bot/rehearsal" {
			t.Errorf("the bot that serves needs %s", p)
		}
	}
}

// TestProgramIsBelowBot: the program itself holds subcommands and signals; no
// other package is a program, and nobody imports it.
func TestProgramIsBelowBot(t *testing.T) {
	for _, s := range sources(t) {
		if s.pkg == "main" && s.dir != "bot/benchbell" {
			t.Errorf("%s is a program: there is one, in bot/benchbell", s.file)
		}
		if slices.Contains(s.imports, modulePath+"/bot/benchbell") {
			t.Errorf("%s imports the program", s.file)
		}
	}
}

// banned are packages by which core would touch the world.
var banned = []string{"os", "net", "log", "io/fs", "io/ioutil", "syscall", "runtime", "unsafe", "database", "context", "sync", "testing", "math/rand"}

// clocks are the functions of package time that read the clock or wait.
var clocks = []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTicker", "NewTimer"}

// TestCoreIsPure: core reads no clock, starts no goroutine, waits for nothing
// and touches nothing outside, and neither does what it estimates with. Time
// comes in as an argument.
func TestCoreIsPure(t *testing.T) {
	files, _ := filepath.Glob("*.go")
	of, _ := filepath.Glob("estimate/*.go")
	files = append(files, of...)
	looked := 0
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		looked++
		fset := token.NewFileSet()
		f, err := parser.ParseFile(fset, name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		impure(f, func(n ast.Node, what string) {
			t.Errorf("%v: core %s", fset.Position(n.Pos()), what)
		})
	}
	if looked < 10 {
		t.Errorf("only %d files were looked at", looked)
	}
}

// TestImpureIsFound tries the test above on code that breaks each rule.
func TestImpureIsFound(t *testing.T) {
	for _, tt := range []struct{ src, want string }{
		{"import \"os\"", "imports os"},
		{"import _ \"net/http\"", "imports net/http"},
		{"import l \"log/slog\"", "imports log/slog"},
		{"import \"sync\"", "imports sync"},
		{"import . \"time\"", "imports time without its name"},
		{"import \"time\"\nvar x = time.Now()", "uses time.Now"},
		{"import \"time\"\nvar now = time.Now", "uses time.Now"},
		{"import clock \"time\"\nvar x = clock.Since(clock.Time{})", "uses time.Since"},
		{"import \"time\"\nfunc f() { time.Sleep(1) }", "uses time.Sleep"},
		{"func f() { go f() }", "starts a goroutine"},
		{"var c chan int", "has a channel"},
		{"func f() { select {} }", "waits in a select"},
		{"func f() { println(1) }", "prints"},
		{"import \"fmt\"\nfunc f() { fmt.Println(1) }", "prints"},
		{"import \"time\"\nvar x = time.Second", ""},
		{"import \"time\"\nfunc f(t time.Time) bool { return t.IsZero() }", ""},
	} {
		f, err := parser.ParseFile(token.NewFileSet(), "x.go", "package core\n"+tt.src, 0)
		if err != nil {
			t.Fatal(err)
		}
		var found []string
		impure(f, func(_ ast.Node, what string) { found = append(found, what) })
		if got := strings.Join(found, ", "); got != tt.want {
			t.Errorf("%q: found %q, want %q", tt.src, got, tt.want)
		}
	}
}

// impure reports whatever in a file is not for a package of pure values and
// functions.
func impure(f *ast.File, report func(n ast.Node, what string)) {
	names := make(map[string]string) // local name of an import
	for _, spec := range f.Imports {
		p, _ := strconv.Unquote(spec.Path.Value)
		if slices.ContainsFunc(banned, func(b string) bool { return within(p, b) }) {
			report(spec, "imports "+p)
		}
		name := path.Base(p)
		if spec.Name != nil {
			name = spec.Name.Name
		}
		if name == "." {
			report(spec, "imports "+p+" without its name")
		}
		names[name] = p
	}
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.GoStmt:
			report(n, "starts a goroutine")
		case *ast.ChanType:
			report(n, "has a channel")
		case *ast.SelectStmt:
			report(n, "waits in a select")
		case *ast.CallExpr:
			if id, ok := n.Fun.(*ast.Ident); ok && (id.Name == "print" || id.Name == "println") {
				report(n, "prints")
			}
		case *ast.SelectorExpr:
			pkg, ok := n.X.(*ast.Ident)
			if !ok {
				break
			}
			switch p := names[pkg.Name]; {
			case p == "time" && slices.Contains(clocks, n.Sel.Name):
				report(n, "uses time."+n.Sel.Name)
			case p == "fmt" && strings.HasPrefix(n.Sel.Name, "Print"):
				report(n, "prints")
			}
		}
		return true
	})
}
