package robust

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The normal equations written out plainly, of what was not taken off.
func TestQuadric(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	var q Quadric
	var want [6][7]float64
	for i := range 500 {
		x, y, v := 2*r.Float64()-1, 2*r.Float64()-1, 255*r.Float64()
		q.Add(x, y, v, 1)
		if i%5 == 0 {
			q.Add(x, y, v, -1)
			continue
		}
		f := [7]float64{1, x, y, x * x, x * y, y * y, v}
		for a := range 6 {
			for b := a; b < 7; b++ {
				want[a][b] += f[a] * f[b]
			}
		}
	}
	got := q.Equations(6)
	for a := range 6 {
		for b := range 7 {
			if math.Abs(got[a][b]-want[a][b]) > 1e-9 { // rounding of some hundred sums of up to 255
				t.Errorf("row %d, column %d: %g, want %g", a, b, got[a][b], want[a][b])
			}
		}
	}
	if q.Equations(3)[2][3] != 0 {
		t.Error("a plane's equations have no terms of second degree")
	}
}
