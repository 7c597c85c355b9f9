package synth

import (
	"math"
	"math/rand/v2"

	"finishbench/internal/part"
)

// skin is what marks make of the surface at a place.
type skin struct {
	cover  float64    // share covered by what lies in the lacquer
	colour [3]float64 // and its colour
	lean   vec        // the height's gradient, in space
	gloss  float64    // what is left of the mirrored light
	dull   float64    // share of it that is spread out
	pale   float64    // share of the ground that scatters white
	dark   float64    // share of light that the ground loses
	glint  vec        // a bubble's: its wall's normal, where it has one
	bright float64    // and what share it mirrors
}

// shellMark is a mark ready to be drawn.
type shellMark struct {
	m      ShellMark
	at     spot
	slope  float64 // degrees
	box    area    // pixels that it may reach
	reach  float64 // mm
	colour [3]float64
	// put changes the skin at a place e mm right of the mark's middle and f below it, in the
	// plane that touches the shell there, and says whether the shape itself is there.
	put  func(s *skin, e, f float64) bool
	seen part.Box // left, top, right, bottom of where the shape is; guarded by the scene
	area float64  // on the surface, mm2
}

// newMark makes a mark ready.
func newMark(p ShellParams, b *shellBody, m ShellMark, colour func([3]float64) [3]float64, seed uint64) *shellMark {
	rng := rand.New(rand.NewPCG(p.Seed, 0x3a4b+seed))
	if m.Strength == 0 {
		m.Strength = 1
	}
	k := &shellMark{m: m, at: b.place(m.TurnDeg, m.BelowMM), colour: colour(m.Colour)}
	k.slope = math.Acos(min(max(k.at.normal[1], -1), 1)) / deg
	switch m.Kind {
	case part.Dust, part.Fibre, part.Sanding:
		k.flat(p, rng)
	case part.Bubble:
		k.bubble()
	case part.Crater:
		k.crater()
	case part.Run:
		k.run()
	case part.Missed:
		k.missed(rng)
	case part.Haze:
		k.haze()
	default:
		panic("synth: no way to draw a mark of kind " + string(m.Kind) + " on a shell")
	}
	if k.at.normal[1] > -0.3 { // else all of it lies behind
		x, y := b.pixel(k.at.pos)
		r := k.reach/p.MMPerPX + 2
		k.box = area{int(x - r), int(y - r), int(x+r) + 2, int(y+r) + 2}.clip(p.W, p.H)
	}
	k.seen = part.Box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	return k
}

// hump is the slope of a height that changes over 0..1 and is level at both ends, as a share of its most.
func hump(q float64) float64 {
	if q <= 0 || q >= 1 {
		return 0
	}
	return 4 * q * (1 - q)
}

// flat has Face's shapes, sampled at half pixels of the surface.
func (k *shellMark) flat(p ShellParams, rng *rand.Rand) {
	sc := &scene{px: 2 / p.MMPerPX}
	var t TruthDefect
	var s shape
	switch k.m.Kind {
	case part.Dust:
		s = sc.dust(&k.m.Defect, &t, rng)
	case part.Fibre:
		s = sc.fibre(&k.m.Defect, &t, rng)
	case part.Sanding:
		s = sc.sanding(&k.m.Defect, &t, rng)
	}
	k.reach = s.reach / sc.px
	strength, colour := k.m.Strength, k.colour
	nib := k.m.Kind == part.Dust
	r := k.m.DiameterMM * 0.9 // the lacquer rises over a nib, to beyond it
	if nib {
		k.reach = max(k.reach, r)
	}
	k.put = func(o *skin, e, f float64) bool {
		q := s.at(e*sc.px, f*sc.px)
		if q.cover > 0 {
			for i := range o.colour {
				o.colour[i] = colour[i]
			}
			o.cover = max(o.cover, q.cover)
		}
		if q.add[rake] > 0 {
			share := min(q.add[rake]/0.09, 1) // of the place that scratches fill
			o.gloss *= 1 - 0.8*share
			o.pale = max(o.pale, 0.4*share)
		}
		if d := math.Hypot(e, f); nib && d < r && d > 0 {
			slope := -0.25 * strength * hump(d/r)
			k.tilt(o, slope*e/d, slope*f/d)
		}
		return q.cover > 0.3 || q.add[rake] > 0.02
	}
}

// tilt adds a slope to the right and downwards.
func (k *shellMark) tilt(o *skin, right, down float64) {
	o.lean = o.lean.plus(k.at.right.times(right)).plus(k.at.down.times(down))
}

// bubble: a ball below the lacquer. Its wall mirrors the lamps from all sides, it hides a
// little of the ground, and the lacquer bulges over it.
func (k *shellMark) bubble() {
	if k.m.DiameterMM <= 0 {
		k.m.DiameterMM = 0.25
	}
	r, strength := k.m.DiameterMM/2, k.m.Strength
	k.reach = r
	k.put = func(o *skin, e, f float64) bool {
		d := math.Hypot(e, f)
		if d >= r {
			return false
		}
		q := d / r
		// Beyond the critical angle (sin 1/1.5) the wall mirrors all, into the lacquer.
		o.dark = 0.08*strength + 0.22*strength*smooth((q-0.67)/0.1)*smooth((1-q)/0.06)
		if d > 0 {
			lean := 0.9 * q
			o.glint = k.at.normal.plus(k.at.right.times(lean * e / d)).plus(k.at.down.times(lean * f / d)).unit()
			o.bright = strength * (0.04 + 0.3*smooth((q-0.3)/0.4)) * smooth((1-q)/0.1)
			slope := -0.06 * strength * hump(q)
			k.tilt(o, slope*e/d, slope*f/d)
		}
		return true
	}
}

