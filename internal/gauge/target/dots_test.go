package target

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"finishbench/internal/lang"
	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// wide is an invented lens with much barrel distortion.
var wide = optics.Lens{FX: 900, FY: 900, CX: 400, CY: 300, K1: -0.25, K2: 0.05}

func dotGrid(cols, rows int) optics.Target {
	return optics.Target{Kind: optics.Dots, Cols: cols, Rows: rows, PitchMM: 5, DiameterMM: 3}
}

func asymGrid(cols, rows int) optics.Target {
	return optics.Target{Kind: optics.AsymmetricDots, Cols: cols, Rows: rows, PitchMM: 5, DiameterMM: 2}
}

// before is a picture of a small grid held in some pose.
func before(turnDeg, tiltDeg float64) synth.TargetParams {
	p := synth.DefaultTarget()
	p.Map = synth.Tilted(wide, synth.Placement{XMM: 12, YMM: 12, DistanceMM: 90, AboutXDeg: tiltDeg, AboutYDeg: -tiltDeg / 2, AboutDeg: turnDeg})
	return p
}

// off compares marks with where they were drawn: mean and standard deviation of
// one coordinate's error, px, and the errors' root mean square in stated
// uncertainties.
func off(f Found, at func(x, y float64) part.Point) (bx, by, sd, ratio float64) {
	n := float64(len(f.View.Marks))
	for _, m := range f.View.Marks {
		q := at(m.XMM, m.YMM)
		bx, by = bx+(m.XPX-q.X)/n, by+(m.YPX-q.Y)/n
	}
	for _, m := range f.View.Marks {
		q := at(m.XMM, m.YMM)
		ex, ey := m.XPX-q.X, m.YPX-q.Y
		sd += ((ex-bx)*(ex-bx) + (ey-by)*(ey-by)) / (2 * n)
		ratio += (ex*ex + ey*ey) / (2 * n * m.UPX * m.UPX)
	}
	return bx, by, math.Sqrt(sd), math.Sqrt(ratio)
}

// Dots drawn in known places, small and large, sharp and soft, through a lens
// that bends, tilted: centres within 0.02 px in the mean and 0.05 px standard
// deviation, mean diameter within 0.1 % where the dots are 8 px or more and not
// much softer than that, and the stated uncertainty neither far too small nor
// too large. Expected values: the drawing's own.
func TestDotsAccuracy(t *testing.T) {
	for _, size := range []float64{1, 0.5} {
		for _, tilt := range []float64{0, 35} {
			for _, blur := range []float64{0.5, 0.8, 1.4} {
				spec := optics.Target{Kind: optics.Dots, Cols: 12, Rows: 9, PitchMM: 5 * size, DiameterMM: 3 * size}
				p := synth.DefaultTarget()
				p.BlurSigmaPX, p.NoiseSigma, p.Gradient = blur, 1.5, 0.3
				p.Map = synth.Tilted(wide, synth.Placement{XMM: 27.5 * size, YMM: 20 * size, DistanceMM: 95, AboutXDeg: tilt,
					AboutYDeg: -tilt / 2, AboutDeg: 4})
				name := fmt.Sprintf("size %g tilt %g blur %g", size, tilt, blur)
				f, err := Find(synth.Dots(p, spec, nil), spec, name)
				if err != nil || len(f.View.Marks) != 108 || f.Partial {
					t.Errorf("%s: %d marks, partial %v, %v", name, len(f.View.Marks), f.Partial, err)
					continue
				}
				bx, by, sd, ratio := off(f, p.Map)
				if math.Hypot(bx, by) > 0.02 || sd > 0.05 {
					t.Errorf("%s: centres off by %.4f, %.4f px in the mean, SD %.4f", name, bx, by, sd)
				}
				if ratio < 0.6 || ratio > 3 {
					t.Errorf("%s: errors are %.2f times the stated uncertainty", name, ratio)
				}
				got, want := 0.0, 0.0
				for i, m := range f.View.Marks {
					got += f.Ellipses[i].DiameterPX()
					want += 2 * math.Sqrt(drawnArea(p.Map, m, spec.DiameterMM)/math.Pi)
				}
				if e := got/want - 1; math.Abs(e) > 0.001 {
					t.Errorf("%s: mean diameter off by %.3f %%", name, 100*e)
				}
				// Below 0.8 px the drawing's own blur, sampled at pixels, is no longer Gaussian.
				if w := math.Hypot(blur, pixelWidth); blur >= 0.8 && math.Abs(f.BlurPX/w-1) > 0.05 {
					t.Errorf("%s: blur %.3f px, drawn %.3f", name, f.BlurPX, w)
				}
			}
		}
	}
}

