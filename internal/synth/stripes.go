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
	PaintAt    func(x, y float64) float64 // in Paint's stead; nil: all alike
	Fault      StripesFault
}

// StripesFault is what is wrong with a set. Each is asked for one picture's light; nil: nothing is.
type StripesFault struct {
	Screen   func(l part.Light) float64                     // share of its light that the whole screen gives
	Mirrored func(l part.Light, x, y, s, t float64) float64 // share of what is mirrored at x, y on the face and s, t on the screen, mm
	Band     func(l part.Light, y float64) float64          // share of all light at a height of the picture, mm from its middle
	Lamp     func(l part.Light) float64                     // another lamp's light on the paint, against the white screen's
	Glare    func(l part.Light, x, y float64) float64       // another lamp's light that is mirrored, linear light
	MovedMM  func(l part.Light) (dx, dy float64)            // of the unit, in the picture
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
	lies := func(x, y, k int) (float64, float64) {
		return (float64(x) + (float64(k%sub)+0.5)/sub - 0.5 - float64(p.W-1)/2) * p.MMPerPX, (float64(p.H-1)/2 - float64(y) + 0.5 - (float64(k/sub)+0.5)/sub) * p.MMPerPX
	}
	surface := make([]lacquer, p.W*p.H*sub*sub)
	rows(0, p.H, func(y int) {
		for x := range p.W {
			for k := range sub * sub {
				surface[(y*p.W+x)*sub*sub+k] = p.lacquerAt(lies(x, y, k))
			}
		}
	})
	out := map[part.Light]*part.Image{}
	c := newCanvas(p.W, p.H, true)
	for i, l := range screenLights {
		dx, dy := 0.0, 0.0
		if p.Fault.MovedMM != nil {
			dx, dy = p.Fault.MovedMM(l)
		}
		rows(0, p.H, func(y int) {
			for x := range p.W {
				sum := 0.0
				for k := range sub * sub {
					mx, my := lies(x, y, k)
					s := surface[(y*p.W+x)*sub*sub+k]
					if dx != 0 || dy != 0 {
						s = p.lacquerAt(mx-dx, my-dy)
					}
					sum += p.light(l, mx, my, s) / (sub * sub)
				}
				if p.Fault.Band != nil {
					_, my := lies(x, y, 0)
					sum *= p.Fault.Band(l, my)
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

// lacquer is one place of the face; its gloss is negative outside.
type lacquer struct{ sx, sy, gloss, paint float32 }

// lacquerAt is the lacquer at x, y mm from the face's middle.
func (p *StripesParams) lacquerAt(x, y float64) lacquer {
	if math.Hypot(x, y) > p.RadiusMM {
		return lacquer{gloss: -1}
	}
	s := lacquer{gloss: 1, paint: float32(p.Paint)}
	if p.Gloss != nil {
		s.gloss = float32(p.Gloss(x, y))
	}
	if p.Slope != nil {
		sx, sy := p.Slope(x, y)
		s.sx, s.sy = float32(sx), float32(sy)
	}
	if p.PaintAt != nil {
		s.paint = float32(p.PaintAt(x, y))
	}
	return s
}

// light is what one place sends to the camera; x, y mm from the picture's middle.
func (p *StripesParams) light(l part.Light, x, y float64, at lacquer) float64 {
	if at.gloss < 0 {
		return 0.002
	}
	s, t := x+2*p.DistanceMM*float64(at.sx), y+2*p.DistanceMM*math.Cos(p.TiltDeg*math.Pi/180)*float64(at.sy)
	mean, v := 0.5, 1.0
	switch {
	case l == part.White:
		mean = 1
	case l[len(l)-2] == 'y':
		v = 0.5 + 0.5*p.Contrast*math.Cos(2*math.Pi*t/p.PeriodMM+math.Pi/2*float64(l[len(l)-1]-'0'))
	default:
		v = 0.5 + 0.5*p.Contrast*math.Cos(2*math.Pi*s/p.PeriodMM+math.Pi/2*float64(l[len(l)-1]-'0'))
	}
	f := &p.Fault
	if f.Screen != nil {
		mean, v = mean*f.Screen(l), v*f.Screen(l)
	}
	if f.Mirrored != nil {
		v *= f.Mirrored(l, x, y, s, t)
	}
	if f.Lamp != nil {
		mean += f.Lamp(l)
	}
	light := float64(at.paint)*mean + p.Mirrored*float64(at.gloss)*v
	if f.Glare != nil {
		light += f.Glare(l, x, y)
	}
	return light
}
