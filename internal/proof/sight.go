package proof

import (
	"math"

	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// Size of the thinned pictures that are compared. Common practice, no source.
const (
	sightSide = 320 // samples along the longer side, about
	coarser   = 4   // samples of the fine one that make one of the coarse, each way
)

// Sight is what a picture shows, small enough to keep while a unit is photographed: its light,
// thinned twice. It holds nothing of the picture itself.
type Sight struct {
	shot   part.Shot
	step   int // pixels a sample of the fine one
	fine   *part.Plane
	coarse *part.Plane
	noise  float64    // scatter of the fine one's samples from place to place, levels 0..255
	chroma [2]float64 // shares of red and green in the unit's light, linear; a third each where the picture is grey
}

// Look thins a picture. It is nil for one that cannot be looked at.
func Look(im *part.Image, shot part.Shot) *Sight {
	if im.Validate() != nil || im.W < 64 || im.H < 64 {
		return nil
	}
	step := max(1, (max(im.W, im.H)+sightSide/2)/sightSide)
	s := &Sight{shot: shot, step: step, fine: part.NewPlane(im.W/step, im.H/step)}
	if im.Pix16 != nil {
		thin(s.fine, im.Pix16, im.W, im.C, step, 1.0/257)
	} else {
		thin(s.fine, im.Pix8, im.W, im.C, step, 1)
	}
	s.noise = scatter(s.fine)
	soften(s.fine)
	s.coarse = shrunk(s.fine)
	soften(s.coarse)
	s.chroma = s.colour(im)
	return s
}

// thin averages every second pixel of each block, over all channels, as encoded, levels 0..255.
func thin[T uint8 | uint16](p *part.Plane, pix []T, w, c, step int, level float32) {
	every := min(2, step)
	n := (step + every - 1) / every
	scale := level / float32(n*n*c)
	for j := range p.H {
		row := p.V[j*p.W : (j+1)*p.W]
		for y := j * step; y < (j+1)*step; y += every {
			line := pix[y*w*c : (y+1)*w*c]
			for i := range row {
				sum := uint32(0)
				if at := i * step * c; c == 3 {
					for range n {
						q := line[at : at+3 : at+3]
						sum += uint32(q[0]) + uint32(q[1]) + uint32(q[2])
						at += 3 * every
					}
				} else {
					for range n {
						sum += uint32(line[at])
						at += every
					}
				}
				row[i] += float32(sum)
			}
		}
		for i := range row {
			row[i] *= scale
		}
	}
}

// colour is the unit's, by the middles of the coarse samples that differ from the ground.
func (s *Sight) colour(im *part.Image) [2]float64 {
	g := groundOf(s.coarse)
	var sum [3]float64
	table := optics.Linear8()
	for y := range s.coarse.H {
		for x := range s.coarse.W {
			if !g.differs(s.coarse.V[y*s.coarse.W+x]) {
				continue
			}
			at := ((y*coarser+coarser/2)*s.step*im.W + (x*coarser+coarser/2)*s.step) * im.C
			for c := range sum {
				k := at + min(c, im.C-1)
				if im.Pix16 != nil {
					sum[c] += float64(table[im.Pix16[k]>>8])
				} else {
					sum[c] += float64(table[im.Pix8[k]])
				}
			}
		}
	}
	all := sum[0] + sum[1] + sum[2]
	if !(all > 0) {
		return [2]float64{1.0 / 3, 1.0 / 3}
	}
	return [2]float64{sum[0] / all, sum[1] / all}
}

// scatter is the standard deviation of a sample about its neighbours' mean, by the lower half
// of these deviations: what is more is the unit's own pattern.
func scatter(p *part.Plane) float64 {
	var d []float64
	for y := 1; y < p.H-1; y += 2 {
		for x := 1; x < p.W-1; x += 2 {
			i := y*p.W + x
			m := (p.V[i-1] + p.V[i+1] + p.V[i-p.W] + p.V[i+p.W]) / 4
			d = append(d, math.Abs(float64(p.V[i]-m)))
		}
	}
	// A quarter of a normal distribution lies within 0.3186 of its middle; the difference has 5/4 of
	// a sample's variance.
	return robust.Quantile(d, 0.25) / 0.3186 / math.Sqrt(1.25)
}

// soften blurs by the binomial 1 4 6 4 1 each way, a standard deviation of one sample, so that what lies between samples is told.
func soften(p *part.Plane) {
	line := make([]float32, max(p.W, p.H)+4)
	blur := func(at, step, n int) {
		for i := range n + 4 {
			line[i] = p.V[at+step*min(n-1, max(0, i-2))]
		}
		for i := range n {
			p.V[at+step*i] = (line[i] + line[i+4] + 4*(line[i+1]+line[i+3]) + 6*line[i+2]) / 16
		}
	}
	for y := range p.H {
		blur(y*p.W, 1, p.W)
	}
	for x := range p.W {
		blur(x, p.W, p.H)
	}
}

// shrunk takes means of coarser x coarser samples.
func shrunk(p *part.Plane) *part.Plane {
	o := part.NewPlane(p.W/coarser, p.H/coarser)
	for y := range o.H {
		for x := range o.W {
			sum := float32(0)
			for j := range coarser {
				at := (y*coarser+j)*p.W + x*coarser
				for _, v := range p.V[at : at+coarser] {
					sum += v
				}
			}
			o.V[y*o.W+x] = sum / (coarser * coarser)
		}
	}
	return o
}

// region is a mask of what is compared in two pictures of one size: where one of them differs from its ground, the frame's
// edge, there the unit is, and what is beside it is the same in all pictures. A unit like its ground is taken to lie in the
// middle. What is clipped tells nothing.
func region(a, b *part.Plane) []bool {
	out := make([]bool, len(a.V))
	n := 0
	for _, p := range [2]*part.Plane{a, b} {
		g := groundOf(p)
		for i, v := range p.V {
			if !out[i] && g.differs(v) {
				out[i] = true
				n++
			}
		}
	}
	if float64(n) < leastArea*float64(len(out)) {
		for y := a.H / 4; y < a.H*3/4; y++ {
			for x := a.W / 4; x < a.W*3/4; x++ {
				out[y*a.W+x] = true
			}
		}
	}
	for i := range out {
		out[i] = out[i] && a.V[i] < clipped && b.V[i] < clipped
	}
	return out
}

// How the unit is told from its ground. Common practice, no source.
const (
	groundLeast = 8    // levels by which it differs from the ground at least
	leastArea   = 0.02 // share of the picture that a unit takes at least
	clipped     = 250  // levels
)

// ground is what a picture shows along the frame's edge.
type ground struct{ middle, far float64 }

func groundOf(p *part.Plane) ground {
	var ring []float64
	for x := range p.W {
		ring = append(ring, float64(p.V[x]))
	}
	for y := range p.H {
		ring = append(ring, float64(p.V[y*p.W]), float64(p.V[y*p.W+p.W-1]))
	}
	return ground{robust.Quantile(ring, 0.5), max(groundLeast, 2*(robust.Quantile(ring, 0.9)-robust.Quantile(ring, 0.1)))}
}

func (g ground) differs(v float32) bool { return math.Abs(float64(v)-g.middle) > g.far }

// even says whether what a picture shows is alike to the left and to the right of an axis, as a body of revolution is:
// where rows begin and end lies evenly about a line, to a sample. Such a unit may look the same at other turns.
func (s *Sight) even() bool {
	g := groundOf(s.fine)
	var ys, mids []float64
	for y := range s.fine.H {
		row := s.fine.V[y*s.fine.W : (y+1)*s.fine.W]
		from, to := -1, -1
		for x, v := range row {
			if g.differs(v) {
				if from < 0 {
					from = x
				}
				to = x
			}
		}
		if to-from < leastWide {
			continue
		}
		// Between samples: where the light crosses the limit.
		cross := func(in, out int) float64 {
			if out < 0 || out >= len(row) {
				return float64(in)
			}
			u, v := math.Abs(float64(row[in])-g.middle)-g.far, math.Abs(float64(row[out])-g.middle)-g.far
			return float64(in) + float64(out-in)*u/(u-v)
		}
		ys, mids = append(ys, float64(y)), append(mids, (cross(from, from-1)+cross(to, to+1))/2)
	}
	if len(ys) < leastRows {
		return true
	}
	return robust.Quantile(offLine(ys, mids), 0.9) < unevenBy
}

// Constants of even; samples (common practice, no source).
const (
	leastWide = 8
	leastRows = 12
	unevenBy  = 0.2
)

// offLine are how far values lie off the straight line through them, least squares.
func offLine(x, y []float64) []float64 {
	var n, sx, sy, xx, xy float64
	for i := range x {
		n, sx, sy, xx, xy = n+1, sx+x[i], sy+y[i], xx+x[i]*x[i], xy+x[i]*y[i]
	}
	slope := (xy - sx*sy/n) / max(xx-sx*sx/n, 1e-9)
	out := make([]float64, len(x))
	for i := range x {
		out[i] = math.Abs(y[i] - sy/n - slope*(x[i]-sx/n))
	}
	return out
}
