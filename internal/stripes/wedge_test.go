package stripes

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// aScreen is a screen and the camera that sees it.
type aScreen struct {
	gamma, stray float64 // light = stray + (level/255)^gamma, times
	exposure     float64
	noise        float64 // 8-bit levels at mid-grey
	wobble       float64 // of each picture's light, relative standard deviation
	auto         bool    // the camera sets itself
	w, h         int
}

func honest(gamma float64) aScreen {
	return aScreen{gamma: gamma, stray: 0.03, exposure: 0.8, noise: 1, wobble: 0.003, w: 96, h: 72}
}

var greys = []int{255, 0, 16, 32, 48, 64, 80, 96, 112, 128, 144, 160, 176, 192, 208, 224, 240, 255}

func (s aScreen) light(level int) float64 {
	return s.exposure / (1 + s.stray) * (s.stray + math.Pow(float64(level)/255, s.gamma))
}

// sees is the picture of light: the screen fills it but for a margin that is dark.
func (s aScreen) sees(light float64, rng *rand.Rand) *part.Image {
	im := &part.Image{W: s.w, H: s.h, C: 1, Pix8: make([]uint8, s.w*s.h)}
	light *= 1 + s.wobble*rng.NormFloat64()
	if s.auto {
		light = 0.4 * math.Pow(light/0.4, 0.5)
	}
	for i := range im.Pix8 {
		v := light
		if x := i % s.w; x < s.w/6 || x >= s.w-s.w/6 {
			v = 0.01
		}
		im.Pix8[i] = sample(v, s.noise, rng)
	}
	return im
}

// wedge takes all steps, changed by a fault.
func (s aScreen) wedge(levels []int, rng *rand.Rand, fault func(n, level int, im *part.Image) *part.Image) (Curve, error) {
	var all []*part.Image
	for n, l := range levels {
		im := s.sees(s.light(l), rng)
		if fault != nil {
			im = fault(n, l, im)
		}
		all = append(all, im)
	}
	black, white := slices.Index(levels, slices.Min(levels)), max(0, slices.Index(levels, 255))
	w, err := NewWedge(all[black], all[white])
	if err != nil {
		return Curve{}, err
	}
	for n, l := range levels {
		if err := w.Add(l, all[n]); err != nil {
			return Curve{}, err
		}
	}
	return w.Fit()
}

// Gamma comes back within 2 u, 19 times in 20, over 120 wedges of screens of 1.8, 2.2 and 2.6: refuted at 1 %, two-sided, by
// 106 or fewer and by all of them (binomial of 120 and 0.95: P(X <= 106) = 0.0028, P(X <= 107) = 0.0072, P(X = 120) =
// 0.0021). The stray light comes back too. Expected values: the drawing's.
func TestWedgeTellsGamma(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	within, n, square := 0, 0, 0.0
	for range 40 {
		for _, g := range []float64{1.8, 2.2, 2.6} {
			s := honest(g)
			levels := greys
			if n%2 == 1 {
				levels = []int{255, 0, 32, 64, 96, 128, 160, 192, 224, 255}
			}
			c, err := s.wedge(levels, rng, nil)
			if err != nil {
				t.Fatal(err)
			}
			e := (c.Gamma - g) / c.UGamma
			n, square = n+1, square+e*e
			if math.Abs(e) <= 2 {
				within++
			}
			if math.Abs(c.Gamma-g) > 0.05 || math.Abs(c.Offset-s.stray) > 0.004 || len(c.Warnings) > 0 {
				t.Errorf("gamma %.1f: %.3f, u %.3f; stray light %.4f, want %.3f; %q", g, c.Gamma, c.UGamma, c.Offset, s.stray, c.Warnings)
			}
		}
	}
	t.Logf("%d of %d within 2 u, mean square of error over u %.2f", within, n, square/float64(n))
	if within <= 106 || within == n {
		t.Errorf("%d of %d within 2 u, mean square of error over u %.2f", within, n, square/float64(n))
	}
}

// srgb is what the light page draws where no curve is known.
func srgb(light float64) float64 { return optics.LinearToSRGB(light) }

func power(g float64) func(float64) float64 { return func(v float64) float64 { return math.Pow(v, g) } }

