package capture

import (
	"math"
	"slices"

	"finishbench/internal/stats/robust"
)

// sharpness is what the outline's edges say of focus and motion, px.
type sharpness struct {
	width   float64 // 10-90 % width of the edge; NaN where not measurable
	minor   float64 // the same across the direction of motion
	motion  float64 // length of the motion, from the widths by direction; NaN where not measurable
	heading float64 // its direction, degrees, 0..180, clockwise from the x axis as seen
	edges   int     // clean places
	clear   bool    // the outline is not soft by itself, or enough was seen inside
}

// cleanResidual is the largest rms distance of a clean edge from its fit, as a
// share of its contrast. Common practice, no source.
const cleanResidual = 0.08

// judgeEdges sums the fits up. soft says that much of the outline may be soft
// by itself, as a rim under a dome: then the sharper ones count, as blur spares
// none, and motion is only told where most places are clean.
func judgeEdges(fits []edgeFit, soft bool) sharpness {
	s := sharpness{width: math.NaN(), minor: math.NaN(), motion: math.NaN(), clear: !soft}
	share := 0.5
	if soft {
		share = 0.12
	}
	var all []float64
	var by [bins][]float64
	for _, f := range fits {
		if f.residual > cleanResidual {
			continue
		}
		all = append(all, f.sigma)
		turn := math.Mod(f.normal+2*math.Pi, math.Pi) / math.Pi // 0..1 for half a turn
		k := int(turn*bins+0.5) % bins
		by[k] = append(by[k], f.sigma)
	}
	s.edges = len(all)
	if len(all) < 15 {
		return s
	}
	s.width = risePerSigma * robust.Quantile(all, share)
	s.minor = s.width
	if soft {
		share = 0.25
		if 5*len(all) < 3*places {
			return s
		}
	}
	s.byDirection(by[:], share)
	return s
}

// correctByInside corrects what the outline says by edges inside the unit: blur spares none,
// so the fourth sharpest bounds it. A few may be sharp by accident of noise. An outline of fewer than 15 clean
// places is left to itself.
func (s *sharpness) correctByInside(inside []edgeFit) {
	if s.edges == 0 {
		return
	}
	var all []float64
	sharp := 0
	for _, f := range inside {
		if f.residual > cleanResidual/2 {
			continue
		}
		all = append(all, f.sigma)
		// Motion by L at an angle a to the edge's normal makes a sigma of L/sqrt(12)
		// cos a.
		if c := math.Abs(math.Cos(f.normal - s.heading*math.Pi/180)); c > 0.8 && f.sigma < 0.35*c*s.motion/math.Sqrt(12) {
			sharp++
		}
	}
	if sharp >= 2 {
		s.motion = math.NaN()
	}
	s.clear = len(all) >= 12
	if len(all) >= 5 {
		slices.Sort(all)
		w := risePerSigma * all[3]
		s.width, s.minor = min(s.width, w), min(s.minor, w)
	}
}

// smeared reports motion that is more than still px long and clearly wider than
// the edges across it.
func (s *sharpness) smeared(still float64) bool {
	return s.motion > still && s.motion/math.Sqrt(12) > 1.5*s.minor/risePerSigma
}

// waveRest is how much of the wave may be left unexplained, rms against its
// height, before nothing is said of motion. Common practice, no source.
const waveRest = 0.55

// bins is the number of directions of a half turn by which edges are sorted.
const bins = 8

// byDirection fits the squared sigma as a constant and a wave of two periods per
// turn. Motion by a length L widens an edge whose normal is at an angle a to it
// by the variance of a uniform line, L^2/12 cos^2 a.
// Where the wave does not describe the widths, nothing is said of motion.
func (s *sharpness) byDirection(by [][]float64, share float64) {
	var a [3][4]float64
	var rows [][4]float64
	for k, v := range by {
		if len(v) < 4 {
			continue
		}
		sg := robust.Quantile(v, share)
		th := 2 * math.Pi * float64(k) / bins // twice the normal's angle
		f := [4]float64{1, math.Cos(th), math.Sin(th), sg * sg}
		rows = append(rows, f)
		for i := range 3 {
			for j := range 4 {
				a[i][j] += f[i] * f[j]
			}
		}
	}
	if len(rows) < 5 {
		return
	}
	x, ok := solve3(a)
	if !ok {
		return
	}
	amp := math.Hypot(x[1], x[2])
	rest := 0.0
	for _, f := range rows {
		d := f[3] - x[0] - x[1]*f[1] - x[2]*f[2]
		rest += d * d
	}
	if math.Sqrt(rest/float64(len(rows))) > waveRest*amp {
		return
	}
	least := rows[0][3]
	for _, f := range rows {
		least = min(least, f[3])
	}
	s.motion = math.Sqrt(12 * 2 * amp)
	s.heading = math.Mod(math.Atan2(x[2], x[1])/2*180/math.Pi+180, 180)
	s.minor = risePerSigma * math.Sqrt(max(x[0]-amp, least))
}

// solve3 solves three linear equations, right side in column 3, by elimination
// with pivots.
func solve3(a [3][4]float64) (x [3]float64, ok bool) {
	for i := range 3 {
		p := i
		for r := i + 1; r < 3; r++ {
			if math.Abs(a[r][i]) > math.Abs(a[p][i]) {
				p = r
			}
		}
		a[i], a[p] = a[p], a[i]
		if math.Abs(a[i][i]) < 1e-9 {
			return x, false
		}
		for r := range 3 {
			if r == i {
				continue
			}
			f := a[r][i] / a[i][i]
			for k := i; k < 4; k++ {
				a[r][k] -= f * a[i][k]
			}
		}
	}
	for i := range 3 {
		x[i] = a[i][3] / a[i][i]
	}
	return x, true
}
