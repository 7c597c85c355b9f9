package part

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// Worked by hand: thirds to three decimals, and the three still adding up to 1.
func TestRounded(t *testing.T) {
	s := Surface{View: Face, LookedAt: 1. / 3, OneLight: 1. / 3, NotLookedAt: 1. / 3,
		Why: map[Why]float64{Mirrored: 1. / 3, Clipped: 0.0004}}.Rounded()
	if s.OneLight != 0.333 || s.NotLookedAt != 0.333 || s.LookedAt != 0.334 || len(s.Why) != 1 || s.Why[Mirrored] != 0.333 ||
		s.View != Face {
		t.Errorf("%+v", s)
	}
	r := rand.New(rand.NewPCG(1, 2))
	for range 1000 {
		one, not := r.Float64(), r.Float64()
		not *= 1 - one
		s := Surface{LookedAt: 1 - one - not, OneLight: one, NotLookedAt: not}.Rounded()
		if sum := s.LookedAt + s.OneLight + s.NotLookedAt; math.Abs(sum-1) > 1e-9 || s.LookedAt < 0 || s.Why != nil {
			t.Fatalf("%+v adds up to %g", s, sum)
		}
	}
}

// Turns that differ by whole turns are one pose; a face has no turn.
func TestPose(t *testing.T) {
	for _, c := range []struct {
		a, b Pose
		same bool
		says string
	}{
		{PoseOf(Shell, 0), PoseOf(Shell, 360), true, "shell at 0 deg"},
		{PoseOf(Shell, -90), PoseOf(Shell, 270), true, "shell at 270 deg"},
		{PoseOf(Shell, 22.5), PoseOf(Shell, 22.5+1e-9), false, "shell at 22.5 deg"},
		{PoseOf(Face, 30), PoseOf(Face, 0), true, "face"},
		{PoseOf(Edge, 0), PoseOf(Shell, 0), false, "edge at 0 deg"},
		{Shot{View: Shell, AngleDeg: -360}.Pose(), (&PictureReport{View: Shell}).Pose(), true, "shell at 0 deg"},
		{Surface{View: Shell, AngleDeg: 120}.Pose(), PoseOf(Shell, 480), true, "shell at 120 deg"},
		{(&ShellMap{LookedAt: 0.5}).Surface().Pose(), PoseOf(Shell, 0), false, "shell"},
	} {
		if (c.a == c.b) != c.same || c.a.String() != c.says || c.same && c.a.Compare(c.b) != 0 {
			t.Errorf("%+v and %+v: %v, %q, want %v, %q", c.a, c.b, c.a == c.b, c.a, c.same, c.says)
		}
	}
	poses := []Pose{PoseOf(Shell, 180), PoseOf(Face, 0), PoseOf(Shell, 90), PoseOf(Edge, 330)}
	slices.SortFunc(poses, Pose.Compare)
	if want := []Pose{{Edge, 330}, {Face, 0}, {Shell, 90}, {Shell, 180}}; !slices.Equal(poses, want) {
		t.Errorf("in order: %v, want %v", poses, want)
	}
}

func TestPercent(t *testing.T) {
	for v, want := range map[float64]string{0: "0 %", 0.001: "0.1 %", 0.004: "0.4 %", 0.0101: "1 %", 0.75: "75 %", 0.99: "99 %",
		0.996: "99.6 %", 0.9999: "100 %", 1: "100 %"} {
		if got := Percent(v); got != want {
			t.Errorf("%g: %s, want %s", v, got, want)
		}
	}
}
