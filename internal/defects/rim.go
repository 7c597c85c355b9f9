package defects

import (
	"math"
	"slices"

	"finishbench/internal/part"

	"golang.org/x/sync/errgroup"
)

// The rim is rounded: its shading and the lamps mirrored in it change fast from
// the outline inwards and slowly along it. So the rim is unrolled into a strip,
// columns along the outline and rows by depth, and its base is what is constant
// along the outline, or along lines that lean a little against it: the median
// over a stretch of one such line, whichever direction varies least. A defect is
// what breaks that, being short against the stretch.
//
// rim is the unrolled rim and what was learned of it.
type rim struct {
	*strip
	block  []int32       // per pixel of the region: the block of the rim it lies in; -1: none
	place  []float32     // and where in the grid of blocks: row and column
	blocks int           // in all: rows of around blocks, the outermost first
	around int           //
	glare  [][]bool      // per picture and place in the strip: a lamp is mirrored there
	gain   []*part.Plane // per picture: what makes up for less light on the paint there (>= 1)
}

// The rim's lengths in millimetres (common practice, no source).
const (
	rimDeepMM       = 1.5  // so deep shading is sought
	rimBlendMM      = 0.4  // over the innermost part of which the face's own base takes over
	rimStretchMM    = 1.1  // half the stretch along which light is constant
	rimStepMM       = 0.13 // samples along it, and columns for which it is told
	rimBlockMM      = 1.8  // blocks along the outline in which the rim's own unevenness is told,
	rimBandMM       = 0.12 // and across it
	glareFrom       = 0.35 // a lamp's image in the rim adds this share of the face's light,
	glareTo         = 0.15 // and ends where it adds this
	glareLine       = 0.08 // or, as a line, this more than what lies beside it
	glareSideMM     = 0.12 // at this distance
	glareWanderMM   = 0.03 // and may wander in depth by this
	glareMuch       = 0.2  // of the way around
	alongLeastMM    = 0.2  // a line along the rim is at least this long
	alongTimes      = 3.0  // and so many times longer than deep
	glareDeepMM     = 0.9  // no deeper than this,
	plainCells      = 0.6  // paint is plain where less of the face than this has something else in it:
	glareFaint      = 0.03 // there, a fainter line
	glareFaintMM    = 1.2  // as deep as this
	glareReachMM    = 0.7  // within this of where it is told
	glareEndsMM     = 0.25 // its ends fade over this along the outline
	rimDoubt        = 1.25 // and what is left has to stand out so many times as far as on the face
	rimPatternDoubt = 1.6  // where there is a pattern, whose contrast the rim's shading changes,
	rimFilledDoubt  = 3.2  // and where it leaves no ground
	rimMostGain     = 3.0  // light is made up for to this factor
	outerMM         = 0.15 // the outermost strip, besides what the blur smears
	outerBlurs      = 2.0  // which is so many standard deviations
)

// rimEvery columns of the strip are a step of rimStepMM.
const rimEvery = 3

// unroll makes the strip, and gives the channels their base on the rim.
func (f *face) unroll() {
	s := &rim{strip: f.surf.newStrip(int(rimDeepMM/f.mmPX+0.5), rimStepMM/f.mmPX, rimEvery)}
	f.rim = s
	f.setBlocks()
	stretch := int(math.Round(rimStretchMM / rimStepMM))
	n := len(f.scene)
	planes, rest, lean := make([][]int, n), make([][][]float32, n), make([][]uint8, n)
	s.glare, s.gain = make([][]bool, n), make([]*part.Plane, n)
	f.eachPicture(func(pic int) {
		planes[pic] = f.planesOf(pic)
		rest[pic] = make([][]float32, len(planes[pic]))
		light := make([]float32, len(s.lies))
		for k, c := range planes[pic] {
			rest[pic][k] = s.over(f.channels[c].smooth, f.channels[c].base)
			for i, v := range rest[pic][k] {
				light[i] += v
			}
		}
		lean[pic] = s.leans(light, rimEvery, stretch)
		s.glare[pic] = f.glaring(planes[pic], lean[pic], stretch)
	})
	f.eachPicture(func(pic int) { // the bases change only when all have been looked at
		s.gain[pic] = f.rimBase(planes[pic], rest[pic], lean[pic], stretch)
	})
}

// eachPicture does something for each picture of the scene, several side by side.
func (f *face) eachPicture(do func(pic int)) {
	var all errgroup.Group
	all.SetLimit(f.p.Jobs)
	for pic := range f.scene {
		all.Go(func() error { do(pic); return nil })
	}
	_ = all.Wait() // it returns none
}

