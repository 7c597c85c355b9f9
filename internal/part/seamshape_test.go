package part

import "testing"

// The convention: picture angle a is the right limb at a, the left at a + 180.
func TestAroundDeg(t *testing.T) {
	for _, c := range []struct {
		angle float64
		side  Side
		want  float64
	}{{0, Right, 0}, {0, Left, 180}, {150, Left, 330}, {200, Left, 20}, {-30, Right, 330}, {720, Right, 0}} {
		if got := (&StepStation{AngleDeg: c.angle, Side: c.side}).AroundDeg(); got != c.want {
			t.Errorf("%g, %s: %g, want %g", c.angle, c.side, got, c.want)
		}
	}
}

// A clock face by hand: 30 degrees are an hour, 3 o'clock is at 0, 12 at 270.
func TestClockHour(t *testing.T) {
	for deg, want := range map[float64]string{0: "3", 270: "12", 90: "6", 180: "9", 300: "1", 45: "4:30", 359: "3", 20: "3:40", -90: "12", 262.5: "11:45"} {
		if got := ClockHour(deg); got != want {
			t.Errorf("%g degrees: %s, want %s", deg, got, want)
		}
	}
}
