package robust

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// Rosenbrock's valley (Rosenbrock 1960, Comput. J. 3:175): residuals 10 (y - x^2) and 1 - x from (-1.2, 1); its least sum is 0 at
// (1, 1). No step leads past x = 2, which is nowhere near the way.
func TestDescend(t *testing.T) {
	sum := func(p [2]float64) float64 {
		a, b := 10*(p[1]-p[0]*p[0]), 1-p[0]
		return a*a + b*b
	}
	next := func(p [2]float64, damp float64) ([2]float64, float64) {
		a, b := 10*(p[1]-p[0]*p[0]), 1-p[0]
		n := []float64{(400*p[0]*p[0] + 1) * (1 + damp), -200 * p[0], 20*p[0]*a + b, 0, 100 * (1 + damp), -10 * a}
		x := Solve(n, 2)
		p[0], p[1] = p[0]+x[0], p[1]+x[1]
		if p[0] > 2 {
			return p, math.Inf(1)
		}
		return p, sum(p)
	}
	start := [2]float64{-1.2, 1}
	d := Descent{Rounds: 100, Gain: 1e-13, Most: 1e16}
	at, least, rested := Descend(d, start, sum(start), next)
	if !rested || math.Hypot(at[0]-1, at[1]-1) > 1e-9 || least > 1e-18 {
		t.Errorf("ends at %v, sum %g, rested %v", at, least, rested)
	}
	d.Rounds = 3
	if at, least, rested := Descend(d, start, sum(start), next); rested || !(least < sum(start)) || least != sum(at) {
		t.Errorf("three rounds end at %v, sum %g, rested %v", at, least, rested)
	}
	// Where no step is to be had it stays and rests.
	at, least, rested = Descend(Descent{Rounds: 100, Most: 1e4}, start, 5,
		func(p [2]float64, _ float64) ([2]float64, float64) { return p, math.Inf(1) })
	if at != start || least != 5 || !rested {
		t.Errorf("without a step it ends at %v, sum %g, rested %v", at, least, rested)
	}
}

// {4 2; 2 3}, worked by hand: its inverse is {3 -2; -2 4} / 8; with its diagonal doubled {8 2; 2 6} times {1, -2} is {4, -10}.
func TestSolveDamped(t *testing.T) {
	s := mat.NewSymDense(2, []float64{4, 2, 0, 3})
	if x, ok := SolveDamped(s, []float64{4, -10}, 1); !ok || math.Hypot(x[0]-1, x[1]+2) > 1e-12 {
		t.Errorf("solution %v, want 1 and -2", x)
	}
	if m, ok := Inverse(s); !ok || math.Abs(m.At(0, 0)-3./8) > 1e-12 || math.Abs(m.At(0, 1)+2./8) > 1e-12 ||
		math.Abs(m.At(1, 1)-4./8) > 1e-12 {
		t.Errorf("inverse %v", m)
	}
	flat := mat.NewSymDense(2, []float64{1, 1, 0, 1})
	if _, ok := Inverse(flat); ok {
		t.Error("a singular matrix has an inverse")
	}
	if _, ok := SolveDamped(flat, []float64{1, 1}, 0); ok {
		t.Error("equations without one solution have one")
	}
}
