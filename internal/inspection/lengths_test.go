package inspection

import (
	"math"
	"testing"

	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// A disc of known size on the unit, pictured by a lens that shrinks the corners,
// comes back to its size; the truth is the lens's own formula.
func TestStraighten(t *testing.T) {
	lens := optics.Lens{FX: 1500, FY: 1500, CX: 800, CY: 600, K1: -0.2}
	const mm, diameter = 0.015, 0.9
	centre := part.Point{X: 1400, Y: 150}
	// Its outline in the picture, and from it box, length along 40 degrees, width.
	r := diameter / 2 / mm
	at := func(deg float64) part.Point {
		s, c := math.Sincos(deg * math.Pi / 180)
		return lens.DistortPX(part.Point{X: centre.X + r*c, Y: centre.Y - r*s})
	}
	lo, hi := part.Point{X: 1e9, Y: 1e9}, part.Point{}
	for d := 0.0; d < 360; d++ {
		p := at(d)
		lo.X, lo.Y, hi.X, hi.Y = min(lo.X, p.X), min(lo.Y, p.Y), max(hi.X, p.X), max(hi.Y, p.Y)
	}
	wide := func(deg float64) float64 {
		a, b := at(deg), at(deg+180)
		return math.Hypot(a.X-b.X, a.Y-b.Y) * mm
	}
	angle, length, width := 40.0, wide(40), wide(130)
	d, area := math.Sqrt(length*width), math.Pi/4*length*width
	f := part.Finding{Box: part.Box{lo.X, lo.Y, hi.X - lo.X, hi.Y - lo.Y}, AngleDeg: &angle, LengthMM: &length, WidthMM: &width,
		DiameterMM: &d, AreaMM2: &area}
	if math.Abs(length-diameter) < 0.03 {
		t.Fatalf("the lens changes the length to %.3f mm only: the test proves nothing", length)
	}
	l := Lengths{MMPerPX: mm, File: &ScaleFile{Scale: optics.Scale{Lens: &lens}}}
	straighten(&f, l.Undistort())
	for name, c := range map[string][2]float64{"length": {*f.LengthMM, diameter}, "width": {*f.WidthMM, diameter},
		"diameter": {*f.DiameterMM, diameter}, "area": {*f.AreaMM2, math.Pi / 4 * diameter * diameter}} {
		if math.Abs(c[0]/c[1]-1) > 0.01 {
			t.Errorf("%s %.4f, want %.4f", name, c[0], c[1])
		}
	}
	if (Lengths{MMPerPX: mm}).Undistort() != nil {
		t.Error("a scale without a file has a lens")
	}
}
