package architecture

import (
	"go/ast"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"
)

// Programs that a test starts are installed by `make test`; otherwise the test
// passes or skips by the luck of the machine.
func TestProgramsOfTestsAreInstalled(t *testing.T) {
	script, err := os.ReadFile(filepath.Join(root, "scripts", "need.sh"))
	if err != nil {
		t.Fatal(err)
	}
	set, all := sources(t)
	found := 0
	for _, s := range all {
		ast.Inspect(s.file, func(n ast.Node) bool {
			program, ok := startedProgram(n)
			if !ok || program == "go" {
				return true
			}
			found++
			if !regexp.MustCompile(`\b` + regexp.QuoteMeta(program) + `\b`).Match(script) {
				t.Errorf("%s starts %s, which scripts/need.sh does not install", set.Position(n.Pos()), program)
			}
			return true
		})
	}
	if found == 0 {
		t.Fatal("no test was seen to start a program; this test no longer looks in the right place")
	}
}

// startedProgram gives the program of a call of exec.Command, CommandContext
// or LookPath whose name is written out.
func startedProgram(n ast.Node) (string, bool) {
	call, ok := n.(*ast.CallExpr)
	if !ok {
		return "", false
	}
	selector, ok := call.Fun.(*ast.SelectorExpr)
	if !ok {
		return "", false
	}
	if from, ok := selector.X.(*ast.Ident); !ok || from.Name != "exec" {
		return "", false
	}
	at, ok := map[string]int{"Command": 0, "LookPath": 0, "CommandContext": 1}[selector.Sel.Name]
	if !ok || at >= len(call.Args) {
		return "", false
	}
	literal, ok := call.Args[at].(*ast.BasicLit)
	if !ok || literal.Kind != token.STRING {
		return "", false
	}
	program, err := strconv.Unquote(literal.Value)
	return program, err == nil
}
