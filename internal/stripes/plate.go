package stripes

import (
	"math"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// A camera that looks from one side sees some of the shell below the faceplate, and an outline
// found in the paint may hold it. The shell's side mirrors nothing of the screen. Lengths in
// mm (common practice, no source).
const (
	plateAngles = 360
	rimLeastMM  = 0.1  // the rim that mirrors nothing is told where the outline is the faceplate's own: most of the way round;
	rimMostMM   = 0.6  //
	shellShare  = 0.04 // what lies beyond it is shell where it is this share of all that is enclosed
	// And its light differs by this (natural logarithm) from the faceplate's: else the screen's image may just end there.
	shellUnlike  = 0.25
	sameEdgeMM   = 0.2 // so near the outline given is the faceplate's own
	roundOrders  = 12  // of the Fourier series that a faceplate's outline follows
	smoothAngles = 2   // to both sides
)

// Plate is a closed curve about a middle, in full-resolution pixels: the faceplate's outline
// as the mirror tells it.
type Plate struct {
	Middle  part.Point
	RadiusN []float64 // at equal angles from the x axis towards y
}

// plate tells the faceplate from the shell within an outline; nil where they cannot be told
// apart, or there is no shell to be seen. face is the outline's inside, m.Depth that of
// the part that mirrors.
func (m *Maps) plate(face []bool) *Plate {
	w := m.Depth.W
	cx, cy, _ := m.centre()
	reach := func(in func(i int) bool, k int) float64 {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / plateAngles)
		for r := float64(w + len(m.Depth.V)/w); r > 0; r -= 0.5 {
			x, y := int(math.Round(cx+r*cos)), int(math.Round(cy+r*sin))
			if x >= 0 && y >= 0 && x < w && y < len(m.Depth.V)/w && in(y*w+x) {
				return r
			}
		}
		return 0
	}
	mirrors, encloses, gap := make([]float64, plateAngles), make([]float64, plateAngles), make([]float64, plateAngles)
	for k := range plateAngles {
		mirrors[k], encloses[k] = reach(func(i int) bool { return m.Depth.V[i] > 0 }, k), reach(func(i int) bool { return face[i] }, k)
		gap[k] = encloses[k] - mirrors[k]
	}
	rim := max(rimLeastMM, min(rimMostMM, robust.Quantile(gap, 0.25)*m.MMPX)) / m.MMPX
	radius := make([]float64, plateAngles)
	for k := range radius {
		var near []float64
		for d := -smoothAngles; d <= smoothAngles; d++ {
			near = append(near, mirrors[(k+d+plateAngles)%plateAngles])
		}
		radius[k] = encloses[k] // where no shell is seen the paint's edge is sharper
		if at := robust.Quantile(near, 0.5) + rim; encloses[k] > at+sameEdgeMM/m.MMPX {
			radius[k] = at
		}
	}
	radius = smoothRound(radius)
	var shell, own []float64
	for i, yes := range face {
		if !yes {
			continue
		}
		dx, dy := float64(i%w)-cx, float64(i/w)-cy
		k := int(math.Mod(math.Atan2(dy, dx)/(2*math.Pi)+1, 1)*plateAngles) % plateAngles
		switch r := math.Hypot(dx, dy); {
		case r > radius[k]+rim:
			shell = append(shell, float64(m.Paint.V[i]))
		case m.Depth.V[i] > 0:
			own = append(own, float64(m.Paint.V[i]))
		}
	}
	if float64(len(shell)) < shellShare*float64(len(shell)+len(own)) || !m.unlike(robust.Quantile(shell, 0.5), robust.Quantile(own, 0.5)) {
		return nil
	}
	bin := float64(m.Bin)
	p := &Plate{Middle: part.Point{X: float64(m.X0) + (cx+0.5)*bin - 0.5, Y: float64(m.Y0) + (cy+0.5)*bin - 0.5}, RadiusN: radius}
	for k := range p.RadiusN {
		p.RadiusN[k] *= bin
	}
	return p
}

// unlike says whether what mirrors nothing has another paint than what mirrors: light that
// differs, whatever of it is mirrored. The mirrored light's mean is the stripes' amplitude over their contrast,
// which lies between the two of likelyContrast.
func (m *Maps) unlike(shell, own float64) bool {
	a := (m.amplitude[0] + m.amplitude[1]) / 2
	side := 0.0
	for _, contrast := range likelyContrast {
		d := math.Log(max(shell, 1e-6) / max(own-a/contrast, 1e-6))
		if math.Abs(d) < shellUnlike || d*side < 0 {
			return false
		}
		side = d
	}
	return true
}

// likelyContrast bounds the contrast that a screen's stripes have (common practice, no source).
var likelyContrast = [2]float64{0.4, 1}

// smoothRound is a radius at equal angles without what is finer than roundOrders around.
func smoothRound(r []float64) []float64 {
	n := float64(len(r))
	out := make([]float64, len(r))
	for o := 0; o <= roundOrders; o++ {
		var a, b float64
		for k, v := range r {
			sin, cos := math.Sincos(2 * math.Pi * float64(o*k) / n)
			a, b = a+v*cos/n, b+v*sin/n
		}
		if o > 0 {
			a, b = 2*a, 2*b
		}
		for k := range out {
			sin, cos := math.Sincos(2 * math.Pi * float64(o*k) / n)
			out[k] += a*cos + b*sin
		}
	}
	return out
}

// holds says whether a place, in full-resolution pixels, lies inside.
func (p *Plate) holds(x, y float64) bool {
	dx, dy := x-p.Middle.X, y-p.Middle.Y
	k := int(math.Mod(math.Atan2(dy, dx)/(2*math.Pi)+1, 1)*float64(len(p.RadiusN))) % len(p.RadiusN)
	return math.Hypot(dx, dy) <= p.RadiusN[k]
}
