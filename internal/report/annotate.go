package report

import (
	"fmt"
	"image"
	"math"
	"slices"

	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report/marks"
	"finishbench/internal/report/palette"
)

// Overlay is what to draw into one picture besides the stations and findings
// that the Result holds. Points are in full-resolution pixels.
type Overlay struct {
	File        string         // the picture's name, as in the Result
	SeamLine    []part.Point   // the seam across the unit
	Limbs       [][]part.Point // the fits to both limbs
	FaceOutline []part.Point   // the faceplate's outline, closed by the drawing
	Unseen      *Unseen        // where nothing was looked for; nil: nowhere, or not told
	Lang        *lang.Lang     // of the words; nil: English
}

// Annotate returns a copy of im, as 8-bit RGB, with a hatching where nothing was
// looked for, the seam line, the fits,
// the stations with their step, and a numbered mark around each finding whose
// Image, or one of AlsoIn, is ov.File. The shape of a mark tells the kind, a
// heavier line and a bright label tell a major or critical finding. Line widths
// and letters follow the picture's size. Nothing is drawn inside the box of a
// finding, except marks of findings that lie within that box. It returns nil
// for an image that is not valid (see [part.Image.Validate]).
func Annotate(im *part.Image, ov Overlay, r *part.Result) *part.Image {
	if im.Validate() != nil {
		return nil
	}
	if r == nil {
		r = &part.Result{}
	}
	return annotate(rgb8(im), ov, r, drawing{scale: 1, letters: 1})
}

// AnnotateInPlace is Annotate without the copy: it draws on im itself where im
// is 8-bit RGB, and on a copy otherwise. Make crops and page pictures first.
func AnnotateInPlace(im *part.Image, ov Overlay, r *part.Result) *part.Image {
	if im.Validate() != nil || im.Pix8 == nil || im.C != 3 || r == nil {
		return Annotate(im, ov, r)
	}
	return annotate(im, ov, r, drawing{scale: 1, letters: 1})
}

// style holds the sizes, in pixels, that follow the picture's size.
type style struct {
	letter float64 // an em of the labels
	half   float64 // half width of a mark's core
	casing float64 // width of the dark line on each side
	clear  float64 // free pixels between box and mark
	least  float64 // smallest semi-axis of a mark
	pad    int     // inside a label
}

// styleOf scales from 1600x1200, where letters of 30 px can be read from a
// metre away on a screen-filling picture.
func styleOf(w, h int) style {
	k := math.Sqrt(float64(w)*float64(h)) / math.Sqrt(1600*1200)
	return style{
		letter: max(30*k, 11), half: max(1.5*k, 0.6), casing: max(1.7*k, 0.8),
		clear: max(6*k, 2.5), least: max(15*k, 5), pad: max(int(6*k), 2),
	}
}

// mark is one finding as it shows in one picture.
type mark struct {
	f     *part.Finding
	box   part.Box
	area  float64
	paths [][]part.Point
	cover part.Box
	half  float64
}

// drawing says how a picture is drawn on.
type drawing struct {
	scale     float64 // the picture's size over full resolution
	letters   float64 // how much larger than usual the letters are
	wordless  bool    // numbers and units only: they read alike in every language
	important int     // number of the finding that the picture is about; 0: none
}

// annotate draws in place.
func annotate(im *part.Image, ov Overlay, r *part.Result, d drawing) *part.Image {
	scale, letters := d.scale, d.letters
	c := &canvas{w: im.W, h: im.H, pix: im.Pix8}
	st := styleOf(im.W, im.H)
	st.letter *= letters
	drawn := marksIn(ov.File, r, st, d, im.W, im.H)
	st.letter = max(st.letter*crowd(len(drawn)), 11)
	x := wordsOf(ov.Lang)
	large, err := x.lettering(st.letter)
	if err != nil {
		return im // the built-in font is part of the program; a test holds it
	}
	small, err := x.lettering(max(letters*styleOf(im.W, im.H).letter*0.72, 10))
	if err != nil {
		return im
	}
	for _, m := range drawn {
		c.keep = append(c.keep, pixels(m.box))
	}
	all := c.keep
	ov.Unseen.hatch(c, styleOf(im.W, im.H), scale)
	drawLines(c, ov, st, scale)

	lay := newLayout(im.W, im.H, drawn)
	x.caption(c, lay, small, st, ov.File, r, d)
	x.drawStepStations(c, lay, large, st, ov.File, r, d)
	words := len(drawn) <= 12 && !d.wordless
	labels := make([]label, len(drawn))
	for i, m := range drawn {
		text := fmt.Sprint(m.f.Number)
		if words {
			text += " " + x.kind(m.f.Kind)
		}
		labels[i] = lay.place(large, st, m, text)
	}
	for i, m := range drawn {
		c.keep = keptBy(all, drawn, i)
		c.cased(m.paths, m.half, st.casing, marks.Colour(m.f.Kind))
		c.cased([][]part.Point{labels[i].leader}, max(st.half*0.6, 0.5), st.casing*0.7, palette.White)
	}
	for i := range drawn {
		// A label that found no free place must still leave small boxes clear.
		c.keep = keptBy(all, drawn, i)
		labels[i].draw(c, large, st)
	}
	return im
}

