package scene

import (
	"math"
	"slices"

	"finishbench/internal/defects/pattern"
	"finishbench/internal/defects/raster"
	"finishbench/internal/stats/robust"
)

// How the faceplate is told from what shows of the shell's side beyond its edge,
// under a lens that is near or a unit that is tilted (common practice, no source).
const (
	crescentDeepMM = 3.5  // so far in it may reach
	crescentDark   = 0.2  // its light differs by this share from the face's, in every picture,
	crescentTimes  = 1.5  // and so many times as much as nearly all of the face's own stretches do
	crescentAlong  = 3    // columns to either side over which light is taken: its edge lies askew
	crescentLeast  = 0.25 // less deep than this, in millimetres, it is the rim
	crescentTerms  = 3    // it begins and ends smoothly: Fourier terms around the outline
)

// leaveShell takes off the surface what shows of the shell's side. There light
// differs from the face's in every picture over long stretches along the outline,
// deeper on one side than on the other; a lamp mirrored in the face shows in one
// picture only.
func (f *Face) leaveShell() error {
	s := f.Surface.Unroll(int(crescentDeepMM/f.MMPX), RimStepMM/f.MMPX, 1)
	n := s.Cols
	least := make([]float32, n*s.Rows) // the smallest deviation over the pictures
	for pic := range f.Pictures {
		light := make([]float32, len(least))
		level := make([]float32, len(least))
		for _, ch := range f.Channels {
			if ch.Pic != pic {
				continue
			}
			base := s.Sample(ch.Base)
			for i, v := range s.Sample(ch.Light) {
				light[i] += v - base[i]
				level[i] += base[i]
			}
		}
		along := s.Along(light, nil, 1, crescentAlong, 0.5)
		for i, v := range along {
			d := raster.Abs(v) / max(level[i], 1e-4)
			if pic == 0 || d < least[i] {
				least[i] = d
			}
		}
	}
	var inner []float64
	for _, v := range least[n*s.Rows*3/4:] {
		if v == v {
			inner = append(inner, float64(v))
		}
	}
	limit := float32(max(crescentDark, crescentTimes*raster.Quantile(inner, 0.95)))
	depth := make([]float64, n)
	for k := range depth {
		for j := s.Rows - 3; j >= 0; j-- {
			if least[j*n+k] > limit && least[(j+1)*n+k] > limit {
				depth[k] = (float64(j) + 2) * f.MMPX
				break
			}
		}
	}
	usual := robust.Quantile(slices.Clone(depth), 0.25)
	for k := range depth {
		depth[k] = max(0, depth[k]-usual)
	}
	if robust.Quantile(slices.Clone(depth), 0.95) < crescentLeast {
		return nil
	}
	fit := aroundFit(depth, crescentTerms)
	for i, d := range f.Surface.Outside.V {
		if d <= 0 {
			continue
		}
		a := math.Atan2(float64(i/f.Surface.W)-f.Surface.CY, float64(i%f.Surface.W)-f.Surface.CX)
		f.Surface.Outside.V[i] = d - float32(max(0, fourier(fit, a)-crescentLeast/2)/f.MMPX)
	}
	f.Surface.Measure()
	copy(f.Surface.Dist.V, f.Surface.Outside.V)
	f.Points = f.SamplePoints(f.Surface.Dist, f.RimPX())
	for k := range f.Channels {
		f.Channels[k].Base = nil
	}
	return f.levelBase(nil)
}

// aroundFit fits a Fourier series to values at equal angles, outliers left out:
// constant, then cosine and sine of each order.
func aroundFit(v []float64, terms int) []float64 {
	fit := make([]float64, 2*terms+1)
	fit[0] = robust.Quantile(slices.Clone(v), 0.5)
	rows := make([][]float64, len(v))
	for k := range rows {
		rows[k] = fourierTerms(2*math.Pi*float64(k)/float64(len(v)), len(fit))
	}
	robust.Biweight{Rounds: 8, Least: 0.05}.Fit(fit, rows, v)
	return fit
}

func fourierTerms(a float64, m int) []float64 {
	t := make([]float64, m)
	t[0] = 1
	for k := 1; k < m; k += 2 {
		t[k+1], t[k] = math.Sincos(float64(k+1) / 2 * a)
	}
	return t
}

// fourier is a series' value at an angle.
func fourier(fit []float64, a float64) float64 {
	return pattern.Dot(fit, fourierTerms(a, len(fit)))
}
