package main

import (
	"bytes"
	"go/ast"
	"go/parser"
	"go/scanner"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"
)

// floors are the house from the ground up. A package may use those of lower floors, and
// of its own floor such as mayImport names: nouns know nothing, verbs know the nouns and
// not each other, inspection knows the verbs of a unit's way, what is above it knows
// inspection, and only the commands know all. A name stands for the folders below it that
// have no name of their own here. Of packages that the floors above share, records and
// config stand beside the verbs, for they need only nouns, and learn beside the languages,
// for defects are called by what was learned.
var floors = [][]string{
	{"configs", "internal/part", "internal/files", "internal/held"},
	{
		"internal/stats", "internal/optics", "internal/lang", "internal/learn", "internal/synth", "internal/codec", "internal/scan",
		"internal/people", "internal/report/palette", "internal/report/plots", "internal/report/marks", "internal/report/paper",
	},
	{
		"internal/capture", "internal/body", "internal/proof", "internal/stripes", "internal/seam", "internal/defects",
		"internal/grade", "internal/compare", "internal/report", "internal/records", "internal/config",
	},
	{"internal/cli", "internal/truth"},
	{"internal/inspection"},
	{"internal/camera", "internal/records/rework", "internal/records/shift", "internal/records/upkeep"},
	{"internal/lots", "internal/teach", "internal/gauge"},
	{"internal/bench"},
	{"cmd/inspect"},
}

