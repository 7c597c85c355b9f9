package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"finishbench/internal/cli"
	"finishbench/internal/gauge/detection"
	"finishbench/internal/part"
	"finishbench/internal/stats/study"
	"finishbench/internal/synth"
	"finishbench/internal/truth"
)

// Faults drawn into a clean face are found from a size on, and no fault is called on the clean one; the
// statement tells what they were like. Expected values: a dent of 10 mrad is some ten times as steep as the least slope that
// stands out (0.45 rad of phase, 1.3 mrad), so that all of 0.4 mm are found; what is narrower than 0.07 mm is under
// the least size of a place (0.12 mm), also when the lens has widened it.
func TestDetectionOfDrawnFaults(t *testing.T) {
	p := synth.DefaultStripes()
	p.W, p.H, p.MMPerPX, p.RadiusMM = 640, 640, 0.018, 5
	images, _ := synth.Stripes(p)
	dir := writeScreenUnit(t, images)
	station := filepath.Join(t.TempDir(), "station.yaml")
	if err := os.WriteFile(station, []byte("version: 1\nmm_per_px: 0.018\nscreen:\n  period_mm: 6\n  distance_mm: 160\n  tilt_deg: 20\n"),
		0o600); err != nil {
		t.Fatal(err)
	}
	_, stdout, stderr := runCode(t, "study", "detection", "--draw", "9", dir, "--station", station, "--kind", "crater,haze", "--json")
	var v detection.Numbers
	if err := json.Unmarshal([]byte(stdout), &v); err != nil {
		t.Fatalf("%v\n%s%s", err, stdout, stderr)
	}
	if len(v.Groups) != 2 || v.Groups[0].Found.Of != 9 || v.Groups[0].Found.Count < 3 || v.Groups[0].Found.Count > 8 ||
		v.FalseCalls.Count != 0 || v.FalseCalls.Units != 1 {
		t.Errorf("%s", stdout)
	}
	for _, g := range v.Groups {
		for _, size := range []*float64{g.SizeMM, g.A50MM, g.A90MM} {
			if size != nil && !(*size > 0.07 && *size < 1.5) {
				t.Errorf("%s: a size of %g mm", g.Kind, *size)
			}
		}
	}
	if c := strings.Join(v.Conditions, " "); !strings.Contains(c,
		"steepest slope is 10 mrad: craters are round dents, 1.6 um deep where 0.5 mm wide; haze") {
		t.Errorf("%s", c)
	}
	out := t.TempDir()
	runCode(t, "study", "detection", "--draw", "3", dir, "--station", station, "--out", out)
	if page := readPage(t, out, "detection.html"); strings.Count(page, "data:image/jpeg") != len(synth.FlawKinds) ||
		!strings.Contains(page, "missed place, ") {
		t.Errorf("the page shows %d pictures of what was drawn", strings.Count(page, "data:image/jpeg"))
	}
	for _, bad := range [][]string{
		{"--draw", "9", dir, "--mm-per-px", "0.018"},
		{"--draw", "9", t.TempDir(), "--station", station},
		{"--draw", "9", dir, "--station", station, "--kind", "dust"},
		{"--draw", "-1", dir, "--station", station},
	} {
		if code, _, stderr := runCode(t, append([]string{"study", "detection"}, bad...)...); code != cli.ExitUsage {
			t.Errorf("%q: %d, %s", bad, code, stderr)
		} else {
			t.Log(strings.TrimSpace(stderr))
		}
	}
}

// Orange peel, which is all over a face, has no size and no place: a truth with it is read, what is called so is
// right there, and false elsewhere.
func TestOrangePeelIsNoTarget(t *testing.T) {
	d := 0.5
	face := truth.Surface{Files: map[string]string{"white": "a.png"},
		Defects: []truth.Defect{{Kind: "orange_peel", Box: []float64{0, 0, 900, 900}},
			{Kind: "crater", Box: []float64{440, 440, 20, 20}, Diameter: &d}}}
	r := part.Result{Pictures: []part.PictureReport{{File: "a.png", State: part.PictureOK}},
		Findings: []part.Finding{{Image: "a.png", Kind: part.OrangePeel, Box: part.Box{0, 0, 900, 900}}}}
	for _, peel := range []bool{true, false} {
		f := face
		if !peel {
			f.Defects = face.Defects[1:]
		}
		s := detection.Set{Patterns: map[string]int{}}
		if err := s.Add("u", "truth.json", truth.Unit{MMPerPX: 0.02, Face: &f}, r, study.DefaultMatchRule(), 5); err != nil {
			t.Fatal(err)
		}
		if len(s.Targets) != 1 || s.Targets[0].Kind != "crater" || s.Targets[0].Target.Found != 0 ||
			len(s.False) != map[bool]int{true: 0, false: 1}[peel] {
			t.Errorf("peel %v: %+v, false %+v", peel, s.Targets, s.False)
		}
	}
}
