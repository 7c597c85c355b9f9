package body

import (
	"math"

	"finishbench/internal/part"
)

// Place is what of the shell a picture's place shows.
type Place struct {
	TurnDeg float64 // turned by so much the unit shows it in the picture's middle, 0..360
	BelowMM float64 // below the seam, along the axis; negative on the faceplate's side
	FrontMM float64 // so far in front of the axis, towards the camera

	// The outward normal: to the right in the picture, down in it, and towards the
	// camera. Slope is the angle between it and the line of sight.
	NormalX, NormalY, NormalZ float64
}

// Slope is the angle between the surface's normal and the line of sight, degrees.
func (p Place) Slope() float64 { return math.Acos(max(-1, min(1, p.NormalZ))) * 180 / math.Pi }

// Seen is a shape as one turn's picture shows it.
type Seen struct {
	*Shape
	*View
	axisMM float64
}

// In is the shape in the picture of view k of those that it was fitted to.
func (s *Shape) In(views []*View, k int) Seen {
	return Seen{s, views[k], views[k].middle()}
}

// series are a support function's value and its first two derivatives by the direction, at a
// height between rows.
type series [terms]float64

func (s *Shape) at(below float64) series {
	h := max(0, min(below/heightStepMM, float64(len(s.coef)-1)))
	i := min(int(h), len(s.coef)-2)
	u := h - float64(i)
	var out series
	for k := range out {
		out[k] = s.coef[i][k]*(1-u) + s.coef[i+1][k]*u
	}
	return out
}

func (c series) value(turn float64) (p, dp float64) {
	p = c[0]
	for k := 1; k <= orders; k++ {
		sin, cos := math.Sincos(float64(k) * turn)
		p += c[2*k-1]*cos + c[2*k]*sin
		dp += float64(k) * (c[2*k]*cos - c[2*k-1]*sin)
	}
	return p, dp
}

// contour is the point of a cross-section whose normal lies so far, in radians, to
// the right of the line of sight, in a turn: mm right of the axis and in front of it.
func (c series) contour(turn, right float64) (x, z float64) {
	p, dp := c.value(turn - right)
	dp = -dp // by the angle to the right
	sin, cos := math.Sincos(right)
	return p*sin + dp*cos, p*cos - dp*sin
}

// normalAt is the direction of the normal where a cross-section's front lies x mm right of the
// axis; ok is false beside it. By Newton's steps, held within what is known.
func (c series) normalAt(turn, x float64) (right float64, ok bool) {
	lo, hi := -math.Pi/2, math.Pi/2
	a, _ := c.contour(turn, lo)
	b, _ := c.contour(turn, hi)
	if !(x >= a && x <= b && b > a) { // or it has no width at the very bottom
		return 0, false
	}
	right = math.Asin(max(-1, min(1, (2*x-a-b)/(b-a))))
	for range 12 {
		at, z := c.contour(turn, right)
		if at < x {
			lo = right
		} else {
			hi = right
		}
		if math.Abs(at-x) < 1e-4 {
			break
		}
		// the contour goes on by its radius of curvature, along the surface
		next := right + (x-at)/max(c.curve(turn-right)*math.Cos(right), 0.05*max(z, 1))
		if next <= lo || next >= hi {
			next = (lo + hi) / 2
		}
		right = next
	}
	return right, true
}

// curve is a cross-section's radius of curvature where its normal has a direction: p + p”.
func (c series) curve(turn float64) float64 {
	r := c[0]
	for k := 1; k <= orders; k++ {
		sin, cos := math.Sincos(float64(k) * turn)
		r += (1 - float64(k*k)) * (c[2*k-1]*cos + c[2*k]*sin)
	}
	return r
}

// Place is what a picture's place shows, full-resolution pixels; ok is false beside the unit.
func (s Seen) Place(x, y float64) (Place, bool) {
	sin, cos := math.Sincos(math.Atan(s.Roll))
	dx, dy := (x-s.MiddleX)*s.MMPerPX, (y-s.SeamY)*s.MMPerPX
	u, w := dx*cos+dy*sin-s.axisMM, dy*cos-dx*sin
	return s.place(u, w, nil)
}

