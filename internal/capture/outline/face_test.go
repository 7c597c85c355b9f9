package outline

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"finishbench/internal/part"
)

// A plate on grounds of several kinds is found to about a pixel; the plate is
// drawn with a soft edge of one pixel, so that truth is the ellipse itself.
func TestFaceOnGrounds(t *testing.T) {
	const w, h = 800, 600
	grounds := map[string]func(x, y float64, rng *rand.Rand) float64{
		"dark":  func(x, y float64, rng *rand.Rand) float64 { return 10 + 1.5*rng.NormFloat64() },
		"paper": func(x, y float64, rng *rand.Rand) float64 { return 200 - 0.02*x + 2*rng.NormFloat64() },
		"woven": func(x, y float64, rng *rand.Rand) float64 {
			return 90 + 25*math.Sin(x*0.55)*math.Sin(y*0.55) + 2*rng.NormFloat64()
		},
		"wood": func(x, y float64, rng *rand.Rand) float64 {
			return 100 + 18*math.Sin(y*0.23+2*math.Sin(x*0.01)) + 2*rng.NormFloat64()
		},
	}
	for name, ground := range grounds {
		rng := rand.New(rand.NewPCG(7, 1))
		im := canvas(w, h, 1, 0)
		in := ellipse(390, 310, 240, 190)
		for y := range h {
			for x := range w {
				a := in(float64(x), float64(y))
				v := ground(float64(x), float64(y), rng)*(1-a) + a*(150+2*rng.NormFloat64())
				im.Pix8[y*w+x] = uint8(math.Max(0, math.Min(255, v)))
			}
		}
		c, err := Face([]*part.Image{im})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		worst := 0.0
		for _, p := range c.Points() {
			// distance from an ellipse near it: (f-1)/|grad f|
			u, v := (p.X-390)/240, (p.Y-310)/190
			f := math.Hypot(u, v)
			g := math.Hypot(u/240, v/190) / f
			worst = math.Max(worst, math.Abs(f-1)/g)
		}
		if worst > 2 { // a pixel and what the ground's own edges pull; common practice, no source
			t.Errorf("%s: the outline is off by up to %.1f px", name, worst)
		}
	}
}

// What shows no outline is told so: nothing but ground, a pattern that fills the
// frame, white on white.
func TestFaceWithoutOutline(t *testing.T) {
	const w, h = 800, 600
	for name, level := range map[string]func(x, y float64) float64{
		"white on white": func(x, y float64) float64 { return 235 },
		"fills the frame": func(x, y float64) float64 {
			return 120 + 30*math.Sin(x*0.05+3*math.Sin(y*0.013))*math.Sin(y*0.07)
		},
	} {
		rng := rand.New(rand.NewPCG(3, 1))
		im := canvas(w, h, 1, 0)
		for y := range h {
			for x := range w {
				im.Pix8[y*w+x] = uint8(math.Max(0, math.Min(255, level(float64(x), float64(y))+2*rng.NormFloat64())))
			}
		}
		if c, err := Face([]*part.Image{im}); !errors.Is(err, ErrNoOutline) {
			t.Errorf("%s: %+v, %v; want no outline", name, c, err)
		}
	}
	if _, err := Face([]*part.Image{canvas(100, 80, 1, 9), canvas(80, 100, 1, 9)}); err == nil {
		t.Error("two sizes, and no error")
	}
}
