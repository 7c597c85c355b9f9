package synth

import (
	"math"
	"math/rand/v2"
)

// edgePaint holds what the shading of one unit needs.
type edgePaint struct {
	p           EdgeParams
	s           *edgeShape
	shell, face [3]float64
	stem        [3]float64
	panel       float64
	half        [2][]float32 // half-width by height, one entry a half pixel from v0 on
	lean        []float32    // half the slope of half-width^2 along v, same heights
	v0          float64
}

// drawUnit draws one unit onto the background.
func drawUnit(c *canvas, p EdgeParams, s *edgeShape, turn uint64) {
	pt := &edgePaint{p: p, s: s, shell: c.colour(p.ShellRGB), face: c.colour(p.FaceRGB),
		stem: c.colour([3]float64{0.02, 0.02, 0.02}), panel: p.PanelLevel}
	if p.DarkPanel {
		pt.panel = 0.004
	}
	if p.Flat {
		pt.shell, pt.face, pt.stem = [3]float64{}, [3]float64{}, [3]float64{}
	}
	pt.v0 = -s.thick - 4
	for i := range pt.half {
		t := make([]float32, int(2*(s.depth-pt.v0))+8)
		for k := range t {
			v := pt.v0 + float64(k)/2
			if v > s.depth/3 {
				b2, _ := s.shell2(v)
				t[k] = float32(math.Sqrt(max(b2, 0)))
			} else {
				t[k] = float32(s.wall(i, max(v, -s.thick)))
			}
		}
		pt.half[i] = t
	}
	pt.lean = make([]float32, len(pt.half[0]))
	for k := range pt.lean {
		_, sl := s.shell2(pt.v0 + float64(k)/2)
		pt.lean[k] = float32(sl / 2)
	}
	box := s.extent()
	cover := make([]float32, c.w*c.h)
	rows(box.y0, box.y1, func(y int) { pt.row(c, cover, box, y) })
	if !p.Flat {
		rng := rand.New(rand.NewPCG(p.Seed, 0xed6e+turn))
		pt.highlights(c, cover, box, rng)
		pt.witness(c, cover, box, rng)
		if p.Grain {
			pt.grain(c, cover, box, rng)
		}
	}
}

// row draws one row of the unit.
func (pt *edgePaint) row(c *canvas, cover []float32, box area, y int) {
	s := pt.s
	for x := box.x0; x < box.x1; x++ {
		u, v := s.toUnit(float64(x), float64(y))
		if v < -s.thick-2 || v > s.lastV+2 {
			continue
		}
		if v > s.depth+2 && (s.stem == 0 || math.Abs(u) > s.stem+2) {
			continue
		}
		a := pt.coverAt(x, y, u, v)
		stem := 0.0
		if s.stem > 0 && v > s.depth*0.8 && a < 1 {
			stem = halfPlaneArea(s.stem-math.Abs(u), s.cos, s.sin, 1) * (1 - a)
		}
		if a == 0 && stem == 0 {
			continue
		}
		i := y*c.w + x
		cover[i] = float32(a)
		col := pt.colourAt(u, v)
		for k, ch := range c.ch {
			ch[i] = float32(a*col[k] + stem*pt.stem[k] + (1-a-stem)*float64(ch[i]))
		}
	}
}

// coverAt is the share of a pixel that the unit covers (without the holder).
// Only pixels near the outline are looked at closely.
func (pt *edgePaint) coverAt(x, y int, u, v float64) float64 {
	s := pt.s
	h := pt.halfAt(u, v)
	if v > -s.thick+s.rim && v < s.depth/3 {
		if d := h - math.Abs(u); d > 4+2*math.Abs(s.gapDepth) {
			return 1
		} else if d < -4-2*math.Abs(s.gapDepth) {
			return 0
		}
	}
	if v > s.depth/3+1 && v < s.depth-2 {
		if d := pt.inside(u, v, h); d > 4 {
			return 1
		} else if d < -4 {
			return 0
		}
	} else if v < -s.thick+s.rim || v > s.depth/3 {
		if d, _, _ := s.distance(u, v); d > 2 {
			return 1
		} else if d < -2 {
			return 0
		}
	}
	// Four by four cells, each cut by the outline's tangent nearest to it.
	const n = 4
	sum := 0.0
	for j := range n {
		for i := range n {
			uu, vv := s.toUnit(float64(x)+(float64(i)+0.5)/n-0.5, float64(y)+(float64(j)+0.5)/n-0.5)
			d, nu, nv := s.distance(uu, vv)
			nx, ny := nu*s.cos-s.flip*nv*s.sin, nu*s.sin+s.flip*nv*s.cos
			sum += halfPlaneArea(d, nx, ny, 1.0/n)
		}
	}
	return sum / (n * n)
}

