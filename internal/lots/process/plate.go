package process

import (
	"math"

	"finishbench/internal/part"
)

// sectors is the number of directions in which an outline is held.
const sectors = 72

// Plate is a faceplate's outline, seen from its middle: shells are made to
// measure, no two outlines are alike, and each lies as it was put down.
type Plate struct {
	MM      [sectors]float32 // how far the outline is, mm, from the plate's long axis on, clockwise as seen
	TurnDeg float64          // where that axis points in the picture, clockwise from x, -90 to 90
	Longer  float64          // how much longer than wide: the ratio of the area's standard deviations along and across
	Skew    float64          // skewness of the area along the axis: above 0, the end at TurnDeg reaches farther

	middle  part.Point // px
	mmPerPX float64
}

// Least that an outline must be longer than wide for its axis to be known, and
// least skewness for its ends to be told apart by it (common practice, no source:
// custom-moulded shells were seen from 0.006 to 0.056, to either side).
const (
	leastLonger = 1.05
	leastSkew   = 0.02
)

// HasAxis says whether the plate is long enough for its axis to be known.
func (p *Plate) HasAxis() bool { return p != nil && p.Longer >= leastLonger }

// NewPlate reads an outline, px; nil where it has no area, does not go around its
// middle, or the scale is not known.
func NewPlate(outline []part.Point, mmPerPX float64) *Plate {
	if len(outline) < 3 || !(mmPerPX > 0) || math.IsInf(mmPerPX, 0) {
		return nil
	}
	m, ok := momentsOf(outline)
	if !ok {
		return nil
	}
	p := &Plate{middle: m.middle, mmPerPX: mmPerPX, TurnDeg: m.axis * 180 / math.Pi, Longer: m.longer, Skew: m.skew}
	for i := range p.MM {
		a := m.axis + (float64(i)+0.5)*2*math.Pi/sectors
		r := reach(outline, m.middle, a)
		if !(r > 0) {
			return nil
		}
		p.MM[i] = float32(r * mmPerPX)
	}
	return p
}

// Place is a place on a faceplate that can be laid over another's: the direction
// from its middle, and how far out of the way to the outline.
type Place struct {
	ThetaDeg float64 // 0..360, clockwise from the long axis
	Out      float64 // 0 in the middle, 1 on the outline
}

// Place finds a place of the picture, px; nil beyond 1.1 of the outline: not on
// the faceplate.
func (p *Plate) Place(at part.Point) *Place {
	dx, dy := at.X-p.middle.X, at.Y-p.middle.Y
	deg := math.Mod(math.Atan2(dy, dx)*180/math.Pi-p.TurnDeg+720, 360)
	out := math.Hypot(dx, dy) * p.mmPerPX / p.radius(deg)
	if !(out <= 1.1) {
		return nil
	}
	return &Place{deg, math.Min(out, 1)}
}

// radius is the outline's distance in a direction, mm, between the middles of two
// sectors.
func (p *Plate) radius(deg float64) float64 { return between(p.MM[:], deg) }

func between(r []float32, deg float64) float64 {
	x := deg/360*sectors - 0.5
	i := int(math.Floor(x))
	t := x - float64(i)
	a, b := r[(i+sectors)%sectors], r[(i+1+sectors)%sectors]
	return float64(a)*(1-t) + float64(b)*t
}

// moments tell how an area lies.
type moments struct {
	middle part.Point
	axis   float64 // of the greatest extent, radians clockwise, -pi/2 to pi/2
	longer float64 // standard deviation along over that across
	skew   float64 // skewness along the axis
}

// momentsOf are the moments of a closed polygon's area, exact.
func momentsOf(poly []part.Point) (moments, bool) {
	var area, x, y float64
	for i, a := range poly {
		b := poly[(i+1)%len(poly)]
		w := a.X*b.Y - b.X*a.Y
		area, x, y = area+w, x+w*(a.X+b.X), y+w*(a.Y+b.Y)
	}
	if !(math.Abs(area) > 1e-9) {
		return moments{}, false
	}
	m := moments{middle: part.Point{X: x / (3 * area), Y: y / (3 * area)}}
	var xx, xy, yy float64
	for i := range poly {
		a, b := off(poly[i], m.middle), off(poly[(i+1)%len(poly)], m.middle)
		w := a.X*b.Y - b.X*a.Y
		xx += w * (a.X*a.X + a.X*b.X + b.X*b.X)
		yy += w * (a.Y*a.Y + a.Y*b.Y + b.Y*b.Y)
		xy += w * (2*a.X*a.Y + a.X*b.Y + b.X*a.Y + 2*b.X*b.Y) / 2
	}
	xx, yy, xy = xx/(6*area), yy/(6*area), xy/(6*area)
	m.axis = math.Atan2(2*xy, xx-yy) / 2
	mid, half := (xx+yy)/2, math.Hypot((xx-yy)/2, xy)
	m.longer = math.Sqrt((mid + half) / math.Max(mid-half, 1e-12))
	c, s := math.Cos(m.axis), math.Sin(m.axis)
	third := 0.0
	for i := range poly {
		a, b := off(poly[i], m.middle), off(poly[(i+1)%len(poly)], m.middle)
		u, v := c*a.X+s*a.Y, c*b.X+s*b.Y
		third += (a.X*b.Y - b.X*a.Y) * (u + v) * (u*u + v*v)
	}
	m.skew = third / (10 * area) / math.Pow(mid+half, 1.5)
	return m, true
}

func off(p, from part.Point) part.Point { return part.Point{X: p.X - from.X, Y: p.Y - from.Y} }

// reach is the farthest crossing of the outline by a ray, px; NaN for none.
func reach(poly []part.Point, from part.Point, angle float64) float64 {
	s, c := math.Sincos(angle)
	far := math.NaN()
	for i := range poly {
		a, b := off(poly[i], from), off(poly[(i+1)%len(poly)], from)
		// Turned so that the ray is the x axis.
		ax, ay, bx, by := c*a.X+s*a.Y, c*a.Y-s*a.X, c*b.X+s*b.Y, c*b.Y-s*b.X
		if (ay > 0) == (by > 0) {
			continue
		}
		if x := ax + (bx-ax)*ay/(ay-by); x > 0 && !(x <= far) {
			far = x
		}
	}
	return far
}
