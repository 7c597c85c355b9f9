package capture

import (
	"hash/maphash"
	"slices"
	"strings"
	"testing"

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
		{[]float64{0, 360}, []string{"shell: photographed at 0 deg alone: its other sides were not looked at; photograph it at 120 and 240 deg too"}},
		{[]float64{0, 90, 270}, []string{"shell: nothing was photographed between 90 deg and 270 deg: a picture at 180 deg is probably missing"}},
		{[]float64{0, 90, 180}, []string{"shell: nothing was photographed between 180 deg and 0 deg: a picture at 270 deg is probably missing"}},
		{[]float64{0, 120}, []string{"shell: nothing was photographed between 120 deg and 0 deg: a picture at 240 deg is probably missing"}},
		{[]float64{0, 180}, []string{"shell: nothing was photographed between 0 deg and 180 deg: a picture at 90 deg is probably missing", "shell: nothing was photographed between 180 deg and 0 deg: a picture at 270 deg is probably missing"}},
		{[]float64{0, 60, 120, 240, 300}, []string{"shell: the turns are not evenly around: between 120 deg and 240 deg a picture at 180 deg is probably missing"}},
		{[]float64{0, 45, 90, 225, 270, 315}, []string{"shell: nothing was photographed between 90 deg and 225 deg: pictures at 135 and 180 deg are probably missing"}},
	} {
		var shots []part.Shot
		for _, turn := range c.turns {
			shots = append(shots, part.Shot{View: part.Shell, Light: part.Diffuse, AngleDeg: turn},
				part.Shot{View: part.Shell, Light: part.White, AngleDeg: turn + 11}, part.Shot{View: part.Edge, AngleDeg: turn + 22}) // these do not count
		}
		got := TurnDoubts(shots)
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
	all := slices.Concat(shot(0, part.Diffuse, part.Raking), shot(90, part.Diffuse), shot(180, part.Raking, part.Diffuse), shot(270, part.Diffuse, part.Back))
	got := TurnDoubts(all)
	if len(got) != 1 || !strings.HasPrefix(got[0], "shell at 90 and 270 deg: no raking picture") {
		t.Errorf("%q", got)
	}
	one := slices.Concat(shot(0, part.Diffuse), shot(120, part.Diffuse), shot(240, part.Diffuse))
	if got := TurnDoubts(one); len(got) != 0 {
		t.Errorf("one light all around: %q", got)
	}
}

// One picture under the names of two turns is refused under both; what differs by one
// sample, or is of one turn, is not.
func TestTurnedCopies(t *testing.T) {
	seed := maphash.MakeSeed()
	one := &part.Image{W: 70, H: 60, C: 1, Pix16: make([]uint16, 4200)}
	two := &part.Image{W: 70, H: 60, C: 1, Pix16: slices.Clone(one.Pix16)}
	two.Pix16[4199] = 1
	turned := &part.Image{W: 60, H: 70, C: 1, Pix16: one.Pix16}
	eight := &part.Image{W: 70, H: 60, C: 1, Pix8: make([]uint8, 4200)}
	for _, c := range []struct {
		a, b  part.Shot
		of    *part.Image
		state part.State
	}{
		{part.Shot{View: part.Shell}, part.Shot{View: part.Shell, AngleDeg: 90}, one, part.PictureNoOK},
		{part.Shot{View: part.Shell, Light: part.Raking}, part.Shot{View: part.Shell, AngleDeg: 90, Light: part.Diffuse}, one, part.PictureNoOK},
		{part.Shot{View: part.Shell}, part.Shot{View: part.Shell, AngleDeg: 90}, two, part.PictureOK},
		{part.Shot{View: part.Shell}, part.Shot{View: part.Shell, AngleDeg: 90}, turned, part.PictureOK},
		{part.Shot{View: part.Shell}, part.Shot{View: part.Shell, AngleDeg: 90}, eight, part.PictureOK},
		{part.Shot{View: part.Shell}, part.Shot{View: part.Shell}, one, part.PictureOK}, // SharePose tells that
		{part.Shot{View: part.Edge}, part.Shot{View: part.Edge, AngleDeg: 90}, one, part.PictureOK},
	} {
		a, b := newReport(c.a), newReport(c.b)
		a.File, b.File = "a.png", "b.png"
		RefuseTurnedCopies([]*part.PictureReport{&a, &b}, []uint64{Fingerprint(seed, one), Fingerprint(seed, c.of)})
		if a.State != c.state || b.State != c.state || len(a.Problems) != len(b.Problems) {
			t.Errorf("%+v: %s, %s, want %s", c, a.State, b.State, c.state)
		}
		if c.state != part.PictureOK && (!strings.Contains(a.Problems[0].Remedy, "b.png") || !strings.Contains(b.Problems[0].Remedy, "a.png")) {
			t.Errorf("%q, %q", a.Problems[0].Remedy, b.Problems[0].Remedy)
		}
	}
}
