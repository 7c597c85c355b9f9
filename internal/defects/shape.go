package defects

import "math"

// shape is the geometry of a set of pixels. Lengths are in the plane's pixels, angles in degrees counter-clockwise from the picture's x
// axis, 0..180.
type shape struct {
	ox, oy         int     // of the plane that the pixels are counted in
	area           float64 // number of pixels
	cx, cy         float64
	x0, y0, x1, y1 int     // bounds, inclusive
	long, across   float64 // extent along and across the main axis
	angleDeg       float64 // of the main axis
	outline        float64 // half the length of the outline: a line's own length
	thick          float64 // area over outline: a line's thickness
	ux, uy         float64 // main axis, picture coordinates
	bow            float64 // how far the middle lies off the chord of the ends
}

// shapeOf measures pixels of a plane w wide whose first pixel lies at ox, oy.
// The main axis is that of the second moments.
func shapeOf(pixels []int, w, ox, oy int) shape {
	s := shape{area: float64(len(pixels)), ox: ox, oy: oy, x0: math.MaxInt32, y0: math.MaxInt32, x1: -1, y1: -1}
	set := make(map[int]bool, len(pixels))
	for _, i := range pixels {
		set[i] = true
		x, y := i%w+ox, i/w+oy
		s.cx += float64(x) / s.area
		s.cy += float64(y) / s.area
		s.x0, s.y0, s.x1, s.y1 = min(s.x0, x), min(s.y0, y), max(s.x1, x), max(s.y1, y)
	}
	var xx, xy, yy float64
	edges := 0
	for _, i := range pixels {
		dx, dy := float64(i%w+s.ox)-s.cx, float64(i/w+s.oy)-s.cy
		xx += dx * dx
		xy += dx * dy
		yy += dy * dy
		for _, k := range [4]int{i - 1, i + 1, i - w, i + w} {
			if !set[k] {
				edges++
			}
		}
	}
	a := 0.5 * math.Atan2(2*xy, xx-yy)
	s.setAxis(a, pixels, w)
	// pixel edges overstate a slanted outline by up to 4/pi
	s.outline = math.Max(s.long, float64(edges)/2*math.Pi/4)
	s.thick = s.area / s.outline
	return s
}

// setAxis sets the main axis and what is measured along it.
func (s *shape) setAxis(a float64, pixels []int, w int) {
	s.ux, s.uy = math.Cos(a), math.Sin(a)
	s.angleDeg = math.Mod(-a*180/math.Pi+360, 180)
	lo, hi, lo2, hi2 := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, i := range pixels {
		u, v := s.along(i, w)
		lo, hi = math.Min(lo, u), math.Max(hi, u)
		lo2, hi2 = math.Min(lo2, v), math.Max(hi2, v)
	}
	s.long, s.across = hi-lo+1, hi2-lo2+1
	var mid, n float64
	var end, k [2]float64
	for _, i := range pixels {
		u, v := s.along(i, w)
		switch t := (u - lo) / s.long; {
		case t < 0.15:
			end[0] += v
			k[0]++
		case t > 0.85:
			end[1] += v
			k[1]++
		case t > 0.35 && t < 0.65:
			mid += v
			n++
		}
	}
	if n > 0 && k[0] > 0 && k[1] > 0 {
		s.bow = math.Abs(mid/n-(end[0]/k[0]+end[1]/k[1])/2) / bowSeen
	}
}

// bowSeen is the share of a shallow arc's sagitta h that remains when its ends
// are averaged over 15 % and its middle over 30 % of the length: with height
// h (1 - 4 t^2), -1/2 < t < 1/2, that is 0.97 - 0.27.
const bowSeen = 0.70

// along returns a pixel's place along and across the main axis, from the middle.
func (s *shape) along(i, w int) (u, v float64) {
	dx, dy := float64(i%w+s.ox)-s.cx, float64(i/w+s.oy)-s.cy
	return dx*s.ux + dy*s.uy, -dx*s.uy + dy*s.ux
}

// areaDiameter is the diameter of the disc of a shape's area.
func (s *shape) areaDiameter() float64 { return 2 * math.Sqrt(s.area/math.Pi) }

// fill is the share of the box along the main axis that the pixels cover.
func (s *shape) fill() float64 { return s.area / (s.long * s.across) }

// cover widens a shape's bounds to another's.
func (s *shape) cover(o *shape) {
	s.x0, s.y0, s.x1, s.y1 = min(s.x0, o.x0), min(s.y0, o.y0), max(s.x1, o.x1), max(s.y1, o.y1)
}

// gapTo is the distance between two shapes' bounds, 0 where they meet.
func (s *shape) gapTo(o *shape) float64 {
	dx := math.Max(0, math.Max(float64(s.x0-o.x1), float64(o.x0-s.x1)))
	dy := math.Max(0, math.Max(float64(s.y0-o.y1), float64(o.y0-s.y1)))
	return math.Hypot(dx, dy)
}

// angleBetween is the angle between two directions without sense, 0..90 degrees.
func angleBetween(a, b float64) float64 {
	d := math.Mod(math.Abs(a-b), 180)
	return math.Min(d, 180-d)
}
