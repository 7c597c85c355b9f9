package report

import (
	"fmt"
	"image"
	"image/color"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"

	"finishbench/internal/report/paper"
)

// bold is the Go project's bold face, parsed once.
var bold = sync.OnceValues(func() (*opentype.Font, error) { return opentype.Parse(gobold.TTF) })

// lettering writes text of one size. It is not for use by two goroutines at
// once.
type lettering struct {
	face            font.Face
	ascent, descent int // pixels above and below the baseline
}

// han is the font of Chinese writing, parsed once.
var han = sync.OnceValues(func() (*opentype.Font, error) {
	data, err := paper.Font()
	if err != nil {
		return nil, err
	}
	return opentype.Parse(data)
})

// lettering makes letters of this language.
func (x words) lettering(size float64) (*lettering, error) {
	if !x.Han() {
		return newLettering(size)
	}
	f, err := han()
	return lettersOf(f, err, size)
}

// newLettering makes letters of size pixels an em (> 0).
func newLettering(size float64) (*lettering, error) {
	f, err := bold()
	return lettersOf(f, err, size)
}

func lettersOf(f *opentype.Font, err error, size float64) (*lettering, error) {
	if err != nil {
		return nil, fmt.Errorf("report: built-in font: %w", err)
	}
	face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: size, DPI: 72, Hinting: font.HintingFull})
	if err != nil {
		return nil, fmt.Errorf("report: font of %g px: %w", size, err)
	}
	m := face.Metrics()
	return &lettering{face: face, ascent: m.CapHeight.Ceil(), descent: m.Descent.Ceil() / 2}, nil
}

func (l *lettering) width(s string) int { return font.MeasureString(l.face, s).Ceil() }

// write draws s with its baseline starting at x, y.
func (l *lettering) write(c *canvas, x, y int, s string, col color.NRGBA) {
	dot := fixed.P(x, y)
	prev := rune(-1)
	for _, r := range s {
		if prev >= 0 {
			dot.X += l.face.Kern(prev, r)
		}
		dr, mask, mp, adv, ok := l.face.Glyph(dot, r)
		if ok {
			if m, isAlpha := mask.(*image.Alpha); isAlpha {
				c.stamp(dr, m, mp, col)
			}
			dot.X += adv
		}
		prev = r
	}
}

// stamp lays a glyph's mask over the picture.
func (c *canvas) stamp(dr image.Rectangle, m *image.Alpha, mp image.Point, col color.NRGBA) {
	in := dr.Intersect(image.Rect(0, 0, c.w, c.h))
	near := c.kept(in)
	for y := in.Min.Y; y < in.Max.Y; y++ {
		for x := in.Min.X; x < in.Max.X; x++ {
			v := m.AlphaAt(mp.X+x-dr.Min.X, mp.Y+y-dr.Min.Y).A
			if v != 0 && !inAny(near, x, y) {
				c.mix(x, y, col, float64(v)/255)
			}
		}
	}
}