func (pt *edgePaint) halfAt(u, v float64) float64 {
	return float64(pt.half[sideOf(u)][pt.entry(v)])
}

// inside is the distance inside the bowl's limb from the tables, h being the
// half-width there: rough, for shading and for telling what is far from it.
func (pt *edgePaint) inside(u, v, h float64) float64 {
	l := float64(pt.lean[pt.entry(v)])
	return (h*h - u*u) / (2 * math.Sqrt(u*u+l*l))
}

// entry is the place of height v in the tables.
func (pt *edgePaint) entry(v float64) int {
	return min(max(int(2*(v-pt.v0)+0.5), 0), len(pt.lean)-1)
}

// colourAt is the unit's linear light at a place. Rules of thumb: walls are lit
// from the front and darken to the limbs; the bowl darkens downwards; a faint
// lighter band runs inside the limb; the rim has a dark line.
func (pt *edgePaint) colourAt(u, v float64) [3]float64 {
	s := pt.s
	if pt.p.Flat {
		return [3]float64{}
	}
	h := max(pt.halfAt(u, v), 1)
	inside := h - math.Abs(u)
	if v > 0 { // the bowl's limb leans
		inside = pt.inside(u, v, h)
	}
	n := min(math.Abs(u)/h, 1)
	light := 0.2 + 0.8*(1-n*n)
	if v > 0 {
		t := min(v/s.depth, 1)
		light *= 1 - 0.85*t*t*math.Sqrt(t)
	}
	seam := v - s.seamAt(u)
	share := clamp01(seam + 0.5) // of the shell
	white := 0.0
	if seam < 1 {
		r := (v + s.thick) / s.px // mm below the top
		switch {
		case r < 0.02:
			light *= 1.25
		case r < 0.5:
			light *= 1 - 0.2*math.Exp(-(r-0.02)/0.05)
		}
		white += 0.012 * smooth((0.16*s.px-inside)*2/s.px/0.02) * (1 - share)
	}
	if share > 0 {
		white += 0.022 * clamp01((0.17*s.px-inside)/2) * share
		if far := max(seam, 0) / (0.08 * s.px); far < 12 {
			light *= 1 - 0.12*math.Exp(-far)*share
		}
	}
	if pt.p.GlueLine {
		if q := seam / (0.012 * s.px); math.Abs(q) < 6 {
			light *= 1 - 0.35*math.Exp(-q*q/2)
		}
	}
	behind := s.stem > 0 && v > 0.8*s.depth && math.Abs(u) < s.stem+1 // the holder, not the panel
	if g := pt.p.Grazing; g > 0 && !behind {
		white += g * pt.panel * meanDecay(inside, grazingMM*s.px)
	}
	var out [3]float64
	for k := range out {
		out[k] = light*(pt.face[k]*(1-share)+pt.shell[k]*share) + white
	}
	return out
}

// grazingMM is the depth in which mirrored light falls to 1/e: a rule of thumb.
const grazingMM = 0.006

// meanDecay is the mean of exp(-depth/reach) over the part of a pixel that lies
// inside the limb, d being how far inside its middle is (both in pixels): the
// decay is steeper than a pixel is wide, so one sample of it would not do.
func meanDecay(d, reach float64) float64 {
	lo := max(0, d-0.5)
	hi := max(d+0.5, lo+0.01)
	return reach * (math.Exp(-lo/reach) - math.Exp(-hi/reach)) / (hi - lo)
}

