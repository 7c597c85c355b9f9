package setup

import (
	"math"
	"strings"
	"testing"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// limits are those of the shipped station file.
func limits() Limits {
	return Limits{PanelUneven: 0.6, PanelDirt: 0.02, MinPanel: 0.06, MinLevel: 0.008, Warn: 0.65, URelScale: 0.002, SlantMost: 1,
		Scale: &Scale{Name: "edge-scale.json", MMPerPX: 0.015, U: 0.000015, AgeDays: 10, MaxAgeDays: 90, AgeText: part.Text("10 days old")}}
}

// unit is a picture of a unit before a lit panel, all in order.
func unit() Reading {
	r := NewReading("edge_000.jpg")
	r.Subject, r.Lit, r.Bright = Unit, true, true
	r.PanelLevel, r.PanelUneven, r.PanelDirt, r.PanelClipped = 0.8, 0.1, 0, 0
	r.Level, r.Clipped, r.ClippedMost = 0.3, 0, 0.005
	r.EdgeWidthPX, r.EdgeMostPX, r.MotionMostPX = 2.5, 5, 4
	r.HeightMM, r.UHeightMM, r.SlantDeg, r.USlantDeg, r.DistanceMM, r.HalfMM = 0.2, 0.3, -0.2, 0.1, 200, 7.5
	return r
}

// board is a picture of a target, all in order.
func board() Reading {
	r := NewReading("board.png")
	r.Subject, r.Lit = Target, true
	r.Level, r.Clipped, r.ClippedMost = 0.6, 0, 0.005
	r.EdgeWidthPX, r.EdgeMostPX, r.MotionMostPX = 2.5, 5, 4
	r.TiltDeg, r.UTiltDeg, r.SkewDeg, r.USkewDeg, r.TiltAlongDeg = 0.5, 0.2, 0.01, 0.01, 90
	r.MMPerPX, r.UMMPerPX = 0.015, 0.00001
	return r
}

// Each limit is a limit: a hair on either side of it the state flips, and with
// it what to do. The limits themselves stand in configs/station.yaml, or follow
// from it as computed here.
func TestLimitsFlip(t *testing.T) {
	tilt := math.Acos(1-0.5*0.002) * 180 / math.Pi
	skew := 0.002 * 180 / math.Pi
	zone := 2 * math.Hypot(0.00001, 0.000015) / 0.015 // relative, k = 2
	for _, c := range []struct {
		key  string
		step Name
		end  float64
		high bool // the end is the zone's upper one
		set  func(*Reading, float64)
		of   func() Reading
		do   string
	}{
		{"panel_light_pct", Panel, 0.06, false, func(r *Reading, v float64) { r.PanelLevel = v }, unit, "turn it up"},
		{"panel_uneven_pct", Panel, 0.65 * 0.6, true, func(r *Reading, v float64) { r.PanelUneven = v }, unit, "evenly"},
		{"panel_dirt_pct", Panel, 0.1 * 0.02, true, func(r *Reading, v float64) { r.PanelDirt = v }, unit, "wipe"},
		{"panel_light_pct", Exposure, 0.06, false, func(r *Reading, v float64) { r.PanelLevel = v }, unit, "expose longer"},
		{"panel_clipped_pct", Exposure, 0.5, true, func(r *Reading, v float64) { r.PanelClipped = v }, unit, "expose shorter"},
		{"clipped_pct", Exposure, 0.65 * 0.005, true, func(r *Reading, v float64) { r.Clipped = v }, unit, "expose shorter"},
		{"clipped_pct", Exposure, 0.65 * 0.005, true, func(r *Reading, v float64) { r.Clipped = v }, board, "expose shorter"},
		{"light_pct", Exposure, 0.008, false, func(r *Reading, v float64) { r.Level = v }, board, "expose longer"},
		{"edge_width_px", Focus, 0.65 * 5, true, func(r *Reading, v float64) { r.EdgeWidthPX = v }, unit, "focus ring"},
		{"motion_px", Focus, 4, true, func(r *Reading, v float64) { r.MotionPX, r.Moved = v, true }, unit, "hold still"},
		{"mtf50_cy_px", Focus, 0.12, false, func(r *Reading, v float64) { r.MTF50CyPX, r.MTF50LeastCyPX = v, 0.12 }, board, "focus ring"},
		{"height_mm", Height, 200 * math.Tan(math.Pi/180), true, func(r *Reading, v float64) { r.HeightMM = v }, unit, "lower the unit"},
		{"height_mm", Height, -200 * math.Tan(math.Pi/180), false, func(r *Reading, v float64) { r.HeightMM = v }, unit,
			"lower the camera"},
		{"slant_deg", Perspective, 1, true, func(r *Reading, v float64) { r.SlantDeg = v }, unit, "away from the camera"},
		{"slant_deg", Perspective, -1, false, func(r *Reading, v float64) { r.SlantDeg = v }, unit, "towards the camera"},
		{"near_pct", Perspective, 0.045 * 200, true, func(r *Reading, v float64) { r.HalfMM = v }, unit, "further away"},
		{"tilt_deg", Squareness, tilt, true, func(r *Reading, v float64) { r.TiltDeg = v }, board, "tip the camera"},
		{"skew_deg", Squareness, skew, true, func(r *Reading, v float64) { r.SkewDeg = v }, board, "square"},
		{"skew_deg", Squareness, -skew, false, func(r *Reading, v float64) { r.SkewDeg = v }, board, "square"},
		{"scale_change_pct", Squareness, 0.2, true, func(r *Reading, v float64) { r.ChangePct = v }, board, "one side of it is nearer"},
		{"scale_off_pct", ScaleStep, 0.015 * (1 + zone), true, func(r *Reading, v float64) { r.MMPerPX = v }, board, "further"},
		{"scale_off_pct", ScaleStep, 0.015 * (1 - zone), false, func(r *Reading, v float64) { r.MMPerPX = v }, board, "nearer"},
	} {
		hair := 1e-6 * max(math.Abs(c.end), 1e-3)
		if !c.high {
			hair = -hair
		}
		in, out := c.of(), c.of()
		c.set(&in, c.end-hair)
		c.set(&out, c.end+hair)
		if s := limits().Judge(c.step, in); s.State() != Inside || s.Do().Key != "" {
			t.Errorf("%s, %s just inside %g: %s, %q", c.step, c.key, c.end, s.State(), s.Do())
		}
		want := Below
		if c.high {
			want = Above
		}
		s := limits().Judge(c.step, out)
		m, _ := s.First()
		if s.State() != Outside || m.Key != c.key || m.State() != want || !strings.Contains(said(m.Do()), c.do) {
			t.Errorf("%s, %s just outside %g: %s, %s is %s: %q, want %q", c.step, c.key, c.end, s.State(), m.Key, m.State(), m.Do(), c.do)
		}
	}
}

// What was not measured is never inside, one number after the other.
func TestNotMeasuredIsNotInside(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		step Name
		of   func() Reading
		set  func(*Reading)
	}{
		{Panel, unit, func(r *Reading) { r.PanelLevel = nan }},
		{Panel, unit, func(r *Reading) { r.PanelUneven = nan }},
		{Panel, unit, func(r *Reading) { r.PanelDirt = nan }},
		{Exposure, unit, func(r *Reading) { r.PanelClipped = nan }},
		{Exposure, unit, func(r *Reading) { r.Clipped = nan }},
		{Exposure, board, func(r *Reading) { r.Level = nan }},
		{Focus, unit, func(r *Reading) { r.EdgeWidthPX = nan }},
		{Height, unit, func(r *Reading) { r.HeightMM = nan }},
		{Perspective, unit, func(r *Reading) { r.SlantDeg = nan }},
		{Squareness, board, func(r *Reading) { r.TiltDeg = nan }},
		{Squareness, board, func(r *Reading) { r.SkewDeg = nan }},
		{ScaleStep, board, func(r *Reading) { r.MMPerPX = nan }},
		{ScaleStep, board, func(r *Reading) { r.UMMPerPX = nan }},
	} {
		r := c.of()
		if s := limits().Judge(c.step, r); s.State() != Inside {
			t.Fatalf("%s: %s before", c.step, s.State())
		}
		c.set(&r)
		s := limits().Judge(c.step, r)
		if s.State() != NotMeasured {
			t.Errorf("%s: %s, want not measured", c.step, s.State())
		}
	}
	for _, n := range Names() {
		for _, r := range []Reading{NewReading("x"), {Subject: Unclear}} {
			if s := limits().Judge(n, r); s.State() != NotMeasured {
				t.Errorf("%s of nothing: %s", n, s.State())
			}
		}
		if s := limits().Worst(n, nil); s.State() != NotMeasured || s.Do().Key == "" {
			t.Errorf("%s of no pictures: %s, %q", n, s.State(), s.Do())
		}
	}
	// No scale in force is not measured, and says what to do.
	l := limits()
	l.Scale = nil
	if s := l.Judge(ScaleStep, board()); s.State() != NotMeasured || !strings.Contains(said(s.Do()),
		"inspect scale") || !strings.Contains(said(s.Fact), "0.015") {
		t.Errorf("no scale: %s, %q, %q", s.State(), s.Do(), s.Fact)
	}
}

