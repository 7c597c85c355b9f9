package seam

import (
	"math"
	"strings"
	"testing"

	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// The budget is the uncertainty: its squares sum to u_um, its sensitivities are
// the step's own derivatives where these can be tried.
func TestStepBudget(t *testing.T) {
	p := smallUnit()
	im, _ := synth.Edge(p)
	at := DefaultParams(p.MMPerPX)
	m := Measure(im, part.Shot{File: "edge_030.jpg", AngleDeg: 30}, at)
	steps(t, m)
	for _, s := range m.Stations {
		b := s.Budget
		if b == nil {
			t.Fatalf("%s: no budget", s.Side)
		}
		if want := "step at 30 deg, " + string(s.Side); b.Quantity != want {
			t.Errorf("quantity %q, want %q", b.Quantity, want)
		}
		ss := 0.0
		for _, c := range b.Contributions {
			if c.Name == "" || c.Unit == "" || c.Distribution == "" || !(c.U >= 0) {
				t.Errorf("%s: contribution %+v", s.Side, c)
			}
			ss += math.Pow(c.Sensitivity*c.U, 2)
		}
		near(t, "sum of squares", math.Sqrt(ss), *s.UUM, 1e-12)
		near(t, "expanded", b.ExpandedUM, 2**s.UUM, 1e-12)
		if b.DOFEff == nil || !(*b.DOFEff >= 1) || !(b.Coverage > 0.7 && b.Coverage <= 0.9546) {
			t.Errorf("%s: degrees of freedom %v, coverage %g", s.Side, b.DOFEff, b.Coverage)
		}
		scale := find(t, b, "scale")
		near(t, "scale's part", scale.ContributionUM, math.Abs(*s.StepUM)*at.URelScale, 1e-9)
		for _, side := range []string{"faceplate", "shell"} {
			c := find(t, b, "outline of the "+side)
			near(t, "um per px", math.Abs(c.Sensitivity), 1000*p.MMPerPX, 0.3) // at an upright wall, up to its slope's cosine
		}
	}
}

// find returns the one contribution whose name begins so.
func find(t *testing.T, b *part.Budget, start string) part.Contribution {
	t.Helper()
	for _, c := range b.Contributions {
		if strings.HasPrefix(c.Name, start) {
			return c
		}
	}
	t.Fatalf("no contribution %q in %+v", start, b.Contributions)
	return part.Contribution{}
}
