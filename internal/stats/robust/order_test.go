package robust

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

func TestNthIsThatOfSorting(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 500 {
		v := make([]float64, 1+rng.IntN(50))
		for i := range v {
			v[i] = float64(rng.IntN(15)) // many ties
		}
		sorted := slices.Sorted(slices.Values(v))
		k := rng.IntN(len(v))
		if got := Nth(v, k); got != sorted[k] || v[k] != got {
			t.Fatalf("the %d-th of %v is %v, at its place %v", k, sorted, got, v[k])
		}
	}
}

// Worked by hand: of 10, 20, 40 the half is 20, and a quarter lies half way
// between the first two.
func TestQuantile(t *testing.T) {
	v := []float64{40, 10, 20}
	for _, c := range []struct{ q, want float64 }{{0, 10}, {0.25, 15}, {0.5, 20}, {0.75, 30}, {1, 40}} {
		if got := Quantile(v, c.q); got != c.want {
			t.Errorf("quantile %v is %v, want %v", c.q, got, c.want)
		}
	}
	if !slices.Equal(v, []float64{40, 10, 20}) || !math.IsNaN(Quantile(nil, .5)) {
		t.Error("the values were moved, or nothing has a quantile")
	}
}

// Maxima that follow Gumbel's law, at its quantiles: the limit is the quantile of the largest of n.
// Expected value: the law itself, -ln(-ln p).
func TestGumbelLimit(t *testing.T) {
	const n, allowed = 4001, 0.1
	v := make([]float64, n)
	for i := range v {
		v[n-1-i] = 3 + 2*-math.Log(-math.Log((float64(i)+0.5)/n))
	}
	want := 3 + 2*-math.Log(-math.Log(1-allowed/n))
	for _, heavy := range []bool{false, true} {
		if got := GumbelLimit(slices.Clone(v), allowed, heavy); math.Abs(got-want) > 0.02 {
			t.Errorf("heavy %v: %.3f, want %.3f", heavy, got, want)
		}
	}
}
