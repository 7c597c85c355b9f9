package optics

import (
	"fmt"
	"math"
	"strconv"

	"finishbench/internal/part"
)

// measure measures sharpness in linear light from a first line along the edge.
// The steps are those of ISO 12233:2017, annex D (e-SFR; from memory): the edge's
// place in each row as the centroid of the derivative under a window, twice, the
// window re-centred on the line fitted to the places; all pixels put into
// quarter-pixel bins by distance from the line; derivative; Hamming window;
// magnitude of the Fourier transform, normalised at 0, divided by the response of
// the central difference, sinc(f/2), and (an addition) of the bins, about
// sinc(f/4). Frequencies along the row become such along the normal by 1/cos of
// the edge's angle.
//
// The uncertainty is the larger of two: the pixels' noise carried through these
// steps, and the change when one block of rows after the other is left out (Tukey
// 1958, the jackknife; blocks after Kuensch 1989). It holds noise and unevenness
// along the edge, nothing that all rows share.
//
// Errors say that the edge lies so that nothing can be measured. What makes the
// figure doubtful is in Warnings.
func (r *edgeRegion) measure(l edgeLine, o EdgeOptions) (Sharpness, error) {
	half := r.room(l, o.HalfPX)
	if half < 4 {
		return Sharpness{}, fmt.Errorf("optics: slanted edge: the edge runs within %.0f px of the region's border: give a region with "+
			"the edge in its middle", max(half, 0))
	}
	l, err := r.refine(l, half)
	if err != nil {
		return Sharpness{}, err
	}
	half = r.room(l, o.HalfPX)
	s := Sharpness{Upright: r.upright, HalfPX: half, FitRMSPX: l.rms, AngleDeg: math.Atan(math.Abs(l.b)) * 180 / math.Pi}
	if l.c != 0 {
		s.BowPX = l.bow()
	}
	if s.AngleDeg < o.LeastDeg/2 || s.AngleDeg > 2*o.MostDeg {
		return s, fmt.Errorf("optics: slanted edge: the edge lies at %.1f degrees to the pixel grid, needed are %g to %g: turn the "+
			"target by about 5 degrees", s.AngleDeg, o.LeastDeg, o.MostDeg)
	}
	l = wholePhases(l)
	s.Rows, s.PhasePX = l.to-l.from, math.Abs(l.b)*float64(l.to-l.from)
	e := r.esf(l, half, nil)
	s.EmptyBins = e.empty
	if e.empty > len(e.v)/10 {
		return s, fmt.Errorf("optics: slanted edge: the edge moves by only %.2f px over %d rows, so that a tenth of the quarter pixels "+
			"stay empty: give a longer edge, or turn the target by about 5 degrees", s.PhasePX, s.Rows)
	}
	low, high := e.ends()
	s.Contrast = math.Abs(high - low)
	s.Noise = r.noise(l, half, &e)
	if !(s.Contrast > 0.005) || s.Contrast < 3*s.Noise {
		return s, fmt.Errorf("%w (contrast %.3f, noise %.3f of full light)", ErrNoEdge, s.Contrast, s.Noise)
	}
	d := e.lsf()
	cos := math.Cos(s.AngleDeg * math.Pi / 180)
	s.MTF50CyPX = d.mtf50() / cos
	if math.IsNaN(s.MTF50CyPX) {
		return s, fmt.Errorf("optics: slanted edge: contrast does not fall to one half up to one cycle a pixel: the edge holds a " +
			"disturbance, or the camera sharpens very much")
	}
	s.curve(d, cos)
	s.Rise1090PX = e.rise(low, high) * cos
	s.sides(&e, low, high)
	s.Clipped = r.clipped(l, half, o.Clip)
	s.UMTF50CyPX = d.noiseU(d.mtf50(), s.Noise, e.count) / cos
	if u := r.jackknife(l, half, o.Blocks) / cos; !math.IsNaN(u) && !(s.UMTF50CyPX > u) {
		s.UMTF50CyPX = u
	}
	s.warn(o)
	return s, nil
}

