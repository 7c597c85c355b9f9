package optics

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"finishbench/internal/part"
)

// drawnEdge is a region with one edge through its middle, blurred by a Gaussian
// of sigma and averaged over each pixel's square, exactly: the square's shadow
// along the normal is a trapezoid, so that a pixel is a second difference of the
// twice integrated normal distribution.
func drawnEdge(w, h int, deg, sigma, low, high float64, upright bool) *part.Plane {
	return drawnBentEdge(w, h, deg, sigma, low, high, upright, 0)
}

// drawnBentEdge is drawnEdge with a sag, px, along it.
func drawnBentEdge(w, h int, deg, sigma, low, high float64, upright bool, sag float64) *part.Plane {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	p := part.NewPlane(w, h)
	for y := range h {
		for x := range w {
			dx, dy := float64(x)-float64(w-1)/2-0.13, float64(y)-float64(h-1)/2
			d := dx*cos + dy*sin
			d -= sag * math.Pow(dy/float64(h)*2, 2)
			if !upright {
				d = dy*cos + dx*sin - sag*math.Pow(dx/float64(w)*2, 2)
			}
			s := math.Abs(sin)
			v := (ramp2(d+(cos+s)/2, sigma) - ramp2(d+(cos-s)/2, sigma) - ramp2(d-(cos-s)/2, sigma) + ramp2(d-(cos+s)/2, sigma)) / (cos * s)
			p.V[y*w+x] = float32(low + (high-low)*v)
		}
	}
	return p
}

// ramp2 is the normal distribution of this sigma, integrated twice.
func ramp2(t, sigma float64) float64 {
	if sigma == 0 {
		return max(t, 0) * max(t, 0) / 2
	}
	u := t / sigma
	return ((t*t+sigma*sigma)*math.Erfc(-u/math.Sqrt2)/2 + t*sigma*math.Exp(-u*u/2)/math.Sqrt(2*math.Pi)) / 2
}

// closedForms: MTF50 of a Gaussian and a 1-pixel box, cycles a pixel; computed
// with scipy 1.10.1 (they solve exp(-2 pi^2 s^2 f^2) sinc(f) = 1/2).
var closedForms = []struct{ sigma, mtf50 float64 }{
	{0, 0.60335}, {0.3, 0.44234}, {0.5, 0.32309}, {0.7, 0.24711}, {1.0, 0.17996}, {1.5, 0.12267}, {2.0, 0.09273},
}

func TestBlurModel(t *testing.T) {
	for _, c := range closedForms {
		if got := MTF50OfSigma(c.sigma); math.Abs(got-c.mtf50) > 6e-6 {
			t.Errorf("sigma %g: MTF50 %.6f, want %.5f", c.sigma, got, c.mtf50)
		}
		if got := SigmaOfMTF50(MTF50OfSigma(c.sigma)); math.Abs(got-c.sigma) > 1e-4 {
			t.Errorf("sigma %g comes back as %g", c.sigma, got)
		}
	}
	for _, bad := range []float64{0, -1, 0.7, 1, 2.3, math.NaN()} {
		if got := SigmaOfMTF50(bad); !math.IsNaN(got) {
			t.Errorf("MTF50 %g has sigma %g, want none", bad, got)
		}
	}
	// A wide blur hides the pixel: 2.5631 sigma (twice the 90 % point of the normal
	// distribution); no blur leaves 80 % of the pixel.
	if got := Rise1090OfSigma(20); math.Abs(got/(2.5631*20)-1) > 1e-3 {
		t.Errorf("rise of sigma 20: %g", got)
	}
	if got := Rise1090OfSigma(0); math.Abs(got-0.8) > 1e-6 {
		t.Errorf("rise of the pixel alone: %g, want 0.8", got)
	}
	if got := LinePairsPerMM(0.3, 0.015); math.Abs(got-20) > 1e-12 {
		t.Errorf("0.3 cycles a pixel of 15 um: %g lp/mm, want 20", got)
	}
}

// TestSlantedEdgeClosedForms: bar 1 %, both axes, both slants, both polarities.
func TestSlantedEdgeClosedForms(t *testing.T) {
	worst := 0.0
	for _, c := range closedForms {
		for _, deg := range []float64{2, 3.5, 5, -5, 7, 10, -10} {
			for _, upright := range []bool{true, false} {
				low, high := 0.1, 0.8
				if deg == 5 {
					low, high = high, low
				}
				w, h := 120, 90
				if !upright {
					w, h = h, w
				}
				s, err := SlantedEdge(drawnEdge(w, h, deg, c.sigma, low, high, upright), DefaultEdgeOptions())
				if err != nil {
					t.Errorf("sigma %g, %g deg, upright %v: %v", c.sigma, deg, upright, err)
					continue
				}
				off := s.MTF50CyPX/c.mtf50 - 1
				worst = max(worst, math.Abs(off))
				if math.Abs(off) > 0.01 {
					t.Errorf("sigma %g, %g deg, upright %v: MTF50 %.5f, want %.5f (%.2f %%)", c.sigma, deg, upright, s.MTF50CyPX, c.mtf50,
						100*off)
				}
				if math.Abs(s.AngleDeg-math.Abs(deg)) > 0.05 || s.Upright != upright || math.Abs(s.Contrast-0.7) > 0.01 {
					t.Errorf("sigma %g, %g deg, upright %v: angle %.2f, upright %v, contrast %.3f", c.sigma, deg, upright, s.AngleDeg,
						s.Upright, s.Contrast)
				}
				if rise := Rise1090OfSigma(c.sigma); /* a quarter of a bin */ math.Abs(s.Rise1090PX-rise) > 0.06 {
					t.Errorf("sigma %g, %g deg: rise %.3f, want %.3f", c.sigma, deg, s.Rise1090PX, rise)
				}
				if math.Abs(s.Nyquist-BlurMTF(0.5, c.sigma)) > 0.01 {
					t.Errorf("sigma %g, %g deg: at Nyquist %.4f, want %.4f", c.sigma, deg, s.Nyquist, BlurMTF(0.5, c.sigma))
				}
			}
		}
	}
	t.Logf("worst error of MTF50: %.2f %%", 100*worst)
}

