package seam

import (
	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// light reads single places of a picture: encoded brightness 0..255 for
// looking, linear light 0..1 for measuring.
//
// Linear light is taken from the encoded luma (ITU-R BT.601 weights, those of
// JPEG), not from single channels: JPEG keeps the luma at full resolution and
// smears colour. What that does to an edge between two colours, a mixture undoes.
type light struct {
	im     *part.Image
	w, h   int
	linear bool      // samples are linear light already
	table  []float32 // 8-bit sample to linear light
}

func newLight(im *part.Image, linear bool) *light {
	return &light{im: im, w: im.W, h: im.H, linear: linear, table: optics.Linear8()}
}

// rgb returns a place's channels 0..255, three alike for grey.
func (l *light) rgb(x, y int) (r, g, b float32) {
	i := (y*l.w + x) * l.im.C
	if p := l.im.Pix8; p != nil {
		if l.im.C == 1 {
			v := float32(p[i])
			return v, v, v
		}
		return float32(p[i]), float32(p[i+1]), float32(p[i+2])
	}
	p := l.im.Pix16
	if l.im.C == 1 {
		v := float32(p[i]) / 257
		return v, v, v
	}
	return float32(p[i]) / 257, float32(p[i+1]) / 257, float32(p[i+2]) / 257
}

// sum returns the channels 0..255 of the n places from x on, summed.
func (l *light) sum(x, y, n int) (s rgbSum) {
	if l.im.Pix8 == nil || l.im.C != 3 {
		for i := range n {
			r, g, b := l.rgb(x+i, y)
			s[0], s[1], s[2] = s[0]+float64(r), s[1]+float64(g), s[2]+float64(b)
		}
		return s
	}
	var r, g, b int
	for p := l.im.Pix8[(y*l.w+x)*3:][:3*n]; len(p) >= 3; p = p[3:] {
		r, g, b = r+int(p[0]), g+int(p[1]), b+int(p[2])
	}
	return rgbSum{float64(r), float64(g), float64(b)}
}

// luma returns a place's encoded brightness 0..255.
func (l *light) luma(x, y int) float32 {
	if l.im.C == 1 {
		v, _, _ := l.rgb(x, y)
		return v
	}
	if l.im.Pix8 != nil {
		i := (y*l.w + x) * 3
		p := l.im.Pix8[i : i+3 : i+3]
		return lumaR*float32(p[0]) + lumaG*float32(p[1]) + lumaB*float32(p[2])
	}
	r, g, b := l.rgb(x, y)
	return lumaR*r + lumaG*g + lumaB*b
}

// Weights of the luma: ITU-R BT.601-7, 2.5.1 (from memory).
const lumaR, lumaG, lumaB = 0.299, 0.587, 0.114

// decode turns an encoded value 0..255 into linear light 0..1.
func (l *light) decode(v float32) float64 {
	if l.linear {
		return float64(v) / 255
	}
	if v >= 255 {
		return 1
	}
	i := int(v)
	t := l.table[i]
	return float64(t + (l.table[i+1]-t)*(v-float32(i)))
}

// at returns a place's linear light 0..1.
func (l *light) at(x, y int) float64 { return l.decode(l.luma(x, y)) }

// row fills buf with the linear light of row y from u = u0 on, in a limb's own
// frame: u is x at the left limb and counts from the right edge at the right
// one. It returns false where that leaves the picture.
func (l *light) row(buf []float64, y, u0 int, mirrored bool) bool {
	if y < 0 || y >= l.h || u0 < 0 || u0+len(buf) > l.w {
		return false
	}
	for i := range buf {
		x := u0 + i
		if mirrored {
			x = l.w - 1 - x
		}
		buf[i] = l.at(x, y)
	}
	return true
}
