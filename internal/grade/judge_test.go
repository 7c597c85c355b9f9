package grade

import (
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"finishbench/internal/part"
)

// All limits in these tests are those that are shipped (common practice, no
// source); what follows from them is worked by hand beside each test. The
// weights 100, 50, 10, 1 are those of Dodge's demerit plan (from memory).

// unit returns a unit with one edge and one face picture, both fit, and two
// stations that are flush.
func unit(st part.Stage) *part.Result {
	return &part.Result{
		Schema: 1, Unit: "u", Stage: st, MMPerPX: 0.015,
		Seam: part.Seam{Stations: []part.StepStation{station(120, part.Left, 2, 1.8), station(120, part.Right, -3, 1.8)}},
		Pictures: []part.PictureReport{
			{File: "edge_120.jpg", View: part.Edge, State: part.PictureOK, WidthPX: 1600, HeightPX: 1200},
			{File: "face_diffuse.jpg", View: part.Face, Light: part.Diffuse, State: part.PictureOK, WidthPX: 1600, HeightPX: 1200},
			{File: "face_raking.jpg", View: part.Face, Light: part.Raking, State: part.PictureOK, WidthPX: 1600, HeightPX: 1200},
		},
		Surfaces: []part.Surface{{View: part.Face, LookedAt: 0.97, NotLookedAt: 0.03, Why: map[part.Why]float64{part.Outermost: 0.03}}},
	}
}

func station(angle float64, side part.Side, step, u float64) part.StepStation {
	return part.StepStation{Image: "edge_120.jpg", AngleDeg: angle, Side: side, State: part.Measured,
		StepUM: &step, UUM: &u, GapUM: part.Num(0), BeadUM: part.Num(0), XPX: part.Num(401.2), YPX: part.Num(433.7)}
}

// spot returns a bubble or the like with its middle at x, y in pixels.
func spot(k part.Kind, diameter, x, y float64) part.Finding {
	side := diameter / 0.015
	return part.Finding{Image: "face_raking.jpg", Kind: k, Zone: part.ZoneFace, Confidence: 0.97,
		Box: part.Box{x - side/2, y - side/2, side, side}, DiameterMM: &diameter, LengthMM: &diameter, WidthMM: &diameter}
}

func num(t *testing.T, what string, got *float64, want float64) {
	t.Helper()
	if got == nil || math.Abs(*got-want) > 1e-9 {
		t.Errorf("%s is %v, want %v", what, show(got), want)
	}
}

func show(p *float64) any {
	if p == nil {
		return "not measured"
	}
	return *p
}

func verdict(t *testing.T, r *part.Result, want part.Verdict, reasons ...string) {
	t.Helper()
	if reasons == nil {
		reasons = []string{}
	}
	if want == part.Pass && len(r.Surfaces) > 0 {
		reasons = append(reasons, "Looked at 97 % of the face in both lights, 3 % not at all (left out: outermost strip 3 %)")
	}
	if r.Verdict != want {
		t.Errorf("verdict %s, want %s", r.Verdict, want)
	}
	if !reflect.DeepEqual(r.Reasons, reasons) {
		t.Errorf("reasons:\n got %s\nwant %s", strings.Join(r.Reasons, "\n     "), strings.Join(reasons, "\n     "))
	}
}

func TestFlushUnitPasses(t *testing.T) {
	for _, st := range part.Stages {
		r := unit(st)
		Judge(r, DefaultLimits())
		verdict(t, r, part.Pass)
		num(t, "score", r.Score, 0)
		num(t, "worst step", r.Seam.WorstStepUM, -3)
		if r.Findings == nil || len(r.Findings) != 0 || len(r.Warnings) != 0 {
			t.Errorf("findings %v, warnings %v, want none", r.Findings, r.Warnings)
		}
	}
}

