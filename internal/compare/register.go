package compare

import (
	"cmp"
	"math"
	"slices"

	"finishbench/internal/part"
)

// Motion takes a place on the faceplate before to the same place after: a turn
// about the origin, then a shift. Millimetres, y down; a positive turn goes from x
// to y, clockwise as seen.
type Motion struct {
	TurnDeg float64
	XMM     float64
	YMM     float64
}

func (m Motion) of(p part.Point) part.Point {
	s, c := math.Sincos(m.TurnDeg * math.Pi / 180)
	return part.Point{X: c*p.X - s*p.Y + m.XMM, Y: s*p.X + c*p.Y + m.YMM}
}

// motionOf is the motion that takes points a to points b with the least squares
// of distances; ok is false for fewer than two or where they lie on each other.
func motionOf(a, b []part.Point) (m Motion, ok bool) {
	if len(a) < 2 {
		return m, false
	}
	ma, mb := meanPoint(a), meanPoint(b)
	var dot, cross float64
	for i := range a {
		ax, ay, bx, by := a[i].X-ma.X, a[i].Y-ma.Y, b[i].X-mb.X, b[i].Y-mb.Y
		dot, cross = dot+ax*bx+ay*by, cross+ax*by-ay*bx
	}
	if math.Hypot(dot, cross) < 1e-12 {
		return m, false
	}
	m.TurnDeg = math.Atan2(cross, dot) * 180 / math.Pi
	return m.onto(ma, mb), true
}

// onto is the motion with the same turn that takes a to b.
func (m Motion) onto(a, b part.Point) Motion {
	q := Motion{TurnDeg: m.TurnDeg}.of(a)
	return Motion{m.TurnDeg, b.X - q.X, b.Y - q.Y}
}

func meanPoint(ps []part.Point) part.Point {
	var m part.Point
	for _, p := range ps {
		m.X, m.Y = m.X+p.X/float64(len(ps)), m.Y+p.Y/float64(len(ps))
	}
	return m
}

// fit is a motion and how well the outlines lie on each other under it.
type fit struct {
	Motion
	rms float64 // mm
}

// outlineFits are the ways in which one outline lies on the other, best first: a
// long oval does so two ways, a disc all ways. Turns are tried all around; each
// good one is refined by moving the nearest places onto each other, again and
// again (Besl & McKay 1992, IEEE Trans. PAMI 14(2):239-256). nil where an outline
// has too few points.
func outlineFits(before, after []part.Point) []fit {
	if len(before) < 8 || len(after) < 8 {
		return nil
	}
	ma, mb := middleOf(before), middleOf(after)
	const step = 4 // degrees
	rough := make([]fit, 360/step)
	for i := range rough {
		m := Motion{TurnDeg: float64(i*step) - 180}.onto(ma, mb)
		rough[i] = fit{m, outlineRMS(before, after, m)}
	}
	var fits []fit
	for i, f := range rough {
		n := len(rough)
		if f.rms <= rough[(i+1)%n].rms && f.rms < rough[(i+n-1)%n].rms {
			fits = append(fits, refine(before, after, f))
		}
	}
	slices.SortFunc(fits, func(a, b fit) int { return cmp.Compare(a.rms, b.rms) })
	return fits
}

func refine(before, after []part.Point, f fit) fit {
	for range 20 {
		var to []part.Point
		for _, p := range before {
			q, _ := nearest(after, f.of(p))
			to = append(to, q)
		}
		m, ok := motionOf(before, to)
		if !ok {
			return f
		}
		next := fit{m, outlineRMS(before, after, m)}
		if !(next.rms < f.rms) {
			return f
		}
		f = next
	}
	return f
}

// outlineRMS is how far the points of one outline are from the other.
func outlineRMS(before, after []part.Point, m Motion) float64 {
	ss := 0.0
	for _, p := range before {
		_, d := nearest(after, m.of(p))
		ss += d * d
	}
	return math.Sqrt(ss / float64(len(before)))
}

// nearest is the place of a closed polygon that is nearest to p, and how far.
func nearest(poly []part.Point, p part.Point) (at part.Point, far float64) {
	far = math.Inf(1)
	for i, a := range poly {
		q := nearestOn(a, poly[(i+1)%len(poly)], p.X, p.Y)
		if d := (p.X-q.X)*(p.X-q.X) + (p.Y-q.Y)*(p.Y-q.Y); d < far {
			at, far = q, d
		}
	}
	return at, math.Sqrt(far)
}
