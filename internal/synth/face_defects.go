package synth

import (
	"math"
	"math/rand/v2"

	"finishbench/internal/part"
)

// touch is what a defect does to one pixel: it covers a share of it with a
// colour, and the lacquer over it sends more or less light.
type touch struct {
	cover  float64    // opaque share
	gain   [2]float64 // the light is multiplied by 1 + gain
	add    [2]float64 // and this is added, white
	toward [2]float64 // share by which the light moves towards scatter
	bare   float64    // share of the mirrored light that is lost
}

// What fine scratches look like when they scatter all they get.
var scatter = [2]float64{0.16, 0.09}

// shape is a defect ready to be drawn: what it does to the pixel dx, dy pixels
// from its place, and how far it reaches.
type shape struct {
	reach  float64
	colour [3]float64
	at     func(dx, dy float64) touch
}

// defect draws one defect and says what was drawn.
func (sc *scene) defect(d Defect, rng *rand.Rand) TruthDefect {
	if d.Strength == 0 {
		d.Strength = 1
	}
	x, y := sc.cx+d.XMM*sc.px, sc.cy+d.YMM*sc.px
	t := TruthDefect{Kind: d.Kind, XPX: x, YPX: y}
	var s shape
	switch d.Kind {
	case part.Bubble:
		s = sc.bubble(&d, &t, rng)
	case part.Dust:
		s = sc.dust(&d, &t, rng)
	case part.Fibre:
		s = sc.fibre(&d, &t, rng)
	case part.Sanding:
		s = sc.sanding(&d, &t, rng)
	case part.Crater:
		s = sc.crater(&d, &t, rng)
	case part.Run:
		s = sc.run(&d, &t)
	case part.Haze:
		s = sc.haze(&d, &t)
	case part.Missed:
		s = sc.missed(&d, &t, rng)
	case part.Chip:
		x, y = sc.ontoEdge(x, y)
		t.XPX, t.YPX = x, y
		s = sc.chip(&d, &t, x, y)
	}
	s.colour = sc.light[0].colour(d.Colour)
	t.Box[0] += x
	t.Box[1] += y
	sc.put(s, x, y, &t)
	return t
}

// put draws a shape on both pictures and measures its contrast.
func (sc *scene) put(s shape, x, y float64, t *TruthDefect) {
	spread := int(math.Ceil(4*sc.p.BlurSigmaPX)) + 3
	r := s.reach + float64(spread)
	a := area{int(math.Floor(x - r)), int(math.Floor(y - r)), int(math.Ceil(x+r)) + 1, int(math.Ceil(y+r)) + 1}.clip(sc.p.W, sc.p.H)
	if a.empty() {
		return
	}
	aw, n := a.x1-a.x0, len(sc.light[0].ch)
	var before [2]*canvas
	for k, c := range sc.light {
		b := &canvas{w: aw, h: a.y1 - a.y0}
		for _, ch := range c.ch {
			cut := make([]float32, 0, aw*b.h)
			for yy := a.y0; yy < a.y1; yy++ {
				cut = append(cut, ch[yy*c.w+a.x0:yy*c.w+a.x1]...)
			}
			b.ch = append(b.ch, cut)
		}
		before[k] = b
	}
	for yy := a.y0; yy < a.y1; yy++ {
		for xx := a.x0; xx < a.x1; xx++ {
			fx, fy := float64(xx), float64(yy)
			q := s.at(fx-x, fy-y)
			if q == (touch{}) {
				continue
			}
			d, nx, ny, angle := sc.place(fx, fy)
			in := 1.0
			if d < 1 {
				if in = halfPlaneArea(d, nx, ny, 1); in == 0 {
					continue
				}
			}
			l := sc.litAt(fx, fy, d, angle)
			i := yy*sc.p.W + xx
			for k, c := range sc.light {
				for j := range n {
					v := float64(c.ch[j][i])
					w := v - q.bare*l.add[k]
					w += q.cover * (l.matt[k]*s.colour[j] + (1-q.bare)*l.add[k] - w)
					w += q.toward[k] * (scatter[k] - w)
					w = w*(1+q.gain[k]) + q.add[k]
					c.ch[j][i] = float32(v + in*(max(w, 0)-v))
				}
			}
		}
	}
	for k := range sc.light {
		cnr := sc.contrast(k, before[k], a)
		if k == dome {
			t.CNRDiffuse = cnr
		} else {
			t.CNRRaking = cnr
		}
	}
}

