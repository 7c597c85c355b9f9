package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"finishbench/internal/bench/station"
	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// writeScale writes a scale file for the units in testdata/images, with what
// edit changes.
func writeScale(t *testing.T, name string, edit func(s *optics.Scale)) string {
	t.Helper()
	s := optics.Scale{
		Schema: optics.ScaleSchema, MMPerPX: 0.015, UMMPerPX: 0.00003, Projection: optics.Telecentric, WidthPX: 1600, HeightPX: 1200,
		Target: optics.Target{Kind: optics.Dots, Cols: 9, Rows: 7, PitchMM: 1, DiameterMM: 0.5,
			URel: 0.001}, Made: time.Now().Add(-24 * time.Hour), MaxAgeDays: 90,
		Pictures: []optics.ScalePicture{{File: "dots.png", SHA256: strings.Repeat("0", 64), Used: true,
			Marks: 63}}, RMSPX: 0.05, Rating: optics.RatedGood,
	}
	edit(&s)
	path := filepath.Join(t.TempDir(), name)
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := optics.EncodeScale(f, s); err != nil {
		t.Fatal(err)
	}
	return path
}

// resultOf inspects a unit of testdata/images with these options and returns
// what result.json says.
func resultOf(t *testing.T, wantCode int, unit string, options ...string) (part.Result, string) {
	t.Helper()
	return resultIn(t, wantCode, "../../testdata/images/"+unit, options...)
}

// resultIn inspects the unit of a folder.
func resultIn(t *testing.T, wantCode int, folder string, options ...string) (part.Result, string) {
	t.Helper()
	args := append([]string{"unit", folder, "--out", t.TempDir(), "--json"}, options...)
	code, stdout, stderr := runCode(t, args...)
	if code != wantCode {
		t.Fatalf("%v: exit code %d, want %d: %s", options, code, wantCode, stderr)
	}
	var rs []part.Result
	if code == cli.ExitUsage {
		return part.Result{}, stderr
	}
	if err := json.Unmarshal([]byte(stdout), &rs); err != nil || len(rs) != 1 {
		t.Fatalf("%v: %v in %.200s", options, err, stdout)
	}
	return rs[0], stderr
}

func TestScaleFileMeasuresAsItsNumber(t *testing.T) {
	want, _ := resultOf(t, cli.ExitFails, "u08-R", "--mm-per-px", "0.015")
	scale := writeScale(t, "scale.json", func(*optics.Scale) {})
	got, _ := resultOf(t, cli.ExitFails, "u08-R", "--scale", scale)
	for i, s := range got.Seam.Stations {
		// The file says besides that the lens is telecentric, which the number leaves open: the seam is fitted
		// by that, and a step may differ by a fifth of its uncertainty (common practice, no source).
		if w := want.Seam.Stations[i]; math.Abs(*s.StepUM-*w.StepUM) > *w.UUM/5 {
			t.Errorf("station %d: step %g with the file, %g with the number", i, *s.StepUM, *w.StepUM)
		}
	}
	if len(got.Scales) != 1 || got.Scales[0].MMPerPX != 0.015 || math.Abs(got.Scales[0].URel-0.002) > 1e-12 || len(got.Scales[0].SHA256) != 64 || got.Scales[0].Lens {
		t.Errorf("scales %+v", got.Scales)
	}
	if len(want.Scales) != 0 {
		t.Errorf("without a file the result names %+v", want.Scales)
	}
}

// A scale that is rated poor passes no unit, and says so; what is wrong with one stays wrong.
func TestPoorScaleBars(t *testing.T) {
	poor := writeScale(t, "scale.rejected.json", func(s *optics.Scale) { s.Rating = optics.RatedPoor })
	got, _ := resultOf(t, cli.ExitFails, "u08-R", "--scale", poor)
	if len(got.Warnings) == 0 || !strings.Contains(got.Warnings[0], "scale.rejected.json is rated poor") {
		t.Errorf("%q", got.Warnings)
	}
	if said := (&station.Inspector{Settings: inspection.Settings{Scales: []*inspection.ScaleFile{{Scale: optics.Scale{Rating: optics.RatedPoor}, Path: "a.json"}}}, Now: time.Now}).Bars(); said == nil || said.Key != "scale.poor" {
		t.Errorf("at the bench: %+v", said)
	}
}

