package scene

import (
	"math"
	"testing"
)

// A series comes back from its values, also where a tenth of them lie far off. The
// values are the series' own, by formula.
func TestAroundFit(t *testing.T) {
	want := []float64{0.4, 0.6, -0.2, 0.1, 0.05, 0, 0.03}
	v := make([]float64, 240)
	for k := range v {
		v[k] = fourier(want, 2*math.Pi*float64(k)/240)
		if k%10 == 3 {
			v[k] += 2.5
		}
	}
	for k, got := range aroundFit(v, 3) {
		if math.Abs(got-want[k]) > 0.01 {
			t.Errorf("term %d: %v, drawn with %v", k, got, want[k])
		}
	}
}