// The worked example of the result's description: 92 um proud (major, 50), a
// bubble (moderate, 10) and a nib of dust (minor, 1) make 61.
func TestWorkedExample(t *testing.T) {
	r := unit(part.Wet)
	r.Seam.Stations[0] = station(120, part.Left, 92.4, 1.8)
	r.Findings = []part.Finding{spot(part.Dust, 0.12, 300, 300), spot(part.Bubble, 0.25, 900, 900)}
	Judge(r, DefaultLimits())
	verdict(t, r, part.Rework, "proud by 92 um at 120 deg, left (limit 50 um)")
	num(t, "score", r.Score, 61)
	num(t, "worst step", r.Seam.WorstStepUM, 92.4)
	var got []part.Severity
	for i, f := range r.Findings {
		got = append(got, f.Severity)
		if f.Number != i+1 {
			t.Errorf("finding %d has number %d", i+1, f.Number)
		}
	}
	if want := []part.Severity{part.Major, part.Moderate, part.Minor}; !reflect.DeepEqual(got, want) {
		t.Errorf("severities %v, want %v", got, want)
	}
	f := r.Findings[0]
	if f.Kind != part.Step || f.Zone != part.ZoneSeam || f.StepStation != "120 deg, left" || f.Image != "edge_120.jpg" {
		t.Errorf("step finding %+v", f)
	}
	num(t, "its value", f.ValueUM, 92.4)
	// 0.9 mm at 0.015 mm per pixel is 60 px, around (401.2, 433.7).
	if want := (part.Box{371.2, 403.7, 60, 60}); !near(f.Box, want) {
		t.Errorf("its box is %v, want %v", f.Box, want)
	}
	if !strings.Contains(f.Advice, "sand") {
		t.Errorf("its advice is %q", f.Advice)
	}
}

func near(a, b part.Box) bool {
	for i := range a {
		if math.Abs(a[i]-b[i]) > 1e-9 {
			return false
		}
	}
	return true
}

func TestStationBoxStaysInsideThePicture(t *testing.T) {
	r := unit(part.Wet)
	s := station(120, part.Left, 92, 1)
	s.XPX, s.YPX = part.Num(10), part.Num(1195)
	// x from -0.5 to 40, y from 1165 to 1199.5.
	if got, want := stepStationBox(r, s), (part.Box{-0.5, 1165, 40.5, 34.5}); !near(got, want) {
		t.Errorf("box %v, want %v", got, want)
	}
	s.XPX = nil
	if got := stepStationBox(r, s); got != (part.Box{}) {
		t.Errorf("box %v for a place that is not known, want none", got)
	}
	r.MMPerPX, s.XPX, s.YPX = 0, part.Num(500), part.Num(500)
	if got, want := stepStationBox(r, s), (part.Box{470, 470, 60, 60}); !near(got, want) {
		t.Errorf("box %v without a scale, want %v", got, want)
	}
}

// Seam: the class is what lies over its bound, so a value at its bound is within
// it (JCGM 106:2012, 8.2: the limit belongs to what is accepted; from memory).
func TestStepClasses(t *testing.T) {
	for _, c := range []struct {
		step float64
		want part.Severity
	}{
		{0, part.None}, {30, part.None}, {-30, part.None}, {30.001, part.Minor}, {-40, part.Minor},
		{40.001, part.Moderate}, {50, part.Moderate}, {-50, part.Moderate}, {50.001, part.Major},
		{-50.001, part.Major}, {200, part.Major}, {200.001, part.Critical},
	} {
		r := unit(part.Trim)
		r.Seam.Stations[0] = station(120, part.Left, c.step, 0.0001)
		Judge(r, DefaultLimits())
		got := part.None
		if len(r.Findings) > 0 {
			got = r.Findings[0].Severity
		}
		if got != c.want {
			t.Errorf("step of %v um is %s, want %s", c.step, got, c.want)
		}
	}
}

func TestGapAndBead(t *testing.T) {
	r := unit(part.Trim)
	r.Seam.Stations[0].GapUM = part.Num(120) // over 100: major
	r.Seam.Stations[1].BeadUM = part.Num(45) // over 40: moderate
	Judge(r, DefaultLimits())
	verdict(t, r, part.Rework,
		"gap 120 um deep at 120 deg, left (limit 100 um)")
	num(t, "score", r.Score, 60)

	r = unit(part.Trim)
	r.Seam.Stations[0].GapUM, r.Seam.Stations[0].BeadUM = nil, nil
	Judge(r, DefaultLimits())
	if want := []string{"gap or glue bead not measured at 1 of 2 stations"}; !reflect.DeepEqual(r.Warnings, want) {
		t.Errorf("warnings %v, want %v", r.Warnings, want)
	}
}

