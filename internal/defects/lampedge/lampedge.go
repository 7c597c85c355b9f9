// Package lampedge tells orange peel by the edges of mirrored lamps: the contour at half of a lamp's light is followed, and its turns to
// and fro are counted; corners and soft lights count nothing. It knows no faceplate: a Mirrored says how much of its lamp's light each
// pixel has, which pixels count, and where each lies on the surface laid out flat.
package lampedge

import (
	"math"
	"slices"

	"finishbench/internal/defects/raster"
	"finishbench/internal/part"
)

// A smooth surface mirrors the edge of a lamp as a smooth line; one that waves moves each piece
// of it to where the slope is the same, so that the line bends to and fro and breaks into
// islands. How far it is moved is the slope's deviation over the surface's curvature.

// Mirrored is what a surface mirrors in one picture, ready for its edges to be looked at.
type Mirrored struct {
	Light  *part.Plane                           // mirrored light over half of its lamp's: an edge is where it is 1
	Paint  *part.Plane                           // what the paint under it is foretold to send, in the same unit; nil: it is even
	Judged func(i int) bool                      // pixels in which an edge counts
	BlurPX float64                               // standard deviation of the light's blur, in pixels
	OnMM   func(x, y float64) (xMM, yMM float64) // a pixel's place on the surface, laid out flat
}

// Waves is how lamps' edges wave.
type Waves struct {
	LengthMM float64      // of the edges that could be judged
	Bends    int          // how often they turn back by more than edgeBack
	Wavy     []part.Point // pixels along those that do
	octaves  []edgeOctave // the longest first
}

// edgeOctave is by how much edges stray between two wavelengths: the variance across them, mm^2.
// Times the square of the surface's curvature (1/mm) it is the variance of its slope.
type edgeOctave struct{ fromMM, toMM, variance float64 }

// How edges are judged (common practice, no source).
const (
	edgeStepMM   = 0.03 // edges are followed in steps of this
	edgeSmoothMM = 0.05 // and smoothed over this, standard deviation
	edgeBack     = 0.45 // rad by which a direction turns back where it counts
	edgeLeastMM  = 1.2  // shorter edges are glints
	edgeSharp    = 0.3  // share of a sharp edge's slope of light under which it is a soft light's
	edgePaint    = 0.5  // share of the light's slope from which on it is the paint's
	LeastMM      = 3.0  // edges of less length say nothing
	BendsPerMM   = 0.4  // bends in a millimetre from which on a surface waves,
	wavesLeast   = 6    // and so many in all
	wavesLongMM  = 4.0  // longest waves told; the shortest, 0.125 mm, are five octaves below
	wavesOctaves = 5
)

// Enough says whether there are edges enough to judge by.
func (e Waves) Enough() bool { return e.LengthMM >= LeastMM }

// OrangePeel says whether the surface is one of orange peel.
func (e Waves) OrangePeel() bool {
	return e.Enough() && e.Bends >= wavesLeast && float64(e.Bends) >= BendsPerMM*e.LengthMM
}

// RMSMM is how far edges stray in all octaves, and the middle of that in which they are the steepest.
func (e Waves) RMSMM() (rms, mainMM float64) {
	most := 0.0
	for _, o := range e.octaves {
		rms += o.variance
		if steep := o.variance / (o.fromMM * o.toMM); steep > most {
			most, mainMM = steep, math.Sqrt(o.fromMM*o.toMM)
		}
	}
	return math.Sqrt(rms), mainMM
}

// Plus adds what another picture tells.
func (e Waves) Plus(o Waves) Waves {
	out := Waves{LengthMM: e.LengthMM + o.LengthMM, Bends: e.Bends + o.Bends, Wavy: append(slices.Clone(e.Wavy), o.Wavy...)}
	for k := range max(len(e.octaves), len(o.octaves)) {
		var b edgeOctave
		for _, x := range []Waves{e, o} {
			if k < len(x.octaves) {
				b.fromMM, b.toMM = x.octaves[k].fromMM, x.octaves[k].toMM
				b.variance += x.octaves[k].variance * x.LengthMM / max(out.LengthMM, 1e-9)
			}
		}
		out.octaves = append(out.octaves, b)
	}
	return out
}

// Waves follows the mirrored lamps' edges.
func (m Mirrored) Waves() Waves {
	var out Waves
	sums := make([]float64, wavesOctaves)
	for _, c := range contoursOf(m.Light, 1) {
		for _, run := range m.sharpRuns(c) {
			line, closed := m.evenly(run)
			length := float64(len(line)) * edgeStepMM
			if length < edgeLeastMM {
				continue
			}
			out.LengthMM += length
			bends := bendsOf(smoothLine(line, edgeSmoothMM/edgeStepMM, closed), closed)
			out.Bends += bends
			if float64(bends) >= BendsPerMM*length {
				out.Wavy = append(out.Wavy, run.at...)
			}
			for k, v := range strays(line, closed) {
				sums[k] += v * length
			}
		}
	}
	for k, v := range sums {
		from := math.Ldexp(wavesLongMM, -k)
		if out.LengthMM > 0 {
			v /= out.LengthMM
		}
		out.octaves = append(out.octaves, edgeOctave{from, from / 2, v})
	}
	return out
}

