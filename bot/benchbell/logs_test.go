package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// TestLogTable: every line that the program logs stands in the table of
// DEVELOPERS.md with its level, and nothing else does.
func TestLogTable(t *testing.T) {
	text, err := os.ReadFile("../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	table := make(map[string]bool) // "LEVEL message"
	for _, row := range regexp.MustCompile("(?m)^\\| `(.+?)` \\| ([A-Z]+) \\| .+ \\| .+ \\|$").FindAllSubmatch(text, -1) {
		line := string(row[2]) + " " + string(row[1])
		if table[line] {
			t.Errorf("the table has twice: %s", line)
		}
		table[line] = true
	}
	code := make(map[string]token.Position)
	for _, room := range []string{"bot", "store", "scheduler", "commands", "core"} {
		logLines(t, filepath.Join("../..", room), code)
	}
	if len(code) < 20 {
		t.Errorf("only %d log lines were found", len(code))
	}
	for _, line := range slices.Sorted(maps.Keys(code)) {
		if !table[line] {
			t.Errorf("%v: the table of DEVELOPERS.md does not say what to do about: %s", code[line], line)
		}
	}
	for _, line := range slices.Sorted(maps.Keys(table)) {
		if _, there := code[line]; !there {
			t.Errorf("the table of DEVELOPERS.md has what nobody logs: %s", line)
		}
	}
}

// logLines notes the level and the message of each call that logs: of a method
// of a logger, or of Failed and Over of a retry.Outages.
func logLines(t *testing.T, folder string, found map[string]token.Position) {
	t.Helper()
	fset := token.NewFileSet()
	err := filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		f, err := parser.ParseFile(fset, path, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		ast.Inspect(f, func(n ast.Node) bool {
			if call, ok := n.(*ast.CallExpr); ok {
				if line, ok := logLine(call); ok {
					found[line] = fset.Position(call.Pos())
				}
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// logLine returns the level and the message of a call, if it logs one. What
// stands for a value is an ellipsis.
func logLine(call *ast.CallExpr) (line string, ok bool) {
	method, ok := call.Fun.(*ast.SelectorExpr)
	if !ok {
		return "", false
	}
	on := ""
	switch x := method.X.(type) {
	case *ast.Ident:
		on = x.Name
	case *ast.SelectorExpr:
		on = x.Sel.Name
	}
	message, level := 0, ""
	switch on = strings.ToLower(on); method.Sel.Name {
	case "Debug", "Info", "Warn", "Error":
		if on == "log" || on == "slog" {
			level = strings.ToUpper(method.Sel.Name)
		}
	case "Failed", "Over":
		if on == "down" || on == "outages" {
			message, level = 1, map[string]string{"Failed": "WARN", "Over": "INFO"}[method.Sel.Name]
		}
	}
	if level == "" || len(call.Args) <= message {
		return "", false
	}
	arg := call.Args[message]
	if format, ok := arg.(*ast.CallExpr); ok && len(format.Args) > 0 {
		arg = format.Args[0]
	}
	text, ok := arg.(*ast.BasicLit)
	if !ok {
		return "", false // handed on, as retry.Outages does
	}
	words, err := strconv.Unquote(text.Value)
	if err != nil || words == "" {
		return "", false
	}
	return level + " " + regexp.MustCompile(`%[a-z]`).ReplaceAllString(words, "…"), true
}
