package main

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/synth"
)

// screenFace draws a face before a screen, with a crater of 0.8 mm and 30 um, once for all tests.
var screenFace = sync.OnceValue(func() map[part.Light]*part.Image {
	p := synth.DefaultStripes()
	p.W, p.H, p.MMPerPX, p.RadiusMM = 640, 640, 0.018, 5
	p.Slope = func(x, y float64) (float64, float64) {
		if u, v := (x-1)/0.4, y/0.4; u*u+v*v < 1 {
			return -0.03 * 2 * u / 0.4, -0.03 * 2 * v / 0.4
		}
		return 0, 0
	}
	images, _ := synth.Stripes(p)
	return images
})

// aScreenUnit writes the pictures of screenFace as a unit's folder; change may take some away or
// put one in another's place.
func aScreenUnit(t *testing.T, change func(map[part.Light]*part.Image)) string {
	t.Helper()
	images := maps.Clone(screenFace())
	if change != nil {
		change(images)
	}
	return writeScreenUnit(t, images)
}

// writeScreenUnit writes grey pictures of a face before a screen as a unit's folder.
func writeScreenUnit(t *testing.T, images map[part.Light]*part.Image) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "u")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	for l, im := range images {
		g := image.NewGray(image.Rect(0, 0, im.W, im.H))
		for i, v := range im.Pix8 {
			g.SetGray(i%im.W, i/im.W, color.Gray{Y: v})
		}
		var b bytes.Buffer
		if err := png.Encode(&b, g); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, "face_"+string(l)+".png"), b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

var screenRecord []byte // the file that recordedScreen copies

