package target

import (
	"math"

	"finishbench/internal/part"
)

// Ellipse is the boundary of a round mark as pictured: where the light is half
// way between the inside and the outside next to it, with what blur does to a
// curved edge taken off.
type Ellipse struct {
	XPX, YPX                 float64 // middle
	SemiMajorPX, SemiMinorPX float64
	AngleDeg                 float64 // of the longer axis, counter-clockwise from the picture's x axis, 0 to 180
	UPX                      float64 // standard uncertainty of each coordinate of the middle, px, from the fit's scatter
	UDiameterPX              float64 // of the mean diameter
	BlurPX                   float64 // standard deviation of the edge's blur, the pixel's own width in it
}

// DiameterPX is that of the circle with the ellipse's area.
func (e Ellipse) DiameterPX() float64 { return 2 * math.Sqrt(e.SemiMajorPX*e.SemiMinorPX) }

// Boundary gives n points of the ellipse.
func (e Ellipse) Boundary(n int) []part.Point {
	sin, cos := math.Sincos(-e.AngleDeg * math.Pi / 180)
	out := make([]part.Point, n)
	for i := range out {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		u, v := e.SemiMajorPX*c, e.SemiMinorPX*s
		out[i] = part.Point{X: e.XPX + u*cos - v*sin, Y: e.YPX + u*sin + v*cos}
	}
	return out
}

// oval is an ellipse as fits use it: the points c + S(cos t, sin t) with a
// symmetric S = (p q; q r), which unlike axes and an angle stays plain where the
// ellipse is a circle.
type oval struct{ x, y, p, q, r float64 }

func newOval(x, y, a, b, angle float64) oval { // angle clockwise as seen, rad
	sin, cos := math.Sincos(angle)
	return oval{x, y, a*cos*cos + b*sin*sin, (a - b) * sin * cos, a*sin*sin + b*cos*cos}
}

// axes gives the half axes, longer first, and its angle clockwise as seen, rad.
func (o oval) axes() (a, b, angle float64) {
	m, d := (o.p+o.r)/2, math.Hypot((o.p-o.r)/2, o.q)
	return m + d, m - d, 0.5 * math.Atan2(2*o.q, o.p-o.r)
}

func (o oval) det() float64 { return o.p*o.r - o.q*o.q }

func (o oval) valid() bool { return o.p > 0 && o.r > 0 && o.det() > 0 }

// reach is the half width and half height of the box around it.
func (o oval) reach() (x, y float64) { return math.Hypot(o.p, o.q), math.Hypot(o.q, o.r) }

// foot is the point of the oval nearest to x, y: its parameter t, the distance
// (outside positive), the outward normal and the curvature, 1/px.
type foot struct{ t, cos, sin, d, nx, ny, curve float64 }

// foot finds it from the point's own direction.
func (o oval) foot(x, y float64) foot {
	dx, dy := x-o.x, y-o.y
	return o.footFrom(x, y, math.Atan2((-o.q*dx+o.p*dy), (o.r*dx-o.q*dy)))
}

// footFrom finds it by Newton's method from the parameter t. The distance is off
// by the square of what is left of t only.
func (o oval) footFrom(x, y, t float64) foot {
	dx, dy := x-o.x, y-o.y
	det := o.det()
	var f foot
	var tx, ty, ex, ey float64
	for range 6 {
		f.sin, f.cos = math.Sincos(t)
		tx, ty = -o.p*f.sin+o.q*f.cos, -o.q*f.sin+o.r*f.cos // d/dt of the point
		ex, ey = dx-(o.p*f.cos+o.q*f.sin), dy-(o.q*f.cos+o.r*f.sin)
		g := ex*tx + ey*ty
		slope := ex*(-(o.p*f.cos + o.q*f.sin)) + ey*(-(o.q*f.cos + o.r*f.sin)) - tx*tx - ty*ty
		if slope >= 0 {
			break // nearer to the middle than the curvature's centre: the start is good enough there
		}
		step := g / slope
		if math.Abs(step) < 3e-5 {
			break
		}
		t -= step
	}
	l := math.Hypot(tx, ty)
	f.t, f.nx, f.ny = t, ty/l, -tx/l
	f.d = f.nx*ex + f.ny*ey
	f.curve = det / (l * l * l)
	return f
}