// mayImport says which packages of this program each of them may use; a command any,
// but not another command.
var mayImport = map[string][]string{
	"configs": {},
	"internal/bench": {
		"internal/cli", "internal/compare", "internal/files", "internal/grade", "internal/lang", "internal/lots", "internal/part",
		"internal/people", "internal/report", "internal/report/palette", "internal/report/ticket", "internal/scan", "internal/teach",
	},
	"internal/bench/station": {
		"internal/bench", "internal/camera/rig", "internal/camera/shoot", "internal/camera/sources",
		"internal/camera/trouble", "internal/capture", "internal/cli", "internal/codec",
		"internal/config", "internal/files", "internal/gauge/screen", "internal/grade", "internal/inspection",
		"internal/lang", "internal/lots", "internal/lots/book", "internal/lots/lotreport", "internal/optics", "internal/part",
		"internal/people", "internal/proof", "internal/records", "internal/records/shift", "internal/report", "internal/scan",
		"internal/scan/label", "internal/teach/atlas", "internal/teach/book",
	},
	"internal/body":         {"internal/capture/outline", "internal/lang", "internal/part", "internal/stats/robust"},
	"internal/camera/pty":   {},
	"internal/camera/retry": {},
	"internal/camera/rig":   {"internal/camera/retry", "internal/camera/trouble", "internal/part"},
	"internal/camera/shoot": {
		"internal/camera/retry", "internal/camera/rig", "internal/camera/sources", "internal/camera/trouble", "internal/part",
		"internal/proof",
	},
	"internal/camera/sources": {"internal/camera/retry", "internal/camera/trouble", "internal/part"},
	"internal/camera/trouble": {"internal/part"},
	"internal/capture": {
		"internal/capture/outline", "internal/codec", "internal/files", "internal/lang", "internal/optics", "internal/part",
		"internal/stats/robust",
	},
	"internal/capture/outline": {"internal/lang", "internal/part", "internal/stats/robust"},
	"internal/cli": {
		"internal/config", "internal/files", "internal/lang", "internal/part", "internal/records", "internal/report",
		"internal/report/plots",
	},
	"internal/codec": {"internal/part"},
	"internal/compare": {
		"internal/optics", "internal/part", "internal/stats/assign", "internal/stats/charts", "internal/stats/robust",
	},
	"internal/config": {"configs", "internal/files", "internal/grade", "internal/part", "internal/scan"},
	"internal/defects": {
		"internal/body", "internal/defects/align", "internal/defects/lampedge", "internal/defects/raster",
		"internal/defects/scene", "internal/defects/search", "internal/defects/shape", "internal/lang",
		"internal/part", "internal/stats/robust",
	},
	"internal/defects/align":    {"internal/capture/outline", "internal/defects/raster", "internal/part"},
	"internal/defects/lampedge": {"internal/defects/raster", "internal/part"},
	"internal/defects/pattern":  {"internal/lang", "internal/optics", "internal/part"},
	"internal/defects/raster":   {"internal/part", "internal/stats/robust"},
	"internal/defects/scene": {
		"internal/body", "internal/capture/outline", "internal/defects/align", "internal/defects/lampedge",
		"internal/defects/pattern", "internal/defects/raster", "internal/defects/shape", "internal/defects/surface",
		"internal/lang", "internal/optics", "internal/part", "internal/stats/robust",
	},
	"internal/defects/search": {
		"internal/defects/pattern", "internal/defects/raster", "internal/defects/scene", "internal/defects/shape",
		"internal/part", "internal/stats/robust",
	},
	"internal/defects/shape":   {"internal/defects/raster"},
	"internal/defects/surface": {"internal/defects/raster", "internal/part", "internal/stats/robust"},
	"internal/files":           {},
	"internal/gauge/camera": {
		"internal/capture", "internal/cli", "internal/files", "internal/gauge/sensor", "internal/lang",
		"internal/optics", "internal/part", "internal/report", "internal/report/plots",
	},
	"internal/gauge/detection": {
		"internal/capture", "internal/cli", "internal/gauge/studies", "internal/inspection", "internal/lang",
		"internal/part", "internal/report", "internal/report/plots", "internal/stats/study", "internal/stripes",
		"internal/synth", "internal/truth",
	},
	"internal/gauge/scaling": {
		"internal/capture", "internal/cli", "internal/files", "internal/gauge/target", "internal/inspection",
		"internal/lang", "internal/optics", "internal/part", "internal/report", "internal/report/plots",
	},
	"internal/gauge/screen": {
		"internal/capture", "internal/cli", "internal/config", "internal/files", "internal/inspection",
		"internal/lang", "internal/optics", "internal/part", "internal/report", "internal/report/plots",
		"internal/stripes",
	},
	"internal/gauge/sensor": {"internal/lang", "internal/optics", "internal/part"},
	"internal/gauge/setup":  {"internal/lang", "internal/part"},
	"internal/gauge/studies": {
		"internal/cli", "internal/files", "internal/inspection", "internal/lang", "internal/part", "internal/report",
		"internal/report/plots", "internal/stats/charts", "internal/stats/study",
	},
	"internal/gauge/target": {"internal/lang", "internal/optics", "internal/part", "internal/stats/robust"},
	"internal/gauge/walk": {
		"internal/capture", "internal/cli", "internal/config", "internal/gauge/scaling", "internal/gauge/setup",
		"internal/gauge/target", "internal/inspection", "internal/lang", "internal/optics", "internal/part",
		"internal/report", "internal/seam",
	},
	"internal/grade": {"internal/lang", "internal/part"},
	"internal/held":  {},
	"internal/inspection": {
		"internal/body", "internal/capture", "internal/capture/outline", "internal/cli", "internal/compare",
		"internal/config", "internal/defects", "internal/defects/scene", "internal/files", "internal/grade", "internal/lang",
		"internal/learn",
		"internal/optics", "internal/part", "internal/proof", "internal/records", "internal/report", "internal/seam",
		"internal/stats/study", "internal/stripes",
	},
	"internal/lang":  {"internal/part"},
	"internal/learn": {"internal/part", "internal/stats/robust"},
	"internal/lots":  {"internal/lang", "internal/part"},
	"internal/lots/book": {
		"internal/capture", "internal/cli", "internal/config", "internal/files", "internal/gauge/studies",
		"internal/inspection", "internal/lang", "internal/lots", "internal/lots/lotreport", "internal/lots/process",
		"internal/part", "internal/records", "internal/report", "internal/report/plots", "internal/stats/charts",
		"internal/stats/study",
	},
	"internal/lots/lotreport": {
		"internal/lang", "internal/lots", "internal/lots/process", "internal/part", "internal/report/marks", "internal/report/palette",
		"internal/report/paper", "internal/report/plots", "internal/stats/charts",
	},
	"internal/lots/process": {
		"internal/lang", "internal/part", "internal/stats/charts", "internal/stats/robust", "internal/stats/study",
	},
	"internal/optics":  {"internal/lang", "internal/part", "internal/stats/robust"},
	"internal/part":    {},
	"internal/people":  {"internal/files", "internal/scan"},
	"internal/proof":   {"internal/capture/outline", "internal/optics", "internal/part", "internal/stats/robust"},
	"internal/records": {"internal/files", "internal/part"},
	"internal/records/rework": {
		"internal/cli", "internal/config", "internal/grade", "internal/part", "internal/records", "internal/report/ticket",
	},
	"internal/records/shift": {
		"internal/cli", "internal/compare", "internal/lang", "internal/part", "internal/records", "internal/report",
		"internal/report/plots",
	},
	"internal/records/upkeep": {"internal/cli", "internal/files", "internal/records"},
	"internal/report": {
		"internal/codec", "internal/lang", "internal/part", "internal/report/marks", "internal/report/palette",
		"internal/report/paper", "internal/report/plots",
	},
	"internal/report/marks":   {"internal/part", "internal/report/palette"},
	"internal/report/palette": {},
	"internal/report/paper":   {"internal/report/plots"},
	"internal/report/plots":   {"internal/report/palette"},
	"internal/report/ticket": {
		"internal/lang", "internal/part", "internal/report", "internal/report/palette", "internal/report/paper",
		"internal/report/plots", "internal/scan", "internal/scan/label",
	},
	"internal/scan":         {"internal/part"},
	"internal/scan/label":   {"internal/scan"},
	"internal/seam":         {"internal/lang", "internal/optics", "internal/part", "internal/stats/robust"},
	"internal/stats/assign": {},
	"internal/stats/charts": {},
	"internal/stats/robust": {},
	"internal/stats/study": {
		"internal/lang", "internal/part", "internal/stats/assign", "internal/stats/charts", "internal/stats/robust",
	},
	"internal/stripes": {"internal/lang", "internal/optics", "internal/part", "internal/stats/robust"},
	"internal/synth":   {"internal/optics", "internal/part"},
	"internal/teach":   {"internal/grade", "internal/lang", "internal/part", "internal/stats/study"},
	"internal/teach/atlas": {
		"internal/capture", "internal/capture/outline", "internal/cli", "internal/config", "internal/grade",
		"internal/inspection", "internal/lang", "internal/part", "internal/records", "internal/report", "internal/stripes",
		"internal/synth", "internal/teach", "internal/teach/book", "internal/truth",
	},
	"internal/teach/book": {
		"internal/capture", "internal/capture/outline", "internal/cli", "internal/config", "internal/files",
		"internal/gauge/studies", "internal/grade", "internal/inspection", "internal/lang", "internal/part",
		"internal/records", "internal/report", "internal/report/plots", "internal/stats/study", "internal/stripes",
		"internal/synth", "internal/teach", "internal/truth",
	},
	"internal/teach/coach": {
		"internal/cli", "internal/inspection", "internal/lang", "internal/part", "internal/records", "internal/report",
		"internal/report/plots", "internal/teach",
	},
	"internal/teach/label": {
		"internal/cli", "internal/inspection", "internal/lang", "internal/learn", "internal/part", "internal/records",
		"internal/report", "internal/stats/study", "internal/teach", "internal/teach/book", "internal/truth",
	},
	"internal/truth": {"internal/cli", "internal/part", "internal/stats/study"},
}

