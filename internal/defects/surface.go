package defects

import (
	"fmt"
	"math"
	"slices"

	"finishbench/internal/part"
)

// thumbStep is the subsampling in which the surface is looked for.
const thumbStep = 4

// surface is where the lacquered surface lies, in working pixels of the region
// of interest.
type surface struct {
	x0, y0, w, h int         // the region, in working pixels of the picture
	dist         *part.Plane // distance from the outline, working pixels, <= 0 outside
	outside      *part.Plane // the same as it was before the rim was taken off
	all          bool        // a panel: the whole picture is surface
	outline      []part.Point
}

// wholeSurface is a panel's: the whole picture.
func wholeSurface(w, h int) *surface {
	d := part.NewPlane(w, h)
	for y := range h {
		for x := range w {
			d.V[y*w+x] = float32(min(x, y, w-1-x, h-1-y)) + 1
		}
	}
	return &surface{w: w, h: h, dist: d, outside: d, all: true}
}

// findSurface finds the faceplate (with what little of the shell shows around
// it) as the largest thing that differs from the picture's border in any colour
// of any picture of the scene; f full-resolution pixels make a working pixel.
func findSurface(scene []Picture, f int) (*surface, error) {
	im := scene[0].Image
	tw, th := im.W/(f*thumbStep), im.H/(f*thumbStep)
	if tw < 16 || th < 16 {
		return nil, fmt.Errorf("defects: a picture of %dx%d is too small to find a faceplate in", im.W, im.H)
	}
	fore := make([]uint8, tw*th)
	for _, p := range scene {
		for c := range p.Image.C {
			markForeground(fore, thumbnail(p.Image, c, f*thumbStep, tw, th), tw, th)
		}
	}
	region, n := largestRegion(fore, tw, th)
	if n < tw*th/200 {
		return nil, fmt.Errorf("defects: no faceplate found: nothing large differs from the background")
	}
	fillHoles(region, tw, th)
	bx := boundsOf(region, tw, th)
	pad := 1
	cx0, cy0 := max(0, bx[0]-pad), max(0, bx[1]-pad)
	cx1, cy1 := min(tw, bx[2]+pad+1), min(th, bx[3]+pad+1)
	cw, ch := cx1-cx0, cy1-cy0
	mask := make([]uint8, (cw+2)*(ch+2)) // a ring of outside, so that a touching frame is an edge too
	for y := range ch {
		copy(mask[(y+1)*(cw+2)+1:], region[(y+cy0)*tw+cx0:(y+cy0)*tw+cx1])
	}
	small, err := newDistance(mask, cw+2, ch+2)
	if err != nil {
		return nil, err
	}
	inner := part.NewPlane(cw, ch)
	for y := range ch {
		copy(inner.V[y*cw:(y+1)*cw], small.V[(y+1)*(cw+2)+1:(y+1)*(cw+2)+1+cw])
	}
	dist, err := newResized(inner, cw*thumbStep, ch*thumbStep)
	if err != nil {
		return nil, err
	}
	for i, v := range dist.V {
		dist.V[i] = (v - 0.5) * thumbStep
	}
	return &surface{x0: cx0 * thumbStep, y0: cy0 * thumbStep, w: dist.W, h: dist.H, dist: dist, outside: &part.Plane{W: dist.W, H: dist.H, V: slices.Clone(dist.V)}, outline: traceOutline(region, tw, th)}, nil
}

// thumbnail samples a channel every step pixels, 0..1 as encoded in the file.
func thumbnail(im *part.Image, c, step, tw, th int) []float64 {
	v := make([]float64, tw*th)
	for y := range th {
		for x := range tw {
			i := ((y*step+step/2)*im.W+x*step+step/2)*im.C + c
			if im.Pix16 != nil {
				v[y*tw+x] = float64(im.Pix16[i]) / 65535
			} else {
				v[y*tw+x] = float64(im.Pix8[i]) / 255
			}
		}
	}
	return v
}

