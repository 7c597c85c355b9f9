package plots

import (
	"errors"
	"strings"
	"testing"
)

func TestOCCurve(t *testing.T) {
	plan := Series{Name: "normal, n 52, Ac 3", X: []float64{0, 2, 4, 6, 8, 12}, Y: []float64{1, 0.98, 0.85, 0.62, 0.39, 0.12}}
	svg, err := OCCurve(Options{X: "nonconforming units / %", Y: "share of lots accepted"},
		OC{Curves: []Series{plan, {Name: "tightened", X: []float64{0, 6}, Y: []float64{1, 0.4}}, {Name: "none"}},
			Points: []OCPoint{{"AQL 2.5", 2.5, nan}, {"95 in 100", 2.7, 0.95}, {"10 in 100", 12, 0.12}, {"gone", nan, 0.5}}})
	es := read(t, svg, err)
	hasTexts(t, es, "normal, n 52, Ac 3", "tightened", "AQL 2.5", "95 in 100", "10 in 100", "nonconforming units / %",
		"share of lots accepted")
	for _, s := range texts(es) {
		if s == "gone" || s == "none" {
			t.Errorf("a name of what is not drawn: %s", s)
		}
	}
	if n := strings.Count(string(svg), "fill:#FFFDF8"); n != 2 { // the two points that have a share
		t.Errorf("%d rings", n)
	}
	// Whole units: dots, and no line between them; one more dot in the legend.
	svg, err = OCCurve(Options{}, OC{Curves: []Series{plan}, Whole: true})
	if n := dots(read(t, svg, err)); n != 6+1 {
		t.Errorf("%d dots", n)
	}
	if _, err := OCCurve(Options{}, OC{Points: []OCPoint{{"AQL", 1, 0.5}}}); !errors.Is(err, ErrNothing) {
		t.Errorf("no curve: %v", err)
	}
}
