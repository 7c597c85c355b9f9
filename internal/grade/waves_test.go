package grade

import (
	"math"
	"strings"
	"testing"

	"finishbench/internal/part"
)

// Limits are those that are shipped (common practice, no source): over all waves 2, 4 and 6 mrad,
// in each octave of 4 to 0.5 mm 1.5, 3 and 4.5 mrad. What follows is worked by hand.

// waving is a unit whose faceplate has orange peel of so much slope in each octave, mrad, the
// longest waves first; u is relative, of each octave's variance.
func waving(st part.Stage, uRel float64, octaves ...float64) *part.Result {
	r := unit(st)
	m := &part.Mirror{PhaseRad: part.Num(1), UPhaseRad: part.Num(0.01), RangeMRad: part.Num(3)}
	sum := 0.0
	for i, v := range octaves {
		m.Octaves = append(m.Octaves, part.Octave{FromMM: part.OctaveEndsMM[i], ToMM: part.OctaveEndsMM[i+1], Variance: v * v,
			UVariance: uRel * v * v})
		sum += v * v
	}
	m.SlopeMRad, m.USlopeMRad = part.Num(math.Sqrt(sum)), part.Num(uRel*math.Sqrt(sum)/2)
	r.Screen = m
	r.Findings = []part.Finding{{Image: "face_stripes_x0.jpg", Kind: part.OrangePeel, Zone: part.ZoneFace, Confidence: 0.9,
		AreaMM2: part.Num(90), Box: part.Box{100, 100, 700, 700}}}
	return r
}