// A scale file a view: each picture is measured with its own.
func TestScaleFileByView(t *testing.T) {
	edge := writeScale(t, "edge.json", func(*optics.Scale) {})
	face := writeScale(t, "face.json", func(s *optics.Scale) { s.MMPerPX, s.UMMPerPX = 0.0165, 0.00005 })
	got, _ := resultOf(t, cli.ExitFails, "u08-R", "--scale", "edge="+edge, "--scale", "face="+face)
	if got.MMPerPX != 0.015 || got.ScaleOf("face_raking.jpg") != 0.0165 || got.ScaleOf("edge_000.jpg") != 0.015 {
		t.Errorf("scales %g, face %g, edge %g", got.MMPerPX, got.ScaleOf("face_raking.jpg"), got.ScaleOf("edge_000.jpg"))
	}
	// With the edge's alone, the face cannot be measured, and so is no pass.
	got, _ = resultOf(t, cli.ExitUnmeasured, "u06-R", "--scale", "edge="+edge)
	for _, p := range got.Pictures {
		if bad := p.State != part.PictureOK; bad != (p.View == part.Face) {
			t.Errorf("%s is %s: %+v", p.File, p.State, p.Problems)
		}
	}
	if got.Verdict == part.Pass || len(got.Findings) != 0 {
		t.Errorf("verdict %s, %d findings without a scale of the face", got.Verdict, len(got.Findings))
	}
}

// A lens moves the outline's points: with a strong one, known as the file has
// it, steps change; the file's name and lens are in the result.
func TestScaleFileWithLens(t *testing.T) {
	plain, _ := resultOf(t, cli.ExitFails, "u08-R", "--mm-per-px", "0.015")
	lens := writeScale(t, "lens.json", func(s *optics.Scale) {
		s.Lens = &optics.Lens{FX: 2000, FY: 2000, CX: 799.5, CY: 599.5, K1: 0.1}
		s.Projection = optics.Perspective
	})
	got, _ := resultOf(t, cli.ExitFails, "u08-R", "--scale", lens)
	moved := 0
	for i, s := range got.Seam.Stations {
		if s.StepUM != nil && math.Abs(*s.StepUM-*plain.Seam.Stations[i].StepUM) > 0.2 {
			moved++
		}
	}
	if moved == 0 || !got.Scales[0].Lens {
		t.Errorf("no step moved by the lens; %+v", got.Scales)
	}
}

func TestScaleFileRefused(t *testing.T) {
	for name, c := range map[string]struct {
		code    int
		edit    func(s *optics.Scale)
		options []string
		want    string
	}{
		"another size": {cli.ExitUnmeasured, func(s *optics.Scale) { s.WidthPX = 1280 }, nil, "1280"},
		"another camera": {cli.ExitUnmeasured, func(s *optics.Scale) { s.Camera = "bench camera 1" },
			[]string{"--station", stationFile(t, "camera: bench camera 2\n")}, "bench camera 2"},
		"another focus": {cli.ExitUnmeasured, func(s *optics.Scale) { s.Focus = "mark 7" },
			[]string{"--station", stationFile(t, "focus: mark 3\n")}, "mark 3"},
		"too old":       {cli.ExitUsage, func(s *optics.Scale) { s.Made = time.Now().Add(-100 * 24 * time.Hour) }, nil, "days old"},
		"beside number": {cli.ExitUsage, func(*optics.Scale) {}, []string{"--mm-per-px", "0.015"}, "contradict"},
	} {
		scale := writeScale(t, "scale.json", c.edit)
		got, stderr := resultOf(t, c.code, "u06-R", append(c.options, "--scale", scale)...)
		said := stderr
		for _, p := range got.Pictures {
			if p.State == part.PictureOK {
				t.Errorf("%s: %s is measured", name, p.File)
			}
			said += p.Problems[0].Remedy
		}
		if !strings.Contains(said, c.want) {
			t.Errorf("%s: %q does not say %q", name, said, c.want)
		}
	}
	soon := writeScale(t, "scale.json", func(s *optics.Scale) { s.Made = time.Now().Add(-80 * 24 * time.Hour) })
	got, _ := resultOf(t, cli.ExitFails, "u08-R", "--scale", soon)
	if len(got.Warnings) == 0 || !strings.Contains(got.Warnings[0], "make it again soon") {
		t.Errorf("warnings %q do not tell that the scale is soon too old", got.Warnings)
	}
	for _, bad := range [][]string{{"--scale", ""}, {"--scale", "edge="}, {"--scale", "absent.json"}, {"--scale", "../../README.md"},
		{"--scale", soon, "--scale", soon}} {
		if _, stderr := resultOf(t, cli.ExitUsage, "u08-R", bad...); !strings.Contains(stderr, "scale") || strings.Count(stderr,
			"\n") != 1 {
			t.Errorf("%v: %q", bad, stderr)
		}
	}
}

// stationFile writes a station file with these lines.
func stationFile(t *testing.T, lines string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "station.yaml")
	if err := os.WriteFile(path, []byte("version: 1\n"+lines), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}
