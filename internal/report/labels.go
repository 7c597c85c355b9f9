package report

import (
	"image"
	"math"

	"finishbench/internal/part"
	"finishbench/internal/report/marks"
	"finishbench/internal/report/palette"
)

// layout places labels so that they hide no finding and, where there is room,
// neither each other nor other marks.
type layout struct {
	frame  image.Rectangle
	boxes  []image.Rectangle // findings
	shapes []image.Rectangle // their marks
	taken  []image.Rectangle // labels placed
}

func newLayout(w, h int, marks []mark) *layout {
	l := &layout{frame: image.Rect(0, 0, w, h)}
	for _, m := range marks {
		l.boxes = append(l.boxes, pixels(m.box))
		l.shapes = append(l.shapes, pixels(m.cover))
	}
	return l
}

// cost is how much a label at r would hide, in pixels weighted by what it is;
// own is the index of the label's mark, or -1.
func (l *layout) cost(r image.Rectangle, own int) float64 {
	area := func(o image.Rectangle) float64 {
		o = o.Intersect(r)
		return float64(o.Dx()) * float64(o.Dy())
	}
	sum := 0.0
	for i, b := range l.boxes {
		if r.In(b) && i != own {
			sum += area(b) // inside a large patch: better than on a small finding
			continue
		}
		sum += 20 * area(b)
	}
	for i, s := range l.shapes {
		if i != own {
			sum += 0.6 * area(s)
		}
	}
	for _, t := range l.taken {
		sum += 10 * area(t)
	}
	return sum
}

// label is a number (and word) on a plate, with a leader to its mark.
type label struct {
	at     image.Rectangle
	text   string
	kind   part.Kind
	bright bool // major and critical findings: dark on bright
	leader []part.Point
}

// place finds a place for a mark's label.
func (l *layout) place(t *lettering, st style, m mark, text string) label {
	out := label{text: text, kind: m.f.Kind, bright: m.f.Severity.Rank() >= part.Major.Rank()}
	h := t.ascent + t.descent + 2*st.pad
	w := t.width(out.text) + 2*st.pad + h // an h for the shape in front
	own := -1
	for i, b := range l.boxes {
		if b == pixels(m.box) {
			own = i
			break
		}
	}
	cv := m.cover
	c := cv.Centre()
	far := float64(w*h) * 0.05 // what a longer leader costs
	best, bestCost := image.Rectangle{}, math.Inf(1)
	for ring := 0; ring < 7; ring++ {
		d := 1.5*st.clear + float64(ring*ring)*1.2*st.clear
		for k := 0; k < 24; k++ {
			a := 2*math.Pi*float64(k)/24 - math.Pi/4
			// The label's centre lies on a rounded frame around the mark.
			cx := c.X + clampUnit(1.3*math.Cos(a))*(cv[2]/2+d+float64(w)/2)
			cy := c.Y + clampUnit(1.3*math.Sin(a))*(cv[3]/2+d+float64(h)/2)
			r := image.Rect(0, 0, w, h).Add(image.Pt(int(cx)-w/2, int(cy)-h/2))
			if !r.In(l.frame) {
				r = into(r, l.frame)
			}
			cost := l.cost(r, own) + float64(ring*ring)*far + float64(k)*0.01
			if o := r.Intersect(pixels(cv)); !o.Empty() {
				cost += 8 * float64(o.Dx()*o.Dy())
			}
			if cost < bestCost {
				best, bestCost = r, cost
			}
		}
		if bestCost < float64((ring+1)*(ring+1))*far {
			break
		}
	}
	out.at = best
	l.taken = append(l.taken, best)
	end := nearest(best, c)
	out.leader = []part.Point{onFrame(m, end), end}
	return out
}

func clampUnit(v float64) float64 { return min(max(v, -1), 1) }

