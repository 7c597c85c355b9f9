package surface

import (
	"math"

	"finishbench/internal/part"
)

// Surface is where the lacquered surface lies, in working pixels of the region
// of interest.
type Surface struct {
	X0, Y0, W, H int         // the region, in working pixels of the picture
	Dist         *part.Plane // distance from the outline, working pixels, <= 0 outside
	Outside      *part.Plane // the same as it was before the rim was taken off
	CX, CY, Area float64     // middle and area of what lies inside, pixels of the region; not told of a panel
	All          bool        // a panel: the whole picture is surface
	Outline      []part.Point
}

// Measure tells the middle and the area, after outside has changed.
func (s *Surface) Measure() {
	s.CX, s.CY, s.Area = 0, 0, 0
	for i, d := range s.Outside.V {
		if d > 0 {
			s.CX, s.CY, s.Area = s.CX+float64(i%s.W), s.CY+float64(i/s.W), s.Area+1
		}
	}
	s.CX, s.CY = s.CX/s.Area, s.CY/s.Area
}

// Whole is a panel's: the whole picture.
func Whole(w, h int) *Surface {
	d := part.NewPlane(w, h)
	for y := range h {
		for x := range w {
			d.V[y*w+x] = float32(min(x, y, w-1-x, h-1-y)) + 1
		}
	}
	return &Surface{W: w, H: h, Dist: d, Outside: d, All: true}
}

// distStep is the step, in working pixels, at which the distance from the outline
// is worked out; between, it is bilinear. The outline bends little over that.
const distStep = 4

// Within is the faceplate inside an outline (full-resolution pixels, about
// a middle, at equal angles) in a picture of w x h working pixels of f x f.
func Within(outline []part.Point, middle part.Point, f, w, h int) *Surface {
	s := &Surface{}
	k := 1 / float64(f)
	in := func(p part.Point) part.Point { // working pixels
		return part.Point{X: (p.X+0.5)*k - 0.5, Y: (p.Y+0.5)*k - 0.5}
	}
	lo, hi := part.Point{X: math.Inf(1), Y: math.Inf(1)}, part.Point{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, p := range outline {
		q := in(p)
		s.Outline = append(s.Outline, q)
		lo, hi = part.Point{X: min(lo.X, q.X), Y: min(lo.Y, q.Y)}, part.Point{X: max(hi.X, q.X), Y: max(hi.Y, q.Y)}
	}
	// Whole steps, with one around.
	s.X0, s.Y0 = max(0, (int(lo.X)/distStep-1)*distStep), max(0, (int(lo.Y)/distStep-1)*distStep)
	s.W = min(w/distStep*distStep, (int(hi.X)/distStep+2)*distStep) - s.X0
	s.H = min(h/distStep*distStep, (int(hi.Y)/distStep+2)*distStep) - s.Y0
	nw, nh := s.W/distStep+1, s.H/distStep+1
	coarse := part.NewPlane(nw, nh)
	m := in(middle)
	for y := range nh {
		for x := range nw {
			coarse.V[y*nw+x] = float32(distanceInside(s.Outline, m, part.Point{X: float64(s.X0 + x*distStep),
				Y: float64(s.Y0 + y*distStep)}))
		}
	}
	s.Dist, s.Outside = part.NewPlane(s.W, s.H), part.NewPlane(s.W, s.H)
	for y := range s.H {
		j, v := y/distStep, float32(y%distStep)/distStep
		a, b := coarse.V[j*nw:], coarse.V[(j+1)*nw:]
		row := s.Dist.V[y*s.W : (y+1)*s.W]
		for x := range row {
			i, u := x/distStep, float32(x%distStep)/distStep
			row[x] = (a[i]*(1-u)+a[i+1]*u)*(1-v) + (b[i]*(1-u)+b[i+1]*u)*v
		}
	}
	copy(s.Outside.V, s.Dist.V)
	s.Measure()
	return s
}

// distanceInside is a point's distance from a closed curve of points at about
// equal angles from a middle; negative outside. It walks to the nearest point from
// the one in the same direction: far inside it may stop at another, which is then
// nearly as far.
func distanceInside(curve []part.Point, middle, p part.Point) float64 {
	n := len(curve)
	first := curve[0]
	turn := math.Atan2(p.Y-middle.Y, p.X-middle.X) - math.Atan2(first.Y-middle.Y, first.X-middle.X)
	at := int(math.Round(turn/(2*math.Pi)*float64(n))+float64(2*n)) % n
	square := func(k int) float64 {
		q := curve[(k+n)%n]
		return (q.X-p.X)*(q.X-p.X) + (q.Y-p.Y)*(q.Y-p.Y)
	}
	best := square(at)
	for _, step := range [2]int{1, -1} {
		for range n / 4 {
			d := square(at + step)
			if d >= best {
				break
			}
			at, best = (at+step+n)%n, d
		}
	}
	least, side := math.Inf(1), 1.0
	for _, k := range [2]int{at - 1, at} {
		a, b := curve[(k+n)%n], curve[(k+1+n)%n]
		dx, dy := b.X-a.X, b.Y-a.Y
		t := math.Max(0, math.Min(1, ((p.X-a.X)*dx+(p.Y-a.Y)*dy)/(dx*dx+dy*dy)))
		if d := math.Hypot(p.X-a.X-t*dx, p.Y-a.Y-t*dy); d < least {
			// clockwise as seen, y down: inside is on the right hand
			least, side = d, math.Copysign(1, dx*(p.Y-a.Y)-dy*(p.X-a.X))
		}
	}
	return side * least
}
