package proof

import (
	"math"

	"finishbench/internal/part"
)

// match is how far one picture is another, moved a little and made brighter or darker: one is gain times the other,
// moved, plus a level.
type match struct {
	dx, dy float64 // how far, px
	gain   float64
	rest   float64 // root mean square of what is left, levels 0..255, where the unit is
	noise  float64 // what noise alone would leave
	spread float64 // standard deviation of the light there
	ok     bool    // they could be compared
}

// How pictures are laid over each other. Common practice, no source.
const (
	rounds  = 6
	settled = 0.02 // samples
	farOff  = 3.0  // samples of the coarse ones: no vibration moves a unit as far
	grossly = 6.0  // levels that are left of the coarse ones where the fine ones need no look
)

// laidOver matches two pictures by least squares on their light, its slopes telling how it moves (Lucas and Kanade 1981),
// first roughly and, where they are alike, finely.
func laidOver(a, b *Sight) match {
	if a == nil || b == nil || a.coarse.W != b.coarse.W || a.coarse.H != b.coarse.H || a.step != b.step {
		return match{}
	}
	m := fitOver(a.coarse, b.coarse, 0, 0)
	m.noise = 0
	if m.ok && m.rest < grossly {
		m = fitOver(a.fine, b.fine, m.dx*coarser, m.dy*coarser)
		// soften leaves 70/256 of a standard deviation, each way 0.2734 of the variance.
		m.noise = 0.2734 * math.Hypot(b.noise, m.gain*a.noise)
	} else {
		m.dx, m.dy = coarser*m.dx, coarser*m.dy
	}
	m.dx, m.dy = m.dx*float64(a.step), m.dy*float64(a.step)
	return m
}

// fitOver finds gain, level and movement, in samples, that bring a onto b.
func fitOver(a, b *part.Plane, dx, dy float64) match {
	mask := region(a, b)
	moved := part.NewPlane(a.W, a.H)
	var m match
	for range rounds {
		move(moved, a, dx, dy)
		var n [5][6]float64
		var sum, square, count float64
		for y := 2; y < a.H-2; y++ {
			for x := 2; x < a.W-2; x++ {
				i := y*a.W + x
				if !mask[i] {
					continue
				}
				v := float64(moved.V[i])
				row := [5]float64{v, 1, float64(moved.V[i+1]-moved.V[i-1]) / 2, float64(moved.V[i+a.W]-moved.V[i-a.W]) / 2, float64(b.V[i])}
				for r := range 4 {
					for c := r; c < 5; c++ {
						n[r][c] += row[r] * row[c]
					}
				}
				n[4][4] += row[4] * row[4]
				sum, square, count = sum+row[4], square+row[4]*row[4], count+1
			}
		}
		if count == 0 {
			return m
		}
		m.spread = math.Sqrt(max(0, square/count-(sum/count)*(sum/count)))
		p, left, ok := solve4(&n)
		if !ok || !(p[0] > 0) {
			return m
		}
		m.gain, m.rest = p[0], math.Sqrt(max(0, left)/count)
		sx, sy := p[2]/p[0], p[3]/p[0]
		dx, dy = dx+max(-1, min(1, sx)), dy+max(-1, min(1, sy))
		m.dx, m.dy = dx, dy
		if math.Hypot(dx, dy) > farOff*coarser {
			return m
		}
		if math.Hypot(sx, sy) < settled {
			m.ok = true
			return m
		}
	}
	m.ok = true
	return m
}

// solve4 solves the normal equations of four unknowns; left is the sum of squares that they leave.
func solve4(n *[5][6]float64) (p [4]float64, left float64, ok bool) {
	var a [4][5]float64
	for r := range 4 {
		for c := range 4 {
			a[r][c] = n[min(r, c)][max(r, c)]
		}
		a[r][4] = n[r][4]
	}
	for k := range 4 {
		pivot := a[k][k]
		if !(pivot > 1e-9*(1+n[k][k])) {
			return p, 0, false
		}
		for r := k + 1; r < 4; r++ {
			f := a[r][k] / pivot
			for c := k; c < 5; c++ {
				a[r][c] -= f * a[k][c]
			}
		}
	}
	left = n[4][4]
	for k := 3; k >= 0; k-- {
		v := a[k][4]
		for c := k + 1; c < 4; c++ {
			v -= a[k][c] * p[c]
		}
		p[k] = v / a[k][k]
	}
	for k := range 4 {
		left -= p[k] * n[k][4]
	}
	return p, left, true
}

// move puts into out what a shows dx and dy samples farther, by cubic convolution (Keys 1981).
func move(out, a *part.Plane, dx, dy float64) {
	wx, ix := keys(dx)
	wy, iy := keys(dy)
	rows := part.NewPlane(a.W, a.H)
	for y := range a.H {
		line, to := a.V[y*a.W:(y+1)*a.W], rows.V[y*a.W:(y+1)*a.W]
		for x := range to {
			v := float32(0)
			for k, w := range wx {
				v += w * line[min(a.W-1, max(0, x+ix+k))]
			}
			to[x] = v
		}
	}
	for y := range a.H {
		to := out.V[y*a.W : (y+1)*a.W]
		clear(to)
		for k, w := range wy {
			from := rows.V[min(a.H-1, max(0, y+iy+k))*a.W:]
			for x := range to {
				to[x] += w * from[x]
			}
		}
	}
}

// keys are the weights of four samples, the first at first, for a place at t.
func keys(t float64) (w [4]float32, first int) {
	f := math.Floor(t)
	u := t - f
	w[0] = float32(-0.5*u + u*u - 0.5*u*u*u)
	w[1] = float32(1 - 2.5*u*u + 1.5*u*u*u)
	w[2] = float32(0.5*u + 2*u*u - 1.5*u*u*u)
	w[3] = float32(-0.5*u*u + 0.5*u*u*u)
	return w, int(f) - 1
}
