package stripes

import (
	"math"
	"math/cmplx"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"

	"gonum.org/v1/gonum/mat"
)

// phasor is what one direction of stripes looks like in the mirror: its light is
// B + |z| cos(arg z). Real and imaginary part, over a plane.
type phasor struct {
	w, h   int
	re, im *part.Plane
}

func newPhasor(w, h int) *phasor {
	return &phasor{w: w, h: h, re: part.NewPlane(w, h), im: part.NewPlane(w, h)}
}

func (p *phasor) at(i int) complex128 { return complex(float64(p.re.V[i]), float64(p.im.V[i])) }

// amplitude is |z|.
func (p *phasor) amplitude() *part.Plane {
	out := part.NewPlane(p.w, p.h)
	for i := range out.V {
		out.V[i] = float32(math.Hypot(float64(p.re.V[i]), float64(p.im.V[i])))
	}
	return out
}

// blurred is the phasor averaged by a Gaussian: neighbours of unlike phase cancel.
func (p *phasor) blurred(sigma float64) *phasor {
	return &phasor{w: p.w, h: p.h, re: gauss(p.re, sigma), im: gauss(p.im, sigma)}
}

// surfacePoly is a polynomial over a plane; the place is told from the middle, in
// half widths.
type surfacePoly struct {
	cx, cy, half float64
	order        int
	a            []float64 // of x^i y^j, i + j <= order, in the order of terms
}

// terms calls f for each power of x and y.
func (s *surfacePoly) terms(f func(k, i, j int)) {
	k := 0
	for n := 0; n <= s.order; n++ {
		for j := 0; j <= n; j++ {
			f(k, n-j, j)
			k++
		}
	}
}

// values are each term's at a place.
func (s *surfacePoly) values(x, y float64) []float64 {
	pu, pv := powers((x-s.cx)/s.half, s.order), powers((y-s.cy)/s.half, s.order)
	out := make([]float64, len(s.a))
	s.terms(func(k, i, j int) { out[k] = pu[i] * pv[j] })
	return out
}

func powers(v float64, n int) []float64 {
	p := make([]float64, n+1)
	p[0] = 1
	for i := 1; i <= n; i++ {
		p[i] = p[i-1] * v
	}
	return p
}

// The phase of the faceplate's own shape: its crown and the lens's perspective, a
// polynomial of this order; and what is left of it, cut at this wavelength by the Gaussian
// filter of ISO 16610-21 (its standard deviation 0.1874 of the cut-off), twice the longest
// wave that is told.
const (
	shapeOrder = 5
	glossOrder = 3
	cutOffMM   = 8.0
	gaussOfCut = 0.1874
)

// ownShape fits the polynomial whose slopes are the phase's from block to block, over
// the pixels that are deep enough inside: the phase between neighbours is never far,
// so that nothing has to be unwrapped.
func (p *phasor) ownShape(inside []bool, block int) *surfacePoly {
	s := &surfacePoly{cx: float64(p.w) / 2, cy: float64(p.h) / 2, half: float64(max(p.w, p.h)) / 2, order: shapeOrder}
	n := (shapeOrder + 1) * (shapeOrder + 2) / 2
	s.a = make([]float64, n)
	var rows [][]float64
	var y, weight []float64
	for by := 0; by+block <= p.h; by += block {
		for bx := 0; bx+block <= p.w; bx += block {
			var sx, sy complex128
			energy, count := 0.0, 0
			for y := by; y < min(by+block, p.h-1); y++ {
				for x := bx; x < min(bx+block, p.w-1); x++ {
					i := y*p.w + x
					if !inside[i] || !inside[i+1] || !inside[i+p.w] {
						continue
					}
					z := cmplx.Conj(p.at(i))
					sx += p.at(i+1) * z
					sy += p.at(i+p.w) * z
					energy += real(z)*real(z) + imag(z)*imag(z)
					count++
				}
			}
			if count < block*block/2 || energy == 0 {
				continue
			}
			gx, gy := s.slopes(float64(bx)+float64(block)/2, float64(by)+float64(block)/2)
			rows, y = append(rows, gx, gy), append(y, cmplx.Phase(sx), cmplx.Phase(sy))
			weight = append(weight, min(cmplx.Abs(sx), cmplx.Abs(sy))/energy)
		}
	}
	if len(weight) < n {
		return s
	}
	s.a = fitRobust(rows, y, weight, 2, 8, 1e-9).a
	return s
}

// robustFit is a fit of values by a sum of terms.
type robustFit struct {
	a          []float64     // the terms' factors; 0 where nothing could be solved
	trust, off []float64     // per observation: its weight, 0..1, and how far it is off
	normal     *mat.SymDense // of the normal equations
	ok         bool          // whether all rounds could be solved
}

