package seam

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// readProfile reads positions and heights from testdata, see its README.
func readProfile(t *testing.T, name string) (x, z []float64) {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows[1:] {
		xv, err1 := strconv.ParseFloat(r[0], 64)
		zv, err2 := strconv.ParseFloat(r[1], 64)
		if err1 != nil || err2 != nil {
			t.Fatalf("%s: row %v is not two numbers", name, r)
		}
		x, z = append(x, xv), append(z, zv)
	}
	return x, z
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.8g, want %.8g within %g", what, got, want, tol)
	}
}

// The single step's expected values are those of the project's reference page,
// section 9 (recomputed there with R and scipy): true step 12 um, tilt 0.01.
func TestEvaluateStepReference(t *testing.T) {
	x, z := readProfile(t, "step_profile_single_edge.csv")
	s, err := EvaluateStep(x, z, StepOptions{ExcludeBefore: 60, ExcludeAfter: 60, DegreeBefore: 1, DegreeAfter: 1})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "vertical step", s.Vertical, 11.97156, 1e-5)
	near(t, "step along the normal", s.Normal, 11.97096, 1e-5)
	// the page's 0.02414 is that of the parallel-line model; two lines of their
	// own spend one more degree of freedom
	near(t, "standard error", s.SE, 0.02414, 3e-5)
	if !(s.U >= s.SE) {
		t.Errorf("uncertainty %.5f with correlated neighbours is under the plain standard error %.5f", s.U, s.SE)
	}
	if math.Abs(s.Normal-12) > 2*s.U {
		t.Errorf("step %.4f +- %.4f does not cover the true 12", s.Normal, s.U)
	}
}

// Worked by hand: z = 1 before the edge, z = 3 + x/10 after it.
func TestEvaluateStepByHand(t *testing.T) {
	x := []float64{-4, -3, -2, -1, 0, 1, 2, 3, 4}
	z := []float64{1, 1, 1, 99, -99, 3.1, 3.2, 3.3, 3.4}
	s, err := EvaluateStep(x, z, StepOptions{ExcludeBefore: 1.5, DegreeBefore: 1, DegreeAfter: 1})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "vertical step", s.Vertical, 2, 1e-12)
	near(t, "slope after", s.SlopeAfter, 0.1, 1e-12)
	near(t, "step along the normal", s.Normal, 2*math.Cos(math.Atan(0.1)/2), 1e-12)
	if s.NBefore != 3 || s.NAfter != 4 {
		t.Errorf("used %d and %d points, want 3 and 4", s.NBefore, s.NAfter)
	}
	z[0] = math.NaN()
	if _, err := EvaluateStep(x, z, StepOptions{ExcludeBefore: 1.5, DegreeBefore: 1, DegreeAfter: 1}); err == nil {
		t.Error("two points gave a straight line with an uncertainty")
	}
	if _, err := EvaluateStep(x, z[:3], StepOptions{DegreeBefore: 1, DegreeAfter: 1}); err == nil {
		t.Error("profiles of two lengths were evaluated")
	}
}

// A parabola is followed by degree 2 and cannot be by degree 1.
func TestEvaluateStepCurved(t *testing.T) {
	var x, z []float64
	for i := -100; i <= 100; i++ {
		v := float64(i)
		h := 0.0
		if i > 0 {
			h = 5 - 0.001*v*v + 0.02*v
		}
		x, z = append(x, v), append(z, h)
	}
	o := StepOptions{ExcludeBefore: 10, ExcludeAfter: 10, DegreeBefore: 1, DegreeAfter: 2}
	s, err := EvaluateStep(x, z, o)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "curved step", s.Vertical, 5, 1e-9)
	o.DegreeAfter = 1
	if s, _ = EvaluateStep(x, z, o); math.Abs(s.Vertical-5) < 0.5 {
		t.Errorf("a straight line followed a parabola: %.3f", s.Vertical)
	}
}

// StepOptions says how a step profile is evaluated. Lengths are in the
// profile's own unit.
type StepOptions struct {
	Edge                        float64 // where the step is
	ExcludeBefore, ExcludeAfter float64 // left out before and after the edge (>= 0)
	ExtentBefore, ExtentAfter   float64 // points further from the edge are left out; 0: none
	DegreeBefore, DegreeAfter   int     // 1: straight, 2: gently curved, up to 4
}

// EvaluateStep evaluates a single step: what [joinSides] makes of each side's
// points. Positions x must not fall; z is the height.
// Points with a NaN height are left out. It errs where a side has no more
// points than its fit has parameters.
func EvaluateStep(x, z []float64, o StepOptions) (StepFit, error) {
	if len(x) != len(z) {
		return StepFit{}, fmt.Errorf("seam: step profile has %d positions and %d heights", len(x), len(z))
	}
	var xs, zs [2][]float64
	for i := range x {
		d := x[i] - o.Edge
		if math.IsNaN(z[i]) || math.IsNaN(d) {
			continue
		}
		switch {
		case d <= -o.ExcludeBefore && d < 0 && (o.ExtentBefore == 0 || d >= -o.ExtentBefore):
			xs[0], zs[0] = append(xs[0], x[i]), append(zs[0], z[i])
		case d >= o.ExcludeAfter && d > 0 && (o.ExtentAfter == 0 || d <= o.ExtentAfter):
			xs[1], zs[1] = append(xs[1], x[i]), append(zs[1], z[i])
		}
	}
	a, ok := fitPoly(xs[0], zs[0], o.Edge, o.DegreeBefore)
	if !ok {
		return StepFit{}, fmt.Errorf("seam: step profile: %d points before the edge are too few for degree %d", len(xs[0]), o.DegreeBefore)
	}
	b, ok := fitPoly(xs[1], zs[1], o.Edge, o.DegreeAfter)
	if !ok {
		return StepFit{}, fmt.Errorf("seam: step profile: %d points after the edge are too few for degree %d", len(xs[1]), o.DegreeAfter)
	}
	return joinSides(a, b), nil
}