// contrast compares a block with what it was before.
func (sc *scene) contrast(k int, before *canvas, a area) float64 {
	now := sc.light[k]
	diff := &canvas{w: before.w, h: before.h}
	for j, ch := range before.ch {
		dv := make([]float32, len(ch))
		for i := range dv {
			y, x := i/before.w+a.y0, i%before.w+a.x0
			dv[i] = now.ch[j][y*now.w+x] - ch[i]
		}
		diff.ch = append(diff.ch, dv)
	}
	diff.blur(sc.p.BlurSigmaPX, area{0, 0, diff.w, diff.h})
	sen := sc.sensor(0)
	worst := 0.0
	for j, dv := range diff.ch {
		for y := 1; y < diff.h-1; y++ {
			for x := 1; x < diff.w-1; x++ {
				sum := float32(0)
				for v := -1; v <= 1; v++ {
					i := (y+v)*diff.w + x
					sum += dv[i-1] + dv[i] + dv[i+1]
				}
				if sum != 0 {
					l := float64(before.ch[j][y*diff.w+x]) * sen.exposure
					worst = max(worst, math.Abs(float64(sum))/9*sen.exposure/(sen.sigma(l)/3))
				}
			}
		}
	}
	return worst
}

// bubble: under the dome a faint disc with a slightly darker or lighter rim;
// under raking light a darker disc and glints of the lamps on its circle.
func (sc *scene) bubble(d *Defect, t *TruthDefect, rng *rand.Rand) shape {
	if d.DiameterMM <= 0 {
		d.DiameterMM = 0.25
	}
	r := d.DiameterMM / 2 * sc.px
	t.DiameterMM = d.DiameterMM
	t.Box = part.Box{-r, -r, 2 * r, 2 * r}
	rimGain := -0.13
	if rng.IntN(4) == 0 {
		rimGain = 0.1
	}
	bright := 0.06 + 0.14*rng.Float64()
	if rng.IntN(3) == 0 {
		bright *= 0.15 // sometimes the lamps hardly mirror
	}
	type glint struct{ x, y, tx, ty, long, thin, a float64 }
	var glints []glint
	for k := range 4 {
		a := (45 + 90*float64(k) + 16*(rng.Float64()-0.5)) * math.Pi / 180
		sin, cos := math.Sincos(a)
		at := (0.62 + 0.2*rng.Float64()) * r
		glints = append(glints, glint{at * cos, at * sin, -sin, cos,
			max(0.10*r, 0.5), max(0.05*r, 0.35), bright * (0.4 + 0.6*rng.Float64())})
	}
	w := max(0.1*r, 0.6)
	return shape{reach: r + 3*w + 1, at: func(dx, dy float64) touch {
		var q touch
		rr := math.Hypot(dx, dy)
		disc := clamp01(r - rr + 0.5)
		e := (rr - r + w) / w
		ring := math.Exp(-e * e / 2)
		if disc == 0 && ring < 1e-4 {
			return q
		}
		q.gain[dome] = d.Strength * (rimGain*ring - 0.02*disc)
		q.gain[rake] = d.Strength * (-0.14*disc - 0.1*ring)
		for _, g := range glints {
			u := ((dx-g.x)*g.tx + (dy-g.y)*g.ty) / g.long
			v := ((dx-g.x)*g.ty - (dy-g.y)*g.tx) / g.thin
			if s := u*u + v*v; s < 20 {
				q.add[rake] += d.Strength * g.a * math.Exp(-s/2)
				q.add[dome] += d.Strength * 0.1 * g.a * math.Exp(-s/2)
			}
		}
		return q
	}}
}

// ellipse is one lobe of a dust inclusion.
type ellipse struct{ x, y, a, b, sin, cos float64 }

func (e ellipse) holds(x, y float64) bool {
	u := ((x-e.x)*e.cos + (y-e.y)*e.sin) / e.a
	v := ((y-e.y)*e.cos - (x-e.x)*e.sin) / e.b
	return u*u+v*v <= 1
}

