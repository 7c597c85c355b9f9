package target

import (
	"fmt"
	"math"
	"testing"

	"finishbench/internal/lang"
	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// Rulers drawn at any angle, dark on light and light on dark, long ticks at each
// fifth and tenth, two ticks missing: each tick within 0.05 px of its place
// along the ruler, and the pitch within 1e-4. Expected values: the drawing's own.
func TestRuler(t *testing.T) {
	for _, deg := range []float64{0, 3, 47, 88, 140} {
		for _, negative := range []bool{false, true} {
			p := synth.DefaultTarget()
			p.W, p.H = 900, 700
			p.NoiseSigma, p.Negative, p.Gradient = 2, negative, 0.2
			sin, cos := math.Sincos(deg * math.Pi / 180)
			p.Map = synth.Flat(0.07, part.Point{X: 450 - 300*cos, Y: 350 - 300*sin}, deg)
			name := fmt.Sprintf("%g degrees, negative %v", deg, negative)
			im := synth.Ruler(p, 41, 1, 0.2, 4, func(i int) bool { return i == 7 || i == 23 })
			f, err := Find(im, optics.Target{Kind: optics.Ruler, Cols: 41, PitchMM: 1}, name)
			if err != nil || len(f.View.Marks) != 39 {
				t.Errorf("%s: %d marks, %v", name, len(f.View.Marks), err)
				continue
			}
			if len(f.Notes) != 1 || lang.English().Say(&f.Notes[0]) != "2 ticks left out: hidden, missing or unclear" {
				t.Errorf("%s: notes %q", name, f.Notes)
			}
			back := deg > 135 // columns run to the right, or downwards
			for _, m := range f.View.Marks {
				i := float64(m.Col)
				if back {
					i = 40 - i
				}
				q := p.Map(i, 0)
				if along := (m.XPX-q.X)*cos + (m.YPX-q.Y)*sin; math.Abs(along) > 0.05 {
					t.Errorf("%s: tick %d is off by %.3f px along the ruler", name, m.Col, along)
				}
			}
			a, b := f.View.Marks[0], f.View.Marks[38]
			if pitch := math.Hypot(b.XPX-a.XPX, b.YPX-a.YPX) / float64(b.Col-a.Col); math.Abs(pitch*0.07-1) > 1e-4 {
				t.Errorf("%s: pitch %.5f px, want %.5f", name, pitch, 1/0.07)
			}
		}
	}
}

func TestRulerProblems(t *testing.T) {
	ruler := func(n int) optics.Target { return optics.Target{Kind: optics.Ruler, Cols: n, PitchMM: 1} }
	p := synth.DefaultTarget()
	p.Map = synth.Flat(0.07, part.Point{X: 60, Y: 200}, 5)
	im := synth.Ruler(p, 31, 1, 0.2, 4, nil)
	f, err := Find(im, ruler(35), "a.png")
	checkProblem(t, "too many asked", f, err, "", "found in part: 31 of 35 ticks", 31)
	if !f.Partial {
		t.Error("too many asked: not partial")
	}
	f, err = Find(im, ruler(20), "a.png")
	checkProblem(t, "too few asked", f, err, "", "31 ticks are seen, 20 were asked for", 31)
	f, err = Find(im, ruler(0), "a.png")
	checkProblem(t, "any number", f, err, "", "", 31)
	f, err = Find(synth.Ruler(p, 31, 1, 0.2, 4, func(i int) bool { return i > 3 }), ruler(0), "a.png")
	checkProblem(t, "four ticks", f, err, "not found: no row of ticks", "", 0)
	p.Map = synth.Flat(0.18, part.Point{X: 60, Y: 200}, 5)
	f, err = Find(synth.Ruler(p, 100, 1, 0.4, 4, nil), ruler(0), "a.png")
	checkProblem(t, "fine", f, err, "pixels apart; go nearer", "", 0)
}