// wholePhases shortens the line's rows so that the edge moves by a whole number
// of pixels, where it moves by one at least: then each bin gets its share.
func wholePhases(l edgeLine) edgeLine {
	n := float64(l.to - l.from)
	phases := math.Floor(n * math.Abs(l.b))
	if phases < 1 {
		return l
	}
	use := min(int(n), int(math.Round(phases/math.Abs(l.b))))
	l.from += (int(n) - use) / 2
	l.to = l.from + use
	return l
}

// noise is the standard deviation of the pixels beside the edge about their
// bins' means.
func (r *edgeRegion) noise(l edgeLine, half float64, e *edgeESF) float64 {
	m := (len(e.v) - 1) / 2
	nu, _ := r.size()
	ss, n, bins := 0.0, 0, map[int]bool{}
	for v := l.from; v < l.to; v++ {
		c := l.at(v)
		for u := max(0, int(c-half)-1); u <= min(nu-1, int(c+half)+1); u++ {
			t := float64(u) - c
			k := int(math.Floor(t*perPX+0.5)) + m
			if math.Abs(t) < half/2 || k < 0 || k >= len(e.v) {
				continue
			}
			d := r.at(u, v) - e.v[k]
			ss, n = ss+d*d, n+1
			bins[k] = true
		}
	}
	if n <= len(bins) {
		return math.NaN()
	}
	return math.Sqrt(ss / float64(n-len(bins)))
}

// curveStep is the distance of the curve's points, cycles a pixel.
const curveStep = 0.01

func (s *Sharpness) curve(d lineSpread, cos float64) {
	for f := 0.0; f <= 1+curveStep/2; f += curveStep {
		s.Freq = append(s.Freq, f)
		s.MTF = append(s.MTF, d.mtf(f*cos))
	}
	s.Nyquist = d.mtf(0.5 * cos)
}

// rise is the distance along the row from 10 to 90 %, px: from the middle
// outwards to where the level is first reached.
func (e *edgeESF) rise(low, high float64) float64 {
	n := len(e.v)
	share := func(i int) float64 { return (e.v[i] - low) / (high - low) }
	mid := n / 2
	for k := range n / 4 { // where it crosses one half, near the middle
		if (share(n/2+k)-0.5)*(share(n/2+k+1)-0.5) <= 0 {
			mid = n/2 + k
			break
		}
		if (share(n/2-k)-0.5)*(share(n/2-k-1)-0.5) <= 0 {
			mid = n/2 - k - 1
			break
		}
	}
	up, down := math.NaN(), math.NaN()
	for i := mid; i+1 < n; i++ {
		if share(i+1) >= 0.9 {
			up = float64(i) + (0.9-share(i))/(share(i+1)-share(i))
			break
		}
	}
	for i := mid + 1; i > 0; i-- {
		if share(i-1) <= 0.1 {
			down = float64(i) - (share(i)-0.1)/(share(i)-share(i-1))
			break
		}
	}
	return (up - down) / perPX
}

// sides looks at the flat parts: overshoot near the edge, slope further off.
func (s *Sharpness) sides(e *edgeESF, low, high float64) {
	n := len(e.v)
	near := n / 4
	for i := near; i < n-near; i++ {
		mean := 0.0 // over a pixel, so that noise does not count
		k0, k1 := max(0, i-perPX/2), min(n-1, i+perPX/2)
		for k := k0; k <= k1; k++ {
			mean += (e.v[k] - low) / (high - low) / float64(k1-k0+1)
		}
		s.Overshoot = max(s.Overshoot, mean-1, -mean)
	}
	// Change from the middle to the end of each side's outer half.
	q := n / 8
	part := func(from int) float64 {
		m := 0.0
		for i := range q {
			m += e.v[from+i] / float64(q)
		}
		return m
	}
	if q > 0 {
		left := part(0) - part(q)
		right := part(n-q) - part(n-2*q)
		s.Slope = 4 * max(math.Abs(left), math.Abs(right)) / s.Contrast
	}
}