// planesOf are the channels of one picture.
func (f *face) planesOf(pic int) []int {
	var out []int
	for c, ch := range f.channels {
		if ch.pic == pic {
			out = append(out, c)
		}
	}
	return out
}

// rimBase gives channels of one picture what is constant along the rim as their
// base there, and returns what makes up for less light on the paint. rest is what
// lies over the face's base along the strip, per channel.
func (f *face) rimBase(planes []int, rest [][]float32, lean []uint8, stretch int) *part.Plane {
	w, h := f.surf.w, f.surf.h
	shade, level := part.NewPlane(w, h), part.NewPlane(w, h)
	blend := float32(rimBlendMM / f.mmPX)
	for k, c := range planes {
		ch := &f.channels[c]
		along := f.rim.along(rest[k], lean, rimEvery, stretch, 0.5)
		base := &part.Plane{W: w, H: h, V: slices.Clone(ch.base.V)}
		for _, p := range f.rim.pixels {
			share := min(1, (float32(f.rim.rows)-f.surf.outside.V[p.i])/blend)
			base.V[p.i] += share * f.rim.at(along, p, rimEvery)
			level.V[p.i] += ch.base.V[p.i]
			shade.V[p.i] += base.V[p.i]
		}
		ch.base = base
	}
	gain := part.NewPlane(w, h)
	for i := range gain.V {
		gain.V[i] = 1
		if shade.V[i] > 0 && level.V[i] > shade.V[i] {
			gain.V[i] = min(rimMostGain, level.V[i]/shade.V[i])
		}
	}
	return gain
}

