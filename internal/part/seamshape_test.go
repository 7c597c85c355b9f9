package part

import "testing"

// The convention: picture angle a is the right limb at a, the left at a + 180.
func TestAroundDeg(t *testing.T) {
	for _, c := range []struct {
		angle float64
		side  Side
		want  float64
	}{{0, Right, 0}, {0, Left, 180}, {150, Left, 330}, {200, Left, 20}, {-30, Right, 330}, {720, Right, 0}} {
		if got := (&Station{AngleDeg: c.angle, Side: c.side}).AroundDeg(); got != c.want {
			t.Errorf("%g, %s: %g, want %g", c.angle, c.side, got, c.want)
		}
	}
}
