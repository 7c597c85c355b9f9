package seam

import (
	"math"
	"testing"

	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// throughLens is a picture as a lens with distortion would have taken it,
// interpolated linearly.
func throughLens(t *testing.T, im *part.Image, l optics.Lens) *part.Image {
	t.Helper()
	out := &part.Image{W: im.W, H: im.H, C: im.C, Pix16: make([]uint16, len(im.Pix16))}
	for y := range im.H {
		for x := range im.W {
			p, ok := l.UndistortPX(part.Point{X: float64(x), Y: float64(y)})
			if !ok {
				t.Fatalf("the lens does not reach %d,%d", x, y)
			}
			x0, y0 := min(max(int(p.X), 0), im.W-2), min(max(int(p.Y), 0), im.H-2)
			fx, fy := min(max(p.X-float64(x0), 0), 1), min(max(p.Y-float64(y0), 0), 1)
			for c := range im.C {
				at := func(x, y int) float64 { return float64(im.Pix16[(y*im.W+x)*im.C+c]) }
				v := (1-fy)*((1-fx)*at(x0, y0)+fx*at(x0+1, y0)) + fy*((1-fx)*at(x0, y0+1)+fx*at(x0+1, y0+1))
				out.Pix16[(y*im.W+x)*im.C+c] = uint16(v + 0.5)
			}
		}
	}
	return out
}

// A lens that pulls the corners in by some per cent bends walls and changes the
// scale at the limbs. With the lens known the steps come out as drawn; without
// it the larger one does not.
func TestLensTakenOff(t *testing.T) {
	p := smallUnit()
	p.Bits, p.Grey, p.TiltDeg = 16, true, 3
	p.StepLeftUM, p.StepRightUM = 300, -120
	im, truth := synth.Edge(p)
	lens := optics.Lens{FX: 800, FY: 800, CX: 430, CY: 280, K1: -0.22, P1: 0.002}
	bent := throughLens(t, im, lens)
	params := DefaultParams(p.MMPerPX)
	plain, _ := steps(t, Measure(bent, part.Shot{File: "edge_000.png"}, params))
	params.Undistort = func(q part.Point) part.Point { r, _ := lens.UndistortPX(q); return r }
	m := Measure(bent, part.Shot{File: "edge_000.png"}, params)
	got, u := steps(t, m)
	for i, want := range [2]synth.EdgeStation{truth.Left, truth.Right} {
		// In the picture the seam meets the limb where the lens has put it.
		at := lens.DistortPX(part.Point{X: want.XPX, Y: want.YPX})
		if d := math.Hypot(*m.Stations[i].XPX-at.X, *m.Stations[i].YPX-at.Y); d > 1+math.Abs(want.StepUM)/2000/p.MMPerPX {
			t.Errorf("station %d: the seam's place is %.2f px from the truth", i, d)
		}
		if d := got[i] - want.StepUM; math.Abs(d) > 3*u[i] || u[i] > 4 {
			t.Errorf("station %d: step %.2f um, u %.2f, truth %.2f (without the lens %.2f)", i, got[i], u[i], want.StepUM, plain[i])
		}
		t.Logf("step %.2f um, u %.2f, truth %.2f, without the lens %.2f", got[i], u[i], want.StepUM, plain[i])
	}
	if d := math.Abs(plain[0] - truth.Left.StepUM); d < 4 {
		t.Errorf("without the lens the left step is only %.2f um off: the test proves nothing", d)
	}
}

// What is drawn lies on the picture's outline, not on the straightened one.
func TestBentIsStraightsInverse(t *testing.T) {
	lens := optics.Lens{FX: 800, FY: 800, CX: 430, CY: 280, K1: -0.22, P1: 0.002}
	b := &limb{l: &light{w: 800, h: 600}, mirrored: true, cos: 1,
		undistort: func(q part.Point) part.Point { r, _ := lens.UndistortPX(q); return r }}
	b.anchorAt(300, 120)
	for _, y := range []float64{200, 300, 380} {
		ys, us := b.straight(y, 125)
		p := b.bent(ys, us)
		if math.Abs(p.Y-y) > 0.01 || math.Abs(p.X-b.x(125)) > 0.01 {
			t.Errorf("row %g comes back as %v", y, p)
		}
	}
	if y, u := b.straight(300, 120); y != 300 || u != 120 {
		t.Errorf("the anchor moved to %g, %g", y, u)
	}
}
