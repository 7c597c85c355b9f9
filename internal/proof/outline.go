package proof

import (
	"math"

	"finishbench/internal/capture/outline"
	"finishbench/internal/part"
)

// Detail shows at the same places in two pictures of one pose, whatever the light: the correlation of how steep
// the light is was 0.94 and more for two lights of 18 ray-traced units on a plain ground, and at most 0.90 for
// pictures of two units; on cloth, and with lamps mirrored, 0.55 and more. Common practice, no source.
const (
	DetailSame = 0.93
	detailNone = 0.4 // so little is seen in no two lights of one unit
	detailHalf = 2.0 // levels a sample at which steepness counts half
	detailMove = 3   // samples by which two pictures of a pose may lie apart
)

// Detail is how far two pictures of one pose show detail at the same places, -1..1. From [DetailSame] on they show one
// unit. Where they do not, their outlines say more.
func Detail(a, b *Sight) float64 {
	if a == nil || b == nil || a.fine.W != b.fine.W || a.fine.H != b.fine.H {
		return 1 // nothing to be said
	}
	p, q := steepness(a.fine), steepness(b.fine)
	most := correlation(p, q, 0, 0)
	for dy := -detailMove; dy <= detailMove && most < DetailSame; dy++ {
		for dx := -detailMove; dx <= detailMove; dx++ {
			most = max(most, correlation(p, q, dx, dy))
		}
	}
	return most
}

func steepness(p *part.Plane) *part.Plane {
	o := part.NewPlane(p.W, p.H)
	for y := 1; y < p.H-1; y++ {
		for x := 1; x < p.W-1; x++ {
			i := y*p.W + x
			g := math.Hypot(float64(p.V[i+1]-p.V[i-1]), float64(p.V[i+p.W]-p.V[i-p.W])) / 2
			o.V[i] = float32(g / (g + detailHalf))
		}
	}
	return o
}

// correlation of two planes of one size, the first moved by dx and dy samples, away from the frame's edge.
func correlation(a, b *part.Plane, dx, dy int) float64 {
	const edge = detailMove + 2
	var n, sa, sb, aa, bb, ab float64
	for y := edge; y < a.H-edge; y++ {
		p, q := a.V[(y+dy)*a.W+dx:], b.V[y*b.W:]
		for x := edge; x < a.W-edge; x++ {
			u, v := float64(p[x]), float64(q[x])
			n, sa, sb, aa, bb, ab = n+1, sa+u, sb+v, aa+u*u, bb+v*v, ab+u*v
		}
	}
	return (ab - sa*sb/n) / math.Sqrt(max((aa-sa*sa/n)*(bb-sb*sb/n), 1e-12))
}

// When two outlines are of two units: they differ by more than this share of their width, root mean square of their support
// functions, moved, turned a little and made as large. On 30 ray-traced units two lights' outlines differed by up to 0.005 where both were
// seen well. Common practice, no source.
const (
	outlineSeen  = 0.93 // share of the outline with an edge on it
	outlinePX    = 0.5  // how far the edges lie about it
	outlineApart = 0.007
	outlineFaint = 0.025 // where one of them is not seen well: then two lights' differed by up to 0.02
	outlineTurn  = 6     // degrees
)

// OutlinesApart says that two outlines of faces, in pictures of one pose, are those of two units; detail is [Detail] of these.
func OutlinesApart(a, b *outline.Curve, detail float64) bool {
	if a == nil || b == nil {
		return false
	}
	limit := outlineApart
	if detail > detailNone && (min(a.Seen, b.Seen) < outlineSeen || max(a.UPX, b.UPX) > outlinePX) {
		limit = outlineFaint
	}
	p, q := Plate{a.Points(), 1}, Plate{b.Points(), 1}
	const n = 72
	var own [n]float64
	for k := range own {
		own[k] = p.support(360 / n * float64(k))
	}
	least := math.Inf(1)
	for turn := -outlineTurn; turn <= outlineTurn; turn++ {
		var of [n]float64
		sa, sb := 0.0, 0.0
		for k := range of {
			of[k] = q.support(360/n*float64(k) + float64(turn))
		}
		for k := range of { // both about their own middles, which are first harmonics of a support function
			sa, sb = sa+own[k]/n, sb+of[k]/n
		}
		var c, s, square float64
		for k := range of {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / n)
			d := own[k]/sa - of[k]/sb
			c, s, square = c+2*d*cos/n, s+2*d*sin/n, square+d*d/n
		}
		least = min(least, math.Sqrt(max(0, square-c*c/2-s*s/2))/2)
	}
	return least > limit
}
