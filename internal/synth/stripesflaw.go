package synth

import (
	"fmt"
	"math"
	"math/rand/v2"

	"finishbench/internal/part"
)

// Flaw is a fault of a lacquer's surface as a mirror shows it, of known shape. Craters and
// bubbles are round, (1 - r^2/a^2)^2 deep or high over their radius a; a run is a ridge of that
// section, three times as long as wide; a missed place is a flat hole that mirrors as well as what
// is around it, within a round wall of which the slope is half a sine; haze takes gloss in a round
// patch with a soft edge, and slopes nowhere. Real ones are less regular.
type Flaw struct {
	Kind part.Kind // one of FlawKinds
	// > 0: the diameter, of a run the length; of a missed place to the wall's middle, of haze where half of the loss is left.
	SizeMM   float64
	SlopeRad float64 // the steepest slope, > 0; haze: none
	Lost     float64 // haze: share of the gloss lost in its middle, 0..1
	AngleDeg float64 // of a run's long axis, counter-clockwise
}

// FlawKinds are the kinds of Flaw.
var FlawKinds = []part.Kind{part.Bubble, part.Crater, part.Run, part.Missed, part.Haze}

// Common practice, no source.
const (
	runAcross    = 3.0  // a run's length over its width
	missedWallMM = 0.15 // width of the wall around a missed place, and no more than half of its diameter
	hazeEdge     = 6    // how steeply haze ends: the power of its distance in an exponential
)

// dentSlope is the steepest slope of (1 - q^2)^2 over q: at q = 1/sqrt 3.
var dentSlope = 8 / (3 * math.Sqrt(3))

// At is the surface at x, y mm from the fault's middle, x to the right and y up: where its normal
// leans to, rad, and the share of gloss that is left.
func (f Flaw) At(x, y float64) (sx, sy, gloss float64) {
	a := f.SizeMM / 2
	switch f.Kind {
	case part.Bubble, part.Crater:
		k := f.dent(x/a, y/a)
		if f.Kind == part.Crater {
			k = -k
		}
		return k * x / a, k * y / a, 1
	case part.Run:
		sin, cos := math.Sincos(f.AngleDeg * math.Pi / 180)
		u, v := (x*cos+y*sin)/a, (y*cos-x*sin)/a*runAcross
		k := f.dent(u, v)
		along, across := k*u/runAcross, k*v
		return along*cos - across*sin, along*sin + across*cos, 1
	case part.Missed:
		r, w := math.Hypot(x, y), f.wall()
		if d := (r - a) / w; d > -0.5 && d < 0.5 {
			k := -f.SlopeRad * math.Cos(math.Pi*d) / r
			return k * x, k * y, 1
		}
		return 0, 0, 1
	case part.Haze:
		return 0, 0, 1 - f.Lost*math.Exp(-math.Ln2*math.Pow(math.Hypot(x, y)/a, hazeEdge))
	}
	panic(fmt.Sprintf("synth: no flaw of kind %s", f.Kind))
}

// dent is the slope of a dent or ridge at u, v in half widths, over those.
func (f Flaw) dent(u, v float64) float64 {
	q := 1 - u*u - v*v
	if q <= 0 {
		return 0
	}
	return 4 * q * f.SlopeRad / dentSlope
}

func (f Flaw) wall() float64 { return min(missedWallMM, f.SizeMM/2) }

// HalfMM are half the width and half the height of the fault's box.
func (f Flaw) HalfMM() (x, y float64) {
	a := f.SizeMM / 2
	switch f.Kind {
	case part.Run:
		sin, cos := math.Sincos(f.AngleDeg * math.Pi / 180)
		b := a / runAcross
		return math.Hypot(a*cos, b*sin), math.Hypot(a*sin, b*cos)
	case part.Missed:
		a += f.wall() / 2
	case part.Haze:
		a *= math.Pow(5, 1.0/hazeEdge) // a thirty-second of the loss is left
	}
	return a, a
}

// WidthMM is the width of a run, and the size of others.
func (f Flaw) WidthMM() float64 {
	if f.Kind == part.Run {
		return f.SizeMM / runAcross
	}
	return f.SizeMM
}

// HeightUM is how far the fault's middle lies over its surroundings, um: negative under them; 0 of haze.
func (f Flaw) HeightUM() float64 {
	h := 1000 * f.SlopeRad * f.SizeMM / 2 / dentSlope
	switch f.Kind {
	case part.Crater:
		return -h
	case part.Bubble:
		return h
	case part.Run:
		return h / runAcross
	case part.Missed:
		return -1000 * f.SlopeRad * f.wall() * 2 / math.Pi
	}
	return 0
}

// OrangePeel is a surface of waves in all directions, of wavelengths within a third of an octave
// of waveMM, whose root mean square slope over a wide surface is slopeRad: where the normal leans to, rad, for Stripes.
func OrangePeel(waveMM, slopeRad float64, seed uint64) func(x, y float64) (sx, sy float64) {
	const waves = 16
	rng := rand.New(rand.NewPCG(seed, 0x9ee1))
	type wave struct{ cos, sin, k, phase float64 }
	var all [waves]wave
	for i := range all {
		sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
		all[i] = wave{cos, sin, 2 * math.Pi / (waveMM * math.Pow(2, rng.Float64()*0.6-0.3)), 2 * math.Pi * rng.Float64()}
	}
	a := slopeRad * math.Sqrt2 / math.Sqrt(waves) // of each wave along itself
	return func(x, y float64) (sx, sy float64) {
		for _, w := range all {
			v := a * math.Cos(w.k*(x*w.cos+y*w.sin)+w.phase)
			sx, sy = sx+v*w.cos, sy+v*w.sin
		}
		return sx, sy
	}
}
