package synth

import (
	"math"
	"sync"

	"finishbench/internal/part"
)

// shellScene is one turn being drawn.
type shellScene struct {
	p           ShellParams
	body        *shellBody
	skies       [2]*sky
	ground      [2]float64
	cloth       *field
	peel        *waves
	marks       []*shellMark
	inside      []*inside
	shell, face [3]float64
	stem        [3]float64
	light       [2]*canvas
	without     [2]*canvas // the same without marks, where there are any
	marked      area       // around all marks
	sin, cos    float64    // of the turn
	seen        sync.Mutex
}

func newShellScene(p ShellParams) *shellScene {
	s := &shellScene{p: p, body: newShellBody(p)}
	s.sin, s.cos = math.Sincos(p.TurnDeg * deg)
	level := 0.05
	switch p.Ground {
	case "", "dark":
		level = 0.006
	case "cloth":
		s.cloth = newField(p.Seed^0xc107, 0.35/p.MMPerPX, 0.35/p.MMPerPX, 3)
	}
	s.ground = [2]float64{level, level * 0.25}
	s.skies = newSkies(p, s.ground)
	for k := range s.light {
		s.light[k] = newCanvas(p.W, p.H, p.Grey)
		s.without[k] = newCanvas(p.W, p.H, p.Grey)
	}
	c := s.light[0]
	s.shell, s.face, s.stem = c.colour(p.ShellRGB), c.colour(p.FaceRGB), c.colour([3]float64{0.03, 0.03, 0.03})
	s.peel = newWaves(p.Seed, p.PeelSlope, p.PeelMM)
	s.marked = area{p.W, p.H, 0, 0}
	for i, m := range p.Marks {
		k := newMark(p, s.body, m, c.colour, uint64(i))
		s.marks = append(s.marks, k)
		if b := k.box; !b.empty() {
			s.marked = area{min(s.marked.x0, b.x0-8), min(s.marked.y0, b.y0-8), max(s.marked.x1, b.x1+8), max(s.marked.y1, b.y1+8)}
		}
	}
	if p.Resin == "clear" || p.Resin == "tinted" {
		s.inside = newInside(p, c.colour)
	}
	return s
}

// groundAt is the ground's light behind a pixel.
func (s *shellScene) groundAt(k int, x, y float64) float64 {
	if s.cloth == nil {
		return s.ground[k]
	}
	return s.ground[k] * (1 + 0.35*s.cloth.at(x, y))
}

