package synth

import (
	"math"
	"math/rand/v2"

	"finishbench/internal/part"
)

// inside is a part in a see-through shell: a box, or a wire as a row of rounded pieces.
type inside struct {
	name   string
	colour [3]float64
	middle vec // of a ball around it
	reach  float64
	half   vec    // a box's half sides
	axes   [3]vec // and their directions
	line   []vec  // a wire's
	radius float64
	seen   part.Box // left, top, right, bottom
}

// newInside places parts in the body's own frame and turns them with it.
func newInside(p ShellParams, colour func([3]float64) [3]float64) []*inside {
	rng := rand.New(rand.NewPCG(p.Seed, 0x1451de))
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	sin, cos := math.Sincos(p.TurnDeg * deg)
	space := p.RadiusMM - p.WallMM
	around := func(far, depth float64) vec {
		s, c := math.Sincos(2 * math.Pi * rng.Float64())
		return vec{far * s, far * c, -depth}
	}
	var out []*inside
	for range p.Boxes {
		g := between(0.25, 0.6)
		o := &inside{name: "box", colour: colour([3]float64{g, g, g}), half: vec{between(1, 2), between(0.8, 1.6), between(0.7, 1.4)}}
		o.reach = o.half.length()
		o.middle = around(between(0, 0.45)*space, between(0.25, 0.55)*p.DepthMM)
		x := vec{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}.unit()
		y := x.cross(vec{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}).unit()
		o.axes = [3]vec{x, y, x.cross(y)}
		o.middle = o.middle.turned(sin, cos)
		for i := range o.axes {
			o.axes[i] = o.axes[i].turned(sin, cos)
		}
		out = append(out, o)
	}
	for i := range p.Wires {
		c := [][3]float64{{0.5, 0.18, 0.07}, {0.35, 0.02, 0.02}, {0.03, 0.1, 0.3}, {0.55, 0.5, 0.42}}[i%4]
		o := &inside{name: "wire", colour: colour(c), radius: between(0.08, 0.22)}
		// A Bezier curve through the cavity.
		var q [4]vec
		for j := range q {
			q[j] = around(between(0.3, 0.75)*space, between(0.08, 0.6)*p.DepthMM)
		}
		const n = 14
		for j := range n + 1 {
			t := float64(j) / n
			s := 1 - t
			at := q[0].times(s * s * s).plus(q[1].times(3 * s * s * t)).plus(q[2].times(3 * s * t * t)).plus(q[3].times(t * t * t))
			o.line = append(o.line, at.turned(sin, cos))
			o.middle = o.middle.plus(o.line[j].times(1.0 / (n + 1)))
		}
		for _, at := range o.line {
			o.reach = max(o.reach, at.minus(o.middle).length()+o.radius)
		}
		out = append(out, o)
	}
	for _, o := range out {
		o.seen = part.Box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	}
	return out
}

// hit is how far along a ray the part lies, and its normal there; ok false where it does not.
func (o *inside) hit(from, along vec) (t float64, n vec, ok bool) {
	m := o.middle.minus(from)
	b := m.dot(along)
	if m.dot(m)-b*b > o.reach*o.reach {
		return 0, n, false
	}
	if len(o.line) == 0 {
		lo, hi := math.Inf(-1), math.Inf(1)
		for i, a := range o.axes {
			d, c := along.dot(a), m.dot(a)
			if math.Abs(d) < 1e-9 {
				if math.Abs(c) > o.half[i] {
					return 0, n, false
				}
				continue
			}
			t0, t1, sign := (c-o.half[i])/d, (c+o.half[i])/d, -1.0
			if t0 > t1 {
				t0, t1, sign = t1, t0, 1
			}
			if t0 > lo {
				lo, n = t0, a.times(sign)
			}
			hi = min(hi, t1)
		}
		return lo, n, lo < hi && lo > 0
	}
	best := math.Inf(1)
	for i := range len(o.line) - 1 {
		// The ray's and the piece's closest approach, then the ball there.
		p, q := o.line[i], o.line[i+1]
		e := q.minus(p)
		w := p.minus(from)
		ee, ed := e.dot(e), e.dot(along)
		den := ee - ed*ed
		s := 0.0
		if den > 1e-12 {
			s = clamp01((ed*w.dot(along) - e.dot(w)) / den)
		}
		c := p.plus(e.times(s)).minus(from)
		b := c.dot(along)
		if rest := o.radius*o.radius - c.dot(c) + b*b; rest > 0 {
			if t := b - math.Sqrt(rest); t > 0 && t < best {
				best, n, ok = t, along.times(t).minus(c).unit(), true
			}
		}
	}
	return best, n, ok
}

