package optics

import (
	"math"
	"slices"
	"strings"
	"testing"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// affineView is a grid as a telecentric lens pictures it: scale px/mm, tilted by
// tilt about the direction along (both degrees, along counter-clockwise as seen),
// turned by turn, with a radial distortion k about the middle (per half diagonal).
func affineView(scale, tilt, along, turn, k float64, marks []Mark, noise func() float64) View {
	v := View{Name: "flat", W: 640, H: 480, Marks: slices.Clone(marks)}
	rad := math.Pi / 180
	sa, ca := math.Sincos(-along * rad) // y is down
	st, ct := math.Sincos(-turn * rad)
	short := math.Cos(tilt * rad)
	for i := range v.Marks {
		m := &v.Marks[i]
		x, y := scale*(ct*m.XMM-st*m.YMM), scale*(st*m.XMM+ct*m.YMM)
		// Shortened in the direction "along".
		d := (x*ca + y*sa) * (short - 1)
		x, y = x+d*ca, y+d*sa
		r2 := (x*x + y*y) / (400 * 400)
		m.XPX, m.YPX = 319.5+x*(1+k*r2)+noise(), 239.5+y*(1+k*r2)+noise()
	}
	return v
}

func TestFlatTelecentric(t *testing.T) {
	v := affineView(40, 12, 30, 7, 0, grid(11, 8, 1.2), gauss(1, 0.02))
	f, err := FitFlat(v, FlatViewOptions{TargetURel: 0.0005, Projection: Telecentric})
	if err != nil {
		t.Fatal(err)
	}
	// Worked by hand: A = scale (1 + (cos t - 1) d d^T) R.
	for _, c := range []struct {
		name              string
		got, want, within float64
	}{
		{"mm/px", f.MMPerPX, 1.0 / 40, 4 * f.MMPerPX * f.Budget[1].Value},
		{"tilt", f.TiltDeg, 12, 3 * f.UTiltDeg},
		{"tilt along", f.TiltAlongDeg, 30, 1},
		{"turn", f.TurnDeg, 7, 0.6}, // the tilt turns the axes by up to (1-cos t)/2 rad
		{"RMS", f.RMSPX, 0.02 * math.Sqrt2, 0.004},
		{"u(tilt)", f.UTiltDeg, 0.02, 0.02},
	} {
		if !(math.Abs(c.got-c.want) <= c.within) {
			t.Errorf("%s is %v, want %v within %v", c.name, c.got, c.want, c.within)
		}
	}
	if f.PerspectiveSeen || f.RadialSeen || f.Projection != Telecentric || f.ScaleChangePct > 0.05 || !math.IsNaN(f.DistanceMM) {
		t.Errorf("%+v", f)
	}
}

// The stated uncertainty without the target's: in at least 19 of 20 views the
// scale is within 3 of it, and it is not far too large: (error/u)^2 averages 0.1
// or more (part of it, the squareness, allows for what these views do not have).
func TestFlatUncertainty(t *testing.T) {
	for _, c := range []struct{ tilt, k float64 }{{0, 0}, {1, 0}, {3, 0.004}, {0, 0.01}} {
		within, sum, tilts := 0, 0.0, 0
		for seed := range uint64(20) {
			v := affineView(40, c.tilt, 70, -3, c.k, grid(11, 8, 1.2), gauss(seed, 0.05))
			f, err := FitFlat(v, FlatViewOptions{Projection: Telecentric})
			if err != nil {
				t.Fatal(err)
			}
			z := (f.MMPerPX - 1.0/40) / f.UMMPerPX
			sum += z * z / 20
			if math.Abs(z) <= 3 {
				within++
			}
			if math.Abs(f.TiltDeg-c.tilt) <= 3*f.UTiltDeg {
				tilts++
			}
		}
		if within < 19 || tilts < 19 || sum > 2 || c.tilt < 2 && sum < 0.1 {
			t.Errorf("%+v: scale within 3 u in %d, tilt in %d of 20, mean (error/u)^2 %.2f", c, within, tilts, sum)
		}
	}
}

// A radial distortion is found where it is there, and not where it is not.
func TestFlatRadial(t *testing.T) {
	found, alarms, persp := 0, 0, 0
	for seed := range uint64(20) {
		with, err := FitFlat(affineView(40, 0, 0, 2, 0.01, grid(11, 8, 1.2), gauss(seed, 0.05)), FlatViewOptions{Projection: Telecentric})
		if err != nil {
			t.Fatal(err)
		}
		// k per half diagonal (400 px here) is a quarter of k per diagonal; the
		// picture's pixels span 639 x 479, its sides 640 x 480.
		if with.RadialSeen && math.Abs(with.Lens.K1-0.04) <= 3*with.LensU.K1 && math.Abs(with.DistortionMaxPX-4) < 0.5 {
			found++
		}
		without, err := FitFlat(affineView(40, 0, 0, 2, 0, grid(11, 8, 1.2), gauss(seed, 0.05)), FlatViewOptions{Projection: Telecentric})
		if err != nil {
			t.Fatal(err)
		}
		if without.RadialSeen {
			alarms++
		}
		if with.PerspectiveSeen || without.PerspectiveSeen {
			persp++
		}
	}
	if found < 19 || alarms > 2 || persp > 2 {
		t.Errorf("distortion found in %d of 20, false in %d, false perspective in %d", found, alarms, persp)
	}
}

// What the radial lens takes off points is what was put on.
func TestFlatRadialOnPoints(t *testing.T) {
	f, err := FitFlat(affineView(40, 0, 0, 0, 0.01, grid(11, 8, 1.2), quiet), FlatViewOptions{Projection: Telecentric})
	if err != nil {
		t.Fatal(err)
	}
	s := f.Scale()
	ideal := part.Point{X: 319.5 + 200, Y: 239.5 - 150}
	r2 := (200.0*200 + 150*150) / (400 * 400)
	p, ok := s.UndistortPX(part.Point{X: 319.5 + 200*(1+0.01*r2), Y: 239.5 - 150*(1+0.01*r2)})
	if !ok || math.Hypot(p.X-ideal.X, p.Y-ideal.Y) > 1e-3 {
		t.Errorf("taken off: %v, want %v", p, ideal)
	}
	s.Lens = nil
	if p, ok := s.UndistortPX(ideal); !ok || p != ideal {
		t.Errorf("without a lens %v becomes %v", ideal, p)
	}
}

// A lens seen at an angle: perspective is told, and what it does not tell.
func TestFlatPerspective(t *testing.T) {
	plain := Lens{FX: 700, FY: 700, CX: 319.5, CY: 239.5}
	p := Placement{R: rotation([3]float64{0, 0.1, 0}), T: [3]float64{5, -3, 300}}
	v := seen("tilted", plain, p, grid(9, 6, 15), gauss(1, 0.05))
	f, err := FitFlat(v, FlatViewOptions{TargetURel: 1e-4})
	if err != nil {
		t.Fatal(err)
	}
	if !f.PerspectiveSeen || f.Projection != Perspective || !strings.Contains(strings.Join(lang.English().SayAll(f.Warnings), "\n"),
		"cannot be told without the lens's focal length") {
		t.Errorf("%+v", f)
	}
	// A plane tilted by a about y, seen with f: px/mm goes as (1 + x tan a / f)^(3/2)
	// along x (from the homography by hand); over the picture's width:
	x := 319.5 * math.Tan(0.1) / 700
	want := 100 * (math.Pow(1+x, 1.5) - math.Pow(1-x, 1.5))
	if math.Abs(f.ScaleChangePct-want) > 0.3 {
		t.Errorf("scale changes by %.2f %%, want %.2f", f.ScaleChangePct, want)
	}
	tele, err := FitFlat(v, FlatViewOptions{TargetURel: 1e-4, Projection: Telecentric})
	if err != nil || !strings.Contains(strings.Join(lang.English().SayAll(tele.Warnings), "\n"), "said to be telecentric") {
		t.Errorf("%v, %q", err, tele.Warnings)
	}

	// With the lens the tilt, distance and scale are known.
	withLens, err := FitFlat(v, FlatViewOptions{TargetURel: 1e-4, Lens: &plain, LensCov: &LensCov{{0.25}, {0, 0.25}}})
	if err != nil {
		t.Fatal(err)
	}
	n := p.R // the plane's normal is its third column
	z := (n[2]*p.T[0] + n[5]*p.T[1] + n[8]*p.T[2]) / n[8]
	if math.Abs(withLens.TiltDeg-degrees(0.1)) > 3*withLens.UTiltDeg || math.Abs(withLens.DistanceMM-z) > 3*withLens.UDistanceMM ||
		math.Abs(withLens.MMPerPX-z/700) > 3*withLens.UMMPerPX || withLens.UMMPerPX > 0.001*withLens.MMPerPX || !(withLens.UTiltDeg < 0.1) {
		t.Errorf("with the lens: tilt %v +- %v, distance %v +- %v (want %v), mm/px %v +- %v (want %v)", withLens.TiltDeg, withLens.UTiltDeg,
			withLens.DistanceMM, withLens.UDistanceMM, z, withLens.MMPerPX, withLens.UMMPerPX, z/700)
	}
	names := ""
	for _, c := range withLens.Budget {
		names += c.Name + ";"
		if !(c.MMPerPX > 0) {
			t.Errorf("%s contributes %v", c.Name, c.MMPerPX)
		}
	}
	if names != "target's pitch or diameter;fit to the marks;lens;" {
		t.Errorf("budget: %s", names)
	}
}

// With the calibrated lens the scale of a view is right to what is stated, from
// several tilts, with the calibration's own uncertainty counted.
func TestFlatWithCalibratedLens(t *testing.T) {
	within, n := 0, 0
	for seed := range uint64(4) {
		c, err := Calibrate(someViews(10, gauss(seed, 0.2)), CalibrateOptions{})
		if err != nil {
			t.Fatal(err)
		}
		for i := range 10 {
			p := somePose(i)
			mid := part.Point{X: 319.5, Y: 239.5}
			l := trueLens
			want := l.mmPerPX(&p, mid)
			f, err := FitFlat(seen("", trueLens, p, grid(9, 6, 15), gauss(seed+99, 0.2)), FlatViewOptions{Lens: &c.Lens, LensCov: &c.Cov})
			if err != nil {
				t.Fatal(err)
			}
			n++
			if math.Abs(f.MMPerPX-want) <= 3*f.UMMPerPX {
				within++
			}
			if f.UMMPerPX > 0.004*f.MMPerPX {
				t.Errorf("pose %d: u %.3f %%", i, 100*f.UMMPerPX/f.MMPerPX)
			}
		}
	}
	if within < n-2 {
		t.Errorf("the scale is within 3 u in %d of %d", within, n)
	}
}

// A distortion that cannot be taken off, with too few marks in too little of the
// picture, is in the uncertainty.
func TestFlatUnseenDistortion(t *testing.T) {
	p := Placement{R: rotation([3]float64{}), T: [3]float64{0, 0, 300}}
	v := seen("", trueLens, p, grid(5, 4, 25), gauss(1, 0.1))
	f, err := FitFlat(v, FlatViewOptions{TargetURel: 1e-4})
	if err != nil {
		t.Fatal(err)
	}
	l := trueLens
	want := l.mmPerPX(&p, part.Point{X: 319.5, Y: 239.5})
	if off := math.Abs(f.MMPerPX - want); off > 3*f.UMMPerPX || off < 0.003*want {
		t.Errorf("mm/px %v +- %v, truth %v", f.MMPerPX, f.UMMPerPX, want)
	}
	if f.RadialSeen || !strings.Contains(strings.Join(lang.English().SayAll(f.Warnings), "\n"),
		"distortion was not looked for: that needs 30 marks") {
		t.Errorf("%q", f.Warnings)
	}
}

// Far away, a plane tilted one way or the other looks the same; it is said so.
func TestFlatTiltEitherWay(t *testing.T) {
	far := Lens{FX: 70000, FY: 70000, CX: 319.5, CY: 239.5}
	p := Placement{R: rotation([3]float64{0.3, 0, 0}), T: [3]float64{0, 0, 30000}}
	f, err := FitFlat(seen("", far, p, grid(9, 6, 15), gauss(1, 0.1)), FlatViewOptions{Lens: &far})
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(strings.Join(lang.English().SayAll(f.Warnings), "\n"),
		"tilted the other way") || math.Abs(f.TiltDeg-degrees(0.3)) > 0.5 {
		t.Errorf("tilt %v, %q", f.TiltDeg, f.Warnings)
	}
	near := Lens{FX: 700, FY: 700, CX: 319.5, CY: 239.5}
	p.T[2] = 300
	f, err = FitFlat(seen("", near, p, grid(9, 6, 15), gauss(1, 0.1)), FlatViewOptions{Lens: &near})
	if err != nil || strings.Contains(strings.Join(lang.English().SayAll(f.Warnings), "\n"), "tilted the other way") {
		t.Errorf("near: %v, %q", err, f.Warnings)
	}
}

func TestFlatRefuses(t *testing.T) {
	good := affineView(40, 0, 0, 0, 0, grid(5, 5, 1.2), quiet)
	change := func(do func(v *View)) View {
		v := good
		v.Marks = slices.Clone(v.Marks)
		do(&v)
		return v
	}
	for name, c := range map[string]struct {
		v    View
		o    FlatViewOptions
		want string
	}{
		"three marks": {change(func(v *View) { v.Marks = v.Marks[:3] }), FlatViewOptions{}, "view flat: 3 marks"},
		"a row":       {change(func(v *View) { v.Marks = v.Marks[:5] }), FlatViewOptions{}, "on one line of the target"},
		"mirrored": {change(func(v *View) {
			for i := range v.Marks {
				v.Marks[i].YPX = 479 - v.Marks[i].YPX
			}
		}), FlatViewOptions{}, "mirrored"},
		"uncertainty": {good, FlatViewOptions{TargetURel: -1}, "the target's relative uncertainty is given as -1"},
		"NaN":         {good, FlatViewOptions{TargetURel: math.NaN()}, "the target's relative uncertainty"},
		"projection":  {good, FlatViewOptions{Projection: "fisheye"}, `projection is given as "fisheye"`},
		"lens":        {good, FlatViewOptions{Lens: &Lens{}}, "focal length is 0 by 0 px"},
		"beyond lens": {good, FlatViewOptions{Lens: &Lens{FX: 100, FY: 100, CX: 320, CY: 240, K1: -3}},
			"where the lens's distortion is not known"},
		"lens's spread": {good, FlatViewOptions{LensCov: &LensCov{}}, "without the lens"},
	} {
		if f, err := FitFlat(c.v, c.o); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, %v", name, err, f.MMPerPX)
		}
	}
}

