package target

import (
	"math"

	"finishbench/internal/part"
)

// Parameters of a corner's fit.
const (
	cornerX = iota
	cornerY
	cornerA    // direction of the first edge, rad, clockwise as seen
	cornerB    // of the second
	cornerBlur // px, the lens's and the pixel's own
	cornerMid  // light in the middle, and its slopes
	cornerMidX
	cornerMidY
	cornerHalf // half the contrast
	cornerSize
)

// corner is where four squares of a chessboard meet.
type corner struct {
	x, y, u float64 // u: standard uncertainty of each coordinate, px
	blur    float64
	misfit  float64 // scatter about the model, share of the contrast
}

// saddle fits a corner to all pixels within radius of a start: two crossing
// edges, each blurred by the Gaussian distribution function of its distance, in
// opposite quarters light and dark. The model and so its middle are symmetric
// under half a turn, which neither the camera's tone curve nor blur breaks.
// along and across are the ways to the next corners.
func saddle(p *part.Plane, start part.Point, along, across vec, radius float64) (corner, bool) {
	x0, x1 := max(0, int(start.X-radius)), min(p.W-1, int(start.X+radius)+1)
	y0, y1 := max(0, int(start.Y-radius)), min(p.H-1, int(start.Y+radius)+1)
	type pixel struct{ x, y, v float64 }
	var all []pixel
	lo, hi := math.Inf(1), math.Inf(-1)
	for y := y0; y <= y1; y++ {
		for x := x0; x <= x1; x++ {
			if math.Hypot(float64(x)-start.X, float64(y)-start.Y) > radius {
				continue
			}
			v := float64(p.At(x, y))
			all = append(all, pixel{float64(x), float64(y), v})
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	if len(all) < 2*cornerSize || hi <= lo {
		return corner{}, false
	}
	par := make([]float64, cornerSize)
	par[cornerX], par[cornerY] = start.X, start.Y
	par[cornerA], par[cornerB] = math.Atan2(along.y, along.x), math.Atan2(across.y, across.x)
	par[cornerBlur], par[cornerMid], par[cornerHalf] = startBlur, (lo+hi)/2, (hi-lo)/2
	// The sign of the contrast: the light in the quarter between the two ways.
	sum := 0.0
	for _, q := range all {
		sum += (q.v - par[cornerMid]) * math.Copysign(1, side(q.x-start.X, q.y-start.Y, par[cornerA])*side(q.x-start.X, q.y-start.Y,
			par[cornerB]))
	}
	if sum < 0 {
		par[cornerHalf] = -par[cornerHalf]
	}
	m := &model{n: len(all), m: cornerSize, least: map[int]float64{cornerBlur: pixelWidth}}
	m.valid = func(p []float64) bool {
		return p[cornerBlur] <= mostBlur && math.Hypot(p[cornerX]-start.X, p[cornerY]-start.Y) < radius/2+1
	}
	m.row = func(p []float64, i int, slope []float64) float64 {
		q := &all[i]
		dx, dy := q.x-p[cornerX], q.y-p[cornerY]
		sa, ca := math.Sincos(p[cornerA])
		sb, cb := math.Sincos(p[cornerB])
		da, db := ca*dy-sa*dx, cb*dy-sb*dx // distances from the edges
		s := p[cornerBlur]
		ea, eb := math.Erf(da/s/math.Sqrt2), math.Erf(db/s/math.Sqrt2)
		ga, gb := 2*bell(da/s)/s, 2*bell(db/s)/s // derivatives to the distances
		h := p[cornerHalf]
		slope[cornerX] = h*(ga*sa*eb+gb*sb*ea) - p[cornerMidX]
		slope[cornerY] = h*(-ga*ca*eb-gb*cb*ea) - p[cornerMidY]
		slope[cornerA] = h * ga * (-sa*dy - ca*dx) * eb
		slope[cornerB] = h * gb * (-sb*dy - cb*dx) * ea
		slope[cornerBlur] = -h * (ga*da*eb + gb*db*ea) / s
		slope[cornerMid], slope[cornerMidX], slope[cornerMidY] = 1, dx, dy
		slope[cornerHalf] = ea * eb
		return p[cornerMid] + p[cornerMidX]*dx + p[cornerMidY]*dy + h*ea*eb - q.v
	}
	f, ok := m.solve(par, fitRounds, true)
	if !ok {
		return corner{}, false
	}
	c := corner{x: f.p[cornerX], y: f.p[cornerY], blur: f.p[cornerBlur]}
	c.u = math.Sqrt((f.cov.At(cornerX, cornerX) + f.cov.At(cornerY, cornerY)) / 2)
	c.misfit = f.sigma / (2 * math.Abs(f.p[cornerHalf]))
	return c, c.misfit < mostMisfit
}

// side is the signed distance of a place from the line through 0, 0 in the
// direction angle.
func side(x, y, angle float64) float64 { return math.Cos(angle)*y - math.Sin(angle)*x }
