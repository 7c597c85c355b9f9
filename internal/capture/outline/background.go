package outline

import (
	"math"

	"finishbench/internal/stats/robust"
)

// surface is a polynomial of second degree in x and y, both -1..1 across the
// picture: 1, x, y, x^2, xy, y^2. Values are levels 0..255.
type surface [6]float64

func (s *surface) at(x, y float64) float64 {
	return s[0] + x*(s[1]+x*s[3]+y*s[4]) + y*(s[2]+y*s[5])
}

// background is a surface for each channel and the noise around it.
type background struct {
	of    [3]surface
	noise float64 // standard deviation of a sample from the surface, in levels, the worst channel
}

// unitCoord maps a sample's index to -1..1.
func unitCoord(i, n int) float64 { return (2*float64(i)+1)/float64(n) - 1 }

// frameBackground fits the background to the samples along the frame's edge.
// Unit and holder may cover less than half of it.
func frameBackground(t *thinned) *background {
	places := make([]int, 0, 8*(t.w+t.h))
	for k := range min(4, t.w/2, t.h/2) {
		for i := k & 1; i < t.w; i += 2 {
			places = append(places, k*t.w+i, (t.h-1-k)*t.w+i)
		}
		for j := k & 1; j < t.h; j += 2 {
			places = append(places, j*t.w+k, j*t.w+t.w-1-k)
		}
	}
	return fitBackground(t, places, nil)
}

// fitBackground fits by least squares, starting from the last fit or, without
// one, from the commonest level, and leaves out what lies far off.
func fitBackground(t *thinned, places []int, last *background) *background {
	var b background
	at := make([]spot, len(places))
	var where robust.Quadric // all places, alike for all channels
	for i, p := range places {
		at[i].x, at[i].y = unitCoord(p%t.w, t.w), unitCoord(p/t.w, t.h)
		where.Add(at[i].x, at[i].y, 0, 1)
	}
	for c := range t.c {
		all := where
		for i, p := range places {
			at[i].v = float64(t.v[p*t.c+c])
			all.AddValue(at[i].x, at[i].y, at[i].v)
		}
		// Wide at first, as light falls off towards the corners; then as the scatter is.
		s, noise, rounds := surface{}, 0.0, 4
		if last != nil {
			s, noise, rounds = last.of[c], 2*last.noise, 2
		} else {
			s[0] = commonest(t, places, c)
		}
		for round := range rounds {
			tol := max(6, 4*noise)
			first := round == 0 && last == nil
			if first {
				tol = 40
			}
			s, noise = refit(at, all, &s, tol, first)
		}
		b.of[c], b.noise = s, max(b.noise, noise)
	}
	return &b
}

// spot is one sample's place, -1..1 each way, and level.
type spot struct{ x, y, v float64 }

// commonest is the middle of the fullest run of 9 levels.
func commonest(t *thinned, places []int, c int) float64 {
	var hist [256 + 9]int
	for _, p := range places {
		hist[t.v[p*t.c+c]]++
	}
	sum, best, at := 0, -1, 0
	for i := range hist {
		sum += hist[i]
		if i >= 9 {
			sum -= hist[i-9]
		}
		if sum > best {
			best, at = sum, i
		}
	}
	return float64(at) - 4
}

// refit fits a surface to the spots within tol of the last one; all are the sums of
// all spots. planeOnly leaves the second degree out. The noise is 1.4826 times the median distance.
func refit(spots []spot, all robust.Quadric, last *surface, tol float64, planeOnly bool) (surface, float64) {
	n := 6
	if planeOnly {
		n = 3
	}
	var off [256 * 4]int // histogram of the distances, in quarter levels
	seen := len(spots)
	for _, p := range spots {
		d := math.Abs(p.v - last.at(p.x, p.y))
		if d > tol {
			all.Add(p.x, p.y, p.v, -1)
			seen--
			continue
		}
		off[int(min(4*d, 1023))]++
	}
	if seen < 20*n {
		return *last, tol / 4
	}
	median := 0
	for k := 0; k <= seen/2; median++ {
		k += off[median]
	}
	a := all.Equations(n)
	s, ok := solve(&a, n)
	if !ok {
		return *last, tol / 4
	}
	return s, max(0.5, 1.4826*(float64(median)-0.5)/4)
}

// solve is Gauss elimination of n normal equations (upper half given, right
// side in column 6); n is 3 or 6.
func solve(a *[6][7]float64, n int) (s surface, ok bool) {
	for i := range n {
		for j := range i {
			a[i][j] = a[j][i]
		}
	}
	for i := range n {
		p := i
		for r := i + 1; r < n; r++ {
			if math.Abs(a[r][i]) > math.Abs(a[p][i]) {
				p = r
			}
		}
		a[i], a[p] = a[p], a[i]
		if math.Abs(a[i][i]) < 1e-9 {
			return s, false
		}
		for r := range n {
			if r == i {
				continue
			}
			f := a[r][i] / a[i][i]
			for k := i; k < 7; k++ {
				a[r][k] -= f * a[i][k]
			}
		}
	}
	for i := range n {
		s[i] = a[i][6] / a[i][i]
	}
	return s, true
}

// differences is each sample's distance from the background: the largest over
// the channels, in levels 0..255.
func (b *background) differences(t *thinned) []uint8 {
	d := make([]uint8, t.w*t.h)
	dx := 2 / float64(t.w)
	x0 := unitCoord(0, t.w)
	var line [3]parabola
	for j := range t.h {
		y := unitCoord(j, t.h)
		for c := range t.c {
			s := &b.of[c]
			// Along a row the surface is a parabola: its second difference is the same
			// all along. In 1/2^24 of a level, plus one half to round.
			const one = 1 << 24
			line[c] = parabola{
				v:    int64(one * (s.at(x0, y) + 0.5)),
				step: int64(one * (s.at(x0+dx, y) - s.at(x0, y))),
				bend: int64(one * 2 * s[3] * dx * dx),
			}
		}
		out, row := d[j*t.w:(j+1)*t.w], t.v[j*t.w*t.c:(j+1)*t.w*t.c]
		if t.c == 3 {
			r, g, b := line[0], line[1], line[2]
			for i := range out {
				v := row[3*i : 3*i+3 : 3*i+3]
				out[i] = uint8(min(max(r.apart(v[0]), g.apart(v[1]), b.apart(v[2])), 255))
			}
			continue
		}
		for i, v := range row {
			out[i] = uint8(min(line[0].apart(v), 255))
		}
	}
	return d
}

// parabola runs along a row of samples in whole numbers.
type parabola struct{ v, step, bend int64 }

// apart is how far a level is from the parabola, which then goes on to the next sample.
func (p *parabola) apart(level uint8) int64 {
	u := int64(level) - p.v>>24
	p.v, p.step = p.v+p.step, p.step+p.bend
	sign := u >> 63 // all ones where negative; no branch on noise
	return (u ^ sign) - sign
}
