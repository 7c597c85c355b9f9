package capture

import (
	"math"

	"finishbench/internal/part"
	"finishbench/internal/robust"
)

// ShareFocus looks at all pictures of one pose together. They were taken by one
// lens at one distance: where one of them is sharp, a soft outline in another is
// the light's doing (a rim shades off under a dome), and being out of focus
// becomes a warning there, unless details that show in both are wider in it.
// Other problems stay as they are. Images may be nil where they could not be read.
func ShareFocus(reports []*part.PictureReport, images []*part.Image) {
	sharp := -1
	for i, r := range reports {
		if r.State == part.PictureOK && r.SharpnessPX != nil && !has(r, OutOfFocus) && images[i] != nil {
			sharp = i
		}
	}
	if sharp < 0 {
		return
	}
	for i, r := range reports {
		if has(r, OutOfFocus) && images[i] != nil && widening(images[i], images[sharp]) < blurredBy {
			trust(r)
		}
	}
}

// trust turns being out of focus into a warning.
func trust(r *part.PictureReport) {
	fatal := 0
	for i := range r.Problems {
		p := &r.Problems[i]
		if p.Name == OutOfFocus && !p.Warn {
			p.Warn = true
			p.Remedy += "; another picture of the pose is sharp, so this one is used all the same"
		}
		if !p.Warn {
			fatal++
		}
	}
	if fatal == 0 {
		r.State = part.PictureOK
	}
}

// How details are compared: blurredBy is how many times wider they must be to
// count as blurred; a detail spans leastSpan of full scale in both pictures, and
// there are at least leastDetails (common practice, no source).
const (
	blurredBy    = 1.8
	leastSpan    = 0.08
	leastAlike   = 0.8 // correlation of the two pictures around it: no lamp's image
	leastDetails = 4
)

// widening is how many times wider details are in a than in b, the median over
// the sharpest of b that show in both; 0 where too few do. The width of a detail
// is its span of levels over its steepest slope.
func widening(a, b *part.Image) float64 {
	if a.W != b.W || a.H != b.H {
		return 0
	}
	const near = 5
	var ratios []float64
	for y := b.H / 6; y+cell < b.H*5/6; y += cell {
		for x := b.W / 6; x+cell < b.W*5/6; x += cell {
			px, py := steepest(b, x, y)
			spanB, slopeB := detail(b, px, py, near)
			spanA, slopeA := detail(a, px, py, near)
			if spanA < leastSpan || spanB < leastSpan || slopeA <= 0 || spanB/slopeB > 4 || alike(a, b, px, py, near) < leastAlike {
				continue
			}
			ratios = append(ratios, (spanA/slopeA)/(spanB/slopeB))
		}
	}
	if len(ratios) < leastDetails {
		return 0
	}
	return robust.Quantile(ratios, 0.5)
}

// alike is the correlation of two pictures within near pixels of a place, -1..1.
func alike(a, b *part.Image, x, y, near int) float64 {
	var n, sa, sb, aa, ab, bb float64
	for j := y - near; j <= y+near; j++ {
		for i := x - near; i <= x+near; i++ {
			u, v := levelAt(a, i, j), levelAt(b, i, j)
			n++
			sa, sb = sa+u, sb+v
			aa, ab, bb = aa+u*u, ab+u*v, bb+v*v
		}
	}
	return (ab - sa*sb/n) / math.Sqrt(math.Max((aa-sa*sa/n)*(bb-sb*sb/n), 1e-12))
}

// levelAt is the green or grey sample at a pixel, 0..1.
func levelAt(im *part.Image, x, y int) float64 {
	i := (y*im.W+x)*im.C + im.C/2
	if im.Pix16 != nil {
		return float64(im.Pix16[i]) / 65535
	}
	return float64(im.Pix8[i]) / 255
}

// slopeAt is the length of the gradient, per pixel.
func slopeAt(im *part.Image, x, y int) float64 {
	return math.Hypot(levelAt(im, x+1, y)-levelAt(im, x-1, y), levelAt(im, x, y+1)-levelAt(im, x, y-1)) / 2
}

// steepest is the place of the steepest slope in the cell at x, y.
func steepest(im *part.Image, x, y int) (px, py int) {
	best := -1.0
	for j := y; j < y+cell; j += 2 {
		for i := x; i < x+cell; i += 2 {
			if g := slopeAt(im, i, j); g > best {
				best, px, py = g, i, j
			}
		}
	}
	return px, py
}

// detail is the span of levels and the steepest slope within near pixels.
func detail(im *part.Image, x, y, near int) (span, slope float64) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for j := y - near; j <= y+near; j++ {
		for i := x - near; i <= x+near; i++ {
			v := levelAt(im, i, j)
			lo, hi = min(lo, v), max(hi, v)
			slope = max(slope, slopeAt(im, i, j))
		}
	}
	return hi - lo, slope
}

// has says whether a report names a problem.
func has(r *part.PictureReport, name string) bool {
	for _, p := range r.Problems {
		if p.Name == name {
			return true
		}
	}
	return false
}