// Each picture tells of its own steps.
func TestApplies(t *testing.T) {
	face := unit()
	face.Lit, face.Bright = false, false
	empty := NewReading("empty.png")
	empty.Subject, empty.Lit, empty.PanelLevel, empty.PanelUneven, empty.PanelDirt = Empty, true, 0.8, 0.1, 0
	for _, c := range []struct {
		name string
		r    Reading
		want [7]bool
	}{
		{"unit", unit(), [7]bool{true, true, true, true, true, false, false}},
		{"face", face, [7]bool{false, true, true, false, false, false, false}},
		{"empty", empty, [7]bool{true, false, false, false, false, false, false}},
		{"target", board(), [7]bool{false, true, true, false, false, true, true}},
	} {
		for i, n := range Names() {
			if s := limits().Judge(n, c.r); s.Applies != c.want[i] {
				t.Errorf("%s, %s: applies %v", c.name, n, s.Applies)
			} else if !s.Applies && s.State() != NotMeasured {
				t.Errorf("%s, %s: %s though it does not apply", c.name, n, s.State())
			}
		}
	}
}

// How far the lens stands decides which height matters: not known, the nearest
// is taken (120 mm: 2.1 mm off are 1 degree); for a telecentric lens none does.
func TestHeightByDistance(t *testing.T) {
	r := unit()
	for _, c := range []struct {
		distance, height float64
		state            State
	}{{400, 6.5, Inside}, {400, 7.5, Outside}, {math.NaN(), 2, Inside}, {math.NaN(), 2.2, Outside}, {math.Inf(1), 9, Inside}} {
		r.DistanceMM, r.HeightMM = c.distance, c.height
		if s := limits().Judge(Height, r); s.State() != c.state {
			t.Errorf("%g mm high, %g mm away: %s, want %s", c.height, c.distance, s.State(), c.state)
		}
	}
	r.DistanceMM = math.Inf(1)
	if s := limits().Judge(Perspective, r); len(s.Measures) != 2 || s.Measures[1].V != 0 {
		t.Errorf("a telecentric lens: %+v", s.Measures)
	}
	r.DistanceMM = math.NaN()
	if s := limits().Judge(Perspective, r); len(s.Measures) != 1 || !strings.Contains(said(s.Fact), "lens_distance_mm") {
		t.Errorf("of no known distance: %+v", s)
	}
}

