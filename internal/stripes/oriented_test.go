package stripes

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// coarse is a face of 8 mm with few pixels, drawn and measured in still less time.
func coarse(seed uint64) synth.StripesParams {
	p := small(seed)
	p.MMPerPX, p.W, p.H = 0.03, 288, 288
	return p
}

// slope is a surface's, rad, at x, y mm from the face's middle.
type slope = func(x, y float64) (sx, sy float64)

// allOf are surfaces on top of each other.
func allOf(of ...slope) slope {
	return func(x, y float64) (sx, sy float64) {
		for _, f := range of {
			a, b := f(x, y)
			sx, sy = sx+a, sy+b
		}
		return sx, sy
	}
}

// crown is a face's own curvature, 1/m.
func crown(perM float64) slope {
	return func(x, y float64) (float64, float64) { return perM / 1000 * x, 0.8 * perM / 1000 * y }
}

// ridge is a run: so long, Gaussian across.
func ridge(x0, y0, deg, heightMM, sigmaMM, longMM float64) slope {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	return func(x, y float64) (float64, float64) {
		u, v := (x-x0)*cos+(y-y0)*sin, (y-y0)*cos-(x-x0)*sin
		s := heightMM * v / (sigmaMM * sigmaMM) * math.Exp(-v*v/(2*sigmaMM*sigmaMM)) / (1 + math.Exp((math.Abs(u)-longMM/2)/0.1))
		return -sin * s, cos * s
	}
}

// sandings are those of a result.
func sandings(r Result) (out []part.Finding) {
	for _, f := range r.Findings {
		if f.Kind == part.Sanding {
			out = append(out, f)
		}
	}
	return out
}

// drawnMRad is the root mean square of a drawing's slope over the cells of a face's largest patch.
func drawnMRad(m *Maps, p synth.StripesParams, of slope) float64 {
	g := m.grooves(paramsOf(p))
	var cells []int
	for _, patch := range g.patches(paramsOf(p)) {
		if len(patch.cells) > len(cells) {
			cells = patch.cells
		}
	}
	sum, n := 0.0, 0.0
	for _, c := range cells {
		for k := range g.side * g.side {
			x := float64(m.X0) + (float64(c%g.cols*g.side+k%g.side)+0.5)*float64(m.Bin) - 0.5
			y := float64(m.Y0) + (float64(c/g.cols*g.side+k/g.side)+0.5)*float64(m.Bin) - 0.5
			sx, sy := of((x-float64(p.W-1)/2)*p.MMPerPX, (float64(p.H-1)/2-y)*p.MMPerPX)
			sum, n = sum+sx*sx+sy*sy, n+1
		}
	}
	return 1000 * math.Sqrt(sum/n)
}

// Grooves, random or a sine, in a part of the face or all over it, are one patch of sanding marks:
// their angle within 3 degrees, their slope within two standard uncertainties, both by the
// drawing; and they are nothing else besides.
func TestGroovesAreSandingMarks(t *testing.T) {
	for i, c := range []struct {
		g    synth.Grooves
		area float64 // least and most, mm2, by the drawing: of a part, where it is whole, and a cell beyond its end
		most float64
	}{
		{synth.Grooves{AngleDeg: 30, SpreadDeg: 2, SlopeRad: 0.0015, FromMM: 0.15, ToMM: 0.4}, 33, 50},
		{synth.Grooves{AngleDeg: 75, SlopeRad: 0.0012, FromMM: 0.5, ToMM: 0.5}, 33, 50},
		{synth.Grooves{AngleDeg: 165, SlopeRad: 0.0008, FromMM: 0.2, ToMM: 0.2}, 33, 50},
		{synth.Grooves{AngleDeg: 120, SpreadDeg: 2, SlopeRad: 0.002, FromMM: 0.2, ToMM: 0.35, X: 0.8, Y: -0.6, RadiusMM: 1.2}, 4.5, 12.6},
		{synth.Grooves{AngleDeg: 0, SpreadDeg: 1, SlopeRad: 0.0025, FromMM: 0.25, ToMM: 0.5, X: -1, Y: 0.5, RadiusMM: 1}, 3.1, 10.2},
	} {
		p := coarse(uint64(400 + i))
		c.g.Seed = uint64(i)
		p.Slope = allOf(c.g.Slope(), crown(8))
		r := measured(t, p)
		found := sandings(r)
		if len(found) != 1 || len(r.Findings) != 1 {
			t.Errorf("%+v: %d found, %d of them sanding marks: %+v", c.g, len(r.Findings), len(found), r.Findings)
			continue
		}
		f := found[0]
		if d := math.Mod(*f.AngleDeg-c.g.AngleDeg+270, 180) - 90; math.Abs(d) > 3 {
			t.Errorf("%+v: %.1f degrees", c.g, *f.AngleDeg)
		}
		got, u, want := f.Features["slope_mrad"], f.Features["u_slope_mrad"], drawnMRad(r.Maps, p, c.g.Slope())
		if math.Abs(got-want) > 2*u || u > 0.2*got {
			t.Errorf("%+v: %.3f mrad, u %.3f; drawn %.3f", c.g, got, u, want)
		}
		if *f.AreaMM2 < c.area || *f.AreaMM2 > c.most {
			t.Errorf("%+v: %.1f mm2, %g to %g wanted", c.g, *f.AreaMM2, c.area, c.most)
		}
	}
}

