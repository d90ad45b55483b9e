package architecture

import (
	"go/ast"
	"go/token"
	"maps"
	"path"
	"slices"
	"strings"
	"testing"
)

// contracts are methods whose meaning the standard library has fixed.
var contracts = []string{"Error", "Unwrap", "String"}

// Every package says in one sentence what it is, and every exported name of
// it what it means.
func TestEverythingExportedIsDocumented(t *testing.T) {
	set, all := sources(t)
	packageDoc := map[string]bool{}
	for _, s := range all {
		packageDoc[s.pack] = packageDoc[s.pack] || s.file.Doc != nil
		if s.test {
			continue
		}
		for _, decl := range s.file.Decls {
			for _, name := range undocumented(decl) {
				t.Errorf("%s: %s has no doc comment", set.Position(name.Pos()), name.Name)
			}
		}
	}
	for _, pack := range slices.Sorted(maps.Keys(packageDoc)) {
		if !packageDoc[pack] {
			t.Errorf("%s has no package comment", pack)
		}
	}
}

// undocumented lists the exported names of a declaration without a comment.
// A comment on a group of constants or variables covers all of the group.
func undocumented(decl ast.Decl) (names []*ast.Ident) {
	switch decl := decl.(type) {
	case *ast.FuncDecl:
		if !decl.Name.IsExported() || decl.Doc != nil {
			return nil
		}
		if decl.Recv == nil || receiverExported(decl.Recv) && !slices.Contains(contracts, decl.Name.Name) {
			names = append(names, decl.Name)
		}
	case *ast.GenDecl:
		if decl.Doc != nil && decl.Tok != token.TYPE {
			return nil
		}
		for _, spec := range decl.Specs {
			switch spec := spec.(type) {
			case *ast.TypeSpec:
				if spec.Name.IsExported() && spec.Doc == nil && decl.Doc == nil {
					names = append(names, spec.Name)
				}
			case *ast.ValueSpec:
				for _, name := range spec.Names {
					if name.IsExported() && spec.Doc == nil && spec.Comment == nil {
						names = append(names, name)
					}
				}
			}
		}
	}
	return names
}

// receiverExported tells whether a method belongs to an exported type.
func receiverExported(receiver *ast.FieldList) bool {
	kind := receiver.List[0].Type
	for {
		switch k := kind.(type) {
		case *ast.StarExpr:
			kind = k.X
		case *ast.IndexExpr:
			kind = k.X
		case *ast.Ident:
			return k.IsExported()
		default:
			return false
		}
	}
}

// A package is named after what it knows.
func TestPackageNames(t *testing.T) {
	empty := []string{"util", "utils", "common", "helper", "helpers", "types", "misc", "shared", "base", "lib", "core", "models"}
	_, all := sources(t)
	for _, s := range all {
		name := strings.TrimSuffix(s.file.Name.Name, "_test")
		if slices.Contains(empty, name) || slices.Contains(empty, path.Base(s.pack)) {
			t.Errorf("%s: the package name %q says nothing about what is in it", s.name, name)
		}
	}
}