// crowd is how much smaller the letters are where many marks share a picture.
func crowd(marks int) float64 {
	switch {
	case marks > 30:
		return 0.6
	case marks > 15:
		return 0.8
	}
	return 1
}

// keptBy lists the boxes that mark i and its label leave alone: all but those
// of larger findings within which, at least in part, its own lies.
func keptBy(all []image.Rectangle, marks []mark, i int) []image.Rectangle {
	var out []image.Rectangle
	for j := range marks {
		if j == i || marks[j].area <= marks[i].area || !marks[j].box.Meets(marks[i].box) {
			out = append(out, all[j])
		}
	}
	return out
}

// boxIn returns the finding's box in the picture of that name.
func boxIn(f *part.Finding, file string) (part.Box, bool) {
	if f.Image == file {
		return f.Box, true
	}
	for _, s := range f.AlsoIn {
		if s.Image == file {
			return s.Box, true
		}
	}
	return part.Box{}, false
}

// marksIn makes the marks of a picture's findings, in order of their numbers.
// A box that is no number, or lies wholly outside, gets none.
func marksIn(file string, r *part.Result, st style, d drawing, w, h int) []mark {
	var out []mark
	for i := range r.Findings {
		f := &r.Findings[i]
		b, ok := boxIn(f, file)
		if !ok {
			continue
		}
		b = scaled(b, d.scale)
		if b, ok = within(b, w, h); !ok {
			continue
		}
		m := mark{f: f, box: b, area: b[2] * b[3], half: st.half}
		switch {
		case f.Severity.Rank() >= part.Major.Rank():
			m.half *= 1.8
		case f.Severity.Rank() >= part.Moderate.Rank():
			m.half *= 1.35
		}
		if f.Number == d.important {
			m.half = st.half * 3
		}
		m.paths, m.cover = marks.Of(f.Kind).Around(b, st.clear+m.half+st.casing, st.least)
		m.cover = m.cover.Grow(m.half + st.casing)
		out = append(out, m)
	}
	slices.SortStableFunc(out, func(a, b mark) int { return a.f.Number - b.f.Number })
	return out
}

// scaled maps a box of the full-resolution picture onto one scale times as
// large; pixel centres are whole numbers in both.
func scaled(b part.Box, scale float64) part.Box {
	return part.Box{(b[0]+0.5)*scale - 0.5, (b[1]+0.5)*scale - 0.5, b[2] * scale, b[3] * scale}
}

func scaledPoint(p part.Point, scale float64) part.Point {
	return part.Point{X: (p.X+0.5)*scale - 0.5, Y: (p.Y+0.5)*scale - 0.5}
}

func scaledPath(p []part.Point, scale float64) []part.Point {
	out := make([]part.Point, len(p))
	for i := range p {
		out[i] = scaledPoint(p[i], scale)
	}
	return out
}

// within clips a box to the picture; false where nothing is left of it.
func within(b part.Box, w, h int) (part.Box, bool) {
	x0, y0 := max(b[0], -0.5), max(b[1], -0.5)
	x1, y1 := min(b[0]+b[2], float64(w)-0.5), min(b[1]+b[3], float64(h)-0.5)
	if !(x1 >= x0 && y1 >= y0) { // also where something is NaN
		return part.Box{}, false
	}
	return part.Box{x0, y0, x1 - x0, y1 - y0}, true
}

// drawLines draws what was followed and fitted: dashed, so that what is below
// can still be seen.
func drawLines(c *canvas, ov Overlay, st style, scale float64) {
	half, casing := max(st.half*0.55, 0.5), max(st.casing*0.5, 0.5)
	if len(ov.FaceOutline) > 2 {
		p := scaledPath(ov.FaceOutline, scale)
		c.cased(dashed(append(p, p[0]), 3*st.pad64(), 9*st.pad64()), half, casing, palette.White)
	}
	if len(ov.SeamLine) > 1 {
		c.cased(dashed(scaledPath(ov.SeamLine, scale), 4*st.pad64(), 4*st.pad64()), half, casing, palette.Sky)
	}
	for _, l := range ov.Limbs {
		if len(l) > 1 {
			c.cased(dashed(scaledPath(l, scale), 1.5*st.pad64(), 3*st.pad64()), half*0.8, casing*0.8, palette.Yellow)
		}
	}
}

func (st style) pad64() float64 { return float64(st.pad) }

