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
	return StripesParams{W: 800, H: 800, MMPerPX: 0.016, RadiusMM: 5.5, PeriodMM: 6, DistanceMM: 160, TiltDeg: 20, Contrast: 0.8,
		Mirrored: 0.04, Paint: 0.2, BlurPX: 0.9, Noise: 0.8, Exposure: 0.9, Bits: 8, Seed: 1}
}

// screenLights are the lights that Stripes draws.
var screenLights = []part.Light{part.White, part.StripesX0, part.StripesX1, part.StripesX2, part.StripesX3, part.StripesY0, part.StripesY1,
	part.StripesY2, part.StripesY3}

// Stripes draws the face under the white screen and the eight pictures of stripes, and
// tells its outline. Slope and gloss are
// sampled at 2 x 2 places of a pixel.
func Stripes(p StripesParams) (map[part.Light]*part.Image, []part.Point) {
	const sub = 2
	lies := func(x, y, k int) (float64, float64) {
		return (float64(x) + (float64(k%sub)+0.5)/sub - 0.5 - float64(p.W-1)/2) * p.MMPerPX,
			(float64(p.H-1)/2 - float64(y) + 0.5 - (float64(k/sub)+0.5)/sub) * p.MMPerPX
	}
	tilted := math.Cos(p.TiltDeg * math.Pi / 180)
	drawn := make([]*canvas, len(screenLights))
	moved := make([][2]float64, len(screenLights))
	for i, l := range screenLights {
		drawn[i] = newCanvas(p.W, p.H, true)
		if p.Fault.MovedMM != nil {
			moved[i][0], moved[i][1] = p.Fault.MovedMM(l)
		}
	}
	rows(0, p.H, func(y int) {
		sums := make([]float64, len(screenLights))
		for x := range p.W {
			clear(sums)
			for k := range sub * sub {
				mx, my := lies(x, y, k)
				stays := p.seen(mx, my, mx, my, tilted)
				for i, m := range moved {
					at := stays
					if m != [2]float64{} {
						at = p.seen(mx, my, mx-m[0], my-m[1], tilted)
					}
					sums[i] += p.light(i, at) / (sub * sub)
				}
			}
			for i, l := range screenLights {
				if p.Fault.Band != nil {
					_, my := lies(x, y, 0)
					sums[i] *= p.Fault.Band(l, my)
				}
				drawn[i].ch[0][y*p.W+x] = float32(sums[i] * p.Exposure)
			}
		}
	})
	out := map[part.Light]*part.Image{}
	for i, l := range screenLights {
		drawn[i].blur(p.BlurPX, area{0, 0, p.W, p.H})
		out[l] = sensor{exposure: 1, noise: p.Noise, bits: p.Bits, seed: p.Seed*16 + uint64(i)}.picture(drawn[i])
	}
	var outline []part.Point
	for k := range 360 {
		sin, cos := math.Sincos(float64(k) * math.Pi / 180)
		outline = append(outline, part.Point{X: float64(p.W-1)/2 + p.RadiusMM/p.MMPerPX*cos,
			Y: float64(p.H-1)/2 - p.RadiusMM/p.MMPerPX*sin})
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

// seen is one place of the picture: where it lies, mm from the picture's middle, which place of the screen
// the lacquer there mirrors, mm, and the cosine of each phase of the stripes at that place, along x and along y.
type seen struct {
	lacquer
	x, y, s, t float64
	wave       [8]float64
}

// seen looks at the place x, y of the picture, where the lacquer is that of fx, fy on the face; tilted is the
// cosine of the screen's tilt.
func (p *StripesParams) seen(x, y, fx, fy, tilted float64) seen {
	at := seen{lacquer: p.lacquerAt(fx, fy), x: x, y: y}
	if at.gloss < 0 {
		return at
	}
	at.s, at.t = x+2*p.DistanceMM*float64(at.sx), y+2*p.DistanceMM*tilted*float64(at.sy)
	sin, cos := math.Sincos(2 * math.Pi * at.s / p.PeriodMM)
	sinT, cosT := math.Sincos(2 * math.Pi * at.t / p.PeriodMM)
	at.wave = [8]float64{cos, -sin, -cos, sin, cosT, -sinT, -cosT, sinT} // cos(a + n 90 deg)
	return at
}

// light is what a place sends to the camera in picture i of screenLights.
func (p *StripesParams) light(i int, at seen) float64 {
	if at.gloss < 0 {
		return 0.002
	}
	l, mean, v := screenLights[i], 1.0, 1.0
	if i > 0 { // stripes
		mean, v = 0.5, 0.5+0.5*p.Contrast*at.wave[i-1]
	}
	f := &p.Fault
	if f.Screen != nil {
		mean, v = mean*f.Screen(l), v*f.Screen(l)
	}
	if f.Mirrored != nil {
		v *= f.Mirrored(l, at.x, at.y, at.s, at.t)
	}
	if f.Lamp != nil {
		mean += f.Lamp(l)
	}
	light := float64(at.paint)*mean + p.Mirrored*float64(at.gloss)*v
	if f.Glare != nil {
		light += f.Glare(l, at.x, at.y)
	}
	return light
}