// beyondPattern is the light over base, summed over channels of one picture,
// without what the pattern's range in the other picture explains of it. Plain paint
// has none: what changes there in the other picture is that picture's lamp.
func (f *face) beyondPattern(planes []int, plain bool) *part.Plane {
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
func (f *face) levelOn(planes []int) float32 {
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
func (f *face) glaring(planes []int, lean []uint8, stretch int) []bool {
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
func (f *face) plainPaint(planes []int) bool {
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

// alongRim says whether a place is a lamp's line in the rim that the strip did not
// follow: long along the outline against its depth, and seen in one light only.
func (f *face) alongRim(p *place) bool {
	if f.rim == nil || p.all.long*f.shapeMM() < alongLeastMM {
		return false
	}
	lo, hi := float32(math.Inf(1)), float32(0)
	for _, i := range p.body {
		if k := p.win.parent[i]; k >= 0 {
			d := f.surf.outside.V[k]
			lo, hi = min(lo, d), max(hi, d)
		}
	}
	if float64(hi)*f.mmPX > rimDeepMM || float64(hi-lo+1)*f.mmPX*alongTimes > p.all.long*f.shapeMM() {
		return false
	}
	seen := 0
	for _, z := range p.strength {
		if z > 5 {
			seen++
		}
	}
	return seen < 2
}

// closeGlare bars what is mirrored in the rim, and what the blur smears of it.
func (f *face) closeGlare() error {
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

// setBlocks divides the rim into blocks.
func (f *face) setBlocks() {
	s := f.rim
	s.block = make([]int32, len(f.surf.outside.V))
	for i := range s.block {
		s.block[i] = -1
	}
	s.place = make([]float32, 2*len(s.block))
	bands := int(math.Ceil(rimDeepMM / rimBandMM))
	s.around = max(8, int(2*math.Sqrt(math.Pi*f.surf.area)*f.mmPX/rimBlockMM+0.5))
	s.blocks = bands * s.around
	for _, p := range s.pixels {
		j, k := (p.row+0.5)*float32(f.mmPX/rimBandMM), p.col/float32(s.cols)*float32(s.around)
		s.block[p.i] = int32(min(bands-1, int(j))*s.around + min(s.around-1, int(k)))
		s.place[2*p.i], s.place[2*p.i+1] = j, k
	}
}

// tame scales a map of responses down, in place, in blocks of the rim that are
// more uneven than the face, and returns the factors: what the rim's base did not
// follow is no defect. Neither the median nor the third quartile of a block moves
// with what fills a small part of it. The map's pixels are down search pixels wide.
func (f *face) tame(chi *part.Plane, down int) []float32 {
	s := f.rim
	if s == nil {
		return nil
	}
	every := max(1, len(f.points)/4000)
	inner := make([]float64, 0, len(f.points)/every+1)
	for k := 0; k < len(f.points); k += every {
		x, y := f.points[k]%f.surf.w/down, f.points[k]/f.surf.w/down
		if x < chi.W && y < chi.H {
			inner = append(inner, float64(abs32(chi.V[y*chi.W+x])))
		}
	}
	mid, high := quantile(inner, 0.5), quantile(inner, 0.75)
	_, face := f.extremes(chi, down)
	top := make([]float32, s.blocks)
	out := make([]float32, s.blocks)
	var some []float64
	for b, pixels := range f.rimPixels[down] {
		out[b] = 1
		if len(pixels) < 8 {
			continue
		}
		some = some[:0]
		step := max(1, len(pixels)/300)
		most := float32(0)
		for k, i := range pixels {
			v := abs32(chi.V[i])
			most = max(most, v)
			if k%step == 0 {
				some = append(some, float64(v))
			}
		}
		out[b] = float32(min(1, (mid+still)/(quantile(some, 0.5)+still), (high+still)/(quantile(some, 0.75)+still)))
		top[b] = out[b] * most
	}
	f.tameBands(top, out, face)
	doubt := float32(rimDoubt)
	if f.filled {
		doubt = rimFilledDoubt
	} else if f.woven || len(f.pal.axis) > 0 {
		doubt = rimPatternDoubt
	}
	for b := range out {
		out[b] /= doubt
	}
	for y := range chi.H {
		for x := range chi.W {
			if i := y*down*f.surf.w + x*down; s.block[i] >= 0 {
				chi.V[y*chi.W+x] *= f.tamed(out, i)
			}
		}
	}
	return out
}

// still is a response that counts as none, in standard deviations: a map may be 0 nearly
// everywhere (common practice, no source).
const still = 0.05

// setRimPixels lists for each block of the rim the pixels that are looked at, of
// maps whose pixels are 1 or 2 search pixels wide.
func (f *face) setRimPixels() {
	if f.rim == nil {
		return
	}
	f.rimPixels = map[int][][]int32{}
	for _, down := range [2]int{1, 2} {
		w, h := f.surf.w/down, f.surf.h/down
		in := make([][]int32, f.rim.blocks)
		for y := range h {
			for x := range w {
				i := y*down*f.surf.w + x*down
				if b := f.rim.block[i]; b >= 0 && f.surf.dist.V[i] > 0 {
					in[b] = append(in[b], int32(y*w+x))
				}
			}
		}
		f.rimPixels[down] = in
	}
}

// tameBands scales the factors of the rim's bands down where what the rim leaves
// all around reaches higher than what the face does: the same law of extremes as
// on the face, over the blocks along each band. top is the largest of each block,
// 0 where it has too little.
func (f *face) tameBands(top, factors []float32, face float32) {
	s := f.rim
	bands := s.blocks / s.around
	for band := range bands {
		var m []float64
		for _, v := range top[band*s.around : (band+1)*s.around] {
			if v > 0 {
				m = append(m, float64(v))
			}
		}
		if len(m) < 8 {
			continue
		}
		scale := min(1, face/gumbelLimit(m, f.p.FalsePerFace/float64(bands), false))
		for b := band * s.around; b < (band+1)*s.around; b++ {
			factors[b] *= scale
		}
	}
}

// tamed is the factor of a pixel: between blocks' middles it is interpolated, and
// it fades where the rim ends.
func (f *face) tamed(factors []float32, i int) float32 {
	s := f.rim
	if s == nil || factors == nil || s.block[i] < 0 {
		return 1
	}
	bands := s.blocks / s.around
	row, col := s.place[2*i]-0.5, s.place[2*i+1]-0.5 // in blocks, from the middle of the first
	j := int(max(0, row))
	v := max(0, row) - float32(j)
	if col < 0 {
		col += float32(s.around)
	}
	k := int(col)
	u := col - float32(k)
	at := func(j, k int) float32 {
		if j >= bands {
			return 1
		}
		return factors[j*s.around+k%s.around]
	}
	return (at(j, k)*(1-u)+at(j, k+1)*u)*(1-v) + (at(j+1, k)*(1-u)+at(j+1, k+1)*u)*v
}

// outermostMM is how deep the strip along the outline is that is not looked at.
func (f *face) outermostMM() float64 { return outerMM + outerBlurs*f.blurPX()*f.shapeMM() }

// withoutOutermost takes off the surface's depth what the blur mixes with the ground.
func (f *face) withoutOutermost() {
	off := float32(f.outermostMM() / f.mmPX)
	dist := part.NewPlane(f.surf.w, f.surf.h)
	for i, d := range f.surf.outside.V {
		dist.V[i] = d - off
	}
	f.surf.dist = dist
}