// row draws one row, four samples a pixel.
func (s *shellScene) row(y int) {
	p := s.p
	n := len(s.light[0].ch)
	mm := p.MMPerPX
	var near []*shellMark
	for _, k := range s.marks {
		if y >= k.box.y0 && y < k.box.y1 {
			near = append(near, k)
		}
	}
	boxes := make([]part.Box, len(s.marks)+len(s.inside))
	for i := range boxes {
		boxes[i] = part.Box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	}
	areas := make([]float64, len(s.marks))
	index := map[*shellMark]int{}
	for i, k := range s.marks {
		index[k] = i
	}
	grow := func(i int, x, y float64) {
		b := &boxes[i]
		b[0], b[1], b[2], b[3] = min(b[0], x-0.25), min(b[1], y-0.25), max(b[2], x+0.25), max(b[3], y+0.25)
	}
	var v, w, dw [2]float64
	for j := range v {
		v[j] = (float64(y) - 0.25 + 0.5*float64(j) - p.SeamYPX) * mm
		w[j], dw[j] = s.body.profile(v[j])
	}
	stemTop := p.DepthMM - 0.3
	for x := range p.W {
		var sum, bare [2][3]float64
		var here []*shellMark
		for _, k := range near {
			if x >= k.box.x0 && x < k.box.x1 {
				here = append(here, k)
			}
		}
		var peel vec
		for c := range 4 {
			j := c / 2
			fx, fy := float64(x)-0.25+0.5*float64(c%2), float64(y)-0.25+0.5*float64(j)
			xmm := (fx - p.AxisXPX) * mm
			in := s.body.cover(xmm, w[j], dw[j], mm/2)
			var behind [2][3]float64
			if in < 1 {
				stem := 0.0
				if p.StemMM > 0 && v[j] > stemTop {
					stem = clamp01((p.StemMM-math.Abs(xmm))/(mm/2) + 0.5)
				}
				for k := range behind {
					g := s.groundAt(k, fx, fy) * (1 - stem)
					if stem > 0 {
						q := min(math.Abs(xmm)/p.StemMM, 1)
						g0 := stem * byNormal(s.skies[k].matt, vec{xmm / p.StemMM, math.Sqrt(1 - q*q), 0})
						for i := range n {
							behind[k][i] = g + g0*s.stem[i]
						}
						continue
					}
					for i := range n {
						behind[k][i] = g
					}
				}
			}
			if in == 0 {
				for k := range sum {
					for i := range n {
						sum[k][i] += behind[k][i] / 4
						bare[k][i] += behind[k][i] / 4
					}
				}
				continue
			}
			at := s.body.at(s.body.u(xmm/w[j]), v[j], w[j], dw[j])
			if s.peel != nil && c == 0 {
				peel = s.peel.gradient(at.pos.turned(-s.sin, s.cos)).turned(s.sin, s.cos)
			}
			clean := skin{gloss: 1, lean: peel}
			marked := clean
			touched := false
			if v[j] > 0 {
				for _, k := range here {
					d := at.pos.minus(k.at.pos)
					if d.dot(d) > 4*k.reach*k.reach+0.01 || at.normal.dot(k.at.normal) < 0 {
						continue
					}
					if k.put(&marked, d.dot(k.at.right), d.dot(k.at.down)) {
						i := index[k]
						grow(i, fx, fy)
						areas[i] += mm * mm / 4 * in / max(at.normal[1], 0.02)
					}
					touched = true
				}
			}
			l, part := s.shade(at, v[j], fx, fy, &clean)
			if part >= 0 {
				grow(len(s.marks)+part, fx, fy)
			}
			m := l
			if touched {
				m, _ = s.shade(at, v[j], fx, fy, &marked)
			}
			for k := range sum {
				for i := range n {
					sum[k][i] += (in*m[k][i] + (1-in)*behind[k][i]) / 4
					bare[k][i] += (in*l[k][i] + (1-in)*behind[k][i]) / 4
				}
			}
		}
		for k, c := range s.light {
			for i := range n {
				c.ch[i][y*p.W+x] = float32(sum[k][i])
				s.without[k].ch[i][y*p.W+x] = float32(bare[k][i])
			}
		}
	}
	s.seen.Lock()
	defer s.seen.Unlock()
	join := func(into *part.Box, b part.Box) {
		into[0], into[1], into[2], into[3] = min(into[0], b[0]), min(into[1], b[1]), max(into[2], b[2]), max(into[3], b[3])
	}
	for i, k := range s.marks {
		join(&k.seen, boxes[i])
		k.area += areas[i]
	}
	for i, o := range s.inside {
		join(&o.seen, boxes[len(s.marks)+i])
	}
}

