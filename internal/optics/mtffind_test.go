package optics

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// board is a picture of squares of a chessboard turned by deg, with blur and
// noise.
func board(w, h int, square, deg, sigma, noise float64, seed uint64) *part.Plane {
	rng := rand.New(rand.NewPCG(seed, 1))
	sin, cos := math.Sincos(deg * math.Pi / 180)
	p := part.NewPlane(w, h)
	wave := func(t float64) float64 { // +-1 by square, blurred by Gaussian and pixel
		t = math.Mod(math.Mod(t, 2*square)+2*square, 2*square)
		s := 0.0 // turned down by the edge at -square, up at 0, and so on
		for k := -1; k <= 3; k++ {
			sign := 1.0
			if k%2 != 0 {
				sign = -1
			}
			s += sign * 2 * boxedEdge(t-float64(k)*square, sigma)
		}
		return s + 1
	}
	for y := range h {
		for x := range w {
			fx, fy := float64(x)-float64(w)/2, float64(y)-float64(h)/2
			p.V[y*w+x] = float32(0.4 + 0.3*wave(fx*cos+fy*sin)*wave(fy*cos-fx*sin) + noise*rng.NormFloat64())
		}
	}
	return p
}

func TestFindSlantedEdges(t *testing.T) {
	for _, c := range []struct{ square, deg, sigma, noise float64 }{
		{70, 5, 0.7, 0.005}, {70, -4, 1.2, 0.01}, {45, 8, 0.6, 0.005}, {110, 2.5, 2, 0.005},
	} {
		found, err := FindSlantedEdges(board(640, 480, c.square, c.deg, c.sigma, c.noise, 3), DefaultFindOptions())
		if err != nil {
			t.Errorf("%+v: %v", c, err)
			continue
		}
		want := MTF50OfSigma(c.sigma)
		across := 0
		for _, e := range found {
			if e.Upright {
				across++
			}
			if math.Abs(e.MTF50CyPX/want-1) > max(0.02, 4*e.UMTF50CyPX/want) {
				t.Errorf("%+v: edge at %v: MTF50 %.4f +- %.4f, want %.4f, %v", c, e.Box, e.MTF50CyPX, e.UMTF50CyPX, want, e.Warnings)
			}
			if math.Abs(e.AngleDeg-math.Abs(c.deg)) > 0.3 {
				t.Errorf("%+v: edge at %v lies at %.2f degrees", c, e.Box, e.AngleDeg)
			}
		}
		t.Logf("%+v: %d edges, %d of them upright; best %.4f +- %.4f over %.0f px, closed form %.4f", c, len(found), across,
			found[0].MTF50CyPX, found[0].UMTF50CyPX, found[0].HalfPX, want)
		if len(found) < 8 || across == 0 || across == len(found) {
			t.Errorf("%+v: %d edges found, %d of them upright", c, len(found), across)
		}
	}
}

// TestNoSlantedEdge: nothing there is said so, with what to do.
func TestNoSlantedEdge(t *testing.T) {
	flat := part.NewPlane(300, 200)
	noisy := part.NewPlane(300, 200)
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range noisy.V {
		noisy.V[i] = float32(0.5 + 0.02*rng.NormFloat64())
	}
	disc := part.NewPlane(300, 200)
	for i := range disc.V {
		d := math.Hypot(float64(i%300)-150, float64(i/300)-100)
		disc.V[i] = float32(0.2 + 0.5*boxedEdge(d-40, 0.8))
	}
	for _, c := range []struct {
		name string
		p    *part.Plane
		say  string
	}{
		{"black", flat, "turned by about 5 degrees"},
		{"noise", noisy, "no straight slanted edge"},
		{"a disc", disc, "no straight slanted edge"},
		{"a square board", board(400, 300, 60, 0.3, 0.7, 0.005, 1), "within 2 degrees of the pixel grid"},
		{"a board at 14 degrees", board(400, 300, 60, 14, 0.7, 0.005, 1), "more than 10 degrees off"},
		{"tiny", part.NewPlane(20, 20), "32 pixels"},
	} {
		found, err := FindSlantedEdges(c.p, DefaultFindOptions())
		if err == nil || !strings.Contains(err.Error(), c.say) {
			t.Errorf("%s: %d edges, %v; want %q", c.name, len(found), err, c.say)
		}
	}
	if _, err := FindSlantedEdges(flat, DefaultFindOptions()); !errors.Is(err, ErrNoEdge) {
		t.Errorf("black: %v is not ErrNoEdge", err)
	}
}