// caption names the picture in a corner, with a scale bar.
func (x words) caption(c *canvas, lay *layout, l *lettering, st style, file string, r *part.Result, d drawing) {
	text := x.picture(r, file)
	if d.wordless {
		text = ""
	}
	bar, barText := 0, ""
	if mm, px := roundBar(r.ScaleOf(file), d.scale, float64(c.w)*0.12); px > 0 {
		bar, barText = int(px+0.5), mmText(mm)
	}
	if text == "" && bar == 0 {
		return
	}
	w := l.width(text)
	if bar > 0 {
		w += bar + l.width(barText) + 4*st.pad
	}
	if w > c.w {
		return
	}
	h := l.ascent + l.descent + 2*st.pad
	at, ok := lay.corner(w+2*st.pad, h)
	if !ok {
		return
	}
	c.fill(at, palette.Shadow, 0.85)
	base := at.Min.Y + st.pad + l.ascent
	l.write(c, at.Min.X+st.pad, base, text, palette.White)
	if bar > 0 {
		x := at.Min.X + st.pad + l.width(text) + 2*st.pad
		t := max(2, st.pad/2)
		c.fill(image.Rect(x, base-t, x+bar, base), palette.White, 1)
		c.fill(image.Rect(x, base-l.ascent/2-t, x+t, base), palette.White, 1)
		c.fill(image.Rect(x+bar-t, base-l.ascent/2-t, x+bar, base), palette.White, 1)
		l.write(c, x+bar+2*st.pad, base, barText, palette.White)
	}
}

// roundBar returns a length of 1, 2 or 5 times a power of ten millimetres that
// is close to want pixels, and its pixels; 0 pixels where the scale is unknown.
func roundBar(mmPerPX, scale, want float64) (mm, px float64) {
	if !(mmPerPX > 0) || !(scale > 0) || !(want > 0) {
		return 0, 0
	}
	target := want * mmPerPX / scale
	p := math.Pow(10, math.Floor(math.Log10(target)))
	mm = p
	for _, k := range []float64{2, 5, 10} {
		if k*p <= target*1.2 {
			mm = k * p
		}
	}
	return mm, mm / mmPerPX * scale
}

// drawStepStations marks where the seam meets each limb by two arrowheads that
// point at it, and writes the step beside.
func (x words) drawStepStations(c *canvas, lay *layout, l *lettering, st style, file string, r *part.Result, d drawing) {
	for i := range r.Seam.Stations {
		s := &r.Seam.Stations[i]
		if s.Image != file {
			continue
		}
		left := s.Side == part.Left
		text := x.stepStationLabel(s)
		if d.wordless && (s.State != part.Measured || s.StepUM == nil) {
			text = "?"
		}
		y := 0.45 * float64(c.h)
		x := 0.0
		if !left {
			x = float64(c.w)
		}
		seen := s.XPX != nil && s.YPX != nil
		if seen {
			p := scaledPoint(part.Point{X: *s.XPX, Y: *s.YPX}, d.scale)
			x, y = p.X, p.Y
			if !finite(p) {
				continue
			}
			if !inAny(c.keep, int(p.X), int(p.Y)) { // else a finding's mark points there
				arrows(c, p, st)
			}
		}
		w, h := l.width(text)+2*st.pad, l.ascent+l.descent+2*st.pad
		at := lay.stepStation(x, y, w, h, left, st)
		if seen {
			end := nearest(at, part.Point{X: x, Y: y})
			from := toward(part.Point{X: x, Y: y}, end, 3.2*st.clear)
			c.cased([][]part.Point{{from, end}}, max(st.half*0.6, 0.5), st.casing*0.7, palette.White)
		}
		c.fill(at, palette.Shadow, 0.85)
		l.write(c, at.Min.X+st.pad, at.Min.Y+st.pad+l.ascent, text, palette.White)
	}
}

// arrows draws two open arrowheads that leave the limb itself clear.
func arrows(c *canvas, p part.Point, st style) {
	g, a := 1.6*st.clear, 1.4*st.clear
	c.cased([][]part.Point{
		pts(p.X-g-a, p.Y-a, p.X-g, p.Y, p.X-g-a, p.Y+a),
		pts(p.X+g+a, p.Y-a, p.X+g, p.Y, p.X+g+a, p.Y+a),
	}, st.half, st.casing, palette.Sky)
}

// nearest is the point of r closest to p.
func nearest(r image.Rectangle, p part.Point) part.Point {
	return part.Point{
		X: min(max(p.X, float64(r.Min.X)), float64(r.Max.X-1)),
		Y: min(max(p.Y, float64(r.Min.Y)), float64(r.Max.Y-1)),
	}
}

// toward is the point d pixels from a on the way to b.
func toward(a, b part.Point, d float64) part.Point {
	n := math.Hypot(b.X-a.X, b.Y-a.Y)
	if n <= d {
		return b
	}
	return part.Point{X: a.X + (b.X-a.X)*d/n, Y: a.Y + (b.Y-a.Y)*d/n}
}

func (x words) stepStationLabel(s *part.StepStation) string {
	if s.State != part.Measured || s.StepUM == nil {
		return x.T("not_measured")
	}
	if s.UUM == nil {
		return minus(fmt.Sprintf("%+.0f µm", *s.StepUM))
	}
	return minus(fmt.Sprintf("%+.0f ± %.0f µm", *s.StepUM, math.Max(1, 2**s.UUM)))
}
