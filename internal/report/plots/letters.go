package plots

import (
	"bytes"
	"math"
	"strings"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
)

// anchored writes texts so that the browser aligns them: the library puts a
// text's left end where it reckons it to be, which is off where the page's font
// has other widths than the one measured with. A private character in front of
// the text tells [anchors] how to align it.
type anchored struct{ text.Plain }

// The private characters; clean keeps them out of texts given.
const (
	anchorMiddle = '\ue000'
	anchorEnd    = '\ue001'
)

// Box is the room of a line, with some to spare for wider fonts.
func (a anchored) Box(txt string, fnt font.Font) (width, height, depth vg.Length) {
	width, height, depth = a.Plain.Box(txt, fnt)
	return width * widthRoom, height, depth
}

// Draw writes the lines of a text.
func (a anchored) Draw(c vg.Canvas, txt string, sty text.Style, pt vg.Point) {
	if txt == "" {
		return
	}
	fnt := a.Fonts.Lookup(sty.Font, sty.Font.Size)
	c.SetColor(sty.Color)
	if sty.Rotation != 0 {
		c.Push()
		defer c.Pop()
		c.Rotate(sty.Rotation)
	}
	sin, cos := math.Sincos(sty.Rotation)
	at := vg.Point{X: pt.Y*vg.Length(sin) + pt.X*vg.Length(cos), Y: pt.Y*vg.Length(cos) - pt.X*vg.Length(sin)}
	at.Y += sty.Height(txt)*vg.Length(sty.YAlign) - fnt.Extents().Ascent
	mark := ""
	switch {
	case sty.XAlign < -0.75:
		mark = string(anchorEnd)
	case sty.XAlign < -0.25:
		mark = string(anchorMiddle)
	}
	lines := a.Lines(txt)
	for i, line := range lines {
		c.FillString(fnt, vg.Point{X: at.X, Y: at.Y + vg.Length(len(lines)-i)*sty.Font.Size}, mark+line)
	}
}

// Aligned is a line as a canvas of [Onto] is given it, without how it is aligned, and the
// share of its width that lies before the place given.
func Aligned(line string) (string, float64) {
	if s, ok := strings.CutPrefix(line, string(anchorMiddle)); ok {
		return s, 0.5
	}
	if s, ok := strings.CutPrefix(line, string(anchorEnd)); ok {
		return s, 1
	}
	return line, 0
}

// anchors turns the private characters into attributes.
func anchors(svg []byte) []byte {
	svg = bytes.ReplaceAll(svg, []byte(">"+string(anchorMiddle)), []byte(` text-anchor="middle">`))
	return bytes.ReplaceAll(svg, []byte(">"+string(anchorEnd)), []byte(` text-anchor="end">`))
}