func TestDecisionRules(t *testing.T) {
	for _, c := range []struct {
		rule    string
		step, u float64
		want    part.Severity
	}{
		// k is 2. Simple: the step itself against 50.
		{Simple, 49, 2, part.Moderate}, {Simple, 51, 2, part.Major},
		// Guarded acceptance: 47 + 2*2 = 51 is over, 45 + 4 = 49 is not.
		{GuardedAcceptance, 47, 2, part.Major}, {GuardedAcceptance, -47, 2, part.Major}, {GuardedAcceptance, 45, 2, part.Moderate},
		// Guarded rejection: 53 - 4 = 49 is not over, 55 - 4 = 51 is.
		{GuardedRejection, 53, 2, part.Moderate}, {GuardedRejection, 55, 2, part.Major},
	} {
		l := DefaultLimits()
		l.Decision.Rule = c.rule
		r := unit(part.Trim)
		r.Seam.Stations[0] = station(120, part.Left, c.step, c.u)
		Judge(r, l)
		if got := r.Findings[0].Severity; got != c.want {
			t.Errorf("%s: step %v um, u %v um is %s, want %s", c.rule, c.step, c.u, got, c.want)
		}
	}
}

func TestNearTheLimit(t *testing.T) {
	r := unit(part.Trim)
	r.Seam.Stations[0] = station(120, part.Left, 50.3, 1.8) // 0.3 over, 2u is 3.6
	Judge(r, DefaultLimits())
	verdict(t, r, part.Rework, "proud by 50.3 um at 120 deg, left (limit 50 um; within the uncertainty of the limit, u = 1.8 um)")
	// The chance that a normal error of SD 1.8 did not lift it over 50 is
	// Phi(0.3/1.8) = Phi(0.1667) = 0.5662 (normal table, from memory).
	if got := r.Findings[0].Confidence; math.Abs(got-0.5662) > 0.0001 {
		t.Errorf("confidence %.4f, want 0.5662", got)
	}

	l := DefaultLimits()
	for i := range l.Seam {
		l.Seam[i].By[0] = classes(ProudUM, never, never, 50, never)
	}
	r = unit(part.Trim)
	r.Seam.Stations[0] = station(120, part.Left, 48, 1.8)
	Judge(r, l)
	verdict(t, r, part.Pass)
	if want := []string{"proud by 48 um at 120 deg, left is within its limit of 50 um, but also within the uncertainty of the limit (u = 1.8 um)"}; !reflect.DeepEqual(r.Warnings, want) {
		t.Errorf("warnings %q, want %q", r.Warnings, want)
	}
}

func TestRuleThatNeedsAnUncertaintyNeverPassesWithout(t *testing.T) {
	l := DefaultLimits()
	l.Decision.Rule = GuardedAcceptance
	r := unit(part.Trim)
	r.Seam.Stations[0].UUM = nil
	Judge(r, l)
	verdict(t, r, part.NotMeasured, "step at 120 deg, left has no uncertainty, which the decision rule guarded_acceptance needs")
}

// Surface: the class is what is as large as its bound or larger.
func TestSpotClasses(t *testing.T) {
	for _, c := range []struct {
		stage part.Stage
		zone  part.Zone
		size  float64
		want  part.Severity
	}{
		{part.Wet, part.ZoneFace, 0.099, part.None}, {part.Wet, part.ZoneFace, 0.10, part.Minor},
		{part.Wet, part.ZoneFace, 0.20, part.Moderate}, {part.Cured, part.ZoneFace, 0.299, part.Moderate},
		{part.Cured, part.ZoneFace, 0.30, part.Major}, {part.Wet, part.ZonePanel, 1.0, part.Critical},
		{part.Wet, part.ZoneRim, 0.30, part.Moderate}, {part.Wet, part.ZoneShell, 0.30, part.Minor},
		{part.Trim, part.ZoneFace, 0.299, part.None}, {part.Trim, part.ZoneFace, 0.30, part.Minor}, {part.Trim, part.ZoneFace, 5, part.Moderate},
	} {
		r := unit(c.stage)
		f := spot(part.Bubble, c.size, 300, 300)
		f.Zone = c.zone
		r.Findings = []part.Finding{f}
		Judge(r, DefaultLimits())
		if got := r.Findings[0].Severity; got != c.want {
			t.Errorf("%s, %s, bubble of %v mm: %s, want %s", c.stage, c.zone, c.size, got, c.want)
		}
	}
}