// drawnArea is the area of a dot's picture, px, by the polygon's formula.
func drawnArea(at func(x, y float64) part.Point, m optics.Mark, diameter float64) float64 {
	const n = 2000
	sum := 0.0
	point := func(i int) part.Point {
		s, c := math.Sincos(2 * math.Pi * float64(i) / n)
		return at(m.XMM+diameter/2*c, m.YMM+diameter/2*s)
	}
	for i := range n {
		a, b := point(i), point(i+1)
		sum += a.X*b.Y - b.X*a.Y
	}
	return math.Abs(sum) / 2
}

// The middle of the ellipse is not the picture of the dot's middle: at a steep
// tilt it lies tenths of a pixel off, and the correction takes that away.
func TestDotsCentreIsTakenOffTheEllipse(t *testing.T) {
	spec := optics.Target{Kind: optics.Dots, Cols: 6, Rows: 5, PitchMM: 12, DiameterMM: 8}
	lens := optics.Lens{FX: 700, FY: 700, CX: 400, CY: 300}
	p := synth.DefaultTarget()
	p.NoiseSigma = 0.5
	p.Map = synth.Tilted(lens, synth.Placement{XMM: 30, YMM: 24, DistanceMM: 110, AboutXDeg: 50})
	f, err := Find(synth.Dots(p, spec, nil), spec, "steep")
	if err != nil {
		t.Fatal(err)
	}
	raw := 0.0
	for i, m := range f.View.Marks {
		q := p.Map(m.XMM, m.YMM)
		raw = max(raw, math.Hypot(f.Ellipses[i].XPX-q.X, f.Ellipses[i].YPX-q.Y))
	}
	bx, by, sd, _ := off(f, p.Map)
	if raw < 0.5 {
		t.Errorf("the ellipses' middles are at most %.3f px off: the test shows nothing", raw)
	}
	if math.Hypot(bx, by) > 0.02 || sd > 0.05 {
		t.Errorf("corrected centres are off by %.4f, %.4f px in the mean, SD %.4f", bx, by, sd)
	}
}

// However a grid is held, column 0, row 0 is at the top left as far as its shape
// leaves a choice, and never mirrored.
func TestDotsOrder(t *testing.T) {
	for _, turn := range []float64{0, 30, 100, 180, 250} {
		for _, spec := range []optics.Target{dotGrid(6, 5), asymGrid(4, 11), asymGrid(5, 8)} {
			tilt := 20.0
			if spec.Kind == optics.Dots {
				tilt = 50
			}
			p := before(turn, tilt)
			f, err := Find(synth.Dots(p, spec, nil), spec, "held")
			if err != nil || len(f.View.Marks) != spec.Cols*spec.Rows {
				t.Errorf("%s %d x %d turned by %g: %d marks, %v", spec.Kind, spec.Cols, spec.Rows, turn, len(f.View.Marks), err)
				continue
			}
			// The way the marks were drawn, or half a turn of it.
			first, last := f.View.Marks[0], f.View.Marks[len(f.View.Marks)-1]
			q, r := p.Map(first.XMM, first.YMM), p.Map(last.XMM, last.YMM)
			same := math.Hypot(first.XPX-q.X, first.YPX-q.Y) < 1
			half := math.Hypot(first.XPX-r.X, first.YPX-r.Y) < 1
			upright := spec.Kind == optics.AsymmetricDots && spec.Rows%2 == 1
			if !same && (!half || upright) {
				t.Errorf("%s %d x %d turned by %g: dot 0, 0 at %.1f, %.1f; drawn at %.1f, %.1f", spec.Kind, spec.Cols, spec.Rows, turn,
					first.XPX, first.YPX, q.X, q.Y)
			}
			right := f.View.Marks[spec.Cols-1]
			if !upright && right.XPX-first.XPX+last.YPX-right.YPX < 0 {
				t.Errorf("%s %d x %d turned by %g: columns run to the left", spec.Kind, spec.Cols, spec.Rows, turn)
			}
		}
	}
}

func inMirror(p synth.TargetParams) synth.TargetParams {
	m := p.Map
	p.Map = func(x, y float64) part.Point { q := m(x, y); q.X = float64(p.W-1) - q.X; return q }
	return p
}

func shifted(p synth.TargetParams, dx float64) synth.TargetParams {
	m := p.Map
	p.Map = func(x, y float64) part.Point { q := m(x, y); q.X += dx; return q }
	return p
}

