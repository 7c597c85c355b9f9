package book

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"math"
	"slices"
	"strconv"

	"golang.org/x/image/font"
	"golang.org/x/image/font/basicfont"
	"golang.org/x/image/math/fixed"

	"finishbench/internal/part"
	"finishbench/internal/report"
	"finishbench/internal/teach"
)

// Size of a mistake's picture, px, and the least place that it shows.
const (
	mistakeW  = 560
	mistakeH  = 420
	mistakeMM = 6
)

// mistakePictures are the place of a mistake as the trainee marked it and as it
// is, both the same piece of the same picture.
func mistakePictures(it teach.Item, m teach.Mistake, picture func(teach.ItemPicture) ([]byte, error)) ([2]report.SheetPicture, error) {
	var pair [2]report.SheetPicture
	raw, err := picture(MistakePicture(it, m))
	if err != nil {
		return pair, err
	}
	im, _, err := image.Decode(bytes.NewReader(raw))
	if err != nil {
		return pair, fmt.Errorf("the picture cannot be read: %w", err)
	}
	p := newPaper(im, mistakePlace(it, m))
	said, is := p, p.copy()
	for i, k := range m.Answer.Marks {
		said.mark(k.XPX, k.YPX, i+1, !falseMark(m, i))
	}
	n := 0
	for d, k := range it.Known {
		if k.Visible() {
			n++
			is.box(k.Box, n, m.Mark[d] < 0)
		}
	}
	for i, q := range []paper{said, is} {
		var b bytes.Buffer
		if err := jpeg.Encode(&b, q.im, &jpeg.Options{Quality: 85}); err != nil {
			return pair, err
		}
		pair[i] = report.SheetPicture{JPEG: b.Bytes(), W: mistakeW, H: mistakeH}
	}
	return pair, nil
}

// MistakePicture is the picture in which what was missed or called wrongly, else
// what is there, shows best.
func MistakePicture(it teach.Item, m teach.Mistake) teach.ItemPicture {
	order := slices.Concat(m.Missed, m.WrongKind)
	for i := range it.Known {
		order = append(order, i)
	}
	for _, d := range order {
		for _, p := range it.Pictures {
			if k := it.Known[d]; k.Visible() && k.Light != part.NoLight && p.Light == k.Light {
				return p
			}
		}
	}
	return it.Pictures[0]
}

func falseMark(m teach.Mistake, i int) bool {
	return slices.Contains(m.False, i)
}

// mistakePlace is the piece of the picture that holds all marks and all that is
// there, with some room, in the picture's shape.
func mistakePlace(it teach.Item, m teach.Mistake) image.Rectangle {
	var box *part.Box
	add := func(b part.Box) {
		if box == nil {
			box = &b
			return
		}
		u := box.Union(b)
		box = &u
	}
	for _, k := range it.Known {
		if k.Visible() {
			add(k.Box)
		}
	}
	for _, k := range m.Answer.Marks {
		add(part.Box{k.XPX, k.YPX, 0, 0})
	}
	if box == nil {
		return image.Rect(0, 0, it.WidthPX, it.HeightPX)
	}
	c := box.Centre()
	w := max(1.3*box[2], 1.3*box[3]*mistakeW/mistakeH, mistakeMM/it.MMPerPX)
	w = math.Min(w, math.Min(float64(it.WidthPX), float64(it.HeightPX)*mistakeW/mistakeH))
	h := w * mistakeH / mistakeW
	x := min(max(0, c.X-w/2), float64(it.WidthPX)-w)
	y := min(max(0, c.Y-h/2), float64(it.HeightPX)-h)
	return image.Rect(int(x), int(y), int(x+w), int(y+h))
}

// paper is a piece of a picture, enlarged or made smaller, to be drawn on.
type paper struct {
	im    *image.RGBA
	from  image.Rectangle
	scale float64
}

func newPaper(src image.Image, from image.Rectangle) paper {
	p := paper{image.NewRGBA(image.Rect(0, 0, mistakeW, mistakeH)), from, float64(mistakeW) / float64(from.Dx())}
	draw.Draw(p.im, p.im.Bounds(), image.Black, image.Point{}, draw.Src)
	// Means over the pixels that a pixel covers, or the nearest one where it is enlarged.
	for y := range mistakeH {
		for x := range mistakeW {
			p.im.Set(x, y, p.mean(src, x, y))
		}
	}
	return p
}