// ruler is n marks pitch mm apart along the direction turn, with px/mm changing
// by bend over the picture's width.
func ruler(n int, pitch, scale, turn, bend float64, noise func() float64) View {
	v := View{Name: "ruler", W: 640, H: 480}
	s, c := math.Sincos(-turn * math.Pi / 180)
	for i := range n {
		mm := (float64(i) - float64(n-1)/2) * pitch
		px := mm * scale
		px += bend * px * px / 640 / 2
		v.Marks = append(v.Marks, Mark{Col: i, XMM: mm + 7, UPX: math.NaN(), XPX: 319.5 + px*c + noise(), YPX: 239.5 + px*s + noise()})
	}
	return v
}

func TestRuler(t *testing.T) {
	within := 0
	for seed := range uint64(20) {
		f, err := FitRuler(ruler(41, 0.25, 40, 25, 0, gauss(seed, 0.1)), FlatViewOptions{TargetURel: 1e-4, TiltDeg: 0.01})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(f.MMPerPX-1.0/40) <= 3*math.Hypot(f.Budget[1].MMPerPX, f.Budget[2].MMPerPX) {
			within++
		}
		if math.Abs(f.TurnDeg-25) > 0.1 || math.Abs(f.RMSPX-0.1*math.Sqrt2) > 0.04 || !math.IsNaN(f.TiltDeg) || !math.IsNaN(f.SkewDeg) {
			t.Errorf("%+v", f)
		}
	}
	if within < 19 {
		t.Errorf("within 3 u in %d of 20", within)
	}
	// The other way round, and upright.
	for _, turn := range []float64{-155, 180, 90, -90} {
		f, err := FitRuler(ruler(41, 0.25, 40, turn, 0, quiet), FlatViewOptions{})
		if err != nil || math.Abs(math.Mod(f.TurnDeg-turn+540, 360)-180) > 1e-6 || math.Abs(f.MMPerPX-1.0/40) > 1e-9 {
			t.Errorf("turned by %v: %v, %v, %v mm/px", turn, err, f.TurnDeg, f.MMPerPX)
		}
	}
	bent, err := FitRuler(ruler(41, 0.25, 40, 0, 0.02, gauss(1, 0.05)), FlatViewOptions{})
	if err != nil || !bent.PerspectiveSeen || math.Abs(bent.ScaleChangePct-2) > 0.3 || math.Abs(bent.MMPerPX*40-1) > 5e-4 {
		t.Errorf("bent: %v, %+v", err, bent)
	}
	// Two degrees unseen: (1 - cos 2 deg)/sqrt 3 = 0.0003517 (by hand).
	if u := bent.Budget[2].MMPerPX / bent.MMPerPX; math.Abs(u-0.0003517) > 1e-7 {
		t.Errorf("unseen tilt counts %v", u)
	}
	for name, c := range map[string]struct {
		v    View
		want string
	}{
		"two marks": {ruler(2, 1, 40, 0, 0, quiet), "2 marks were found; at least 3"},
		"a grid":    {affineView(40, 0, 0, 0, 0, grid(5, 5, 1.2), quiet), "not lie on one line of the target"},
		"no pitch":  {ruler(5, 0, 40, 0, 0, quiet), "the same place of the target"},
		"scattered": {ruler(20, 0.1, 40, 0, 0, gauss(1, 20)), "along one line of the picture"},
	} {
		if _, err := FitRuler(c.v, FlatViewOptions{}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestDisc(t *testing.T) {
	// 10 mm at 40 px/mm, tilted by 10 degrees: 400 by 400 cos 10 = 393.92 px (by hand).
	f, err := FitDisc(Ellipse{XPX: 300, YPX: 200, MajorPX: 400, MinorPX: 393.923, AngleDeg: 20, UDiameterPX: 0.2}, 640, 480, 10,
		FlatViewOptions{TargetURel: 1e-4})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(f.MMPerPX-0.025) > 1e-12 || math.Abs(f.TiltDeg-10) > 3*f.UTiltDeg || !(f.UTiltDeg < 1) || math.Abs(f.TiltAlongDeg-110) > 1e-9 {
		t.Errorf("%+v", f)
	}
	// Target 1e-4, picture 0.2/400, squareness (1/cos 10 - 1)/sqrt 12 = 0.0044523, together 0.0044814 of 0.025 (by hand).
	if math.Abs(f.UMMPerPX-0.025*0.0044814) > 2e-7 {
		t.Errorf("u %v", f.UMMPerPX)
	}
	round, err := FitDisc(Ellipse{XPX: 300, YPX: 200, MajorPX: 400, MinorPX: 399.9, UDiameterPX: 0.2}, 640, 480, 10,
		FlatViewOptions{TargetURel: 1e-4})
	if err != nil || round.TiltDeg != 0 || !(round.UTiltDeg > 1) {
		t.Errorf("round: %v, tilt %v +- %v", err, round.TiltDeg, round.UTiltDeg)
	}
	s := round.Scale()
	if s.RMSPX != 0 || s.SkewDeg != nil || s.AspectRatio != nil || s.TiltDeg == nil {
		t.Errorf("scale of a disc: %+v", s)
	}
	for name, c := range map[string]struct {
		e    Ellipse
		mm   float64
		want string
	}{
		"no diameter": {Ellipse{XPX: 3, YPX: 3, MajorPX: 4, MinorPX: 4, UDiameterPX: 1}, 0, "its diameter is given as 0 mm"},
		"swapped":     {Ellipse{XPX: 3, YPX: 3, MajorPX: 4, MinorPX: 5, UDiameterPX: 1}, 1, "the larger must come first"},
		"unknown u":   {Ellipse{XPX: 3, YPX: 3, MajorPX: 4, MinorPX: 4, UDiameterPX: math.NaN()}, 1, "how well"},
		"outside":     {Ellipse{XPX: 700, YPX: 3, MajorPX: 4, MinorPX: 4, UDiameterPX: 1}, 1, "outside the picture"},
		"NaN":         {Ellipse{XPX: math.NaN(), YPX: 3, MajorPX: 4, MinorPX: 4, UDiameterPX: 1}, 1, "must be numbers"},
	} {
		if _, err := FitDisc(c.e, 640, 480, c.mm, FlatViewOptions{}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestRates(t *testing.T) {
	l := DefaultRateLimits()
	flat := func(tilt float64, marks []Mark, sigma float64) Rating {
		f, err := FitFlat(affineView(40, tilt, 0, 0, 0, marks, gauss(1, sigma)), FlatViewOptions{TargetURel: 5e-4, Projection: Telecentric})
		if err != nil {
			t.Fatal(err)
		}
		return RateFlat(f, l)
	}
	for name, c := range map[string]struct {
		got         Rating
		word, first string
	}{
		"good":      {flat(0.5, grid(11, 8, 1.2), 0.05), RatedGood, "good: the scale is known to 0.0"},
		"tilted":    {flat(4, grid(11, 8, 1.2), 0.05), RatedFair, "fair: the target is tilted by 4."},
		"steep":     {flat(15, grid(11, 8, 1.2), 0.05), RatedPoor, "poor: the target is tilted by 15.0 degrees"},
		"scattered": {flat(0.5, grid(11, 8, 1.2), 2), RatedPoor, "poor: the marks lie 2."},
		"small":     {flat(0.5, grid(11, 8, 0.2), 0.02), RatedPoor, "poor: the marks cover 1 %"},
	} {
		if c.got.Word != c.word || !slices.ContainsFunc(c.got.Reasons,
			func(p part.Phrase) bool { return strings.HasPrefix(said(p), c.first) }) {
			t.Errorf("%s: %+v", name, c.got)
		}
	}
	c, err := Calibrate(someViews(12, gauss(1, 0.1)), CalibrateOptions{})
	if err != nil {
		t.Fatal(err)
	}
	good := RateCalibration(c, l)
	if good.Word != RatedGood {
		t.Errorf("lens: %+v", good)
	}
	two, err := Calibrate(someViews(2, gauss(1, 0.1)), CalibrateOptions{Terms: TermsK1})
	if err != nil {
		t.Fatal(err)
	}
	if r := RateCalibration(two, l); r.Word != RatedPoor {
		t.Errorf("two views: %+v", r)
	}
	if w := good.Worse(flat(4, grid(11, 8, 1.2), 0.05)); w.Word != RatedFair || !strings.HasPrefix(said(w.Reasons[0]), "fair") {
		t.Errorf("together: %+v", w)
	}
}

// Whatever the marks, a scale is refused or whole.
func FuzzFitFlat(f *testing.F) {
	f.Add([]byte{10, 10, 50, 12, 90, 11, 9, 60, 52, 61, 88, 64}, false)
	f.Add([]byte{0, 0, 255, 0, 0, 255, 255, 255}, true)
	f.Fuzz(func(t *testing.T, b []byte, withLens bool) {
		v := View{W: 256, H: 256}
		for i := 0; i+1 < len(b) && i < 128; i += 2 {
			v.Marks = append(v.Marks, Mark{Col: i / 2 % 5, Row: i / 10, XMM: float64(i / 2 % 5), YMM: float64(i / 10), XPX: float64(b[i]),
				YPX: float64(b[i+1])})
		}
		o := FlatViewOptions{TargetURel: 0.001}
		if withLens {
			o.Lens, o.LensCov = &Lens{FX: 200, FY: 200, CX: 128, CY: 128, K1: -0.3, K2: 0.1}, &LensCov{{1}, {0, 1}, {0, 0, 1}}
		}
		for name, fit := range map[string]func() (Flat, error){
			"flat":  func() (Flat, error) { return FitFlat(v, o) },
			"ruler": func() (Flat, error) { return FitRuler(v, o) },
		} {
			got, err := fit()
			if err != nil {
				continue
			}
			if !(got.MMPerPX > 0) || math.IsInf(got.MMPerPX, 0) || !(got.UMMPerPX > 0) || !(got.RMSPX >= 0) {
				t.Errorf("%s: %v: %v +- %v mm/px, RMS %v px", name, b, got.MMPerPX, got.UMMPerPX, got.RMSPX)
			}
			RateFlat(got, DefaultRateLimits())
		}
	})
}

// The same of a lens.
func FuzzCalibrate(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8, 9, 10}, 3.0)
	f.Add([]byte{200, 0, 128, 127, 64, 3}, 0.0)
	f.Fuzz(func(t *testing.T, b []byte, size float64) {
		i := 0
		noise := func() float64 {
			if len(b) == 0 {
				return 0
			}
			i++
			return (float64(b[i%len(b)]) - 128) / 128 * size
		}
		var views []View
		for k := range 3 {
			views = append(views, seen("", trueLens, somePose(k), grid(4, 3, 25), noise))
		}
		c, err := Calibrate(views, CalibrateOptions{Terms: TermsRadial})
		if err != nil {
			return
		}
		if c.Lens.Validate() != nil || !(c.RMSPX >= 0) || !(c.LensU.FX >= 0) {
			t.Errorf("%v, %v: %+v +- %+v", b, size, c.Lens, c.LensU)
		}
		Suspect(c)
		RateCalibration(c, DefaultRateLimits())
	})
}

// The lens's part of the budget is as large as lenses from other sets of views
// make the same picture's scale differ. Sets are ten, the poses of one set share
// their lens: the mean of (error/u)^2 is loose.
func TestFlatLensContribution(t *testing.T) {
	const sets, poses = 10, 4
	sum := 0.0
	for seed := range uint64(sets) {
		c, err := Calibrate(someViews(8, gauss(seed, 0.5)), CalibrateOptions{Terms: TermsFull})
		if err != nil {
			t.Fatal(err)
		}
		for i := range poses {
			p, l := somePose(i), trueLens
			f, err := FitFlat(seen("", trueLens, p, grid(9, 6, 15), quiet), FlatViewOptions{Lens: &c.Lens, LensCov: &c.Cov})
			if err != nil {
				t.Fatal(err)
			}
			z := (f.MMPerPX - l.mmPerPX(&p, part.Point{X: 319.5, Y: 239.5})) / f.Budget[2].MMPerPX
			sum += z * z / (sets * poses)
		}
	}
	if sum < 0.3 || sum > 2.5 {
		t.Errorf("the mean of (error/u)^2 is %.2f", sum)
	}
}

// Started from the tilt the wrong way, the fit finds the right one.
func TestBothTilts(t *testing.T) {
	l := Lens{FX: 2000, FY: 2000, CX: 319.5, CY: 239.5}
	p := Placement{R: rotation([3]float64{0.3, 0.2, 0.4}), T: [3]float64{5, 5, 900}}
	v := seen("", l, p, grid(9, 6, 15), gauss(1, 0.05))
	for _, start := range []Placement{p, p.flipped(part.Point{})} {
		b, other, err := bothTilts(&l, v, start)
		if err != nil || turnBetween(b.poses[0], p) > 0.02 || !(other > 2) || math.IsInf(other, 1) {
			t.Errorf("%v, turned by %v, the other is %v times as bad", err, turnBetween(b.poses[0], p), other)
		}
	}
	q := p.flipped(part.Point{}).flipped(part.Point{})
	if turnBetween(p, q) > 1e-6 || math.Abs(p.T[2]-q.T[2]) > 1e-9 {
		t.Errorf("flipped twice: %+v", q)
	}
}

// A disc off the axis of a barrel lens is pictured too small; with the lens its
// scale is that of the middle. Its outline is drawn point by point.
func TestDiscWithLens(t *testing.T) {
	l := Lens{FX: 700, FY: 700, CX: 319.5, CY: 239.5, K1: -0.25}
	area, ring := 0.0, make([]part.Point, 720)
	for i := range ring { // 4 mm across, 300 mm away, at x = 60 mm
		s, c := math.Sincos(float64(i) / 360 * math.Pi)
		ring[i] = l.DistortPX(part.Point{X: 319.5 + 700*(60+2*c)/300, Y: 239.5 + 700*2*s/300})
	}
	for i, p := range ring {
		q := ring[(i+1)%len(ring)]
		area += (p.X*q.Y - q.X*p.Y) / 2
	}
	d := 2 * math.Sqrt(area/math.Pi)
	at := l.DistortPX(part.Point{X: 319.5 + 140, Y: 239.5})
	e := Ellipse{XPX: at.X, YPX: at.Y, MajorPX: d, MinorPX: d, UDiameterPX: 0.01}
	f, err := FitDisc(e, 640, 480, 4, FlatViewOptions{Lens: &l})
	if err != nil || math.Abs(f.MMPerPX/(300.0/700)-1) > 1e-3 {
		t.Errorf("%v: %v mm/px, want %v", err, f.MMPerPX, 300.0/700)
	}
	plain, err := FitDisc(e, 640, 480, 4, FlatViewOptions{})
	if err != nil || plain.MMPerPX/(300.0/700)-1 < 0.01 {
		t.Errorf("without the lens: %v, %v mm/px", err, plain.MMPerPX)
	}
}
