package surface

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// TestLine holds the lines against the formula that they are made by: between two
// rows by distance, nothing beyond the strip, columns in a ring.
func TestLine(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	s := &Strip{Cols: 60, Rows: 9}
	v := make([]float32, s.Cols*s.Rows)
	for i := range v {
		v[i] = r.Float32()
	}
	v[5*60+30] = float32(math.NaN())
	const every, stretch = 3, 5
	taps := s.taps(rimLeans, every, stretch)
	for l, lean := range rimLeans {
		for j := range s.Rows {
			for _, k := range []int{0, 3, 30, 57} {
				var want []float32
				for d := -stretch; d <= stretch; d++ {
					row := float64(j) + lean*float64(d*every)
					if row < 0 || row > 8 {
						continue
					}
					up, u := int(row), float32(row-math.Floor(row))
					col := (k + d*every + 60) % 60
					a := v[up*60+col]
					if u > 0 {
						a = a*(1-u) + u*v[(up+1)*60+col]
					}
					if a == a {
						want = append(want, a)
					}
				}
				got := s.line(v, k, taps[l*s.Rows+j], every, nil)
				if !slices.Equal(got, want) {
					t.Fatalf("lean %g, row %d, column %d: %v, want %v", lean, j, k, got, want)
				}
				sortShort(got)
				if !slices.IsSorted(got) {
					t.Fatalf("not sorted: %v", got)
				}
			}
		}
	}
}
