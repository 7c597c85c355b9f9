package seam

import (
	"math"

	"finishbench/internal/stats/robust"
)

// maxParams is the largest number of parameters of any fit here.
const maxParams = 6

// normal gathers the normal equations of a linear least-squares problem with
// up to maxParams parameters.
type normal struct {
	n int
	a [maxParams][maxParams]float64
	b [maxParams]float64
}

// add adds one equation with row j, right-hand side y and weight w.
func (q *normal) add(j []float64, y, w float64) {
	for i := 0; i < q.n; i++ {
		wi := w * j[i]
		for k := 0; k <= i; k++ {
			q.a[i][k] += wi * j[k]
		}
		q.b[i] += wi * y
	}
}

// solve returns the solution and the inverse of the normal matrix; ok is false
// where the matrix is not positive definite. damp is added to the diagonal as
// a share of it (Levenberg's damping).
func (q *normal) solve(damp float64) (x [maxParams]float64, inv [maxParams][maxParams]float64, ok bool) {
	var l [maxParams][maxParams]float64
	for i := 0; i < q.n; i++ {
		for j := 0; j <= i; j++ {
			s := q.a[i][j]
			if i == j {
				s += damp * q.a[i][i]
			}
			for k := 0; k < j; k++ {
				s -= l[i][k] * l[j][k]
			}
			if i == j {
				if !(s > 1e-12*q.a[i][i]) || math.IsInf(s, 0) {
					return x, inv, false
				}
				l[i][i] = math.Sqrt(s)
			} else {
				l[i][j] = s / l[j][j]
			}
		}
	}
	for c := 0; c < q.n; c++ { // inverse, column by column
		var z [maxParams]float64
		for i := 0; i < q.n; i++ {
			s := 0.0
			if i == c {
				s = 1
			}
			for k := 0; k < i; k++ {
				s -= l[i][k] * z[k]
			}
			z[i] = s / l[i][i]
		}
		for i := q.n - 1; i >= 0; i-- {
			s := z[i]
			for k := i + 1; k < q.n; k++ {
				s -= l[k][i] * inv[k][c]
			}
			inv[i][c] = s / l[i][i]
		}
	}
	for i := 0; i < q.n; i++ {
		for k := 0; k < q.n; k++ {
			x[i] += inv[i][k] * q.b[k]
		}
	}
	return x, inv, true
}

// poly is a polynomial c0 + c1 t + c2 t^2 + ... in t = (x-x0)/scale.
type poly struct {
	x0, scale float64
	c         []float64
}

// at returns the value at x.
func (p poly) at(x float64) float64 {
	t, v := (x-p.x0)/p.scale, 0.0
	for i := len(p.c) - 1; i >= 0; i-- {
		v = v*t + p.c[i]
	}
	return v
}

// slope returns the derivative at x.
func (p poly) slope(x float64) float64 {
	t, v := (x-p.x0)/p.scale, 0.0
	for i := len(p.c) - 1; i >= 1; i-- {
		v = v*t + float64(i)*p.c[i]
	}
	return v / p.scale
}

// polyFit is a polynomial with what is needed for its uncertainty.
type polyFit struct {
	poly
	n    int                           // points used
	sd   float64                       // standard deviation of the residuals, n minus parameters
	infl float64                       // variance inflation by correlated neighbours, >= 1
	q00  float64                       // variance factor of the value at x0
	inv  [maxParams][maxParams]float64 // of all parameters
	uDeg float64                       // standard uncertainty at x0 for the choice of degree
}

// u returns the standard uncertainty of the value at x0: scatter, number and
// correlation of the points, and how far they must be carried.
func (f polyFit) u() float64 { return math.Hypot(f.uScatter(), f.uDeg) }

// uAt is the standard uncertainty of the value at x, by scatter and correlation.
func (f polyFit) uAt(x float64) float64 {
	var j [maxParams]float64
	t := (x - f.x0) / f.scale
	j[0] = 1
	for k := 1; k < len(f.c); k++ {
		j[k] = j[k-1] * t
	}
	v := 0.0
	for a := range f.c {
		for b := range f.c {
			v += j[a] * j[b] * f.inv[a][b]
		}
	}
	return f.sd * math.Sqrt(f.infl*max(0, v))
}

// fitCurved fits as fitPoly does, between the given degree and the next: the
// higher one counts the more, the more of the scatter it explains. With F the
// drop of the squared residuals by the higher degree, in units of their
// variance (raised for correlated neighbours), its weight is F^2/(F^2+256): one half
// at four standard deviations, as coded pictures bend outlines by less. The choice's own uncertainty is that of a value
// which is either one, with these chances.
func fitCurved(x, y []float64, x0 float64, degree int) (polyFit, bool) {
	a, ok := fitPoly(x, y, x0, degree)
	if !ok {
		return a, false
	}
	b, ok := fitPoly(x, y, x0, degree+1)
	if !ok || !(b.sd > 0) {
		return a, true
	}
	drop := a.sd*a.sd*float64(a.n-degree-1) - b.sd*b.sd*float64(b.n-degree-2)
	f := max(0, drop/(b.sd*b.sd*b.infl))
	w := f * f / (f*f + 256)
	out := a
	out.c = append(append([]float64(nil), a.c...), 0)
	for i := range out.c {
		out.c[i] += w * (b.c[i] - out.c[i])
	}
	out.sd = a.sd + w*(b.sd-a.sd)
	out.infl = a.infl + w*(b.infl-a.infl)
	out.q00 = a.q00 + w*w*(b.q00-a.q00)
	out.uDeg = math.Sqrt(w*(1-w)) * math.Abs(a.c[0]-b.c[0])
	return out, true
}