// shade is the light that a place of the surface sends to the camera in both lights, and which
// part inside is seen there, or -1.
func (s *shellScene) shade(at spot, v, x, y float64, o *skin) (out [2][3]float64, part int) {
	part = -1
	n := at.normal
	if o.lean != (vec{}) {
		g := o.lean.minus(n.times(o.lean.dot(n)))
		n = n.minus(g).unit()
		if n[1] < 0.01 {
			n[1] = 0.01
			n = n.unit()
		}
	}
	f := fresnel(n[1])
	r := mirror(n)
	p := s.p
	base := s.shell
	glue := 0.0
	var through [2][3]float64
	clear := 0.0
	if v < 0 {
		base = s.face
	} else {
		glue = smooth((p.GlueMM-v)/(0.5*p.MMPerPX) + 0.5)
		if p.GlueMM <= 0 {
			glue = 0
		}
		if s.inside != nil || p.Resin == "clear" || p.Resin == "tinted" {
			clear = 1 - glue
			through, part = s.lightThrough(at.pos, n, x, y)
			if o.cover > 0.5 {
				part = -1
			}
		}
	}
	for k, sky := range s.skies {
		matt := byNormal(sky.matt, n)
		mirrored := sky.radiance(r)
		if o.dull > 0 {
			mirrored += o.dull * (byNormal(sky.dull, n) - mirrored)
		}
		mirrored *= f * o.gloss
		if o.bright > 0 {
			mirrored += o.bright * sky.radiance(mirror(o.glint))
		}
		for j := range s.light[0].ch {
			g := base[j]
			if glue > 0 {
				g += glue * (0.35*g*[3]float64{1, 0.8, 0.5}[j] - g)
			}
			c := g * matt
			if clear > 0 {
				milky := 0.02
				if p.Resin == "tinted" {
					milky = 0.06
				}
				c += clear * (through[k][j]*(1-milky) + milky*g*matt - c)
			}
			c += o.pale * (0.65*matt - c)
			c *= 1 - o.dark
			c += o.cover * (o.colour[j]*matt - c)
			out[k][j] = (1-f)*c + mirrored
		}
	}
	return out, part
}

// truth gathers what was drawn.
func (s *shellScene) truth() ShellTruth {
	p := s.p
	t := ShellTruth{AxisXPX: p.AxisXPX, SeamYPX: p.SeamYPX, Outline: s.body.outline(), body: s.body}
	box := func(b part.Box) part.Box {
		if b[0] > b[2] {
			return part.Box{}
		}
		return part.Box{b[0], b[1], b[2] - b[0], b[3] - b[1]}
	}
	for _, k := range s.marks {
		m := TruthMark{ShellMark: k.m, Box: box(k.seen), AreaMM2: k.area, SlopeDeg: k.slope}
		m.XPX, m.YPX = s.body.pixel(k.at.pos)
		m.Visible = k.slope < 90 && m.XPX > 0 && m.YPX > 0 && m.XPX < float64(p.W-1) && m.YPX < float64(p.H-1)
		t.Marks = append(t.Marks, m)
	}
	for _, o := range s.inside {
		t.Inside = append(t.Inside, TruthInside{Name: o.name, Box: box(o.seen), Seen: o.seen[0] <= o.seen[2]})
	}
	return t
}

// contrast is the largest 3x3 mean of the difference that marks make inside a box, over its
// noise. Both canvases are blurred.
func (s *shellScene) contrast(k int, sen sensor, b part.Box) float64 {
	if b[2] <= 0 {
		return 0
	}
	p := s.p
	spread := 3 * p.BlurSigmaPX
	a := area{int(b[0] - spread), int(b[1] - spread), int(b[0]+b[2]+spread) + 2, int(b[1]+b[3]+spread) + 2}.clip(p.W, p.H)
	worst := 0.0
	for j, now := range s.light[k].ch {
		before := s.without[k].ch[j]
		for y := max(a.y0, 1); y < min(a.y1, p.H-1); y++ {
			for x := max(a.x0, 1); x < min(a.x1, p.W-1); x++ {
				sum := 0.0
				for v := -1; v <= 1; v++ {
					for i := (y+v)*p.W + x - 1; i <= (y+v)*p.W+x+1; i++ {
						sum += float64(now[i] - before[i])
					}
				}
				if sum != 0 {
					light := float64(before[y*p.W+x]) * sen.exposure
					worst = max(worst, math.Abs(sum)/9*sen.exposure/(sen.sigma(light)/3))
				}
			}
		}
	}
	return worst
}
