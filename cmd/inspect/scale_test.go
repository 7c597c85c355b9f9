package main

import (
	"encoding/json"
	"image"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// drawnTarget draws a target into a folder and returns its path.
func drawnTarget(t *testing.T, dir, name string, p synth.TargetParams, draw func(synth.TargetParams) *part.Image) string {
	t.Helper()
	im := draw(p)
	g := &image.Gray{Pix: im.Pix8, Stride: im.W, Rect: image.Rect(0, 0, im.W, im.H)}
	return cameraDrawing{t, dir}.save(name, g)
}

// readScale reads the scale file that a run wrote.
func readScale(t *testing.T, path string) optics.Scale {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var s optics.Scale
	if err := json.Unmarshal(data, &s); err != nil {
		t.Fatal(err)
	}
	return s
}

var dots21 = optics.Target{Kind: optics.Dots, Cols: 11, Rows: 8, PitchMM: 1, DiameterMM: 0.5}

// flatDots is a dot grid held square, 15 um a pixel.
func flatDots() synth.TargetParams {
	p := synth.DefaultTarget()
	p.Map = synth.Flat(0.015, part.Point{X: 60, Y: 60}, 1.5)
	return p
}

// One picture of a square target gives the drawn scale within twice its stated
// uncertainty, and the file that is written measures pictures of its size.
func TestScaleFromOnePicture(t *testing.T) {
	dir, out := t.TempDir(), t.TempDir()
	pin := synth.DefaultTarget()
	pin.Map = synth.Flat(0.015, part.Point{X: 400, Y: 300}, 0)
	for name, c := range map[string]struct {
		path    string
		options []string
	}{
		"dots": {drawnTarget(t, dir, "dots.png", flatDots(), func(p synth.TargetParams) *part.Image { return synth.Dots(p, dots21, nil) }),
			[]string{"--target", "dots", "--cols", "11", "--rows", "8", "--pitch-mm", "1", "--diameter-mm", "0.5", "--projection", "telecentric"}},
		"chessboard": {drawnTarget(t, dir, "board.png", flatDots(), func(p synth.TargetParams) *part.Image { return synth.Chessboard(p, 9, 6, 1) }),
			[]string{"--target", "chessboard", "--cols", "9", "--rows", "6", "--pitch-mm", "1"}},
		"ruler": {drawnTarget(t, dir, "ruler.png", flatDots(), func(p synth.TargetParams) *part.Image { return synth.Ruler(p, 20, 0.5, 0.12, 3, nil) }),
			[]string{"--target", "ruler", "--pitch-mm", "0.5"}},
		"disc": {drawnTarget(t, dir, "disc.png", pin, func(p synth.TargetParams) *part.Image { return synth.Disc(p, 4) }),
			[]string{"--target", "disc", "--diameter-mm", "4", "--projection", "telecentric"}},
	} {
		args := append([]string{"scale", c.path, "--u-rel", "0.0005", "--name", name, "--out", out, "--identity", "invented"}, c.options...)
		code, stdout, stderr := runCode(t, args...)
		if code != cli.ExitPass && code != cli.ExitFails { // one picture alone may be rated poor, never not measured
			t.Fatalf("%s: exit code %d: %s%s", name, code, stdout, stderr)
		}
		s := readScale(t, filepath.Join(out, name+".json"))
		if d := math.Abs(s.MMPerPX - 0.015); d > 2*s.UMMPerPX || s.UMMPerPX > 0.01*0.015 {
			t.Errorf("%s: %.6f ± %.6f mm per pixel, drawn with 0.015", name, s.MMPerPX, s.UMMPerPX)
		}
		if s.WidthPX != 800 || s.HeightPX != 600 || s.Target.Identity != "invented" || len(s.Pictures) != 1 || !s.Pictures[0].Used || time.Since(s.Made) > time.Hour {
			t.Errorf("%s: %+v", name, s)
		}
		page, err := os.ReadFile(filepath.Join(out, name+".html"))
		if err != nil || !strings.Contains(string(page), s.Rating) || !strings.Contains(stdout, strings.ToUpper(s.Rating)) {
			t.Errorf("%s: the page or the text lacks the rating %s: %v", name, s.Rating, err)
		}
	}
}

// Tilted pictures tell the lens, a square one with it the scale; a picture in
// which one corner is moved is named, and leaving it out mends the fit.
func TestScaleFromTiltedPictures(t *testing.T) {
	dir, out := t.TempDir(), t.TempDir()
	lens := optics.Lens{FX: 900, FY: 900, CX: 405, CY: 296, K1: -0.15}
	spec := optics.Target{Kind: optics.Dots, Cols: 9, Rows: 7, PitchMM: 2, DiameterMM: 1}
	poses := []synth.Placement{{AboutXDeg: 30}, {AboutXDeg: -28, AboutDeg: 20}, {AboutYDeg: 32}, {AboutYDeg: -30, AboutDeg: -35}, {AboutXDeg: 25, AboutYDeg: 20}, {AboutXDeg: -22, AboutYDeg: 24}, {AboutXDeg: 20, AboutYDeg: -26}, {}}
	var paths []string
	for i, q := range poses {
		q.XMM, q.YMM, q.DistanceMM = 8, 6, 30
		p := synth.DefaultTarget()
		p.Seed = uint64(i + 1)
		at := synth.Tilted(lens, q)
		p.Map = at
		if i == 3 { // the print of this one is crumpled
			p.Map = func(x, y float64) part.Point {
				d := at(x, y)
				return part.Point{X: d.X + 4*math.Exp(-((x-3)*(x-3)+(y-3)*(y-3))/8), Y: d.Y}
			}
		}
		name := string(rune('a'+i)) + ".png"
		paths = append(paths, drawnTarget(t, dir, name, p, func(p synth.TargetParams) *part.Image { return synth.Dots(p, spec, nil) }))
	}
	args := append([]string{"scale"}, paths...)
	args = append(args, "--target", "dots", "--cols", "9", "--rows", "7", "--pitch-mm", "2", "--diameter-mm", "1", "--u-rel", "0.0005", "--terms", "k1", "--at-unit", "h.png", "--out", out)
	_, stdout, stderr := runCode(t, args...)
	if !strings.Contains(stdout, "The view that spoils the fit: d.png") || strings.Count(stdout, "The view that spoils") != 1 {
		t.Errorf("d.png is not named:\n%s%s", stdout, stderr)
	}
	with := readScale(t, filepath.Join(out, "scale.json"))
	code, stdout, stderr := runCode(t, append(args, "--leave-out", "d.png")...)
	if code != cli.ExitPass {
		t.Fatalf("exit code %d: %s%s", code, stdout, stderr)
	}
	s := readScale(t, filepath.Join(out, "scale.json"))
	if s.RMSPX > with.RMSPX/2 || s.Pictures[3].Used || strings.Contains(stdout, "spoils the fit") {
		t.Errorf("rms %.3f px with d.png, %.3f without; %+v", with.RMSPX, s.RMSPX, s.Pictures[3])
	}
	for name, c := range map[string][3]float64{"fx": {s.Lens.FX, lens.FX, s.LensU.FX}, "cx": {s.Lens.CX, lens.CX, s.LensU.CX}, "cy": {s.Lens.CY, lens.CY, s.LensU.CY}, "k1": {s.Lens.K1, lens.K1, s.LensU.K1},
		"scale": {s.MMPerPX, 30.0 / 900, s.UMMPerPX}} {
		if math.Abs(c[0]-c[1]) > 3*c[2] || !(c[2] > 0) {
			t.Errorf("%s %.6g, u %.2g, drawn with %.6g", name, c[0], c[2], c[1])
		}
	}
}

// A print that is stretched in one place shows so in all pictures alike: the
// target is told to be not as drawn.
func TestScaleFromBentTarget(t *testing.T) {
	dir := t.TempDir()
	lens := optics.Lens{FX: 900, FY: 900, CX: 405, CY: 296}
	spec := optics.Target{Kind: optics.Dots, Cols: 9, Rows: 7, PitchMM: 2, DiameterMM: 1}
	args := []string{"scale", "--target", "dots", "--cols", "9", "--rows", "7", "--pitch-mm", "2", "--diameter-mm", "1", "--terms", "k1"}
	for i, q := range []synth.Placement{{AboutXDeg: 30}, {AboutXDeg: -28, AboutDeg: 20}, {AboutYDeg: 32}, {AboutYDeg: -30, AboutDeg: -35}, {AboutXDeg: 20, AboutYDeg: -26}} {
		q.XMM, q.YMM, q.DistanceMM = 8, 6, 30
		p := synth.DefaultTarget()
		p.Seed = uint64(i + 1)
		at := synth.Tilted(lens, q)
		p.Map = func(x, y float64) part.Point {
			return at(x+0.12*math.Exp(-((x-4)*(x-4)+(y-4)*(y-4))/6), y)
		}
		args = append(args, drawnTarget(t, dir, string(rune('a'+i))+".png", p, func(p synth.TargetParams) *part.Image { return synth.Dots(p, spec, nil) }))
	}
	_, stdout, stderr := runCode(t, args...)
	if !strings.Contains(stdout, "target: it is not flat or not as drawn") || !strings.Contains(stdout, "0.1") {
		t.Errorf("the target passes for flat:\n%s%s", stdout, stderr)
	}
}

// What is wrong is told in one sentence; no scale is never a scale.
func TestScaleRefusals(t *testing.T) {
	dir := t.TempDir()
	dots := drawnTarget(t, dir, "dots.png", flatDots(), func(p synth.TargetParams) *part.Image { return synth.Dots(p, dots21, nil) })
	dark := drawnTarget(t, dir, "dark.png", flatDots(), func(p synth.TargetParams) *part.Image {
		p.Light, p.Dark = 0, 0
		p.NoiseSigma = 0
		return synth.Dots(p, dots21, nil)
	})
	grid := []string{"--target", "dots", "--cols", "11", "--rows", "8", "--pitch-mm", "1", "--diameter-mm", "0.5"}
	for _, c := range []struct {
		code int
		args []string
		want string
	}{
		{cli.ExitUsage, []string{dots}, "--target"},
		{cli.ExitUsage, []string{dots, "--target", "charuco"}, "ChArUco"},
		{cli.ExitUsage, []string{dots, "--target", "dost", "--cols", "11", "--rows", "8", "--pitch-mm", "1"}, "dots"},
		{cli.ExitUsage, append([]string{dots, "--terms", "k9"}, grid...), "k9"},
		{cli.ExitUsage, append([]string{dots, "--projection", "fisheye"}, grid...), "telecentric or perspective"},
		{cli.ExitUsage, append([]string{dots, "--at-unit", "other.png"}, grid...), "other.png"},
		{cli.ExitUsage, append([]string{dots, "--u-rel", "2"}, grid...), "--u-rel"},
		{cli.ExitUsage, append([]string{dots, "--max-age-days", "0"}, grid...), "--max-age-days"},
		{cli.ExitUsage, append([]string{dots, "--name", "../x"}, grid...), "--name"},
		{cli.ExitUsage, append([]string{filepath.Join(dir, "absent.png")}, grid...), "no such file"},
		{cli.ExitUsage, []string{dots, "--target", "dots", "--cols", "11", "--rows", "8", "--pitch-mm", "0", "--diameter-mm", "0.5"}, "pitch"},
		{cli.ExitUnmeasured, append([]string{dark}, grid...), "black"},
		{cli.ExitUnmeasured, []string{dots, "--target", "dots", "--cols", "14", "--rows", "8", "--pitch-mm", "1", "--diameter-mm", "0.5"}, "of 112 dots"},
		{cli.ExitUnmeasured, []string{dots, "--target", "chessboard", "--cols", "9", "--rows", "6", "--pitch-mm", "1"}, "not found"},
	} {
		out := filepath.Join(t.TempDir(), "out")
		code, _, stderr := runCode(t, append(append([]string{"scale"}, c.args...), "--out", out)...)
		if code != c.code || !strings.Contains(stderr, c.want) || strings.Count(stderr, "\n") != 1 {
			t.Errorf("%v: exit code %d, want %d; %q, want %q", c.args[1:], code, c.code, stderr, c.want)
		}
		if _, err := os.Stat(filepath.Join(out, "scale.json")); err == nil {
			t.Errorf("%v: a scale file was written", c.args[1:])
		}
	}
}

// A unit is no ruler: lines at even steps by chance are too few, or off them. The rules are common practice, no source.
func TestUnitIsNoRuler(t *testing.T) {
	out := t.TempDir()
	for _, file := range []string{"../../testdata/images/u01-L/edge_000.jpg", "../../testdata/images/u06-R/face_diffuse.jpg"} {
		code, stdout, stderr := runCode(t, "scale", file, "--target", "ruler", "--pitch-mm", "0.1", "--out", out)
		if left, _ := os.ReadDir(out); code != cli.ExitUnmeasured || len(left) > 0 || !strings.Contains(stderr, "no picture shows the target") {
			t.Errorf("%s: exit code %d, %d files: %s%s", file, code, len(left), stdout, stderr)
		}
	}
}

// A scale in doubt does not take the place of one that is not: few dots in a corner of the picture are rated poor.
func TestPoorScaleIsSetAside(t *testing.T) {
	dir, out := t.TempDir(), t.TempDir()
	p := flatDots()
	p.Map = synth.Flat(0.1, part.Point{X: 60, Y: 60}, 0)
	path := drawnTarget(t, dir, "dots.png", p, func(p synth.TargetParams) *part.Image {
		return synth.Dots(p, optics.Target{Kind: optics.Dots, Cols: 5, Rows: 4, PitchMM: 2, DiameterMM: 1}, nil)
	})
	code, stdout, stderr := runCode(t, "scale", path, "--target", "dots", "--cols", "5", "--rows", "4", "--pitch-mm", "2", "--diameter-mm", "1", "--projection", "telecentric", "--out", out)
	if code != cli.ExitFails || !strings.Contains(stdout, "It is in doubt") {
		t.Fatalf("exit code %d: %s%s", code, stdout, stderr)
	}
	if _, err := os.Stat(filepath.Join(out, "scale.json")); err == nil {
		t.Error("it was written as scale.json")
	}
	if s := readScale(t, filepath.Join(out, "scale.rejected.json")); s.Rating != optics.RatedPoor {
		t.Errorf("rated %s", s.Rating)
	}
}
