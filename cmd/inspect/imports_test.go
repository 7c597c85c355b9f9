package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// mayImport says which packages of this program each of them may use. The
// direction is the point: nouns know nothing, verbs know the nouns and not each
// other, and only the command knows them all.
var mayImport = map[string][]string{
	"configs":                  {},
	"internal/part":            {},
	"internal/optics":          {"internal/part", "internal/robust"},
	"internal/target":          {"internal/part", "internal/optics", "internal/robust"},
	"internal/study":           {"internal/assign", "internal/robust", "internal/charts"},
	"internal/assign":          {},
	"internal/compare":         {"internal/part", "internal/optics", "internal/robust", "internal/assign", "internal/charts"},
	"internal/charts":          {},
	"internal/process":         {"internal/part", "internal/charts", "internal/robust", "internal/study"},
	"internal/palette":         {},
	"internal/plots":           {"internal/palette"},
	"internal/marks":           {"internal/part", "internal/palette"},
	"internal/lots":            {"internal/part", "internal/robust"},
	"internal/robust":          {},
	"internal/held":            {},
	"internal/files":           {},
	"internal/learn":           {"internal/part", "internal/robust"},
	"internal/setup":           {},
	"internal/outline":         {"internal/part", "internal/optics", "internal/robust"},
	"internal/body":            {"internal/part", "internal/outline", "internal/robust"},
	"internal/proof":           {"internal/part", "internal/optics", "internal/outline", "internal/robust"},
	"internal/codec":           {"internal/part"},
	"internal/capture":         {"internal/files", "internal/codec", "internal/part", "internal/optics", "internal/outline", "internal/robust"},
	"internal/capture/trouble": {},
	"internal/capture/retry":   {},
	"internal/capture/sources": {"internal/part", "internal/capture/retry", "internal/capture/trouble"},
	"internal/capture/pty":     {},
	"internal/capture/rig":     {"internal/capture/retry", "internal/capture/trouble"},
	"internal/capture/shoot":   {"internal/part", "internal/capture/retry", "internal/capture/sources", "internal/capture/rig", "internal/capture/trouble", "internal/proof"},
	"internal/seam":            {"internal/part", "internal/optics", "internal/outline", "internal/robust"},
	"internal/defects":         {"internal/part", "internal/optics", "internal/outline", "internal/body", "internal/robust"},
	"internal/stripes":         {"internal/part", "internal/optics", "internal/robust"},
	"internal/grade":           {"internal/part"},
	"internal/report":          {"internal/codec", "internal/part", "internal/palette", "internal/plots", "internal/marks"},
	"internal/records":         {"internal/files", "internal/part"},
	"internal/bench":           {"internal/part", "internal/grade", "internal/palette", "internal/report", "internal/teach"},
	"internal/lotreport":       {"internal/part", "internal/lots", "internal/process", "internal/charts", "internal/palette", "internal/plots", "internal/marks"},
	"internal/teach":           {"internal/part", "internal/grade", "internal/study", "internal/robust"},
	"internal/config":          {"internal/files", "configs", "internal/part", "internal/grade"},
	"internal/synth":           {"internal/part", "internal/optics"},
}

// onlyIn says where the libraries that reach outside may be used.
var onlyIn = map[string][]string{
	"gocv.io/x/gocv":                    {"internal/defects", "internal/report", "internal/target", "cmd/inspect"},
	"github.com/spf13/viper":            {"internal/config"},
	"github.com/spf13/cobra":            {"cmd/inspect"},
	"github.com/disintegration/imaging": {"internal/report"},
	"go.bug.st/serial":                  {"internal/capture/rig"},
	"gonum.org/v1/plot":                 {"internal/plots", "internal/lotreport"},
	"codeberg.org/go-pdf/fpdf":          {"internal/lotreport"},
	"github.com/xuri/excelize/v2":       {"internal/lotreport"},
	"modernc.org/sqlite":                {"internal/records"},
	"github.com/jackc/pgx/v5":           {"internal/records"},
	"log":                               {},
}

// TestImports holds the direction of imports. Test files may import more.
func TestImports(t *testing.T) {
	const root = "../.."
	err := filepath.WalkDir(root, func(file string, e fs.DirEntry, err error) error {
		if err == nil && e.IsDir() && e.Name() == "testdata" {
			return filepath.SkipDir // no part of the program, as for the go command
		}
		if err != nil || e.IsDir() || !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go") {
			return err
		}
		rel, err := filepath.Rel(root, file)
		if err != nil {
			return err
		}
		dir := path.Dir(filepath.ToSlash(rel))
		f, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		for _, im := range f.Imports {
			name := strings.Trim(im.Path.Value, `"`)
			if where, ok := onlyIn[name]; ok && !slices.Contains(where, dir) {
				t.Errorf("%s imports %s, which is for %v only", rel, name, where)
			}
			ours, ok := strings.CutPrefix(name, "finishbench/")
			if !ok || dir == "cmd/inspect" {
				continue
			}
			allowed, known := mayImport[dir]
			if !known {
				t.Errorf("%s: add %s to mayImport, with what it may use", rel, dir)
			} else if !slices.Contains(allowed, ours) {
				t.Errorf("%s imports %s; %s may use %v only", rel, ours, dir, allowed)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