// onlyIn says where the libraries that reach outside may be used.
var onlyIn = map[string][]string{
	"gocv.io/x/gocv": {"internal/defects/raster", "internal/report", "internal/gauge/target", "internal/inspection",
		"cmd/inspect"},
	"github.com/spf13/viper":            {"internal/config"},
	"github.com/spf13/cobra":            {"cmd/inspect"},
	"github.com/disintegration/imaging": {"internal/report"},
	"go.bug.st/serial":                  {"internal/camera/rig"},
	"gonum.org/v1/plot":                 {"internal/report/plots", "internal/report/paper", "internal/lots/lotreport"},
	"codeberg.org/go-pdf/fpdf": {"internal/report/paper", "internal/report/ticket", "internal/lots/lotreport",
		"internal/scan/label"},
	"github.com/piglig/go-qr":     {"internal/scan/label"},
	"github.com/xuri/excelize/v2": {"internal/lots/lotreport"},
	"modernc.org/sqlite":          {"internal/records"},
	"github.com/jackc/pgx/v5":     {"internal/records"},
	"log":                         {},
}

// How large rooms may be, without tests (issue 16).
const (
	mostCommandLines = 6000 // of cmd/inspect with all folders below it
	mostCommandFile  = 350  // of one file there
	mostPackageLines = 6000
	mostPackageFiles = 45
)

