package lotreport

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"codeberg.org/go-pdf/fpdf"
)

// This file draws the SVG of package plots into a PDF: groups, paths of straight
// lines and arcs, texts, boxes and circles, with fill, stroke and their opacity.

// affine maps x, y to a*x + c*y + e, b*x + d*y + f, as SVG writes it.
type affine struct{ a, b, c, d, e, f float64 }

func (m affine) times(n affine) affine {
	return affine{m.a*n.a + m.c*n.b, m.b*n.a + m.d*n.b, m.a*n.c + m.c*n.d, m.b*n.c + m.d*n.d, m.a*n.e + m.c*n.f + m.e, m.b*n.e + m.d*n.f + m.f}
}

func (m affine) at(x, y float64) (float64, float64) { return m.a*x + m.c*y + m.e, m.b*x + m.d*y + m.f }

func (m affine) scale() float64 { return math.Sqrt(math.Abs(m.a*m.d - m.b*m.c)) }

// drawing is a plot in a PDF.
type drawing struct {
	pdf *fpdf.Fpdf
	m   affine // of the element at hand, to mm on the page
	err error
}

// drawSVG draws a plot with its left top corner at x, y, so wide, mm; it returns
// how high it is.
func drawSVG(pdf *fpdf.Fpdf, svg []byte, x, y, wide float64) (high float64, err error) {
	w, h, err := svgSize(svg)
	if err != nil {
		return 0, err
	}
	k := wide / w
	d := &drawing{pdf: pdf, m: affine{k, 0, 0, k, x, y}}
	if err := d.run(svg); err != nil {
		return 0, err
	}
	return h * k, nil
}

// svgSize is the size of a plot in its own units.
func svgSize(svg []byte) (w, h float64, err error) {
	dec := xml.NewDecoder(strings.NewReader(string(svg)))
	for {
		tok, err := dec.Token()
		if err != nil {
			return 0, 0, errors.New("lotreport: draw a plot: it is no svg")
		}
		if e, ok := tok.(xml.StartElement); ok {
			v := numbers(attr(e, "viewBox"))
			if len(v) != 4 || !(v[2] > 0) || !(v[3] > 0) {
				return 0, 0, errors.New("lotreport: draw a plot: its viewBox is missing")
			}
			return v[2], v[3], nil
		}
	}
}

func (d *drawing) run(svg []byte) error {
	dec := xml.NewDecoder(strings.NewReader(string(svg)))
	stack := []affine{d.m}
	for {
		tok, err := dec.Token()
		switch {
		case errors.Is(err, io.EOF):
			return d.err
		case err != nil:
			return fmt.Errorf("lotreport: draw a plot: %w", err)
		}
		switch e := tok.(type) {
		case xml.StartElement:
			d.m = stack[len(stack)-1].times(transform(attr(e, "transform")))
			stack = append(stack, d.m)
			d.element(e, dec, &stack)
		case xml.EndElement:
			stack = stack[:len(stack)-1]
		}
	}
}

func (d *drawing) element(e xml.StartElement, dec *xml.Decoder, stack *[]affine) {
	st := style(e)
	num := func(name string) float64 { v, _ := strconv.ParseFloat(attr(e, name), 64); return v }
	switch e.Name.Local {
	case "path":
		d.path(attr(e, "d"), st)
	case "rect":
		x, y, w, h := num("x"), num("y"), num("width"), num("height")
		d.path(fmt.Sprintf("M%g,%gL%g,%gL%g,%gL%g,%gZ", x, y, x+w, y, x+w, y+h, x, y+h), st)
	case "circle":
		x, y, r := num("cx"), num("cy"), num("r")
		d.path(fmt.Sprintf("M%g,%gA%g,%g 0 0 1 %g,%gA%g,%g 0 0 1 %g,%gZ", x+r, y, r, r, x-r, y, r, r, x+r, y), st)
	case "line":
		d.path(fmt.Sprintf("M%g,%gL%g,%g", num("x1"), num("y1"), num("x2"), num("y2")), st)
	case "polyline", "polygon":
		v := numbers(attr(e, "points"))
		var b strings.Builder
		for i := 0; i+1 < len(v); i += 2 {
			fmt.Fprintf(&b, "%s%g,%g", map[bool]string{true: "M", false: "L"}[i == 0], v[i], v[i+1])
		}
		if e.Name.Local == "polygon" {
			b.WriteString("Z")
		}
		d.path(b.String(), st)
	case "text":
		text := ""
		for {
			tok, err := dec.Token()
			if err != nil {
				d.err = err
				return
			}
			if c, ok := tok.(xml.CharData); ok {
				text += string(c)
			}
			if end, ok := tok.(xml.EndElement); ok && end.Name.Local == "text" {
				break
			}
		}
		*stack = (*stack)[:len(*stack)-1]
		d.text(num("x"), num("y"), text, attr(e, "text-anchor"), st)
	}
}

