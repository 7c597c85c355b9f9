package main

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"finishbench/internal/cli"
	"finishbench/internal/part"
)

// aUnit makes a folder with a tested unit's pictures under their own names, and
// others under further names.
func aUnit(t *testing.T, names map[string]string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "u")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	for name, from := range names {
		data, err := os.ReadFile(filepath.Join("../../testdata/images/u06-R", from))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func inspectedAlone(t *testing.T, dir string) (int, part.Result) {
	t.Helper()
	out := t.TempDir()
	code, _, stderr := runCode(t, "unit", dir, "--out", out, "--mm-per-px", "0.015")
	var r part.Result
	readJSON(t, filepath.Join(out, filepath.Base(dir), "result.json"), &r)
	if len(r.Pictures) == 0 {
		t.Log(stderr)
	}
	return code, r
}

// Pictures that are only read are listed and change nothing: neither verdict, nor
// findings, nor stations, nor the exit status. What was looked at is told of each
// surface, and adds up.
func TestReadOnlyPicturesChangeNothing(t *testing.T) {
	own := map[string]string{"face_diffuse.jpg": "face_diffuse.jpg", "face_raking.jpg": "face_raking.jpg", "edge_000.jpg": "edge_000.jpg"}
	code, plain := inspectedAlone(t, aUnit(t, own))
	more := map[string]string{"face_black.jpg": "edge_030.jpg", "face_stripes_x2.jpg": "edge_000.jpg",
		"shell_000_back.jpg": "face_raking.jpg", "shell_-90_white.jpg": "edge_000.jpg", "shell_270_back.jpg": "face_diffuse.jpg"}
	for _, l := range part.ScreenLights { // a turn of the shell, the whole set before a screen
		more["shell_090_"+string(l)+".jpg"] = "edge_000.jpg"
	}
	for k, v := range own {
		more[k] = v
	}
	codeMore, r := inspectedAlone(t, aUnit(t, more))
	if code != codeMore || r.Verdict != plain.Verdict || *r.Score != *plain.Score || len(r.Findings) != len(plain.Findings) ||
		len(r.Seam.Stations) != 2 || !slices.Equal(r.Reasons, plain.Reasons) || !slices.Equal(r.Warnings, plain.Warnings) {
		t.Errorf("status %d, %s, %d findings, %d stations, %q, %q; without them %d, %s, %d, %q, %q",
			codeMore, r.Verdict, len(r.Findings), len(r.Seam.Stations), r.Reasons, r.Warnings, code, plain.Verdict, len(plain.Findings),
			plain.Reasons, plain.Warnings)
	}
	if len(r.Pictures) != 18 {
		t.Errorf("%d pictures are listed, want all 18", len(r.Pictures))
	}
	for _, p := range r.Pictures {
		if strings.HasPrefix(p.File, "shell_090_") && (p.AngleDeg != 90 || !p.Light.OfScreen() || p.View != part.Shell) {
			t.Errorf("%+v", p)
		}
		if p.LookedAt() != (own[p.File] != "") || p.State != part.PictureOK {
			t.Errorf("%s: looked at %v, %s", p.File, p.LookedAt(), p.State)
		}
	}
	want := []struct {
		view     part.View
		angleDeg float64
	}{{part.Face, 0}, {part.Shell, 0}, {part.Shell, 90}, {part.Shell, 270}}
	if len(r.Surfaces) != len(want) {
		t.Fatalf("surfaces %+v", r.Surfaces)
	}
	for i, s := range r.Surfaces {
		if s.View != want[i].view || s.AngleDeg != want[i].angleDeg || s.Unsearched() != (s.View == part.Shell) {
			t.Errorf("surface %d: %+v, want %+v", i, s, want[i])
		}
		if sum := s.LookedAt + s.OneLight + s.NotLookedAt; math.Abs(sum-1) > 1e-9 || s.View == part.Face && s.LookedAt == 0 {
			t.Errorf("surface %d: %+v adds up to %g", i, s, sum)
		}
	}
}

// A view of which there are only such pictures is missing; one that cannot be read
// is told as ever.
func TestOnlyReadIsNotMeasured(t *testing.T) {
	dir := aUnit(t, map[string]string{"edge_000.jpg": "edge_000.jpg", "face_white.jpg": "face_diffuse.jpg"})
	code, r := inspectedAlone(t, dir)
	if code != cli.ExitUnmeasured || r.Verdict != part.NotMeasured ||
		!slices.ContainsFunc(r.Reasons, func(s string) bool { return strings.HasPrefix(s, "no face picture that is looked into") }) {
		t.Errorf("status %d, %s, %q", code, r.Verdict, r.Reasons)
	}
	if len(r.Surfaces) != 1 || !r.Surfaces[0].Unsearched() {
		t.Errorf("surfaces %+v", r.Surfaces)
	}
	if err := os.WriteFile(filepath.Join(dir, "shell_045_raking.jpg"), []byte("no picture"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, r = inspectedAlone(t, dir); !slices.ContainsFunc(r.Reasons, func(s string) bool {
		return strings.HasPrefix(s, "shell_045_raking.jpg is not fit to measure: unreadable")
	}) {
		t.Errorf("%q", r.Reasons)
	}
}

// A scene without a picture that is fit was not searched.
func TestUnfitSceneIsNotSearched(t *testing.T) {
	_, r := inspectedAlone(t, aUnit(t, map[string]string{"edge_000.jpg": "edge_000.jpg", "face_diffuse.jpg": "edge_000.jpg"}))
	if len(r.Surfaces) != 1 || !r.Surfaces[0].Unsearched() || r.Surfaces[0].NotLookedAt != 1 || r.Surfaces[0].View != part.Face ||
		r.Verdict != part.NotMeasured {
		t.Errorf("%s, surfaces %+v, %q", r.Verdict, r.Surfaces, r.Reasons)
	}
}