// The phase's error by a curve that was not taken out, against its closed form: at full contrast a screen of g times the
// gamma that was drawn for makes harmonics of a2/a1 = (g - 1)/(g + 2), a3/a2 = (g - 2)/(g + 3), a4/a3 = (g - 3)/(g + 4),
// a5/a4 = (g - 4)/(g + 5) (binomial coefficients of cos^2g). Four phases see a3 - a5, three also twice a2; with the right curve
// both see nothing.
func TestPhaseErrorIsItsClosedForm(t *testing.T) {
	for _, g := range []float64{0.8, 0.9, 1, 1.1, 1.25} {
		four, three := PhaseErrorRad(power(1/2.2), power(2.2*g), 1)
		a2 := (g - 1) / (g + 2)
		a3 := a2 * (g - 2) / (g + 3)
		a5 := a3 * (g - 3) / (g + 4) * (g - 4) / (g + 5)
		if math.Abs(four-math.Abs(a3-a5)) > 2e-5 {
			t.Errorf("g %.2f: four phases %.5f rad, want %.5f", g, four, math.Abs(a3-a5))
		}
		want := 0.0
		for k := range 3600 {
			phi := 2 * math.Pi * float64(k) / 3600
			want = max(want, math.Abs(2*a2*math.Cos(phi)*math.Cos(2*phi)-(a3-a5)*math.Sin(4*phi)))
		}
		if math.Abs(three-want) > 2e-4 {
			t.Errorf("g %.2f: three phases %.5f rad, want %.5f", g, three, want)
		}
	}
}

// turns is by how much stripes turn the phase, most over a period, as four and as three pictures see it, and their third harmonic
// over the first: levels as the page draws them, 8 bits, the screen's light, the camera's noise averaged away.
func (s aScreen) turns(drawn func(float64) float64, contrast float64) (four, three, third float64) {
	const n = 400
	light := func(phi float64) float64 {
		return s.light(int(math.Round(255 * drawn(0.5+0.5*contrast*math.Cos(phi)))))
	}
	var a1, a3 float64
	for k := range n {
		phi := 2 * math.Pi * (float64(k) + 0.5) / n
		var v [4]float64
		for j := range v { // a few neighbouring places, as a pixel sees them: levels are steps
			for m := -8; m <= 8; m++ {
				v[j] += light(phi+float64(m)/100+math.Pi/2*float64(j)) / 17
			}
		}
		a1, a3 = a1+v[0]*math.Cos(phi), a3+v[0]*math.Cos(3*phi)
		off := func(sin, cos float64) float64 {
			return math.Abs(math.Remainder(math.Atan2(sin, cos)-phi, 2*math.Pi))
		}
		four, three = max(four, off(v[3]-v[1], v[0]-v[2])), max(three, off((v[0]+v[2])/2-v[1], (v[0]-v[2])/2))
	}
	return four, three, math.Abs(a3 / a1)
}

// With the wedge's gamma the stripes' light is a cosine again: third harmonic and phase error are gone but for the levels' own
// steps (1/255: under 2 mrad), for four phases and for three. Without it they are what PhaseErrorRad says.
func TestWedgeTakesThePhaseErrorOut(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for _, g := range []float64{1.8, 2.2, 2.6} {
		s := honest(g)
		c, err := s.wedge(greys, rng, nil)
		if err != nil {
			t.Fatal(err)
		}
		wrong4, wrong3, wrongThird := s.turns(srgb, 0.8)
		four, three, third := s.turns(power(1/c.Gamma), 0.8)
		want4, want3 := PhaseErrorRad(srgb, power(g), 0.8)
		t.Logf("gamma %.1f: %.4f and %.4f rad, third harmonic %.4f (PhaseErrorRad %.4f and %.4f); with the wedge %.4f and %.4f, %.5f", g,
			wrong4, wrong3, wrongThird, want4, want3, four, three, third)
		if math.Abs(wrong4-want4) > 0.003 || math.Abs(wrong3-want3) > 0.006 {
			t.Errorf("gamma %.1f, drawn for sRGB: %.4f and %.4f rad, want %.4f and %.4f", g, wrong4, wrong3, want4, want3)
		}
		if four > 0.002 || three > 0.01 || third > 0.001 {
			t.Errorf("gamma %.1f, drawn by the wedge: %.4f and %.4f rad, third harmonic %.5f", g, four, three, third)
		}
		if g != 2.2 && (four > wrong4/3 || three > wrong3/3) {
			t.Errorf("gamma %.1f: the wedge takes %.4f and %.4f rad to %.4f and %.4f only", g, wrong4, wrong3, four, three)
		}
	}
}

