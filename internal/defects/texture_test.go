package defects

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"finishbench/internal/lang"

	"finishbench/internal/defects/scene"
	"finishbench/internal/part"
)

const groundMMPerPX = 0.03

// ground is a flat grey surface with grinding lines along one direction, stronger
// in some places than in others, and light that falls off to a side. Each line is
// noise averaged over some lengths along the grain. Then paint gives the share of
// the light that each pixel keeps.
func ground(seed uint64, paint func(x, y int) float64) *part.Image {
	const w, h = 720, 600
	rng := rand.New(rand.NewPCG(seed, 11))
	tilt := 0.3 * (rng.Float64() - 0.5) // of the grain against the x axis
	phase := 2 * math.Pi * rng.Float64()
	lines := make([]float64, w*h)
	for _, n := range []struct{ length, strength float64 }{{160, 1}, {40, 0.7}} {
		// A column of noise a pixel, carried along the grain and renewed over length.
		keep := math.Exp(-1 / n.length)
		fresh := math.Sqrt(1 - keep*keep)
		row := make([]float64, 2*h)
		for i := range row {
			row[i] = rng.NormFloat64()
		}
		for x := range w {
			for i := range row {
				row[i] = keep*row[i] + fresh*rng.NormFloat64()
			}
			for y := range h {
				at := float64(y) + float64(h)/2 + tilt*float64(x)
				i, u := int(at), at-math.Floor(at)
				lines[y*w+x] += n.strength * (0.3*(1-u)*row[i-1] + (0.4*(1-u)+0.3*u)*row[i] + (0.3*(1-u)+0.4*u)*row[i+1] + 0.3*u*row[i+2])
			}
		}
	}
	im := &part.Image{W: w, H: h, C: 1, Pix8: make([]uint8, w*h)}
	for y := range h {
		for x := range w {
			u, v := float64(x)/w, float64(y)/h
			strength := 10 * math.Exp(0.7*math.Sin(2*math.Pi*u+phase)*math.Cos(2*math.Pi*v))
			grey := (110 + strength*lines[y*w+x]) * (1.1 - 0.3*u) * paint(x, y)
			im.Pix8[y*w+x] = uint8(math.Round(max(5, min(250, grey+rng.NormFloat64()))))
		}
	}
	return im
}

// findInTexture looks at a ground surface and returns the findings' boxes in
// millimetres and the warnings.
func findInTexture(t *testing.T, im *part.Image) ([]part.Box, []string) {
	t.Helper()
	res, err := FindPanel([]scene.Picture{{Shot: part.Shot{File: "ground.png"}, Image: im}}, scene.DefaultParams(groundMMPerPX))
	if err != nil {
		t.Fatal(err)
	}
	var boxes []part.Box
	for _, f := range res.Findings {
		b := f.Box
		boxes = append(boxes, part.Box{b[0] * groundMMPerPX, b[1] * groundMMPerPX, b[2] * groundMMPerPX, b[3] * groundMMPerPX})
	}
	return boxes, lang.English().SayAll(res.Warnings)
}

// A ground surface in one light: a blowhole, a larger one and a crack across the
// grain are found where they are, at about their size, and the grinding is not
// taken for defects. Shares and tolerances: common practice, no source.
func TestGroundPanelInOneLight(t *testing.T) {
	// boxes in millimetres
	drawn := []struct {
		name string
		box  part.Box
		keep float64
		in   func(x, y float64) bool
	}{
		{"blowhole", part.Box{5.6, 4.6, 0.8, 0.8}, 0.45, func(x, y float64) bool { return math.Hypot(x-6, y-5) < 0.4 }},
		{"large blowhole", part.Box{14.8, 11.8, 2.4, 2.4}, 0.45, func(x, y float64) bool { return math.Hypot(x-16, y-13) < 1.2 }},
		{"crack", part.Box{10.8, 2, 0.4, 4}, 0.6, func(x, y float64) bool {
			return y > 2 && y < 6 && math.Abs(x-11-0.15*math.Sin(2.5*y)) < 0.05
		}},
	}
	found, clean := 0, 0
	const seeds = 3
	for seed := uint64(1); seed <= seeds; seed++ {
		boxes, warnings := findInTexture(t, ground(seed, func(int, int) float64 { return 1 }))
		clean += len(boxes)
		t.Logf("seed %d, clean: %.1f %q", seed, boxes, warnings)
		boxes, _ = findInTexture(t, ground(seed, func(x, y int) float64 {
			for _, d := range drawn {
				if d.in(float64(x)*groundMMPerPX, float64(y)*groundMMPerPX) {
					return d.keep
				}
			}
			return 1
		}))
		t.Logf("seed %d, drawn: %.1f", seed, boxes)
		for _, d := range drawn {
			for _, b := range boxes {
				c, want := b.Centre(), d.box.Centre()
				if math.Hypot(c.X-want.X, c.Y-want.Y) < 0.5 && math.Abs(max(b[2], b[3])/max(d.box[2], d.box[3])-1) < 0.3 {
					found++
					break
				}
			}
		}
	}
	if want := seeds * len(drawn); found < want || clean > 0 {
		t.Errorf("found %d of %d, and %d places in clean pictures", found, want, clean)
	}
}

// Where a texture hides what one would want to see, the result says so.
func TestStrongTextureSaysSo(t *testing.T) {
	rough := func(x, y int) float64 {
		return 1 + 0.5*math.Sin(float64(x)/3)*math.Sin(float64(y)/4) + 0.4*math.Sin(float64(x)/7.3+float64(y)/9.1)
	}
	for name, c := range map[string]struct {
		paint func(x, y int) float64
		want  bool
	}{"fine": {func(int, int) float64 { return 1 }, false}, "rough": {rough, true}} {
		_, warnings := findInTexture(t, ground(1, c.paint))
		if got := strings.Contains(strings.Join(warnings, "\n"), "texture is strong"); got != c.want {
			t.Errorf("%s: warned of the texture %v, want %v: %q", name, got, c.want, warnings)
		}
	}
}
