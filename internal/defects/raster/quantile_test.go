package raster

import (
	"math/rand/v2"
	"slices"
	"testing"
)

func TestQuantileIsThatOfSorting(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for range 200 {
		v := make([]float64, 1+rng.IntN(60))
		for i := range v {
			v[i] = float64(rng.IntN(20)) // many ties
		}
		sorted := slices.Clone(v)
		slices.Sort(sorted)
		q := rng.Float64()
		if want := sorted[min(len(v)-1, int(q*float64(len(v))))]; Quantile(v, q) != want {
			t.Fatalf("quantile %v of %v is %v", q, sorted, want)
		}
	}
	if Quantile[float64](nil, .5) != 0 {
		t.Error("the quantile of nothing is not 0")
	}
}

// TestQuantiles: two at once are what each is alone.
func TestQuantiles(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for n := 1; n < 200; n += 7 {
		v := make([]float32, n)
		for i := range v {
			v[i] = float32(r.IntN(50))
		}
		low, high := Quantiles(slices.Clone(v), 0.5, 0.9)
		if a, b := Quantile(slices.Clone(v), 0.5), Quantile(slices.Clone(v), 0.9); a != low || b != high {
			t.Fatalf("%d values: %g and %g, want %g and %g", n, low, high, a, b)
		}
	}
}
