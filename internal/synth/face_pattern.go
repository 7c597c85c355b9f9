package synth

import "math"

// paint is the faceplate's colour by place. It lies under the lacquer and
// looks alike in both lights; only flakes glitter a little under raking light.
type paint struct {
	kind       string
	base       [3]float64
	light      [3]float64 // a paler pigment
	dark       [3]float64
	warm       [3]float64
	f, g, h    *field
	mmPerPixel float64
}

func newPaint(p FaceParams, base [3]float64, c *canvas) *paint {
	pg := &paint{kind: p.Pattern, base: base, mmPerPixel: p.MMPerPX}
	for k := range base {
		pg.light[k] = min(1, base[k]*1.15+0.1*(1-base[k]))
		pg.dark[k] = base[k] * 0.25
	}
	pg.warm = c.colour([3]float64{0.9*p.BaseRGB[0] + 0.08, 0.75*p.BaseRGB[1] + 0.03, 0.7 * p.BaseRGB[2]})
	switch p.Pattern {
	case "", "plain", "logo":
	case "flake":
		pg.f, pg.g = newField(p.Seed+11, 0.3, 0.3, 3), newField(p.Seed+12, 0.45, 0.45, 1)
	case "granite":
		pg.f, pg.g, pg.h = newField(p.Seed+21, 0.35, 0.35, 2), newField(p.Seed+22, 0.4, 0.4, 3), newField(p.Seed+23, 0.14, 0.14, 1)
	case "marble":
		pg.f, pg.g = newField(p.Seed+31, 2.2, 2.2, 5), newField(p.Seed+32, 0.6, 0.6, 4)
	case "wood":
		pg.f, pg.g = newField(p.Seed+41, 5, 1.2, 2), newField(p.Seed+42, 0.8, 0.05, 1)
	default:
		panic("synth: no pattern " + p.Pattern)
	}
	return pg
}

// at is the colour x, y millimetres from the middle, and how much brighter it
// is under raking light than its colour says.
func (pg *paint) at(x, y float64) (rgb [3]float64, sparkle float64) {
	switch pg.kind {
	case "flake":
		a := edgeOf(pg.f.at(x+0.5*y, y-0.5*x)-0.3, 0.05)
		if a == 0 {
			return pg.base, 0
		}
		return mix(pg.base, pg.light, a), a * 0.12 * pg.g.at(x, y)
	case "granite":
		// Mottled ground, a net of thin dark joints, a few dark grains.
		f, g := pg.f.at(x, y), pg.g.at(x, y)
		rgb = mix(pg.base, pg.light, clamp01(0.5+g))
		rgb = mix(rgb, pg.warm, 0.6*clamp01(0.3-g))
		rgb = mix(rgb, pg.dark, 0.4*math.Exp(-f*f/(2*0.05*0.05)))
		return mix(rgb, pg.dark, 0.8*edgeOf(pg.h.at(x+0.5*y, y-0.5*x)-0.62, 0.08)), 0
	case "marble":
		f := pg.f.at(x, y)
		m := math.Sin(math.Pi * (x/2.4 + 1.6*f))
		width := 0.22 + 0.25*clamp01(pg.g.at(x, y)+0.4)
		vein := math.Exp(-m * m / (2 * width * width))
		return mix(pg.base, pg.light, clamp01(1.3*vein+0.15*pg.g.at(x, y))), 0
	case "wood":
		m := 0.5 + 0.5*math.Sin(2*math.Pi*(y/0.7+2.5*pg.f.at(x, y)))
		rgb = mix(pg.base, pg.dark, 0.45*m*m)
		return mix(rgb, pg.dark, 0.5*edgeOf(pg.g.at(x, y)-0.6, 0.15)), 0
	case "logo":
		return mix(pg.base, pg.dark, pg.mark(x, y)), 0
	}
	return pg.base, 0
}

// mark is a made-up sign: a ring with two bars across it.
func (pg *paint) mark(x, y float64) float64 {
	soft := pg.mmPerPixel
	r := math.Hypot(x, y)
	ring := clamp01((0.15-math.Abs(r-1.3))/soft + 0.5)
	bar := func(at float64) float64 {
		return clamp01((0.12-math.Abs(y-at))/soft+0.5) * clamp01((0.8-math.Abs(x))/soft+0.5)
	}
	return max(ring, bar(-0.3), bar(0.3))
}

// edgeOf is a soft step at 0, w wide.
func edgeOf(v, w float64) float64 { return smooth(v/w + 0.5) }

func mix(a, b [3]float64, t float64) [3]float64 {
	return [3]float64{a[0] + t*(b[0]-a[0]), a[1] + t*(b[1]-a[1]), a[2] + t*(b[2]-a[2])}
}
