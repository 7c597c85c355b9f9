package report

import (
	"math"
	"strings"
	"testing"

	"finishbench/internal/part"
)

// waves is a mirror of so much slope in each octave, mrad, judged by a limit over all waves and
// one of an octave.
func waves(octaves ...float64) *part.Mirror {
	m := &part.Mirror{PhaseRad: part.Num(1), UPhaseRad: part.Num(0.01)}
	sum := 0.0
	for i, v := range octaves {
		m.Octaves = append(m.Octaves, part.Octave{FromMM: part.OctaveEndsMM[i], ToMM: part.OctaveEndsMM[i+1], Variance: v * v,
			UVariance: 0.04 * v * v})
		m.WaveMM, m.PerOctave = append(m.WaveMM, 0.7*part.OctaveEndsMM[i]), append(m.PerOctave, v*v)
		sum += v * v
	}
	m.SlopeMRad, m.USlopeMRad = part.Num(math.Sqrt(sum)), part.Num(0.05)
	m.Bands = []part.Band{
		{FromMM: 4, ToMM: 0.125, SlopeMRad: *m.SlopeMRad, USlopeMRad: 0.05, Minor: part.Num(2), Major: part.Num(6), Severity: part.Minor},
		{FromMM: 2, ToMM: 1, SlopeMRad: octaves[1], USlopeMRad: 0.02, Minor: part.Num(1.5), Severity: part.Minor},
		{FromMM: 1, ToMM: 0.5, SlopeMRad: octaves[2], USlopeMRad: 0.02, Minor: part.Num(1.5), Severity: part.None},
	}
	return m
}

// A finding's card tells its slope.
func TestSlopeOnACard(t *testing.T) {
	for _, c := range []struct {
		features map[string]float64
		want     string
	}{
		{map[string]float64{"slope_mrad": 2.2, "u_slope_mrad": 0.1}, "2.20 ± 0.20 mrad"},
		{map[string]float64{"slope_mrad_at_least": 7.16}, "at least 7.16 mrad"},
		{map[string]float64{"phase_rad": 1}, ""},
	} {
		got := ""
		for _, f := range english().finding(&part.Finding{Kind: part.Sanding, Features: c.features}, &part.Result{}, nil, 0).Facts {
			if f.Name == english().T("page.slope") {
				got += f.Value
			}
		}
		if got != c.want {
			t.Errorf("%v: %q, want %q", c.features, got, c.want)
		}
	}
}

// The spectrum is shown with its limits: each octave that has one says where it lies to it, the
// plot draws and names them, and of a lower bound no octave is judged.
func TestWavesBesideTheirLimits(t *testing.T) {
	r := &part.Result{Screen: waves(0.5, 2, 1, 0.5, 0.5)}
	var none []figure
	v, err := english().mirror(r, &none)
	if err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(v.Classes, ", "); got != "minor over, major over" {
		t.Errorf("classes %q", got)
	}
	if len(v.Waves) != 6 {
		t.Fatalf("%d rows, five octaves and all of them wanted", len(v.Waves))
	}
	for i, want := range []struct{ value, u, minor, major, judged string }{
		{"0.50", "0.02", "", "", ""}, {"2.00", "0.08", "1.5", "", "over: minor"}, {"1.00", "0.04", "1.5", "", "within"},
		// Root of 0.25 + 4 + 1 + 0.25 + 0.25.
		{"0.50", "0.02", "", "", ""}, {"0.50", "0.02", "", "", ""}, {"2.40", "0.10", "2", "6", "over: minor"},
	} {
		if w := v.Waves[i]; w.Value != want.value || w.U != want.u || w.Limits[0] != want.minor || w.Limits[1] != want.major ||
			w.Judged != want.judged || w.Over != strings.HasPrefix(want.judged, "over") {
			t.Errorf("row %d: %+v, want %+v", i, w, want)
		}
	}
	for _, want := range []string{"minor over", "octave by octave", "mrad"} {
		if !strings.Contains(string(v.Plot), want) {
			t.Errorf("the plot lacks %q", want)
		}
	}
	if strings.Contains(string(v.Plot), "major over") { // no octave has one
		t.Error("the plot names a limit that it does not draw")
	}
	r.Screen.AtLeast = true
	for i := range r.Screen.Bands[1:] {
		r.Screen.Bands[1+i].Severity = ""
	}
	if v, err = english().mirror(r, &none); err != nil || v.Waves[1].Judged != "not measured" || v.Waves[5].Judged != "over: minor" {
		t.Errorf("a lower bound: %+v, %v", v.Waves, err)
	}
	// Without limits there is nothing but the waves, and the whole of them.
	r = &part.Result{Screen: waves(0.5, 2, 1, 0.5, 0.5)}
	r.Screen.Bands = nil
	if v, err = english().mirror(r, &none); err != nil || len(v.Classes) != 0 || len(v.Waves) != 6 || v.Waves[5].Value != "2.40" {
		t.Errorf("without limits: %+v, %v", v, err)
	}
}
