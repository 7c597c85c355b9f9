package seam

import "math"

// edgeShape is how a limb's side looks across its outline: the panel's level,
// the unit's level at the outline and its rise further in, all blurred by a
// Gaussian of sigma pixels (which includes the pixel's own width).
type edgeShape struct {
	shift  float64 // outline against the rows' prediction, pixels into the unit
	sigma  float64
	panel  float64 // linear light
	unit   float64
	rise   float64 // linear light per pixel
	uShift float64 // standard uncertainty of shift, see fitShape
	uSigma float64
	dof    float64 // degrees of freedom of both
	gloss  float64 // glossMM in pixels
}

// gauss is the standard normal's density and distribution at z.
func gauss(z float64) (density, distribution float64) {
	return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi), 0.5 * (1 + math.Erf(z/math.Sqrt2))
}

// ramp is a smooth max(d, 0) that is rounded over about one pixel, and its
// derivative.
func ramp(d float64) (v, dv float64) {
	r := math.Sqrt(d*d + 1)
	return (d + r) / 2, (1 + d/r) / 2
}

// value is the model's linear light at distance d into the unit along the
// normal, with its derivatives by distance, sigma, panel, unit and rise.
func (e *edgeShape) value(d float64) (v float64, by [5]float64) {
	z := d / e.sigma
	den, dis := gauss(z)
	t, dt := ramp(d)
	in := e.unit + e.rise*t
	v = e.panel + (in-e.panel)*dis
	slope := (in - e.panel) * den / e.sigma
	by[0] = slope + e.rise*dt*dis // by d
	by[1] = -slope * z
	by[2] = 1 - dis
	by[3] = dis
	by[4] = t * dis
	return v, by
}

// Half widths of the window around the outline in which the edge is fitted, in
// multiples of the blur.
const (
	windowOut = 4.0
	windowIn  = 5.0
)

// glossMM is how far inside the outline a gloss wall still looks alike: further
// in it mirrors lamps and panel edges. Common practice, no source.
const glossMM = 0.13

// window is how far out and in from the outline samples are used, in pixels:
// the blur's reach, and inwards no further than the wall looks alike.
func (e *edgeShape) window() (out, in float64) {
	return windowOut*e.sigma + 2, max(2.5*e.sigma+0.5, min(windowIn*e.sigma+1, e.gloss-1.5*e.sigma))
}

// limbRow is one row of a limb.
type limbRow struct {
	y     float64
	half  float64   // half-height crossing, NaN where none
	fine  float64   // fitted crossing
	u0    int       // first sample's place
	light []float64 // samples around the outline
}

// fitShape fits one common edge shape to all rows of a side, whose outlines
// are predicted by p. With rises false the unit's level is taken as constant
// (the window is then kept short by the caller).
//
// Samples in one pixel column err alike from row to row (fixed pattern, JPEG's
// quantising, the pixel's phase on an upright wall), so the uncertainty of the
// shift comes from the residuals summed by column (the cluster-robust
// "sandwich"; Liang and Zeger 1986, Biometrika 73:13).
func fitShape(rows []limbRow, p poly, start edgeShape, rises bool) (edgeShape, bool) {
	e := start
	np := 5
	if !rises {
		np, e.rise = 4, 0
	}
	get := func(p [maxParams]float64) edgeShape {
		return edgeShape{shift: p[0], sigma: p[1], panel: p[2], unit: p[3], rise: p[4], gloss: start.gloss}
	}
	enough := true
	sum := func(x *[maxParams]float64, q *normal) float64 {
		e := get(*x)
		s, n := shapeSum(rows, p, &e, q)
		enough = n >= 4*np
		return s
	}
	move := func(x *[maxParams]float64, dx [maxParams]float64) {
		x[0] += clamp(dx[0], 1)
		x[1] = min(20, max(0.25, x[1]+clamp(dx[1], x[1]/2)))
		for k := 2; k < np; k++ {
			x[k] += dx[k]
		}
	}
	x, _, _, ok := marquardt([maxParams]float64{e.shift, e.sigma, e.panel, e.unit, e.rise}, np, 15, sum, move)
	if !ok || !enough {
		return start, false
	}
	e = get(x)
	e.uShift, e.uSigma, e.dof = shapeUncertainty(rows, p, &e, np)
	ok = math.Abs(e.unit-e.panel) > minStep && e.sigma < 15 && !math.IsNaN(e.shift)
	return e, ok
}

func clamp(v, lim float64) float64 { return min(lim, max(-lim, v)) }

