package robust

import (
	"math"
	"testing"
)

// TestBiweight: values on a line are fitted by it though a fifth of them lie far off; equations without one
// solution leave the first fit.
func TestBiweight(t *testing.T) {
	var rows [][]float64
	var v []float64
	for i := range 50 {
		x := float64(i) / 10
		y := 3 + 2*x + 0.01*math.Sin(float64(7*i))
		if i%5 == 0 {
			y += 40
		}
		rows, v = append(rows, []float64{1, x}), append(v, y)
	}
	fit := []float64{Quantile(v, 0.5), 0}
	Biweight{Rounds: 20, Least: 1e-6}.Fit(fit, rows, v)
	if math.Abs(fit[0]-3) > 0.01 || math.Abs(fit[1]-2) > 0.01 { // the line that they were made by
		t.Errorf("fit %v, want 3 and 2", fit)
	}
	fit = []float64{1, 2}
	Biweight{Rounds: 3, Least: 1}.Fit(fit, [][]float64{{1, 1}, {2, 2}}, []float64{3, 6})
	if fit[0] != 1 || fit[1] != 2 {
		t.Errorf("fit %v of equations without one solution, want the first fit", fit)
	}
}

// TestSolve: the solution is that which the right side was made from; none for a singular matrix.
func TestSolve(t *testing.T) {
	// {4 2; 2 3} times {1, -2} is {0, -4}.
	if x := Solve([]float64{4, 2, 0, 0, 3, -4}, 2); x == nil || math.Abs(x[0]-1) > 1e-12 || math.Abs(x[1]+2) > 1e-12 {
		t.Errorf("solution %v, want 1 and -2", x)
	}
	if x := Solve([]float64{1, 1, 1, 0, 1, 1}, 2); x != nil {
		t.Errorf("solution %v of a singular matrix", x)
	}
}