// fitPoly fits a polynomial of the given degree around x0 to the points, all
// of equal weight, in the order of x. ok is false with too few points.
func fitPoly(x, y []float64, x0 float64, degree int) (polyFit, bool) {
	n := degree + 1
	if len(x) <= n || n > maxParams {
		return polyFit{}, false
	}
	scale := 0.0
	for _, v := range x {
		scale = max(scale, math.Abs(v-x0))
	}
	if !(scale > 0) || math.IsInf(scale, 0) {
		return polyFit{}, false
	}
	q := normal{n: n}
	var j [maxParams]float64
	for i := range x {
		t := (x[i] - x0) / scale
		j[0] = 1
		for k := 1; k < n; k++ {
			j[k] = j[k-1] * t
		}
		q.add(j[:n], y[i], 1)
	}
	c, inv, ok := q.solve(0)
	if !ok {
		return polyFit{}, false
	}
	f := polyFit{poly: poly{x0: x0, scale: scale, c: append([]float64(nil), c[:n]...)}, n: len(x), q00: inv[0][0], inv: inv}
	res := make([]float64, len(x))
	ss := 0.0
	for i := range x {
		res[i] = y[i] - f.at(x[i])
		ss += res[i] * res[i]
	}
	f.sd = math.Sqrt(ss / float64(len(x)-n))
	f.infl = inflation(res, ss)
	return f, true
}

// inflation is 1 + 2 * the sum of the residuals' autocorrelations up to the
// first that is not positive (the initial positive sequence; Geyer 1992,
// Statist. Sci. 7:473), at least 1: by how much neighbours that err alike
// raise the variance of a mean.
func inflation(res []float64, ss float64) float64 {
	if !(ss > 0) {
		return 1
	}
	f := 1.0
	for lag := 1; lag <= len(res)/4; lag++ {
		s := 0.0
		for i := lag; i < len(res); i++ {
			s += res[i] * res[i-lag]
		}
		if s <= 0 {
			break
		}
		f += 2 * s / ss
	}
	return f
}

// fitRobust fits as fitPoly does, leaving out points further than
// max(4 robust standard deviations, floor) from the fit, and returns which
// were used.
func fitRobust(x, y []float64, x0 float64, degree int, floor float64) (polyFit, []bool, bool) {
	use := make([]bool, len(x))
	for i := range use {
		use[i] = !math.IsNaN(y[i])
	}
	var f polyFit
	xs, ys := make([]float64, 0, len(x)), make([]float64, 0, len(x))
	dev := make([]float64, 0, len(x))
	for round := 0; round < 6; round++ {
		xs, ys = xs[:0], ys[:0]
		for i := range x {
			if use[i] {
				xs, ys = append(xs, x[i]), append(ys, y[i])
			}
		}
		var ok bool
		if f, ok = fitPoly(xs, ys, x0, degree); !ok {
			return f, use, false
		}
		dev = dev[:0]
		for i := range xs {
			dev = append(dev, math.Abs(ys[i]-f.at(xs[i])))
		}
		lim := max(4*1.4826*median(dev), floor)
		same := true
		for i := range x {
			u := !math.IsNaN(y[i]) && math.Abs(y[i]-f.at(x[i])) <= lim
			if u != use[i] {
				use[i], same = u, false
			}
		}
		if same {
			break
		}
	}
	return f, use, true
}

// median returns the middle value (of an even number the lower middle's mean
// with the next) and reorders v; NaN where v is empty.
func median(v []float64) float64 {
	n := len(v)
	if n == 0 {
		return math.NaN()
	}
	k := n / 2
	m := robust.Nth(v, k)
	if n%2 == 1 {
		return m
	}
	lower := v[0]
	for _, x := range v[1:k] {
		lower = max(lower, x)
	}
	return (lower + m) / 2
}

// theilSen returns a line through the points by the median of slopes (Theil
// 1950, Sen 1968): up to 29 % of the points may be anything.
func theilSen(x, y []float64) (slope, at0 float64) {
	s := make([]float64, 0, len(x)*len(x)/2)
	for i := range x {
		for k := 0; k < i; k++ {
			if x[i] != x[k] {
				s = append(s, (y[i]-y[k])/(x[i]-x[k]))
			}
		}
	}
	slope = median(s)
	s = s[:0]
	for i := range x {
		s = append(s, y[i]-slope*x[i])
	}
	return slope, median(s)
}

// marquardt minimises a sum of squares by [robust.Descend]. sum adds the
// equations at p to q and returns the sum of squares; move changes p by a step,
// within its limits. It returns the best parameters, their sum and the inverse of
// the normal matrix there.
func marquardt(p [maxParams]float64, n, rounds int, sum func(p *[maxParams]float64, q *normal) float64,
	move func(p *[maxParams]float64, dx [maxParams]float64)) (best [maxParams]float64, chi float64, inv [maxParams][maxParams]float64,
	ok bool) {
	type state struct {
		p [maxParams]float64
		q normal
	}
	at := state{p, normal{n: n}}
	chi = sum(&at.p, &at.q)
	at, chi, _ = robust.Descend(robust.Descent{Rounds: rounds, Gain: 1e-6, Most: 1e4}, at, chi,
		func(at state, damp float64) (state, float64) {
			dx, _, good := at.q.solve(damp)
			if !good {
				return at, math.Inf(1)
			}
			move(&at.p, dx)
			at.q = normal{n: n}
			return at, sum(&at.p, &at.q)
		})
	_, inv, ok = at.q.solve(0)
	return at.p, chi, inv, ok && !math.IsNaN(chi)
}
