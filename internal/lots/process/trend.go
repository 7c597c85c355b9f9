package process

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Trend says whether values rise or fall in the order in which they came.
type Trend struct {
	N      int
	Rank   float64 // Spearman's rank correlation with the order, -1 falling to 1 rising
	P      float64 // two-sided chance of it without any trend; NaN: too few, or all equal
	Slope  float64 // per value, by least squares
	USlope float64 // its standard uncertainty, for values that scatter independently
	Change float64 // what the slope makes from the first value to the last
}

// TrendOf looks for a trend. Values that are NaN were not measured and are left
// out; their place in the order counts. The chance of the rank correlation is from
// Student's distribution (Kendall and Stuart, "The Advanced Theory of Statistics",
// volume 2; from memory); fewer than ten values are not tested. Neighbours that are
// alike for another reason than a trend make it look surer than it is.
func TrendOf(values []float64) Trend {
	var x, y []float64
	for i, v := range values {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			x, y = append(x, float64(i)), append(y, v)
		}
	}
	n := float64(len(y))
	t := Trend{N: len(y), Rank: math.NaN(), P: math.NaN(), Slope: math.NaN(), USlope: math.NaN(), Change: math.NaN()}
	if len(y) < 10 {
		return t
	}
	r := correlation(ranks(x), ranks(y))
	sxx, sxy, _, _, my := sums(x, y)
	t.Slope = sxy / sxx
	t.Change = t.Slope * (x[len(x)-1] - x[0])
	mx, _ := meanSD(x)
	ss := 0.0
	for i := range y {
		d := y[i] - my - t.Slope*(x[i]-mx)
		ss += d * d
	}
	t.USlope = math.Sqrt(ss / (n - 2) / sxx)
	if math.IsNaN(r) {
		return t
	}
	t.Rank = r
	at := math.Abs(r) * math.Sqrt((n-2)/math.Max(1-r*r, 1e-300))
	t.P = 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n - 2}.Survival(at)
	return t
}

func sums(x, y []float64) (sxx, sxy, syy, mx, my float64) {
	mx, _ = meanSD(x)
	my, _ = meanSD(y)
	for i := range x {
		dx, dy := x[i]-mx, y[i]-my
		sxx, sxy, syy = sxx+dx*dx, sxy+dx*dy, syy+dy*dy
	}
	return
}

// correlation is NaN where one of the two does not change.
func correlation(x, y []float64) float64 {
	sxx, sxy, syy, _, _ := sums(x, y)
	if sxx == 0 || syy == 0 {
		return math.NaN()
	}
	return sxy / math.Sqrt(sxx*syy)
}

// ranks are from 1; equal values share the mean of theirs.
func ranks(v []float64) []float64 {
	at := make([]int, len(v))
	for i := range at {
		at[i] = i
	}
	slices.SortFunc(at, func(a, b int) int { return cmp.Compare(v[a], v[b]) })
	out := make([]float64, len(v))
	for i := 0; i < len(at); {
		j := i
		for j < len(at) && v[at[j]] == v[at[i]] {
			j++
		}
		for k := i; k < j; k++ {
			out[at[k]] = float64(i+j+1) / 2
		}
		i = j
	}
	return out
}