// crater: a dimple (1 - q^2)^2, whose slope is 0.4 at the most.
func (k *shellMark) crater() {
	if k.m.DiameterMM <= 0 {
		k.m.DiameterMM = 0.6
	}
	r, strength := k.m.DiameterMM/2, k.m.Strength
	k.reach = r
	k.put = func(o *skin, e, f float64) bool {
		d := math.Hypot(e, f)
		if d >= r {
			return false
		}
		if d > 0 {
			q := d / r
			slope := 0.4 * strength * 2.6 * q * (1 - q*q)
			k.tilt(o, slope*e/d, slope*f/d)
		}
		return true
	}
}

// run: a ridge that widens into a drop at its lower end; slope 0.4 at the most across it.
func (k *shellMark) run() {
	m := &k.m
	if m.LengthMM <= 0 {
		m.LengthMM = 3
	}
	if m.WidthMM <= 0 {
		m.WidthMM = 0.8
	}
	if m.AngleDeg == 0 {
		m.AngleDeg = 90
	}
	m.AngleDeg = turn180(m.AngleDeg)
	half, r := m.LengthMM/2, m.WidthMM/2
	sin, cos := math.Sincos(m.AngleDeg * deg)
	k.reach = math.Hypot(half, r)
	height := func(u, c float64) float64 { // u runs down, c across
		drop := half - r
		w := r * (0.4 + 0.6*smooth((u-drop+1.2*r)/(1.2*r)))
		if u > drop {
			q := (u - drop) / r
			if q >= 1 {
				return 0
			}
			w *= math.Sqrt(1 - q*q)
		}
		up := smooth((u + half) / (0.5 * m.LengthMM))
		if q := c / w; w > 0 && q > -1 && q < 1 && up > 0 {
			q = 1 - q*q
			return 0.26 * m.Strength * w * q * q * up
		}
		return 0
	}
	k.put = func(o *skin, e, f float64) bool {
		u, c := -e*cos+f*sin, e*sin+f*cos
		h := height(u, c)
		if h == 0 {
			return false
		}
		const step = 1e-3
		du := (height(u+step, c) - height(u-step, c)) / (2 * step)
		dc := (height(u, c+step) - height(u, c-step)) / (2 * step)
		du, dc = max(min(du, 0.8), -0.8), max(min(dc, 0.8), -0.8)
		k.tilt(o, -du*cos+dc*sin, du*sin+dc*cos)
		return true
	}
}

// missed: bare ground inside, and the lacquer falls to it over 0.08 mm.
func (k *shellMark) missed(rng *rand.Rand) {
	m := &k.m
	if m.LengthMM <= 0 {
		m.LengthMM = 1.4
	}
	if m.WidthMM <= 0 {
		m.WidthMM = 1
	}
	m.AngleDeg = turn180(m.AngleDeg)
	sin, cos := math.Sincos(m.AngleDeg * deg)
	a, b := m.LengthMM/2, m.WidthMM/2
	p1, p2 := 2*math.Pi*rng.Float64(), 2*math.Pi*rng.Float64()
	const edge = 0.08
	k.reach = a + edge
	k.put = func(o *skin, e, f float64) bool {
		u, c := e*cos-f*sin, e*sin+f*cos
		q := math.Hypot(u/a, c/b)
		t := math.Atan2(c/b, u/a)
		// The outline is uneven, inwards only, so that length and width hold.
		outer := 1 - 0.05*(1+math.Sin(3*t+p1))/2 - 0.04*(1+math.Sin(5*t+p2))/2
		in := (outer - q) * b // about mm inside the edge
		if in < -edge {
			return false
		}
		bare := smooth(in/0.02 + 0.5)
		o.gloss *= 1 - 0.93*bare
		o.dull = max(o.dull, bare)
		o.pale = max(o.pale, 0.16*bare*m.Strength)
		if d := math.Hypot(e, f); d > 0 {
			slope := 0.45 * m.Strength * hump((in+edge)/(1.5*edge))
			k.tilt(o, slope*e/d, slope*f/d)
		}
		return in > 0
	}
}

// haze: dull and pale, fading over its whole size.
func (k *shellMark) haze() {
	if k.m.DiameterMM <= 0 {
		k.m.DiameterMM = 1.5
	}
	r, strength := k.m.DiameterMM/2, k.m.Strength
	k.reach = 1.6 * r
	k.put = func(o *skin, e, f float64) bool {
		q := math.Hypot(e, f) / r
		h := strength * (1 - smooth((q-0.4)/1.2))
		if h <= 0 {
			return false
		}
		o.dull = max(o.dull, min(0.9*h, 1))
		o.gloss *= 1 - 0.6*min(h, 1)
		o.pale = max(o.pale, 0.14*h)
		return q < 1
	}
}