// A crater among grooves is still found, once, and nothing else is.
func TestCraterAmongGrooves(t *testing.T) {
	p := coarse(420)
	g := synth.Grooves{AngleDeg: 60, SpreadDeg: 2, SlopeRad: 0.0015, FromMM: 0.2, ToMM: 0.4, Seed: 9}
	p.Slope = allOf(g.Slope(), dent(0.5, 0.5, 0.01, 0.35))
	r := measured(t, p)
	if len(r.Findings) != 2 || r.Findings[0].Kind != part.Crater || len(sandings(r)) != 1 {
		t.Errorf("%+v", r.Findings)
	}
}

// Without the screen's place grooves are told by their phase; on a slope too small to matter, and
// where waves turn the phase round, they are not told.
func TestWhenGroovesAreTold(t *testing.T) {
	g := synth.Grooves{AngleDeg: 40, SpreadDeg: 1, SlopeRad: 0.0015, FromMM: 0.2, ToMM: 0.4, Seed: 3}
	p := coarse(410)
	p.Slope = g.Slope()
	images, outline := synth.Stripes(p)
	q := paramsOf(p)
	known, err := Measure(images, outline, q)
	if err != nil {
		t.Fatal(err)
	}
	q.Screen = Screen{}
	r, err := Measure(images, outline, q)
	if err != nil {
		t.Fatal(err)
	}
	in, out := sandings(known), sandings(r)
	if len(in) != 1 || len(out) != 1 || math.Abs(*out[0].AngleDeg-40) > 3 {
		t.Fatalf("%+v with the screen's place, %+v without", in, out)
	}
	k := 1000 * paramsOf(p).Screen.slopePerRad()[0] // the other way it is 1/cos 20 degrees larger
	if ratio := in[0].Features["slope_mrad"] / out[0].Features["phase_rad"] / k; ratio < 0.99 || ratio > 1.07 {
		t.Errorf("slope over phase is %.3f of the stripes'", ratio)
	}
	if _, ok := out[0].Features["slope_mrad"]; ok {
		t.Error("a slope without the screen's place")
	}
	g.SlopeRad = 0.0003
	p.Slope = g.Slope()
	if found := sandings(measured(t, p)); len(found) != 0 {
		t.Errorf("0.3 mrad: %+v", found)
	}
	g.SlopeRad = 0.0015
	p.Slope = allOf(g.Slope(), waves(rand.New(rand.NewPCG(8, 8)), 1.2, 0.010))
	if r := measured(t, p); len(sandings(r)) != 0 || !r.Waves.AtLeast {
		t.Errorf("under steep waves: %+v, at least %v", sandings(r), r.Waves.AtLeast)
	}
}

// Sanding marks are not called on 48 faces without any: smooth ones, crowned, on dark and light paint;
// orange peel of all wavelengths; runs, narrow and wide, faint and steep; prints and
// dents; and light that is not right.
func TestNoGroovesNoSandingMarks(t *testing.T) {
	rng := rand.New(rand.NewPCG(15, 2))
	for k := range 48 {
		p := coarse(uint64(1000 + k))
		p.RadiusMM, p.W, p.H = 3.3, 240, 240
		base := crown(15 * rng.Float64())
		peel := waves(rng, 0.15*math.Pow(15, rng.Float64()), 0.0005*math.Pow(8, rng.Float64()))
		run := ridge(2*rng.Float64()-1, 2*rng.Float64()-1, 180*rng.Float64(), 0.0002*math.Pow(20, rng.Float64()), 0.1+0.3*rng.Float64(),
			1+3*rng.Float64())
		p.Slope = base
		switch k % 6 {
		case 0:
			p.Paint = 0.05 + 0.5*rng.Float64()
		case 1, 2:
			p.Slope = allOf(base, peel)
		case 3:
			p.Slope = allOf(base, run)
		case 4:
			p.Slope, p.PaintAt = allOf(base, dent(1, 1, 0.001, 0.4), dent(-1, 0.5, 0.003, 0.3)), ornament
		case 5:
			switch k / 6 % 3 {
			case 0:
				p.Fault.Screen = in(1.03, 1, rng.IntN(8))
			case 1:
				p.Fault.Band = func(l part.Light, y float64) float64 {
					return 1 + 0.02*math.Sin(2*math.Pi*y*4+1.7*float64(number(l)+2))
				}
			case 2:
				p.Slope = allOf(base, run, waves(rng, 0.4, 0.001))
			}
		}
		t.Run(fmt.Sprintf("face %d", k), func(t *testing.T) {
			synth.Sampled(t, 3)
			if found := sandings(measured(t, p)); len(found) > 0 {
				t.Errorf("%+v", found)
			}
		})
	}
}

// Sanding marks that the paint shows too are one finding, which keeps the number of lines; what
// else lies in the grooves stays.
func TestGroovesJoinSandingMarksAlone(t *testing.T) {
	box := part.Box{100, 100, 200, 200}
	r := Result{Maps: &Maps{}, Findings: []part.Finding{{Kind: part.Sanding, Box: box, AreaMM2: part.Num(9)}}}
	got := r.Join([]part.Finding{
		{Kind: part.Sanding, Box: part.Box{150, 150, 60, 40}, Lines: 12},
		{Kind: part.Bubble, Box: part.Box{190, 190, 20, 20}},
	}, "face_white.jpg")
	if len(got) != 2 || got[0].Kind != part.Bubble || got[1].Kind != part.Sanding || got[1].Lines != 12 || len(got[1].AlsoIn) != 1 {
		t.Errorf("%+v", got)
	}
}
