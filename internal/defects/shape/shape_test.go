package shape

import (
	"encoding/json"
	"math"
	"os"
	"testing"
)

// Expected numbers: scikit-image's regionprops, made by testdata/regionprops.py.
// Its orientation is the angle of the main axis from the rows' axis, -pi/2..pi/2,
// counter-clockwise; ours is from the x axis, 0..180 degrees, so it is 90 degrees
// more.
func TestShapeAgainstRegionprops(t *testing.T) {
	raw, err := os.ReadFile("testdata/regionprops.json")
	if err != nil {
		t.Fatal(err)
	}
	var want struct {
		Shapes map[string]struct {
			Pixels      []int
			Area        float64
			Centroid    [2]float64 `json:"centroid_yx"`
			Orientation float64    `json:"orientation_rad"`
			Bbox        [4]int     `json:"bbox_y0x0y1x1"`
		}
	}
	if err := json.Unmarshal(raw, &want); err != nil {
		t.Fatal(err)
	}
	if len(want.Shapes) < 5 {
		t.Fatalf("%d shapes, want 5", len(want.Shapes))
	}
	for name, w := range want.Shapes {
		s := Of(w.Pixels, 100, 0, 0)
		if s.Area != w.Area {
			t.Errorf("%s: area %v, want %v", name, s.Area, w.Area)
		}
		if math.Abs(s.CX-w.Centroid[1]) > 1e-9 || math.Abs(s.CY-w.Centroid[0]) > 1e-9 {
			t.Errorf("%s: middle %v, %v, want %v", name, s.CX, s.CY, w.Centroid)
		}
		if got := [4]int{s.Y0, s.X0, s.Y1 + 1, s.X1 + 1}; got != w.Bbox {
			t.Errorf("%s: bounds %v, want %v", name, got, w.Bbox)
		}
		angle := math.Mod(w.Orientation*180/math.Pi+90+180, 180)
		if name != "disc" && AngleBetween(angle, s.AngleDeg) > 1e-6 { // a disc has no axis
			t.Errorf("%s: main axis at %v deg, want %v", name, s.AngleDeg, angle)
		}
	}
}

// pixelsOf draws a shape on a 200 x 200 plane.
func pixelsOf(in func(x, y float64) bool) []int {
	var out []int
	for i := range 200 * 200 {
		if in(float64(i%200), float64(i/200)) {
			out = append(out, i)
		}
	}
	return out
}

func TestShapeOfDiscAndLine(t *testing.T) {
	disc := Of(pixelsOf(func(x, y float64) bool { return math.Hypot(x-100, y-90) <= 30 }), 200, 0, 0)
	if want := math.Pi * 30 * 30; math.Abs(disc.Area/want-1) > 0.01 { // pi r^2
		t.Errorf("disc: area %v, want %v", disc.Area, want)
	}
	if math.Abs(disc.Outline/(math.Pi*30)-1) > 0.05 { // half of 2 pi r
		t.Errorf("disc: half its outline is %v, want %v", disc.Outline, math.Pi*30)
	}
	for _, deg := range []float64{0, 30, 45, 77, 120} {
		s, c := math.Sincos(deg * math.Pi / 180)
		line := Of(pixelsOf(func(x, y float64) bool {
			u, v := (x-100)*c-(y-100)*s, (x-100)*s+(y-100)*c
			return math.Abs(u) <= 60 && math.Abs(v) <= 3
		}), 200, 0, 0)
		if AngleBetween(line.AngleDeg, deg) > 0.5 {
			t.Errorf("line at %v deg measured at %v", deg, line.AngleDeg)
		}
		if math.Abs(line.Long-121) > 3 || math.Abs(line.Thick-6.5) > 1.2 || line.Bow > 0.5 {
			t.Errorf("line at %v deg: %v long, %v thick, %v bowed; drawn 120 long, 6 thick, straight", deg, line.Long, line.Thick, line.Bow)
		}
	}
	arc := Of(pixelsOf(func(x, y float64) bool {
		r := math.Hypot(x-100, y-180)
		return math.Abs(r-100) <= 1.5 && math.Abs(x-100) <= 50
	}), 200, 0, 0)
	if want := 100 - math.Sqrt(100*100-50*50); math.Abs(arc.Bow-want) > 0.05*want { // the sagitta
		t.Errorf("arc: bow %v, want about %v", arc.Bow, want)
	}
}

func TestLineDirection(t *testing.T) {
	for _, deg := range []float64{0, 20, 63, 90, 150} {
		for _, n := range []int{1, 3, 6} {
			s, c := math.Sincos(deg * math.Pi / 180)
			px := pixelsOf(func(x, y float64) bool {
				u, v := (x-100)*c-(y-100)*s, (x-100)*s+(y-100)*c
				k := math.Round(v / 9)
				return math.Abs(u) <= 70 && math.Abs(v-9*k) <= 1.2 && k >= 0 && int(k) < n
			})
			a, lines, grain := LineDirection(px, func(int) float64 { return 1 }, 200)
			if AngleBetween(-a*180/math.Pi+360, deg) > 3 || lines != n || grain < 4 {
				t.Errorf("%d lines at %v deg: %d at %.1f deg, grain %.1f", n, deg, lines, -a*180/math.Pi, grain)
			}
		}
	}
	ring := pixelsOf(func(x, y float64) bool { return math.Abs(math.Hypot(x-100, y-100)-20) <= 1.5 })
	if _, _, grain := LineDirection(ring, func(int) float64 { return 1 }, 200); grain > 2 {
		t.Errorf("a ring has grain %v; it has no direction", grain)
	}
}

// The diameter by area is a disc's own: 2 sqrt(area/pi).
func TestAreaDiameter(t *testing.T) {
	s := Of(pixelsOf(func(x, y float64) bool { return math.Hypot(x-100, y-90) <= 30 }), 200, 0, 0)
	if got := s.AreaDiameter(); math.Abs(got-60) > 0.5 {
		t.Errorf("a disc of diameter 60: %v", got)
	}
}
