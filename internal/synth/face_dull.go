package synth

import (
	"math"
	"math/rand/v2"

	"finishbench/internal/part"
)

// white is what haze and bare lacquerless ground scatter. Common practice, no source.
var white = [3]float64{0.85, 0.85, 0.83}

// haze: a veil that scatters and takes the gloss, fading over its whole size.
func (sc *scene) haze(d *Defect, t *TruthDefect) shape {
	if d.DiameterMM <= 0 {
		d.DiameterMM = 1.5
	}
	d.Colour = white
	r := d.DiameterMM / 2 * sc.px
	t.DiameterMM = d.DiameterMM
	t.Box = part.Box{-r, -r, 2 * r, 2 * r}
	return shape{reach: 1.6 * r, at: func(dx, dy float64) touch {
		h := d.Strength * (1 - smooth((math.Hypot(dx, dy)/r-0.4)/1.2))
		return touch{cover: 0.22 * h, bare: min(0.8*h, 1)}
	}}
}

// missed: no lacquer, so no gloss; its edge is a step of lacquer, which low light shows on two sides.
func (sc *scene) missed(d *Defect, t *TruthDefect, rng *rand.Rand) shape {
	if d.LengthMM <= 0 {
		d.LengthMM = 1.4
	}
	if d.WidthMM <= 0 {
		d.WidthMM = 1
	}
	d.Colour = white
	a, b := d.LengthMM/2*sc.px, d.WidthMM/2*sc.px
	sin, cos := math.Sincos(d.AngleDeg * math.Pi / 180)
	hx, hy := math.Hypot(a*cos, b*sin), math.Hypot(a*sin, b*cos)
	t.LengthMM, t.WidthMM, t.AngleDeg = d.LengthMM, d.WidthMM, turn180(d.AngleDeg)
	t.Box = part.Box{-hx, -hy, 2 * hx, 2 * hy}
	p3, p5 := 2*math.Pi*rng.Float64(), 2*math.Pi*rng.Float64()
	ls, lc := math.Sincos(math.Pi / 4 * float64(1+2*rng.IntN(4)))
	edge := 0.05 * sc.px
	return shape{reach: a + 1, at: func(dx, dy float64) touch {
		u, v := (dx*cos-dy*sin)/a, (dx*sin+dy*cos)/b
		around := math.Atan2(v, u)
		outer := 1 - 0.05*(1+math.Sin(3*around+p3))/2 - 0.04*(1+math.Sin(5*around+p5))/2
		in := (outer - math.Hypot(u, v)) * b // about pixels inside
		if in <= 0 {
			return touch{}
		}
		bare := smooth((in - edge) / 1.5)
		q := touch{bare: bare, cover: 0.06 * bare * d.Strength}
		if n := math.Hypot(dx, dy); in < 2*edge && n > 0 {
			q.gain[rake] = 0.5 * d.Strength * hump(in/(2*edge)) * (dx*lc + dy*ls) / n
			q.gain[dome] = -0.12 * d.Strength * hump(in/(2*edge))
		}
		return q
	}}
}

// ontoEdge is the place on the faceplate's edge in a place's direction from its middle.
func (sc *scene) ontoEdge(x, y float64) (ex, ey float64) {
	if sc.egg == nil {
		panic("synth: a panel has no edge to chip")
	}
	a := math.Atan2(y-sc.cy, x-sc.cx)
	t := math.Mod(a/(2*math.Pi)+1, 1) * eggSteps
	r := sc.egg.table[int(t)%eggSteps]
	return sc.cx + r*math.Cos(a), sc.cy + r*math.Sin(a)
}

// chip: a round bite out of the edge, lacquered over: the wall of the bite is darker, and one
// side of it mirrors a low lamp.
func (sc *scene) chip(d *Defect, t *TruthDefect, x, y float64) shape {
	if d.DiameterMM <= 0 {
		d.DiameterMM = 0.8
	}
	d.Colour = [3]float64{0.4 * sc.base[0], 0.4 * sc.base[1], 0.4 * sc.base[2]}
	r := d.DiameterMM / 2 * sc.px
	t.DiameterMM = d.DiameterMM
	t.Box = part.Box{-r, -r, 2 * r, 2 * r}
	n := math.Hypot(sc.cx-x, sc.cy-y)
	ix, iy := (sc.cx-x)/n, (sc.cy-y)/n // inwards
	return shape{reach: r + 1, at: func(dx, dy float64) touch {
		q := math.Hypot(dx, dy) / r
		if q >= 1 {
			return touch{}
		}
		along := (dx*ix + dy*iy) / r
		c := clamp01((1 - q) * r)
		return touch{cover: 0.8 * c, add: [2]float64{0, 0.15 * d.Strength * c * smooth((along-0.6)/0.2)}}
	}}
}
