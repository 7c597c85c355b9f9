package lang

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// What the program says by part.Say has a text, and a place in it for each argument, and for each
// part that is given in the same breath. TestLanguagesAgree holds the other languages to English.
func TestWhatIsSaidHasItsPlaces(t *testing.T) {
	x, set, n := languages(t).ByTag("en"), token.NewFileSet(), 0
	word := func(e ast.Expr) (string, bool) {
		l, ok := e.(*ast.BasicLit)
		if !ok || l.Kind != token.STRING {
			return "", false
		}
		s, err := strconv.Unquote(l.Value)
		return s, err == nil
	}
	// keyOf is the key of part.Say(KEY, ...), also under one With or several.
	var keyOf func(e ast.Expr) (string, bool)
	keyOf = func(e ast.Expr) (string, bool) {
		c, ok := e.(*ast.CallExpr)
		if !ok || len(c.Args) == 0 {
			return "", false
		}
		f, ok := c.Fun.(*ast.SelectorExpr)
		if !ok {
			return "", false
		}
		if in, ok := f.X.(*ast.Ident); ok && in.Name == "part" && f.Sel.Name == "Say" {
			return word(c.Args[0])
		}
		if f.Sel.Name == "With" {
			return keyOf(f.X)
		}
		return "", false
	}
	err := filepath.WalkDir("../../internal", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || filepath.Ext(path) != ".go" || strings.HasSuffix(path, "_test.go") {
			return err
		}
		file, err := parser.ParseFile(set, path, nil, 0)
		if err != nil {
			return err
		}
		ast.Inspect(file, func(node ast.Node) bool {
			c, ok := node.(*ast.CallExpr)
			if !ok {
				return true
			}
			key, ok := keyOf(c)
			if !ok {
				return true
			}
			n++
			if !x.Has(key) {
				t.Errorf("%s: there is no text %s", set.Position(c.Pos()), key)
				return true
			}
			names := []ast.Expr{c.Args[0]} // With's place
			if c.Fun.(*ast.SelectorExpr).Sel.Name == "Say" {
				names = nil
				for i := 1; i < len(c.Args); i += 2 {
					names = append(names, c.Args[i])
				}
			}
			for _, e := range names {
				if name, ok := word(e); ok && !slices.Contains(place.FindAllString(x.text[key]["other"], -1), "{"+name+"}") && name != "n" {
					t.Errorf("%s: %s has no place {%s}", set.Position(e.Pos()), key, name)
				}
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if n < 100 {
		t.Errorf("only %d phrases were found in the code; does the search still fit it?", n)
	}
}
