package outline

import (
	"math"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// How sides that bulge are sought, in samples of a thinned picture (common practice, no source).
const (
	bulgeKnot   = 6    // straight from knot to knot, so many rows apart;
	bulgeSteep  = 24   // from one to the next it narrows by at most so much
	bulgeFlare  = 3    // and widens by at most this
	bulgeFull   = 0.25 // what is so much stronger than the ground's own edges is as good an edge as any
	bulgeSeen   = 0.4  // and along the path there is so much of that
	bulgeStart  = 6    // it begins about upright: its half width changes by less than this up to the next knot
	bulgeGround = 12   // the ground's edges are told in this part of the frame's width at each side
	bulgeOver   = 2    // edges outside are told over so many rows up and down
)

// FindBulging finds a unit's sides as FindFlanks does, where they bulge outwards all the way down, as a moulded shell's mostly do. What is
// mirrored in a see-through shell, and parts inside it, have clearer edges than its own limb; but these lie on no
// curve of that form for as long, so that each row tells only whether it shows an edge there, not how clear it is.
func FindBulging(images []*part.Image) (*Flanks, error) {
	ts, err := thinnedPose(images)
	if err != nil {
		return nil, err
	}
	e := newSideEdges(ts)
	seen := [2][]float32{e.counts(e.nearLeft, true), e.counts(e.nearRight, false)}
	best := sidePath{score: math.Inf(-1)}
	try := func(x, lean float64) {
		if p := e.bulging(seen, x, lean); p.score > best.score {
			best = p
		}
	}
	w := float64(e.w)
	for x := w * (0.5 - sidesOff); x <= w*(0.5+sidesOff); x += 6 {
		try(x, 0)
	}
	for step := 3.0; step >= 1; step /= 2 {
		x := best.x
		try(x-step, 0)
		try(x+step, 0)
	}
	for _, lean := range []float64{-sidesLean, -sidesLean / 2, sidesLean / 2, sidesLean} {
		x := best.x
		for _, d := range [3]float64{-3, 0, 3} {
			try(x+d, lean)
		}
	}
	rows := 0.0
	for _, half := range best.half {
		if half > 0 {
			rows++
		}
	}
	if best.score < bulgeSeen*2*bulgeFull*rows {
		return nil, ErrNoFlanks
	}
	return e.sides(best)
}

// counts is what each place of one side's edges counts for a path along it: what is no more than the ground's own counts against it, and
// so does the clearest edge outside, beside which nothing but ground would lie.
func (e *sideEdges) counts(near []float32, left bool) []float32 {
	var own []float64
	at := func(y, k int) int { // the place k samples in from the frame's edge
		if !left {
			k = e.w - 1 - k
		}
		return y*e.w + k
	}
	for y := range e.h {
		for k := range e.w / bulgeGround {
			own = append(own, float64(near[at(y, k)]))
		}
	}
	none := float32(robust.Quantile(own, 0.9))
	out := make([]float32, len(near))
	for i, v := range near {
		out[i] = max(-bulgeFull, min(v-none, bulgeFull))
	}
	against := make([]float32, len(near))
	for y := range e.h {
		most := float32(0)
		from, to := max(0, y-bulgeOver), min(e.h-1, y+bulgeOver)
		for k := sidesClose; k < e.w; k++ {
			sum := float32(0)
			for r := from; r <= to; r++ {
				sum += out[at(r, k-sidesClose)]
			}
			most = max(most, sum/float32(to-from+1))
			if k+1 < e.w {
				against[at(y, k+1)] = most
			}
		}
	}
	for i := range out {
		out[i] -= against[i]
	}
	return out
}

// bulging is the path of half widths around an axis that narrows ever faster and along which most edges are seen, at both
// sides together: by dynamic programming over the half width and its change at each knot. It begins and ends where that is best.
func (e *sideEdges) bulging(seen [2][]float32, x, lean float64) sidePath {
	const slopes = bulgeSteep + bulgeFlare + 1 // of index s: a change by bulgeFlare-s
	p := sidePath{x: x, lean: lean, half: make([]int, e.h), score: math.Inf(-1)}
	n, knots := int(min(x, float64(e.w)-x)-math.Abs(lean)*float64(e.h/2)), (e.h-1)/bulgeKnot // so far to either side lies in the picture
	if n <= sidesLeast {
		return p
	}
	type step struct {
		s     int8
		first bool
	}
	from := make([]step, (knots+1)*n*slopes)
	const never = float32(-1e9)
	sum, next := make([]float32, n*slopes), make([]float32, n*slopes) // of what ends at a half width with a change
	for i := range sum {
		sum[i] = never
	}
	g := make([]float32, bulgeKnot*n) // of each row up to the next knot and half width
	var off [slopes][bulgeKnot]int    // of the rows between two knots from the first one's half width
	for s := range slopes {
		for t := range bulgeKnot {
			off[s][t] = int(math.Round(float64((bulgeFlare-s)*(t+1)) / bulgeKnot))
		}
	}
	var endKnot, endHalf, endSlope int
	for j := range knots {
		for t := range bulgeKnot {
			y := j*bulgeKnot + t + 1
			c := int(math.Round(p.axis(y, e.h)))
			for k := sidesLeast; k < n; k++ {
				g[t*n+k] = seen[0][y*e.w+c-k] + seen[1][y*e.w+c+k]
			}
		}
		for i := range next {
			next[i] = never
		}
		for k := sidesLeast; k < n; k++ {
			before, by := never, 0 // the best of all that narrow no faster
			for s := range slopes {
				if v := sum[k*slopes+s]; v > before {
					before, by = v, s
				}
				d, v, first := bulgeFlare-s, before, false
				if v < 0 {
					v, first = 0, true
				}
				if k+d < sidesLeast || k+d >= n || first && d <= -bulgeStart {
					continue
				}
				for t, o := range off[s] {
					v += g[t*n+k+o]
				}
				i := (k+d)*slopes + s
				next[i] = v
				from[(j+1)*n*slopes+i] = step{int8(by), first}
				if float64(v) > p.score {
					p.score, endKnot, endHalf, endSlope = float64(v), j+1, k+d, s
				}
			}
		}
		sum, next = next, sum
	}
	// back from its end: above and below it there is nothing
	k, s := endHalf, endSlope
	for y := endKnot * bulgeKnot; y < min(e.h, (endKnot+1)*bulgeKnot); y++ {
		p.half[y] = k
	}
	for j := endKnot; j > 0; j-- {
		d := bulgeFlare - s
		f := from[j*n*slopes+k*slopes+s]
		k -= d
		for t := range bulgeKnot {
			p.half[(j-1)*bulgeKnot+t] = k + int(math.Round(float64(d*t)/bulgeKnot))
		}
		if f.first {
			break
		}
		s = int(f.s)
	}
	return p
}
