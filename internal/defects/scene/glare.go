package scene

import (
	"math"

	"finishbench/internal/defects/raster"
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
func (f *Face) beyondPattern(planes []int, plain bool) *part.Plane {
	out := part.NewPlane(f.Surface.W, f.Surface.H)
	for _, c := range planes {
		ch := f.Channels[c]
		other, slope, span := ch.twin, ch.paint.slope, float32(0)
		if plain {
			slope = 0
		}
		if slope > 0 {
			dev := make([]float64, 0, len(f.Points))
			for _, i := range f.Points {
				dev = append(dev, float64(raster.Abs(other.Light.V[i]-other.Base.V[i])))
			}
			span = float32(raster.Quantile(dev, 0.99))
		}
		for i, v := range ch.Light.V {
			v -= ch.Base.V[i]
			if slope > 0 {
				v -= slope * max(-span, min(span, other.Light.V[i]-other.Base.V[i]))
			}
			out.V[i] += v
		}
	}
	return out
}

// levelOn is the face's light, the sum of some channels.
func (f *Face) levelOn(planes []int) float32 {
	sum := 0.0
	for _, c := range planes {
		v := make([]float64, 0, len(f.Points))
		for _, i := range f.Points {
			v = append(v, float64(f.Channels[c].Base.V[i]))
		}
		sum += raster.Median(v)
	}
	return float32(sum)
}

// glaring marks where a lamp is mirrored in the rim: light well above the face's
// that goes on along the outline, out to where it ends; and a line along the
// outline, broken it may be (the third quartile over a stretch tells),
// brighter than what lies to either side of it.
func (f *Face) glaring(planes []int, lean []uint8, stretch int) []bool {
	s, level := f.Rim, f.levelOn(planes)
	side := int(glareSideMM/f.MMPX + 0.5)
	plain := f.PlainPaint(planes)
	light := s.Sample(f.beyondPattern(planes, plain))
	faintest, deepest, wide, far := glareLine, glareDeepMM, light, 2*stretch
	if plain { // nothing else looks like a line of dashes there
		reach := max(1, int(glareWanderMM/f.MMPX+0.5))
		faintest, deepest, wide, far = glareFaint, glareFaintMM, s.BrightestNear(light, reach), stretch
		side += reach
	}
	along, upper := s.Along(light, lean, RimEvery, stretch, 0.5), s.Along(wide, lean, RimEvery, far, 0.75)
	out := make([]bool, len(light))
	var front []int
	n := s.Cols / RimEvery
	over := func(j, c int) float32 {
		return upper[j*n+c] - max(upper[max(0, j-side)*n+c], upper[min(s.Rows-1, j+side)*n+c])
	}
	// what a pattern has of such lines and lights, further in
	var lines, lights []float64
	deep := int(deepest / RimDeepMM * float64(s.Rows))
	for j := deep; j < s.Rows-side; j++ {
		for c := range n {
			lines, lights = append(lines, float64(over(j, c))), append(lights, float64(light[j*s.Cols+c*RimEvery]))
		}
	}
	most := float32(raster.Quantile(lights, 0.995))
	line, from, to := max(float32(faintest)*level, 1.3*float32(raster.Quantile(lines, 0.99))), max(glareFrom*level, most),
		max(glareTo*level, most)
	for j := range deep {
		for k := range s.Cols {
			i := j*s.Cols + k
			if c := k / RimEvery % n; along[j*n+c] > from && light[i] > from || over(j, c) > line {
				out[i] = true
				front = append(front, i)
			}
		}
	}
	lo, hi := s.Spanned(out, int(math.Round(glareReachMM/(RimStepMM/RimEvery))), int(glareWanderMM/f.MMPX+0.5))
	for range int(math.Round(glareReachMM / (RimStepMM / RimEvery))) {
		var next []int
		for _, i := range front {
			j, k := i/s.Cols, i%s.Cols
			for dk := -1; dk <= 1; dk++ {
				col := (k + dk + s.Cols) % s.Cols
				for dj := max(lo[col], j-1); dj <= min(hi[col], j+1); dj++ {
					if q := dj*s.Cols + col; !out[q] && light[q] > to {
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
		for i := max(0, j-1) * s.Cols; i < min(s.Rows, j+2)*s.Cols; i++ {
			if out[i] {
				on++
			}
		}
		if float64(on) < glareMuch*3*float64(s.Cols) {
			continue
		}
		for i := j * s.Cols; i < (j+1)*s.Cols; i++ {
			out[i] = out[i] || light[i] > to
		}
	}
	return out
}

// PlainPaint says whether the paint under channels of a picture has no pattern: what
// differs from its light is not all over the face.
func (f *Face) PlainPaint(planes []int) bool {
	cells, active := map[int]bool{}, map[int]bool{}
	far := make([]float32, len(planes))
	for k, c := range planes {
		noise, _ := f.ChannelNoise(f.Channels[c])
		far[k] = float32(paintNoises * noise)
	}
	for _, i := range f.Points {
		cell := f.CellOf(i)
		cells[cell] = true
		for k, c := range planes {
			ch := f.Channels[c]
			if base := ch.Base.V[i]; raster.Abs(ch.Light.V[i]-base) > max(paintVaries*base, far[k]) {
				active[cell] = true
			}
		}
	}
	return float64(len(active)) <= plainCells*float64(len(cells))
}

// closeGlare bars what is mirrored in the rim, and what the blur smears of it.
func (f *Face) closeGlare() error {
	s := f.Rim
	ends := int(math.Round(glareEndsMM / (RimStepMM / RimEvery)))
	for pic, glare := range s.glare {
		near := make([]bool, len(glare)) // with its ends
		for i, in := range glare {
			for t := -ends; in && t <= ends; t++ {
				near[i/s.Cols*s.Cols+(i%s.Cols+t+s.Cols)%s.Cols] = true
			}
		}
		clear := part.NewPlane(f.Surface.W, f.Surface.H)
		for i := range clear.V {
			clear.V[i] = 1
		}
		for _, p := range s.Pixels {
			if near[int(p.Row+0.5)*s.Cols+int(p.Col)] {
				clear.V[p.I] = 0
			}
		}
		if err := raster.Erode(clear, max(1, int(lampBlurs*f.BlurPX()*f.ShapeMM()/f.MMPX+0.5))); err != nil {
			return err
		}
		for i, v := range clear.V {
			if v == 0 {
				f.Exclude(pic, i, part.Mirrored)
			}
		}
	}
	return nil
}
