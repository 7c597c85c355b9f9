package synth

import (
	"math"
	"math/rand/v2"
)

// Grooves is how sanding marks show through lacquer: waves that all run one way. Lengths on
// the face, from its middle, y upwards.
type Grooves struct {
	AngleDeg       float64 // that the marks run along, counter-clockwise from x
	SpreadDeg      float64 // single waves' standard deviation around it
	SlopeRad       float64 // root mean square over a wide face; in a small place random waves may add up to more or less
	FromMM, ToMM   float64 // wavelengths, evenly by frequency; both the same: one sine wave
	X, Y, RadiusMM float64 // the round place where they are, its edge soft; 0: all over
	Seed           uint64
}

// grooveEdgeMM is how wide the edge of their place is, from all to none.
const grooveEdgeMM = 0.4

// Slope is the surface's, rad, for StripesParams.
func (g Grooves) Slope() func(x, y float64) (sx, sy float64) {
	rng := rand.New(rand.NewPCG(g.Seed, 77))
	n := 40
	if g.FromMM == g.ToMM {
		n = 1
	}
	type wave struct{ kx, ky, phase, height float64 }
	all := make([]wave, n)
	for i := range all {
		f := 1/g.ToMM + (1/g.FromMM-1/g.ToMM)*rng.Float64()
		sin, cos := math.Sincos((g.AngleDeg + 90 + g.SpreadDeg*rng.NormFloat64()) * math.Pi / 180)
		k := 2 * math.Pi * f
		all[i] = wave{k * cos, k * sin, 2 * math.Pi * rng.Float64(), g.SlopeRad * math.Sqrt(2/float64(n)) / k}
	}
	return func(x, y float64) (sx, sy float64) {
		share, falls := 1.0, 0.0
		r := math.Hypot(x-g.X, y-g.Y)
		if g.RadiusMM > 0 {
			t := (r - g.RadiusMM) / grooveEdgeMM
			switch {
			case t >= 1:
				return 0, 0
			case t > 0:
				share, falls = (1+math.Cos(math.Pi*t))/2, -math.Pi/2*math.Sin(math.Pi*t)/grooveEdgeMM
			}
		}
		h := 0.0
		for _, w := range all {
			sin, cos := math.Sincos(w.kx*x + w.ky*y + w.phase)
			h += w.height * sin
			sx, sy = sx+w.height*w.kx*cos, sy+w.height*w.ky*cos
		}
		sx, sy = sx*share, sy*share
		if r > 0 {
			sx, sy = sx+h*falls*(x-g.X)/r, sy+h*falls*(y-g.Y)/r
		}
		return sx, sy
	}
}
