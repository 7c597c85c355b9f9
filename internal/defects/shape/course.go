package shape

import (
	"math"
	"slices"

	"finishbench/internal/defects/raster"
)

// UnevenPX is how far a spot's diameter depends on what is meant by it (JCGM
// 200:2012, 2.27): by its axes, by a box that lies otherwise, or by its area.
func (s Shape) UnevenPX(pixels []int, w int) float64 {
	axes := math.Sqrt(s.Long * s.Across)
	most := math.Abs(s.AreaDiameter() - axes)
	for deg := 0; deg < 90; deg += boxTurnDeg {
		s.SetAxis(float64(deg)*math.Pi/180, pixels, w)
		most = math.Max(most, math.Abs(math.Sqrt(s.Long*s.Across)-axes))
	}
	return most
}

// boxTurnDeg is the step by which a box around a spot is turned.
const boxTurnDeg = 15

// pieces are, for n equal stretches between lo and hi of one coordinate of the
// pixels (0 along the main axis, 1 across), the mean, least and largest of the
// other; NaN means where a stretch is empty.
func (s *Shape) pieces(pixels []int, w, axis, n int) (mean, lo, hi []float64) {
	at := func(i int) (t, other float64) {
		u, v := s.Along(i, w)
		if axis == 0 {
			return u, v
		}
		return v, u
	}
	first, last := math.Inf(1), math.Inf(-1)
	for _, i := range pixels {
		t, _ := at(i)
		first, last = math.Min(first, t), math.Max(last, t)
	}
	mean, lo, hi = make([]float64, n), make([]float64, n), make([]float64, n)
	count := make([]float64, n)
	for k := range lo {
		lo[k], hi[k] = math.Inf(1), math.Inf(-1)
	}
	for _, i := range pixels {
		t, o := at(i)
		k := min(n-1, int((t-first)/(last-first+1)*float64(n)))
		mean[k] += o
		lo[k], hi[k] = math.Min(lo[k], o), math.Max(hi[k], o)
		count[k]++
	}
	for k := range mean {
		mean[k] /= count[k]
	}
	return mean, lo, hi
}

// CoursePX is a line's length when it is followed in pieces of about the given
// length, each from middle to middle.
func (s *Shape) CoursePX(pixels []int, w int, piece float64) float64 {
	n := max(2, int(s.Long/piece))
	mean, _, _ := s.pieces(pixels, w, 0, n)
	step := s.Long / float64(n)
	sum, from, k0 := 0.0, math.NaN(), 0
	for k, v := range mean {
		if math.IsNaN(v) {
			continue // a gap
		}
		if !math.IsNaN(from) {
			sum += math.Hypot(v-from, step*float64(k-k0))
		} else {
			sum += step * float64(k)
		}
		from, k0 = v, k
	}
	return sum + step*float64(n-k0)
}

// RaggedPX is the standard uncertainty of a patch's length from its lines'
// ends: the scatter of both ends, over as many stretches across as it has lines.
func (s *Shape) RaggedPX(pixels []int, w, lines int) float64 {
	_, lo, hi := s.pieces(pixels, w, 1, max(2, lines))
	return math.Hypot(deviation(lo), deviation(hi))
}

// deviation is the robust standard deviation of the finite values: 1.4826 times
// the median distance from the median; 0 of fewer than two.
func deviation(v []float64) float64 {
	v = slices.DeleteFunc(slices.Clone(v), func(x float64) bool { return math.IsInf(x, 0) })
	if len(v) < 2 {
		return 0
	}
	mid := raster.Median(v)
	for i := range v {
		v[i] = math.Abs(v[i] - mid)
	}
	return 1.4826 * raster.Median(v)
}
