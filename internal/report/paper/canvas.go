package paper

import (
	"image"
	"image/color"
	"math"
	"math/cmplx"

	"codeberg.org/go-pdf/fpdf"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"

	"finishbench/internal/report/plots"
)

// canvas is a place on a PDF's page that package plots draws on, in its own units.
type canvas struct {
	pdf  *fpdf.Fpdf
	x, y float64 // of its lower left corner on the page, mm
	k    float64 // mm a unit
	pen
	kept []pen
}

// pen is how the next line or text is drawn. A point z of it, x + iy, lies at turn*z + at.
type pen struct {
	colour   color.NRGBA
	width    vg.Length
	dash     []float64 // mm
	offset   float64
	turn, at complex128
}

// NewCanvas is a canvas of k mm a unit, whose lower left corner is at x, y on the page, mm.
func NewCanvas(pdf *fpdf.Fpdf, x, y, k float64) vg.Canvas {
	c := &canvas{pdf: pdf, x: x, y: y, k: k, pen: pen{turn: 1}}
	vg.Initialize(c)
	return c
}

func (c *canvas) SetLineWidth(w vg.Length) { c.width = w }

func (c *canvas) SetLineDash(dash []vg.Length, offset vg.Length) {
	c.dash, c.offset = nil, float64(offset)*c.k
	for _, d := range dash {
		c.dash = append(c.dash, float64(d)*c.k)
	}
}

func (c *canvas) SetColor(colour color.Color) {
	if colour == nil {
		colour = color.Black
	}
	c.colour = color.NRGBAModel.Convert(colour).(color.NRGBA)
}

func (c *canvas) Rotate(rad float64)    { c.turn *= cmplx.Rect(1, rad) }
func (c *canvas) Translate(pt vg.Point) { c.at += c.turn * complex(float64(pt.X), float64(pt.Y)) }
func (c *canvas) Scale(x, _ float64)    { c.turn *= complex(x, 0) }
func (c *canvas) Push()                 { c.kept = append(c.kept, c.pen) }
func (c *canvas) Pop()                  { c.pen, c.kept = c.kept[len(c.kept)-1], c.kept[:len(c.kept)-1] }

// DrawImage draws nothing: no plot has a picture in it.
func (c *canvas) DrawImage(vg.Rectangle, image.Image) {}

// on is a point on the page, mm.
func (c *canvas) on(x, y vg.Length) (float64, float64) {
	z := c.turn*complex(float64(x), float64(y)) + c.at
	return c.x + c.k*real(z), c.y - c.k*imag(z)
}

func (c *canvas) Fill(p vg.Path) {
	c.pdf.SetFillColor(RGB(c.colour))
	c.draw(p, "f")
}

func (c *canvas) Stroke(p vg.Path) {
	if c.width <= 0 {
		return
	}
	c.pdf.SetDrawColor(RGB(c.colour))
	c.pdf.SetLineWidth(float64(c.width) * c.k)
	c.pdf.SetDashPattern(c.dash, c.offset)
	c.draw(p, "D")
	c.pdf.SetDashPattern(nil, 0)
}

// draw follows a path of lines and arcs.
func (c *canvas) draw(p vg.Path, how string) {
	if c.colour.A < 255 {
		c.pdf.SetAlpha(math.Round(float64(c.colour.A)/2.55)/100, "Normal")
		defer c.pdf.SetAlpha(1, "Normal")
	}
	to := c.pdf.MoveTo // until there is a place to go on from
	for _, s := range p {
		switch s.Type {
		case vg.MoveComp:
			c.pdf.MoveTo(c.on(s.Pos.X, s.Pos.Y))
		case vg.LineComp:
			c.pdf.LineTo(c.on(s.Pos.X, s.Pos.Y))
		case vg.ArcComp:
			c.arc(s, to)
		case vg.CloseComp:
			c.pdf.ClosePath()
		}
		to = c.pdf.LineTo
	}
	c.pdf.DrawPath(how)
}

// arc draws a circle's arc by cubic curves of a quarter turn at most.
func (c *canvas) arc(s vg.PathComp, begin func(x, y float64)) {
	n := max(1, int(math.Ceil(math.Abs(s.Angle)/(math.Pi/2)-1e-9)))
	step := s.Angle / float64(n)
	k := 4. / 3 * math.Tan(step/4)
	point := func(a, off float64) (float64, float64) { // off: along the tangent, in radii
		sin, cos := math.Sincos(a)
		return c.on(s.Pos.X+s.Radius*vg.Length(cos-off*sin), s.Pos.Y+s.Radius*vg.Length(sin+off*cos))
	}
	begin(point(s.Start, 0))
	for i := range n {
		from, to := s.Start+float64(i)*step, s.Start+float64(i+1)*step
		ax, ay := point(from, k)
		bx, by := point(to, -k)
		x, y := point(to, 0)
		c.pdf.CurveBezierCubicTo(ax, ay, bx, by, x, y)
	}
}

// FillString writes a line in the PDF's own font, aligned by its width there.
func (c *canvas) FillString(f font.Face, pt vg.Point, s string) {
	s, before := plots.Aligned(s)
	s = Printable(s)
	c.pdf.SetFont("text", "", 0)
	c.pdf.SetFontUnitSize(float64(f.Font.Size) * c.k * cmplx.Abs(c.turn))
	c.pdf.SetTextColor(RGB(c.colour))
	x, y := c.on(pt.X, pt.Y)
	c.pdf.TransformBegin()
	c.pdf.TransformRotate(cmplx.Phase(c.turn)*180/math.Pi, x, y)
	c.pdf.Text(x-before*c.pdf.GetStringWidth(s), y, s)
	c.pdf.TransformEnd()
}
