package optics

import (
	"math"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"

	"gonum.org/v1/gonum/mat"
)

// Parameters of a [planeFit], all on numbers near 1:
//
//	u = (a0 X + a1 Y + a2) / (1 + g X + h Y), v = (a3 X + a4 Y + a5) / (same)
//	picture = (u, v) (1 + k (u^2 + v^2))
//
// X, Y in the target's frame, u, v from the picture's middle.
const (
	planeG = 6 + iota
	planeH
	planeK
	planeSize
)

// planeFit is a target's plane as one picture shows it: an affine map, and where
// they are asked for its perspective (g, h) and a radial distortion about the
// picture's middle (k).
type planeFit struct {
	view  *View
	mean  part.Point // of the marks on the target, mm
	mm    float64    // length of X, Y = 1
	px    float64    // length of u, v = 1: half the picture's diagonal
	mid   part.Point // the picture's middle
	free  []int
	p     [planeSize]float64
	cov   *mat.SymDense // of the free parameters, from the residuals
	cost  float64       // sum of squared residuals, px^2
	spare int           // residuals less parameters
}

// floorPX is the scatter below which residuals are rounding, not noise.
const floorPX = 1e-4

// variance is that of one coordinate, px^2; NaN where nothing is to spare.
func (f *planeFit) variance() float64 {
	if f.spare <= 0 {
		return math.NaN()
	}
	return f.cost / float64(f.spare)
}

func fitPlane(v *View, perspective, radial bool) (*planeFit, bool) {
	s := spreadOf(v.Marks, targetPoint)
	f := &planeFit{view: v, mean: s.mean, mm: math.Hypot(s.along, s.across), px: math.Hypot(float64(v.W), float64(v.H)) / 2,
		mid: part.Point{X: float64(v.W-1) / 2, Y: float64(v.H-1) / 2}, free: []int{0, 1, 2, 3, 4, 5}}
	a := affineStart(v.Marks)
	for r := range 2 {
		at := []float64{f.mid.X, f.mid.Y}[r]
		f.p[3*r], f.p[3*r+1] = a[3*r]*f.mm/f.px, a[3*r+1]*f.mm/f.px
		f.p[3*r+2] = (a[3*r]*f.mean.X + a[3*r+1]*f.mean.Y + a[3*r+2] - at) / f.px
	}
	if perspective {
		f.free = append(f.free, planeG, planeH)
	}
	if radial {
		f.free = append(f.free, planeK)
	}
	f.spare = 2*len(v.Marks) - len(f.free)
	if f.spare < 0 {
		return nil, false
	}
	at, cost := f.normal(f.p)
	at, cost, rested := robust.Descend(rest, at, cost, func(at planeState, damp float64) (planeState, float64) {
		step, ok := robust.SolveDamped(at.n, at.g, damp)
		if !ok {
			return at, math.Inf(1)
		}
		for k, place := range f.free {
			at.p[place] += step[k]
		}
		return f.normal(at.p)
	})
	inv, ok := robust.Inverse(at.n)
	if !rested || !ok || math.IsInf(cost, 0) || math.IsNaN(cost) {
		return nil, false
	}
	f.p, f.cost = at.p, cost*f.px*f.px
	if v := f.variance() / (f.px * f.px); !math.IsNaN(v) {
		inv.ScaleSym(v, inv)
	}
	f.cov = inv
	return f, true
}

// planeState is parameters with the normal equations about them.
type planeState struct {
	p [planeSize]float64
	n *mat.SymDense
	g []float64
}

