package target

import (
	"math"
	"math/rand/v2"
	"testing"

	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// bentViews are pictures of a grid that is bent like a low arch, by formula, with
// noise of 0.02 px.
func bentViews(arch float64) ([]optics.View, optics.Lens) {
	lens := optics.Lens{FX: 800, FY: 800, CX: 320, CY: 240, K1: -0.1}
	rng := rand.New(rand.NewPCG(7, 9))
	var views []optics.View
	for i, turn := range [][3]float64{{0.5, 0, 0}, {-0.5, 0.1, 0.3}, {0, 0.55, -0.2}, {0.1, -0.5, 0.1}, {0.4, 0.4, 1.5}, {-0.1, 0, 0.7}} {
		v := optics.View{Name: string(rune('a' + i)), W: 640, H: 480}
		placement := optics.Placement{R: rotation(turn), T: [3]float64{0, 0, 400}}
		for r := range 7 {
			for c := range 9 {
				x, y := float64(c-4)*20, float64(r-3)*20
				z := arch * (1 - (x/80)*(x/80))
				// The target's own point 0, 0 is its first mark.
				p := picture(lens, placement, x, y, z)
				v.Marks = append(v.Marks, optics.Mark{Col: c, Row: r, XMM: x + 80, YMM: y + 60, XPX: p.X + 0.02*rng.NormFloat64(), YPX: p.Y + 0.02*rng.NormFloat64(), UPX: 0.02})
			}
		}
		views = append(views, v)
	}
	return views, lens
}

// A sheet bent by 1 mm: the fit of a flat one has the focal length wrong and
// leaves large residuals; with the marks' places freed, the noise is left, the
// arch comes out, and the focal length is right. Expected values: the formula's.
func TestFindShape(t *testing.T) {
	views, lens := bentViews(1)
	c, err := optics.Calibrate(views, optics.CalibrateOptions{Terms: optics.TermsRadial})
	if err != nil {
		t.Fatal(err)
	}
	s, err := FindShape(views, c, 20)
	if err != nil {
		t.Fatal(err)
	}
	if s.RMSPX > 0.03 || s.RMSPX > c.RMSPX/2 {
		t.Errorf("rms %.4f px flat, %.4f px bent", c.RMSPX, s.RMSPX)
	}
	if math.Abs(s.Lens.FX/lens.FX-1) > 0.003 {
		t.Errorf("fx %.2f, drawn %.2f (flat %.2f)", s.Lens.FX, lens.FX, c.Lens.FX)
	}
	// Height of the middle column over the outer ones, whatever plane the fit chose.
	var mid, side []float64
	for _, m := range s.Marks {
		switch m.Col {
		case 4:
			mid = append(mid, m.DZ)
		case 0, 8:
			side = append(side, m.DZ)
		}
	}
	a, _ := meanSD(mid)
	b, _ := meanSD(side)
	if math.Abs(a-b-1) > 0.1 {
		t.Errorf("arch of %.3f mm, drawn 1", a-b)
	}
}

func TestFindShapeRefuses(t *testing.T) {
	views, _ := bentViews(0)
	c, err := optics.Calibrate(views, optics.CalibrateOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := FindShape(views[:2], c, 20); err == nil {
		t.Error("two views gave a shape")
	}
	if _, err := BoardDiameters(Found{View: views[0]}, c.Lens, c.Views[0].Placement); err == nil {
		t.Error("marks without ellipses gave diameters")
	}
	if _, err := ShapeDiameters(Found{}, Shape{}, 0, 20); err == nil {
		t.Error("an empty shape gave diameters")
	}
}

// A circle of 12 mm seen tilted through a lens that bends measures 12 mm on the
// board: its picture's area is known from the mapping, not from the finder.
func TestBoardDiameters(t *testing.T) {
	lens := optics.Lens{FX: 800, FY: 810, CX: 320, CY: 240, K1: -0.2}
	placement := optics.Placement{R: rotation([3]float64{0.6, -0.2, 0.4}), T: [3]float64{-10, 5, 200}}
	var on []part.Point
	for i := range 200 {
		s, c := math.Sincos(2 * math.Pi * float64(i) / 200)
		on = append(on, picture(lens, placement, 30+6*c, 10+6*s, 0))
	}
	o, ok := conic(on)
	if !ok {
		t.Fatal("no ellipse")
	}
	a, b, angle := o.axes()
	e := Ellipse{XPX: o.x, YPX: o.y, SemiMajorPX: a, SemiMinorPX: b, AngleDeg: math.Mod(-angle*180/math.Pi+360, 180), UDiameterPX: 0.01}
	d, err := BoardDiameters(Found{View: optics.View{Marks: []optics.Mark{{Col: 2, Row: 1, XMM: 30, YMM: 10}}}, Ellipses: []Ellipse{e}}, lens, placement)
	if err != nil || len(d) != 1 {
		t.Fatal(d, err)
	}
	if math.Abs(d[0].DiameterMM-12) > 0.005 || d[0].OvalMM > 0.02 {
		t.Errorf("%+v, want 12 mm and round", d[0])
	}
}