// fitRobust fits y by rows of terms, least squares in some rounds, what is far off weighing
// less from round to round (reweigh). An observation is each rows in succession, weighed
// together; weight is per observation (nil: 1). ridge is added to the diagonal.
func fitRobust(rows [][]float64, y, weight []float64, each, rounds int, ridge float64) robustFit {
	terms, n := len(rows[0]), len(rows)/each
	f := robustFit{a: make([]float64, terms), trust: make([]float64, n), off: make([]float64, n), normal: mat.NewSymDense(terms, nil)}
	for i := range f.trust {
		f.trust[i] = 1
	}
	b := mat.NewVecDense(terms, nil)
	for range rounds {
		f.normal.Zero()
		b.Zero()
		for k, row := range rows {
			w := f.trust[k/each]
			if weight != nil {
				w *= weight[k/each]
			}
			for i := range terms {
				b.SetVec(i, b.AtVec(i)+w*row[i]*y[k])
				for j := i; j < terms; j++ {
					f.normal.SetSym(i, j, f.normal.At(i, j)+w*row[i]*row[j])
				}
			}
		}
		for i := range terms {
			f.normal.SetSym(i, i, f.normal.At(i, i)+ridge)
		}
		var c mat.Cholesky
		var got mat.VecDense
		if !c.Factorize(f.normal) || c.SolveVecTo(&got, b) != nil {
			return f
		}
		copy(f.a, got.RawVector().Data)
		clear(f.off)
		for k, row := range rows {
			f.off[k/each] = math.Hypot(f.off[k/each], y[k]-dot(row, f.a))
		}
		reweigh(f.trust, f.off)
	}
	f.ok = true
	return f
}

// slopes are the derivatives of each term along x and y, per pixel.
func (s *surfacePoly) slopes(x, y float64) (gx, gy []float64) {
	u, v := (x-s.cx)/s.half, (y-s.cy)/s.half
	pu, pv := powers(u, s.order), powers(v, s.order)
	gx, gy = make([]float64, len(s.a)), make([]float64, len(s.a))
	s.terms(func(k, i, j int) {
		if i > 0 {
			gx[k] = float64(i) * pu[i-1] * pv[j] / s.half
		}
		if j > 0 {
			gy[k] = float64(j) * pu[i] * pv[j-1] / s.half
		}
	})
	return gx, gy
}

// reweigh sets weights by Tukey's biweight (Beaton & Tukey 1974, Technometrics 16,
// 147), its width 4.685 standard deviations told by the median.
func reweigh(weight, off []float64) {
	abs := make([]float64, len(off))
	for i, v := range off {
		abs[i] = math.Abs(v)
	}
	width := 4.685 * 1.4826 * max(robust.Nth(abs, len(abs)/2), 1e-9)
	for i, v := range off {
		u := v / width
		weight[i] = 0
		if u > -1 && u < 1 {
			weight[i] = (1 - u*u) * (1 - u*u)
		}
	}
}

func dot(a, b []float64) float64 {
	s := 0.0
	for i := range a {
		s += a[i] * b[i]
	}
	return s
}

// turnedBack is the phasor with a smooth phase taken off.
func (p *phasor) turnedBack(s *surfacePoly) *phasor {
	out := newPhasor(p.w, p.h)
	for y := range p.h {
		row := s.row(float64(y))
		for x := range p.w {
			i := y*p.w + x
			sin, cos := math.Sincos(row(float64(x)))
			re, im := float64(p.re.V[i]), float64(p.im.V[i])
			out.re.V[i], out.im.V[i] = float32(re*cos+im*sin), float32(im*cos-re*sin)
		}
	}
	return out
}

// row is the polynomial along one row, as a function of x.
func (s *surfacePoly) row(y float64) func(x float64) float64 {
	c := make([]float64, s.order+1)
	pv := powers((y-s.cy)/s.half, s.order)
	s.terms(func(k, i, j int) { c[i] += s.a[k] * pv[j] })
	return func(x float64) float64 {
		u, sum := (x-s.cx)/s.half, 0.0
		for i := s.order; i >= 0; i-- {
			sum = sum*u + c[i]
		}
		return sum
	}
}

// levelled takes off the phase what is longer than the cut-off: the angle of the
// phasor's own average.
func (p *phasor) levelled(inside []bool, sigma float64) *phasor {
	in := newPhasor(p.w, p.h)
	for i, yes := range inside {
		if yes {
			in.re.V[i], in.im.V[i] = p.re.V[i], p.im.V[i]
		}
	}
	low := in.blurred(sigma)
	out := newPhasor(p.w, p.h)
	for i := range p.re.V {
		l := low.at(i)
		if a := cmplx.Abs(l); a > 0 {
			v := p.at(i) * cmplx.Conj(l) / complex(a, 0)
			out.re.V[i], out.im.V[i] = float32(real(v)), float32(imag(v))
		}
	}
	return out
}

// smoothGloss is the amplitude as it falls off smoothly over the face: a polynomial
// through the blocks' medians, blocks that do not fit it left out.
func smoothGloss(a *part.Plane, inside []bool, block int) *surfacePoly {
	s := &surfacePoly{cx: float64(a.W) / 2, cy: float64(a.H) / 2, half: float64(max(a.W, a.H)) / 2, order: glossOrder}
	n := (glossOrder + 1) * (glossOrder + 2) / 2
	s.a = make([]float64, n)
	var rows [][]float64
	var vs []float64
	for by := 0; by+block <= a.H; by += block {
		for bx := 0; bx+block <= a.W; bx += block {
			var v []float64
			for y := by; y < by+block; y++ {
				for x := bx; x < bx+block; x++ {
					if i := y*a.W + x; inside[i] {
						v = append(v, float64(a.V[i]))
					}
				}
			}
			if len(v) >= block*block/2 {
				rows = append(rows, s.values(float64(bx)+float64(block)/2, float64(by)+float64(block)/2))
				vs = append(vs, robust.Nth(v, len(v)/2))
			}
		}
	}
	if len(vs) < 2*n {
		if len(vs) > 0 {
			s.a[0] = robust.Nth(vs, len(vs)/2)
		}
		return s
	}
	s.a = fitRobust(rows, vs, nil, 1, 8, 1e-12).a
	return s
}
