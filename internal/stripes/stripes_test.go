package stripes

import (
	"math"
	"math/rand/v2"
	"testing"

	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// measured draws a face and measures it with the screen's place known.
func measured(t *testing.T, p synth.StripesParams) Result {
	t.Helper()
	images, outline := synth.Stripes(p)
	r, err := Measure(images, outline, paramsOf(p))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func paramsOf(p synth.StripesParams) Params {
	q := DefaultParams(p.MMPerPX)
	q.LensMM = p.BlurPX * p.MMPerPX
	q.Screen = Screen{PeriodMM: p.PeriodMM, DistanceMM: p.DistanceMM, TiltDeg: p.TiltDeg, URel: 0.005}
	return q
}

// waves is a surface of many sine waves in all directions, of wavelengths around one, whose
// root mean square slope is told.
func waves(rng *rand.Rand, waveMM, slopeRad float64) func(x, y float64) (sx, sy float64) {
	type wave struct{ kx, ky, phase float64 }
	var all []wave
	for range 16 {
		k := 2 * math.Pi / (waveMM * math.Pow(2, rng.Float64()*0.6-0.3))
		sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
		all = append(all, wave{k * cos, k * sin, 2 * math.Pi * rng.Float64()})
	}
	a := slopeRad * math.Sqrt2 / math.Sqrt(float64(len(all))) // each wave's slope along itself
	return func(x, y float64) (sx, sy float64) {
		for _, w := range all {
			v := a * math.Cos(w.kx*x+w.ky*y+w.phase)
			k := math.Hypot(w.kx, w.ky)
			sx, sy = sx+v*w.kx/k, sy+v*w.ky/k
		}
		return sx, sy
	}
}

// rmsSlope is the root mean square slope of what was drawn, rad.
func rmsSlope(p synth.StripesParams) float64 {
	sum, n := 0.0, 0.0
	for k := range 200 * 200 {
		x, y := (float64(k%200)/100-1)*(p.RadiusMM-1), (float64(k/200)/100-1)*(p.RadiusMM-1)
		if math.Hypot(x, y) < p.RadiusMM-1 {
			sx, sy := p.Slope(x, y)
			sum, n = sum+sx*sx+sy*sy, n+1
		}
	}
	return math.Sqrt(sum / n)
}

// Orange peel drawn as geometry: Sdq within 15 % of the drawing's, its main wavelength
// within a third of an octave and a half; a smooth face has none.
func TestWavinessIsThatDrawn(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, c := range []struct{ waveMM, mrad float64 }{{0.3, 2}, {0.6, 1}, {2, 4}} {
		p := small(uint64(100*c.waveMM + c.mrad))
		if c.waveMM > 1 { // longer waves want a wider face
			p.W, p.H, p.RadiusMM = 800, 800, 5.5
		}
		p.Slope = waves(rng, c.waveMM, c.mrad/1000)
		want := 1000 * rmsSlope(p)
		w := measured(t, p).Waves
		if math.Abs(w.SlopeMRad/want-1) > 0.15 || w.AtLeast {
			t.Errorf("waves of %.1f mm and %.2f mrad: %.2f mrad, u %.2f, at least %v", c.waveMM, want, w.SlopeMRad, w.USlopeMRad, w.AtLeast)
		}
		if math.Abs(math.Log2(w.MainMM/c.waveMM)) > 0.5 {
			t.Errorf("waves of %.1f mm: most at %.2f mm", c.waveMM, w.MainMM)
		}
		sum, u := 0.0, 0.0
		for i, o := range w.Octaves {
			sum, u = sum+o.Variance, u+o.UVariance
			if o.FromMM != part.OctaveEndsMM[i] || o.ToMM != part.OctaveEndsMM[i+1] {
				t.Errorf("octave %d is %g to %g mm", i, o.FromMM, o.ToMM)
			}
		}
		// Each octave's is no less than its share.
		if root, uRoot := part.RootOf(sum, u); math.Abs(root-w.SlopeMRad) > 1e-9 || uRoot < w.USlopeMRad/2 {
			t.Errorf("waves of %.1f mm: octaves add up to %.3f mrad, u %.3f; %.3f, u %.3f wanted", c.waveMM, root, uRoot, w.SlopeMRad,
				w.USlopeMRad)
		}
	}
	// What turns the phase by more than half a period comes back from the other side: no more than a
	// lower bound is told, though hardly any gloss is lost.
	p := small(9)
	p.Slope = waves(rng, 1.2, 0.009)
	if w, want := measured(t, p).Waves, 1000*rmsSlope(p); !w.AtLeast || w.LostShare > lostMost || w.SlopeMRad > want {
		t.Errorf("waves of 1.2 mm and %.2f mrad: %.2f mrad, at least %v, gloss lost %.3f", want, w.SlopeMRad, w.AtLeast, w.LostShare)
	}
	w := measured(t, synth.DefaultStripes()).Waves
	if w.SlopeMRad > 0.1 || !w.Measured {
		t.Errorf("a smooth face has %.3f mrad, u %.3f", w.SlopeMRad, w.USlopeMRad)
	}
}

// A sphere's curvature is within 3 % of the drawing's, and nothing is found on it; so it is
// on a flat one, whatever its tilt, which shifts the phase and nothing else.
func TestCrownIsThatDrawn(t *testing.T) {
	for _, c := range []struct{ perM, tilt float64 }{{0, 0.004}, {5, 0}, {25, 0.002}} {
		p := small(uint64(7 + c.perM))
		p.Slope = func(x, y float64) (float64, float64) { return c.tilt + c.perM/1000*x, c.perM / 1000 * y }
		r := measured(t, p)
		kx, ky, ok := r.Maps.CrownPerM(paramsOf(p).Screen)
		if !ok || math.Abs(kx-c.perM) > 0.03*c.perM+0.05 || math.Abs(ky-c.perM) > 0.03*c.perM+0.05 {
			t.Errorf("1/R %.1f per m, tilt %.1f mrad: %.2f and %.2f, %v", c.perM, 1000*c.tilt, kx, ky, ok)
		}
		for _, f := range r.Findings {
			t.Errorf("1/R %.1f per m: %s at %.0f, %v", c.perM, f.Kind, f.Box, f.Features)
		}
	}
}

// dent is a smooth dent (depth > 0) or bulge at a place, h (1 - r^2/a^2)^2 deep over the radius a;
// returned is the normal's tilt, the height's slope with its sign turned.
func dent(x0, y0, depthMM, a float64) func(x, y float64) (sx, sy float64) {
	return func(x, y float64) (float64, float64) {
		u, v := (x-x0)/a, (y-y0)/a
		if q := 1 - u*u - v*v; q > 0 {
			k := -4 * depthMM * q / a
			return k * u, k * v
		}
		return 0, 0
	}
}

// A shallow dent's depth is within two standard uncertainties of the drawing's for nearly all,
// a bulge is called a bubble; a steep one's depth is never stated, only a bound that is under it.
func TestDepthIsThatDrawn(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	told, within := 0, 0
	for k := range 9 {
		p := small(uint64(40 + k))
		depth := 0.5 + 1.5*rng.Float64() // um
		if k%4 == 3 {
			depth = -depth
		}
		a := 0.35 + 0.4*rng.Float64()
		p.Slope = dent(rng.Float64()*3-1.5, rng.Float64()*3-1.5, depth/1000, a)
		r := measured(t, p)
		if len(r.Findings) != 1 {
			t.Errorf("dent of %.2f um and %.2f mm: %d found", depth, 2*a, len(r.Findings))
			continue
		}
		f := r.Findings[0]
		if want := map[bool]part.Kind{true: part.Crater, false: part.Bubble}[depth > 0]; f.Kind != want {
			t.Errorf("dent of %.2f um: %s", depth, f.Kind)
		}
		got, ok := f.Features["depth_um"]
		if !ok {
			continue
		}
		told++
		if math.Abs(got-depth) <= 2*f.Features["u_depth_um"] {
			within++
		} else {
			t.Logf("dent of %.2f um and %.2f mm: %.2f, u %.2f", depth, 2*a, got, f.Features["u_depth_um"])
		}
	}
	if told < 6 || within < told-1 {
		t.Errorf("%d of %d depths within two uncertainties", within, told)
	}
	p := synth.DefaultStripes()
	p.Slope = dent(1, 0, 0.04, 0.4)
	r := measured(t, p)
	if len(r.Findings) != 1 || r.Findings[0].Kind != part.Crater {
		t.Fatalf("a steep crater: %+v", r.Findings)
	}
	f := r.Findings[0].Features
	if _, ok := f["depth_um"]; ok || f["depth_um_at_least"] > 40 {
		t.Errorf("a crater of 40 um: %v", f)
	}
}

// A blur keeps a plane's sum and widens a point to the variance asked for, small or wide. Expected
// values: of a Gaussian.
func TestBlurIsAsWideAsAsked(t *testing.T) {
	for _, sigma := range []float64{0.8, 2, 4.9, 5.1, 9, 30} {
		p := part.NewPlane(401, 401)
		p.V[200*401+200] = 1
		var sum, second float64
		for i, v := range gauss(p, sigma).V {
			d := float64(i%401 - 200)
			sum, second = sum+float64(v), second+float64(v)*d*d
		}
		if math.Abs(sum-1) > 0.01 || math.Abs(math.Sqrt(second)/sigma-1) > 0.03 {
			t.Errorf("sigma %.1f: sum %.3f, sigma %.3f", sigma, sum, math.Sqrt(second))
		}
	}
}

// Haze that takes a fifth of the gloss is found and called so, and how much it takes is told;
// a missed place, flat in its middle, is told from a crater. Expected values: by the drawing.
func TestHazeAndMissedPlace(t *testing.T) {
	p := small(71)
	p.Gloss = func(x, y float64) float64 { return 1 - 0.2*math.Exp(-math.Pow((x*x+y*y)/0.64, 3)) }
	r := measured(t, p)
	if len(r.Findings) != 1 || r.Findings[0].Kind != part.Haze || math.Abs(r.Findings[0].Features["light_lost"]-0.18) > 0.04 {
		t.Errorf("haze of a fifth: %+v", r.Findings)
	}
	p = small(72)
	p.Slope = func(x, y float64) (float64, float64) { // a step down of 40 um around a flat of 0.8 mm
		d := math.Hypot(x, y)
		if d < 0.4 || d > 0.65 {
			return 0, 0
		}
		return -0.16 * x / d, -0.16 * y / d
	}
	if r := measured(t, p); len(r.Findings) != 1 || r.Findings[0].Kind != part.Missed {
		t.Errorf("missed place: %+v", r.Findings)
	}
}

// glitter adds what flakes of 0.06 mm mirror of the screen, each another place of it, up to half as much again as the lacquer does.
func glitter(seed uint64) func(l part.Light, x, y float64) float64 {
	const flake, most, half = 0.06, 0.06, 100 // mm, share, flakes from the middle to where none is drawn any more
	at := make([][1 + 2*Phases]float64, 4*half*half)
	for k := range at {
		rng := rand.New(rand.NewPCG(seed, uint64(k%(2*half)-half+5000)<<20|uint64(k/(2*half)-half+5000)))
		share, s, u := most*rng.Float64(), 2*math.Pi*rng.Float64(), 2*math.Pi*rng.Float64()
		at[k][0] = share
		for n := range Phases {
			at[k][1+n] = share * (0.5 + 0.4*math.Cos(s+math.Pi/2*float64(n)))
			at[k][1+Phases+n] = share * (0.5 + 0.4*math.Cos(u+math.Pi/2*float64(n)))
		}
	}
	return func(l part.Light, x, y float64) float64 {
		return at[(int(math.Floor(y/flake))+half)*2*half+int(math.Floor(x/flake))+half][1+number(l)]
	}
}

// Over glitter, craters are found, and nothing where there is none; its noise is not taken for waves, of which it left 2.1 mrad. Expected
// values: by the drawing.
func TestGlitterIsNoWave(t *testing.T) {
	for k := range 4 {
		p := small(uint64(90 + k))
		p.Fault.Glare = glitter(p.Seed)
		want := 0
		if k%2 == 1 {
			p.Slope, want = dent(0.8, -0.6, 0.006, 0.4), 1
		}
		r := measured(t, p)
		if len(r.Findings) != want || want == 1 && (r.Findings[0].Kind != part.Crater || math.Abs(*r.Findings[0].DiameterMM-0.8) > 0.25) {
			t.Errorf("glitter %d: %+v", k, r.Findings)
		}
		if r.Waves.SlopeMRad > 0.6 || len(r.Warnings) != 1 {
			t.Errorf("glitter %d: %.2f mrad, u %.2f, %q", k, r.Waves.SlopeMRad, r.Waves.USlopeMRad, r.Warnings)
		}
	}
}

// CrownPerM is how the face itself is curved along the directions of x and y, 1/m, positive where it
// bulges: a flat face mirrors a period as long as it is, and one of radius R shorter by 1 + 2 D / R.
// Only a screen whose place is known tells it.
func (m *Maps) CrownPerM(s Screen) (x, y float64, ok bool) {
	if !s.Known() || m.Waving() {
		return 0, 0, false
	}
	tilt := [2]float64{1, math.Cos(s.TiltDeg * math.Pi / 180)}
	var out [2]float64
	for d := range out {
		out[d] = 1000 * (m.radPerMM[d]*s.PeriodMM/(2*math.Pi) - 1) / (2 * s.DistanceMM * tilt[d])
	}
	return out[0], out[1], true
}
