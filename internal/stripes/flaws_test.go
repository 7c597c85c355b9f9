package stripes

import (
	"maps"
	"math"
	"testing"

	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// Faults drawn into the pictures of a clean face make the pictures that synth draws of a face that has them,
// by its geometry: to a fiftieth of the stripes' amplitude, over the fault. Its size, depth and share are the
// drawing's.
func TestFlawsAreThoseOfTheGeometry(t *testing.T) {
	p := small(1)
	p.Bits, p.Noise = 16, 0.01
	crown := func(x, y float64) (float64, float64) { return 0.002 * x, 0.003 * y }
	p.Slope = crown
	clean, outline := synth.Stripes(p)
	r, err := Measure(clean, outline, paramsOf(p))
	if err != nil {
		t.Fatal(err)
	}
	own := r.Maps
	for _, f := range []synth.Flaw{
		{Kind: part.Crater, SizeMM: 0.8, SlopeRad: 0.003}, // its depth can be told
		{Kind: part.Crater, SizeMM: 0.5, SlopeRad: 0.03},
		{Kind: part.Bubble, SizeMM: 0.6, SlopeRad: 0.004},
		{Kind: part.Run, SizeMM: 1.6, SlopeRad: 0.006, AngleDeg: 30},
		{Kind: part.Missed, SizeMM: 1, SlopeRad: 0.06},
		{Kind: part.Haze, SizeMM: 1.2, Lost: 0.3},
	} {
		const x0, y0 = 0.9, -0.7
		p.Slope = func(x, y float64) (float64, float64) {
			sx, sy := crown(x, y)
			tx, ty, _ := f.At(x-x0, y-y0)
			return sx + tx, sy + ty
		}
		p.Gloss = func(x, y float64) float64 {
			_, _, g := f.At(x-x0, y-y0)
			return g
		}
		want, _ := synth.Stripes(p)
		hx, hy := f.HalfMM()
		at := Flaw{X: float64(p.W-1)/2 + x0/p.MMPerPX, Y: float64(p.H-1)/2 - y0/p.MMPerPX, ReachMM: math.Hypot(hx, hy), Surface: f.At}
		got, err := own.WithFlaws(clean, []Flaw{at})
		if err != nil {
			t.Fatal(err)
		}
		for _, of := range Lights {
			var off, amplitude, n float64
			for k, l := range of {
				for y := int(at.Y - hy/p.MMPerPX); y <= int(at.Y+hy/p.MMPerPX); y++ {
					for x := int(at.X - hx/p.MMPerPX); x <= int(at.X+hx/p.MMPerPX); x++ {
						v := light(got[l], x, y) - light(want[l], x, y)
						a := (light(clean[l], x, y) - light(clean[of[(k+2)%Phases]], x, y)) / 2
						off, amplitude, n = off+v*v, amplitude+a*a, n+1
					}
				}
			}
			// A cos is A / sqrt 2 on average; haze's mean is not followed, which is its loss of the mirrored mean.
			if off, amplitude = math.Sqrt(off/n), math.Sqrt(2*amplitude/n); f.Kind != part.Haze && off > 0.02*amplitude {
				t.Errorf("%s of %.1f mm: off by %.3f of the amplitude", f.Kind, f.SizeMM, off/amplitude)
			}
		}
		few := own.withFew(t, clean, at)
		for _, l := range []part.Light{part.StripesX1, part.StripesY2} { // a reduced set's are the same
			if a, b := light(few[l], int(at.X)+9, int(at.Y)-6), light(got[l], int(at.X)+9, int(at.Y)-6); math.Abs(a-b) > 2e-4 {
				t.Errorf("%s, %s: %g of six pictures, %g of eight", f.Kind, l, a, b)
			}
		}
		if f.Kind == part.Haze { // its phasor is
			for _, of := range Lights {
				x, y := int(at.X+0.5), int(at.Y+0.5)
				a := func(im map[part.Light]*part.Image) float64 {
					return math.Hypot(light(im[of[0]], x, y)-light(im[of[2]], x, y), light(im[of[1]], x, y)-light(im[of[3]], x, y))
				}
				if r := a(got) / a(want); math.Abs(r-1) > 0.02 || math.Abs(a(got)/a(clean)-0.7) > 0.02 {
					t.Errorf("haze: %.3f of the drawing's amplitude, %.3f of the clean one's", r, a(got)/a(clean))
				}
			}
		}
		r, err := Measure(got, outline, paramsOf(p))
		if err != nil || len(r.Findings) != 1 || r.Findings[0].Kind != f.Kind {
			t.Errorf("%s of %.1f mm: %+v, %v", f.Kind, f.SizeMM, r.Findings, err)
			continue
		}
		if depth, ok := r.Findings[0].Features["depth_um"]; ok && f.Kind != part.Run &&
			math.Abs(depth+f.HeightUM()) > 2*r.Findings[0].Features["u_depth_um"] {
			t.Errorf("%s: %.3f um deep, %.3f drawn", f.Kind, depth, -f.HeightUM())
		}
	}
}

// withFew draws a fault into a reduced set.
func (m *Maps) withFew(t *testing.T, images map[part.Light]*part.Image, f Flaw) map[part.Light]*part.Image {
	t.Helper()
	few := maps.Clone(images)
	delete(few, part.StripesX3)
	delete(few, part.StripesY3)
	out, err := m.WithFlaws(few, []Flaw{f})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// light is a grey picture's linear light at a pixel.
func light(im *part.Image, x, y int) float64 { return float64(optics.Linear16()[im.Pix16[y*im.W+x]]) }

// Where the screen stands must be known: no slope can be drawn without.
func TestFlawsWantTheScreensPlace(t *testing.T) {
	if _, err := (&Maps{}).WithFlaws(nil, nil); err == nil {
		t.Error("drawn without the screen's place")
	}
}
