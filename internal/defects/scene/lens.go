package scene

import (
	"math"
)

// ShapeMM is a shape pixel's side.
func (f *Face) ShapeMM() float64 { return f.Params.MMPerPX * float64(f.ShapeFactor) }

// BlurPX is the standard deviation, in shape pixels, of the smoothing that the
// finest map has seen, optics included.
func (f *Face) BlurPX() float64 {
	return math.Hypot(f.WindowBlurPX(), f.LensPX/float64(f.ShapeFactor))
}

// What a lens in focus blurs by, give or take, in full-resolution pixels, where it
// was not measured; and what a measured one is held to: a sensor's pixel alone
// blurs by 1/sqrt(12), and what is blurred by more than eight pixels is out of any focus (common practice, no
// source).
const (
	opticsBlurPX  = 0.9
	opticsLimitPX = 0.4
	leastBlurPX   = 0.3
	mostBlurPX    = 8.0
)

// setLens takes the scene's blur from its pictures: the least that was measured, as
// one lens took them all.
func (f *Face) setLens() {
	f.LensPX, f.ULensPX = opticsBlurPX, opticsLimitPX/math.Sqrt(3)
	least := math.Inf(1)
	for _, p := range f.Pictures {
		if p.BlurPX > 0 && p.BlurPX < least {
			least = p.BlurPX
			f.LensPX, f.ULensPX = math.Max(leastBlurPX, math.Min(mostBlurPX, least)), p.UBlurPX
		}
	}
}

// WindowBlurPX is the smoothing in shape pixels that leaves the noise that the
// search saw: the search's own, and its averaging over k x k shape pixels, whose
// variance is (k^2-1)/12.
func (f *Face) WindowBlurPX() float64 {
	k := float64(f.Factor) / float64(f.ShapeFactor)
	return math.Sqrt(math.Pow(f.smoothPX(f.Factor)*k, 2) + (k*k-1)/12)
}
