package station

import (
	"strings"
	"testing"

	"finishbench/internal/grade"
	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// pastUnit is an invented inspection with a mean step, a colour and findings.
func pastUnit(step float64, light part.Light, l float64, kinds ...part.Kind) *part.Inspection {
	p := new(part.Inspection)
	p.Result.Pictures = []part.PictureReport{{File: "face_diffuse.jpg", View: part.Face, Light: part.Diffuse, State: part.PictureOK}}
	p.Result.MMPerPX = 0.02
	p.Result.Seam.Stations = []part.StepStation{{Side: part.Left, State: part.Measured, StepUM: part.Num(step), UUM: part.Num(2)}}
	p.Result.Faceplate = &part.Faceplate{Light: light, Colour: &part.Colour{L: l, UL: 0.1, UA: 0.1, UB: 0.1}}
	for i, k := range kinds {
		p.Result.Findings = append(p.Result.Findings, part.Finding{Image: "face_diffuse.jpg", Kind: k, Severity: part.Minor, Box: part.Box{float64(300 * i), 100, 10, 10}})
	}
	return p
}

// Each row that can come has its words in both languages.
func TestPairRows(t *testing.T) {
	all, _, err := lang.Load("")
	if err != nil {
		t.Fatal(err)
	}
	patterned := pastUnit(5, part.Diffuse, 50, part.Kinds...)
	patterned.Result.Faceplate.Colour.Spread = 4
	bare := &part.Inspection{}
	white := pastUnit(5, part.Diffuse, 50)
	white.Result.Faceplate.Colour.White = true
	words := map[string]bool{}
	for _, right := range []*part.Inspection{
		pastUnit(9, part.Diffuse, 50), pastUnit(90, part.Diffuse, 51.5), pastUnit(5, part.Diffuse, 54), pastUnit(5, part.Diffuse, 80), pastUnit(5, part.Raking, 50), patterned, bare, white,
	} {
		for _, r := range NewComparer(grade.DefaultLimits().Pair).Pair(pastUnit(5, part.Diffuse, 50), right) {
			words[r.Word] = true
			for _, tag := range []string{"en", "zh-Hans"} {
				l := all.Choose(tag, "")
				if key := "pair." + r.Key; !l.Has(key) || strings.Contains(l.T(key), "kind.") {
					t.Errorf("%s has no words for %s", tag, key)
				}
				if r.Word != "" && !l.Has("pair.word."+r.Word) {
					t.Errorf("%s has no words for pair.word.%s", tag, r.Word)
				}
			}
		}
	}
	for _, w := range []string{"same", "over", "unseen", "close", "glance", "other", "light", "white", "no_colour", "not_measured", "same_light"} {
		if !words[w] {
			t.Errorf("no row said %s", w)
		}
	}
	rows := NewComparer(grade.DefaultLimits().Pair).Pair(pastUnit(9, part.Diffuse, 50, part.Dust, part.Dust), pastUnit(5, part.Diffuse, 50, part.Dust))
	if r := rows[0]; r.Left != "9" || r.Right != "5" || r.Difference != "4 ± 6" { // 2 sqrt(2) um, k = 2
		t.Errorf("%+v", r)
	}
	if r := rows[len(rows)-1]; r.Key != "kind.dust" || r.Left != "2" || r.Difference != "1" {
		t.Errorf("%+v", r)
	}
}

// Each fate has its word in both languages; what is within limits both times is
// not told.
func TestReworkRows(t *testing.T) {
	before, after := pastUnit(5, part.Diffuse, 50, part.Dust, part.Bubble, part.Fibre), pastUnit(5, part.Diffuse, 50, part.Dust)
	before.Result.Findings[2].Severity = part.None
	got := map[string]int{}
	for _, c := range NewComparer(grade.DefaultLimits().Pair).Rework(before, after) {
		got[c.State]++
	}
	if got["there"] != 1 || got["gone"] != 1 || len(got) != 2 {
		t.Errorf("%v", got)
	}
	all, _, err := lang.Load("")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range []string{"there", "larger", "smaller", "new", "unmeasured", "gone"} {
		for _, tag := range []string{"en", "zh-Hans"} {
			if !all.Choose(tag, "").Has("change." + f) {
				t.Errorf("%s has no word for %s", tag, f)
			}
		}
	}
}
