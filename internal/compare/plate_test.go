package compare

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"finishbench/internal/optics"
	"finishbench/internal/part"
)

const testScale = 0.05 // mm per px

// drawn is a picture of a faceplate 16 mm by 12 mm on black; light gives its
// linear light at each pixel.
func drawn(light func(x, y int) [3]float64) Plate {
	const w, h = 400, 320
	im := &part.Image{W: w, H: h, C: 3, Pix8: make([]uint8, 3*w*h)}
	var outline []part.Point
	for k := range 120 {
		s, c := math.Sincos(2 * math.Pi * float64(k) / 120)
		outline = append(outline, part.Point{X: 200 + 160*c, Y: 160 + 120*s})
	}
	for y := range h {
		for x := range w {
			if u, v := float64(x-200)/160, float64(y-160)/120; u*u+v*v > 1 {
				continue
			}
			for c, v := range light(x, y) {
				im.Pix8[3*(y*w+x)+c] = uint8(math.Round(255 * optics.LinearToSRGB(math.Max(0, math.Min(1, v)))))
			}
		}
	}
	return Plate{Image: im, Outline: outline, MMPerPX: testScale}
}

func labOfColour(c part.Colour) Lab { return Lab{c.L, c.A, c.B} }

func TestPlainPlate(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	p := drawn(func(x, y int) [3]float64 {
		n := 1 + 0.03*r.NormFloat64()
		if x > 180 && x < 200 && y > 150 && y < 165 {
			return [3]float64{1, 1, 1} // glare
		}
		return [3]float64{0.30 * n, 0.12 * n, 0.05 * n}
	})
	c, err := PlateColour(p, DefaultPlateParams())
	if err != nil {
		t.Fatal(err)
	}
	want := LabOf(0.30, 0.12, 0.05)
	if d := DeltaE(labOfColour(c), want); d > 0.2 {
		t.Errorf("%.2f from what was drawn: %+v", d, c)
	}
	if c.Spread >= PatternSpread || c.UL > 0.2 || c.Share < 0.5 || c.White {
		t.Errorf("%+v", c)
	}
}

// A finding's box takes its colour out.
func TestPlateWithoutFindings(t *testing.T) {
	p := drawn(func(x, y int) [3]float64 {
		if x >= 150 && x < 230 && y >= 120 && y < 200 {
			return [3]float64{0.25, 0.2, 0.2}
		}
		return [3]float64{0.2, 0.2, 0.2}
	})
	prm := DefaultPlateParams()
	prm.Widths = 1000 // nothing else takes it out
	with, err := PlateColour(p, prm)
	if err != nil {
		t.Fatal(err)
	}
	p.Findings = []part.Box{{149.5, 119.5, 80, 80}}
	without, err := PlateColour(p, prm)
	if err != nil {
		t.Fatal(err)
	}
	grey := LabOf(0.2, 0.2, 0.2)
	if DeltaE(labOfColour(without), grey) > 0.3 || DeltaE(labOfColour(with), grey) < 0.5 {
		t.Errorf("with %+v, without %+v", with, without)
	}
}

// Two patterned faceplates of one colour: the stated uncertainty holds, and they
// are told as patterned.
func TestPatternedPlates(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	over, n := 0, 40
	for range n {
		var cs [2]part.Colour
		for i := range cs {
			spots := map[[2]int]float64{}
			p := drawn(func(x, y int) [3]float64 {
				k := [2]int{x / 12, y / 12}
				if _, ok := spots[k]; !ok {
					spots[k] = 0.06
					if r.IntN(3) == 0 {
						spots[k] = 0.4
					}
				}
				v := spots[k]
				return [3]float64{v, v, 0.8 * v}
			})
			c, err := PlateColour(p, DefaultPlateParams())
			if err != nil {
				t.Fatal(err)
			}
			if c.Spread < PatternSpread {
				t.Errorf("spread %v of a pattern", c.Spread)
			}
			cs[i] = c
		}
		if math.Abs(cs[0].L-cs[1].L) > 2*math.Hypot(cs[0].UL, cs[1].UL) {
			over++
		}
	}
	if over > 6 { // 2 are expected; 6 or fewer in 99.6 % of such tests (binomial, n 40, p 0.05)
		t.Errorf("%d of %d pairs differ by more than twice the uncertainty", over, n)
	}
}

// A white reference takes the lamp's colour out.
func TestPlateAgainstWhite(t *testing.T) {
	p := drawn(func(int, int) [3]float64 { return [3]float64{0.4 * 0.8, 0.4 * 0.6, 0.4 * 0.4} })
	p.White = [3]float64{0.8, 0.6, 0.4}
	c, err := PlateColour(p, DefaultPlateParams())
	if err != nil {
		t.Fatal(err)
	}
	if d := DeltaE(labOfColour(c), LabOf(0.4, 0.4, 0.4)); d > 0.3 || !c.White {
		t.Errorf("%.2f: %+v", d, c)
	}
}

func TestPlateRefused(t *testing.T) {
	good := drawn(func(int, int) [3]float64 { return [3]float64{0.2, 0.2, 0.2} })
	for want, change := range map[string]func(*Plate){
		"grey picture":     func(p *Plate) { p.Image = &part.Image{W: 2, H: 2, C: 1, Pix8: make([]uint8, 4)} },
		"outline":          func(p *Plate) { p.Outline = nil },
		"no place":         func(p *Plate) { p.Outline = []part.Point{{X: math.NaN()}, {X: 1}, {Y: 1}} },
		"scale":            func(p *Plate) { p.MMPerPX = 0 },
		"free of rim":      func(p *Plate) { p.Findings = []part.Box{{0, 0, 400, 320}} },
		"needs a positive": func(p *Plate) { p.Image = nil },
	} {
		p := good
		change(&p)
		if _, err := PlateColour(p, DefaultPlateParams()); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want an error with %q, got %v", want, err)
		}
	}
	white := drawn(func(int, int) [3]float64 { return [3]float64{1, 1, 1} })
	if c, err := PlateColour(white, DefaultPlateParams()); err == nil {
		t.Errorf("all glare has a colour: %+v", c)
	}
}

func BenchmarkPlateColour(b *testing.B) {
	p := drawn(func(int, int) [3]float64 { return [3]float64{0.2, 0.2, 0.2} })
	for b.Loop() {
		if _, err := PlateColour(p, DefaultPlateParams()); err != nil {
			b.Fatal(err)
		}
	}
}
