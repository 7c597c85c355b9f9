package synth

import (
	"math"
	"math/rand/v2"

	"finishbench/internal/part"
)

// vec is a place or direction in mm: right in the picture, towards the camera, up.
type vec [3]float64

func (a vec) plus(b vec) vec      { return vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func (a vec) minus(b vec) vec     { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
func (a vec) times(k float64) vec { return vec{a[0] * k, a[1] * k, a[2] * k} }
func (a vec) dot(b vec) float64   { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func (a vec) length() float64     { return math.Sqrt(a.dot(a)) }
func (a vec) unit() vec           { return a.times(1 / a.length()) }
func (a vec) cross(b vec) vec {
	return vec{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}
func (a vec) turned(sin, cos float64) vec { return vec{a[0]*cos + a[1]*sin, a[1]*cos - a[0]*sin, a[2]} }

// shellBody is the unit's surface in one turn. A place is told by its angle about the axis,
// which is the turn that brings it to the front, and by its depth v below the seam in mm;
// the faceplate has negative depths.
type shellBody struct {
	p             ShellParams
	turn          float64 // radians
	second, third float64 // phases of the outline's orders
	left, right   float64 // the outline's limbs, x in mm at the seam
	front         []float64
}

// spot is a place on the surface.
type spot struct {
	pos, normal, right, down vec // normal outwards; right and down touch the surface
}

const frontSteps = 2048

func newShellBody(p ShellParams) *shellBody {
	rng := rand.New(rand.NewPCG(p.Seed, 0xb0d7))
	b := &shellBody{p: p, turn: p.TurnDeg * math.Pi / 180, second: 2 * math.Pi * rng.Float64(), third: 2 * math.Pi * rng.Float64()}
	// The limbs: where x has its extremes. u is how far right of the front a place lies.
	const n = 40000
	uLeft, uRight := 0.0, 0.0
	for i := range n + 1 {
		u := (float64(i)/n - 0.5) * 1.3 * math.Pi
		if x := b.across(u); x < b.left {
			b.left, uLeft = x, u
		} else if x > b.right {
			b.right, uRight = x, u
		}
	}
	// u by the arc sine of x between the limbs, in which it is smooth: x is level there.
	b.front = make([]float64, frontSteps+1)
	for i := range b.front {
		x := (b.left+b.right)/2 + (b.right-b.left)/2*math.Sin(math.Pi*(float64(i)/frontSteps-0.5))
		lo, hi := uLeft, uRight
		for range 50 {
			if m := (lo + hi) / 2; b.across(m) < x {
				lo = m
			} else {
				hi = m
			}
		}
		b.front[i] = (lo + hi) / 2
	}
	return b
}

// radius is the outline's radius at the seam and its derivative by the angle, in mm.
func (b *shellBody) radius(angle float64) (r, dr float64) {
	s2, c2 := math.Sincos(2*angle - b.second)
	s3, c3 := math.Sincos(3*angle - b.third)
	p := b.p
	return p.RadiusMM * (1 + p.Oval*c2 + p.Third*c3), -p.RadiusMM * (2*p.Oval*s2 + 3*p.Third*s3)
}

// across is x of the outline at the seam, u right of the front.
func (b *shellBody) across(u float64) float64 {
	r, _ := b.radius(b.turn - u)
	return r * math.Sin(u)
}

// rimMM is the radius of the faceplate's rounded rim. Common practice, no source.
const rimMM = 0.25

// profile is the outline's factor at depth v and its derivative by v in 1/mm: 0 below the
// bottom and above the faceplate.
func (b *shellBody) profile(v float64) (w, dw float64) {
	p := b.p
	switch {
	case v < -p.ThicknessMM || v >= p.DepthMM:
		return 0, 0
	case v < 0:
		w = 1 + p.StepMM/p.RadiusMM
		if s := rimMM - (v + p.ThicknessMM); s > 0 {
			h := math.Sqrt(max(rimMM*rimMM-s*s, 1e-12))
			return w + (h-rimMM)/p.RadiusMM, s / h / p.RadiusMM
		}
		return w, 0
	case p.Straight:
		return 1, 0
	}
	q := v / p.DepthMM
	if q == 0 {
		return 1, 0
	}
	rest := 1 - math.Pow(q, p.Bowl)
	w = math.Pow(rest, 1/p.Bowl)
	return w, -math.Pow(q, p.Bowl-1) * w / rest / p.DepthMM
}

// at is the place u right of the front, where the profile is w and dw.
func (b *shellBody) at(u, v, w, dw float64) spot {
	r, dr := b.radius(b.turn - u)
	sin, cos := math.Sincos(u)
	f := dr / r
	s := spot{
		pos:    vec{r * w * sin, r * w * cos, -v},
		normal: vec{sin + f*cos, cos - f*sin, r * dw}.unit(),
	}
	s.right = vec{r*cos - dr*sin, -r*sin - dr*cos, 0}.unit()
	s.down = s.right.cross(s.normal)
	if s.down[2] > 0 {
		s.down = s.down.times(-1)
	}
	return s
}

// place is the surface at a place's turn and depth.
func (b *shellBody) place(turnDeg, belowMM float64) spot {
	w, dw := b.profile(belowMM)
	return b.at(b.turn-turnDeg*math.Pi/180, belowMM, w, dw)
}

// u is how far right of the front the surface lies at x, x in mm at the seam's size.
func (b *shellBody) u(x float64) float64 {
	q := (2*x - b.left - b.right) / (b.right - b.left)
	t := (math.Asin(min(max(q, -1), 1))/math.Pi + 0.5) * frontSteps
	i := min(int(t), frontSteps-1)
	return b.front[i] + (t-float64(i))*(b.front[i+1]-b.front[i])
}

// cover is how much of a cell of the given width (mm) about x lies inside the silhouette.
func (b *shellBody) cover(x, w, dw, cell float64) float64 {
	if w <= 0 {
		return 0
	}
	l := (x - b.left*w) / math.Sqrt(1+b.left*b.left*dw*dw)
	r := (b.right*w - x) / math.Sqrt(1+b.right*b.right*dw*dw)
	return clamp01(min(l, r)/cell + 0.5)
}

func (b *shellBody) pixel(at vec) (x, y float64) {
	return b.p.AxisXPX + at[0]/b.p.MMPerPX, b.p.SeamYPX - at[2]/b.p.MMPerPX
}

// outline is the silhouette, from the faceplate's top left down and round.
func (b *shellBody) outline() []part.Point {
	const n = 400
	var l, r []part.Point
	add := func(v float64) {
		w, _ := b.profile(v)
		y := b.p.SeamYPX + v/b.p.MMPerPX
		l = append(l, part.Point{X: b.p.AxisXPX + b.left*w/b.p.MMPerPX, Y: y})
		r = append(r, part.Point{X: b.p.AxisXPX + b.right*w/b.p.MMPerPX, Y: y})
	}
	for i := range 40 {
		add(-b.p.ThicknessMM * (1 - float64(i)/40))
	}
	for i := range n {
		add(b.p.DepthMM * math.Sin(math.Pi/2*float64(i)/n)) // closer where it turns in
	}
	for i := len(r) - 1; i >= 0; i-- {
		l = append(l, r[i])
	}
	return l
}

// Place is where a place of the shell lies in the picture, and its slope: the angle between
// the surface's normal and the camera, over 90 on the other side.
func (t ShellTruth) Place(turnDeg, belowMM float64) (xPX, yPX, slopeDeg float64) {
	s := t.body.place(turnDeg, belowMM)
	xPX, yPX = t.body.pixel(s.pos)
	return xPX, yPX, math.Acos(min(max(s.normal[1], -1), 1)) * 180 / math.Pi
}

// AreaMM2 is the shell's area from the seam down to a depth, all around.
func (t ShellTruth) AreaMM2(belowMM float64) float64 {
	const n, m = 720, 400
	b, sum := t.body, 0.0
	for j := range m {
		// Denser towards the bottom, where the profile turns in.
		at := func(f float64) float64 { return belowMM * math.Sin(math.Pi/2*f) }
		v := at((float64(j) + 0.5) / m)
		dv := at(float64(j+1)/m) - at(float64(j)/m)
		w, dw := b.profile(v)
		for i := range n {
			r, dr := b.radius(2 * math.Pi * float64(i) / n)
			// |dS/dangle x dS/dv| of S = (r w sin, r w cos, -v).
			sum += w * math.Sqrt(r*r+dr*dr+r*r*r*r*dw*dw) * dv * 2 * math.Pi / n
		}
	}
	return sum
}
