package part

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
)

// Boxes worked by hand: a pixel at (3,4) covers 2.5..3.5, 3.5..4.5.
func TestBox(t *testing.T) {
	a, b := Box{2.5, 3.5, 1, 1}, Box{4.5, 3.5, 1, 1}
	if c := a.Centre(); c != (Point{3, 4}) {
		t.Errorf("middle of the pixel at 3,4 is %v", c)
	}
	if u := a.Union(b); u != (Box{2.5, 3.5, 3, 1}) {
		t.Errorf("union %v", u)
	}
	if a.Meets(b) || !a.Grow(1.1).Meets(b) || a.Meets(Box{3.5, 3.5, 1, 1}) {
		t.Error("boxes meet where they share area, and only there")
	}
}

func TestImageValidate(t *testing.T) {
	for _, im := range []*Image{
		nil, {}, {W: 1, H: 1, C: 2, Pix8: make([]uint8, 2)}, {W: 2, H: 1, C: 1, Pix8: make([]uint8, 3)},
		{W: 1, H: 1, C: 1, Pix8: make([]uint8, 1), Pix16: make([]uint16, 1)},
	} {
		if im.Validate() == nil {
			t.Errorf("%+v was taken for an image", im)
		}
	}
	if err := (&Image{W: 2, H: 1, C: 3, Pix16: make([]uint16, 6)}).Validate(); err != nil {
		t.Error(err)
	}
}

func TestSeverityRank(t *testing.T) {
	for i, s := range Severities {
		if s.Rank() != i {
			t.Errorf("%s ranks %d, want %d", s, s.Rank(), i)
		}
	}
	if Severity("bad").Rank() != -1 {
		t.Error("an unknown severity has a rank")
	}
}

func TestParseStage(t *testing.T) {
	if s, err := ParseStage("cured"); err != nil || s != Cured {
		t.Errorf("cured is %q, %v", s, err)
	}
	if _, err := ParseStage("Wet"); err == nil || !strings.Contains(err.Error(), "trim, wet or cured") {
		t.Errorf("Wet: %v; want the words that there are", err)
	}
}

// What could not be measured is absent in JSON, never 0; a measured 0 is there.
func TestAbsentIsNotZero(t *testing.T) {
	raw, err := json.Marshal(Station{State: Unmeasured, StepUM: Num(math.NaN()), UUM: Num(math.Inf(1)), GapUM: Num(0)})
	if err != nil {
		t.Fatal(err)
	}
	if s := string(raw); strings.Contains(s, "step_um") || strings.Contains(s, "u_um") || !strings.Contains(s, `"gap_um":0`) {
		t.Errorf("station: %s", s)
	}
}

// With a scale file a view, pictures differ in scale.
func TestScaleOf(t *testing.T) {
	mm := 0.02
	r := Result{MMPerPX: 0.015, Pictures: []PictureReport{{File: "edge_000.jpg"}, {File: "face_raking.jpg", MMPerPX: &mm}}}
	for file, want := range map[string]float64{"edge_000.jpg": 0.015, "face_raking.jpg": 0.02, "other.jpg": 0.015} {
		if got := r.ScaleOf(file); got != want {
			t.Errorf("%s: %g, want %g", file, got, want)
		}
	}
}
