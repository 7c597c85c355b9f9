package synth

import (
	"math"

	"finishbench/internal/part"
)

// The colours that a print comes in: reflectances. Common practice, no source.
var inks = [][3]float64{{0.02, 0.02, 0.025}, {0.75, 0.75, 0.72}, {0.45, 0.3, 0.08}, {0.05, 0.08, 0.3}}

// logo prints a made-up sign on the plate: one of a ring with chevrons, a row of
// bars like letters, or both. Ink is opaque and matt and lies under the lacquer: it
// sends the light of its colour, whatever was there, and the lacquer mirrors the
// dome over it (the ray-traced plates follow [matt]; their gloss is 0.0065 less than [gloss]).
func (a *altering) logo() {
	past := a.seed%2 == 0 // it runs right past a defect
	var ink [3]float64
	plate := a.plateLight(rake)
	for {
		ink = inks[a.rng.IntN(len(inks))]
		// Only what can be read is printed: twice as bright as the plate or half.
		r := matt[rake] * (ink[0] + ink[1] + ink[2]) / (plate[0] + plate[1] + plate[2])
		if r > 2 || r < 0.5 {
			break
		}
	}
	cover := onePlane(a.w, a.h)
	for _, q := range a.placed(a.sign(), past) {
		fill(cover.ch[0], a.w, a.h, q[:])
	}
	for i, v := range cover.ch[0] {
		cover.ch[0][i] = min(v, 1) // strokes cross
	}
	cover.blur(poseBlurPX, area{0, 0, a.w, a.h})
	for k := range a.light {
		a.paint(k, func(x, y int) (float64, [3]float64) {
			c := float64(cover.ch[0][y*a.w+x])
			if c < 1e-4 {
				return 1, [3]float64{}
			}
			var add [3]float64
			for j := range add {
				add[j] = c * (matt[k]*ink[j] + gloss[k])
			}
			return 1 - c, add
		})
	}
}

// piece is a short stretch of a stroke.
type piece [4]part.Point

// sign gives the strokes in mm about the sign's middle, cut into short pieces.
func (a *altering) sign() []piece {
	width := 0.1 + 0.2*a.rng.Float64()
	var all []piece
	line := func(x0, y0, x1, y1 float64) {
		l := math.Hypot(x1-x0, y1-y0)
		ex, ey := (x1-x0)/l*width/2, (y1-y0)/l*width/2 // square ends, so that corners close
		x0, y0, x1, y1 = x0-ex, y0-ey, x1+ex, y1+ey
		l += width
		n := max(1, int(math.Ceil(l/0.2)))
		dx, dy := (x1-x0)/float64(n), (y1-y0)/float64(n)
		ox, oy := -(y1-y0)/l*width/2, (x1-x0)/l*width/2
		for i := range n {
			x, y := x0+float64(i)*dx, y0+float64(i)*dy
			all = append(all, piece{{X: x + ox, Y: y + oy}, {X: x + dx + ox, Y: y + dy + oy}, {X: x + dx - ox, Y: y + dy - oy},
				{X: x - ox, Y: y - oy}})
		}
	}
	letters := 0.0 // how far below the middle the row of letters lies
	kind := a.rng.IntN(3)
	if kind != 0 {
		r := 0.9 + 0.9*a.rng.Float64()
		const n = 96
		for i := range n {
			s0, c0 := math.Sincos(2 * math.Pi * float64(i) / n)
			s1, c1 := math.Sincos(2 * math.Pi * float64(i+1) / n)
			o, in := r+width/2, r-width/2
			all = append(all, piece{{X: o * c0, Y: o * s0}, {X: o * c1, Y: o * s1}, {X: in * c1, Y: in * s1}, {X: in * c0, Y: in * s0}})
		}
		for i := range 2 + a.rng.IntN(2) {
			y := r * (0.05 - 0.35*float64(i))
			line(-0.5*r, y+0.45*r, 0, y)
			line(0, y, 0.5*r, y+0.45*r)
		}
		letters = r + 0.8
	}
	if kind != 1 {
		n, high, wide := 4+a.rng.IntN(4), 0.7+0.5*a.rng.Float64(), 0.5+0.2*a.rng.Float64()
		for i := range n {
			x, y := (float64(i)-float64(n-1)/2)*(wide+0.3)-wide/2, letters-high/2
			line(x, y, x, y+high)
			for k, s := range [][4]float64{{0, 0, 1, 0}, {0, 0.5, 1, 0.5}, {0, 1, 1, 1}, {1, 0, 1, 1}, {0, 0, 1, 1}} {
				if a.rng.IntN(5) > k { // diagonals are rare
					line(x+s[0]*wide, y+s[1]*high, x+s[2]*wide, y+s[3]*high)
				}
			}
		}
	}
	return all
}

// placed turns and moves a sign to where it lies on the plate and covers no
// defect: right past one, or well away from all. It is made smaller where it fits
// nowhere.
func (a *altering) placed(sign []piece, past bool) []piece {
	in := a.toward(0.86)
	for scale := 1.0; scale > 0.2; scale *= 0.8 {
		var best []piece
		bestGap := math.Inf(1)
		if !past {
			bestGap = -1
		}
		for range 600 {
			turn, out := 2*math.Pi*a.rng.Float64(), 0.75*math.Sqrt(a.rng.Float64())
			at := a.Outline[a.rng.IntN(len(a.Outline))]
			at = part.Point{X: a.mid.X + out*(at.X-a.mid.X), Y: a.mid.Y + out*(at.Y-a.mid.Y)}
			sin, cos := math.Sincos(turn)
			moved, gap := make([]piece, 0, len(sign)), math.Inf(1)
			for _, q := range sign {
				for i, p := range q {
					x, y := scale*p.X*a.px, scale*p.Y*a.px
					q[i] = part.Point{X: at.X + cos*x - sin*y, Y: at.Y + sin*x + cos*y}
				}
				if !q[0].Inside(in) || !q[2].Inside(in) {
					gap = -1
					break
				}
				gap = min(gap, a.gap(q.box()))
				if gap < 0 {
					break
				}
				moved = append(moved, q)
			}
			switch {
			case gap < 0:
			case past && gap < bestGap, !past && gap > bestGap:
				best, bestGap = moved, gap
			}
			if best != nil && !past && bestGap >= aloofPX-clearPX {
				break
			}
		}
		if best != nil {
			return best
		}
	}
	return nil
}

func (q piece) box() part.Box {
	b := part.Box{q[0].X, q[0].Y}
	for _, p := range q[1:] {
		b = b.Union(part.Box{p.X, p.Y})
	}
	return b
}

// gap is how many pixels lie between a box and the nearest defect's, less what is
// kept clear; negative where that is not kept.
func (a *altering) gap(b part.Box) float64 {
	least := math.Inf(1)
	for _, d := range a.Defects {
		x := max(d[0]-b[0]-b[2], b[0]-d[0]-d[2])
		y := max(d[1]-b[1]-b[3], b[1]-d[1]-d[3])
		g := max(x, y)
		if x > 0 && y > 0 {
			g = math.Hypot(x, y)
		}
		least = min(least, g-clearPX)
	}
	return least
}