// Each fault is told by its own sentence, and nothing is measured.
func TestWedgeRefusesWhatIsAmiss(t *testing.T) {
	over := func(k float64) func(*aScreen) { return func(s *aScreen) { s.exposure *= k } }
	for _, c := range []struct {
		name   string
		change func(*aScreen)
		levels []int
		fault  func(n, level int, im *part.Image) *part.Image
		want   string
	}{
		{"clipped", over(1.6), greys, nil, "clipped; expose shorter"},
		{"dark", over(0.03), greys, nil, "expose longer"},
		{"no screen in it", func(s *aScreen) { s.gamma = 60 }, []int{16, 32, 64, 96, 128, 160, 192, 224}, nil, "white in the white step"},
		{"noise", func(s *aScreen) { s.noise, s.exposure, s.w, s.h = 20, 0.3, 64, 48 }, greys, nil, "is not one grey"},
		{"other lamps", func(s *aScreen) { s.stray = 2 }, greys, nil, "put out the other lamps"},
		{"automatic exposure", func(s *aScreen) { s.auto = true }, greys, nil, "exposure, gain and white balance by hand"},
		{"exposure changes once", nil, greys, func(n, level int, im *part.Image) *part.Image {
			if n == 9 {
				for i, v := range im.Pix8 {
					im.Pix8[i] = v / 2
				}
			}
			return im
		}, "looks darker than level"},
		{"dims by itself", func(s *aScreen) { s.wobble = 0 }, greys, func(n, _ int, im *part.Image) *part.Image {
			for i, v := range im.Pix8 {
				im.Pix8[i] = uint8(255 * optics.LinearToSRGB(optics.SRGBToLinear(float64(v)/255)*(1-0.005*float64(n))))
			}
			return im
		}, "dims or warms up by itself"},
		{"some steps of another exposure", func(s *aScreen) { s.wobble = 0 }, greys, func(n, _ int, im *part.Image) *part.Image {
			if n > 11 && n < 17 {
				for i, v := range im.Pix8 {
					im.Pix8[i] = uint8(255 * optics.LinearToSRGB(optics.SRGBToLinear(float64(v)/255)*1.05))
				}
			}
			return im
		}, "by hand and the screen to its full brightness"},
		{"light comes and goes", func(s *aScreen) { s.wobble = 0.06 }, greys[1:], nil, "about their curve"},
		{"a shadow", nil, greys, func(n, _ int, im *part.Image) *part.Image {
			for i := range im.Pix8 {
				if n == 10 && i < len(im.Pix8)/3 {
					im.Pix8[i] /= 2
				}
			}
			return im
		}, "no shadow or lamp came in"},
		{"too few", nil, []int{0, 64, 128, 192, 255}, nil, "make no wedge"},
		{"no black", nil, []int{40, 64, 96, 128, 160, 192, 224, 255}, nil, "make no wedge"},
		{"another size", nil, greys, func(n, _ int, im *part.Image) *part.Image {
			if n == 3 {
				im = &part.Image{W: 32, H: 32, C: 1, Pix8: make([]uint8, 1024)}
			}
			return im
		}, "of unlike size"},
		{"level of no screen", nil, append([]int{0, 300}, greys[2:]...), nil, "not 300"},
	} {
		s := honest(2.2)
		if c.change != nil {
			c.change(&s)
		}
		got, err := s.wedge(c.levels, rand.New(rand.NewPCG(5, 6)), c.fault)
		if err == nil || !strings.Contains(err.Error(), c.want) || got.Gamma != 0 {
			t.Errorf("%s: gamma %.2f, u %.3f, residual %.3f, %v", c.name, got.Gamma, got.UGamma, got.Residual, err)
		}
	}
	one, err := honest(2.2).wedge(greys, rand.New(rand.NewPCG(5, 6)), func(n, _ int, im *part.Image) *part.Image {
		if n == 10 {
			for i, v := range im.Pix8 {
				im.Pix8[i] = uint8(float64(v) * 0.97)
			}
		}
		return im
	})
	if err != nil || len(one.Warnings) != 1 || !strings.Contains(one.Warnings[0], "level 144") || math.Abs(one.Gamma-2.2) > 2*one.UGamma {
		t.Errorf("one step darker by 6 %%: %q, gamma %.3f, u %.3f, %v", one.Warnings, one.Gamma, one.UGamma, err)
	}
	c, err := honest(2.2).wedge(greys[1:], rand.New(rand.NewPCG(5, 6)), nil)
	if err != nil || len(c.Warnings) != 1 || !strings.Contains(c.Warnings[0], "grey_255_2") {
		t.Errorf("no grey twice: %q, %v", c.Warnings, err)
	}
}
