package report

import (
	"fmt"
	"image"
	"math"

	"finishbench/internal/part"
	"finishbench/internal/report/palette"
)

// StripPanel is a square window of a picture for a strip.
type StripPanel struct {
	Image   *part.Image
	Middle  part.Point // px of the picture; the window is moved where it would leave it
	MMPerPX float64
	Box     *part.Box // corners are drawn around it; nil: none
}

const (
	stripSide = 300 // px of a panel
	stripGap  = 8
	stripFoot = 30
)

// MakeStrip puts windows of one size side by side, all at one scale, with a bar of
// 1 mm (0.1 mm where the window is smaller than 2 mm) below. Brightness is left as
// it is, so that what is faint looks faint. windowMM is the windows' side.
func MakeStrip(panels []StripPanel, windowMM float64) (SheetPicture, error) {
	if len(panels) == 0 || !(windowMM > 0) {
		return SheetPicture{}, fmt.Errorf("report: strip of %d panels of %v mm: there is nothing to show", len(panels), windowMM)
	}
	w := len(panels)*(stripSide+stripGap) - stripGap
	out := &part.Image{W: w, H: stripSide + stripFoot, C: 3, Pix8: make([]uint8, 3*w*(stripSide+stripFoot))}
	for i := range out.Pix8 {
		out.Pix8[i] = 255
	}
	c := &canvas{w: out.W, h: out.H, pix: out.Pix8}
	for i, p := range panels {
		if err := stripPanel(c, i*(stripSide+stripGap), p, windowMM); err != nil {
			return SheetPicture{}, fmt.Errorf("report: strip, panel %d: %w", i+1, err)
		}
	}
	if err := stripBar(c, windowMM); err != nil {
		return SheetPicture{}, err
	}
	jpeg, err := EncodeJPEG(out, 90)
	if err != nil {
		return SheetPicture{}, fmt.Errorf("report: strip: %w", err)
	}
	return SheetPicture{JPEG: jpeg, W: out.W, H: out.H}, nil
}

func stripPanel(c *canvas, x0 int, p StripPanel, windowMM float64) error {
	big, err := window(p, windowMM, stripSide)
	if err != nil {
		return err
	}
	for row := range stripSide {
		copy(c.pix[(row*c.w+x0)*3:(row*c.w+x0+stripSide)*3], big.Pix8[row*stripSide*3:(row+1)*stripSide*3])
	}
	if p.Box != nil {
		x, y, n := p.place(windowMM)
		k := float64(stripSide) / float64(n)
		rel := scaled(part.Box{p.Box[0] - float64(x), p.Box[1] - float64(y), p.Box[2], p.Box[3]}, k)
		rel[0] += float64(x0)
		c.keep = []image.Rectangle{pixels(rel)}
		corners(c, rel.Grow(6))
		c.keep = nil
	}
	return nil
}

// place is the window's corner and side in the picture, px.
func (p StripPanel) place(windowMM float64) (x, y, n int) {
	side := windowMM / p.MMPerPX
	n = int(math.Ceil(side))
	x = min(max(0, int(math.Round(p.Middle.X-side/2))), p.Image.W-n)
	y = min(max(0, int(math.Round(p.Middle.Y-side/2))), p.Image.H-n)
	return x, y, n
}

// window is the panel's window, sidePX wide and high.
func window(p StripPanel, windowMM float64, sidePX int) (*part.Image, error) {
	if err := p.Image.Validate(); err != nil {
		return nil, err
	}
	if !(p.MMPerPX > 0) {
		return nil, fmt.Errorf("its scale is not known")
	}
	x, y, n := p.place(windowMM)
	if n < 2 || n > min(p.Image.W, p.Image.H) {
		return nil, fmt.Errorf("a window of %.2f mm is %d px, in a picture of %d x %d", windowMM, n, p.Image.W, p.Image.H)
	}
	small := cut(p.Image, image.Rect(x, y, x+n, y+n))
	return resize(small, sidePX, sidePX)
}

func stripBar(c *canvas, windowMM float64) error {
	l, err := newLettering(17)
	if err != nil {
		return err
	}
	mm := 1.0
	if windowMM < 2 {
		mm = 0.1
	}
	px := int(mm/windowMM*stripSide + 0.5)
	y, x := stripSide+stripFoot/2, 8
	c.fill(image.Rect(x, y-1, x+px, y+2), palette.Ink, 1)
	c.fill(image.Rect(x, y-6, x+3, y+7), palette.Ink, 1)
	c.fill(image.Rect(x+px-3, y-6, x+px, y+7), palette.Ink, 1)
	l.write(c, x+px+10, y+l.ascent/2, mmText(mm), palette.Ink)
	return nil
}