// What is wrong with a picture of dots is said in a sentence.
func TestDotsProblems(t *testing.T) {
	none := func(int, int) bool { return true }
	for _, c := range []struct {
		name         string
		p            synth.TargetParams
		drawn, asked optics.Target
		skip         func(c, r int) bool
		want         string // in the error; "" none
		note         string
		marks        int
	}{
		{"light on dark", synth.TargetParams{}, dotGrid(6, 5), dotGrid(6, 5), nil, "", "", 30},
		{"two missing", before(0, 10), dotGrid(6, 5), dotGrid(6, 5), func(c, r int) bool { return c == 2 && r == 2 || c == 5 && r == 4 },
			"", "2 dots of 30 not seen", 28},
		{"too few asked", before(0, 10), dotGrid(6, 5), dotGrid(5, 5), nil,
			"30 dots in 6 columns and 5 rows are seen, more than asked for", "", 30},
		{"too many asked", before(0, 10), dotGrid(6, 5), dotGrid(7, 5), nil,
			"found in part: 30 dots in 6 columns and 5 rows of 7 x 5; check the numbers", "", 30},
		{"a column outside", shifted(before(0, 10), -285), dotGrid(6, 5), dotGrid(6, 5), nil,
			"the picture's border seems to cut the target off", "", 25},
		{"a column cut", shifted(before(0, 0), -278), dotGrid(6, 5), dotGrid(6, 5), nil, "",
			"5 dots left out: cut by the picture's border", 25},
		{"in a mirror", inMirror(before(10, 20)), asymGrid(5, 8), asymGrid(5, 8), nil, "seen in a mirror", "", 40},
		{"asymmetric, not plain", before(0, 10), asymGrid(5, 10), dotGrid(5, 10), nil, "the dots seen stand in an asymmetric grid", "", 0},
		{"plain, not asymmetric", before(0, 10), dotGrid(6, 5), asymGrid(6, 5), nil, "the dots seen stand in a plain grid", "", 0},
		{"two grids", before(0, 10), dotGrid(9, 5), dotGrid(4, 5), func(c, _ int) bool { return c == 4 }, "two grids of dots are seen",
			"", 20},
		{"nothing", before(0, 10), dotGrid(6, 5), dotGrid(6, 5), none, "not found", "", 0},
	} {
		if c.name == "light on dark" {
			c.p = before(5, 30)
			c.p.Negative = true
		}
		f, err := Find(synth.Dots(c.p, c.drawn, c.skip), c.asked, "a.png")
		checkProblem(t, c.name, f, err, c.want, c.note, c.marks)
	}
	far := synth.DefaultTarget()
	far.Map = synth.Flat(1, part.Point{X: 300, Y: 200}, 3)
	f, err := Find(synth.Dots(far, dotGrid(10, 8), nil), dotGrid(10, 8), "a.png")
	checkProblem(t, "far", f, err, "pixels apart; go nearer", "", 0)
	dark := before(0, 0)
	dark.Dark, dark.Light = 0, 0.001
	f, err = Find(synth.Dots(dark, dotGrid(6, 5), nil), dotGrid(6, 5), "a.png")
	checkProblem(t, "black", f, err, "the picture is all black", "", 0)
	bright := before(0, 0)
	bright.Dark, bright.Light = 2, 3
	f, err = Find(synth.Dots(bright, dotGrid(6, 5), nil), dotGrid(6, 5), "a.png")
	checkProblem(t, "white", f, err, "all white (clipped)", "", 0)
}

func checkProblem(t *testing.T, name string, f Found, err error, want, note string, marks int) {
	t.Helper()
	var p *Problem
	if err != nil && (!errors.As(err, &p) || !strings.Contains(err.Error(), "a.png")) {
		t.Errorf("%s: the error is no Problem that names its picture: %v", name, err)
	}
	if (err != nil) != (want != "") || err != nil && !strings.Contains(err.Error(), want) {
		t.Errorf("%s: error %v; want %q", name, err, want)
	}
	if !strings.Contains(strings.Join(lang.English().SayAll(f.Notes), "|"), note) {
		t.Errorf("%s: notes %q; want %q", name, f.Notes, note)
	}
	if len(f.View.Marks) != marks {
		t.Errorf("%s: %d marks, want %d", name, len(f.View.Marks), marks)
	}
	for _, m := range f.View.Marks {
		if math.IsNaN(m.XPX+m.YPX) || !(m.UPX > 0) {
			t.Errorf("%s: mark %+v", name, m)
		}
	}
}

// A dot that something half hides is left out, and no other is harmed.
func TestDotsHalfHidden(t *testing.T) {
	spec := dotGrid(6, 5)
	p := before(0, 10)
	im := synth.Dots(p, spec, nil)
	q := p.Map(10, 10) // dot 2, 2
	for y := int(q.Y) - 16; y < int(q.Y)+16; y++ {
		for x := int(q.X); x < int(q.X)+16; x++ {
			im.Pix8[y*im.W+x] = 217 // the ground's level
		}
	}
	f, err := Find(im, spec, "a.png")
	if err != nil || len(f.View.Marks) != 29 || !f.Partial {
		t.Fatalf("%d marks, partial %v, %v, %q", len(f.View.Marks), f.Partial, err, f.Notes)
	}
	for _, m := range f.View.Marks {
		if m.Col == 2 && m.Row == 2 {
			t.Error("the half-hidden dot is among the marks")
		}
	}
	if bx, by, sd, _ := off(f, p.Map); math.Hypot(bx, by) > 0.02 || sd > 0.05 {
		t.Errorf("the others are off by %.4f, %.4f px in the mean, SD %.4f", bx, by, sd)
	}
}

