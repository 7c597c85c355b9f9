package optics

import (
	"math"
	"slices"

	"finishbench/internal/part"
)

// mostSpots is how many spots are listed; more say "dirty" as well.
const mostSpots = 200

// findSpots lists places that are darker than the grid by SpotDepth at least and
// by five times the noise, 3 px across at least. With several pictures a spot
// counts for the sensor or lens where each shows half its depth; the others are
// counted as the card's.
func (f *FlatField) findSpots(white []Named, off *part.Plane, key int, o FlatFieldOptions) {
	const win = 2 // 5x5 pixels
	smooth := boxMean(off, win)
	limit := float32(max(o.SpotDepth, 5*scatter(smooth)))
	var single []*part.Plane
	if len(white) > 1 {
		for _, n := range white {
			single = append(single, boxMean(f.residual(meanLight([]Named{n}, key, o), key), win))
		}
	}
	for _, s := range darkPieces(smooth, limit) {
		if !f.inAll(single, s) {
			f.SpotsOnCard++
		} else if len(f.Spots) < mostSpots {
			f.Spots = append(f.Spots, s)
		}
	}
	// What is deep in one picture only may be faint in the mean.
	f.SpotsOnCard += f.moved(single, limit)
}

// inAll says whether each picture shows half the spot's depth.
func (f *FlatField) inAll(single []*part.Plane, s Spot) bool {
	x, y := int(math.Round(s.XPX)), int(math.Round(s.YPX))
	for _, p := range single {
		if -100*float64(p.At(x, y)) < s.DepthPct/2 {
			return false
		}
	}
	return true
}

// moved counts spots of single pictures that the mean shows no more as spots.
func (f *FlatField) moved(single []*part.Plane, limit float32) int {
	n := 0
	for k, p := range single {
		for _, s := range darkPieces(p, limit*float32(math.Sqrt(float64(len(single))))) {
			x, y := int(math.Round(s.XPX)), int(math.Round(s.YPX))
			mean := float32(0)
			for _, q := range single {
				mean += q.At(x, y) / float32(len(single))
			}
			others := true
			for j, q := range single {
				if j != k && -100*float64(q.At(x, y)) >= s.DepthPct/2 {
					others = false
				}
			}
			if others && -mean < limit {
				n++
			}
		}
	}
	return n
}

// scatter is the robust standard deviation, 1.4826 MAD, of a plane about 0.
func scatter(p *part.Plane) float64 {
	v := sampled(p, 20000)
	for i := range v {
		v[i] = math.Abs(v[i])
	}
	slices.Sort(v)
	return 1.4826 * v[len(v)/2]
}

// boxMean is the mean over a square of 2r+1 pixels; at the border over the part
// inside.
func boxMean(p *part.Plane, r int) *part.Plane {
	tmp, out := part.NewPlane(p.W, p.H), part.NewPlane(p.W, p.H)
	for y := range p.H {
		runMean(p.V[y*p.W:], tmp.V[y*p.W:], p.W, 1, r)
	}
	for x := range p.W {
		runMean(tmp.V[x:], out.V[x:], p.H, p.W, r)
	}
	return out
}

func runMean(src, dst []float32, n, stride, r int) {
	sum, count := 0.0, 0
	for i := 0; i < min(r, n); i++ {
		sum, count = sum+float64(src[i*stride]), count+1
	}
	for i := range n {
		if i+r < n {
			sum, count = sum+float64(src[(i+r)*stride]), count+1
		}
		if i-r-1 >= 0 {
			sum, count = sum-float64(src[(i-r-1)*stride]), count-1
		}
		dst[i*stride] = float32(sum / float64(count))
	}
}

// darkPieces are the connected places below -limit, deepest first, of 7 pixels
// at least.
func darkPieces(p *part.Plane, limit float32) []Spot {
	seen := make([]bool, len(p.V))
	var spots []Spot
	var stack []int
	for start := range p.V {
		if seen[start] || p.V[start] > -limit {
			continue
		}
		seen[start] = true
		stack = append(stack[:0], start)
		deep, n, at := float32(0), 0, start
		for len(stack) > 0 {
			i := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			n++
			if p.V[i] < deep {
				deep, at = p.V[i], i
			}
			x, y := i%p.W, i/p.W
			for _, d := range [4][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
				if u, v := x+d[0], y+d[1]; u >= 0 && v >= 0 && u < p.W && v < p.H {
					if k := v*p.W + u; !seen[k] && p.V[k] <= -limit {
						seen[k] = true
						stack = append(stack, k)
					}
				}
			}
		}
		if n >= 7 {
			spots = append(spots, Spot{float64(at % p.W), float64(at / p.W), 2 * math.Sqrt(float64(n)/math.Pi), -100 * float64(deep)})
		}
	}
	slices.SortStableFunc(spots, func(a, b Spot) int {
		switch {
		case a.DepthPct > b.DepthPct:
			return -1
		case a.DepthPct < b.DepthPct:
			return 1
		}
		return 0
	})
	return spots
}
