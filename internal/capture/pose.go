package capture

import (
	"math"
	"slices"

	"finishbench/internal/capture/outline"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// SharePose looks at all pictures of one pose together. One of them that shows the
// unit well says where it is in the others: a dark faceplate on dark cloth is seen
// under one light and not under the other. And what looks out of focus in one may be
// seen to be sharp in another. Images may be nil where they could not be read. A shell's
// two sides come back where they had to be sought, to be sought once.
func SharePose(reports []*part.PictureReport, images []*part.Image, shots []part.Shot, lim part.FitLimits) *outline.Flanks {
	flanks := shareOutline(reports, images, shots, lim)
	shareFocus(reports, images)
	return flanks
}

// ofOutline are the problems that a wrong outline makes.
var ofOutline = []string{NoUnit, SeveralUnit, CutOff, TooSmall, TooDark, OutOfFocus, Moved, TooBright}

// shareOutline checks those face and shell pictures again that were refused for something
// that hangs on where the unit is, by the outline that all pictures of the pose show together. It returns a
// shell's sides, nil where they were not found.
func shareOutline(reports []*part.PictureReport, images []*part.Image, shots []part.Shot, lim part.FitLimits) *outline.Flanks {
	doubt, well := false, false
	var seen []*part.Image
	for i, r := range reports {
		if images[i] == nil {
			continue
		}
		if images[i].Validate() != nil || len(seen) > 0 && (images[i].W != seen[0].W || images[i].H != seen[0].H) {
			return nil // the search refuses them together
		}
		seen = append(seen, images[i])
		doubt = doubt || r.State != part.PictureOK && shots[i].View != part.Edge
		well = well || r.State == part.PictureOK
	}
	if !doubt || len(seen) < 2 {
		return nil
	}
	points, flanks := outlineOf(seen, shots[0].View)
	if points == nil {
		return flanks
	}
	for i, r := range reports {
		if !well && !has(r, NoUnit) && shots[i].View != part.Shell { // what all show is believed
			continue
		}
		if images[i] == nil || r.State == part.PictureOK || has(r, SeveralUnit) && secondUnitIn(images[i], points) ||
			!slices.ContainsFunc(ofOutline, func(name string) bool { return has(r, name) }) {
			continue
		}
		again := newReport(shots[i])
		again.WidthPX, again.HeightPX = r.WidthPX, r.HeightPX
		k := checker{r: &again, lim: lim, shot: shots[i]}
		k.size(images[i])
		k.unit(images[i], outline.Within(images[i], points))
		*r = again
	}
	return flanks
}

// outlineOf is the unit's outline as all pictures of a pose show it together, and a shell's sides; nil where they show none.
func outlineOf(images []*part.Image, view part.View) ([]part.Point, *outline.Flanks) {
	if view == part.Shell {
		f, err := outline.FindFlanks(images)
		if err != nil {
			return nil, nil
		}
		points := f.Points()
		b, margin := part.BoundsOf(points), float64(max(images[0].W, images[0].H))/100
		if b[0] < margin || b[1] < margin || b[0]+b[2] > float64(images[0].W)-margin || b[1]+b[3] > float64(images[0].H)-margin {
			return nil, f // it runs out of the frame
		}
		return points, f
	}
	c, err := outline.Face(images)
	if err != nil {
		return nil, nil
	}
	return c.Points(), nil
}

// shareFocus: the pictures were taken by one lens at one distance. Where one of
// them is sharp, a soft outline in another is the light's doing (a rim shades off under a dome), and being
// out of focus becomes a warning there, unless details that show in both are wider
// in it. Other problems stay as they are.
func shareFocus(reports []*part.PictureReport, images []*part.Image) {
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
			warnOnly(r, OutOfFocus, "fit.another_is_sharp")
		}
	}
}

// warnOnly turns a problem into a warning and says why, by the key of a sentence.
func warnOnly(r *part.PictureReport, name, why string) {
	fatal := 0
	for i := range r.Problems {
		p := &r.Problems[i]
		if p.Name == name && !p.Warn {
			p.Warn = true
			remedy := part.Say(why).With("remedy", p.Phrase())
			p.Remedy, p.RemedyPhrase = lang.English().Say(&remedy), &remedy
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

// What a measured blur is uncertain by, at least, as a share, and what one of a
// lens may be. Common practice, no source.
const blurShare = 0.15

// Blur is what lens and focus blur by in the pictures of one pose, as a standard
// deviation in pixels, with its standard uncertainty: that of the sharpest outline
// or detail, since a rim's shading widens an edge and nothing narrows it but
// sharpening. The uncertainty is a share of it, or half of what the pictures
// differ by where that is more. ok is false where none was measured.
func Blur(reports []*part.PictureReport) (sigmaPX, uPX float64, ok bool) {
	least, most := math.Inf(1), 0.0
	for _, r := range reports {
		if r.State == part.PictureOK && r.SharpnessPX != nil && *r.SharpnessPX > 0 {
			least, most = min(least, *r.SharpnessPX), max(most, *r.SharpnessPX)
		}
	}
	if most == 0 {
		return 0, 0, false
	}
	return least / risePerSigma, max(blurShare*least, min(most-least, least)/2) / risePerSigma, true
}
