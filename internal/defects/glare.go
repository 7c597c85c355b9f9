package defects

import (
	"math"

	"finishbench/internal/part"
)

// What counts as a lamp mirrored in the rim; lengths in millimetres (common practice,
// no source).
const (
	glareFrom     = 0.35 // a lamp's image in the rim adds this share of the face's light,
	glareTo       = 0.15 // and ends where it adds this
	glareLine     = 0.08 // or, as a line, this more than what lies beside it
	glareSideMM   = 0.12 // at this distance
	glareWanderMM = 0.03 // and may wander in depth by this
	glareMuch     = 0.2  // of the way around
	glareDeepMM   = 0.9  // no deeper than this,
	plainCells    = 0.6  // paint is plain where less of the face than this has something else in it:
	glareFaint    = 0.03 // there, a fainter line
	glareFaintMM  = 1.2  // as deep as this
	glareReachMM  = 0.7  // within this of where it is told
	glareEndsMM   = 0.25 // its ends fade over this along the outline
)

// beyondPattern is the light over base, summed over channels of one picture,
// without what the pattern's range in the other picture explains of it. Plain paint
// has none: what changes there in the other picture is that picture's lamp.
func (f *sceneFace) beyondPattern(planes []int, plain bool) *part.Plane {
	out := part.NewPlane(f.surf.w, f.surf.h)
	for _, c := range planes {
		ch := f.channels[c]
		other, slope, span := ch.twin, ch.paint.slope, float32(0)
		if plain {
			slope = 0
		}
		if slope > 0 {
			dev := make([]float64, 0, len(f.points))
			for _, i := range f.points {
				dev = append(dev, float64(abs32(other.smooth.V[i]-other.base.V[i])))
			}
			span = float32(quantile(dev, 0.99))
		}
		for i, v := range ch.smooth.V {
			v -= ch.base.V[i]
			if slope > 0 {
				v -= slope * max(-span, min(span, other.smooth.V[i]-other.base.V[i]))
			}
			out.V[i] += v
		}
	}
	return out
}

// levelOn is the face's light, the sum of some channels.
func (f *sceneFace) levelOn(planes []int) float32 {
	sum := 0.0
	for _, c := range planes {
		v := make([]float64, 0, len(f.points))
		for _, i := range f.points {
			v = append(v, float64(f.channels[c].base.V[i]))
		}
		sum += median(v)
	}
	return float32(sum)
}

// glaring marks where a lamp is mirrored in the rim: light well above the face's
// that goes on along the outline, out to where it ends; and a line along the
// outline, broken it may be (the third quartile over a stretch tells),
// brighter than what lies to either side of it.
func (f *sceneFace) glaring(planes []int, lean []uint8, stretch int) []bool {
	s, level := f.rim, f.levelOn(planes)
	side := int(glareSideMM/f.mmPX + 0.5)
	plain := f.plainPaint(planes)
	light := s.sample(f.beyondPattern(planes, plain))
	faintest, deepest, wide, far := glareLine, glareDeepMM, light, 2*stretch
	if plain { // nothing else looks like a line of dashes there
		reach := max(1, int(glareWanderMM/f.mmPX+0.5))
		faintest, deepest, wide, far = glareFaint, glareFaintMM, s.brightestNear(light, reach), stretch
		side += reach
	}
	along, upper := s.along(light, lean, rimEvery, stretch, 0.5), s.along(wide, lean, rimEvery, far, 0.75)
	out := make([]bool, len(light))
	var front []int
	n := s.cols / rimEvery
	over := func(j, c int) float32 {
		return upper[j*n+c] - max(upper[max(0, j-side)*n+c], upper[min(s.rows-1, j+side)*n+c])
	}
	// what a pattern has of such lines and lights, further in
	var lines, lights []float64
	deep := int(deepest / rimDeepMM * float64(s.rows))
	for j := deep; j < s.rows-side; j++ {
		for c := range n {
			lines, lights = append(lines, float64(over(j, c))), append(lights, float64(light[j*s.cols+c*rimEvery]))
		}
	}
	most := float32(quantile(lights, 0.995))
	line, from, to := max(float32(faintest)*level, 1.3*float32(quantile(lines, 0.99))), max(glareFrom*level, most), max(glareTo*level, most)
	for j := range deep {
		for k := range s.cols {
			i := j*s.cols + k
			if c := k / rimEvery % n; along[j*n+c] > from && light[i] > from || over(j, c) > line {
				out[i] = true
				front = append(front, i)
			}
		}
	}
	lo, hi := s.spanned(out, int(math.Round(glareReachMM/(rimStepMM/rimEvery))), int(glareWanderMM/f.mmPX+0.5))
	for range int(math.Round(glareReachMM / (rimStepMM / rimEvery))) {
		var next []int
		for _, i := range front {
			j, k := i/s.cols, i%s.cols
			for dk := -1; dk <= 1; dk++ {
				col := (k + dk + s.cols) % s.cols
				for dj := max(lo[col], j-1); dj <= min(hi[col], j+1); dj++ {
					if q := dj*s.cols + col; !out[q] && light[q] > to {
						out[q] = true
						next = append(next, q)
					}
				}
			}
		}
		front = next
	}
	// A rim is as round all along: where its line shows on much of the way, the
	// rest of it is its, too.
	for j := range deep {
		on := 0
		for i := max(0, j-1) * s.cols; i < min(s.rows, j+2)*s.cols; i++ {
			if out[i] {
				on++
			}
		}
		if float64(on) < glareMuch*3*float64(s.cols) {
			continue
		}
		for i := j * s.cols; i < (j+1)*s.cols; i++ {
			out[i] = out[i] || light[i] > to
		}
	}
	return out
}

