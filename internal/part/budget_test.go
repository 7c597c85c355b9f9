package part

import (
	"math"
	"testing"
)

func close(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %g, want %g +- %g", what, got, want, tolerance)
	}
}

func dof(v float64) *float64 { return &v }

// endGauge is the calibration of a 50 mm end gauge of JCGM 100:2008, H.1, table
// H.1 (numbers from memory of that page).
func endGauge() []Contribution {
	const lengthNM, expansion = 50.000623e6, 11.5e-6 // nm, 1/K
	return []Contribution{
		{Name: "length of the standard", Unit: "nm", U: 25, Sensitivity: 1e-3, Distribution: Scatter, DOF: dof(18)},
		{Name: "difference of the end gauges", Unit: "nm", U: 9.7, Sensitivity: 1e-3, Distribution: Scatter, DOF: dof(25.6)},
		{Name: "expansion of the standard", Unit: "1/K", U: 1.2e-6, Sensitivity: 0},
		{Name: "temperature of the test bed", Unit: "K", U: 0.41, Sensitivity: 0},
		{Name: "difference of expansion", Unit: "1/K", U: 0.58e-6, Sensitivity: 0.1 * lengthNM * 1e-3, Distribution: Rectangular,
			DOF: dof(50)},
		{Name: "difference of temperature", Unit: "K", U: 0.05 / math.Sqrt(3), Sensitivity: -lengthNM * expansion * 1e-3,
			Distribution: Rectangular, DOF: dof(2)},
	}
}

// JCGM 100:2008, H.1.3.4, H.1.4 and H.1.6 (from memory): contributions 25, 9.7, 0, 0, 2.9
// and 16.6 nm, u_c = 32 nm, 16.7 effective degrees of freedom.
func TestBudgetEndGauge(t *testing.T) {
	b := NewBudget("length of the end gauge", 50000.838, endGauge())
	for i, want := range []float64{25, 9.7, 0, 0, 2.9, 16.6} {
		close(t, b.Contributions[i].Name, 1000*b.Contributions[i].ContributionUM, want, 0.05)
	}
	close(t, "u_c, nm", 1000*b.CombinedUM, 32, 0.5)
	if b.DOFEff == nil {
		t.Fatal("no effective degrees of freedom")
	}
	close(t, "effective degrees of freedom", *b.DOFEff, 16.7, 0.1)
	close(t, "expanded, nm", 1000*b.ExpandedUM, 2*1000*b.CombinedUM, 1e-12)
	sum := 0.0
	for _, c := range b.Contributions {
		sum += b.Of(c)
	}
	close(t, "sum of shares", sum, 1, 1e-12)
}

// Coverage factors of JCGM 100:2008, table G.2 (from memory): t for 95.45 % is 13.97, 2.87,
// 2.28, 2.13 and 2.00 at 1, 4, 10, 20 and infinitely many degrees of freedom.
func TestCoverage(t *testing.T) {
	for _, c := range []struct{ dof, k float64 }{{1, 13.97}, {4, 2.87}, {10, 2.28}, {20, 2.13}, {math.Inf(1), 2}} {
		close(t, "coverage", CoverageOf(c.k, c.dof), 0.9545, 0.0006)
	}
	for _, bad := range [][2]float64{{math.NaN(), 5}, {2, 0}, {2, math.NaN()}, {-1, 5}} {
		if v := CoverageOf(bad[0], bad[1]); !math.IsNaN(v) {
			t.Errorf("coverage of k %g with %g degrees of freedom is %g, want none", bad[0], bad[1], v)
		}
	}
}

// What is not known is not nothing; what is known exactly limits no degrees of
// freedom.
func TestBudgetUnknown(t *testing.T) {
	exact := NewBudget("q", 1, []Contribution{{U: 3, Sensitivity: 1}, {U: 4, Sensitivity: -1}})
	if exact.CombinedUM != 5 || exact.ExpandedUM != 10 || exact.DOFEff != nil {
		t.Errorf("3 and 4 um combine to %+v", exact)
	}
	if b := NewBudget("q", math.NaN(), []Contribution{{U: math.NaN(), Sensitivity: 1}}); !math.IsNaN(b.CombinedUM) || b.ValueUM != nil {
		t.Errorf("an unknown part combines to %+v", b)
	}
}
