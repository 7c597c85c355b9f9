package synth

import (
	"math"

	"finishbench/internal/part"
)

// StripesParams is a round lacquered face before a screen, seen from straight above in the
// plane of incidence's terms: a ray that meets the face at x, y mm from its middle comes from the
// screen at (x + 2 D sx, y + 2 D cos(tilt) sy), s being the surface's slope there and D the
// distance (small angles).
type StripesParams struct {
	W, H       int
	MMPerPX    float64 // > 0
	RadiusMM   float64 // of the face
	PeriodMM   float64
	DistanceMM float64
	TiltDeg    float64
	Contrast   float64                             // of the stripes, 0..1
	Mirrored   float64                             // share of the screen's light that lacquer mirrors; 0.04 for an index of 1.5
	Paint      float64                             // share that the paint sends back, all ways alike
	Slope      func(x, y float64) (sx, sy float64) // rad; nil: flat
	Gloss      func(x, y float64) float64          // nil: 1
	BlurPX     float64                             // lens, standard deviation
	Noise      float64                             // standard deviation in 8-bit levels at mid-grey
	Exposure   float64                             // light of a white sheet, 0..1
	Bits       int                                 // 8 or 16
	Seed       uint64
}

// DefaultStripes is a face of 11 mm, the screen 160 mm off.
func DefaultStripes() StripesParams {
	return StripesParams{W: 800, H: 800, MMPerPX: 0.016, RadiusMM: 5.5, PeriodMM: 6, DistanceMM: 160, TiltDeg: 20, Contrast: 0.8, Mirrored: 0.04, Paint: 0.2, BlurPX: 0.9, Noise: 0.8, Exposure: 0.9, Bits: 8, Seed: 1}
}

// screenLights are the lights that Stripes draws.
var screenLights = []part.Light{part.White, part.StripesX0, part.StripesX1, part.StripesX2, part.StripesX3, part.StripesY0, part.StripesY1, part.StripesY2, part.StripesY3}

// Stripes draws the face under the white screen and the eight pictures of stripes, and
// tells its outline. Slope and gloss are
// sampled at 2 x 2 places of a pixel.
func Stripes(p StripesParams) (map[part.Light]*part.Image, []part.Point) {
	const sub = 2
	type sample struct{ sx, sy, gloss float32 }
	lies := func(x, y, k int) (float64, float64) {
		return (float64(x) + (float64(k%sub)+0.5)/sub - 0.5 - float64(p.W-1)/2) * p.MMPerPX, (float64(p.H-1)/2 - float64(y) + 0.5 - (float64(k/sub)+0.5)/sub) * p.MMPerPX
	}
	surface := make([]sample, p.W*p.H*sub*sub)
	rows(0, p.H, func(y int) {
		for x := range p.W {
			for k := range sub * sub {
				mx, my := lies(x, y, k)
				if math.Hypot(mx, my) > p.RadiusMM {
					continue
				}
				s := sample{gloss: 1}
				if p.Gloss != nil {
					s.gloss = float32(p.Gloss(mx, my))
				}
				if p.Slope != nil {
					sx, sy := p.Slope(mx, my)
					s.sx, s.sy = float32(sx), float32(sy)
				}
				surface[(y*p.W+x)*sub*sub+k] = s
			}
		}
	})
	out := map[part.Light]*part.Image{}
	c := newCanvas(p.W, p.H, true)
	for i, l := range screenLights {
		rows(0, p.H, func(y int) {
			for x := range p.W {
				sum := 0.0
				for k := range sub * sub {
					mx, my := lies(x, y, k)
					s := surface[(y*p.W+x)*sub*sub+k]
					sum += p.light(l, mx, my, float64(s.sx), float64(s.sy), float64(s.gloss)) / (sub * sub)
				}
				c.ch[0][y*p.W+x] = float32(sum * p.Exposure)
			}
		})
		c.blur(p.BlurPX, area{0, 0, p.W, p.H})
		out[l] = sensor{exposure: 1, noise: p.Noise, bits: p.Bits, seed: p.Seed*16 + uint64(i)}.picture(c)
	}
	var outline []part.Point
	for k := range 360 {
		sin, cos := math.Sincos(float64(k) * math.Pi / 180)
		outline = append(outline, part.Point{X: float64(p.W-1)/2 + p.RadiusMM/p.MMPerPX*cos, Y: float64(p.H-1)/2 - p.RadiusMM/p.MMPerPX*sin})
	}
	return out, outline
}

// light is what one place of the face sends to the camera; x, y mm from the middle.
func (p *StripesParams) light(l part.Light, x, y, sx, sy, gloss float64) float64 {
	if math.Hypot(x, y) > p.RadiusMM {
		return 0.002
	}
	if l == part.White {
		return p.Paint + p.Mirrored*gloss
	}
	s := x + 2*p.DistanceMM*sx
	if l[len(l)-2] == 'y' {
		s = y + 2*p.DistanceMM*math.Cos(p.TiltDeg*math.Pi/180)*sy
	}
	v := 0.5 + 0.5*p.Contrast*math.Cos(2*math.Pi*s/p.PeriodMM+math.Pi/2*float64(l[len(l)-1]-'0'))
	return p.Paint/2 + p.Mirrored*gloss*v
}