// span is the half-width and half-height of the ellipse's box.
func (e ellipse) span() (sx, sy float64) {
	return math.Hypot(e.a*e.cos, e.b*e.sin), math.Hypot(e.a*e.sin, e.b*e.cos)
}

// dust: one to three overlapping ellipses, opaque, the same in both lights.
func (sc *scene) dust(d *Defect, t *TruthDefect, rng *rand.Rand) shape {
	if d.DiameterMM <= 0 {
		d.DiameterMM = 0.15
	}
	var lobes []ellipse
	for k := range 1 + rng.IntN(3) {
		sin, cos := math.Sincos(math.Pi * rng.Float64())
		e := ellipse{a: 0.5 + 0.5*rng.Float64(), b: 0.35 + 0.4*rng.Float64(), sin: sin, cos: cos}
		if k > 0 { // starts inside the last one
			s2, c2 := math.Sincos(2 * math.Pi * rng.Float64())
			l := lobes[k-1]
			e.x, e.y = l.x+0.7*l.b*c2, l.y+0.7*l.b*s2
		}
		lobes = append(lobes, e)
	}
	box := func() (x0, y0, x1, y1 float64) {
		x0, y0, x1, y1 = math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
		for _, e := range lobes {
			sx, sy := e.span()
			x0, y0, x1, y1 = min(x0, e.x-sx), min(y0, e.y-sy), max(x1, e.x+sx), max(y1, e.y+sy)
		}
		return
	}
	holds := func(x, y float64) bool {
		for _, e := range lobes {
			if e.holds(x, y) {
				return true
			}
		}
		return false
	}
	// Count the union's area on a fine grid, then scale it to the size asked
	// for, middle on the place.
	x0, y0, x1, y1 := box()
	const n = 300
	count := 0
	for j := range n {
		for i := range n {
			if holds(x0+(x1-x0)*(float64(i)+0.5)/n, y0+(y1-y0)*(float64(j)+0.5)/n) {
				count++
			}
		}
	}
	area := (x1 - x0) * (y1 - y0) * float64(count) / (n * n)
	k := d.DiameterMM * sc.px / 2 * math.Sqrt(math.Pi/area)
	mx, my := (x0+x1)/2, (y0+y1)/2
	for i := range lobes {
		e := &lobes[i]
		e.x, e.y, e.a, e.b = (e.x-mx)*k, (e.y-my)*k, e.a*k, e.b*k
	}
	x0, y0, x1, y1 = box()
	t.DiameterMM = d.DiameterMM
	t.Box = part.Box{x0, y0, x1 - x0, y1 - y0}
	return shape{reach: max(-x0, x1, -y0, y1) * math.Sqrt2, at: func(dx, dy float64) touch {
		if dx < x0-1 || dx > x1+1 || dy < y0-1 || dy > y1+1 {
			return touch{}
		}
		const n = 8
		in := 0
		for j := range n {
			for i := range n {
				if holds(dx+(float64(i)+0.5)/n-0.5, dy+(float64(j)+0.5)/n-0.5) {
					in++
				}
			}
		}
		return touch{cover: min(d.Strength, 1) * float64(in) / (n * n)}
	}}
}