// normal sets up the normal equations; the cost is infinite where a mark would
// lie beyond the plane's horizon.
func (f *planeFit) normal(p [planeSize]float64) (planeState, float64) {
	size := len(f.free)
	n, g, cost := mat.NewSymDense(size, nil), make([]float64, size), 0.0
	for _, m := range f.view.Marks {
		x, y := (m.XMM-f.mean.X)/f.mm, (m.YMM-f.mean.Y)/f.mm
		found := [2]float64{(m.XPX - f.mid.X) / f.px, (m.YPX - f.mid.Y) / f.px}
		at, d := planeAt(&p, x, y)
		if !(1+p[planeG]*x+p[planeH]*y > 0) {
			cost = math.Inf(1)
		}
		for axis := range 2 {
			e := found[axis] - at[axis]
			cost += e * e
			for r, pr := range f.free {
				g[r] += d[axis][pr] * e
				for c := r; c < size; c++ {
					n.SetSym(r, c, n.At(r, c)+d[axis][pr]*d[axis][f.free[c]])
				}
			}
		}
	}
	return planeState{p, n, g}, cost
}

// planeAt is the model and its derivatives by all parameters.
func planeAt(p *[planeSize]float64, x, y float64) (at [2]float64, d [2][planeSize]float64) {
	w := 1 + p[planeG]*x + p[planeH]*y
	u := (p[0]*x + p[1]*y + p[2]) / w
	v := (p[3]*x + p[4]*y + p[5]) / w
	var du, dv [planeSize]float64
	du[0], du[1], du[2] = x/w, y/w, 1/w
	dv[3], dv[4], dv[5] = x/w, y/w, 1/w
	du[planeG], du[planeH] = -u*x/w, -u*y/w
	dv[planeG], dv[planeH] = -v*x/w, -v*y/w
	k := p[planeK]
	r := u*u + v*v
	uu, uv, vv := 1+k*r+2*k*u*u, 2*k*u*v, 1+k*r+2*k*v*v
	for i := range planeSize {
		d[0][i] = uu*du[i] + uv*dv[i]
		d[1][i] = uv*du[i] + vv*dv[i]
	}
	d[0][planeK], d[1][planeK] = u*r, v*r
	return [2]float64{u * (1 + k*r), v * (1 + k*r)}, d
}

// homography is the plane without the radial distortion, mm to px.
func (f *planeFit) homography(p [planeSize]float64) homography {
	from := [9]float64{1 / f.mm, 0, -f.mean.X / f.mm, 0, 1 / f.mm, -f.mean.Y / f.mm, 0, 0, 1}
	to := [9]float64{f.px, 0, f.mid.X, 0, f.px, f.mid.Y, 0, 0, 1}
	h := [9]float64{p[0], p[1], p[2], p[3], p[4], p[5], p[planeG], p[planeH], 1}
	return homography(product(to, product(h, from)))
}

// uncertainty carries the parameters' covariance to values of them (JCGM
// 100:2008, section 5.2), by differences of a tenth of their uncertainties.
func (f *planeFit) uncertainty(values func(p [planeSize]float64) []float64) []float64 {
	slopes := make([][]float64, len(f.free))
	for k, place := range f.free {
		h := 0.1*math.Sqrt(f.cov.At(k, k)) + 1e-9
		hi, lo := f.p, f.p
		hi[place] += h
		lo[place] -= h
		a, b := values(hi), values(lo)
		slopes[k] = make([]float64, len(a))
		for i := range a {
			slopes[k][i] = (a[i] - b[i]) / (2 * h)
		}
	}
	u := make([]float64, len(slopes[0]))
	for i := range u {
		sum := 0.0
		for r := range slopes {
			for c := range slopes {
				sum += slopes[r][i] * f.cov.At(r, c) * slopes[c][i]
			}
		}
		u[i] = math.Sqrt(max(0, sum))
	}
	return u
}

// residuals are found less predicted, px.
func (f *planeFit) residuals() []part.Point {
	r := make([]part.Point, len(f.view.Marks))
	for i, m := range f.view.Marks {
		at, _ := planeAt(&f.p, (m.XMM-f.mean.X)/f.mm, (m.YMM-f.mean.Y)/f.mm)
		r[i] = part.Point{X: m.XPX - f.mid.X - f.px*at[0], Y: m.YPX - f.mid.Y - f.px*at[1]}
	}
	return r
}
