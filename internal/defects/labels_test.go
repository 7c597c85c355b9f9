package defects

import (
	"encoding/csv"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strconv"
	"testing"

	"finishbench/internal/defects/scene"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

var labelTables = flag.String("labels", "", "folder to write tables of drawn findings with their true kinds to")

// paleDust is dust of about the faceplate's own colour: filler, lacquer dust. It
// changes the light less than the rules take for opaque.
var paleDust = [][3]float64{{0.52, 0.52, 0.49}, {0.54, 0.53, 0.5}, {0.66, 0.66, 0.63}, {0.5, 0.5, 0.49}, {0.69, 0.68, 0.64}}

// workshops are two invented workshops: one as the rules were made for, one whose
// dust is pale.
var workshops = []struct {
	name  string
	first uint64 // seed
	dust  [][3]float64
}{
	{"usual", 1000, nil},
	{"pale", 2000, paleDust},
}

// TestLabelTables writes what internal/learn is tested with. Each face is a unit.
//
//	go test ./internal/defects -run LabelTables -labels internal/learn/testdata
func TestLabelTables(t *testing.T) {
	if *labelTables == "" {
		t.Skip("writes tables, where told to with -labels DIR")
	}
	for _, w := range workshops {
		var rows [][]string
		var names []string
		var all []labelled
		for u := range 60 {
			pattern := []string{"plain", "plain", "flake", "marble"}[u%4]
			kinds := map[part.Kind]int{part.Bubble: 3, part.Dust: 4, part.Fibre: 1, part.Sanding: 1, part.Crater: 1}
			pictures, truth, mm := drawnFace(pattern, w.first+uint64(u), kinds, w.dust)
			res, err := Find(pictures, scene.DefaultParams(mm))
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, matched(fmt.Sprintf("%s-%02d", w.name, u), res, truth)...)
		}
		for _, l := range all {
			for n := range l.f.Features {
				if !slices.Contains(names, n) {
					names = append(names, n)
				}
			}
		}
		sort.Strings(names)
		rows = append(rows, append([]string{"unit", "place", "kind", "by", "rule_type", "rule_confidence"}, names...))
		right := 0
		for _, l := range all {
			row := []string{l.unit, l.place, string(l.kind), "", string(l.f.Kind), text(l.f.Confidence)}
			for _, n := range names {
				cell := ""
				if v, ok := l.f.Features[n]; ok {
					cell = text(v)
				}
				row = append(row, cell)
			}
			rows = append(rows, row)
			if l.kind == l.f.Kind {
				right++
			}
		}
		f, err := os.Create(filepath.Join(*labelTables, "drawn-"+w.name+".csv"))
		if err != nil {
			t.Fatal(err)
		}
		if err := csv.NewWriter(f).WriteAll(rows); err != nil {
			t.Fatal(err)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
		t.Logf("%s: %d findings of a known kind, the rules call %d right", w.name, len(all), right)
	}
}

func text(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

type labelled struct {
	unit, place string
	kind        part.Kind
	f           part.Finding
}

func drawnFace(pattern string, seed uint64, kinds map[part.Kind]int, dust [][3]float64) ([]scene.Picture, synth.FaceTruth, float64) {
	n := 0
	return facePair(pattern, seed, nil, kinds, func(d *synth.Defect) {
		if d.Kind == part.Dust && dust != nil {
			d.Colour = dust[(n+int(seed))%len(dust)]
			n++
		}
	})
}

// matched are the findings of which the true kind is known without doubt: those
// that meet one drawn defect that can be seen, and no other does.
func matched(unit string, res Result, truth synth.FaceTruth) []labelled {
	var out []labelled
	for i, f := range res.Findings {
		var met []synth.TruthDefect
		for _, q := range truth.Defects {
			if q.Box.Grow(3).Meets(f.Box) {
				met = append(met, q)
			}
		}
		if len(met) != 1 || max(met[0].CNRDiffuse, met[0].CNRRaking) < rose {
			continue
		}
		alone := !slices.ContainsFunc(res.Findings, func(o part.Finding) bool { return o.Box != f.Box && met[0].Box.Grow(3).Meets(o.Box) })
		if alone {
			out = append(out, labelled{unit, strconv.Itoa(i + 1), met[0].Kind, f})
		}
	}
	return out
}