// look is how something is drawn.
type look map[string]string

func style(e xml.StartElement) look {
	l := look{}
	for _, a := range e.Attr {
		l[a.Name.Local] = a.Value
	}
	for part := range strings.SplitSeq(l["style"], ";") {
		if k, v, ok := strings.Cut(part, ":"); ok {
			l[strings.TrimSpace(k)] = strings.TrimSpace(v)
		}
	}
	return l
}

func (l look) number(key string, otherwise float64) float64 {
	v, err := strconv.ParseFloat(strings.TrimSuffix(l[key], "px"), 64)
	if err != nil {
		return otherwise
	}
	return v
}

// colour is a colour of the form #rrggbb or #rgb; false: none.
func (l look) colour(key, otherwise string) (r, g, b int, ok bool) {
	s := l[key]
	if s == "" {
		s = otherwise
	}
	s = strings.TrimPrefix(s, "#")
	if len(s) == 3 {
		s = string([]byte{s[0], s[0], s[1], s[1], s[2], s[2]})
	}
	v, err := strconv.ParseUint(s, 16, 32)
	if err != nil || len(s) != 6 {
		return 0, 0, 0, false
	}
	return int(v >> 16), int(v>>8) & 255, int(v) & 255, true
}

func (d *drawing) path(p string, l look) {
	opacity := l.number("opacity", 1)
	if r, g, b, ok := l.colour("fill", "#000000"); ok {
		d.pdf.SetFillColor(r, g, b)
		d.ink(opacity*l.number("fill-opacity", 1), func() {
			d.trace(p)
			d.pdf.DrawPath("f")
		})
	}
	if r, g, b, ok := l.colour("stroke", "none"); ok {
		k := d.m.scale()
		d.pdf.SetDrawColor(r, g, b)
		d.pdf.SetLineWidth(l.number("stroke-width", 1) * k)
		dash := numbers(l["stroke-dasharray"])
		for i := range dash {
			dash[i] *= k
		}
		d.pdf.SetDashPattern(dash, l.number("stroke-dashoffset", 0)*k)
		d.ink(opacity*l.number("stroke-opacity", 1), func() {
			d.trace(p)
			d.pdf.DrawPath("D")
		})
		d.pdf.SetDashPattern(nil, 0)
	}
}

// ink draws with an opacity.
func (d *drawing) ink(opacity float64, draw func()) {
	if opacity >= 1 {
		draw()
		return
	}
	d.pdf.SetAlpha(math.Round(100*opacity)/100, "Normal")
	draw()
	d.pdf.SetAlpha(1, "Normal")
}

// trace follows a path of M, L, H, V, A, C, Q and Z with absolute coordinates.
func (d *drawing) trace(p string) {
	var x, y, x0, y0 float64
	for p != "" {
		op := p[0]
		end := strings.IndexAny(p[1:], "MLHVACQZmlhvacqz") + 1
		if end == 0 {
			end = len(p)
		}
		v := numbers(p[1:end])
		p = p[end:]
		switch {
		case op == 'M' && len(v) >= 2:
			x, y = v[0], v[1]
			x0, y0 = x, y
			d.pdf.MoveTo(d.m.at(x, y))
			v = v[2:]
			fallthrough
		case op == 'L':
			for ; len(v) >= 2; v = v[2:] {
				x, y = v[0], v[1]
				d.pdf.LineTo(d.m.at(x, y))
			}
		case op == 'H' && len(v) == 1:
			x = v[0]
			d.pdf.LineTo(d.m.at(x, y))
		case op == 'V' && len(v) == 1:
			y = v[0]
			d.pdf.LineTo(d.m.at(x, y))
		case op == 'A':
			for ; len(v) >= 7; v = v[7:] {
				d.arc(x, y, v[0], v[3] != 0, v[4] != 0, v[5], v[6])
				x, y = v[5], v[6]
			}
		case op == 'C':
			for ; len(v) >= 6; v = v[6:] {
				d.cubic(v[0], v[1], v[2], v[3], v[4], v[5])
				x, y = v[4], v[5]
			}
		case op == 'Q':
			for ; len(v) >= 4; v = v[4:] {
				d.cubic(x+2*(v[0]-x)/3, y+2*(v[1]-y)/3, v[2]+2*(v[0]-v[2])/3, v[3]+2*(v[1]-v[3])/3, v[2], v[3])
				x, y = v[2], v[3]
			}
		case op == 'Z' || op == 'z':
			d.pdf.ClosePath()
			x, y = x0, y0
		default:
			d.err = fmt.Errorf("lotreport: draw a plot: its path has %q with %d numbers, which is not known here", op, len(v))
			return
		}
	}
}