// onFrame is where the leader from a label leaves the mark: the point of the
// mark's lines that is closest.
func onFrame(m mark, to part.Point) part.Point {
	best, bd := to, math.Inf(1)
	for _, p := range m.paths {
		for i := 1; i < len(p); i++ {
			q := closest(p[i-1], p[i], to)
			if d := math.Hypot(q.X-to.X, q.Y-to.Y); d < bd {
				best, bd = q, d
			}
		}
	}
	return best
}

func closest(a, b, p part.Point) part.Point {
	dx, dy := b.X-a.X, b.Y-a.Y
	s := 0.0
	if l2 := dx*dx + dy*dy; l2 > 0 {
		s = min(max(((p.X-a.X)*dx+(p.Y-a.Y)*dy)/l2, 0), 1)
	}
	return part.Point{X: a.X + s*dx, Y: a.Y + s*dy}
}

// into moves r into the frame as far as it fits.
func into(r, frame image.Rectangle) image.Rectangle {
	d := image.Pt(max(0, frame.Min.X-r.Min.X), max(0, frame.Min.Y-r.Min.Y))
	r = r.Add(d)
	return r.Sub(image.Pt(max(0, min(r.Max.X-frame.Max.X, r.Min.X)), max(0, min(r.Max.Y-frame.Max.Y, r.Min.Y))))
}

// draw writes the label: plate, small shape, text.
func (b label) draw(c *canvas, t *lettering, st style) {
	plate, fg := palette.Shadow, palette.White
	if b.bright {
		plate, fg = palette.Yellow, palette.Black
	}
	edge := max(1, int(st.casing))
	c.fill(b.at.Inset(-edge), palette.Shadow, 1)
	c.fill(b.at, plate, 1)
	h := b.at.Dy()
	icon := part.Box{float64(b.at.Min.X) + float64(h)*0.52, float64(b.at.Min.Y) + float64(h)/2 - 0.5, 0, 0}
	shape := marks.Of(b.kind)
	paths, _ := shape.Around(icon, float64(h)*0.33/shape.Extent()*shape.Inner, 0)
	col := marks.Colour(b.kind)
	if b.bright {
		col = palette.Black
	}
	c.stroke(paths, max(st.half*0.8, 0.6), col, 1)
	t.write(c, b.at.Min.X+h, b.at.Min.Y+st.pad+t.ascent, b.text, fg)
}

// stepStation places a station's label outside the unit, beside its limb; it moves
// up or down where something else is already there.
func (l *layout) stepStation(x, y float64, w, h int, left bool, st style) image.Rectangle {
	gap := 6 * st.clear
	x0 := int(x + gap)
	if left {
		x0 = int(x-gap) - w
	}
	best, bestCost := image.Rectangle{}, math.Inf(1)
	for k := 0; k < 12; k++ {
		dy := float64((k+1)/2) * float64(h) * 1.1
		if k%2 == 1 {
			dy = -dy
		}
		r := into(image.Rect(0, 0, w, h).Add(image.Pt(x0, int(y+dy)-h/2)), l.frame)
		cost := l.cost(r, -1) + float64(k)
		if p := image.Rect(int(x-3*st.clear), int(y-2*st.clear), int(x+3*st.clear), int(y+2*st.clear)); p.Overlaps(r) {
			cost += 20 * float64(w*h)
		}
		if cost < bestCost {
			best, bestCost = r, cost
		}
	}
	l.taken = append(l.taken, best)
	return best
}

// corner finds a corner in which a plate hides no finding.
func (l *layout) corner(w, h int) (image.Rectangle, bool) {
	f := l.frame
	for _, p := range []image.Point{{0, 0}, {f.Max.X - w, 0}, {0, f.Max.Y - h}, {f.Max.X - w, f.Max.Y - h}} {
		r := image.Rect(0, 0, w, h).Add(p)
		if r.In(f) && l.cost(r, -1) == 0 {
			l.taken = append(l.taken, r)
			return r, true
		}
	}
	return image.Rectangle{}, false
}
