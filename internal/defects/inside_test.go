package defects

import (
	"os"
	"testing"

	"finishbench/internal/body"
	"finishbench/internal/defects/scene"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// seeThrough turns a shell's parameters into those of clear or tinted resin with two boxes and two wires inside.
func seeThrough(p synth.ShellParams, tinted bool) synth.ShellParams {
	q := synth.SeeThroughShell()
	p.Resin, p.Boxes, p.Wires, p.ShellRGB = q.Resin, q.Boxes, q.Wires, q.ShellRGB
	if tinted {
		p.Resin, p.ShellRGB = "tinted", [3]float64{0.75, 0.9, 0.8}
	}
	return p
}

// TestPartsInside: parts and wires inside a drawn tinted shell are not called, and that some of it was not looked at because of them
// is said. An opaque shell in the same light has no parts inside, whatever the rig (all four with FINISHBENCH_FIGURES).
func TestPartsInside(t *testing.T) {
	p := shellParams(2)
	p.Rig, p.Ground = "panels", "grey"
	s, err := turned(seeThrough(p, true), 70)
	if err != nil {
		t.Fatal(err)
	}
	seen := s.turns[0].Found.Seen
	if len(s.before[0]) > 0 || seen.Why[part.Inside] <= 0.02 || seen.Seen() < 0.3 {
		t.Errorf("tinted: %d findings, looked at %+v", len(s.before[0]), seen)
	}
	rigs := []string{"panels"}
	if os.Getenv("FINISHBENCH_FIGURES") != "" {
		rigs = []string{"dome", "ring", "panels", "window"}
	}
	for _, rig := range rigs {
		p.Rig = rig
		if s, err = turned(p, 70); err != nil {
			t.Fatal(err)
		}
		if why := s.turns[0].Found.Seen.Why; why[part.Inside] > 0 {
			t.Errorf("opaque, %s: parts inside are told: %v", rig, why)
		}
	}
}

// TestFibreIsNoPart: in front of parts inside a drawn tinted shell a pale fibre as long as their edges is found, and so is a grey nib.
// Sizes are common practice.
func TestFibreIsNoPart(t *testing.T) {
	p := seeThrough(shellParams(2), true)
	p.Rig, p.Ground, p.TurnDeg = "panels", "grey", 70
	for _, c := range []struct {
		what string
		mark synth.Defect
	}{
		{"a grey nib", synth.Defect{Kind: part.Dust, DiameterMM: 0.25, Colour: [3]float64{0.2, 0.2, 0.22}}},
		{"a pale fibre", synth.Defect{Kind: part.Fibre, LengthMM: 2, WidthMM: 0.08, AngleDeg: 60, Colour: [3]float64{0.8, 0.8, 0.78}}},
	} {
		p.Marks = []synth.ShellMark{{TurnDeg: 55, BelowMM: 5, Defect: c.mark}}
		s, err := turned(p, p.TurnDeg)
		if err != nil {
			t.Fatal(err)
		}
		if got := len(of(s.truth[0].Marks[0], s.before[0])); got != 1 {
			t.Errorf("%s: found %d times", c.what, got)
		}
	}
}

// TestDyed: by definition, red, green and blue light of a ground and of a spot in it.
func TestDyed(t *testing.T) {
	pale := []float64{2, 3, 4}
	for _, c := range []struct {
		what         string
		ground, spot []float64
		want         bool
	}{
		{"blue", pale, []float64{0.2, 0.8, 2}, true},
		{"pale blue", pale, []float64{1.1, 2.2, 3.6}, true},
		{"orange", pale, []float64{1.2, 0.5, 0.25}, true},
		{"grey", pale, []float64{1, 1, 1}, false},
		{"brown earth", pale, []float64{0.35, 0.25, 0.15}, false},
		{"the ground, darker", pale, []float64{1, 1.5, 2}, false},
		{"on a vivid ground", []float64{4, 1, 0.5}, []float64{2, 0.5, 0.25}, false},
		{"one colour", []float64{1}, []float64{0.2}, false},
	} {
		off := make([]float64, len(c.spot))
		for k := range off {
			off[k] = c.spot[k] - c.ground[k]
		}
		if got := dyed(off, c.ground); got != c.want {
			t.Errorf("%s: %v", c.what, got)
		}
	}
}

// TestEarth: by definition, on a grey and on a red ground. The second is a 0.25 mm brown nib's light, drawn on clear resin; red and blue of
// the first differ by earthLeast.
func TestEarth(t *testing.T) {
	grey, red := []float64{0.5, 0.5, 0.48}, []float64{0.5, 0.3, 0.2}
	for _, c := range []struct {
		what        string
		off, ground []float64
		want        bool
	}{
		{"just brown", []float64{0.1, 0.08, 0.065}, grey, true},
		{"brown, brighter and darker", []float64{0.0249, 0.0092, -0.0081}, grey, true},
		{"dark brown", []float64{-0.1, -0.2, -0.3}, grey, true},
		{"the ground's hue", []float64{-0.1, -0.1, -0.096}, grey, false},
		{"a lamp's, a little warm", []float64{0.3, 0.28, 0.25}, grey, false},
		{"green", []float64{0.03, 0.11, 0.06}, grey, false},
		{"blue", []float64{-0.1, 0, 0.1}, grey, false},
		{"on red", []float64{0.1, 0.05, 0}, red, false},
		{"one colour", []float64{0.1}, []float64{0.5}, false},
	} {
		if got := earth(c.off, c.ground); got != c.want {
			t.Errorf("%s: %v", c.what, got)
		}
	}
}

// TestClearSpot: what both lights show alike is told down to small changes, what one light shows is not; a bubble by what it mirrors.
func TestClearSpot(t *testing.T) {
	f := &face{}
	f.Params.Shell = &body.Seen{}
	f.Pictures = []scene.Picture{{Shot: part.Shot{Light: part.Diffuse}}, {Shot: part.Shot{Light: part.Raking}}}
	f.ShapeFactor, f.Params.MMPerPX = 1, 0.02
	for _, c := range []struct {
		what string
		p    place
		want bool
	}{
		{"alike in both", place{contrast: []float64{-0.1, -0.08}, again: 0.8, peak: 3}, true},
		{"alike, near the threshold", place{contrast: []float64{-0.1, -0.08}, again: 0.8, peak: 1.5}, false},
		{"alike, too faint", place{contrast: []float64{-0.06, -0.05}, again: 0.8, peak: 3}, false},
		{"dark in one light alone", place{contrast: []float64{0.03, -0.6}, again: 0, peak: 9}, false},
		{"bright in one light alone", place{contrast: []float64{0.01, 0.6}, again: 0, peak: 9}, false},
		{"dark, and shining under low light", place{contrast: []float64{-0.1, 0.2}, again: 0, peak: 4}, true},
		{"one light", place{contrast: []float64{-0.3}, again: 1, peak: 9}, false},
	} {
		if got := f.isClearSpot(&c.p); got != c.want {
			t.Errorf("%s: clear spot %v", c.what, got)
		}
	}
}
