package part

import (
	"math"
	"strings"
	"testing"
)

// TestShellMap: a cylinder's and a half sphere's areas are those of the formulas; a place is looked up
// around the turn's end; parts that do not fit are no map.
func TestShellMap(t *testing.T) {
	cylinder := &ShellMap{StepDeg: 10, StepMM: 0.5, RadiusMM: []float64{8, 8, 8, 8},
		Rows: []string{strings.Repeat("2", 36), strings.Repeat("2", 35) + "1", strings.Repeat("0", 36), strings.Repeat("2", 36)}}
	if got, want := 36*4*cylinder.AreaMM2(1), 2*math.Pi*8*2; math.Abs(got-want) > 1e-9 { // 2 pi r h
		t.Errorf("cylinder: %g mm2, want %g", got, want)
	}
	if got := cylinder.SeenShare(); math.Abs(got-0.75) > 1e-9 { // three rows of four
		t.Errorf("%g of the cylinder was looked at, want 0.75", got)
	}
	// Its rows lean by 0, 1/2 and 1: the areas are as radius times root of 1 and the lean's square.
	round := &ShellMap{StepDeg: 180, StepMM: 1, RadiusMM: []float64{2, 2, 1}, Rows: []string{"22", "00", "00"}}
	if got, want := round.SeenShare(), 2/(2+2*math.Sqrt(1.25)+math.Sqrt2); math.Abs(got-want) > 1e-9 {
		t.Errorf("%g of the round end was looked at, want %g", got, want)
	}
	if cylinder.Columns() != 36 || cylinder.DepthMM() != 2 || cylinder.MeanRadiusMM() != 8 {
		t.Errorf("%d columns, %g mm, radius %g", cylinder.Columns(), cylinder.DepthMM(), cylinder.MeanRadiusMM())
	}
	sphere := &ShellMap{StepDeg: 5, StepMM: 0.02}
	for z := 0.01; z < 8; z += 0.02 {
		sphere.RadiusMM, sphere.Rows = append(sphere.RadiusMM, math.Sqrt(100-z*z)), append(sphere.Rows, strings.Repeat("2", 72))
	}
	area := 0.0
	for i := range sphere.Rows {
		area += 72 * sphere.AreaMM2(i)
	}
	if want := 2 * math.Pi * 10 * 8; math.Abs(area-want) > 0.002*want { // a zone's: 2 pi R h
		t.Errorf("sphere: %g mm2, want %g", area, want)
	}
	for _, c := range []struct {
		turn, below float64
		want        byte
	}{{0, 0, '2'}, {355, 0.6, '1'}, {-5, 0.6, '1'}, {715, 0.6, '1'}, {5, 0.6, '2'}, {100, 1.2, '0'}, {0, 2.1, '0'}, {0, -0.1, '0'},
		{0, math.NaN(), '0'}} {
		if got := cylinder.At(c.turn, c.below); got != c.want {
			t.Errorf("at %g deg, %g mm: %c, want %c", c.turn, c.below, got, c.want)
		}
	}
	for name, m := range map[string]*ShellMap{"none": nil, "empty": {},
		"short row": {StepDeg: 120, StepMM: 1, RadiusMM: []float64{1}, Rows: []string{"22"}},
		"no radius": {StepDeg: 120, StepMM: 1, RadiusMM: []float64{math.NaN()}, Rows: []string{"222"}},
		"rows":      {StepDeg: 120, StepMM: 1, RadiusMM: []float64{1, 1}, Rows: []string{"222"}}} {
		if n := m.Columns(); n != 0 {
			t.Errorf("%s: %d columns", name, n)
		}
	}
}