// place is Place in the seam's frame; more is added to the coefficients of each height.
func (s Seen) place(u, w float64, more *series) (Place, bool) {
	turn := rad(s.TurnDeg)
	below := w
	var right, z float64
	for range 3 { // what lies in front is lower in the picture by its share of the seam's bow
		c := s.at(below).plus(more)
		var ok bool
		if right, ok = c.normalAt(turn, u); !ok {
			return Place{}, false
		}
		_, z = c.contour(turn, right)
		below = w - s.Bow*s.MMPerPX*z/s.radius
	}
	// How the support falls with the height tells how the surface leans:
	// by the parabola through three heights: near the seam and the bottom these lie to one side.
	const step = 1.0
	mid := max(step, min(below, s.DepthMM()-step))
	var p3 [3]float64
	for k := range p3 {
		p3[k], _ = s.at(mid + float64(k-1)*step).value(turn - right)
	}
	fall := (p3[2]-p3[0])/(2*step) + (below-mid)*(p3[2]-2*p3[1]+p3[0])/(step*step) // per mm down; negative where it narrows
	n := 1 / math.Sqrt(1+fall*fall)
	sin, cos := math.Sincos(right)
	p := Place{BelowMM: below, FrontMM: z, NormalX: sin * n, NormalY: -fall * n, NormalZ: cos * n}
	// The camera looks down by as much as the seam bows.
	tilt := math.Atan(s.Bow * s.MMPerPX / s.radius)
	ts, tc := math.Sincos(tilt)
	p.NormalY, p.NormalZ = p.NormalY*tc+p.NormalZ*ts, p.NormalZ*tc-p.NormalY*ts
	p.TurnDeg = math.Mod(s.TurnDeg-math.Atan2(u, z)*180/math.Pi+720, 360)
	return p, true
}

func (c series) plus(more *series) series {
	if more != nil {
		for k := range c {
			c[k] += more[k]
		}
	}
	return c
}

// USlope is the standard uncertainty of the cosine of a place's slope, from how far the
// cross-section may be from what was fitted.
func (s Seen) USlope(x, y float64) float64 {
	if s.root == nil {
		return 0
	}
	sin, cos := math.Sincos(math.Atan(s.Roll))
	dx, dy := (x-s.MiddleX)*s.MMPerPX, (y-s.SeamY)*s.MMPerPX
	u, w := dx*cos+dy*sin-s.axisMM, dy*cos-dx*sin
	at, ok := s.place(u, w, nil)
	if !ok {
		return 0
	}
	sum, turn := 0.0, rad(s.TurnDeg)
	for k := range terms {
		var more series
		for i := range terms {
			more[i] = s.root.At(i, k)
		}
		// This picture shows where its sides lie: whatever the section's odd terms are, it is moved so that they stay there.
		r, _ := more.value(turn - math.Pi/2)
		l, _ := more.value(turn + math.Pi/2)
		sin, cos := math.Sincos(turn - math.Pi/2)
		more[1], more[2] = more[1]-(r-l)/2*cos, more[2]-(r-l)/2*sin
		if p, ok := s.place(u, w, &more); ok {
			sum += (p.NormalZ - at.NormalZ) * (p.NormalZ - at.NormalZ)
		}
	}
	return math.Sqrt(sum)
}

// Stretch is by how much a length along a direction in the picture, degrees
// counter-clockwise from its x axis, is shortened there: the surface's length is the picture's over it, at most 1.
func (p Place) Stretch(angleDeg float64) float64 {
	sin, cos := math.Sincos(rad(angleDeg))
	// Along the picture's direction (cos, -sin) the surface goes back by the normal's share of it.
	back := (p.NormalX*cos - p.NormalY*sin) / max(p.NormalZ, 1e-3)
	return 1 / math.Sqrt(1+back*back)
}

// How far a holder reaches from the axis, and down from where it is mirrored (common practice, no source).
const (
	holderMM     = 2.0
	holderLongMM = 25.0
)