// sample is one pixel beside the outline, held against the edge's model.
type sample struct {
	column   int
	residual float64    // linear light: seen minus model
	by       [5]float64 // the model's derivatives by shift, sigma, panel, unit and rise
}

// eachSample calls f for each pixel within the window around the outline.
func eachSample(rows []limbRow, p poly, e *edgeShape, f func(s *sample)) {
	out, in := e.window()
	var s sample
	for i := range rows {
		r := &rows[i]
		if r.light == nil {
			continue
		}
		at, cos := p.at(r.y)+e.shift, normalCos(p, r.y)
		for k, v := range r.light {
			d := (float64(r.u0+k) - at) * cos
			if d < -out || d > in {
				continue
			}
			s.column, s.residual = r.u0+k, v
			v, s.by = e.value(d)
			s.residual -= v
			s.by[0] *= -cos
			f(&s)
		}
	}
}

// shapeSum adds all samples' equations and returns the squared residuals' mean
// and the number of samples.
func shapeSum(rows []limbRow, p poly, e *edgeShape, q *normal) (ss float64, n int) {
	eachSample(rows, p, e, func(s *sample) {
		q.add(s.by[:q.n], s.residual, 1)
		ss += s.residual * s.residual
		n++
	})
	return ss / float64(max(1, n)), n
}

// normalCos is the cosine between a row and the outline's normal.
func normalCos(p poly, y float64) float64 {
	s := p.slope(y)
	return 1 / math.Sqrt(1+s*s)
}

// shapeUncertainty is the column-wise sandwich for shift and sigma, and its
// degrees of freedom: columns less parameters.
func shapeUncertainty(rows []limbRow, p poly, e *edgeShape, np int) (uShift, uSigma, dof float64) {
	a := normal{n: np}
	var sums [][5]float64  // in order of appearance, so that equal pictures give equal bits
	place := map[int]int{} // of a column in sums
	eachSample(rows, p, e, func(s *sample) {
		a.add(s.by[:np], 0, 1)
		i, had := place[s.column]
		if !had {
			i = len(sums)
			place[s.column] = i
			sums = append(sums, [5]float64{})
		}
		for j := range np {
			sums[i][j] += s.by[j] * s.residual
		}
	})
	_, inv, ok := a.solve(0)
	g := float64(len(sums))
	if !ok || g <= float64(np) {
		return math.NaN(), math.NaN(), math.NaN()
	}
	var vs, vg float64
	for _, s := range sums {
		var x, y float64
		for j := 0; j < np; j++ {
			x += inv[0][j] * s[j]
			y += inv[1][j] * s[j]
		}
		vs += x * x
		vg += y * y
	}
	f := g / (g - float64(np)) // few columns: degrees of freedom spent on the shape
	return math.Sqrt(vs * f), math.Sqrt(vg * f), g - float64(np)
}

// fitRows finds each row's own outline with the shape held, its panel's and
// unit's level free. Rows that do not settle become NaN.
func fitRows(rows []limbRow, p poly, e edgeShape) {
	out, in := e.window()
	for i := range rows {
		r := &rows[i]
		r.fine = math.NaN()
		if r.light == nil {
			continue
		}
		s := e
		cos := normalCos(p, r.y)
		ok := true
		for iter := 0; iter < 4 && ok; iter++ {
			at := p.at(r.y) + s.shift
			q := normal{n: 3}
			n := 0
			for k, v := range r.light {
				d := (float64(r.u0+k) - at) * cos
				if d < -out || d > in {
					continue
				}
				m, by := s.value(d)
				q.add([]float64{-cos * by[0], by[2], by[3]}, v-m, 1)
				n++
			}
			x, _, good := q.solve(0)
			if ok = good && n > 5; !ok {
				break
			}
			s.shift += clamp(x[0], 1)
			s.panel += x[1]
			s.unit += x[2]
			if math.Abs(x[0]) < 1e-4 {
				break
			}
		}
		if ok && math.Abs(s.shift-e.shift) < 2*e.sigma+1 {
			r.fine = p.at(r.y) + s.shift
		}
	}
}

// uModel is the standard uncertainty, in pixels, of how the unit's level runs
// to the outline: between the straight rise of the model and none at all the
// outline would move by about this, taken as the half width of a rectangular
// distribution (GUM 4.3.7).
func (e edgeShape) uModel() float64 {
	_, in := e.window()
	level := e.rise * in / 2
	shift := level / 2 * e.sigma * math.Sqrt(2*math.Pi) / math.Abs(e.unit-e.panel)
	return math.Abs(shift) / math.Sqrt(3)
}