// house reads the program's Go files, without tests.
func house(t *testing.T, see func(file, dir string, data []byte)) {
	t.Helper()
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
		data, err := os.ReadFile(file)
		rel = filepath.ToSlash(rel)
		see(rel, path.Dir(rel), data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// floorOf is the floor of a package, by the longest line of floors that it is under; -1: none.
func floorOf(dir string) int {
	floor, most := -1, 0
	for i, f := range floors {
		for _, under := range f {
			if (dir == under || strings.HasPrefix(dir, under+"/")) && len(under) > most {
				floor, most = i, len(under)
			}
		}
	}
	return floor
}

// TestImports holds the direction of imports. Test files may import more.
func TestImports(t *testing.T) {
	house(t, func(file, dir string, data []byte) {
		f, err := parser.ParseFile(token.NewFileSet(), file, data, parser.ImportsOnly)
		if err != nil {
			t.Fatal(err)
		}
		floor := floorOf(dir)
		if floor < 0 {
			t.Errorf("%s: add %s to floors", file, dir)
		}
		command := strings.HasPrefix(dir, "cmd/")
		for _, im := range f.Imports {
			name := strings.Trim(im.Path.Value, `"`)
			where, held := onlyIn[name]
			if held && !slices.Contains(where, dir) && !(command && slices.Contains(where, "cmd/inspect")) {
				t.Errorf("%s imports %s, which is for %v only", file, name, where)
			}
			ours, ok := strings.CutPrefix(name, "finishbench/")
			if !ok {
				continue
			}
			if floorOf(ours) > floor {
				t.Errorf("%s imports %s, which is on a higher floor", file, ours)
			}
			if command {
				if strings.HasPrefix(ours, "cmd/") && dir != "cmd/inspect" && ours != "cmd/inspect/flags" {
					t.Errorf("%s imports %s: a command knows no other", file, ours)
				}
				continue
			}
			allowed, known := mayImport[dir]
			if !known {
				t.Errorf("%s: add %s to mayImport, with what it may use", file, dir)
			} else if !slices.Contains(allowed, ours) {
				t.Errorf("%s imports %s; %s may use %v only", file, ours, dir, allowed)
			}
		}
	})
}

// copied are nouns that packages once had copies of, field by field, each with the names of its
// copies (issue 16, part 2). None comes back.
var copied = map[string][]string{
	"internal/part.Entry":           {"internal/lots.Event", "internal/teach.Event", "internal/records.Entry"},
	"internal/part.FitLimits":       {"internal/config.Fit", "internal/capture.FitLimits"},
	"internal/part.Inspection":      {"internal/records.Inspection", "internal/bench.Past", "internal/compare.Inspection"},
	"internal/part.Overrule":        {"internal/records.Overrule", "internal/bench.Overrule", "internal/compare.Overrule"},
	"internal/part.OverruleOther":   {"internal/bench.ReasonOther", "internal/records.ReasonOther"},
	"internal/part.OverruleReasons": {"internal/bench.Reasons", "internal/records.OverruleReasons"},
	"internal/part.PairLimits":      {"internal/grade.Pair", "internal/compare.PairLimits"},
	"internal/part.Photo":           {"internal/bench.Shot", "internal/camera/shoot.Shot", "internal/camera/shoot.Photo"},
	"internal/part.Phrase":          {"internal/bench.Phrase", "internal/lang.Phrase", "internal/grade.Cause", "internal/bench.Cause"},
	"internal/part.Trouble":         {"internal/camera/trouble.Trouble", "internal/bench.Trouble"},
	"internal/compare.Change":       {"internal/bench.Change"},
	"internal/compare.Pair":         {"internal/bench.PairRow", "internal/bench.Comparer"},
	"internal/lots.Routes":          {"internal/bench.LotRoutes"},
	"internal/lots.Signed":          {"internal/bench.LotDecided"},
	"internal/lots.Stand":           {"internal/lots/lotreport.Stand"},
	"internal/lots.Standing":        {"internal/bench.LotPlan"},
	"internal/lots.StateAccepted":   {"internal/bench.LotAccepted"},
	"internal/lots.Unit":            {"internal/bench.LotFailing"},
}

// vague are names that said nothing of what they stood for (issue 16, part 5); no type or function
// has one again. What the code means by state, judge, source, pose and sheet is in docs/glossary.md.
var vague = []string{"told", "sure", "heed", "lift", "few", "taking", "showing", "through", "pigment"}

// TestNounsHaveOneHome holds that each noun is declared where it belongs, and its copies nowhere.
func TestNounsHaveOneHome(t *testing.T) {
	declared := map[string]bool{}
	house(t, func(file, dir string, data []byte) {
		f, err := parser.ParseFile(token.NewFileSet(), file, data, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		plain := func(n *ast.Ident) {
			if slices.Contains(vague, strings.ToLower(n.Name)) {
				t.Errorf("%s: %s says too little; name what it is or does", file, n.Name)
			}
		}
		for _, d := range f.Decls {
			switch d := d.(type) {
			case *ast.FuncDecl:
				plain(d.Name)
				declared[dir+"."+d.Name.Name] = d.Recv == nil || declared[dir+"."+d.Name.Name]
			case *ast.GenDecl:
				for _, s := range d.Specs {
					switch s := s.(type) {
					case *ast.TypeSpec:
						plain(s.Name)
						declared[dir+"."+s.Name.Name] = true
					case *ast.ValueSpec:
						for _, n := range s.Names {
							declared[dir+"."+n.Name] = true
						}
					}
				}
			}
		}
	})
	for home, copies := range copied {
		if !declared[home] {
			t.Errorf("%s is not declared: say in this list where the noun is now", home)
		}
		for _, c := range copies {
			if declared[c] {
				t.Errorf("%s is a second %s: use that", c, home)
			}
		}
	}
}

// TestRoomsStaySmall counts lines and files, without tests.
func TestRoomsStaySmall(t *testing.T) {
	lines, files := map[string]int{}, map[string]int{}
	commands, largest := 0, 0
	house(t, func(file, dir string, data []byte) {
		n := bytes.Count(data, []byte("\n"))
		lines[dir] += n
		files[dir]++
		if strings.HasPrefix(dir, "cmd/") {
			commands += n
			largest = max(largest, n)
		}
	})
	hold := func(what string, n, bar int) {
		if n > bar {
			t.Errorf("%s: %d, at most %d wanted", what, n, bar)
		}
	}
	hold("lines of cmd/inspect", commands, mostCommandLines)
	hold("lines of a file of cmd/inspect", largest, mostCommandFile)
	for dir := range lines {
		if dir != "cmd/inspect" {
			hold("lines of "+dir, lines[dir], mostPackageLines)
		}
		hold("files of "+dir, files[dir], mostPackageFiles)
	}
}

// TestLinesFitTheScreen: no line of Go is wider than 140 columns, tabs counted as four; within
// a raw string stand other languages, whose lines are as they are.
func TestLinesFitTheScreen(t *testing.T) {
	const most = 140
	for _, root := range []string{"cmd", "configs", "internal"} {
		err := fs.WalkDir(os.DirFS(filepath.Join("..", "..", root)), ".", func(name string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || path.Ext(name) != ".go" {
				return err
			}
			src, err := os.ReadFile(filepath.Join("..", "..", root, name))
			if err != nil {
				return err
			}
			files := token.NewFileSet()
			file := files.AddFile(name, -1, len(src))
			var s scanner.Scanner
			s.Init(file, src, nil, 0)
			raw := map[int]bool{}
			for at, kind, text := s.Scan(); kind != token.EOF; at, kind, text = s.Scan() {
				if kind == token.STRING && text[0] == '`' {
					for i := range strings.Count(text, "\n") + 1 {
						raw[file.Line(at)+i] = true
					}
				}
			}
			for i, line := range strings.Split(string(src), "\n") {
				if w := utf8.RuneCountInString(strings.ReplaceAll(line, "\t", "    ")); w > most && !raw[i+1] {
					t.Errorf("%s/%s:%d: %d columns, %d at most", root, name, i+1, w, most)
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}