// rimSample is one pixel near the boundary.
type rimSample struct {
	x, y, v float64
	t       float64    // its foot on the oval, as last found
	basis   [5]float64 // 1, u, v, cos 2t, sin 2t about the start's middle
}

// Parameters of a rim's fit.
const (
	rimX = iota
	rimY
	rimP
	rimQ
	rimR
	rimBlur   // px, the lens's and the pixel's own
	rimLevels // inside levels, then outside levels
)

// pixelWidth is the standard deviation of a pixel's own width, 1/sqrt(12) px: no
// edge is sharper, though pictures that a camera has sharpened look so, and
// without it the place of an edge along a line of pixels could not be told.
const pixelWidth = 0.288675

// mostBlur is the most that fits take for an edge's blur, px.
const mostBlur = 12

// startBlur is where fits of it start, px.
const startBlur = 0.85

// rim fits an oval's boundary to the pixels around it: along the normal, light
// goes from the inside's to the outside's level by the Gaussian distribution
// function of the distance. Both levels may slope (shadows). Blur of deviation s
// moves the half level of an edge with curvature k inwards by s^2 k / 2 (to first
// order, from the diffusion equation in polar form), which is taken off.
//
// room is how far outside the boundary nothing else begins, px; most the number
// of pixels used at most.
func rim(p *part.Plane, start oval, room float64, most int) (Ellipse, float64, bool) {
	blur := startBlur
	_, least, _ := start.axes()
	inside, outside := levelTerms(least, room)
	var out *fitted
	for round := range 2 {
		n := most
		if round == 0 {
			n = min(n, 500)
		}
		samples := rimSamples(p, start, blur, room, n)
		m := rimModel(samples, inside, outside)
		par, ok := rimStart(samples, start, blur, inside, outside)
		if !ok {
			return Ellipse{}, 0, false
		}
		rounds := 6 // the first time only leads to the right band of pixels
		if round == 1 {
			rounds = fitRounds
		}
		if out, ok = m.solve(par, rounds, round == 1); !ok {
			return Ellipse{}, 0, false
		}
		start = oval{out.p[rimX], out.p[rimY], out.p[rimP], out.p[rimQ], out.p[rimR]}
		blur = out.p[rimBlur]
	}
	a, b, angle := start.axes()
	deg := math.Mod(-angle*180/math.Pi+360, 180)
	e := Ellipse{XPX: start.x, YPX: start.y, SemiMajorPX: a, SemiMinorPX: b, AngleDeg: deg, BlurPX: blur}
	e.UPX = math.Sqrt((out.cov.At(rimX, rimX) + out.cov.At(rimY, rimY)) / 2)
	pp, rr, pr := out.cov.At(rimP, rimP), out.cov.At(rimR, rimR), out.cov.At(rimP, rimR)
	e.UDiameterPX = math.Sqrt(max(pp+rr+2*pr, 0)) // mean diameter is p + r to first order
	contrast := math.Abs(out.p[rimLevels] - out.p[rimLevels+inside])
	return e, out.sigma / contrast, true
}

// levelTerms is how many terms the levels inside and outside may have: small
// dots have too few pixels for slopes.
func levelTerms(b, room float64) (inside, outside int) {
	switch {
	case b < 3.5 || room < 1.5:
		return 1, 1
	case b < 7:
		return 1, 3
	}
	return 3, 5
}