// contour is a line of equal light, in pixels.
type contour struct {
	at     []part.Point
	closed bool
}

// sharpRuns cuts a contour to where it is a sharp edge that may be judged, and not the paint's.
func (m Mirrored) sharpRuns(c contour) []contour {
	least := edgeSharp * 2 / (math.Sqrt(2*math.Pi) * m.BlurPX) // the slope of a blurred step of 2 in its middle
	ok := make([]bool, len(c.at))
	n := 0
	var paint []float64
	for k, q := range c.at {
		x, y := int(q.X+0.5), int(q.Y+0.5)
		if x < 1 || y < 1 || x >= m.Light.W-1 || y >= m.Light.H-1 || !m.Judged(y*m.Light.W+x) {
			continue
		}
		own := slopeAt(m.Light, x, y)
		if ok[k] = own >= least; ok[k] {
			n++
		}
		if m.Paint != nil {
			paint = append(paint, slopeAt(m.Paint, x, y)/max(own, 1e-9))
		}
	}
	if len(paint) > 0 && raster.Median(paint) > edgePaint {
		return nil
	}
	if n == len(ok) {
		return []contour{c}
	}
	// Begin where it is none, so that no run is cut in two.
	start := slices.Index(ok, false)
	var out []contour
	var run contour
	for k := range c.at {
		i := (start + k) % len(c.at)
		if !c.closed {
			i = k
		}
		if ok[i] {
			run.at = append(run.at, c.at[i])
			continue
		}
		if len(run.at) > 3 {
			out = append(out, run)
		}
		run = contour{}
	}
	if len(run.at) > 3 {
		out = append(out, run)
	}
	return out
}

// slopeAt is the length of a plane's gradient, per pixel.
func slopeAt(p *part.Plane, x, y int) float64 {
	i := y*p.W + x
	return math.Hypot(float64(p.V[i+1]-p.V[i-1])/2, float64(p.V[i+p.W]-p.V[i-p.W])/2)
}

// evenly is a contour on the surface, in mm, in even steps.
func (m Mirrored) evenly(c contour) (line []part.Point, closed bool) {
	at := c.at
	if c.closed {
		at = append(slices.Clone(at), at[0])
	}
	var last part.Point
	rest := 0.0
	for k, q := range at {
		var p part.Point
		p.X, p.Y = m.OnMM(q.X, q.Y)
		if k > 0 {
			d := math.Hypot(p.X-last.X, p.Y-last.Y)
			for rest <= d && d > 0 {
				t := rest / d
				line = append(line, part.Point{X: last.X + t*(p.X-last.X), Y: last.Y + t*(p.Y-last.Y)})
				rest += edgeStepMM
			}
			rest -= d
		}
		last = p
	}
	return line, c.closed
}

// smoothLine smooths a line by a Gaussian of sigma steps.
func smoothLine(line []part.Point, sigma float64, closed bool) []part.Point {
	n, r := len(line), int(3*sigma+0.5)
	weight := make([]float64, r+1)
	for k := range weight {
		weight[k] = math.Exp(-float64(k*k) / (2 * sigma * sigma))
	}
	out := make([]part.Point, n)
	for i := range line {
		var x, y, w float64
		reach := r
		if !closed { // as far to either side, so that ends stay where they are
			reach = min(r, i, n-1-i)
		}
		for k := -reach; k <= reach; k++ {
			q := line[((i+k)%n+n)%n]
			g := weight[max(k, -k)]
			x, y, w = x+g*q.X, y+g*q.Y, w+g
		}
		out[i] = part.Point{X: x / w, Y: y / w}
	}
	return out
}

// bendsOf counts how often a line's direction turns back by more than edgeBack.
func bendsOf(line []part.Point, closed bool) int {
	n := len(line)
	dir := func(i int) float64 {
		a, b := line[i%n], line[(i+1)%n]
		return math.Atan2(b.Y-a.Y, b.X-a.X)
	}
	last := n - 1
	if closed {
		last = n
	}
	angle, lo, hi, up, count := 0.0, 0.0, 0.0, 0, 0
	for i := 1; i < last; i++ {
		angle += math.Remainder(dir(i)-dir(i-1), 2*math.Pi)
		lo, hi = min(lo, angle), max(hi, angle)
		switch {
		case up >= 0 && angle < hi-edgeBack:
			if up > 0 {
				count++
			}
			up, lo = -1, angle
		case up <= 0 && angle > lo+edgeBack:
			if up < 0 {
				count++
			}
			up, hi = 1, angle
		}
	}
	return count
}

