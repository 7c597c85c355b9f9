package plots

import (
	"image/color"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// The palette of Okabe and Ito, "Color Universal Design", 2002 (values from
// memory); the darker ones first, which show on a light ground.
var (
	vermilion  = color.NRGBA{0xd5, 0x5e, 0x00, 0xff}
	bandColour = color.NRGBA{0x56, 0xb4, 0xe9, 0x60}
	colours    = []color.NRGBA{
		{0x00, 0x72, 0xb2, 0xff}, {0xd5, 0x5e, 0x00, 0xff}, {0x00, 0x9e, 0x73, 0xff},
		{0xcc, 0x79, 0xa7, 0xff}, {0x1d, 0x1b, 0x18, 0xff}, {0xe6, 0x9f, 0x00, 0xff},
	}
)

func lineStyle(i int) draw.LineStyle {
	dashes := [][]vg.Length{nil, {6, 3}, {2, 2}, {8, 3, 2, 3}, {4, 4}, {10, 4}}
	return draw.LineStyle{Color: colours[i%len(colours)], Width: vg.Points(1.4), Dashes: dashes[i%len(dashes)]}
}

func glyphStyle(i int) draw.GlyphStyle {
	shapes := []draw.GlyphDrawer{draw.CircleGlyph{}, draw.SquareGlyph{}, draw.TriangleGlyph{}, draw.PyramidGlyph{}, draw.RingGlyph{}, draw.PlusGlyph{}}
	return draw.GlyphStyle{Color: colours[i%len(colours)], Radius: vg.Points(2.6), Shape: shapes[i%len(shapes)]}
}
