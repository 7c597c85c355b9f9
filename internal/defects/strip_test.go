package defects

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"finishbench/internal/part"
)

// TestLine holds the lines against the formula that they are made by: between two
// rows by distance, nothing beyond the strip, columns in a ring.
func TestLine(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	s := &strip{cols: 60, rows: 9}
	v := make([]float32, s.cols*s.rows)
	for i := range v {
		v[i] = r.Float32()
	}
	v[5*60+30] = float32(math.NaN())
	const every, stretch = 3, 5
	taps := s.taps(rimLeans, every, stretch)
	for l, lean := range rimLeans {
		for j := range s.rows {
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
				got := s.line(v, k, taps[l*s.rows+j], every, nil)
				if !slices.Equal(got, want) {
					t.Fatalf("lean %g, row %d, column %d: %v, want %v", lean, j, k, got, want)
				}
				sortFew(got)
				if !slices.IsSorted(got) {
					t.Fatalf("not sorted: %v", got)
				}
			}
		}
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
		low, high := quantiles(slices.Clone(v), 0.5, 0.9)
		if a, b := quantile(slices.Clone(v), 0.5), quantile(slices.Clone(v), 0.9); a != low || b != high {
			t.Fatalf("%d values: %g and %g, want %g and %g", n, low, high, a, b)
		}
	}
}

// TestTamedBetweenBlocks: a rim pixel's factor in a block's middle is the block's own,
// half-way to the next the mean of both, and past the last band it fades to 1.
func TestTamedBetweenBlocks(t *testing.T) {
	f := &sceneFace{mmPX: rimBandMM, surf: &surface{area: 1e4 / math.Pi, outside: part.NewPlane(10, 1)}} // a pixel is a band deep
	f.rim = &rim{strip: &strip{cols: 1000, rows: 13}}
	block := 1000 / float32(max(8, int(2*math.Sqrt(1e4)*rimBandMM/rimBlockMM+0.5))) // columns of one
	for i, p := range [][2]float32{{0.5 * block, 0}, {block, 0}, {0.5 * block, 0.5}, {0.5 * block, 12}} {
		f.rim.pixels = append(f.rim.pixels, rimPX{int32(i), p[0], p[1]})
	}
	f.setBlocks()
	factors := make([]float32, f.rim.blocks+f.rim.around)
	for b := range factors {
		factors[b] = 1
	}
	factors[0], factors[1], factors[f.rim.around], factors[12*f.rim.around] = 0.2, 0.6, 0.4, 0.5
	for i, want := range []float32{0.2, 0.4, 0.3, 0.5} {
		if got := f.rim.factor(factors, i); math.Abs(float64(got-want)) > 1e-5 {
			t.Errorf("pixel %d: factor %.3f, want %.3f", i, got, want)
		}
	}
}