// strays is the variance across a line, in each octave of wavelengths: between two Gaussian
// regression filters of second order, which follow bends, as those of ISO 16610-31 do.
func strays(line []part.Point, closed bool) []float64 {
	out := make([]float64, wavesOctaves)
	for k := range out {
		from := math.Ldexp(wavesLongMM, -k)
		long, reach := followed(line, from, closed)
		short, _ := followed(line, from/2, closed)
		if closed {
			reach = 0
		}
		n := 0
		for i := reach; i < len(line)-reach; i++ {
			dx, dy := short[i].X-long[i].X, short[i].Y-long[i].Y
			out[k] += dx*dx + dy*dy
			n++
		}
		if out[k] /= float64(max(n, 1)); float64(n)*edgeStepMM < from { // a shorter line has no such wave
			out[k] = 0
		}
	}
	return out
}

// followed smooths a line by (3 - t^2) exp(-t^2 / 2), t in standard deviations, which leaves parabolas
// as they are and lets half of a wave of the cutoff's length through: (1 + x) exp(-x) = 1/2 at x =
// (2 pi sigma / cutoff)^2 / 2 = 1.678. Nearer than reach to an open line's ends it is not told.
func followed(line []part.Point, cutoffMM float64, closed bool) (out []part.Point, reach int) {
	n, sigma := len(line), 0.2916*cutoffMM/edgeStepMM
	reach = int(3*sigma + 0.5)
	out = slices.Clone(line)
	for i := range line {
		if !closed && (i < reach || i >= n-reach) {
			continue
		}
		var x, y, w float64
		for k := -reach; k <= reach; k++ {
			q, t := line[((i+k)%n+n)%n], float64(k)/sigma
			g := (3 - t*t) * math.Exp(-t*t/2)
			x, y, w = x+g*q.X, y+g*q.Y, w+g
		}
		out[i] = part.Point{X: x / w, Y: y / w}
	}
	return out, reach
}

// contoursOf follows the lines on which a plane has a level, by marching squares.
func contoursOf(p *part.Plane, level float32) []contour {
	if slices.Max(p.V) < level {
		return nil
	}
	w, h := p.W, p.H
	// A crossing lies on the pixel's line to the right (2 i) or downwards (2 i + 1); each joins
	// up to two others.
	next := make([][2]int32, 2*w*h)
	join := func(a, b int) {
		for _, e := range [2][2]int{{a, b}, {b, a}} {
			if next[e[0]][0] == 0 {
				next[e[0]][0] = int32(e[1]) + 1
			} else {
				next[e[0]][1] = int32(e[1]) + 1
			}
		}
	}
	for y := range h - 1 {
		for x := range w - 1 {
			i := y*w + x
			a, b, c, d := p.V[i] >= level, p.V[i+1] >= level, p.V[i+w+1] >= level, p.V[i+w] >= level
			if a == b && b == c && c == d {
				continue
			}
			top, left, bottom, right := 2*i, 2*i+1, 2*(i+w), 2*(i+1)+1
			switch {
			case a != b && b != c && c != d: // a saddle: its middle says which corners hang together
				if middle := (p.V[i]+p.V[i+1]+p.V[i+w]+p.V[i+w+1])/4 >= level; middle == a {
					join(top, right)
					join(bottom, left)
				} else {
					join(top, left)
					join(bottom, right)
				}
			default:
				var on []int
				if a != b {
					on = append(on, top)
				}
				if b != c {
					on = append(on, right)
				}
				if c != d {
					on = append(on, bottom)
				}
				if d != a {
					on = append(on, left)
				}
				join(on[0], on[1])
			}
		}
	}
	place := func(e int) part.Point {
		i, j := e/2, e/2+1
		if e%2 == 1 {
			j = e/2 + w
		}
		t := float64((level - p.V[i]) / (p.V[j] - p.V[i]))
		x, y := float64(i%w), float64(i/w)
		if e%2 == 0 {
			return part.Point{X: x + t, Y: y}
		}
		return part.Point{X: x, Y: y + t}
	}
	seen := make([]bool, len(next))
	walk := func(from int) (c contour) {
		e, before := from, -1
		for {
			seen[e] = true
			c.at = append(c.at, place(e))
			to := -1
			for _, n := range next[e] {
				if k := int(n) - 1; n > 0 && k != before && !seen[k] {
					to = k
				} else if n > 0 && k == from && k != before && len(c.at) > 2 {
					c.closed = true
				}
			}
			if to < 0 {
				return c
			}
			before, e = e, to
		}
	}
	var out []contour
	for pass := range 2 { // open ones from an end first
		for e, n := range next {
			if n[0] > 0 && !seen[e] && (pass == 1 || n[1] == 0) {
				out = append(out, walk(e))
			}
		}
	}
	return out
}

// Widen gives the pixels next to a piece their light, too, so that its edge lies between pixels.
func (m Mirrored) Widen(weak *part.Plane, pixels []int, k float32) {
	for _, i := range pixels {
		for _, j := range [4]int{i - 1, i + 1, i - weak.W, i + weak.W} {
			if j >= 0 && j < len(weak.V) && m.Light.V[j] == 0 {
				m.Light.V[j] = min(k*weak.V[j], 0.99)
			}
		}
	}
}