func (r *edgeRegion) clipped(l edgeLine, half, clip float64) float64 {
	nu, _ := r.size()
	n, c := 0, 0
	for v := l.from; v < l.to; v++ {
		x := l.at(v)
		for u := max(0, int(x-half)); u <= min(nu-1, int(x+half)); u++ {
			n++
			if r.at(u, v) >= clip {
				c++
			}
		}
	}
	return float64(c) / float64(max(n, 1))
}

// jackknife is the standard uncertainty of MTF50 along the row from leaving out
// one block of rows, of 3 at least, after the other; NaN where there are not
// three such.
func (r *edgeRegion) jackknife(l edgeLine, half float64, blocks int) float64 {
	n := l.to - l.from
	blocks = min(blocks, n/3)
	if blocks < 3 {
		return math.NaN()
	}
	var v []float64
	for k := range blocks {
		b0, b1 := l.from+n*k/blocks, l.from+n*(k+1)/blocks
		e := r.esf(l, half, func(v int) bool { return v >= b0 && v < b1 })
		if m := e.lsf().mtf50(); !math.IsNaN(m) {
			v = append(v, m)
		}
	}
	if len(v) < blocks {
		return math.NaN()
	}
	mean, ss := 0.0, 0.0
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		ss += (x - mean) * (x - mean)
	}
	return math.Sqrt(ss * float64(blocks-1) / float64(blocks))
}

// hammingBias is by how much, as a share, the Hamming window over 2*half lifts
// MTF50: near its middle it is 1 - 0.46 (pi x/half)^2/2, which takes
// 0.46 pi^2 sigma^2/half^2 off a Gaussian's variance, half of that off sigma.
func hammingBias(sigma, half float64) float64 {
	return 0.46 * math.Pi * math.Pi * sigma * sigma / (half * half) / 2
}

// warn says what makes the figure doubtful. Each limit: common practice, no
// source, but for the angles.
func (s *Sharpness) warn(o EdgeOptions) {
	add := func(p part.Phrase) { s.Warnings = append(s.Warnings, p) }
	if s.AngleDeg < o.LeastDeg || s.AngleDeg > o.MostDeg {
		add(part.Say("optics.edge_angle", "angle_deg", fmt.Sprintf("%.1f", s.AngleDeg), "least_deg", fmt.Sprintf("%g", o.LeastDeg),
			"most_deg", fmt.Sprintf("%g", o.MostDeg)))
	}
	if s.PhasePX < 1 {
		add(part.Say("optics.edge_phase", "phase_px", fmt.Sprintf("%.2f", s.PhasePX), "rows", strconv.Itoa(s.Rows)))
	}
	if s.EmptyBins > 0 {
		add(part.Say("optics.empty_bins", "n", strconv.Itoa(s.EmptyBins)))
	}
	if b := hammingBias(s.Rise1090PX/2.5631, s.HalfPX); b > 0.01 {
		add(part.Say("optics.edge_reach", "reach_px", fmt.Sprintf("%.0f", s.HalfPX), "bias_percent", fmt.Sprintf("%.0f", 100*b)))
	}
	if s.Clipped > 0.01 {
		add(part.Say("optics.edge_clipped", "share_percent", fmt.Sprintf("%.0f", 100*s.Clipped)))
	}
	if s.Overshoot > 0.05 {
		add(part.Say("optics.overshoot", "share_percent", fmt.Sprintf("%.0f", 100*s.Overshoot)))
	}
	if s.Slope > 0.1 {
		add(part.Say("optics.uneven_edge", "share_percent", fmt.Sprintf("%.0f", 100*s.Slope)))
	}
	if s.FitRMSPX > 1 {
		add(part.Say("optics.ragged_edge", "scatter_px", fmt.Sprintf("%.1f", s.FitRMSPX)))
	}
}
