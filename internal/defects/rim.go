package defects

import (
	"math"
	"slices"

	"finishbench/internal/part"
	"finishbench/internal/robust"
)

// The rim is rounded: its shading and the lamps mirrored in it change fast from
// the outline inwards and slowly along it. So the rim is unrolled into a strip,
// columns along the outline and rows by depth, and its base is what is constant
// along the outline, or along lines that lean a little against it: the median
// over a stretch of one such line, whichever direction varies least. A defect is
// what breaks that, being short against the stretch.
//
// strip is the unrolled rim, in search pixels.
type strip struct {
	cols, rows int       // column k stands at angle 2 pi k / cols from the middle; row j is j+0.5 pixels deep
	cx, cy     float64   // middle
	x, y       []float32 // where row j, column k lies; NaN: nowhere
	block      []int32   // per pixel of the region: the block of the rim it lies in; -1: none
	place      []float32 // and where in the grid of blocks: row and column
	blocks     int       // in all: rows of around blocks, the outermost first
	around     int
	glare      [][]bool      // per picture and place in the strip: a lamp is mirrored there
	gain       []*part.Plane // per picture: what makes up for less light on the paint there (>= 1)
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
	glareMuch       = 0.2  // of the way around
	alongLeastMM    = 0.2  // a line along the rim is at least this long
	alongTimes      = 3.0  // and so many times longer than deep
	glareDeepMM     = 0.9  // no deeper than this
	glareReachMM    = 0.7  // within this of where it is told
	glareEndsMM     = 0.25 // its ends fade over this along the outline
	rimDoubt        = 1.25 // and what is left has to stand out so many times as far as on the face
	rimPatternDoubt = 1.6  // where there is a pattern, whose contrast the rim's shading changes,
	rimFilledDoubt  = 3.2  // and where it leaves no ground
	rimMostGain     = 3.0  // light is made up for to this factor
	outerMM         = 0.15 // the outermost strip, besides what the blur smears
	outerBlurs      = 2.0  // which is so many standard deviations
)

// rimLeans are the slopes that lines of constant light may have against the outline.
var rimLeans = []float64{0, -0.06, 0.06, -0.15, 0.15, -0.3, 0.3}

// unroll makes the strip, and gives the channels their base on the rim.
func (f *face) unroll() {
	s := &strip{rows: int(rimDeepMM/f.mmPX + 0.5)}
	s.cx, s.cy = f.middle()
	s.cols = 3 * max(24, int(2*math.Sqrt(math.Pi*f.insideArea())*f.mmPX/rimStepMM))
	f.strip = s
	s.lay(f.surf.outside)
	f.setBlocks()
	stretch := int(math.Round(rimStretchMM / rimStepMM))
	every := 3 // columns in a step
	for pic := range f.scene {
		var planes []int
		for c, ch := range f.channels {
			if ch.pic == pic {
				planes = append(planes, c)
			}
		}
		rest := make([][]float32, len(planes))
		light := make([]float32, s.cols*s.rows)
		for k, c := range planes {
			rest[k] = s.sample(f.channels[c].smooth, f.channels[c].base)
			for i, v := range rest[k] {
				light[i] += v
			}
		}
		lean := s.leans(light, every, stretch)
		beyond := s.sample(f.beyondPattern(planes), part.NewPlane(f.surf.w, f.surf.h))
		s.glare = append(s.glare, s.glaring(beyond, s.along(beyond, lean, every, stretch, 0.5), s.along(beyond, lean, every, 2*stretch, 0.75),
			f.levelOn(planes), every, int(glareSideMM/f.mmPX+0.5)))
		shade, level := part.NewPlane(f.surf.w, f.surf.h), part.NewPlane(f.surf.w, f.surf.h)
		for k, c := range planes {
			ch := &f.channels[c]
			along := s.along(rest[k], lean, every, stretch, 0.5)
			base := &part.Plane{W: f.surf.w, H: f.surf.h, V: slices.Clone(ch.base.V)}
			f.eachOfRim(func(i int, col, row, share float64) {
				d := s.at(along, col, row, every)
				base.V[i] = ch.base.V[i] + float32(share)*d
				level.V[i] += ch.base.V[i]
				shade.V[i] += base.V[i]
			})
			ch.base = base
		}
		gain := part.NewPlane(f.surf.w, f.surf.h)
		for i := range gain.V {
			gain.V[i] = 1
			if shade.V[i] > 0 && level.V[i] > shade.V[i] {
				gain.V[i] = min(rimMostGain, level.V[i]/shade.V[i])
			}
		}
		s.gain = append(s.gain, gain)
	}
}

