package defects

import (
	"math"
	"testing"
)

// The blurred disc's half height, by numerical integration of the disc against a
// Gaussian: no other source.
func TestUnblurredDiameter(t *testing.T) {
	for _, r := range []float64{2, 3, 5, 10} {
		s := 1.5
		height := func(at float64) float64 {
			sum := 0.0
			const n = 400
			for i := range n {
				for j := range n {
					x, y := (float64(i)+.5)/n*2*r-r, (float64(j)+.5)/n*2*r-r
					if x*x+y*y <= r*r {
						d := (x-at)*(x-at) + y*y
						sum += math.Exp(-d/(2*s*s)) / (2 * math.Pi * s * s) * (2 * r / n) * (2 * r / n)
					}
				}
			}
			return sum
		}
		half, lo, hi := height(0)/2, 0.0, r+5*s
		for range 40 {
			if m := (lo + hi) / 2; height(m) > half {
				lo = m
			} else {
				hi = m
			}
		}
		if got := unblurredDiameter(2*lo, s); math.Abs(got/(2*r)-1) > 0.08 {
			t.Errorf("a disc of diameter %v measured %v at half height, taken back to %v", 2*r, 2*lo, got)
		}
	}
}
