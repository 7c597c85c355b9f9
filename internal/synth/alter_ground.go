package synth

import (
	"errors"
	"math"
	"slices"

	"finishbench/internal/part"
)

// ground paints wood or cloth where the picture was black: outside the unit,
// blurred as the picture is, darker towards the unit that lies on it, and darker
// under raking light.
func (a *altering) ground(kind string) error {
	unit, err := a.silhouette()
	if err != nil {
		return err
	}
	whole := area{0, 0, a.w, a.h}
	inside := onePlane(a.w, a.h)
	fill(inside.ch[0], a.w, a.h, unit)
	near := onePlane(a.w, a.h)
	copy(near.ch[0], inside.ch[0])
	inside.blur(poseBlurPX, whole)
	near.blur(25, whole)

	texture := newCanvas(a.w, a.h, false)
	at := a.wood()
	if kind == "cloth" {
		at = a.cloth()
	}
	sin, cos := math.Sincos(2 * math.Pi * a.rng.Float64())
	rows(0, a.h, func(y int) {
		for x := range a.w {
			u, v := float64(x)/a.px, float64(y)/a.px
			rgb := at(cos*u+sin*v, -sin*u+cos*v)
			shade := 1 - 0.5*min(1, 2*float64(near.ch[0][y*a.w+x]))
			for j := range rgb {
				texture.ch[j][y*a.w+x] = float32(shade * rgb[j])
			}
		}
	})
	texture.blur(poseBlurPX, whole)
	for k, gain := range []float64{1, 0.25 + 0.15*a.rng.Float64()} {
		a.paint(k, func(x, y int) (float64, [3]float64) {
			i := y*a.w + x
			out := 1 - float64(inside.ch[0][i])
			if out < 1e-4 {
				return 1, [3]float64{}
			}
			g := out * gain
			return 1 - out, [3]float64{g * float64(texture.ch[0][i]), g * float64(texture.ch[1][i]), g * float64(texture.ch[2][i])}
		})
	}
	return nil
}

// silhouette is the outline of all that is not ground: the faceplate and what of
// the shell stands out beyond it. From the plate's edge outwards along each ray,
// it lies where the last light ends that is brighter than the ground.
func (a *altering) silhouette() ([]part.Point, error) {
	seen := onePlane(a.w, a.h)
	for _, c := range a.light {
		var ground float32
		for j := range c.ch {
			corner := []float32{}
			for y := range 60 {
				corner = append(corner, c.ch[j][(y+20)*a.w+20:(y+20)*a.w+80]...)
			}
			slices.Sort(corner)
			ground = max(ground, corner[len(corner)/2])
		}
		if ground > darkGround {
			return nil, errors.New("synth: the ground is not dark: the unit cannot be told from it")
		}
		soft := newCanvas(a.w, a.h, false)
		for j := range c.ch {
			copy(soft.ch[j], c.ch[j])
		}
		soft.blur(1.2, area{0, 0, a.w, a.h})
		for i := range seen.ch[0] {
			seen.ch[0][i] = max(seen.ch[0][i], (max(soft.ch[0][i], soft.ch[1][i], soft.ch[2][i])-ground)/0.0015)
		}
	}
	const n, reach = 720, 40
	var out [n]float64 // pixels beyond the plate's edge
	ray := func(i int, d float64) part.Point {
		f := float64(i) / n * float64(len(a.Outline))
		k := int(f)
		p, q := a.Outline[k], a.Outline[(k+1)%len(a.Outline)]
		x, y := p.X+(f-float64(k))*(q.X-p.X)-a.mid.X, p.Y+(f-float64(k))*(q.Y-p.Y)-a.mid.Y
		r := math.Hypot(x, y)
		return part.Point{X: a.mid.X + x*(r+d)/r, Y: a.mid.Y + y*(r+d)/r}
	}
	for i := range out {
		out[i] = -2
		for d := -2.0; d < reach; d += 0.25 {
			q := ray(i, d)
			if seen.at(seen.ch[0], q.X, q.Y) > 1 {
				out[i] = d
			} else if d > out[i]+4 {
				break
			}
		}
	}
	// One ray may end in a speck of noise: its neighbours outvote it.
	poly := make([]part.Point, n)
	for i := range out {
		var v [9]float64
		for j := range v {
			v[j] = out[(i+j-4+n)%n]
		}
		slices.Sort(v[:])
		poly[i] = ray(i, v[4]-1) // the last light is the blur's
	}
	return poly, nil
}

// wood is a planed board: rings cut at a slant, fine grain, dark pores. All
// lengths in mm along and across the grain; colours in linear light.
func (a *altering) wood() func(u, v float64) [3]float64 {
	light := mix([3]float64{0.40, 0.25, 0.13}, [3]float64{0.30, 0.15, 0.07}, a.rng.Float64())
	dark := mix([3]float64{0.17, 0.09, 0.05}, [3]float64{0.10, 0.05, 0.05}, a.rng.Float64())
	pitch := 1.5 + 2*a.rng.Float64()
	slow, grain, pore := newField(a.seed+81, 25, 3, 3), newField(a.seed+82, 5, 0.08, 2), newField(a.seed+83, 1.4, 0.05, 1)
	return func(u, v float64) [3]float64 {
		ring := v/pitch + 1.3*slow.at(u, v)
		ring -= math.Floor(ring)
		late := ring * ring * smooth((1-ring)/0.12)
		rgb := mix(light, dark, 0.7*late+0.25*(0.5+0.5*grain.at(u, v)))
		return mix(rgb, dark, 0.8*edgeOf(pore.at(u, v)-0.7, 0.2))
	}
}

// cloth is a plain weave of coloured yarns in a check.
func (a *altering) cloth() func(u, v float64) [3]float64 {
	yarn := 0.35 + 0.3*a.rng.Float64()
	var colour [3][3]float64
	for i := range colour {
		for j := range 3 {
			colour[i][j] = 0.05 + 0.35*a.rng.Float64()
		}
	}
	every, stripe := 8+a.rng.IntN(10), 2+a.rng.IntN(4)
	of := func(n int, ground int) [3]float64 {
		if m := ((n % every) + every) % every; m < stripe {
			return colour[2]
		}
		return colour[ground]
	}
	uneven := newField(a.seed+91, 1.5, 1.5, 3)
	return func(u, v float64) [3]float64 {
		u, v = u/yarn+0.15*uneven.at(u, v), v/yarn+0.15*uneven.at(v+50, u)
		m, n := int(math.Floor(u)), int(math.Floor(v))
		fu, fv := u-math.Floor(u)-0.5, v-math.Floor(v)-0.5
		// A yarn is round across and dips under the next one along.
		rgb, across, along := of(m, 0), fu, fv
		if (m+n)&1 == 0 {
			rgb, across, along = of(n, 1), fv, fu
		}
		shade := (1 - 2.6*across*across) * (1 - 1.4*along*along)
		return mix([3]float64{}, rgb, max(0.12, shade))
	}
}