// A finding on the rim decides by the rim's limits, which are wider than the
// face's (shipped limits: common practice, no source).
func TestRimDecides(t *testing.T) {
	for _, c := range []struct {
		zone  part.Zone
		size  float64
		want  part.Verdict
		wants []string
	}{
		{part.ZoneRim, 0.60, part.Rework, []string{"dust of 0.60 mm on the rim (major from 0.60 mm)"}},
		{part.ZoneRim, 0.45, part.Pass, nil},
		{part.ZoneFace, 0.45, part.Rework, []string{"dust of 0.45 mm on the face (major from 0.40 mm)"}}, // as older results have it
	} {
		r := unit(part.Wet)
		f := spot(part.Dust, c.size, 300, 300)
		f.Zone = c.zone
		r.Findings = []part.Finding{f}
		Judge(r, DefaultLimits())
		if r.Verdict != c.want || c.wants != nil && !slices.Equal(r.Reasons, c.wants) {
			t.Errorf("dust of %.2f mm, zone %s: %s %q, want %s %q", c.size, c.zone, r.Verdict, r.Reasons, c.want, c.wants)
		}
	}
}

func TestSurfaceReasons(t *testing.T) {
	sanding := part.Finding{Image: "face_raking.jpg", Kind: part.Sanding, Zone: part.ZoneFace, Confidence: 1, Box: part.Box{100, 100, 60, 40}, LengthMM: part.Num(0.9), Lines: 25}
	haze := part.Finding{Image: "face_raking.jpg", Kind: part.Haze, Zone: part.ZoneShell, Confidence: 1, Box: part.Box{500, 500, 60, 40}, AreaMM2: part.Num(42.123)}
	r := unit(part.Wet)
	r.Findings = []part.Finding{sanding, haze, spot(part.Bubble, 0.31, 900, 300)}
	Judge(r, DefaultLimits())
	// Ratios to the bound: haze 42.1/30, bubble 0.31/0.30, sanding 25/25.
	verdict(t, r, part.Rework,
		"haze of 42.12 mm2 on the shell (major from 30.00 mm2)",
		"bubble of 0.31 mm on the face (major from 0.30 mm)",
		"sanding marks of 25 lines on the face (major from 25)")
}

func TestSizeNotMeasuredIsNotSmall(t *testing.T) {
	r := unit(part.Wet)
	f := spot(part.Dust, 0.12, 300, 300)
	f.DiameterMM, f.LengthMM, f.WidthMM = part.Num(0), nil, nil
	f.DiameterMM = nil
	f.Box = part.Box{300, 300, 30, 10} // 30 px are 0.45 mm: major from 0.40
	r.Findings = []part.Finding{f}
	Judge(r, DefaultLimits())
	verdict(t, r, part.Rework, "dust of 0.45 mm on the face (major from 0.40 mm)")

	r = unit(part.Wet)
	f.Box = part.Box{}
	nan := math.NaN()
	f.DiameterMM = &nan
	r.Findings = []part.Finding{f}
	Judge(r, DefaultLimits())
	verdict(t, r, part.Rework, "dust on the face (size not measured, so taken as major)")
	if r.Findings[0].DiameterMM != nil {
		t.Error("a diameter that is not a number stayed in the result")
	}
}

func TestDoubtfulFindingsDoNotWeigh(t *testing.T) {
	r := unit(part.Wet)
	f := spot(part.Bubble, 0.8, 300, 300)
	f.Confidence = 0.49
	r.Findings = []part.Finding{f}
	Judge(r, DefaultLimits())
	verdict(t, r, part.Pass)
	if got := r.Findings; len(got) != 1 || got[0].Severity != part.None || !strings.Contains(got[0].Advice, "0.49") {
		t.Errorf("findings %+v, want it listed, with severity none and its confidence in the advice", got)
	}
	// At the bound, and where the confidence is not known, it weighs.
	for _, conf := range []float64{0.5, math.NaN()} {
		f.Confidence = conf
		r = unit(part.Wet)
		r.Findings = []part.Finding{f}
		Judge(r, DefaultLimits())
		if r.Verdict != part.Rework {
			t.Errorf("confidence %v: verdict %s, want rework", conf, r.Verdict)
		}
	}
}

