package plots

import (
	"math"
	"slices"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// strip is a row of ticks over a plot: where, along x, something is so. Ticks
// that would lie on each other are drawn once; none is left out.
type strip struct {
	name string
	xs   []float64
}

const (
	stripHeight = 19
	stripGap    = 6 // between the plot and the first row
)

func (f *frame) stripsHeight() vg.Length {
	if len(f.strips) == 0 {
		return 0
	}
	return vg.Length(len(f.strips))*stripHeight + stripGap
}

// drawStrips draws the rows upwards from top, the first one highest.
func (f *frame) drawStrips(c draw.Canvas, top vg.Length) {
	tx, _ := f.Transforms(&c)
	for i, s := range f.strips {
		y := top + stripGap + vg.Length(len(f.strips)-1-i)*stripHeight
		mid := y + stripHeight/2
		c.StrokeLine2(draw.LineStyle{Color: gridColour(), Width: 1}, c.Min.X, mid, c.Max.X, mid)
		last := vg.Length(math.Inf(-1))
		for _, x := range slices.Sorted(slices.Values(s.xs)) {
			at := tx(x)
			if at-last < 0.75 {
				continue
			}
			last = at
			c.StrokeLine2(draw.LineStyle{Color: vermilion(), Width: 2}, at, mid-6, at, mid+6)
		}
		sty := textStyle(tickSize)
		sty.YAlign = draw.YCenter
		c.FillText(sty, vg.Point{X: c.Max.X + 8, Y: mid}, s.name)
	}
}