// TestSlantedEdgeNoise: with noise the mean stays within 1 % of the closed form,
// and the stated uncertainty agrees with the scatter.
func TestSlantedEdgeNoise(t *testing.T) {
	const runs = 40
	for _, sigma := range []float64{0.5, 1, 1.5} {
		want := MTF50OfSigma(sigma)
		clean := drawnEdge(100, 120, 5, sigma, 0.1, 0.8, true)
		var sum, ss, u float64
		for seed := range runs {
			rng := rand.New(rand.NewPCG(uint64(seed), 7))
			p := part.NewPlane(clean.W, clean.H)
			for i, v := range clean.V {
				p.V[i] = v + float32(0.01*rng.NormFloat64())
			}
			s, err := SlantedEdge(p, DefaultEdgeOptions())
			if err != nil {
				t.Fatal(err)
			}
			sum, ss, u = sum+s.MTF50CyPX, ss+s.MTF50CyPX*s.MTF50CyPX, u+s.UMTF50CyPX*s.UMTF50CyPX
			if math.Abs(s.Noise-0.01) > 0.001 {
				t.Errorf("sigma %g: noise %.4f, want 0.01", sigma, s.Noise)
			}
		}
		mean := sum / runs
		sd, ru := math.Sqrt((ss-sum*mean)/(runs-1)), math.Sqrt(u/runs)
		t.Logf("sigma %g: mean off by %.2f %%, SD %.2f %%, stated %.2f %%", sigma, 100*(mean/want-1), 100*sd/want, 100*ru/want)
		if math.Abs(mean/want-1) > 0.01 {
			t.Errorf("sigma %g: mean MTF50 %.5f, want %.5f", sigma, mean, want)
		}
		if ru < 0.6*sd || ru > 2*sd {
			t.Errorf("sigma %g: stated uncertainty %.5f, scatter %.5f", sigma, ru, sd)
		}
	}
}

// TestBentEdge: a lens that bends the edge takes nothing off its sharpness; without
// following the bend, 1.5 px of sag would cost a tenth and more.
func TestBentEdge(t *testing.T) {
	for _, upright := range []bool{true, false} {
		s, err := SlantedEdge(drawnBentEdge(100, 100, 5, 0.8, 0.1, 0.8, upright, 1.5), DefaultEdgeOptions())
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(s.MTF50CyPX/MTF50OfSigma(0.8)-1) > 0.01 || math.Abs(s.BowPX-1.5) > 0.1 {
			t.Errorf("upright %v: MTF50 %.4f, drawn %.4f; sag %.2f, drawn 1.5", upright, s.MTF50CyPX, MTF50OfSigma(0.8), s.BowPX)
		}
	}
}

// SlantedEdge measures a region that holds one straight edge, of either direction and
// polarity: edgeRegion.measure from a line found without a guess.
func SlantedEdge(p *part.Plane, o EdgeOptions) (Sharpness, error) {
	if p == nil || p.W < 8 || p.H < 8 || len(p.V) != p.W*p.H {
		return Sharpness{}, errors.New("optics: slanted edge: the region must be 8 pixels wide and high at least")
	}
	upright := acrossEdge(p)
	r := &edgeRegion{p: p, upright: upright}
	l, err := r.firstLine()
	if err != nil {
		return Sharpness{}, err
	}
	return r.measure(l, o)
}

// acrossEdge says whether light changes more along rows than along columns.
func acrossEdge(p *part.Plane) bool {
	// Mean profiles, not pixels, so that noise does not vote.
	const strip = 4
	across, down := 0.0, 0.0
	for y := 0; y+strip <= p.H; y += strip {
		across = max(across, steepest(p.W, func(x int) (s float64) {
			for k := range strip {
				s += float64(p.At(x, y+k))
			}
			return s
		}))
	}
	for x := 0; x+strip <= p.W; x += strip {
		down = max(down, steepest(p.H, func(y int) (s float64) {
			for k := range strip {
				s += float64(p.At(x+k, y))
			}
			return s
		}))
	}
	return across >= down
}

func steepest(n int, at func(int) float64) float64 {
	most := 0.0
	for i := 2; i+2 < n; i++ {
		most = max(most, math.Abs(at(i+2)+at(i+1)-at(i-1)-at(i-2)))
	}
	return most
}

// firstLine finds the edge without a guess: the centroid of each row's
// derivative under a window over the whole row.
func (r *edgeRegion) firstLine() (edgeLine, error) {
	nu, nv := r.size()
	mid := edgeLine{a: float64(nu-1) / 2, to: nv}
	l, err := r.fit(mid, float64(nu)/2, false)
	if err != nil {
		return l, err
	}
	// A second look under a window on the line, as wide as the region allows:
	// an edge off the middle was drawn towards it.
	for range 2 {
		half := max(r.room(l, 0), 4)
		if l, err = r.fit(l, half, false); err != nil {
			return l, err
		}
	}
	return l, nil
}
