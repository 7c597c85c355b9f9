package capture

import (
	"slices"
	"strings"
	"testing"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// Worked by hand: which turns stand evenly around, and which is missing where they do not.
func TestTurnDoubts(t *testing.T) {
	for _, c := range []struct {
		turns []float64
		want  []string // the beginning of each sentence
	}{
		{nil, nil},
		{[]float64{0, 90, 180, 270}, nil},
		{[]float64{270, 0, 180, 90}, nil}, // in another order
		{[]float64{0, 120, -120}, nil},
		{[]float64{0, 120, 240.4}, nil}, // as a turntable stands
		{[]float64{10, 100, 190, 280}, nil},
		{[]float64{0, 360}, []string{"shell: photographed at 0 deg alone: its other sides were not looked at; photograph it at 120 and " +
			"240 deg too"}},
		{[]float64{0, 90, 270},
			[]string{"shell: nothing was photographed between 90 and 270 deg: a picture at 180 deg is probably missing"}},
		{[]float64{0, 90, 180},
			[]string{"shell: nothing was photographed between 180 and 360 deg: a picture at 270 deg is probably missing"}},
		{[]float64{0, 120}, []string{"shell: nothing was photographed between 120 and 360 deg: a picture at 240 deg is probably missing"}},
		{[]float64{0, 180}, []string{"shell: nothing was photographed between 0 and 180 deg: a picture at 90 deg is probably missing",
			"shell: nothing was photographed between 180 and 360 deg: a picture at 270 deg is probably missing"}},
		{[]float64{0, 60, 120, 240, 300},
			[]string{"shell: the turns are not evenly around: between 120 and 240 deg a picture at 180 deg is probably missing"}},
		{[]float64{0, 45, 90, 225, 270, 315},
			[]string{"shell: nothing was photographed between 90 and 225 deg: pictures at 135 and 180 deg are probably missing"}},
	} {
		var shots []part.Shot
		for _, turn := range c.turns {
			shots = append(shots, part.Shot{View: part.Shell, Light: part.Diffuse, AngleDeg: turn},
				// These do not count.
				part.Shot{View: part.Shell, Light: part.White, AngleDeg: turn + 11}, part.Shot{View: part.Edge, AngleDeg: turn + 22})
		}
		got := lang.English().SayAll(TurnDoubts(shots))
		if !slices.EqualFunc(got, c.want, strings.HasPrefix) {
			t.Errorf("%g:\n got %q\nwant %q", c.turns, got, c.want)
		}
	}
}

// A light that one turn lacks is told; one that none has is a plan of one light.
func TestTurnDoubtsLights(t *testing.T) {
	shot := func(turn float64, lights ...part.Light) (out []part.Shot) {
		for _, l := range lights {
			out = append(out, part.Shot{View: part.Shell, Light: l, AngleDeg: turn})
		}
		return out
	}
	all := slices.Concat(shot(0, part.Diffuse, part.Raking), shot(90, part.Diffuse), shot(180, part.Raking, part.Diffuse),
		shot(270, part.Diffuse, part.Back))
	got := lang.English().SayAll(TurnDoubts(all))
	if len(got) != 1 || !strings.HasPrefix(got[0], "shell at 90 and 270 deg: no raking picture") {
		t.Errorf("%q", got)
	}
	one := slices.Concat(shot(0, part.Diffuse), shot(120, part.Diffuse), shot(240, part.Diffuse))
	if got := TurnDoubts(one); len(got) != 0 {
		t.Errorf("one light all around: %q", got)
	}
}