// markForeground sets to 1 what differs clearly from the border's level.
func markForeground(fore []uint8, v []float64, tw, th int) {
	at := func(x, y int) float64 { return v[y*tw+x] }
	var border []float64
	for x := range tw {
		border = append(border, at(x, 0), at(x, th-1))
	}
	for y := range th {
		border = append(border, at(0, y), at(tw-1, y))
	}
	slices.Sort(border)
	b := border[len(border)/2]
	dev := make([]float64, len(border))
	for i, v := range border {
		dev[i] = math.Abs(v - b)
	}
	slices.Sort(dev)
	lim := max(8*1.4826*dev[len(dev)/2], 0.024) // 6 of 255 grey levels
	for y := range th {
		for x := range tw {
			if math.Abs(at(x, y)-b) > lim {
				fore[y*tw+x] = 1
			}
		}
	}
}

// largestRegion returns the largest 4-connected region of a mask and its size.
func largestRegion(mask []uint8, w, h int) ([]uint8, int) {
	label := make([]int32, w*h)
	best, bestN, next := int32(0), 0, int32(0)
	var stack []int
	for i, v := range mask {
		if v == 0 || label[i] != 0 {
			continue
		}
		next++
		n := 0
		stack = append(stack[:0], i)
		label[i] = next
		for len(stack) > 0 {
			j := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			n++
			x, y := j%w, j/w
			for _, k := range [4]int{j - 1, j + 1, j - w, j + w} {
				if (k == j-1 && x == 0) || (k == j+1 && x == w-1) || (k == j-w && y == 0) || (k == j+w && y == h-1) {
					continue
				}
				if mask[k] != 0 && label[k] == 0 {
					label[k] = next
					stack = append(stack, k)
				}
			}
		}
		if n > bestN {
			best, bestN = next, n
		}
	}
	out := make([]uint8, w*h)
	if bestN == 0 {
		return out, 0
	}
	for i, l := range label {
		if l == best {
			out[i] = 1
		}
	}
	return out, bestN
}

// fillHoles sets to 1 every 0 that is not connected to the border.
func fillHoles(mask []uint8, w, h int) {
	outside := make([]bool, w*h)
	var stack []int
	push := func(i int) {
		if mask[i] == 0 && !outside[i] {
			outside[i] = true
			stack = append(stack, i)
		}
	}
	for x := range w {
		push(x)
		push((h-1)*w + x)
	}
	for y := range h {
		push(y * w)
		push(y*w + w - 1)
	}
	for len(stack) > 0 {
		j := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		x, y := j%w, j/w
		if x > 0 {
			push(j - 1)
		}
		if x < w-1 {
			push(j + 1)
		}
		if y > 0 {
			push(j - w)
		}
		if y < h-1 {
			push(j + w)
		}
	}
	for i := range mask {
		if !outside[i] {
			mask[i] = 1
		}
	}
}

// boundsOf returns x0, y0, x1, y1 (inclusive) of a mask's ones.
func boundsOf(mask []uint8, w, h int) [4]int {
	b := [4]int{w, h, -1, -1}
	for y := range h {
		for x := range w {
			if mask[y*w+x] != 0 {
				b[0], b[1] = min(b[0], x), min(b[1], y)
				b[2], b[3] = max(b[2], x), max(b[3], y)
			}
		}
	}
	return b
}

// traceOutline returns the region's outline in working pixels as the farthest
// region pixel in each of 120 directions from its middle: good for drawing.
func traceOutline(mask []uint8, w, h int) []part.Point {
	var sx, sy, n float64
	for i, v := range mask {
		if v != 0 {
			sx += float64(i % w)
			sy += float64(i / w)
			n++
		}
	}
	cx, cy := sx/n, sy/n
	const dirs = 120
	pts := make([]part.Point, 0, dirs)
	for k := range dirs {
		s, c := math.Sincos(2 * math.Pi * float64(k) / dirs)
		r := 0.0
		for t := 0.0; ; t += 0.5 {
			x, y := int(cx+t*c+0.5), int(cy+t*s+0.5)
			if x < 0 || y < 0 || x >= w || y >= h {
				break
			}
			if mask[y*w+x] != 0 {
				r = t
			}
		}
		half := float64(thumbStep) / 2
		pts = append(pts, part.Point{X: (cx+r*c)*thumbStep + half, Y: (cy+r*s)*thumbStep + half})
	}
	return pts
}
