package outline

import "finishbench/internal/part"

// targetSide is the number of samples along a thinned picture's longer side.
const targetSide = 400

// thinned is a picture of w x h samples of c channels, 0..255 whatever the
// picture's depth. Sample (i,j) stands for the block of step x step pixels from
// (i*step, j*step); its centre is at i*step + (step-1)/2.
type thinned struct {
	w, h, c, step int
	v             []uint8
}

// centre is a sample coordinate in full-resolution pixels.
func (t *thinned) centre(i float64) float64 { return i*float64(t.step) + float64(t.step-1)/2 }

// half takes every second sample each way.
func (t *thinned) half() *thinned {
	o := &thinned{w: t.w / 2, h: t.h / 2, c: t.c, step: 2 * t.step}
	o.v = make([]uint8, o.w*o.h*o.c)
	to := 0
	for j := range o.h {
		row := t.v[2*j*t.w*t.c:]
		for i := range o.w {
			for c := range o.c {
				o.v[to] = row[2*i*t.c+c]
				to++
			}
		}
	}
	return o
}

func thin(im *part.Image) *thinned {
	step := max(1, (max(im.W, im.H)+targetSide/2)/targetSide)
	step = min(step, im.W, im.H)
	t := &thinned{w: im.W / step, h: im.H / step, c: im.C, step: step}
	t.v = make([]uint8, t.w*t.h*t.c)
	if im.Pix16 != nil {
		thinInto(t, im.Pix16, im.W, 8)
	} else {
		thinInto(t, im.Pix8, im.W, 0)
	}
	return t
}

// thinInto averages four pixels of each block, which lie evenly about its
// centre; shift brings a sample to 8 bits.
func thinInto[T uint8 | uint16](t *thinned, pix []T, w int, shift uint) {
	a := t.step / 4
	b := t.step - 1 - a
	c := t.c
	for j := range t.h {
		r1 := pix[(j*t.step+a)*w*c:]
		r2 := pix[(j*t.step+b)*w*c:]
		out := t.v[j*t.w*c : (j+1)*t.w*c]
		four := func(a, b, d, e T) uint8 {
			return uint8(((uint32(a)+uint32(b)+uint32(d)+uint32(e))>>(shift&31) + 2) >> 2)
		}
		p, q := a*c, b*c
		if c == 3 {
			for i := 0; i < len(out); i += 3 {
				o, l1, m1, l2, m2 := out[i:i+3:i+3], r1[p:p+3:p+3], r1[q:q+3:q+3], r2[p:p+3:p+3], r2[q:q+3:q+3]
				o[0], o[1], o[2] = four(l1[0], m1[0], l2[0], m2[0]), four(l1[1], m1[1], l2[1], m2[1]), four(l1[2], m1[2], l2[2], m2[2])
				p, q = p+3*t.step, q+3*t.step
			}
			continue
		}
		for i := range out {
			out[i] = four(r1[p], r1[q], r2[p], r2[q])
			p, q = p+t.step, q+t.step
		}
	}
}