// beyondPattern is the light over base, summed over channels of one picture,
// without what the pattern's range in the other picture explains of it.
func (f *face) beyondPattern(planes []int) *part.Plane {
	out := part.NewPlane(f.surf.w, f.surf.h)
	for _, c := range planes {
		ch := f.channels[c]
		slope, span := float32(0), float32(0)
		other := f.twinOf(ch)
		if other != nil {
			if slope, _ = f.paintSlope(ch, *other); slope > 0 {
				dev := make([]float64, 0, len(f.points))
				for _, i := range f.points {
					dev = append(dev, float64(abs32(other.smooth.V[i]-other.base.V[i])))
				}
				span = float32(quantile(dev, 0.99))
			}
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
// that goes on along the outline (along), out to where it ends; and a line along
// the outline, broken it may be (upper, its third quartile over a longer stretch),
// brighter than what lies side rows to either side of it.
func (s *strip) glaring(light, along, upper []float32, level float32, every, side int) []bool {
	out := make([]bool, len(light))
	var front []int
	n := s.cols / every
	over := func(j, c int) float32 {
		return upper[j*n+c] - max(upper[max(0, j-side)*n+c], upper[min(s.rows-1, j+side)*n+c])
	}
	// what a pattern has of such lines and lights, further in
	var lines, lights []float64
	deep := int(glareDeepMM / rimDeepMM * float64(s.rows))
	for j := deep; j < s.rows-side; j++ {
		for c := range n {
			lines, lights = append(lines, float64(over(j, c))), append(lights, float64(light[j*s.cols+c*every]))
		}
	}
	most := float32(quantile(lights, 0.995))
	line, from, to := max(glareLine*level, 1.3*float32(quantile(lines, 0.99))), max(glareFrom*level, most), max(glareTo*level, most)
	for j := range deep {
		for k := range s.cols {
			i := j*s.cols + k
			if c := k / every % n; along[j*n+c] > from && light[i] > from || over(j, c) > line {
				out[i] = true
				front = append(front, i)
			}
		}
	}
	for range int(math.Round(glareReachMM / (rimStepMM / 3))) {
		var next []int
		for _, i := range front {
			j, k := i/s.cols, i%s.cols
			for dj := max(0, j-1); dj <= min(s.rows-1, j+1); dj++ {
				for dk := -1; dk <= 1; dk++ {
					if q := dj*s.cols + (k+dk+s.cols)%s.cols; !out[q] && light[q] > to {
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

// alongRim says whether a place is a lamp's line in the rim that the strip did not
// follow: long along the outline against its depth, and seen in one light only.
func (f *face) alongRim(p *place) bool {
	if f.strip == nil || p.all.long*f.shapeMM() < alongLeastMM {
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
	s := f.strip
	ends := int(math.Round(glareEndsMM / (rimStepMM / 3)))
	for pic, glare := range s.glare {
		clear := part.NewPlane(f.surf.w, f.surf.h)
		for i := range clear.V {
			clear.V[i] = 1
		}
		f.eachOfRim(func(i int, col, row, _ float64) {
			for t := -ends; t <= ends; t++ {
				if glare[int(row+0.5)*s.cols+(int(col)+t+s.cols)%s.cols] {
					clear.V[i] = 0
				}
			}
		})
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

// middle is the middle of the surface.
func (f *face) middle() (x, y float64) {
	n := 0.0
	for i, d := range f.surf.outside.V {
		if d > 0 {
			x, y, n = x+float64(i%f.surf.w), y+float64(i/f.surf.w), n+1
		}
	}
	return x / n, y / n
}

func (f *face) insideArea() float64 {
	n := 0
	for _, d := range f.surf.outside.V {
		if d > 0 {
			n++
		}
	}
	return float64(n)
}

// lay finds where rows and columns lie: along each ray from outside inwards, the
// places at which the depth reaches a row's.
func (s *strip) lay(depth *part.Plane) {
	n := s.cols * s.rows
	s.x, s.y = make([]float32, n), make([]float32, n)
	nan := float32(math.NaN())
	for i := range s.x {
		s.x[i] = nan
	}
	far := math.Hypot(float64(depth.W), float64(depth.H))
	for k := range s.cols {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(s.cols))
		row, last := 0, float32(0)
		for r := far; r > 0 && row < s.rows; r -= 0.5 {
			x, y := s.cx+r*cos, s.cy+r*sin
			if x < 0 || y < 0 || x >= float64(depth.W-1) || y >= float64(depth.H-1) {
				last = 0
				continue
			}
			d := bilinear(depth, x, y)
			for row < s.rows && d >= float32(row)+0.5 {
				t := float64(0)
				if d > last {
					t = float64((d - (float32(row) + 0.5)) / (d - last))
				}
				rr := r + 0.5*min(1, t)
				s.x[row*s.cols+k], s.y[row*s.cols+k] = float32(s.cx+rr*cos), float32(s.cy+rr*sin)
				row++
			}
			last = d
		}
	}
}

// bilinear is a plane's value between pixels; the place must lie inside.
func bilinear(p *part.Plane, x, y float64) float32 {
	x = max(0, min(x, float64(p.W-1)-1e-6))
	y = max(0, min(y, float64(p.H-1)-1e-6))
	i, j := int(x), int(y)
	u, v := float32(x-float64(i)), float32(y-float64(j))
	a := p.V[j*p.W+i:]
	b := p.V[min(p.H-1, j+1)*p.W+i:]
	r := min(1, len(a)-1, len(b)-1)
	return (a[0]*(1-u)+a[r]*u)*(1-v) + (b[0]*(1-u)+b[r]*u)*v
}

// sample is what lies over base along the strip; NaN where the strip lies nowhere.
func (s *strip) sample(v, base *part.Plane) []float32 {
	out := make([]float32, len(s.x))
	for i, x := range s.x {
		if x != x || int(x)+1 >= v.W || int(s.y[i])+1 >= v.H {
			out[i] = float32(math.NaN())
			continue
		}
		out[i] = bilinear(v, float64(x), float64(s.y[i])) - bilinear(base, float64(x), float64(s.y[i]))
	}
	return out
}

// line gathers the values along a leaning line through column k, row j.
func (s *strip) line(v []float32, k, j int, lean float64, every, stretch int, buf []float64) []float64 {
	buf = buf[:0]
	for t := -stretch; t <= stretch; t++ {
		col := ((k+t*every)%s.cols + s.cols) % s.cols
		row := float64(j) + lean*float64(t*every)
		if row < 0 || row > float64(s.rows-1) {
			continue
		}
		r := int(row)
		u := float32(row - float64(r))
		a := v[r*s.cols+col]
		if u > 0 {
			a = a*(1-u) + u*v[min(s.rows-1, r+1)*s.cols+col]
		}
		if a == a {
			buf = append(buf, float64(a))
		}
	}
	return buf
}

// leans returns for every so many columns and each row the index of the lean
// along which the light varies least.
func (s *strip) leans(light []float32, every, stretch int) []uint8 {
	n := s.cols / every
	out := make([]uint8, n*s.rows)
	buf, dev := make([]float64, 0, 64), make([]float64, 0, 64)
	for j := range s.rows {
		for k := range n {
			best := math.Inf(1)
			for l, lean := range rimLeans {
				buf = s.line(light, k*every, j, lean, every, stretch, buf)
				if len(buf) < stretch {
					continue
				}
				mid := robust.Nth(buf, len(buf)/2)
				dev = dev[:0]
				for _, v := range buf {
					dev = append(dev, math.Abs(v-mid))
				}
				spread := robust.Nth(dev, len(dev)*6/10)
				if spread < 0.97*best {
					best, out[j*n+k] = spread, uint8(l)
				}
			}
		}
	}
	return out
}

// along is a quantile along the chosen leans, for every so many columns.
func (s *strip) along(v []float32, lean []uint8, every, stretch int, q float64) []float32 {
	n := s.cols / every
	out := make([]float32, n*s.rows)
	buf := make([]float64, 0, 64)
	for j := range s.rows {
		for k := range n {
			if buf = s.line(v, k*every, j, rimLeans[lean[j*n+k]], every, stretch, buf); len(buf) > 0 {
				out[j*n+k] = float32(robust.Nth(buf, int(q*float64(len(buf)-1)+0.5)))
			}
		}
	}
	return out
}

// at interpolates values that are told for every so many columns.
func (s *strip) at(v []float32, col, row float64, every int) float32 {
	n := s.cols / every
	c := col / float64(every)
	k := int(c)
	u := float32(c - float64(k))
	j := int(row)
	t := float32(row - float64(j))
	k0, k1 := k%n, (k+1)%n
	j1 := min(s.rows-1, j+1)
	return (v[j*n+k0]*(1-u)+v[j*n+k1]*u)*(1-t) + (v[j1*n+k0]*(1-u)+v[j1*n+k1]*u)*t
}

// eachOfRim calls with each pixel of the rim, its place in the strip, and the
// share that the rim's base has there.
func (f *face) eachOfRim(with func(i int, col, row, share float64)) {
	s := f.strip
	deep := rimDeepMM / f.mmPX
	blend := rimBlendMM / f.mmPX
	for i, d := range f.surf.outside.V {
		if d <= 0 || float64(d) >= deep {
			continue
		}
		a := math.Atan2(float64(i/f.surf.w)-s.cy, float64(i%f.surf.w)-s.cx)
		if a < 0 {
			a += 2 * math.Pi
		}
		col := math.Mod(a/(2*math.Pi)*float64(s.cols), float64(s.cols))
		with(i, col, max(0, min(float64(d)-0.5, float64(s.rows-1))), min(1, (deep-float64(d))/blend))
	}
}

// setBlocks divides the rim into blocks.
func (f *face) setBlocks() {
	s := f.strip
	s.block = make([]int32, len(f.surf.outside.V))
	for i := range s.block {
		s.block[i] = -1
	}
	s.place = make([]float32, 2*len(s.block))
	bands := int(math.Ceil(rimDeepMM / rimBandMM))
	around := max(8, int(2*math.Sqrt(math.Pi*f.insideArea())*f.mmPX/rimBlockMM+0.5))
	s.blocks, s.around = bands*around, around
	f.eachOfRim(func(i int, col, row, _ float64) {
		j, k := (row+0.5)*f.mmPX/rimBandMM, col/float64(s.cols)*float64(around)
		s.block[i] = int32(min(bands-1, int(j))*around + min(around-1, int(k)))
		s.place[2*i], s.place[2*i+1] = float32(j), float32(k)
	})
}

// tame scales a map of responses down, in place, in blocks of the rim that are
// more uneven than the face, and returns the factors: what the rim's base did not
// follow is no defect. Neither the median nor the third quartile of a block moves
// with what fills a small part of it. The map's pixels are down search pixels wide.
func (f *face) tame(chi *part.Plane, down int) []float32 {
	s := f.strip
	if s == nil {
		return nil
	}
	var inner []float64
	for _, i := range f.points {
		x, y := i%f.surf.w/down, i/f.surf.w/down
		if x < chi.W && y < chi.H {
			inner = append(inner, float64(abs32(chi.V[y*chi.W+x])))
		}
	}
	mid, high := quantile(inner, 0.5), quantile(inner, 0.75)
	_, face := f.extremes(chi, down)
	top := make([]float32, s.blocks)
	in := make([][]float64, s.blocks)
	for y := range chi.H {
		for x := range chi.W {
			i := min(y*down, f.surf.h-1)*f.surf.w + min(x*down, f.surf.w-1)
			if b := s.block[i]; b >= 0 && f.surf.dist.V[i] > 0 {
				in[b] = append(in[b], float64(abs32(chi.V[y*chi.W+x])))
			}
		}
	}
	out := make([]float32, s.blocks)
	for b, v := range in {
		out[b] = 1
		if len(v) >= 8 {
			out[b] = float32(min(1, mid/max(quantile(v, 0.5), 1e-9), high/max(quantile(v, 0.75), 1e-9)))
		}
	}
	for k, b := range in {
		if len(b) >= 8 {
			top[k] = out[k] * float32(robust.Nth(b, len(b)-1))
		}
	}
	f.tameBands(top, out, face)
	doubt := float32(rimDoubt)
	if f.filled {
		doubt = rimFilledDoubt
	} else if len(f.pal.axis) > 0 {
		doubt = rimPatternDoubt
	}
	for b := range out {
		out[b] /= doubt
	}
	for y := range chi.H {
		for x := range chi.W {
			if i := min(y*down, f.surf.h-1)*f.surf.w + min(x*down, f.surf.w-1); s.block[i] >= 0 {
				chi.V[y*chi.W+x] *= f.tamed(out, i)
			}
		}
	}
	return out
}

// tameBands scales the factors of the rim's bands down where what the rim leaves
// all around reaches higher than what the face does: the same law of extremes as
// on the face, over the blocks along each band. top is the largest of each block,
// 0 where it has too little.
func (f *face) tameBands(top, factors []float32, face float32) {
	s := f.strip
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
		scale := min(1, face/gumbelLimit(m, f.p.FalsePerFace/float64(bands), f.sparkles))
		for b := band * s.around; b < (band+1)*s.around; b++ {
			factors[b] *= scale
		}
	}
}

// tamed is the factor of a pixel: between blocks' middles it is interpolated, and
// it fades where the rim ends.
func (f *face) tamed(factors []float32, i int) float32 {
	s := f.strip
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

// withoutOutermost takes off the surface's depth what the blur mixes with the ground.
func (f *face) withoutOutermost() {
	off := float32(outerMM/f.mmPX + outerBlurs*f.blurPX()*f.shapeMM()/f.mmPX)
	dist := part.NewPlane(f.surf.w, f.surf.h)
	for i, d := range f.surf.outside.V {
		dist.V[i] = d - off
	}
	f.surf.dist = dist
}