// TestSlantedEdgeRefusals: what cannot be measured is refused; what is doubtful
// is warned of.
func TestSlantedEdgeRefusals(t *testing.T) {
	o := DefaultEdgeOptions()
	for _, c := range []struct {
		name string
		p    *part.Plane
		say  string
	}{
		{"none", nil, "8 pixels"},
		{"constant", part.NewPlane(60, 60), "no straight slanted edge"},
		{"square to the grid", drawnEdge(60, 60, 0.2, 0.8, 0.1, 0.8, true), "0.2 degrees"},
		{"at 40 degrees", drawnEdge(60, 60, 40, 0.8, 0.1, 0.8, true), "border"},
		{"a narrow region", drawnEdge(9, 60, 2, 0.8, 0.1, 0.8, true), "border"},
	} {
		if s, err := SlantedEdge(c.p, o); err == nil || !strings.Contains(err.Error(), c.say) {
			t.Errorf("%s: MTF50 %g, %v; want %q", c.name, s.MTF50CyPX, err, c.say)
		}
	}
	clipped := drawnEdge(100, 90, 5, 1, 0.1, 1.6, true)
	for i := range clipped.V {
		clipped.V[i] = min(clipped.V[i], 1)
	}
	sharpened := drawnEdge(100, 90, 5, 1, 0.2, 0.7, true)
	wide := drawnEdge(100, 90, 5, 2.5, 0.2, 0.7, true)
	for i := range sharpened.V { // an unsharp mask
		sharpened.V[i] += 0.8 * (sharpened.V[i] - wide.V[i])
	}
	for _, c := range []struct {
		name string
		p    *part.Plane
		say  string
	}{
		{"clipped", clipped, "clipped"},
		{"sharpened", sharpened, "sharpens"},
		{"short", drawnEdge(100, 20, 2, 1, 0.1, 0.8, true), "less than one"},
		{"at 12 degrees", drawnEdge(100, 60, 12, 1, 0.1, 0.8, true), "outside 2 to 10"},
		{"cramped", drawnEdge(34, 60, 5, 2.5, 0.1, 0.8, true), "too high"},
	} {
		s, err := SlantedEdge(c.p, o)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if !strings.Contains(strings.Join(lang.English().SayAll(s.Warnings), "; "), c.say) {
			t.Errorf("%s: warnings %q, want %q", c.name, s.Warnings, c.say)
		}
	}
	clean, err := SlantedEdge(drawnEdge(120, 90, 5, 0.8, 0.1, 0.8, true), o)
	if err != nil || len(clean.Warnings) > 0 {
		t.Errorf("a clean edge: %v, warnings %q", err, clean.Warnings)
	}
}

func TestSharpnessOf(t *testing.T) {
	edge := func(m, u float64, warn ...part.Phrase) FoundEdge {
		return FoundEdge{Sharpness: Sharpness{MTF50CyPX: m, UMTF50CyPX: u, Warnings: warn}}
	}
	// Worked by hand: the median of .2 .25 .27 is .25, their SD .036056, times
	// 1.2533/root 3 is .026089; the edge with a warning does not count.
	m, u := SharpnessOf([]FoundEdge{edge(0.25, 0.01), edge(0.5, 0.01, part.Say("optics.overshoot")), edge(0.2, 0.01),
		edge(0.27, math.NaN())})
	if m != 0.25 || math.Abs(u-0.026089) > 1e-5 {
		t.Errorf("MTF50 %g +- %g, want 0.25 +- 0.02609", m, u)
	}
	if m, u := SharpnessOf([]FoundEdge{edge(0.5, 0.01, part.Say("optics.overshoot"))}); m != 0.5 || u != 0.01 {
		t.Errorf("one edge with a warning: %g +- %g", m, u)
	}
	if m, u := SharpnessOf(nil); !math.IsNaN(m) || !math.IsNaN(u) {
		t.Errorf("no edge: %g +- %g", m, u)
	}
}

// TestFindInTexture: patterns of all kinds end in edges or in a sentence.
func TestFindInTexture(t *testing.T) {
	for seed := range uint64(12) {
		rng := rand.New(rand.NewPCG(seed, 3))
		p := part.NewPlane(160, 120)
		for range 60 { // boxes turned a little, some of them a few pixels wide
			cx, cy, w, h := 160*rng.Float64(), 120*rng.Float64(), 1+40*rng.Float64(), 1+40*rng.Float64()
			sin, cos := math.Sincos((rng.Float64() - 0.5) * 0.4)
			v := float32(rng.Float64())
			for i := range p.V {
				dx, dy := float64(i%160)-cx, float64(i/160)-cy
				if math.Abs(dx*cos+dy*sin) < w && math.Abs(dy*cos-dx*sin) < h {
					p.V[i] = v
				}
			}
		}
		found, err := FindSlantedEdges(p, DefaultFindOptions())
		if (err == nil) == (len(found) == 0) || err != nil && !errors.Is(err, ErrNoEdge) {
			t.Errorf("seed %d: %d edges, %v", seed, len(found), err)
		}
		for _, e := range found {
			if !(e.MTF50CyPX > 0 && e.MTF50CyPX < 1.1) {
				t.Errorf("seed %d: MTF50 %g", seed, e.MTF50CyPX)
			}
		}
	}
}
