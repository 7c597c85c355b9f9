package process

import (
	"fmt"
	"math"
	"slices"

	"finishbench/internal/stats/robust"
)

// Histogram is how many values lie in each of bars of one width: from an edge up
// to, not with, the next; the last with its end.
type Histogram struct {
	Edges  []float64 // one more than counts
	Counts []int
}

// Bars makes a histogram: widths by Freedman and Diaconis (Z.
// Wahrscheinlichkeitstheorie verw. Geb. 57, 1981), rounded up to 1, 2 or 5 times a
// power of ten, at most 60 bars. Values that are NaN were not measured.
func Bars(values []float64) (Histogram, error) {
	v := present(values)
	if len(v) == 0 {
		return Histogram{}, fmt.Errorf("process: histogram: nothing was measured")
	}
	lo, hi := slices.Min(v), slices.Max(v)
	span := hi - lo
	width := 2 * (robust.Quantile(v, 0.75) - robust.Quantile(v, 0.25)) / math.Cbrt(float64(len(v)))
	if !(width > 0) {
		width = span / 10
	}
	if !(span > 0) {
		width = math.Max(math.Abs(lo), 1) / 10
	}
	width = roundUp(math.Max(width, span/60))
	first := math.Floor(lo / width)
	n := int(math.Floor(hi/width)-first) + 1
	h := Histogram{Counts: make([]int, n), Edges: make([]float64, n+1)}
	for i := range h.Edges {
		h.Edges[i] = (first + float64(i)) * width
	}
	for _, x := range v {
		h.Counts[max(0, min(int(math.Floor(x/width)-first), n-1))]++
	}
	return h, nil
}

// roundUp is the smallest of 1, 2 or 5 times a power of ten that is not below v.
func roundUp(v float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 2, 5} {
		if m*p >= v*(1-1e-9) {
			return m * p
		}
	}
	return 10 * p
}
