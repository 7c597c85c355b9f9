package grade

import (
	"math"

	"finishbench/internal/part"
)

// What findings along a mirrored lamp's edge look like: many of a pose's findings that show in one
// light alone lie on one line or gentle arc. Where ten lie by chance on a face 15 mm wide, eight of
// them do so in one of a thousand units (worked by hand: 45 choices of eight, 56 of three that give
// the arc, and 0.04 for each of the other five to lie within its 0.6 mm). All common practice, no source.
const (
	lampLeast    = 8    // so many at least
	lampShare    = 0.75 // and this share of all that show in that light alone
	lampOffMM    = 0.3  // so far from the line or arc at most
	lampLongMM   = 3.0  // which is so long at least, from the first to the last
	lampRadiusMM = 8.0  // a tighter arc is no lamp
	lampMost     = 30   // of more findings the gravest alone are tried as the arc's own points
	lampMirrored = 1e-9 // a pose that mirrors no lamp has none
)

// alongLamps says of each finding whether it is probably a mirrored lamp's reflection and not
// on the unit: the result tells so only where the pose was seen in two lights.
func alongLamps(r *part.Result, all []weighed) []bool {
	out := make([]bool, len(all))
	views := map[string]*part.PictureReport{}
	for i := range r.Pictures {
		views[r.Pictures[i].File] = &r.Pictures[i]
	}
	byPicture := map[string][]int{}
	var order []string
	for i, w := range all {
		p := views[w.Image]
		if !w.counts() || w.Kind.AtSeam() || p == nil || w.Box == (part.Box{}) || !mirrors(r, p.Pose()) {
			continue
		}
		if byPicture[w.Image] == nil {
			order = append(order, w.Image)
		}
		oneLight := true
		for _, s := range w.AlsoIn {
			oneLight = oneLight && (views[s.Image] == nil || views[s.Image].Light == p.Light)
		}
		if oneLight {
			byPicture[w.Image] = append(byPicture[w.Image], i)
		}
	}
	for _, file := range order {
		of := byPicture[file]
		mm := r.ScaleOf(file)
		if len(of) < lampLeast || !(mm > 0) {
			continue
		}
		at := make([]part.Point, len(of))
		for k, i := range of {
			c := all[i].Box.Centre()
			at[k] = part.Point{X: c.X * mm, Y: c.Y * mm}
		}
		best := bestArc(at)
		if len(best) >= lampLeast && float64(len(best)) >= lampShare*float64(len(of)) {
			for _, k := range best {
				out[of[k]] = true
			}
		}
	}
	return out
}

// mirrors says whether a pose was seen in two lights or more, and a lamp was seen mirrored in it.
func mirrors(r *part.Result, pose part.Pose) bool {
	lights := map[part.Light]bool{}
	for i := range r.Pictures {
		if p := &r.Pictures[i]; p.Pose() == pose && p.State == part.PictureOK && p.LookedAt() {
			lights[p.Light] = true
		}
	}
	if len(lights) < 2 {
		return false
	}
	for _, s := range r.Surfaces {
		if s.Pose() == pose && s.Why[part.Mirrored] > lampMirrored {
			return true
		}
	}
	return false
}

// bestArc are the most points, mm, on one line or arc through three of them.
func bestArc(at []part.Point) []int {
	var best []int
	n := min(len(at), lampMost)
	for a := 0; a < n; a++ {
		for b := a + 1; b < n; b++ {
			for c := b + 1; c < n; c++ {
				off := arcThrough(at[a], at[b], at[c])
				if off == nil {
					continue
				}
				var on []int
				x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
				for i, p := range at {
					if off(p) <= lampOffMM {
						on = append(on, i)
						x0, y0, x1, y1 = min(x0, p.X), min(y0, p.Y), max(x1, p.X), max(y1, p.Y)
					}
				}
				if len(on) > len(best) && math.Hypot(x1-x0, y1-y0) >= lampLongMM {
					best = on
				}
			}
		}
	}
	return best
}

// arcThrough is how far a point is from the circle through three others, mm: of a line where they
// lie on one; nil where the circle is too tight for a lamp.
func arcThrough(p, q, s part.Point) func(part.Point) float64 {
	ax, ay, bx, by := q.X-p.X, q.Y-p.Y, s.X-p.X, s.Y-p.Y
	d := 2 * (ax*by - ay*bx)
	far := math.Hypot(bx, by)
	if m := math.Hypot(ax, ay); m > far {
		far, bx, by = m, ax, ay
	}
	if far == 0 {
		return nil
	}
	if math.Abs(d) < 1e-3*far*far { // as good as a line: it bends by less than far/2000
		return func(o part.Point) float64 { return math.Abs((o.X-p.X)*by-(o.Y-p.Y)*bx) / far }
	}
	bx, by = s.X-p.X, s.Y-p.Y
	a2, b2 := ax*ax+ay*ay, bx*bx+by*by
	ux, uy := (by*a2-ay*b2)/d, (ax*b2-bx*a2)/d
	radius := math.Hypot(ux, uy)
	if radius < lampRadiusMM {
		return nil
	}
	return func(o part.Point) float64 { return math.Abs(math.Hypot(o.X-p.X-ux, o.Y-p.Y-uy) - radius) }
}