func TestUnknownKindNeverPasses(t *testing.T) {
	r := unit(part.Wet)
	r.Findings = []part.Finding{spot("dent", 0.05, 300, 300)}
	Judge(r, DefaultLimits())
	verdict(t, r, part.NotMeasured, `dent on the face: no limit for it at stage "wet"`)
	r = unit("")
	Judge(r, DefaultLimits())
	if r.Verdict != part.NotMeasured {
		t.Errorf("no stage: verdict %s, want not_measured", r.Verdict)
	}
}

// Several findings of each sort, and the order: worst first, then by picture,
// then from top to bottom.
func TestOrder(t *testing.T) {
	r := unit(part.Wet)
	other := spot(part.Dust, 0.25, 10, 10)
	other.Image = "face_diffuse.jpg"
	r.Findings = []part.Finding{spot(part.Dust, 0.12, 900, 900), spot(part.Dust, 0.25, 800, 400), spot(part.Dust, 0.25, 100, 400), spot(part.Dust, 0.25, 1500, 100), other, spot(part.Dust, 0.5, 50, 1100)}
	Judge(r, DefaultLimits())
	var got [][2]float64
	for _, f := range r.Findings {
		c := f.Box.Centre()
		got = append(got, [2]float64{math.Round(c.X), math.Round(c.Y)})
	}
	want := [][2]float64{{50, 1100}, {10, 10}, {1500, 100}, {100, 400}, {800, 400}, {900, 900}}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("middles %v, want %v", got, want)
	}
}

// Moderate findings are told where they alone are too many: 3 times 10 and 1.
func TestModerateFindingsThatAddUp(t *testing.T) {
	r := unit(part.Wet)
	r.Seam.Stations[0] = station(120, part.Left, 92.4, 1.8)
	r.Findings = []part.Finding{spot(part.Dust, 0.12, 300, 300), spot(part.Fibre, 0.6, 300, 900), spot(part.Bubble, 0.25, 900, 900), spot(part.Dust, 0.30, 900, 300)}
	Judge(r, DefaultLimits())
	// Ratios to the bound: dust 0.30/0.20, bubble 0.25/0.20, fibre 0.6/0.5.
	verdict(t, r, part.Rework,
		"proud by 92 um at 120 deg, left (limit 50 um)",
		"dust of 0.30 mm on the face (moderate from 0.20 mm)",
		"bubble of 0.25 mm on the face (moderate from 0.20 mm)",
		"fibre of 0.60 mm on the face (moderate from 0.50 mm)",
		"score 81 is over its limit of 20 (1 major, 3 moderate, 1 minor)")
}

func TestManyAlikeAreCounted(t *testing.T) {
	r := unit(part.Trim)
	r.Seam.Stations = nil
	for i := range 6 {
		r.Seam.Stations = append(r.Seam.Stations, station(float64(30*i), part.Left, 60+float64(i), 1), station(float64(30*i), part.Right, 10, 1))
	}
	Judge(r, DefaultLimits())
	verdict(t, r, part.Rework,
		"proud by 65 um at 150 deg, left (limit 50 um)",
		"proud by 64 um at 120 deg, left (limit 50 um)",
		"proud by 63 um at 90 deg, left (limit 50 um)",
		"and 3 more stations with the same finding (proud, major)")
}

func TestJudgingTwiceChangesNothing(t *testing.T) {
	r := unit(part.Cured)
	r.Seam.Stations[0] = station(120, part.Left, -92, 1.8)
	r.Seam.Stations[1].GapUM = nil
	r.Findings = []part.Finding{spot(part.Bubble, 0.15, 300, 300), spot(part.Bubble, 0.15, 330, 300), spot(part.Dust, 0.15, 300, 330)}
	Judge(r, DefaultLimits())
	first, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	Judge(r, DefaultLimits())
	second, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	if string(first) != string(second) {
		t.Errorf("judged again:\n got %s\nwant %s", second, first)
	}
}
