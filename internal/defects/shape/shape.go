package shape

import (
	"math"
)

// Connected splits 0..n-1 into the sets that a relation connects, each in order.
func Connected(n int, related func(i, j int) bool) [][]int {
	set := make([]int, n)
	for i := range set {
		set[i] = i
	}
	for i := range n {
		for j := i + 1; j < n; j++ {
			if set[i] != set[j] && related(i, j) {
				from, to := max(set[i], set[j]), min(set[i], set[j])
				for k := range set {
					if set[k] == from {
						set[k] = to
					}
				}
			}
		}
	}
	var out [][]int
	at := map[int]int{}
	for i, s := range set {
		if _, ok := at[s]; !ok {
			at[s] = len(out)
			out = append(out, nil)
		}
		out[at[s]] = append(out[at[s]], i)
	}
	return out
}

// Shape is the geometry of a set of pixels. Lengths are in the plane's pixels, angles in degrees counter-clockwise from the picture's x
// axis, 0..180.
type Shape struct {
	ox, oy         int     // of the plane that the pixels are counted in
	Area           float64 // number of pixels
	CX, CY         float64
	X0, Y0, X1, Y1 int     // bounds, inclusive
	Long, Across   float64 // extent along and across the main axis
	AngleDeg       float64 // of the main axis
	Outline        float64 // half the length of the outline: a line's own length
	Thick          float64 // area over outline: a line's thickness
	ux, uy         float64 // main axis, picture coordinates
	Bow            float64 // how far the middle lies off the chord of the ends
}

// Of measures pixels of a plane w wide whose first pixel lies at ox, oy.
// The main axis is that of the second moments.
func Of(pixels []int, w, ox, oy int) Shape {
	s := Shape{Area: float64(len(pixels)), ox: ox, oy: oy, X0: math.MaxInt32, Y0: math.MaxInt32, X1: -1, Y1: -1}
	set := make(map[int]bool, len(pixels))
	for _, i := range pixels {
		set[i] = true
		x, y := i%w+ox, i/w+oy
		s.CX += float64(x) / s.Area
		s.CY += float64(y) / s.Area
		s.X0, s.Y0, s.X1, s.Y1 = min(s.X0, x), min(s.Y0, y), max(s.X1, x), max(s.Y1, y)
	}
	var xx, xy, yy float64
	edges := 0
	for _, i := range pixels {
		dx, dy := float64(i%w+s.ox)-s.CX, float64(i/w+s.oy)-s.CY
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
	s.SetAxis(a, pixels, w)
	// pixel edges overstate a slanted outline by up to 4/pi
	s.Outline = math.Max(s.Long, float64(edges)/2*math.Pi/4)
	s.Thick = s.Area / s.Outline
	return s
}

// SetAxis sets the main axis and what is measured along it.
func (s *Shape) SetAxis(a float64, pixels []int, w int) {
	s.ux, s.uy = math.Cos(a), math.Sin(a)
	s.AngleDeg = math.Mod(-a*180/math.Pi+360, 180)
	lo, hi, lo2, hi2 := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, i := range pixels {
		u, v := s.Along(i, w)
		lo, hi = math.Min(lo, u), math.Max(hi, u)
		lo2, hi2 = math.Min(lo2, v), math.Max(hi2, v)
	}
	s.Long, s.Across = hi-lo+1, hi2-lo2+1
	var mid, n float64
	var end, k [2]float64
	for _, i := range pixels {
		u, v := s.Along(i, w)
		switch t := (u - lo) / s.Long; {
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
		s.Bow = math.Abs(mid/n-(end[0]/k[0]+end[1]/k[1])/2) / bowSeen
	}
}

// bowSeen is the share of a shallow arc's sagitta h that remains when its ends
// are averaged over 15 % and its middle over 30 % of the length: with height
// h (1 - 4 t^2), -1/2 < t < 1/2, that is 0.97 - 0.27.
const bowSeen = 0.70

// Along returns a pixel's place along and across the main axis, from the middle.
func (s *Shape) Along(i, w int) (u, v float64) {
	dx, dy := float64(i%w+s.ox)-s.CX, float64(i/w+s.oy)-s.CY
	return dx*s.ux + dy*s.uy, -dx*s.uy + dy*s.ux
}

// AreaDiameter is the diameter of the disc of a shape's area.
func (s *Shape) AreaDiameter() float64 { return 2 * math.Sqrt(s.Area/math.Pi) }

// Fill is the share of the box along the main axis that the pixels cover.
func (s *Shape) Fill() float64 { return s.Area / (s.Long * s.Across) }

// Cover widens a shape's bounds to another's.
func (s *Shape) Cover(o *Shape) {
	s.X0, s.Y0, s.X1, s.Y1 = min(s.X0, o.X0), min(s.Y0, o.Y0), max(s.X1, o.X1), max(s.Y1, o.Y1)
}

// GapTo is the distance between two shapes' bounds, 0 where they meet.
func (s *Shape) GapTo(o *Shape) float64 {
	dx := math.Max(0, math.Max(float64(s.X0-o.X1), float64(o.X0-s.X1)))
	dy := math.Max(0, math.Max(float64(s.Y0-o.Y1), float64(o.Y0-s.Y1)))
	return math.Hypot(dx, dy)
}

// AngleBetween is the angle between two directions without sense, 0..90 degrees.
func AngleBetween(a, b float64) float64 {
	d := math.Mod(math.Abs(a-b), 180)
	return math.Min(d, 180-d)
}