// spanned tells for each column between which rows a mask holds in columns within a
// reach of it, and so many rows more: what hangs on a line lies beside it.
func (s *strip) spanned(mask []bool, reach, more int) (lo, hi []int) {
	first, last := make([]int, s.cols), make([]int, s.cols)
	for k := range first {
		first[k], last[k] = s.rows, -1
		for j := range s.rows {
			if mask[j*s.cols+k] {
				first[k], last[k] = min(first[k], j), j
			}
		}
	}
	lo, hi = make([]int, s.cols), make([]int, s.cols)
	for k := range lo {
		lo[k], hi[k] = s.rows, -1
		for t := -reach; t <= reach; t++ {
			col := (k + t + s.cols) % s.cols
			lo[k], hi[k] = min(lo[k], first[col]), max(hi[k], last[col])
		}
		lo[k], hi[k] = max(0, lo[k]-more), min(s.rows-1, hi[k]+more)
	}
	return lo, hi
}

// plainPaint says whether the paint under channels of a picture has no pattern: what
// differs from its light is not all over the face.
func (f *sceneFace) plainPaint(planes []int) bool {
	cells, active := map[int]bool{}, map[int]bool{}
	far := make([]float32, len(planes))
	for k, c := range planes {
		noise, _ := f.channelNoise(f.channels[c])
		far[k] = float32(paintNoises * noise)
	}
	for _, i := range f.points {
		cell := f.cellOf(i)
		cells[cell] = true
		for k, c := range planes {
			ch := f.channels[c]
			if base := ch.base.V[i]; abs32(ch.smooth.V[i]-base) > max(paintVaries*base, far[k]) {
				active[cell] = true
			}
		}
	}
	return float64(len(active)) <= plainCells*float64(len(cells))
}

// brightestNear is the largest value within so many rows.
func (s *strip) brightestNear(v []float32, reach int) []float32 {
	out := make([]float32, len(v))
	for j := range s.rows {
		row := out[j*s.cols : (j+1)*s.cols]
		copy(row, v[j*s.cols:])
		for dj := max(0, j-reach); dj <= min(s.rows-1, j+reach); dj++ {
			for k, x := range v[dj*s.cols : (dj+1)*s.cols] {
				row[k] = max(row[k], x)
			}
		}
	}
	return out
}

// closeGlare bars what is mirrored in the rim, and what the blur smears of it.
func (f *sceneFace) closeGlare() error {
	s := f.rim
	ends := int(math.Round(glareEndsMM / (rimStepMM / rimEvery)))
	for pic, glare := range s.glare {
		near := make([]bool, len(glare)) // with its ends
		for i, in := range glare {
			for t := -ends; in && t <= ends; t++ {
				near[i/s.cols*s.cols+(i%s.cols+t+s.cols)%s.cols] = true
			}
		}
		clear := part.NewPlane(f.surf.w, f.surf.h)
		for i := range clear.V {
			clear.V[i] = 1
		}
		for _, p := range s.pixels {
			if near[int(p.row+0.5)*s.cols+int(p.col)] {
				clear.V[p.i] = 0
			}
		}
		if err := erode(clear, max(1, int(lampBlurs*f.blurPX()*f.shapeMM()/f.mmPX+0.5))); err != nil {
			return err
		}
		for i, v := range clear.V {
			if v == 0 {
				f.close(pic, i, part.Mirrored)
			}
		}
	}
	return nil
}
