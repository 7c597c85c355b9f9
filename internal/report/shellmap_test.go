package report

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"finishbench/internal/part"
)

// shellSample is the sample with an invented shell: four turns, a holder's shadow, a run across turn 0.
func shellSample() *part.Result {
	r := sample()
	m := &part.ShellMap{StepDeg: 5, StepMM: 0.25, LookedAt: 0.83}
	for j := range 52 {
		z := float64(j) * 0.25
		m.RadiusMM = append(m.RadiusMM, 9.2-0.012*z*z)
		row := make([]byte, 72)
		for i := range row {
			deg := float64(i) * 5
			row[i] = '2'
			switch {
			case math.Hypot((deg-205)/12, (z-5)/3) < 1, z > 10.5+1.5*math.Sin(deg*math.Pi/90):
				row[i] = '0'
			case math.Abs(math.Remainder(deg-45, 90)) < 8+z || z < 0.5:
				row[i] = '1'
			}
		}
		m.Rows = append(m.Rows, string(row))
	}
	r.Shell = m
	r.Faceplate = &part.Faceplate{Image: "face_diffuse.png", Light: part.Diffuse}
	for i := range 90 {
		s, c := math.Sincos(float64(i) * math.Pi / 45)
		r.Faceplate.OutlinePX = append(r.Faceplate.OutlinePX, [2]float64{800 + 640*c, 600 + 430*s*(1-0.25*c)})
	}
	r.Pictures = append(r.Pictures, part.PictureReport{File: "shell_090_raking.png", View: part.Shell, Light: part.Raking, AngleDeg: 90,
		State: part.PictureOK})
	add := func(k part.Kind, sev part.Severity, turn, below, wide, high float64) {
		f := part.Finding{Number: len(r.Findings) + 1, Image: "shell_090_raking.png", Kind: k,
			Box: part.Box{500, 500, wide / 0.015, high / 0.015}, Zone: part.ZoneShell, Severity: sev, Confidence: 0.9,
			TurnDeg: num(turn), BelowMM: num(below), DiameterMM: num(max(wide, high)), Advice: "Wipe the place, lacquer again."}
		r.Findings = append(r.Findings, f)
	}
	add(part.Run, part.Major, 359, 3, 0.5, 3)
	add(part.Bubble, part.Minor, 88, 2, 0.2, 0.2)
	add(part.Dust, part.Minor, 92, 2.4, 0.1, 0.1)
	add(part.Dust, part.Minor, 95, 1.9, 0.1, 0.1)
	add(part.Missed, part.Moderate, 270, 7, 2.4, 1.6)
	add(part.Crater, part.Minor, 182, 0.1, 0.3, 0.3)
	r.Findings = append(r.Findings, part.Finding{Number: len(r.Findings) + 1, Image: "shell_090_raking.png", Kind: part.Haze,
		Box: part.Box{500, 500, 90, 90}, Zone: part.ZoneShell, Severity: part.Minor, Confidence: 0.7})
	return r
}

// TestShellMap: the page tells the share, draws each finding whose place is known and lists the others; where the shell was
// not looked at, or what is told of it does not fit, there is no map.
func TestShellMap(t *testing.T) {
	r := shellSample()
	page := samplePage(t, r)
	if dir := os.Getenv("FINISHBENCH_STORIES"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, "shellmap.html"), []byte(page), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	at := strings.Index(page, `id="map"`)
	if at < 0 {
		t.Fatal("there is no map")
	}
	section := page[at:][:strings.Index(page[at:], "</details>")]
	for _, want := range []string{"unrolled: 2 bubble, faceplate; 3 sanding marks, faceplate; 4 dust nib, faceplate&#39;s rim; 5 run, " +
		"359° of turn, 3 mm below the seam;", "Looked at 83 % of the shell over all turns", "mm below the seam", "180°", "5 mm",
		">looked at in some lights only<", ">not looked at<", "mean girth of 5"} {
		if !strings.Contains(section, want) {
			t.Errorf("the map lacks %q", want)
		}
	}
	// Numbers 2 to 4 lie on the faceplate, 5 to 10 on the shell; the step, of an edge picture, and the haze have no place. 0, 5
	// and 10 stand at the axis, too.
	for n, want := range map[string]int{"1": 0, "2": 1, "3": 1, "4": 1, "5": 2, "6": 1, "7": 1, "8": 1, "9": 1, "10": 2, "11": 0} {
		if c := strings.Count(section, ">"+n+"</text>"); c != want {
			t.Errorf("number %s is drawn %d times, not %d", n, c, want)
		}
	}
	for _, want := range []string{`href="#finding-1">1</a> step <span class="soft">(120 deg, left)`,
		`href="#finding-11">11</a> haze <span class="soft">(shell)`} {
		if !strings.Contains(section, want) {
			t.Errorf("not listed: %s", want)
		}
	}
	if !strings.Contains(page, "359° of turn, 3 mm below the seam") {
		t.Error("the run's card does not tell its place")
	}
	r.Shell.SeeThrough, r.Faceplate = true, nil
	page = samplePage(t, r)
	if !strings.Contains(page, "see-through") || !strings.Contains(page, "outline is not known") ||
		!strings.Contains(page, `href="#finding-2">2</a> bubble`) {
		t.Error("without a faceplate's outline its findings are not listed, or the page does not say so")
	}
	for name, shell := range map[string]*part.ShellMap{"none": nil,
		"rows that do not fit": {StepDeg: 5, StepMM: 1, RadiusMM: []float64{8}, Rows: []string{"22"}}} {
		r.Shell = shell
		if strings.Contains(samplePage(t, r), `id="map"`) {
			t.Errorf("%s: there is a map", name)
		}
	}
}
