package target

import (
	"math"

	"finishbench/internal/part"
)

// homography takes the target's mm to px through an ideal lens: nine numbers,
// the last 1, after both sides were moved and scaled.
type homography struct {
	h            [9]float64
	from, onto   part.Point
	scale, grown float64
}

// newHomography fits it to pairs of points by the direct linear transform
// (Hartley and Zisserman 2004, section 4.1, normalised as in 4.4).
func newHomography(mm, px []part.Point) (homography, bool) {
	if len(mm) < 4 {
		return homography{}, false
	}
	var g homography
	g.from, g.scale = spread(mm)
	g.onto, g.grown = spread(px)
	var rows [][]float64
	var right []float64
	for i := range mm {
		x, y := (mm[i].X-g.from.X)/g.scale, (mm[i].Y-g.from.Y)/g.scale
		u, v := (px[i].X-g.onto.X)/g.grown, (px[i].Y-g.onto.Y)/g.grown
		rows = append(rows, []float64{x, y, 1, 0, 0, 0, -u * x, -u * y}, []float64{0, 0, 0, x, y, 1, -v * x, -v * y})
		right = append(right, u, v)
	}
	h, ok := linearFit(rows, right)
	if !ok {
		return homography{}, false
	}
	copy(g.h[:], h)
	g.h[8] = 1
	return g, true
}

// spread is the mean of points and their mean distance from it.
func spread(p []part.Point) (part.Point, float64) {
	var m part.Point
	n := float64(len(p))
	for _, q := range p {
		m.X += q.X / n
		m.Y += q.Y / n
	}
	s := 0.0
	for _, q := range p {
		s += math.Hypot(q.X-m.X, q.Y-m.Y) / n
	}
	return m, max(s, 1e-12)
}

func (g *homography) at(p part.Point) part.Point {
	x, y := (p.X-g.from.X)/g.scale, (p.Y-g.from.Y)/g.scale
	w := g.h[6]*x + g.h[7]*y + 1
	return part.Point{
		X: g.onto.X + g.grown*(g.h[0]*x+g.h[1]*y+g.h[2])/w,
		Y: g.onto.Y + g.grown*(g.h[3]*x+g.h[4]*y+g.h[5])/w,
	}
}

// warp maps the target to the picture near one mark: the homography of all
// marks, and what a lens bends beside it as a quadratic of the marks nearby.
type warp struct {
	all    *homography
	centre part.Point // mm
	reach  float64    // mm
	bend   [2][6]float64
}

func (w *warp) at(p part.Point) part.Point {
	q := w.all.at(p)
	b := quadratic((p.X-w.centre.X)/w.reach, (p.Y-w.centre.Y)/w.reach)
	for k := range b {
		q.X += w.bend[0][k] * b[k]
		q.Y += w.bend[1][k] * b[k]
	}
	return q
}

func quadratic(x, y float64) [6]float64 { return [6]float64{1, x, y, x * x, x * y, y * y} }

// newWarp fits the bend to the marks within reach of a place. With fewer than
// nine marks it is linear, with fewer than five a shift.
func newWarp(all *homography, mm, px []part.Point, centre part.Point, reach float64) warp {
	w := warp{all: all, centre: centre, reach: reach}
	var rows [][]float64
	var right [2][]float64
	for i, m := range mm {
		x, y := (m.X-centre.X)/reach, (m.Y-centre.Y)/reach
		if max(math.Abs(x), math.Abs(y)) > 1 {
			continue
		}
		b := quadratic(x, y)
		rows = append(rows, b[:])
		q := all.at(m)
		right[0], right[1] = append(right[0], px[i].X-q.X), append(right[1], px[i].Y-q.Y)
	}
	for _, terms := range []int{6, 3, 1} {
		if len(rows) < terms+min(terms, 3) && terms > 1 || len(rows) == 0 {
			continue
		}
		cut := make([][]float64, len(rows))
		for i := range rows {
			cut[i] = rows[i][:terms]
		}
		okay := true
		for k := range 2 {
			beta, ok := linearFit(cut, right[k])
			if okay = okay && ok; ok {
				copy(w.bend[k][:], beta)
			}
		}
		if okay {
			return w
		}
		w.bend = [2][6]float64{}
	}
	return w
}

// circle is the picture of a circle on the target.
func (w *warp) circle(centre part.Point, radius float64) []part.Point {
	const n = 48
	out := make([]part.Point, n)
	for i := range out {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / n)
		out[i] = w.at(part.Point{X: centre.X + radius*cos, Y: centre.Y + radius*sin})
	}
	return out
}

// offCentre is by how much the middle of a circle's picture, an ellipse, lies
// off the picture of the circle's middle. Perspective and distortion move it
// (Heikkila 2000, section 2.2: for perspective in closed form; here by mapping
// the circle, which takes distortion along).
func (w *warp) offCentre(centre part.Point, radius float64) (part.Point, bool) {
	e, ok := conic(w.circle(centre, radius))
	if !ok {
		return part.Point{}, false
	}
	c := w.at(centre)
	return part.Point{X: e.x - c.X, Y: e.y - c.Y}, true
}

// conic fits an ellipse to boundary points by the least sum of squares of
// x^2 + B x y + C y^2 + D x + E y + F in coordinates about their middle, scaled:
// for points that lie on an ellipse but for small errors.
func conic(p []part.Point) (oval, bool) {
	m, s := spread(p)
	var rows [][]float64
	var right []float64
	for _, q := range p {
		x, y := (q.X-m.X)/s, (q.Y-m.Y)/s
		// x^2 + y^2 + b (x^2 - y^2) + c 2xy + ...: even-handed to both directions
		rows = append(rows, []float64{x*x - y*y, 2 * x * y, x, y, 1})
		right = append(right, -(x*x + y*y))
	}
	f, ok := linearFit(rows, right)
	if !ok {
		return oval{}, false
	}
	a, b, c := 1+f[0], f[1], 1-f[0]
	det := a*c - b*b
	if !(det > 0) || a <= 0 {
		return oval{}, false
	}
	x, y := (-c*f[2]+b*f[3])/(2*det), (b*f[2]-a*f[3])/(2*det)
	level := -(f[4] + (f[2]*x+f[3]*y)/2)
	if !(level > 0) {
		return oval{}, false
	}
	mid, d := (a+c)/2, math.Hypot((a-c)/2, b)
	if mid <= d {
		return oval{}, false
	}
	// The longer axis belongs to the smaller eigenvalue.
	angle := 0.5*math.Atan2(2*b, a-c) + math.Pi/2
	return newOval(m.X+s*x, m.Y+s*y, s*math.Sqrt(level/(mid-d)), s*math.Sqrt(level/(mid+d)), angle), true
}