// rimSamples picks the pixels within a few blurs of the boundary, about most of
// them at most, evenly.
func rimSamples(p *part.Plane, o oval, blur, room float64, most int) []rimSample {
	in, out := 4*blur+1.5, min(4*blur+1.5, room)
	rx, ry := o.reach()
	x0, x1 := max(0, int(o.x-rx-out)), min(p.W-1, int(o.x+rx+out)+1)
	y0, y1 := max(0, int(o.y-ry-out)), min(p.H-1, int(o.y+ry+out)+1)
	a, b, _ := o.axes()
	inner, outer := max(0, 1-in/b), 1+out/b // no pixel of the band lies beyond
	every := max(1, int(math.Pi*(a+b)*(min(in, b)+out)/float64(most)+0.5))
	det := o.det()
	var all []rimSample
	n := every / 2
	for y := y0; y <= y1; y++ {
		for x := x0; x <= x1; x++ {
			dx, dy := float64(x)-o.x, float64(y)-o.y
			u, v := (o.r*dx-o.q*dy)/det, (-o.q*dx+o.p*dy)/det
			rho2 := u*u + v*v
			if rho2 < inner*inner || rho2 > outer*outer {
				continue
			}
			if n++; n < every {
				continue
			}
			n = 0
			t := 0.0
			if rho2 > 0.1 { // nearer in, only that it is inside counts, not the exact distance
				f := o.foot(float64(x), float64(y))
				if t = f.t; f.d < -in || f.d > out {
					continue
				}
			}
			s := rimSample{x: float64(x), y: float64(y), v: float64(p.At(x, y)), t: t}
			s.basis = [5]float64{1, u, v, 0, 0}
			if rho2 > 0 {
				s.basis[3], s.basis[4] = (u*u-v*v)/rho2, 2*u*v/rho2
			}
			all = append(all, s)
		}
	}
	return all
}

// How many pixels of one boundary are used at most: a disc has to itself what a
// grid shares among hundreds of dots.
const (
	dotSamples  = 1200
	mostSamples = 8000
)

// rimStart finds levels for the start by least squares.
func rimStart(samples []rimSample, o oval, blur float64, inside, outside int) ([]float64, bool) {
	if len(samples) < rimLevels+inside+outside+4 {
		return nil, false
	}
	x, y := make([][]float64, len(samples)), make([]float64, len(samples))
	for i, s := range samples {
		g := below(-o.foot(s.x, s.y).d / blur)
		r := make([]float64, inside+outside)
		for k := range inside {
			r[k] = g * s.basis[k]
		}
		for k := range outside {
			r[inside+k] = (1 - g) * s.basis[k]
		}
		x[i], y[i] = r, s.v
	}
	levels, ok := linearFit(x, y)
	if !ok {
		return nil, false
	}
	return append([]float64{o.x, o.y, o.p, o.q, o.r, blur}, levels...), true
}

func rimModel(samples []rimSample, inside, outside int) *model {
	m := &model{n: len(samples), m: rimLevels + inside + outside, least: map[int]float64{rimBlur: pixelWidth}}
	m.valid = func(p []float64) bool {
		o := oval{p[rimX], p[rimY], p[rimP], p[rimQ], p[rimR]}
		return o.valid() && p[rimBlur] <= mostBlur
	}
	m.row = func(p []float64, i int, slope []float64) float64 {
		s := &samples[i]
		o := oval{p[rimX], p[rimY], p[rimP], p[rimQ], p[rimR]}
		f := o.footFrom(s.x, s.y, s.t)
		s.t = f.t
		blur := p[rimBlur]
		t := (f.d + blur*blur*f.curve/2) / blur
		g, density := below(-t), bell(t)
		in, out := 0.0, 0.0
		for k := range inside {
			in += p[rimLevels+k] * s.basis[k]
			slope[rimLevels+k] = g * s.basis[k]
		}
		for k := range outside {
			out += p[rimLevels+inside+k] * s.basis[k]
			slope[rimLevels+inside+k] = (1 - g) * s.basis[k]
		}
		byD := -(in - out) * density / blur // change of the light with the distance
		slope[rimX], slope[rimY] = -byD*f.nx, -byD*f.ny
		slope[rimP] = -byD * f.nx * f.cos
		slope[rimQ] = -byD * (f.nx*f.sin + f.ny*f.cos)
		slope[rimR] = -byD * f.ny * f.sin
		slope[rimBlur] = byD * (f.curve*blur/2 - f.d/blur)
		return out + (in-out)*g - s.v
	}
	return m
}

// below is the Gaussian distribution function, bell its density.
func below(x float64) float64 { return 0.5 * math.Erfc(-x/math.Sqrt2) }

func bell(x float64) float64 { return math.Exp(-x*x/2) / math.Sqrt(2*math.Pi) }