// A scale known badly must not make the comparison easy.
func TestBadTargetDoesNotWidenZone(t *testing.T) {
	r := board()
	r.MMPerPX, r.UMMPerPX = 0.0153, 0.0015 // 2 % off, known to 10 %
	if s := limits().Judge(ScaleStep, r); s.State() != Outside {
		t.Errorf("%s, want outside", s.State())
	}
}

func TestScaleInForce(t *testing.T) {
	for _, c := range []struct {
		change func(*Scale)
		key    string
		state  State
	}{
		{func(s *Scale) { s.AgeDays = 71.9 }, "", Inside},
		{func(s *Scale) { s.AgeDays = 72.1 }, "scale_age_days", Outside},
		{func(s *Scale) { s.AgeDays = math.NaN() }, "scale_age_days", NotMeasured},
		{func(s *Scale) { s.AgeDays, s.MaxAgeDays = math.NaN(), math.NaN() }, "", Inside},
		{func(s *Scale) { s.U = 0.0000299 }, "", Inside},
		{func(s *Scale) { s.U = 0.0000301 }, "scale_u_pct", Outside},
	} {
		l := limits()
		c.change(l.Scale)
		s := l.Judge(ScaleStep, board())
		if m, _ := s.First(); s.State() != c.state || m.Key != c.key {
			t.Errorf("%+v: %s, %s; want %s, %s", *l.Scale, s.State(), m.Key, c.state, c.key)
		}
	}
	r := board()
	r.ScaleTrouble = part.Text("the picture is of another size")
	if s := limits().Judge(ScaleStep, r); s.State() != NotMeasured || said(s.Do()) != said(r.ScaleTrouble) {
		t.Errorf("another camera: %s, %q", s.State(), s.Do())
	}
}