// Targets that cannot be are refused before a picture is looked at.
func TestCheck(t *testing.T) {
	for _, c := range []struct {
		spec optics.Target
		want string
	}{
		{optics.Target{}, `no kind of target named ""`},
		{optics.Target{Kind: "charuco", Cols: 5, Rows: 7, PitchMM: 1}, "cannot read ChArUco boards: use a chessboard or a dot grid"},
		{optics.Target{Kind: optics.Dots, Cols: 5, Rows: 5}, "the pitch is 0 mm"},
		{optics.Target{Kind: optics.Dots, Cols: 5, Rows: 5, PitchMM: math.NaN()}, "the pitch is NaN mm"},
		{optics.Target{Kind: optics.Dots, Cols: 5, Rows: 5, PitchMM: 1, DiameterMM: 1}, "touch each other"},
		{optics.Target{Kind: optics.AsymmetricDots, Cols: 5, Rows: 5, PitchMM: 1, DiameterMM: 0.8}, "touch each other"},
		{optics.Target{Kind: optics.Dots, Cols: 2, Rows: 5, PitchMM: 1}, "both numbers must be 3 or more"},
		{optics.Target{Kind: optics.Dots, Cols: 500, Rows: 3, PitchMM: 1}, "at most"},
		{optics.Target{Kind: optics.Chessboard, Cols: 2, Rows: 5, PitchMM: 1}, "both numbers must be 3 or more"},
		{optics.Target{Kind: optics.Ruler}, "the pitch is 0 mm"},
		{optics.Target{Kind: optics.Ruler, PitchMM: 1, Cols: -3}, "-3 ticks"},
		{optics.Target{Kind: optics.Disc}, "the diameter is 0 mm"},
		{dotGrid(10, 8), ""},
	} {
		err := Check(c.spec)
		if (err != nil) != (c.want != "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v; want %q", c.spec, err, c.want)
		}
	}
	if _, err := Find(&part.Image{W: 40, H: 40, C: 2}, dotGrid(6, 5), "a.png"); err == nil {
		t.Error("an image without samples was searched")
	}
}

// FuzzFind: no picture makes the searches that are written here panic, or give a
// mark without a place.
func FuzzFind(f *testing.F) {
	p := synth.DefaultTarget()
	p.W, p.H = 64, 48
	p.Map = synth.Flat(0.6, part.Point{X: 12, Y: 10}, 5)
	f.Add(synth.Dots(p, dotGrid(5, 4), nil).Pix8, byte(0))
	f.Add(synth.Ruler(p, 12, 4, 1.5, 8, nil).Pix8, byte(1))
	f.Add(synth.Disc(p, 12).Pix8, byte(2))
	f.Fuzz(func(t *testing.T, pix []byte, kind byte) {
		const w = 64
		if len(pix) < 16*w {
			return
		}
		h := min(len(pix)/w, 64)
		im := &part.Image{W: w, H: h, C: 1, Pix8: pix[:w*h]}
		specs := []optics.Target{dotGrid(5, 4), {Kind: optics.Ruler, PitchMM: 1}, {Kind: optics.Disc, DiameterMM: 1}, asymGrid(4, 5)}
		got, _ := Find(im, specs[int(kind)%len(specs)], "fuzz")
		for _, m := range got.View.Marks {
			if math.IsNaN(m.XPX) || math.IsNaN(m.YPX) || math.IsInf(m.XPX, 0) || math.IsInf(m.YPX, 0) {
				t.Fatalf("mark %+v", m)
			}
		}
	})
}

// BenchmarkDots12Mpx is a grid of 20 x 20 dots in a picture of 4000 x 3000.
func BenchmarkDots12Mpx(b *testing.B) {
	p := synth.DefaultTarget()
	p.W, p.H, p.NoiseSigma, p.BlurSigmaPX = 4000, 3000, 2, 1.5
	p.Map = synth.Tilted(optics.Lens{FX: 4500, FY: 4500, CX: 2000, CY: 1500, K1: -0.2},
		synth.Placement{XMM: 47.5, YMM: 47.5, DistanceMM: 180, AboutXDeg: 20})
	im := synth.Dots(p, dotGrid(20, 20), nil)
	for b.Loop() {
		f, err := Find(im, dotGrid(20, 20), "large")
		if err != nil || len(f.View.Marks) != 400 {
			b.Fatalf("%d marks, %v", len(f.View.Marks), err)
		}
	}
}
