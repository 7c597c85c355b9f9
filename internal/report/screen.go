package report

import (
	"fmt"
	"image"
	"math"
	"slices"

	"finishbench/internal/part"
)

// How a screen picture is cut: what is free around the unit, for labels, and how
// wide it is at least over its height.
const (
	screenFree  = 0.14 // of the unit's longer side
	screenShape = 1.2
)

// screenLetters is how much larger than on a picture that fills the screen the
// letters are: this one fills less than half of it.
const screenLetters = 2.2

// MakeScreenPicture is [MakePagePicture] for a screen that is read from a metre
// away, in any language: cut to the unit, with large numbers and no words.
// important is the number of the finding that the picture is about, drawn
// heaviest; 0 for none.
func MakeScreenPicture(im *part.Image, ov Overlay, r *part.Result, important, width int) (PagePicture, error) {
	fail := func(err error) (PagePicture, error) {
		return PagePicture{}, fmt.Errorf("report: picture %s for the screen: %w", ov.File, err)
	}
	if err := im.Validate(); err != nil {
		return fail(err)
	}
	if width < 1 {
		return fail(fmt.Errorf("width %d", width))
	}
	x, y, w, h := screenCut(im.W, im.H, ov, r)
	src := cut(im, image.Rect(x, y, x+w, y+h))
	ov, r = movedOverlay(ov, x, y), movedResult(r, ov.File, x, y)
	p, err := drawnPicture(src, true, ov, r, width, drawing{letters: screenLetters, wordless: true, important: important})
	if err != nil {
		return fail(err)
	}
	return p, nil
}

// screenCut is the part of a picture to be shown: around what was followed and
// found in it, else all of it.
func screenCut(w, h int, ov Overlay, r *part.Result) (x, y, cw, ch int) {
	lo, hi := part.Point{X: math.Inf(1), Y: math.Inf(1)}, part.Point{X: math.Inf(-1), Y: math.Inf(-1)}
	see := func(p ...part.Point) {
		for _, q := range p {
			if finite(q) {
				lo, hi = part.Point{X: min(lo.X, q.X), Y: min(lo.Y, q.Y)}, part.Point{X: max(hi.X, q.X), Y: max(hi.Y, q.Y)}
			}
		}
	}
	see(ov.FaceOutline...)
	see(ov.SeamLine...)
	for _, l := range ov.Limbs {
		see(l...)
	}
	for i := range r.Findings {
		if b, ok := boxIn(&r.Findings[i], ov.File); ok {
			see(part.Point{X: b[0], Y: b[1]}, part.Point{X: b[0] + b[2], Y: b[1] + b[3]})
		}
	}
	if !(hi.X > lo.X && hi.Y > lo.Y) || len(ov.FaceOutline)+len(ov.SeamLine) == 0 {
		return 0, 0, w, h // nothing says where the unit is
	}
	free := screenFree * max(hi.X-lo.X, hi.Y-lo.Y)
	bw, bh := hi.X-lo.X+2*free, hi.Y-lo.Y+2*free
	bw, bh = max(bw, bh*screenShape), max(bh, bw/(screenShape*1.35))
	mx, my := (lo.X+hi.X)/2, (lo.Y+hi.Y)/2
	x, cw = span(mx, bw, w)
	y, ch = span(my, bh, h)
	return x, y, cw, ch
}

// span is a length around a middle, moved and shortened to lie within 0 to most.
func span(middle, length float64, most int) (from, n int) {
	n = min(most, max(1, int(math.Ceil(length))))
	from = min(max(0, int(middle-length/2)), most-n)
	return from, n
}

func moved(p []part.Point, x, y int) []part.Point {
	out := slices.Clone(p)
	for i := range out {
		out[i].X -= float64(x)
		out[i].Y -= float64(y)
	}
	return out
}

func movedOverlay(ov Overlay, x, y int) Overlay {
	out := Overlay{File: ov.File, Lang: ov.Lang, SeamLine: moved(ov.SeamLine, x, y), FaceOutline: moved(ov.FaceOutline, x, y),
		Unseen: ov.Unseen.moved(x, y)}
	for _, l := range ov.Limbs {
		out.Limbs = append(out.Limbs, moved(l, x, y))
	}
	return out
}

// movedResult is a copy of what a result says of one picture, in the pixels of
// its cut.
func movedResult(r *part.Result, file string, x, y int) *part.Result {
	out := *r
	out.Findings, out.Seam.Stations = nil, nil
	for i := range r.Findings {
		b, ok := boxIn(&r.Findings[i], file)
		if !ok {
			continue
		}
		f := r.Findings[i]
		f.Image, f.AlsoIn = file, nil
		f.Box = part.Box{b[0] - float64(x), b[1] - float64(y), b[2], b[3]}
		out.Findings = append(out.Findings, f)
	}
	for _, s := range r.Seam.Stations {
		if s.Image != file {
			continue
		}
		if s.XPX != nil && s.YPX != nil {
			px, py := *s.XPX-float64(x), *s.YPX-float64(y)
			s.XPX, s.YPX = &px, &py
		}
		out.Seam.Stations = append(out.Seam.Stations, s)
	}
	return &out
}