// Orange peel of one area weighs by its slope, and its reason tells it.
func TestOrangePeelWeighsBySlope(t *testing.T) {
	for _, c := range []struct {
		octaves []float64
		want    part.Severity
		verdict part.Verdict
		reason  string
	}{
		{[]float64{0.8, 0.8, 0.8, 0.8, 0.8}, part.None, part.Pass, ""}, // 1.79
		// At its limit it is within it; no octave's own.
		{[]float64{0, 0, 0, 0, 2}, part.None, part.Pass, ""},
		{[]float64{1, 1, 1, 1, 1}, part.Minor, part.Pass, ""},                                    // 2.24
		{[]float64{0, 3.5, 0, 0, 0}, part.Moderate, part.Pass, ""},                               // 3.5: the octave decides
		{[]float64{0, 2.9, 2.9, 0, 0}, part.Moderate, part.Pass, ""},                             // 4.10: the whole
		{[]float64{0, 4.4, 4.4, 0, 0}, part.Major, part.Rework, "(limit 6 mrad)"},                // 6.22
		{[]float64{0, 4.8, 0, 0, 0}, part.Major, part.Rework, "4.8 mrad in waves of 2 to 1 mm "}, // 4.8
	} {
		r := waving(part.Wet, 0.02, c.octaves...)
		Judge(r, DefaultLimits())
		f := r.Findings[0]
		if f.Severity != c.want || r.Verdict != c.verdict {
			t.Errorf("%v mrad: %s, %s; want %s, %s (%q)", c.octaves, f.Severity, r.Verdict, c.want, c.verdict, r.Reasons)
		}
		if !strings.Contains(r.Reasons[0], c.reason) {
			t.Errorf("%v mrad: %q, want %q", c.octaves, r.Reasons, c.reason)
		}
		if len(r.Screen.Bands) != 4 || r.Screen.Bands[0].Severity == "" || *r.Screen.Bands[2].Major != 4.5 {
			t.Errorf("%v mrad: bands %+v", c.octaves, r.Screen.Bands)
		}
		again := *r
		Judge(&again, DefaultLimits())
		if again.Verdict != r.Verdict || *again.Score != *r.Score || len(again.Findings) != 1 {
			t.Errorf("%v mrad: judged twice, %s and %g", c.octaves, again.Verdict, *again.Score)
		}
	}
	r := waving(part.Cured, 0.02, 0, 4.4, 4.4, 0, 0)
	Judge(r, DefaultLimits())
	if got, want := r.Reasons[0], "orange peel of 6.2 mrad on the face (limit 6 mrad)"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got, want := r.Plan.First().Why, "Orange peel of 6.2 mrad, on the faceplate: major over 6.0 mrad."; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	r = waving(part.Cured, 0.02, 0, 4.8, 0, 0, 0)
	Judge(r, DefaultLimits())
	if got, want := r.Plan.First().Why,
		"Orange peel of 4.8 mrad in waves of 2 to 1 mm, on the faceplate: major over 4.5 mrad."; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// The slope's uncertainty counts as a step's does: u is a twentieth of 5.9 mrad, 0.295. Two of
// them above it 6 mrad is passed; two below 6.4 it is not (JCGM 106:2012, 8.3; from memory).
func TestSlopeAndUncertainty(t *testing.T) {
	for _, c := range []struct {
		rule string
		v    float64
		want part.Severity
	}{
		{Simple, 5.9, part.Moderate}, {GuardedAcceptance, 5.9, part.Major}, {GuardedRejection, 5.9, part.Moderate},
		{Simple, 6.4, part.Major}, {GuardedAcceptance, 6.4, part.Major}, {GuardedRejection, 6.4, part.Moderate},
	} {
		l := DefaultLimits()
		l.Decision.Rule = c.rule
		r := waving(part.Wet, 0.1, 0, 0, 0, 0, c.v) // u of the variance 0.1, of its root 0.05
		Judge(r, l)
		if got := r.Findings[0].Severity; got != c.want {
			t.Errorf("%s, %g mrad: %s, want %s", c.rule, c.v, got, c.want)
		}
	}
	r := waving(part.Wet, 0.1, 0, 0, 0, 0, 6.4)
	Judge(r, DefaultLimits())
	if !strings.Contains(r.Reasons[0], "within the uncertainty of the limit, u = 0.32 mrad") {
		t.Errorf("%q", r.Reasons)
	}
	r = waving(part.Wet, 0.1, 0, 0, 0, 0, 1.9)
	Judge(r, Limits{Version: 1, ScoreLimit: 20, Decision: Decision{Rule: Simple, K: 2}, Surface: DefaultLimits().Surface,
		Seam:     DefaultLimits().Seam,
		Waviness: []Waviness{{Stages: part.Stages, By: []WaveClasses{waves(4, 0.125, 2, 4, never)}}}})
	if len(r.Warnings) != 1 || !strings.Contains(r.Warnings[0], "within their limit of 2 mrad, but also within the uncertainty") {
		t.Errorf("near the limit: %q", r.Warnings)
	}
}

// A lower bound over the limit decides; one under it never passes, with orange peel or without.
func TestLowerBoundOfSlope(t *testing.T) {
	told := "waviness not measured: at least %s mrad, but there are slopes too steep for these stripes: set wider stripes or bring the " +
		"screen nearer, or look at it by eye"
	for _, c := range []struct {
		v    float64
		peel bool
		sev  part.Severity
		want part.Verdict
		says string
	}{
		{6.5, true, part.Major, part.Rework, "orange peel of at least 6.5 mrad on the face (limit 6 mrad)"},
		{4.5, true, part.Moderate, part.NotMeasured, strings.Replace(told, "%s", "4.5", 1)},
		{1.2, true, part.None, part.NotMeasured, strings.Replace(told, "%s", "1.2", 1)},
		{0.3, false, "", part.NotMeasured, strings.Replace(told, "%s", "0.3", 1)},
		{7.5, false, "", part.NotMeasured, strings.Replace(told, "%s", "7.5", 1)},
	} {
		r := waving(part.Wet, 0.02, 0, 0, 0, 0, c.v)
		r.Screen.AtLeast = true
		if !c.peel {
			r.Findings = nil
		}
		Judge(r, DefaultLimits())
		if r.Verdict != c.want || r.Reasons[0] != c.says {
			t.Errorf("at least %g mrad: %s, %q; want %s, %q", c.v, r.Verdict, r.Reasons, c.want, c.says)
		}
		if c.peel && r.Findings[0].Severity != c.sev {
			t.Errorf("at least %g mrad: %s, want %s", c.v, r.Findings[0].Severity, c.sev)
		}
		if c.sev == part.None && c.peel && !strings.Contains(r.Findings[0].Advice, "by eye") {
			t.Errorf("at least %g mrad: %q", c.v, r.Findings[0].Advice)
		}
		if told := strings.HasPrefix(r.Plan.First().Why, "Waviness not measured: at least"); told != (c.want == part.NotMeasured) {
			t.Errorf("at least %g mrad: %s, %q", c.v, r.Verdict, r.Plan.First().Why)
		}
	}
	// An octave of a bound tells nothing.
	b := waving(part.Wet, 0.02, 0, 5, 0, 0, 0)
	b.Screen.AtLeast = true
	Judge(b, DefaultLimits())
	if b.Findings[0].Severity != part.Moderate || b.Screen.Bands[2].Severity != "" || b.Verdict != part.NotMeasured {
		t.Errorf("an octave of a bound: %s, %+v, %s", b.Findings[0].Severity, b.Screen.Bands[2], b.Verdict)
	}
	// Where nothing milder than a class can be told any more, the bound has decided.
	l := DefaultLimits()
	l.Waviness = []Waviness{{Stages: part.Stages, By: []WaveClasses{waves(4, 0.125, 2, 4, never)}}}
	r := waving(part.Wet, 0.02, 0, 0, 0, 0, 4.5)
	r.Screen.AtLeast = true
	Judge(r, l)
	if r.Verdict != part.Pass || r.Findings[0].Severity != part.Moderate {
		t.Errorf("over the last limit there is: %s, %q", r.Verdict, r.Reasons)
	}
}

// Without a slope, at a stage without limits of it, or on a shell, orange peel weighs by its
// area, and the first is said; without waves to judge the unit does not pass.
func TestWithoutSlope(t *testing.T) {
	r := waving(part.Wet, 0.02, 0, 1, 0, 0, 0)
	r.Screen.SlopeMRad, r.Screen.USlopeMRad, r.Screen.RangeMRad = nil, nil, nil
	Judge(r, DefaultLimits())
	verdict(t, r, part.Rework, "orange peel of 90.00 mm2 on the face (major from 15.00 mm2)")
	if len(r.Warnings) != 1 || !strings.Contains(r.Warnings[0], "weighed by its area") || r.Screen.Bands != nil {
		t.Errorf("%q, %v", r.Warnings, r.Screen.Bands)
	}
	r = waving(part.Trim, 0.02, 0, 1, 0, 0, 0)
	Judge(r, DefaultLimits())
	if r.Findings[0].Severity != part.Minor || len(r.Warnings) != 0 {
		t.Errorf("trim: %s, %q", r.Findings[0].Severity, r.Warnings)
	}
	r = waving(part.Wet, 0.02, 0, 1, 0, 0, 0)
	r.Findings[0].Zone = part.ZoneShell
	Judge(r, DefaultLimits())
	if r.Findings[0].Severity != part.Major {
		t.Errorf("on the shell: %s", r.Findings[0].Severity)
	}
	r = waving(part.Wet, 0.02)
	r.Findings, r.Screen = nil, &part.Mirror{RangeMRad: part.Num(3)}
	Judge(r, DefaultLimits())
	verdict(t, r, part.NotMeasured,
		"waviness not measured: too little of the faceplate mirrors the screen: move the screen or the unit, and take the set again")
}

// What is wrong with limits of waves is told by its key.
func TestValidateWaviness(t *testing.T) {
	l := DefaultLimits()
	l.Waviness = []Waviness{
		{Stages: []part.Stage{part.Wet}, By: []WaveClasses{waves(4, 0.125, 2, 4, 3), waves(3, 2, 2, 4, 6), waves(1, 2, 2, 4, 6),
			waves(4, 0.125, 0.5, 4, 6), {FromMM: 2, ToMM: 1}}},
		{Stages: []part.Stage{part.Wet, part.Cured}},
	}
	err := l.Validate()
	for _, want := range []string{
		"waviness[0].by[0].major: 3 is not above moderate (4)",
		"waviness[0].by[1].from_mm: 3 is no wavelength that octaves end at",
		"waviness[0].by[2].to_mm: 2 is not under from_mm (1)",
		"waviness[0].by[3]: the same waves are already in waviness[0].by[0]",
		"waviness[0].by[3].minor: 0.5 is not between 1 and 1000",
		"waviness[0].by[4]: has no class",
		"waviness[1]: stage wet is already in waviness[0]",
		"waviness[1].by: is missing or empty",
	} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("no %q in %v", want, err)
		}
	}
	l.Waviness = nil
	if err := l.Validate(); err != nil {
		t.Errorf("none at all: %v", err)
	}
}