// marks calls f for each pixel of the unit whose place lies within the given
// stretch of u and v.
func (pt *edgePaint) marks(box area, w int, cover []float32, u0, u1, v0, v1 float64, f func(i int, u, v float64)) {
	s := pt.s
	b := area{1 << 30, 1 << 30, -1 << 30, -1 << 30}
	for _, u := range []float64{u0, u1} {
		for _, v := range []float64{v0, v1} {
			x, y := s.toPicture(u, v)
			b = area{min(b.x0, int(x)-2), min(b.y0, int(y)-2), max(b.x1, int(x)+3), max(b.y1, int(y)+3)}
		}
	}
	b = area{max(b.x0, box.x0), max(b.y0, box.y0), min(b.x1, box.x1), min(b.y1, box.y1)}
	for y := b.y0; y < b.y1; y++ {
		for x := b.x0; x < b.x1; x++ {
			i := y*w + x
			if cover[i] == 0 {
				continue
			}
			u, v := s.toUnit(float64(x), float64(y))
			if u >= u0 && u <= u1 && v >= v0 && v <= v1 {
				f(i, u, v)
			}
		}
	}
}

// highlights draws upright reflections of lamps on the faceplate's wall.
func (pt *edgePaint) highlights(c *canvas, cover []float32, box area, rng *rand.Rand) {
	s := pt.s
	for range pt.p.Highlights {
		u := s.half * (1.7*rng.Float64() - 0.85)
		width := (0.02 + 0.12*rng.Float64()*rng.Float64()) * s.px
		lean := 0.15 * (rng.Float64() - 0.5)
		bright := 0.06 + 0.2*rng.Float64()
		start, end := -s.thick+0.07*s.px, -0.03*s.px
		if rng.IntN(4) == 0 {
			end = start + (0.1+0.3*rng.Float64())*s.px
		}
		reach := 2*width + s.thick*math.Abs(lean)
		pt.marks(box, c.w, cover, u-reach, u+reach, -s.thick, s.px, func(i int, uu, v float64) {
			t := math.Abs(uu-u-lean*(v+s.thick/2)) - width/2
			a := clamp01(0.5-t) * clamp01(v-start+0.5) * clamp01(min(end, s.seamAt(uu)-0.03*s.px)-v+0.5)
			for _, ch := range c.ch {
				ch[i] += float32(a*bright) * cover[i]
			}
		})
	}
}

// witness draws fine straight lines on the shell, level with the seam.
func (pt *edgePaint) witness(c *canvas, cover []float32, box area, rng *rand.Rand) {
	s := pt.s
	for range pt.p.WitnessMarks {
		v := (0.5 + 2.5*rng.Float64()) * s.px
		sigma := (0.005 + 0.008*rng.Float64()) * s.px
		gain := 0.1 + 0.15*rng.Float64()
		if rng.IntN(3) == 0 {
			gain = -gain
		}
		u0, u1 := -1.1*s.half, 1.1*s.half
		switch rng.IntN(3) {
		case 0:
			u0 = s.half * (rng.Float64() - 0.5)
		case 1:
			u1 = s.half * (rng.Float64() - 0.5)
		}
		pt.marks(box, c.w, cover, u0, u1, v-5*sigma-1, v+5*sigma+1, func(i int, u, vv float64) {
			q := (vv - v) / max(sigma, 0.4)
			weak := min(1, sigma/0.4)
			f := float32(1 + gain*weak*math.Exp(-q*q/2))
			for _, ch := range c.ch {
				ch[i] *= 1 + (f-1)*cover[i]
			}
		})
	}
}

// grain draws the faceplate's pattern on its wall: broad streaks and small
// grains.
func (pt *edgePaint) grain(c *canvas, cover []float32, box area, rng *rand.Rand) {
	s := pt.s
	f := newField(rng.Uint64(), 0.5*s.px, 3*s.px, 3)
	g := newField(rng.Uint64(), 0.06*s.px, 0.06*s.px, 2)
	pt.marks(box, c.w, cover, -1.2*s.half, 1.2*s.half, -s.thick-1, s.px, func(i int, u, v float64) {
		face := clamp01(s.seamAt(u) - v + 0.5)
		if face == 0 {
			return
		}
		m := 1 + face*(0.5*f.at(u, v)+0.12*g.at(u, v))
		for _, ch := range c.ch {
			ch[i] *= 1 + float32(max(m, 0.2)-1)*cover[i]
		}
	})
}
