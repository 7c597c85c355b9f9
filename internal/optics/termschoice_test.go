package optics

import (
	"math"
	"testing"
)

// Where marks err alike, by a sheet that bends a little, the choice of terms moves the focal length
// by more than the fit's own uncertainty; with the choice in it the true one lies within 2 u. Where errors are
// independent the choice adds little. Expected values are those of the drawn lens.
func TestChoiceOfTerms(t *testing.T) {
	l := trueLens
	l.K2, l.P1, l.P2, l.K3 = 0, 0, 0, 0
	plain := func(int, *Mark) {}
	// A print on a sheet that bends: up to 0.1 mm off where 60 mm from the middle, in each view another way.
	bent := func(view int, m *Mark) {
		a := float64(view)
		m.XMM += 0.1 * math.Sin(a) * m.XMM * m.XMM / 3600
		m.YMM += 0.1 * math.Cos(a) * m.XMM * m.YMM / 3600
	}
	for _, c := range []struct {
		name   string
		print  func(view int, m *Mark)
		sigma  float64
		within int // of 10 focal lengths along x within 2 u with the choice in it, at least
		more   float64
	}{
		{"independent errors", plain, 0.2, 8, 1.5},
		{"a bent sheet", bent, 0.05, 8, math.Inf(1)},
	} {
		before, after := 0, 0
		for seed := range uint64(10) {
			var views []View
			noise := gauss(seed, c.sigma)
			for i := range 8 {
				printed := grid(9, 6, 15)
				for k := range printed {
					c.print(i+8*int(seed), &printed[k])
				}
				v := seen("", l, somePose(i), printed, noise)
				for k, m := range grid(9, 6, 15) {
					v.Marks[k].XMM, v.Marks[k].YMM = m.XMM, m.YMM
				}
				views = append(views, v)
			}
			f, err := Calibrate(views, CalibrateOptions{})
			if err != nil {
				t.Fatal(err)
			}
			err0 := math.Abs(f.Lens.FX - l.FX)
			u := f.LensU.FX
			if err0 <= 2*u {
				before++
			}
			f.AddChoice()
			if err0 <= 2*f.LensU.FX {
				after++
			}
			if want := math.Hypot(u, f.UChoice.FX); math.Abs(f.LensU.FX-want) > 1e-9*want ||
				math.Abs(f.Cov[lensFX][lensFX]-want*want) > 1e-9*want*want {
				t.Errorf("%s: u(fx) %g of %g and %g", c.name, f.LensU.FX, u, f.UChoice.FX)
			}
			if f.LensU.FX > c.more*u {
				t.Errorf("%s: the choice raises u(fx) from %g to %g", c.name, u, f.LensU.FX)
			}
		}
		t.Logf("%s: %d of 10 within 2 u, %d with the choice in it", c.name, before, after)
		if after < c.within || after < before {
			t.Errorf("%s: %d of 10 within 2 u, %d before", c.name, after, before)
		}
	}
}