// refract is the direction of a ray after a surface with normal n (against the ray), ratio being
// the index before over the index behind (Snell's law); ok false where it is mirrored whole.
func refract(d, n vec, ratio float64) (vec, bool) {
	c := -d.dot(n)
	k := 1 - ratio*ratio*(1-c*c)
	if k < 0 {
		return d, false
	}
	return d.times(ratio).plus(n.times(ratio*c - math.Sqrt(k))), true
}

const resinIndex = 1.5 // of an acrylate, about; from memory

// lightThrough is what is seen through a see-through wall at a place of the surface with normal n: the
// light of both lights, by channel, and the part that is hit. The wall counts as bent like a
// ball of the shell's size there: near the limb all light stays in it.
func (s *shellScene) lightThrough(pos, n vec, x, y float64) (light [2][3]float64, part int) {
	p := s.p
	part = -1
	along, _ := refract(vec{0, -1, 0}, n, 1/resinIndex)
	big := p.RadiusMM
	centre := pos.minus(n.times(big))
	// To the wall's inner side.
	in := pos.plus(along.times(chord(pos.minus(centre), along, big-p.WallMM)))
	ni := in.minus(centre).unit()
	path := in.minus(pos).length()
	out, ok := refract(along, ni, resinIndex)
	if math.IsNaN(path) || !ok {
		// Mirrored inside the wall, out again on the other side.
		path, ok = 2*p.WallMM, false
		if !math.IsNaN(in[0]) {
			back := along.minus(ni.times(2 * along.dot(ni)))
			end := in.plus(back.times(2 * p.WallMM))
			no := end.minus(centre).unit()
			if o, free := refract(back, no.times(-1), resinIndex); free {
				out = o
			} else {
				out = back
			}
		} else {
			out = along
		}
		t := s.clear(2 * path)
		for k := range light {
			v := s.skies[k].radiance(out)
			for j := range light[k] {
				light[k][j] = t[j] * (0.7*v + 0.25*s.skies[k].all*s.face[j])
			}
		}
		return light, part
	}
	nearest := math.Inf(1)
	var normal vec
	for i, o := range s.inside {
		if t, n, hit := o.hit(in, out); hit && t < nearest {
			nearest, normal, part = t, n, i
		}
	}
	if part >= 0 {
		t := s.clear(path + p.WallMM)
		at := in.plus(out.times(nearest))
		shade := 0.55 + 0.25*smooth((at[1]+p.RadiusMM)/(2*p.RadiusMM))
		for k := range light {
			e := byNormal(s.skies[k].matt, normal) * shade
			for j := range light[k] {
				light[k][j] = t[j] * s.inside[part].colour[j] * e
			}
		}
		return light, part
	}
	// Through the back wall to the ground; the inner walls add a little of the room.
	t := s.clear(2*path + 0.5*p.WallMM)
	gx := x + (in[0]-pos[0])/p.MMPerPX*2
	for k := range light {
		g := s.groundAt(k, gx, y)
		for j := range light[k] {
			light[k][j] = t[j] * (0.85*g + 0.03*s.skies[k].matt[len(s.skies[k].matt)/2]*(0.5+0.5*s.face[j]))
		}
	}
	return light, part
}

// chord is how far along a ray a ball about the origin begins; NaN where it passes by.
func chord(from, along vec, radius float64) float64 {
	b := from.dot(along)
	rest := b*b - from.dot(from) + radius*radius
	if rest < 0 {
		return math.NaN()
	}
	return -b - math.Sqrt(rest)
}

// clear is what the resin lets through over a path in mm.
func (s *shellScene) clear(path float64) [3]float64 {
	var t [3]float64
	for j := range t {
		t[j] = math.Pow(max(s.shell[j], 1e-3), path)
	}
	return t
}