func (p paper) mean(src image.Image, x, y int) color.Color {
	x0, x1 := p.from.Min.X+int(float64(x)/p.scale), p.from.Min.X+int(float64(x+1)/p.scale)
	y0, y1 := p.from.Min.Y+int(float64(y)/p.scale), p.from.Min.Y+int(float64(y+1)/p.scale)
	x1, y1 = max(x1, x0+1), max(y1, y0+1)
	var r, g, b, n uint64
	for v := y0; v < y1; v++ {
		for u := x0; u < x1; u++ {
			if !image.Pt(u, v).In(src.Bounds()) {
				continue
			}
			cr, cg, cb, _ := src.At(u, v).RGBA()
			r, g, b, n = r+uint64(cr), g+uint64(cg), b+uint64(cb), n+1
		}
	}
	if n == 0 {
		return color.Black
	}
	return color.RGBA64{uint16(r / n), uint16(g / n), uint16(b / n), 0xffff}
}

func (p paper) copy() paper {
	c := image.NewRGBA(p.im.Bounds())
	copy(c.Pix, p.im.Pix)
	return paper{c, p.from, p.scale}
}

// at is where a place of the picture lies on the paper.
func (p paper) at(x, y float64) (float64, float64) {
	return (x + 0.5 - float64(p.from.Min.X)) * p.scale, (y + 0.5 - float64(p.from.Min.Y)) * p.scale
}

var (
	inkOuter = color.RGBA{0, 0, 0, 255}
	inkInner = color.RGBA{255, 214, 10, 255}
)

// dot is a filled circle of both inks: the lighter one in the middle.
func (p paper) dot(x, y, r float64, ink color.Color) {
	for v := int(y - r); v <= int(y+r)+1; v++ {
		for u := int(x - r); u <= int(x+r)+1; u++ {
			if math.Hypot(float64(u)-x, float64(v)-y) <= r && image.Pt(u, v).In(p.im.Bounds()) {
				p.im.Set(u, v, ink)
			}
		}
	}
}

// stroke draws a path twice: dark and wide, light and narrow, so that it shows on
// any ground. dash leaves gaps.
func (p paper) stroke(path [][2]float64, dash bool) {
	for _, pass := range []struct {
		r   float64
		ink color.Color
	}{{2.6, inkOuter}, {1.3, inkInner}} {
		along := 0.0
		for i := 1; i < len(path); i++ {
			a, b := path[i-1], path[i]
			n := int(math.Hypot(b[0]-a[0], b[1]-a[1])) + 1
			for k := range n {
				f := float64(k) / float64(n)
				if !dash || math.Mod(along, 14) < 8 {
					p.dot(a[0]+f*(b[0]-a[0]), a[1]+f*(b[1]-a[1]), pass.r, pass.ink)
				}
				along += math.Hypot(b[0]-a[0], b[1]-a[1]) / float64(n)
			}
		}
	}
}

func (p paper) number(x, y float64, n int) {
	s := strconv.Itoa(n)
	w := 7*len(s) + 6
	u, v := min(max(0, int(x)), mistakeW-w), min(max(0, int(y)), mistakeH-16)
	draw.Draw(p.im, image.Rect(u, v, u+w, v+16), image.NewUniform(inkInner), image.Point{}, draw.Src)
	d := font.Drawer{Dst: p.im, Src: image.NewUniform(inkOuter), Face: basicfont.Face7x13, Dot: fixed.P(u+3, v+12)}
	d.DrawString(s)
}

// mark draws a trainee's mark: a ring where it is right, a cross where it is on
// nothing.
func (p paper) mark(x, y float64, n int, right bool) {
	x, y = p.at(x, y)
	const r = 14
	if right {
		var ring [][2]float64
		for a := range 37 {
			s, c := math.Sincos(float64(a) * math.Pi / 18)
			ring = append(ring, [2]float64{x + r*c, y + r*s})
		}
		p.stroke(ring, false)
	} else {
		p.stroke([][2]float64{{x - r, y - r}, {x + r, y + r}}, false)
		p.stroke([][2]float64{{x - r, y + r}, {x + r, y - r}}, false)
	}
	p.number(x+r, y-r-8, n)
}

// box draws what is there, with some room around it; dashed where it was missed.
func (p paper) box(b part.Box, n int, missed bool) {
	x0, y0 := p.at(b[0]-0.5, b[1]-0.5)
	x1, y1 := x0+b[2]*p.scale, y0+b[3]*p.scale
	const room = 8
	x0, y0, x1, y1 = x0-room, y0-room, x1+room, y1+room
	p.stroke([][2]float64{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}, {x0, y0}}, missed)
	p.number(x1, y0-8, n)
}
