package part

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// Worked by hand: thirds to three decimals, and the three still adding up to 1.
func TestRounded(t *testing.T) {
	s := Surface{View: Face, LookedAt: 1. / 3, OneLight: 1. / 3, NotLookedAt: 1. / 3, Why: map[Why]float64{Mirrored: 1. / 3, Clipped: 0.0004}}.Rounded()
	if s.OneLight != 0.333 || s.NotLookedAt != 0.333 || s.LookedAt != 0.334 || len(s.Why) != 1 || s.Why[Mirrored] != 0.333 || s.View != Face {
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

func TestLookedAtSentences(t *testing.T) {
	ok := func(v View, l Light) PictureReport { return PictureReport{View: v, Light: l, State: PictureOK} }
	read := PictureReport{View: Face, Light: White, State: PictureOK, Problems: []Problem{{Name: NotLookedAt, Warn: true}}}
	face := Surface{View: Face, LookedAt: 0.91, OneLight: 0.06, NotLookedAt: 0.03, Why: map[Why]float64{Outermost: 0.01, Mirrored: 0.02}}
	for _, c := range []struct {
		surfaces []Surface
		pictures []PictureReport
		want     []string
	}{
		{nil, nil, nil},
		{[]Surface{face}, []PictureReport{ok(Face, Diffuse), ok(Face, Raking), read},
			[]string{"Looked at 91 % of the face in both lights, 6 % in one, 3 % not at all (left out: mirrored lamps 2 %, outermost strip 1 %)"}},
		{[]Surface{{View: Shell, LookedAt: 0.996, NotLookedAt: 0.004}}, []PictureReport{ok(Shell, Diffuse), {View: Shell, State: PictureNoOK}},
			[]string{"Looked at 99.6 % of the shell at 0 deg in one light, 0.4 % not at all"}},
		{[]Surface{{View: Face, LookedAt: 0.5, OneLight: 0.5}}, []PictureReport{ok(Face, Diffuse), ok(Face, Raking), ok(Face, Back)},
			[]string{"Looked at 50 % of the face in all lights, 50 % in some"}},
		{[]Surface{{View: Face, LookedAt: 1}, UnsearchedSurface(Shell, 0), UnsearchedSurface(Shell, 45)}, []PictureReport{ok(Face, Diffuse)},
			[]string{"Looked at 100 % of the face in one light", "The shell was not looked at in any of 2 turns"}},
		{[]Surface{{View: Shell, LookedAt: 1}, {View: Shell, AngleDeg: 90, LookedAt: 1}, UnsearchedSurface(Shell, 180)},
			[]PictureReport{ok(Shell, Diffuse), ok(Shell, Raking), {View: Shell, Light: Diffuse, AngleDeg: -270, State: PictureOK}},
			[]string{"Looked at 100 % of the shell at 0 deg in both lights", "Looked at 100 % of the shell at 90 deg in one light", "The shell at 180 deg was not looked at"}},
		{[]Surface{UnsearchedSurface(Face, 0)}, []PictureReport{read}, []string{"The face was not looked at"}},
	} {
		r := Result{Surfaces: c.surfaces, Pictures: c.pictures}
		if got := r.LookedAtSentences(); !slices.Equal(got, c.want) {
			t.Errorf("%+v:\n got %q\nwant %q", c.surfaces, got, c.want)
		}
	}
	for _, w := range Whys {
		if w.words() == string(w) && w != Shadow && w != Print {
			t.Errorf("%s has no words", w)
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
	for v, want := range map[float64]string{0: "0 %", 0.001: "0.1 %", 0.004: "0.4 %", 0.0101: "1 %", 0.75: "75 %", 0.99: "99 %", 0.996: "99.6 %", 0.9999: "100 %", 1: "100 %"} {
		if got := Percent(v); got != want {
			t.Errorf("%g: %s, want %s", v, got, want)
		}
	}
}
