package optics

import (
	"math"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// ErrNoEdge says that no slanted straight edge was found where one was looked
// for.
var ErrNoEdge = lang.Error(part.Say("camera.err.no_edge"))

// EdgeOptions are what an edge is measured by. Start from
// [DefaultEdgeOptions].
type EdgeOptions struct {
	HalfPX   float64 // pixels up to this far from the edge, along the row, count; 0: as far as the region reaches on both sides
	LeastDeg float64 // of the edge from the pixel grid: below, rows repeat each other
	MostDeg  float64 // above it the pixel's corners blur the edge
	Blocks   int     // of rows, left out one at a time for the uncertainty
	Clip     float64 // linear light from which a pixel counts as clipped
}

// DefaultEdgeOptions are the angles of ISO 12233's e-SFR (2 to 10 degrees, from
// memory), and ten blocks (common practice, no source).
func DefaultEdgeOptions() EdgeOptions {
	return EdgeOptions{LeastDeg: 2, MostDeg: 10, Blocks: 10, Clip: 0.999}
}

// Sharpness is what one slanted edge says of lens, focus and camera together.
type Sharpness struct {
	MTF50CyPX  float64   // where half the contrast is left, cycles a pixel along the edge's normal
	UMTF50CyPX float64   // its standard uncertainty; NaN: not known
	Nyquist    float64   // contrast left at half a cycle a pixel
	Freq, MTF  []float64 // the curve, cycles a pixel along the normal; 0 to 1
	Rise1090PX float64   // distance over which the edge rises from 10 to 90 %, along the normal
	AngleDeg   float64   // of the edge from the nearer pixel axis, always positive
	Upright    bool      // the edge runs more down than across
	Contrast   float64   // linear light, 0..1, always positive
	Noise      float64   // standard deviation of single pixels beside the edge, linear light
	Overshoot  float64   // largest excess beside the edge, as a share of the contrast: sharpening
	Slope      float64   // change of light on the flat sides over HalfPX, as a share of the contrast, the larger
	Rows       int       // rows (or columns) across the edge that were used
	PhasePX    float64   // pixels that the edge moves sideways over these rows
	EmptyBins  int       // quarter-pixel bins that no pixel fell into
	HalfPX     float64   // distance from the edge up to which pixels were used
	FitRMSPX   float64   // of the rows' places about the edge's line
	BowPX      float64   // sag of the edge, where it was bent enough to matter and the bend was followed; else 0
	Clipped    float64   // share of the pixels used that were clipped
	Warnings   []part.Phrase
}

// perPX is the number of bins a pixel, ISO 12233's.
const perPX = 4

// edgeRegion reads a plane so that the edge always runs down: u across it, v
// along it.
type edgeRegion struct {
	p       *part.Plane
	upright bool
}

func (r *edgeRegion) size() (nu, nv int) {
	if r.upright {
		return r.p.W, r.p.H
	}
	return r.p.H, r.p.W
}

func (r *edgeRegion) at(u, v int) float64 {
	if r.upright {
		return float64(r.p.V[v*r.p.W+u])
	}
	return float64(r.p.V[u*r.p.W+v])
}

// edgeLine is where the edge crosses row v: a + b (v-v0) + c (v-v0)^2, for rows
// from..to-1.
type edgeLine struct {
	a, b, c, v0 float64
	from, to    int
	rms         float64
	rows        int
}

func (l edgeLine) at(v int) float64 {
	d := float64(v) - l.v0
	return l.a + d*(l.b+d*l.c)
}

// bow is the sag over the line's rows, px.
func (l edgeLine) bow() float64 { h := float64(l.to-l.from) / 2; return math.Abs(l.c) * h * h }

// room is the distance, px, that the region reaches on both sides of the line
// in each of its rows; at most most, where that is not 0.
func (r *edgeRegion) room(l edgeLine, most float64) float64 {
	nu, _ := r.size()
	half := float64(nu)
	for _, v := range []int{l.from, (l.from + l.to) / 2, l.to - 1} {
		half = min(half, l.at(v)-1, float64(nu)-2-l.at(v))
	}
	if most > 0 {
		half = min(half, most)
	}
	return half
}

// fit finds the edge's place in each row, as the centroid of the derivative
// under a Hamming window of the given half width about the line so far, and
// fits a line to the places, with a bend where one is asked for. Rows whose
// contrast is a quarter of the usual, or less, are left out.
func (r *edgeRegion) fit(l edgeLine, half float64, bend bool) (edgeLine, error) {
	nu, _ := r.size()
	n := l.to - l.from
	place, weight := make([]float64, n), make([]float64, n)
	total := 0.0
	for k := range n {
		c := l.at(l.from + k)
		var sum, moment float64
		u0, u1 := max(1, int(math.Ceil(c-half))), min(nu-2, int(math.Floor(c+half)))
		for u := u0; u <= u1; u++ {
			t := (float64(u) - c) / half
			d := (r.at(u+1, l.from+k) - r.at(u-1, l.from+k)) / 2 * (0.54 + 0.46*math.Cos(math.Pi*t))
			sum, moment = sum+d, moment+d*float64(u)
		}
		place[k], weight[k] = moment/sum, sum
		total += sum
	}
	usual := total / float64(n)
	var v, u []float64
	for k := range n {
		if weight[k]/usual > 0.25 && !math.IsNaN(place[k]) && math.Abs(place[k]-l.at(l.from+k)) <= half {
			v, u = append(v, float64(l.from+k)), append(u, place[k])
		}
	}
	if usual == 0 || len(v) < max(8, n/2) {
		return l, ErrNoEdge
	}
	return lineThrough(l, v, u, bend), nil
}

// lineThrough fits a straight line, or a parabola, by least squares.
func lineThrough(l edgeLine, v, u []float64, bend bool) edgeLine {
	l.v0, l.c = 0, 0
	for _, x := range v {
		l.v0 += x / float64(len(v))
	}
	var m [3][4]float64
	for k := range v {
		d := v[k] - l.v0
		f := [4]float64{1, d, d * d, u[k]}
		for i := range 3 {
			for j := range 4 {
				m[i][j] += f[i] * f[j]
			}
		}
	}
	l.a, l.b = m[0][3]/m[0][0], m[1][3]/m[1][1]
	if bend {
		// d is centred: with s2, s3, s4 its power sums, take the line out of d^2.
		n, s2, s3 := m[0][0], m[1][1], m[1][2]
		p0, p1 := s2/n, s3/s2
		var q, y float64
		for k := range v {
			d := v[k] - l.v0
			e := d*d - p0 - p1*d
			q, y = q+e*e, y+e*u[k]
		}
		l.c = y / q
		l.a, l.b = l.a-l.c*p0, l.b-l.c*p1
	}
	ss := 0.0
	for k := range v {
		d := v[k] - l.v0
		e := u[k] - l.a - d*(l.b+d*l.c)
		ss += e * e
	}
	l.rms, l.rows = math.Sqrt(ss/float64(len(v))), len(v)
	return l
}

// bowPX is the sag from which an edge is taken as bent, px. At 0.1 px MTF50
// would suffer by less than 1 % at 0.3 cycles a pixel. Common practice, no source.
const bowPX = 0.1

// refine fits the edge anew under a window of its own width, bent where it is.
func (r *edgeRegion) refine(l edgeLine, half float64) (edgeLine, error) {
	narrow := min(half, max(6, 4*r.spread(l, half)))
	l, err := r.fit(l, narrow, false)
	if err != nil {
		return l, err
	}
	b, err := r.fit(l, narrow, true)
	if err != nil {
		return l, nil
	}
	// Three times the standard error of the parabola's height: rms * sqrt(180/n)/4.
	if b.bow() <= max(bowPX, 3*b.rms*math.Sqrt(180/float64(b.rows))/4) {
		return l, nil
	}
	// Under a window on the straight line the places were drawn towards it.
	for range 2 {
		if c, err := r.fit(b, narrow, true); err == nil {
			b = c
		}
	}
	return b, nil
}

// spread is a rough sigma of the edge, px: contrast by steepest slope.
func (r *edgeRegion) spread(l edgeLine, half float64) float64 {
	e := r.esf(l, half, nil)
	n := len(e.v)
	steep := 0.0
	for i := perPX; i+perPX < n; i++ {
		steep = max(steep, math.Abs(e.v[i+perPX]-e.v[i-perPX])/2)
	}
	low, high := e.ends()
	if steep == 0 {
		return half
	}
	return math.Abs(high-low) / steep / math.Sqrt(2*math.Pi)
}

// edgeESF is an edge spread function: mean light by distance along the row from the
// edge, bins of 1/perPX px, the middle bin at distance 0.
type edgeESF struct {
	v     []float64
	count []int
	off   []float64 // mean distance of a bin's pixels from its middle, bins
	off2  []float64 // variance of that distance
	empty int
}

// esf bins the pixels of the line's rows up to half from it. skip leaves rows
// out; nil: none.
func (r *edgeRegion) esf(l edgeLine, half float64, skip func(v int) bool) edgeESF {
	m := int(half * perPX)
	e := edgeESF{v: make([]float64, 2*m+1), count: make([]int, 2*m+1), off: make([]float64, 2*m+1), off2: make([]float64, 2*m+1)}
	nu, _ := r.size()
	for v := l.from; v < l.to; v++ {
		if skip != nil && skip(v) {
			continue
		}
		c := l.at(v)
		u0, u1 := max(0, int(math.Ceil(c-half))-1), min(nu-1, int(math.Floor(c+half))+1)
		for u := u0; u <= u1; u++ {
			t := (float64(u) - c) * perPX
			k := int(math.Floor(t+0.5)) + m
			if k >= 0 && k < len(e.v) {
				e.v[k] += r.at(u, v)
				d := t - float64(k-m)
				e.off[k] += d
				e.off2[k] += d * d
				e.count[k]++
			}
		}
	}
	e.fill()
	e.centre()
	return e
}

// fill turns sums into means; an empty bin gets what lies between its
// neighbours.
func (e *edgeESF) fill() {
	last := -1
	for i := range e.v {
		if e.count[i] == 0 {
			e.empty++
			continue
		}
		e.v[i] /= float64(e.count[i])
		e.off[i] /= float64(e.count[i])
		e.off2[i] = e.off2[i]/float64(e.count[i]) - e.off[i]*e.off[i]
		for j := last + 1; j < i; j++ {
			if last < 0 {
				e.v[j] = e.v[i]
			} else {
				e.v[j] = e.v[last] + (e.v[i]-e.v[last])*float64(j-last)/float64(i-last)
			}
		}
		last = i
	}
	for j := last + 1; j < len(e.v) && last >= 0; j++ {
		e.v[j] = e.v[last]
	}
}

// centre carries each bin's mean from where its pixels lie on average to the
// bin's middle, by the slope there: rows that nearly repeat each other's phase
// fill the bins lopsidedly.
func (e *edgeESF) centre() {
	n := len(e.v)
	before := append([]float64(nil), e.v...)
	for i := 1; i+1 < n; i++ {
		if e.count[i] == 0 {
			continue
		}
		span := 2 + e.off[i+1] - e.off[i-1]
		if span > 0.5 {
			e.v[i] -= e.off[i] * (before[i+1] - before[i-1]) / span
		}
	}
}

// ends are the mean levels of the outer quarters.
func (e *edgeESF) ends() (first, last float64) {
	q := max(1, len(e.v)/8)
	for i := range q {
		first += e.v[i] / float64(q)
		last += e.v[len(e.v)-1-i] / float64(q)
	}
	return first, last
}

// lineSpread is the derivative of an edge under a Hamming window centred on its
// peak.
type lineSpread struct {
	d, w   []float64 // derivative under the window, and the window
	binVar float64   // variance of the pixels' distances within their bins, px^2: their blur
}

func (e *edgeESF) lsf() lineSpread {
	n := len(e.v)
	d, w := make([]float64, n), make([]float64, n)
	for i := 1; i+1 < n; i++ {
		d[i] = (e.v[i+1] - e.v[i-1]) / 2
	}
	peak := steepestPixel(d)
	half := float64(n-1) / 2
	var sum, spread float64
	for i := range d {
		if i > peak-2*perPX && i < peak+2*perPX {
			sum, spread = sum+d[i], spread+d[i]*e.off2[i]
		}
		if t := float64(i-peak) / half; math.Abs(t) <= 1 && i > 0 && i+1 < n {
			w[i] = 0.54 + 0.46*math.Cos(math.Pi*t)
		}
		d[i] *= w[i]
	}
	l := lineSpread{d: d, w: w, binVar: 1. / 12 / (perPX * perPX)}
	if v := spread / sum / (perPX * perPX); v >= 0 && v < 2*l.binVar {
		l.binVar = v
	}
	return l
}

// steepestPixel is the peak of a derivative smoothed over a pixel, in its middle
// half.
func steepestPixel(d []float64) int {
	n := len(d)
	peak, most := n/2, 0.0
	for i := n / 4; i < n-n/4; i++ {
		s := 0.0
		for k := max(0, i-perPX/2); k <= min(n-1, i+perPX/2); k++ {
			s += d[k]
		}
		if math.Abs(s) > most {
			peak, most = i, math.Abs(s)
		}
	}
	return peak
}

// mtf is the contrast left at f cycles a pixel along the row. The bins' blur is
// that of a narrow Gaussian of their pixels' variance: evenly filled bins have
// 1/12 of their width squared, and sinc(f/4) to three digits.
func (l lineSpread) mtf(f float64) float64 {
	re, im, sum := l.transform(f)
	return math.Hypot(re, im) / math.Abs(sum) / l.response(f)
}

// response is what the central difference and the bins leave at f.
func (l lineSpread) response(f float64) float64 {
	return Sinc(f/2) * math.Exp(-2*math.Pi*math.Pi*l.binVar*f*f)
}

// transform is the Fourier transform at f, and the sum, which is that at 0.
func (l lineSpread) transform(f float64) (re, im, sum float64) {
	step := 2 * math.Pi * f / perPX
	// Turn a vector on by one step at a time: sine and cosine cost too much.
	c, s := 1.0, 0.0
	dc, ds := math.Cos(step), math.Sin(step)
	for _, v := range l.d {
		re, im, sum = re+v*c, im+v*s, sum+v
		c, s = c*dc-s*ds, c*ds+s*dc
	}
	return re, im, sum
}

// noiseU is the standard uncertainty of mtf50, cycles a pixel, from independent
// noise of the given standard deviation in each pixel: carried through bins,
// difference, window and transform to first order (JCGM 100:2008, 5.1.2).
func (l lineSpread) noiseU(f50, noise float64, count []int) float64 {
	re, im, sum := l.transform(f50)
	m, phase := math.Hypot(re, im)/sum, math.Atan2(im, re)
	if sum < 0 {
		phase += math.Pi
	}
	c := make([]float64, len(l.w))
	for i, w := range l.w {
		c[i] = w * (math.Cos(2*math.Pi*f50/perPX*float64(i)-phase) - math.Abs(m))
	}
	v := 0.0
	for j := 1; j+1 < len(c); j++ {
		k := (c[j-1] - c[j+1]) / 2
		v += k * k / float64(max(count[j], 1))
	}
	h := f50 / 3 // wide: noise bends the curve at short range
	slope := (l.mtf(f50+h) - l.mtf(f50-h)) / (2 * h)
	return noise * math.Sqrt(v) / math.Abs(sum) / l.response(f50) / math.Abs(slope)
}

// mtf50 is the first frequency along the row, cycles a pixel, at which half
// the contrast is left; NaN where there is none up to 1.
func (l lineSpread) mtf50() float64 {
	const step = 0.01
	for f := step; f <= 1; f += step {
		if l.mtf(f) > 0.5 {
			continue
		}
		low, high := f-step, f
		for range 30 {
			if mid := (low + high) / 2; l.mtf(mid) > 0.5 {
				low = mid
			} else {
				high = mid
			}
		}
		return (low + high) / 2
	}
	return math.NaN()
}
