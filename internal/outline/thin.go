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
	o.v = make([]uint8, 0, o.w*o.h*o.c)
	for j := range o.h {
		for i := range o.w {
			p := (2*j*t.w + 2*i) * t.c
			o.v = append(o.v, t.v[p:p+t.c]...)
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
		for i := range t.w {
			p, q := (i*t.step+a)*c, (i*t.step+b)*c
			for k := range c {
				s := uint32(r1[p+k]) + uint32(r1[q+k]) + uint32(r2[p+k]) + uint32(r2[q+k])
				out[i*c+k] = uint8((s>>shift + 2) >> 2)
			}
		}
	}
}
