package shape

import (
	"math"
	"testing"
)

// What a budget takes from a shape, on shapes drawn by formula.
func TestShapeForBudget(t *testing.T) {
	disc := pixelsOf(func(x, y float64) bool { return math.Hypot(x-100, y-90) <= 20 })
	if v := Of(disc, 200, 0, 0).UnevenPX(disc, 200); v > 1 {
		t.Errorf("a disc's diameter depends by %.2f px on what is meant by it, want less than a pixel", v)
	}
	// a right-angled corner 40 x 40, 6 wide: by its axes about 52 x 26, by its upright box 40 x 40
	corner := pixelsOf(func(x, y float64) bool { return x >= 60 && x < 100 && y >= 60 && y < 100 && (x < 66 || y < 66) })
	if v := Of(corner, 200, 0, 0).UnevenPX(corner, 200); v < 4 {
		t.Errorf("a corner's diameter depends by %.2f px on what is meant by it, want more than 4", v)
	}
	// an S of two quarter circles of radius 40: pi 40 along its course
	curve := pixelsOf(func(x, y float64) bool {
		first := math.Abs(math.Hypot(x-100, y-60)-40) < 1.5 && x <= 100 && y >= 60
		second := math.Abs(math.Hypot(x-100, y-140)-40) < 1.5 && x >= 100 && y <= 140
		return first || second
	})
	s := Of(curve, 200, 0, 0)
	if got, want := s.CoursePX(curve, 200, 6), math.Pi*40; math.Abs(got/want-1) > 0.05 || s.Long > 0.95*want {
		t.Errorf("an S of %.0f px is followed over %.1f px, its axis is %.1f long", want, got, s.Long)
	}
	// six lines whose left ends lie at 40, 50, 60, 40, 50, 60 and right ends at 150: median distance from 50 is 10 px
	lines := pixelsOf(func(x, y float64) bool {
		k := int(y-90) / 4
		return y >= 90 && y < 114 && int(y-90)%4 < 2 && x >= float64(40+10*(k%3)) && x < 150
	})
	sh := Of(lines, 200, 0, 0)
	sh.SetAxis(0, lines, 200)
	if got, want := sh.RaggedPX(lines, 200, 6), 1.4826*10; math.Abs(got-want) > 0.01 {
		t.Errorf("ragged ends scatter by %.2f px, want %.2f", got, want)
	}
}
