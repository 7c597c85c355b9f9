package plots

import (
	"image/color"
	"math"
	"strings"
	"unicode"

	"finishbench/internal/report/palette"

	_ "gonum.org/v1/plot" // puts the measuring font into the cache
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// seriesColour has the palette's darker colours, which show on a light ground.
func seriesColour(i int) color.NRGBA {
	colours := []color.NRGBA{palette.Blue, palette.Vermilion, palette.Green, palette.Purple, palette.Ink, palette.Orange}
	return colours[i%len(colours)]
}

func ink() color.NRGBA        { return palette.Ink }
func ground() color.NRGBA     { return palette.Card }
func gridColour() color.NRGBA { return thin(palette.Line, 0x70) }
func bandColour() color.NRGBA { return thin(palette.Sky, 0x58) }
func vermilion() color.NRGBA  { return palette.Vermilion }

func thin(c color.NRGBA, alpha uint8) color.NRGBA { return color.NRGBA{c.R, c.G, c.B, alpha} }

// Sizes in the drawing's own units, of which a plot of 180 mm is 680 wide: one
// is a CSS pixel where the plot has its natural width.
const (
	unitsPerMM = 96 / 25.4
	textSize   = 16
	tickSize   = 15
	lineHeight = 21
	glyphSize  = 4.6 // half the width of a point's shape
	// The page's own font may be wider than the one that widths are measured with.
	widthRoom = 1.15
)

func textStyle(size vg.Length) text.Style {
	return text.Style{Color: ink(), Font: font.From(font.Font{Typeface: "Liberation", Variant: "Sans"}, size),
		Handler: anchored{text.Plain{Fonts: font.DefaultCache}}}
}

// textWidth is how wide a text may be in the page.
func textWidth(s string, size vg.Length) vg.Length {
	wide := vg.Length(0)
	s = strings.Map(func(r rune) rune {
		if unicode.In(r, unicode.Han) || r >= 0x3000 && r < 0x3040 || r >= 0xff00 { // as wide as high; the measuring font lacks them
			wide += size
			return -1
		}
		return r
	}, s)
	return wide + textStyle(size).Width(s)
}

// lineStyle has dashes that come round at another number than the colours and
// the shapes do, so that 42 series look different.
func lineStyle(i int) draw.LineStyle {
	dashes := [][]vg.Length{nil, {9, 4}, {2.5, 3}, {12, 3, 2.5, 3}, {5, 5}, {16, 4}, {9, 3, 2.5, 3, 2.5, 3}}
	return draw.LineStyle{Color: seriesColour(i), Width: 2, Dashes: dashes[i%len(dashes)]}
}

func inkLine(w vg.Length, dashes ...vg.Length) draw.LineStyle {
	return draw.LineStyle{Color: ink(), Width: w, Dashes: dashes}
}

func glyphStyle(i int) draw.GlyphStyle {
	return draw.GlyphStyle{Color: seriesColour(i), Radius: glyphSize, Shape: glyph(i % 7)}
}

// glyph is the shape of a series' points: filled or open outlines and strokes.
type glyph int

// corners of the outlines, on a circle of radius 1; nil is the circle itself.
func (g glyph) corners() []vg.Point {
	switch g {
	case 1: // square, open
		return []vg.Point{{X: -0.9, Y: -0.9}, {X: 0.9, Y: -0.9}, {X: 0.9, Y: 0.9}, {X: -0.9, Y: 0.9}}
	case 2: // triangle
		return []vg.Point{{X: 0, Y: 1.25}, {X: 1.2, Y: -0.8}, {X: -1.2, Y: -0.8}}
	case 3: // diamond, open
		return []vg.Point{{X: 0, Y: 1.35}, {X: 1.15, Y: 0}, {X: 0, Y: -1.35}, {X: -1.15, Y: 0}}
	case 5: // triangle pointing down, open
		return []vg.Point{{X: 0, Y: -1.25}, {X: 1.2, Y: 0.8}, {X: -1.2, Y: 0.8}}
	}
	return nil
}

// DrawGlyph draws the shape; it is what gonum/plot asks for.
func (g glyph) DrawGlyph(c *draw.Canvas, sty draw.GlyphStyle, at vg.Point) {
	r := sty.Radius
	if g == 4 || g == 6 { // strokes: an upright cross, a slanting one
		a, b := vg.Point{X: r * 1.2}, vg.Point{Y: r * 1.2}
		if g == 6 {
			a, b = vg.Point{X: r, Y: r}, vg.Point{X: r, Y: -r}
		}
		l := draw.LineStyle{Color: sty.Color, Width: 2.2}
		c.StrokeLine2(l, at.X-a.X, at.Y-a.Y, at.X+a.X, at.Y+a.Y)
		c.StrokeLine2(l, at.X-b.X, at.Y-b.Y, at.X+b.X, at.Y+b.Y)
		return
	}
	var p vg.Path
	corners := g.corners()
	for i, q := range corners {
		q = vg.Point{X: at.X + q.X*r, Y: at.Y + q.Y*r}
		if i == 0 {
			p.Move(q)
			continue
		}
		p.Line(q)
	}
	if corners == nil {
		p.Move(vg.Point{X: at.X + r, Y: at.Y})
		p.Arc(at, r, 0, 2*math.Pi)
	}
	p.Close()
	fill := sty.Color
	if g%2 == 1 {
		fill = ground()
	}
	c.SetColor(fill)
	c.Fill(p)
	c.SetLineStyle(draw.LineStyle{Color: sty.Color, Width: 1.8})
	c.Stroke(p)
}