// recordedScreen is a store with the unit of aScreenUnit as its inspection 1; the unit is inspected
// once for all tests.
func recordedScreen(t *testing.T) *records.Store {
	t.Helper()
	db := filepath.Join(t.TempDir(), "r.db")
	if screenRecord == nil {
		runCode(t, "unit", aScreenUnit(t, nil), "--out", t.TempDir(), "--mm-per-px", "0.018", "--record", db)
		screenRecord = must(os.ReadFile(db))
	} else if err := os.WriteFile(db, screenRecord, 0o600); err != nil {
		t.Fatal(err)
	}
	store, err := records.Open(t.Context(), db, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	return store
}

// A whole set before a screen is looked into: the drawn crater is found, and nothing else; the
// page shows gloss and slopes, and the pictures of them are written. Expected values: by
// the drawing.
func TestUnitBeforeScreen(t *testing.T) {
	dir, out := aScreenUnit(t, nil), t.TempDir()
	_, stdout, stderr := runCode(t, "unit", dir, "--out", out, "--mm-per-px", "0.018")
	var r part.Result
	readJSON(t, filepath.Join(out, "u", "result.json"), &r)
	if len(r.Findings) != 1 || r.Findings[0].Kind != part.Crater || r.Findings[0].Image != "face_stripes_x0.png" {
		t.Fatalf("%+v\n%s%s", r.Findings, stdout, stderr)
	}
	if d := *r.Findings[0].DiameterMM; d < 0.65 || d > 0.95 {
		t.Errorf("a crater of 0.8 mm: %.2f", d)
	}
	if len(r.Surfaces) != 1 || r.Surfaces[0].LookedAt < 0.8 || r.Screen == nil || r.Screen.PhaseRad == nil || *r.Screen.PhaseRad > 0.1 ||
		r.Screen.SlopeMRad != nil {
		t.Errorf("%+v, %+v", r.Surfaces, r.Screen)
	}
	page, err := os.ReadFile(filepath.Join(out, "u", "report.html"))
	if err != nil || !strings.Contains(string(page), "Gloss: white mirrors the stripes") {
		t.Errorf("%v: the page does not tell of gloss", err)
	}
	for _, name := range []string{part.GlossMap, part.SlopeMap} {
		if _, err := os.Stat(filepath.Join(out, "u", "annotated", name)); err != nil {
			t.Error(err)
		}
	}
}

// Under a lamp and before a screen, in one place, a crater is one finding, and the face one
// surface. Expected values: by the drawing.
func TestUnderLampAndBeforeScreen(t *testing.T) {
	dir := aScreenUnit(t, func(of map[part.Light]*part.Image) { of[part.Diffuse] = of[part.White] })
	_, r := inspectedAtScale(t, dir)
	if len(r.Findings) != 1 || r.Findings[0].Kind != part.Crater || len(r.Surfaces) != 1 || r.Surfaces[0].LookedAt < 0.8 ||
		r.Screen == nil {
		t.Errorf("%+v, %+v", r.Findings, r.Surfaces)
	}
}

// Without one of its pictures a set is read only, and says what it wants; with two phases
// in each other's place it is not measured, and never a pass.
func TestSetBeforeScreenIsWholeAndInOrder(t *testing.T) {
	dir := aScreenUnit(t, func(of map[part.Light]*part.Image) { delete(of, part.StripesY1) })
	_, r := inspectedAtScale(t, dir)
	if r.Verdict != part.NotMeasured || r.Screen != nil || len(r.Findings) > 0 ||
		!slices.ContainsFunc(r.Pictures, func(p part.PictureReport) bool {
			return !p.LookedAt() && strings.Contains(p.Problems[0].Remedy, "whole set")
		}) {
		t.Errorf("a phase missing: %s, %+v", r.Verdict, r.Pictures)
	}
	dir = aScreenUnit(t, func(of map[part.Light]*part.Image) {
		of[part.StripesX0], of[part.StripesX1] = of[part.StripesX1], of[part.StripesX0]
	})
	code, r := inspectedAtScale(t, dir)
	if code != cli.ExitUnmeasured || r.Verdict != part.NotMeasured || len(r.Findings) > 0 ||
		!slices.ContainsFunc(r.Pictures, func(p part.PictureReport) bool {
			return p.State != part.PictureOK && p.Problems[0].Name == "stripes_unfit"
		}) {
		t.Errorf("phases in each other's place: %d, %s, %+v", code, r.Verdict, r.Pictures)
	}
}

// A short set, stripes at three phases and no white, is looked into as a full one is: the drawn crater is
// found where it is, and nothing else. Expected values: by the drawing.
func TestShortSetBeforeScreen(t *testing.T) {
	dir := aScreenUnit(t, func(of map[part.Light]*part.Image) {
		for _, l := range []part.Light{part.White, part.StripesX3, part.StripesY3} {
			delete(of, l)
		}
	})
	_, r := inspectedAtScale(t, dir)
	if len(r.Findings) != 1 || r.Findings[0].Kind != part.Crater || r.Findings[0].Image != "face_stripes_x0.png" || len(r.Surfaces) != 1 ||
		r.Surfaces[0].LookedAt < 0.8 {
		t.Fatalf("%+v, %+v, %+v", r.Findings, r.Surfaces, r.Pictures)
	}
	if d := *r.Findings[0].DiameterMM; d < 0.65 || d > 0.95 {
		t.Errorf("a crater of 0.8 mm: %.2f", d)
	}
}

func inspectedAtScale(t *testing.T, dir string) (int, part.Result) {
	t.Helper()
	out := t.TempDir()
	code, _, _ := runCode(t, "unit", dir, "--out", out, "--mm-per-px", "0.018")
	var r part.Result
	readJSON(t, filepath.Join(out, filepath.Base(dir), "result.json"), &r)
	return code, r
}

// Pale veins before a screen are paint, and no lamp's image that is not looked at: one light alone cannot tell
// them apart, but where the screen is mirrored all over the face there is nothing to tell.
func TestVeinsBeforeScreenAreLookedAt(t *testing.T) {
	p := synth.DefaultStripes()
	p.W, p.H, p.MMPerPX, p.RadiusMM = 640, 640, 0.018, 5
	p.PaintAt = func(x, y float64) float64 {
		if math.Abs(math.Mod(y+0.5*math.Sin(2*x)+20, 1.6)-0.8) < 0.15 {
			return 0.3
		}
		return 0.15
	}
	images, _ := synth.Stripes(p)
	_, r := inspectedAtScale(t, writeScreenUnit(t, images))
	if len(r.Surfaces) != 1 || r.Surfaces[0].LookedAt < 0.7 || r.Surfaces[0].Why[part.Mirrored] > 0.02 {
		t.Errorf("%+v, %v", r.Surfaces, r.Warnings)
	}
}
