package outline

import (
	"math"
	"slices"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// How the curve is placed. Common practice, no source.
const (
	reachPX     = 14.0 // pixels to either side in which the edge is sought, at least
	smoothing   = 1.2  // standard deviation of the smoothing along the profile, pixels
	tukey       = 4.685
	ringing     = 0.07 // and as this share of the strongest edges, beside which JPEG and sharpening leave ripples
	groundTail  = 1.4  // and so many times as steep as nine tenths of it, where it is speckled
	groundTimes = 4.0  // an edge is so many times as steep as the ground's median
)

// refined places a path's edge in a picture and fits a smooth curve to it; nil
// where there is too little to fit.
func (p *path) refined(im *part.Image, t *thinned) *Curve {
	c := &Curve{Middle: part.Point{X: t.centre(p.x), Y: t.centre(p.y)}, RadiusN: make([]float64, curveN)}
	r := make([]float64, angles)
	for k := range r {
		r[k] = (p.r[k] - 0.5) * float64(t.step) // the edge lies between two samples
	}
	c.fit(r, nil, float64(t.step))
	return c.placed(im, math.Max(reachPX, 4*float64(t.step)))
}

// In is the curve as another picture of the pose shows it, about the same middle;
// nil where that shows too little of it.
func (c *Curve) In(im *part.Image) *Curve {
	o := *c
	o.RadiusN = slices.Clone(c.RadiusN)
	if p := o.placed(im, reachPX); p != nil && p.Seen >= leastSeen {
		return p
	}
	return nil
}

// placed moves the curve onto the edge within reach pixels of it.
func (c *Curve) placed(im *part.Image, reach float64) *Curve {
	// First the outermost edge that is none of the ground's: a rim is edge behind
	// edge. Then the nearest.
	least := 0.0
	for round, within := range []float64{reach, 8, 4} {
		at, weight := make([]float64, curveN), make([]float64, curveN)
		slopes := make([]*profile, curveN)
		for k := range curveN {
			slopes[k] = c.profileAt(im, k, within)
		}
		if round == 0 {
			least = leastSlope(slopes)
		}
		for k, p := range slopes {
			at[k] = math.NaN()
			if p != nil {
				at[k], weight[k] = c.edgeAt(p, p.peak(least, round == 0), k)
			}
		}
		c.fit(at, weight, within/2)
	}
	if !(c.UPX < reachPX) {
		return nil
	}
	return c
}

// normal is the outward normal at direction k: of the curve r(a), it is along
// (r cos a + r' sin a, r sin a - r' cos a).
func (c *Curve) normal(k int) (x, y float64) {
	n := len(c.RadiusN)
	dr := (c.RadiusN[(k+1)%n] - c.RadiusN[(k+n-1)%n]) / (4 * math.Pi / float64(n))
	s, co := math.Sincos(2 * math.Pi * float64(k) / float64(n))
	x, y = c.RadiusN[k]*co+dr*s, c.RadiusN[k]*s-dr*co
	l := math.Hypot(x, y)
	return x / l, y / l
}

// profile is the length of the colours' slope along the normal, levels per pixel,
// for each pixel from half inside the curve to half outside.
type profile struct {
	n      int
	half   float64
	slope  []float64
	nx, ny float64
}

// profileAt looks across the curve at direction k; nil at the frame's edge. Each
// colour is averaged over a few pixels along the curve, and its slope is smoothed
// as a Gaussian's derivative does.
func (c *Curve) profileAt(im *part.Image, k int, within float64) *profile {
	s, co := math.Sincos(2 * math.Pi * float64(k) / float64(len(c.RadiusN)))
	p := &profile{}
	p.nx, p.ny = c.normal(k)
	x0, y0 := c.Middle.X+c.RadiusN[k]*co, c.Middle.Y+c.RadiusN[k]*s
	const margin = 4 // of the smoothing's kernel
	n := int(2*(within+margin)) + 1
	half := float64(n-1) / 2
	if x0 < half+3 || y0 < half+3 || x0 > float64(im.W)-half-4 || y0 > float64(im.H)-half-4 {
		return nil
	}
	p.n, p.half = n-2*margin, half-margin
	p.slope = make([]float64, p.n)
	var v [3][]float64 // colours along the normal
	for ch := range im.C {
		v[ch] = make([]float64, n)
	}
	for i := range n {
		u := float64(i) - half
		var sum [3]float64
		for q := -2.0; q <= 2; q += 2 {
			addSample(&sum, im, x0+u*p.nx-q*p.ny, y0+u*p.ny+q*p.nx)
		}
		for ch := range im.C {
			v[ch][i] = sum[ch] / 3
		}
	}
	for _, v := range v[:im.C] {
		for i := range p.slope {
			d := 0.0
			for q := 1; q <= margin; q++ {
				d += derivative[q] * (v[i+margin+q] - v[i+margin-q])
			}
			p.slope[i] += d * d
		}
	}
	for i, v := range p.slope {
		p.slope[i] = math.Sqrt(v)
	}
	return p
}

// leastSlope is how steep an edge must be to be none of the ground's.
func leastSlope(slopes []*profile) float64 {
	var outside, most []float64
	for _, p := range slopes {
		if p != nil {
			outside = append(outside, p.slope[p.n*3/4:]...)
			most = append(most, slices.Max(p.slope))
		}
	}
	if len(outside) == 0 {
		return math.Inf(1)
	}
	return max(groundTimes*robust.Nth(outside, len(outside)/2), groundTail*robust.Nth(outside, len(outside)*9/10),
		ringing*robust.Nth(most, len(most)/2))
}

// peak is where the slope peaks above least: farthest outside, or nearest to the
// curve; where it does not, the steepest place. 0 where there is none.
func (p *profile) peak(least float64, outermost bool) int {
	best, steep := 0, 0
	for i := p.n - 2; i > 0; i-- {
		v := p.slope[i]
		if v < p.slope[i-1] || v <= p.slope[i+1] {
			continue
		}
		if steep == 0 || v > p.slope[steep] {
			steep = i
		}
		if v < least {
			continue
		}
		if outermost {
			return i
		}
		if best == 0 || math.Abs(float64(i)-p.half) < math.Abs(float64(best)-p.half) {
			best = i
		}
	}
	if best == 0 {
		return steep
	}
	return best
}

// edgeAt is the radius of an edge at place i of the profile at direction k, and
// how strong it is; NaN where that is at the profile's end.
func (c *Curve) edgeAt(p *profile, i, k int) (radius, strength float64) {
	if i <= 0 || i >= p.n-1 || p.slope[i] <= 0 {
		return math.NaN(), 0
	}
	l, m, r := p.slope[i-1], p.slope[i], p.slope[i+1]
	d := 0.0
	if bend := l - 2*m + r; bend < 0 {
		d = math.Max(-0.5, math.Min(0.5, (l-r)/(2*bend)))
	}
	s, co := math.Sincos(2 * math.Pi * float64(k) / float64(len(c.RadiusN)))
	// along the normal, told along the radius
	return c.RadiusN[k] + (float64(i)-p.half+d)/math.Max(0.5, p.nx*co+p.ny*s), math.Sqrt(m)
}

// derivative is a Gaussian's, for pixels 1 to 4 to either side.
var derivative = func() (d [5]float64) {
	sum := 0.0
	for q := 1; q < len(d); q++ {
		u := float64(q)
		d[q] = u * math.Exp(-u*u/(2*smoothing*smoothing))
		sum += 2 * u * d[q]
	}
	for q := range d {
		d[q] /= sum
	}
	return d
}()

// addSample adds the colour at a place between pixels, 0..255.
func addSample(sum *[3]float64, im *part.Image, x, y float64) {
	i, j := int(x), int(y)
	u, v := x-float64(i), y-float64(j)
	p := (j*im.W + i) * im.C
	down := p + im.W*im.C
	if im.Pix16 != nil {
		a, b := im.Pix16[p:p+2*im.C], im.Pix16[down:down+2*im.C]
		for c := range im.C {
			sum[c] += between(float64(a[c]), float64(a[c+im.C]), float64(b[c]), float64(b[c+im.C]), u, v) / 257
		}
		return
	}
	a, b := im.Pix8[p:p+2*im.C], im.Pix8[down:down+2*im.C]
	for c := range im.C {
		sum[c] += between(float64(a[c]), float64(a[c+im.C]), float64(b[c]), float64(b[c+im.C]), u, v)
	}
}

// between is the value at u, v between four pixels: two, and the two below them.
func between(a, b, c, d, u, v float64) float64 {
	return (a*(1-u)+b*u)*(1-v) + (c*(1-u)+d*u)*v
}

// fit puts a Fourier series through radii at equal angles, those that are not NaN,
// by weighted least squares with Tukey's biweight; nil weighs all alike. least is
// the least scatter, in pixels, that it starts from.
func (c *Curve) fit(r, weight []float64, least float64) {
	n := len(r)
	const terms = 2*orders + 1
	basis := fourier(n)
	trust := make([]float64, n)
	for k := range r {
		trust[k] = 1
		if math.IsNaN(r[k]) {
			trust[k] = 0
		}
	}
	value := func(x []float64, k int) float64 {
		v := 0.0
		for i, b := range basis[k][:terms] {
			v += x[i] * b
		}
		return v
	}
	var x []float64
	off, all := make([]float64, n), make([]float64, 0, n)
	for round := range 6 {
		var weights harmonics
		var right [terms]float64
		for k := range n {
			w := trust[k]
			if weight != nil {
				w *= weight[k]
			}
			if w == 0 {
				continue
			}
			for i, b := range basis[k] {
				weights[i] += w * b
			}
			w *= r[k]
			for i, b := range basis[k][:terms] {
				right[i] += w * b
			}
		}
		a := weights.equations(&right)
		// High orders are held down a little, so that a gap is crossed smoothly.
		for o := 1; o <= orders; o++ {
			for _, i := range [2]int{2*o - 1, 2 * o} {
				a[i*(terms+1)+i] += 1e-3 * a[0] * math.Pow(float64(o)/orders, 4)
			}
		}
		x = robust.Solve(a, terms)
		if x == nil {
			c.UPX = math.Inf(1)
			return
		}
		all = all[:0]
		for k := range n {
			off[k] = math.NaN()
			if !math.IsNaN(r[k]) {
				off[k] = r[k] - value(x, k)
				all = append(all, math.Abs(off[k]))
			}
		}
		scatter := 1.4826 * robust.Nth(all, len(all)/2)
		limit := tukey * math.Max(scatter, least/math.Exp2(float64(round)))
		for k := range n {
			trust[k] = 0
			if u := off[k] / limit; math.Abs(u) < 1 {
				trust[k] = (1 - u*u) * (1 - u*u)
			}
		}
	}
	sum, count := 0.0, 0.0
	for k := range n {
		if trust[k] > 0 && math.Abs(off[k]) < 3 {
			sum += off[k] * off[k]
			count++
		}
	}
	c.Seen = count / float64(n)
	c.UPX = math.Sqrt(sum / math.Max(1, count))
	if n != len(c.RadiusN) {
		basis = fourier(len(c.RadiusN))
	}
	for k := range c.RadiusN {
		c.RadiusN[k] = value(x, k)
	}
}

// harmonics are 1 and the cosine and sine of each multiple of an angle, up to twice the highest order of
// the curve, or sums of these.
type harmonics [4*orders + 1]float64

// fourier are those at n equal angles.
func fourier(n int) []harmonics {
	out, sin, cos := make([]harmonics, n), make([]float64, n), make([]float64, n)
	for k := range n {
		sin[k], cos[k] = math.Sincos(2 * math.Pi * float64(k) / float64(n))
	}
	for k := range out {
		out[k][0] = 1
		for o, i := 1, 0; o <= 2*orders; o++ {
			if i += k; i >= n { // o*k, less whole turns
				i -= n
			}
			out[k][2*o-1], out[k][2*o] = cos[i], sin[i]
		}
	}
	return out
}

// equations are the upper half of the normal equations of a weighted fit of the series, each row with its right side
// behind it: h are the harmonics summed with the weights. A product of two of them is half a sum of two others, of the
// orders' sum and difference, so that these few sums hold all.
func (h *harmonics) equations(right *[2*orders + 1]float64) []float64 {
	const terms = 2*orders + 1
	a := make([]float64, terms*(terms+1))
	cos := func(o int) float64 { return h[max(0, 2*max(o, -o)-1)] }
	sin := func(o int) float64 {
		switch {
		case o > 0:
			return h[2*o]
		case o < 0:
			return -h[-2*o]
		}
		return 0
	}
	for i := range terms {
		row := a[i*(terms+1):]
		oi := (i + 1) / 2
		for j := i; j < terms; j++ {
			oj := (j + 1) / 2
			switch sinI, sinJ := i > 0 && i%2 == 0, j > 0 && j%2 == 0; {
			case !sinI && !sinJ:
				row[j] = (cos(oj-oi) + cos(oj+oi)) / 2
			case sinI && sinJ:
				row[j] = (cos(oj-oi) - cos(oj+oi)) / 2
			case sinJ:
				row[j] = (sin(oj+oi) + sin(oj-oi)) / 2
			default:
				row[j] = (sin(oj+oi) - sin(oj-oi)) / 2
			}
		}
		row[terms] = right[i]
	}
	return a
}

// Beside is the area, in square pixels, of the largest piece that was seen and lies
// mostly outside a closed curve.
func (s *Silhouette) Beside(boundary []part.Point) float64 {
	all, in := map[int32]int{}, map[int32]int{}
	for k, l := range s.lab {
		if l <= 0 {
			continue
		}
		all[l]++
		if (part.Point{X: s.t.centre(float64(k % s.w)), Y: s.t.centre(float64(k / s.w))}).Inside(boundary) {
			in[l]++
		}
	}
	most := 0
	for l, n := range all {
		if 2*in[l] < n {
			most = max(most, n)
		}
	}
	return float64(most * s.Step * s.Step)
}

// Within is the silhouette of a unit whose outline is known: the rough finder's
// answer for a picture in which that is misled by the ground.
func Within(im *part.Image, boundary []part.Point) *Silhouette {
	t := thin(im)
	s := &Silhouette{Step: t.step, w: t.w, h: t.h, t: t, lab: make([]int32, t.w*t.h), id: 1, Pieces: 1, Boundary: boundary,
		Box: part.BoundsOf(boundary), Area: Area(boundary)}
	s.bg = frameBackground(t)
	s.Noise = s.bg.noise
	s.d = s.bg.differences(t)
	s.out = make([]uint8, len(s.lab))
	o := object{label: 1, x0: t.w, y0: t.h}
	for j := range t.h {
		for i := range t.w {
			p := part.Point{X: t.centre(float64(i)), Y: t.centre(float64(j))}
			if p.X < s.Box[0] || p.Y < s.Box[1] || p.X > s.Box[0]+s.Box[2] || p.Y > s.Box[1]+s.Box[3] || !p.Inside(boundary) {
				continue
			}
			s.lab[j*t.w+i], s.out[j*t.w+i] = 1, 1
			o.area++
			o.x0, o.x1, o.y0, o.y1 = min(o.x0, i), max(o.x1, i), min(o.y0, j), max(o.y1, j)
		}
	}
	s.Contrast, s.Bright = s.contrast(o), s.brighter(o)
	return s
}
