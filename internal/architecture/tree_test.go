// Package architecture holds no code, only the tests of the rules that keep
// the program a straight line: who may import whom, and how things are named
// and documented. Each rule carries its reason, which is the failure text.
package architecture

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// root is the module's folder seen from this package.
const root = "../.."

// module is the module's name.
const module = "route"

// source is one parsed Go file.
type source struct {
	name string // from the module's folder
	pack string // folder of the package, "internal/plan"
	test bool
	file *ast.File
}

// imports lists the paths that the file imports.
func (s source) imports() []string {
	var paths []string
	for _, spec := range s.file.Imports {
		if p, err := strconv.Unquote(spec.Path.Value); err == nil {
			paths = append(paths, p)
		}
	}
	return paths
}

// walk calls do for every file of the repository that is not generated,
// ignored by git or a dependency; name is seen from the module's folder.
func walk(t *testing.T, do func(name string)) {
	t.Helper()
	err := filepath.WalkDir(root, func(file string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name, err := filepath.Rel(root, file)
		if err != nil {
			return err
		}
		name = filepath.ToSlash(name)
		if entry.IsDir() {
			if slices.Contains([]string{".git", "node_modules", "dist"}, path.Base(name)) || name == "bin" || name == "demo" {
				return fs.SkipDir
			}
			return nil
		}
		if entry.Type().IsRegular() && name != ".git" { // a file where the checkout is a worktree
			do(name)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// sources parses all Go files of the module.
func sources(t *testing.T) (*token.FileSet, []source) {
	t.Helper()
	set := token.NewFileSet()
	var all []source
	walk(t, func(name string) {
		if !strings.HasSuffix(name, ".go") || strings.Contains(name, "/testdata/") {
			return
		}
		text, err := os.ReadFile(filepath.Join(root, name))
		if err != nil {
			t.Fatal(err)
		}
		file, err := parser.ParseFile(set, name, text, parser.ParseComments|parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, source{name, path.Dir(name), strings.HasSuffix(name, "_test.go"), file})
	})
	if len(all) < 10 {
		t.Fatalf("only %d Go files were found; the module's folder is not where this test thinks", len(all))
	}
	return set, all
}
