package stripes

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"

	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// Flaw is a fault of known shape at a place of the pictures.
type Flaw struct {
	X, Y    float64 // its middle, full-resolution pixels
	ReachMM float64 // it ends within this distance of its middle (> 0)
	// Surface is what the fault makes of the surface at x, y mm from its middle, x to the right
	// and y up: where the normal leans to, rad, and the share of the gloss that is left.
	Surface func(x, y float64) (sx, sy, gloss float64)
}

// How faults are drawn (common practice, no source).
const (
	flawSub    = 4    // places across a pixel at which a fault is taken
	flawMeanMM = 0.08 // what the face mirrors is averaged over this, standard deviation
	flawBlurs  = 3.5  // the lens's blur reaches so many of its standard deviations
)

// WithFlaws are a set's pictures of stripes as they would be if the face had faults too; the
// others are as they were. What the face mirrors, A cos(phi + k 90 degrees), is known from the pictures, averaged
// over some pixels. A slope turns phi, gloss is a share of A, and the lens's blur is over both; what that
// changes is added to the pictures, which so keep their paint, noise and compression. The light that haze
// scatters, and that a steep slope sends past the screen, is not followed: the sum of opposite phases, and so
// the paint, shows nothing of a fault.
//
// The pictures must be those that were measured, and the screen's place must be known.
func (m *Maps) WithFlaws(images map[part.Light]*part.Image, flaws []Flaw) (map[part.Light]*part.Image, error) {
	if !m.screen.Known() {
		return nil, errors.New("stripes: where the screen stands is not known, so no slope can be drawn")
	}
	out := maps.Clone(images)
	for d, of := range Lights {
		var from, to []*part.Image
		for _, l := range of[:phasesOf(images)] {
			im := images[l]
			if im == nil {
				return nil, fmt.Errorf("stripes: the picture %s is missing", l)
			}
			c := *im
			c.Pix8, c.Pix16 = slices.Clone(im.Pix8), slices.Clone(im.Pix16)
			from, to, out[l] = append(from, im), append(to, &c), &c
		}
		for _, f := range flaws {
			m.draw(d, f, from, to)
		}
	}
	return out, nil
}

// draw adds what a fault changes to the pictures of direction d.
func (m *Maps) draw(d int, f Flaw, from, to []*part.Image) {
	mmPX := m.MMPX / float64(m.Bin)
	blur := m.lens / mmPX
	reach := f.ReachMM/mmPX + flawBlurs*blur + 1
	im := from[0]
	x0, y0 := max(0, int(f.X-reach)), max(0, int(f.Y-reach))
	w, h := min(im.W, int(f.X+reach)+2)-x0, min(im.H, int(f.Y+reach)+2)-y0
	if w <= 0 || h <= 0 {
		return
	}
	// exp(i phi) becomes gloss exp(i (phi + turn)): by how much exp(i phi) is multiplied, less 1.
	change := newPhasor(w, h)
	perRad := m.screen.slopePerRad()[d]
	const n = flawSub * flawSub
	for i := range w * h {
		var re, im float64
		for k := range n {
			x := float64(x0+i%w) + (float64(k%flawSub)+0.5)/flawSub - 0.5 - f.X
			y := float64(y0+i/w) + (float64(k/flawSub)+0.5)/flawSub - 0.5 - f.Y
			sx, sy, gloss := f.Surface(x*mmPX, -y*mmPX)
			sin, cos := math.Sincos((sx*m.along[d][0] - sy*m.along[d][1]) / perRad)
			re, im = re+(gloss*cos-1)/n, im+gloss*sin/n
		}
		change.re.V[i], change.im.V[i] = float32(re), float32(im)
	}
	change = change.blurred(blur)
	for c := range im.C {
		z := newPhasor(w, h)
		for i := range w * h {
			at := ((y0+i/w)*im.W+x0+i%w)*im.C + c
			i0, i2 := linear(from[0], at), linear(from[2], at)
			opposite := i0 + i2 - linear(from[1], at) // of the second: the fourth, where there is none
			if len(from) == Phases {
				opposite = linear(from[3], at)
			}
			z.re.V[i] = float32(i0-i2) / 2
			z.im.V[i] = float32(opposite-linear(from[1], at)) / 2
		}
		z = z.blurred(flawMeanMM / mmPX)
		for i := range w * h {
			at := ((y0+i/w)*im.W+x0+i%w)*im.C + c
			v := z.at(i) * change.at(i)
			for k, by := range []float64{real(v), -imag(v), -real(v), imag(v)}[:len(to)] {
				addTo(to[k], at, by)
			}
		}
	}
}

// addTo adds linear light to a sample.
func addTo(im *part.Image, i int, by float64) {
	v := optics.LinearToSRGB(max(0, min(1, linear(im, i)+by)))
	if im.Pix16 != nil {
		im.Pix16[i] = uint16(math.Round(65535 * v))
	} else {
		im.Pix8[i] = uint8(math.Round(255 * v))
	}
}
