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
	raw, err := json.Marshal(StepStation{State: Unmeasured, StepUM: Num(math.NaN()), UUM: Num(math.Inf(1)), GapUM: Num(0)})
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

// Which pictures before a screen are looked into, told by the contract of their names: a full
// set is white and eight of stripes, a short one six; what is beside a short set and is
// neither white nor black is no part of it; with one of the six missing none is looked into.
func TestMarkSets(t *testing.T) {
	const six = "stripes_x0 stripes_x1 stripes_x2 stripes_y0 stripes_y1 stripes_y2"
	for _, c := range []struct {
		there string
		set   ScreenSet
		not   string // of these, not looked into
	}{
		{"white black " + six + " stripes_x3 stripes_y3", FullSet, ""},
		{"white " + six + " stripes_x3 stripes_y3 raking", FullSet, ""},
		{six, ShortSet, ""},
		{six + " white", ShortSet, ""},
		{six + " white black diffuse", ShortSet, ""},
		{six + " white stripes_x3", ShortSet, "stripes_x3"},
		{six + " stripes_x3 stripes_y3", ShortSet, "stripes_x3 stripes_y3"},
		{"white black stripes_x0 stripes_x1 stripes_x2 stripes_x3 stripes_y0 stripes_y1 stripes_y3", NoSet, "white black stripes_x0 stripes_x1 stripes_x2 stripes_x3 stripes_y0 stripes_y1 stripes_y3"},
		{"white", NoSet, "white"},
	} {
		var shots []*Shot
		for l := range strings.FieldsSeq(c.there) {
			shots = append(shots, &Shot{View: Face, Light: Light(l)}, &Shot{View: Shell, Light: Light(l), AngleDeg: 90})
		}
		MarkSets(shots)
		MarkSets(shots) // as a folder's shots are marked twice
		var not []string
		for _, s := range shots {
			if s.View == Shell && (s.Set != NoSet || s.Searched() == s.Light.OfScreen()) {
				t.Errorf("%s: the shell's %s: set %q, looked into %v", c.there, s.Light, s.Set, s.Searched())
			}
			if s.View == Face && !s.Searched() {
				not = append(not, string(s.Light))
			} else if want := c.set; s.View == Face && s.Light.OfScreen() && s.Set != want {
				t.Errorf("%s: %s is of set %q, want %q", c.there, s.Light, s.Set, want)
			}
		}
		if got := strings.Join(not, " "); got != c.not {
			t.Errorf("%s: not looked into %q, want %q", c.there, got, c.not)
		}
	}
}