// fibre: a thin curved line, the same in both lights.
func (sc *scene) fibre(d *Defect, t *TruthDefect, rng *rand.Rand) shape {
	if d.LengthMM <= 0 {
		d.LengthMM = 1.2
	}
	if d.WidthMM <= 0 {
		d.WidthMM = 0.016
	}
	// A gentle S: the direction swings along the line.
	bend, twist := 1.6*(rng.Float64()-0.5), 1.2*(rng.Float64()-0.5)
	const n = 64
	line := make([]part.Point, n+1)
	step := d.LengthMM * sc.px / n
	for i := 1; i <= n; i++ {
		s := (float64(i) - 0.5) / n
		a := bend*(s-0.5)*2 + twist*math.Sin(2*math.Pi*s)
		sin, cos := math.Sincos(a)
		line[i] = part.Point{X: line[i-1].X + step*cos, Y: line[i-1].Y + step*sin}
	}
	// Turn the chord to the angle asked for and move its box to the place.
	chord := math.Atan2(line[n].Y, line[n].X)
	sin, cos := math.Sincos(-d.AngleDeg*math.Pi/180 - chord)
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for i, q := range line {
		line[i] = part.Point{X: q.X*cos - q.Y*sin, Y: q.X*sin + q.Y*cos}
		x0, y0, x1, y1 = min(x0, line[i].X), min(y0, line[i].Y), max(x1, line[i].X), max(y1, line[i].Y)
	}
	mx, my := (x0+x1)/2, (y0+y1)/2
	for i := range line {
		line[i].X -= mx
		line[i].Y -= my
	}
	w := d.WidthMM * sc.px
	hx, hy := (x1-x0+w)/2, (y1-y0+w)/2
	t.LengthMM, t.WidthMM, t.AngleDeg = d.LengthMM, d.WidthMM, turn180(d.AngleDeg)
	t.Box = part.Box{-hx, -hy, 2 * hx, 2 * hy}
	return shape{reach: math.Hypot(hx, hy), at: func(dx, dy float64) touch {
		if math.Abs(dx) > hx+1 || math.Abs(dy) > hy+1 {
			return touch{}
		}
		best, bx, by := math.Inf(1), 0.0, 0.0
		for i := range n {
			ex, ey := toSegment(dx, dy, line[i], line[i+1])
			if r := ex*ex + ey*ey; r < best {
				best, bx, by = r, ex, ey
			}
		}
		return touch{cover: min(d.Strength, 1) * stripe(math.Sqrt(best), bx, by, w)}
	}}
}

// toSegment is the vector from the nearest point of a straight piece.
func toSegment(x, y float64, a, b part.Point) (dx, dy float64) {
	ux, uy := b.X-a.X, b.Y-a.Y
	t := 0.0
	if l := ux*ux + uy*uy; l > 0 {
		t = clamp01(((x-a.X)*ux + (y-a.Y)*uy) / l)
	}
	return x - a.X - t*ux, y - a.Y - t*uy
}

// stripe is the share of a pixel under a straight line of width w whose middle
// passes at distance d, seen along (dx, dy).
func stripe(d, dx, dy, w float64) float64 {
	if d > w/2+1 {
		return 0
	}
	if d < 1e-9 {
		dx, dy, d = 1, 0, 0
	} else {
		dx, dy = dx/d, dy/d
	}
	return halfPlaneArea(w/2-d, dx, dy, 1) - halfPlaneArea(-w/2-d, dx, dy, 1)
}