func (d *drawing) cubic(ax, ay, bx, by, x, y float64) {
	ax, ay = d.m.at(ax, ay)
	bx, by = d.m.at(bx, by)
	x, y = d.m.at(x, y)
	d.pdf.CurveBezierCubicTo(ax, ay, bx, by, x, y)
}

// arc draws a circle's arc from one point to another (SVG 1.1, appendix F.6.5, for
// equal radii) by cubic curves of a quarter turn at most.
func (d *drawing) arc(x1, y1, r float64, large, sweep bool, x2, y2 float64) {
	half := math.Hypot(x2-x1, y2-y1) / 2
	if half == 0 || r <= 0 {
		return
	}
	r = max(r, half)
	off := math.Sqrt(r*r-half*half) / (2 * half)
	if large == sweep {
		off = -off
	}
	cx, cy := (x1+x2)/2-off*(y2-y1), (y1+y2)/2+off*(x2-x1)
	from, to := math.Atan2(y1-cy, x1-cx), math.Atan2(y2-cy, x2-cx)
	turn := to - from
	if sweep && turn < 0 {
		turn += 2 * math.Pi
	}
	if !sweep && turn > 0 {
		turn -= 2 * math.Pi
	}
	n := max(1, int(math.Ceil(math.Abs(turn)/(math.Pi/2)-1e-9)))
	step := turn / float64(n)
	k := 4. / 3 * math.Tan(step/4)
	for i := range n {
		a, b := from+float64(i)*step, from+float64(i+1)*step
		d.cubic(cx+r*(math.Cos(a)-k*math.Sin(a)), cy+r*(math.Sin(a)+k*math.Cos(a)),
			cx+r*(math.Cos(b)+k*math.Sin(b)), cy+r*(math.Sin(b)-k*math.Cos(b)), cx+r*math.Cos(b), cy+r*math.Sin(b))
	}
}

// text writes a text at its anchor, turned as its transform says.
func (d *drawing) text(x, y float64, s, anchor string, l look) {
	s = printable(s)
	x, y = d.m.at(x, y)
	k := d.m.scale()
	d.pdf.SetFont("text", "", 0)
	d.pdf.SetFontUnitSize(l.number("font-size", 16) * k)
	r, g, b, _ := l.colour("fill", "#000000")
	d.pdf.SetTextColor(r, g, b)
	w := d.pdf.GetStringWidth(s)
	switch anchor {
	case "middle":
		w /= 2
	case "end":
	default:
		w = 0
	}
	turn := -math.Atan2(d.m.b, d.m.a) * 180 / math.Pi
	if math.Abs(turn) < 1e-6 {
		d.pdf.Text(x-w, y, s)
		return
	}
	d.pdf.TransformBegin()
	d.pdf.TransformRotate(turn, x, y)
	d.pdf.Text(x-w, y, s)
	d.pdf.TransformEnd()
}

func attr(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// transform reads a list of scale, translate, rotate and matrix.
func transform(s string) affine {
	m := affine{a: 1, d: 1}
	for {
		head, rest, ok := strings.Cut(s, "(")
		inner, tail, ok2 := strings.Cut(rest, ")")
		if !ok || !ok2 {
			return m
		}
		s = tail
		v := numbers(inner)
		switch name := strings.Trim(head, " ,\n\t"); {
		case name == "scale" && len(v) == 1:
			m = m.times(affine{v[0], 0, 0, v[0], 0, 0})
		case name == "scale" && len(v) == 2:
			m = m.times(affine{v[0], 0, 0, v[1], 0, 0})
		case name == "translate" && len(v) == 1:
			m = m.times(affine{1, 0, 0, 1, v[0], 0})
		case name == "translate" && len(v) == 2:
			m = m.times(affine{1, 0, 0, 1, v[0], v[1]})
		case name == "rotate" && len(v) >= 1:
			sin, cos := math.Sincos(v[0] * math.Pi / 180)
			r := affine{cos, sin, -sin, cos, 0, 0}
			if len(v) == 3 {
				r = affine{1, 0, 0, 1, v[1], v[2]}.times(r).times(affine{1, 0, 0, 1, -v[1], -v[2]})
			}
			m = m.times(r)
		case name == "matrix" && len(v) == 6:
			m = m.times(affine{v[0], v[1], v[2], v[3], v[4], v[5]})
		}
	}
}

// numbers are those of a list with commas or spaces between.
func numbers(s string) []float64 {
	var out []float64
	for f := range strings.FieldsFuncSeq(s, func(r rune) bool { return r == ',' || r == ' ' || r == '\n' || r == '\t' }) {
		v, err := strconv.ParseFloat(f, 64)
		if err != nil {
			return out
		}
		out = append(out, v)
	}
	return out
}
