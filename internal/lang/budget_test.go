package lang

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// Each share of a budget that is named by a literal has that name in each language.
func TestEachShareHasItsName(t *testing.T) {
	x, n := languages(t).ByTag("en"), 0
	err := filepath.WalkDir("../..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		ast.Inspect(file, func(at ast.Node) bool {
			name, ok := shareName(at)
			if !ok {
				return true
			}
			n++
			if !x.Has("budget.part." + name) {
				t.Errorf("%s: the share %q has no text budget.part.%s", path, name, name)
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if n < 10 {
		t.Errorf("%d shares: are they made otherwise now?", n)
	}
}

// shareName is the literal that names a share, where a node is one: a composite with the fields
// Name and Distribution.
func shareName(at ast.Node) (string, bool) {
	lit, ok := at.(*ast.CompositeLit)
	if !ok {
		return "", false
	}
	name, share := "", false
	for _, e := range lit.Elts {
		kv, ok := e.(*ast.KeyValueExpr)
		if !ok {
			continue
		}
		key, _ := kv.Key.(*ast.Ident)
		if key == nil {
			continue
		}
		share = share || key.Name == "Distribution"
		if v, ok := kv.Value.(*ast.BasicLit); ok && key.Name == "Name" {
			name, _ = strconv.Unquote(v.Value)
		}
	}
	return name, share && name != ""
}