// sanding: a patch of parallel fine lines. They scatter: strong under raking
// light, most where they run across the light; weak under the dome, darker on
// a pale ground and lighter on a dark one.
func (sc *scene) sanding(d *Defect, t *TruthDefect, rng *rand.Rand) shape {
	if d.LengthMM <= 0 {
		d.LengthMM = 2
	}
	if d.WidthMM <= 0 {
		d.WidthMM = 0.7
	}
	if d.Lines <= 0 {
		d.Lines = 9
	}
	type scratch struct{ v, u0, u1, w, a, lean float64 }
	long, wide := d.LengthMM*sc.px, d.WidthMM*sc.px
	lines := make([]scratch, d.Lines)
	gap := wide / max(float64(d.Lines-1), 1)
	for i := range lines {
		v := 0.0
		if d.Lines > 1 {
			v = wide * (float64(i)/float64(d.Lines-1) - 0.5)
		}
		if i > 0 && i < d.Lines-1 {
			v += 0.5 * gap * (rng.Float64() - 0.5)
		}
		l := long * (0.65 + 0.35*rng.Float64())
		u := (long - l) * (rng.Float64() - 0.5)
		lines[i] = scratch{v, u - l/2, u + l/2, (0.009 + 0.009*rng.Float64()) * sc.px, 0.5 + 0.5*rng.Float64(),
			0.01 * (rng.Float64() - 0.5)}
	}
	// Two lines reach the patch's full length.
	lines[0].u0, lines[len(lines)-1].u1 = -long/2, long/2
	a := d.AngleDeg * math.Pi / 180
	sin, cos := math.Sincos(a)
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, l := range lines {
		for _, u := range []float64{l.u0, l.u1} {
			v := l.v + l.lean*u
			x, y := u*cos+v*sin, -u*sin+v*cos
			x0, y0, x1, y1 = min(x0, x-l.w/2), min(y0, y-l.w/2), max(x1, x+l.w/2), max(y1, y+l.w/2)
		}
	}
	t.LengthMM, t.WidthMM, t.AngleDeg, t.Lines = d.LengthMM, d.WidthMM, turn180(d.AngleDeg), d.Lines
	t.Box = part.Box{x0, y0, x1 - x0, y1 - y0}
	// Lamps stand at 45 and 135 degrees: lines along one pair lie across the other.
	across := 0.65 + 0.35*math.Abs(math.Sin(2*a))
	return shape{reach: math.Hypot(long, wide)/2 + 2, at: func(dx, dy float64) touch {
		if dx < x0-1 || dx > x1+1 || dy < y0-1 || dy > y1+1 {
			return touch{}
		}
		u, v := dx*cos-dy*sin, dx*sin+dy*cos
		sum := 0.0
		for _, l := range lines {
			if u < l.u0-1 || u > l.u1+1 {
				continue
			}
			e := v - l.v - l.lean*u
			sum += l.a * stripe(math.Abs(e), sin, cos, l.w) * clamp01(u-l.u0+0.5) * clamp01(l.u1-u+0.5)
		}
		if sum == 0 {
			return touch{}
		}
		sum = min(sum, 1)
		return touch{
			toward: [2]float64{0.55 * d.Strength * sum, 0},
			add:    [2]float64{0, 0.09 * d.Strength * across * sum},
		}
	}}
}

// crater: a shallow dimple. Under raking light one flank is bright and the other
// dark; under the dome a faint ring.
func (sc *scene) crater(d *Defect, t *TruthDefect, rng *rand.Rand) shape {
	if d.DiameterMM <= 0 {
		d.DiameterMM = 0.6
	}
	r := d.DiameterMM / 2 * sc.px
	t.DiameterMM = d.DiameterMM
	t.Box = part.Box{-r, -r, 2 * r, 2 * r}
	sin, cos := math.Sincos(math.Pi / 4 * float64(1+2*rng.IntN(4)))
	return shape{reach: r + 1, at: func(dx, dy float64) touch {
		q := math.Hypot(dx, dy) / r
		if q >= 1 || q == 0 {
			return touch{}
		}
		lean := 2.6 * q * (1 - q*q) // slope of (1-q^2)^2, at most 1
		along := (dx*cos + dy*sin) / (q * r)
		return touch{gain: [2]float64{-0.05 * d.Strength * lean * lean, 0.2 * d.Strength * lean * along}}
	}}
}

// run: a long smooth ridge of too much lacquer.
func (sc *scene) run(d *Defect, t *TruthDefect) shape {
	if d.LengthMM <= 0 {
		d.LengthMM = 3
	}
	if d.WidthMM <= 0 {
		d.WidthMM = 0.8
	}
	a, b := d.LengthMM/2*sc.px, d.WidthMM/2*sc.px
	sin, cos := math.Sincos(d.AngleDeg * math.Pi / 180)
	hx, hy := math.Hypot(a*cos, b*sin), math.Hypot(a*sin, b*cos)
	t.LengthMM, t.WidthMM, t.AngleDeg = d.LengthMM, d.WidthMM, turn180(d.AngleDeg)
	t.Box = part.Box{-hx, -hy, 2 * hx, 2 * hy}
	return shape{reach: a + 1, at: func(dx, dy float64) touch {
		u, v := (dx*cos-dy*sin)/a, (dx*sin+dy*cos)/b
		q := u*u + v*v
		if q >= 1 {
			return touch{}
		}
		lean := 2 * v * (1 - q) * 1.3 // slope of (1-q)^2 across the ridge
		return touch{gain: [2]float64{-0.04 * d.Strength * lean * lean, 0.25 * d.Strength * lean}}
	}}
}

// turn180 brings an angle into 0..180.
func turn180(deg float64) float64 {
	deg = math.Mod(deg, 180)
	if deg < 0 {
		deg += 180
	}
	return deg
}