// mirrorsHolder says whether a glossy surface at a place, right mm right of the axis, mirrors the holder: the
// line of sight goes on from it downwards and meets the holder below the shell.
func (s Seen) mirrorsHolder(p Place, right float64) bool {
	rx, ry, rz := 2*p.NormalZ*p.NormalX, 2*p.NormalZ*p.NormalY, 2*p.NormalZ*p.NormalZ-1
	flat := math.Hypot(rx, rz)
	if ry <= 0 || flat < 1e-6 {
		return false
	}
	t := -(right*rx + p.FrontMM*rz) / (flat * flat) // where it passes the axis
	if t <= 0 {
		return false
	}
	past := math.Hypot(right+t*rx, p.FrontMM+t*rz)
	return past <= holderMM && p.BelowMM+t*ry > s.DepthMM() && t*ry < holderLongMM
}

// Region is the closed curve within which a turn's picture shows the shell at slopes up to a limit,
// from below the seam down to where it mirrors its holder: full-resolution pixels, at even angles about a middle, clockwise as seen.
func (s Seen) Region(mostSlopeDeg, fromMM float64) (curve []part.Point, middle part.Point) {
	least := math.Cos(rad(mostSlopeDeg))
	most := s.DepthMM()
	in := func(q part.Point) bool {
		p, ok := s.Place(q.X, q.Y)
		return ok && p.BelowMM >= fromMM && p.NormalZ >= least && p.BelowMM < most
	}
	// The middle: halfway down the stretch of the axis that lies inside.
	axis := s.MiddleX + s.axisMM/s.MMPerPX
	first, last := math.NaN(), math.NaN()
	for y := s.SeamY; y < s.SeamY+float64(len(s.coef))*heightStepMM/s.MMPerPX; y += 2 {
		if p, ok := s.Place(axis, y); ok && p.BelowMM > fromMM && s.mirrorsHolder(p, 0) {
			most = p.BelowMM
			break
		}
		if in(part.Point{X: axis, Y: y}) {
			if first != first {
				first = y
			}
			last = y
		}
	}
	if first != first {
		return nil, middle
	}
	middle = part.Point{X: axis, Y: (first + last) / 2}
	const n = 360
	for k := range n {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / n)
		lo, hi := 0.0, 4*s.HalfPX
		for hi-lo > 0.25 {
			if m := (lo + hi) / 2; in(part.Point{X: middle.X + m*cos, Y: middle.Y + m*sin}) {
				lo = m
			} else {
				hi = m
			}
		}
		curve = append(curve, part.Point{X: middle.X + lo*cos, Y: middle.Y + lo*sin})
	}
	return curve, middle
}

// DepthMM is how far below the seam the shape reaches.
func (s *Shape) DepthMM() float64 { return float64(len(s.coef)-1) * heightStepMM }

// front is the point of a cross-section that lies in the picture's middle at a turn: its distance from the axis, and
// the direction of its normal, radians to the right of the line of sight at that turn.
func (s *Shape) front(turnDeg, below float64) (radius, right float64) {
	c := s.at(below)
	right, ok := c.normalAt(rad(turnDeg), 0)
	if !ok {
		return 0, 0
	}
	_, z := c.contour(rad(turnDeg), right)
	return z, right
}

// RadiusMM is the shell's distance from its axis at a place.
func (s *Shape) RadiusMM(turnDeg, below float64) float64 {
	r, _ := s.front(turnDeg, below)
	return r
}

// Pixel is where a turn's picture shows a place of the shell, and what it shows there; ok is false
// where it lies on the far side.
func (s Seen) Pixel(turnDeg, below float64) (q part.Point, place Place, ok bool) {
	r := s.RadiusMM(turnDeg, below)
	sin, cos := math.Sincos(rad(s.TurnDeg - turnDeg)) // to the right of the line of sight
	if r <= 0 || cos <= 0 {
		return q, place, false
	}
	u, w := r*sin+s.axisMM, below+s.Bow*s.MMPerPX*r*cos/s.radius
	rs, rc := math.Sincos(math.Atan(s.Roll))
	q = part.Point{X: s.MiddleX + (u*rc-w*rs)/s.MMPerPX, Y: s.SeamY + (u*rs+w*rc)/s.MMPerPX}
	place, ok = s.Place(q.X, q.Y)
	if ok && math.Abs(math.Remainder(place.TurnDeg-turnDeg, 360)) > 20 {
		ok = false // it lies behind what is seen there
	}
	return q, place, ok
}