// The worst picture counts: outside before not measured before inside.
func TestWorst(t *testing.T) {
	a, b, c, d := unit(), unit(), unit(), unit()
	a.File, b.File, c.File, d.File = "a", "b", "c", "d"
	a.EdgeWidthPX, b.EdgeWidthPX, c.EdgeWidthPX, d.EdgeWidthPX = 2, 3, 4, math.NaN()
	for _, x := range []struct {
		r     []Reading
		file  string
		state State
	}{
		{[]Reading{a, b, board()}, "b", Inside},
		{[]Reading{a, d, b}, "d", NotMeasured},
		{[]Reading{d, a, c, b}, "c", Outside},
	} {
		s := limits().Worst(Focus, x.r)
		if s.State() != x.state || s.Measures[0].File != x.file {
			t.Errorf("%s of %s, want %s of %s", s.State(), s.Measures[0].File, x.state, x.file)
		}
	}
}

func TestNumber(t *testing.T) {
	for v, want := range map[float64]string{0: "0", 1234.5: "1230", 3.456: "3.46", 0.06: "0.06", 0.0012345: "0.0012", -2.5: "-2.5",
		39: "39", 2.5625: "2.56"} {
		if got := Number(v); got != want {
			t.Errorf("%g: %q, want %q", v, got, want)
		}
	}
	for _, c := range []struct {
		v, u float64
		want string
	}{{12.3456, 0.123, "12.35 ± 0.12°"}, {12, 0.00001, "12.0000 ± 0.0000°"}, {123.4, 34.5, "123 ± 34°"}, {0.5, 0, "0.5000 ± 0.0000°"}} {
		if got := (Measure{V: c.v, U: c.u, Unit: "°"}).Value(); said(got) != c.want {
			t.Errorf("%g, %g: %q, want %q", c.v, c.u, got, c.want)
		}
	}
	m := Measure{V: 1.25, U: 0.4, Unit: "°", Lo: math.NaN(), Hi: 2}
	if said(m.Value()) != "1.25 ± 0.40°" || said(m.Wanted()) != "up to 2°" {
		t.Errorf("%q, %q", m.Value(), m.Wanted())
	}
}

// said is a phrase in English; empty where it has no key.
func said(p part.Phrase) string {
	if p.Key == "" {
		return ""
	}
	return lang.English().Say(&p)
}
