package outline

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The normal equations of the weighted series, each product summed plainly.
func TestEquations(t *testing.T) {
	const n, terms = 90, 2*orders + 1
	r := rand.New(rand.NewPCG(3, 4))
	var sums harmonics
	var right [terms]float64
	want := make([]float64, terms*(terms+1))
	for k, b := range fourier(n) {
		w, v := r.Float64(), 100+r.Float64()
		plain := []float64{1}
		for o := 1; o <= orders; o++ {
			s, c := math.Sincos(float64(o) * 2 * math.Pi * float64(k) / n)
			plain = append(plain, c, s)
		}
		for i, p := range plain {
			for j := i; j < terms; j++ {
				want[i*(terms+1)+j] += w * p * plain[j]
			}
			want[i*(terms+1)+terms] += w * p * v
			right[i] += w * b[i] * v
		}
		for i := range sums {
			sums[i] += w * b[i]
		}
	}
	for i, v := range sums.equations(&right) {
		if math.Abs(v-want[i]) > 1e-10*100*n { // rounding of sums of up to 100 n
			t.Fatalf("row %d, column %d: %g, want %g", i/(terms+1), i%(terms+1), v, want[i])
		}
	}
}
