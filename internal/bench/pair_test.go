package bench

import (
	"slices"
	"strings"
	"testing"

	"finishbench/internal/compare"
	"finishbench/internal/grade"
	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// pastUnit is an invented inspection with a mean step, a colour and findings.
func pastUnit(step float64, light part.Light, l float64, kinds ...part.Kind) *part.Inspection {
	p := new(part.Inspection)
	p.Result.Pictures = []part.PictureReport{{File: "face_diffuse.jpg", View: part.Face, Light: part.Diffuse, State: part.PictureOK}}
	p.Result.MMPerPX = 0.02
	p.Result.Seam.WorstStepUM = part.Num(step)
	p.Result.Seam.Stations = []part.StepStation{{Side: part.Left, State: part.Measured, StepUM: part.Num(step), UUM: part.Num(2)}}
	p.Result.Faceplate = &part.Faceplate{Light: light, Colour: &part.Colour{L: l, UL: 0.1, UA: 0.1, UB: 0.1}}
	for i, k := range kinds {
		p.Result.Findings = append(p.Result.Findings, part.Finding{Image: "face_diffuse.jpg", Kind: k, Severity: part.Minor,
			Box: part.Box{float64(300 * i), 100, 10, 10}})
	}
	return p
}

// row is that of a name; it must be there.
func row(t *testing.T, x words, rows []pairView, key string) pairView {
	t.Helper()
	i := slices.IndexFunc(rows, func(v pairView) bool { return v.Name == x.T("pair."+key) })
	if i < 0 {
		t.Fatalf("no row %s in %+v", key, rows)
	}
	return rows[i]
}

// Each row that can come has its words in both languages, and each word that there is comes.
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
	lim := grade.DefaultLimits().Pair
	for _, tag := range []string{"en", "zh-Hans"} {
		x := words{all.Choose(tag, "")}
		var said strings.Builder
		for _, right := range []*part.Inspection{
			pastUnit(9, part.Diffuse, 50), pastUnit(90, part.Diffuse, 51.5), pastUnit(5, part.Diffuse, 54), pastUnit(5, part.Diffuse, 80),
			pastUnit(5, part.Raking, 50), patterned, bare, white,
		} {
			for _, r := range x.pair(pastUnit(5, part.Diffuse, 50), right, lim) {
				said.WriteString(r.Word + "\n")
				if strings.Contains(r.Name+r.Word, "pair.") || strings.Contains(r.Name, "kind.") {
					t.Errorf("%s has no words: %+v", tag, r)
				}
			}
		}
		for _, w := range []string{"same", "over", "unseen", "close", "glance", "other", "light", "white", "no_colour", "not_measured",
			"same_light"} {
			if !x.Has("pair.word."+w) || !strings.Contains(said.String(), x.T("pair.word."+w)) {
				t.Errorf("%s: no row said %s", tag, w)
			}
		}
	}
	x := words{all.Choose("en", "")}
	rows := x.pair(pastUnit(9, part.Diffuse, 50, part.Dust, part.Dust), pastUnit(5, part.Diffuse, 50, part.Dust), lim)
	// 2 sqrt(2) um, k = 2.
	if r := row(t, x, rows, "mean_step"); r.Left != "9" || r.Right != "5" || r.Difference != "4 ± 6" {
		t.Errorf("%+v", r)
	}
	if r := row(t, x, rows, "kind.dust"); r.Left != "2" || r.Difference != "1" {
		t.Errorf("%+v", r)
	}
}

// Each limit of limits.yaml changes what the page says of its own number, and of no other.
func TestPairLimitsCount(t *testing.T) {
	all, _, err := lang.Load("")
	if err != nil {
		t.Fatal(err)
	}
	x := words{all.Choose("en", "")}
	left, right := pastUnit(5, part.Diffuse, 50), pastUnit(45, part.Diffuse, 51.5)
	left.Result.Score, right.Result.Score = part.Num(0), part.Num(15)
	over := func(l part.PairLimits) []string {
		var out []string
		for _, r := range x.pair(left, right, l) {
			if strings.Contains(r.Word, x.T("pair.word.over")) {
				out = append(out, r.Name)
			}
		}
		return out
	}
	wide := part.PairLimits{StepUM: 41, MeanUM: 41, DeltaE: 2, Demerits: 16}
	if got := over(wide); len(got) != 0 {
		t.Errorf("within all limits: %q", got)
	}
	for key, tighten := range map[string]func(*part.PairLimits){
		"worst_step": func(l *part.PairLimits) { l.StepUM = 39 },
		"mean_step":  func(l *part.PairLimits) { l.MeanUM = 39 },
		"colour":     func(l *part.PairLimits) { l.DeltaE = 1 },
		"score":      func(l *part.PairLimits) { l.Demerits = 14 },
	} {
		l := wide
		tighten(&l)
		if got := over(l); !slices.Equal(got, []string{x.T("pair." + key)}) {
			t.Errorf("%s tightened: %q differ by more than their limits", key, got)
		}
	}
	for _, r := range x.pair(left, right, part.PairLimits{}) {
		if r.Word == x.T("pair.word.same") {
			t.Errorf("without a limit %s counts as alike", r.Name)
		}
	}
}

// Each fate has its word in both languages; what is within limits both times is
// not told.
func TestReworkRows(t *testing.T) {
	before, after := pastUnit(5, part.Diffuse, 50, part.Dust, part.Bubble, part.Fibre), pastUnit(5, part.Diffuse, 50, part.Dust)
	before.Result.Findings[2].Severity = part.None
	all, _, err := lang.Load("")
	if err != nil {
		t.Fatal(err)
	}
	got := map[compare.Fate]int{}
	for _, c := range (words{all.Choose("en", "")}).changes(&before.Result, &after.Result) {
		got[c.Fate]++
	}
	if got[compare.StillThere] != 1 || got[compare.Gone] != 1 || len(got) != 2 {
		t.Errorf("%v", got)
	}
	for _, f := range compare.Fates {
		for _, tag := range []string{"en", "zh-Hans"} {
			if !all.Choose(tag, "").Has("change." + string(f)) {
				t.Errorf("%s has no word for %s", tag, f)
			}
		}
	}
}
