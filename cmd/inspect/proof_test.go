package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/part"
	"finishbench/internal/proof"
	"finishbench/internal/synth"
)

// changed is a folder with the pictures of a unit in testdata, some given under other names: new name to old.
func changed(t *testing.T, unit string, names map[string]string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), unit)
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	from := "../../testdata/images/" + unit
	all, err := filepath.Glob(from + "/*.jpg")
	if err != nil || len(all) < 6 {
		t.Fatalf("%d pictures, %v", len(all), err)
	}
	for _, path := range all {
		name := filepath.Base(path)
		if old, ok := names[name]; ok {
			path = filepath.Join(filepath.Dir(path), old)
		}
		if err := os.WriteFile(filepath.Join(dir, name), must(os.ReadFile(path)), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// Pictures that show another turn, light or unit than they are named are told with their cause and not measured, and the unit is never
// passed. Expected: by what was copied over what.
func TestPicturesAreWhatTheirNamesSay(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		names  map[string]string
		want   string // the problem
		doubts []string
	}{
		"one turn over two": {map[string]string{"edge_090.jpg": "edge_030.jpg"}, proof.SameTurn,
			[]string{"edge_030.jpg", "edge_090.jpg"}},
		"the dome's over the raking one": {map[string]string{"face_raking.jpg": "face_diffuse.jpg"}, proof.SameLight,
			[]string{"face_raking.jpg"}},
		"lights exchanged": {map[string]string{"face_raking.jpg": "face_diffuse.jpg", "face_diffuse.jpg": "face_raking.jpg"},
			proof.Swapped, []string{"face_diffuse.jpg", "face_raking.jpg"}},
		"another unit's turn": {map[string]string{"edge_060.jpg": "../u08-R/edge_060.jpg"}, proof.OtherUnit,
			[]string{"edge_060.jpg"}},
		"another unit's raking": {map[string]string{"face_raking.jpg": "../u03-R/face_raking.jpg"}, proof.OtherUnit,
			[]string{"face_diffuse.jpg", "face_raking.jpg"}},
		"two turns exchanged": {map[string]string{"edge_030.jpg": "edge_090.jpg", "edge_090.jpg": "edge_030.jpg"},
			proof.WrongTurn, []string{"edge_030.jpg", "edge_090.jpg"}},
	} {
		t.Run(name, func(t *testing.T) {
			synth.Sampled(t, 2)
			r, _ := resultIn(t, cli.ExitUnmeasured, changed(t, "u06-R", c.names), "--mm-per-px", "0.015")
			var got []string
			for _, p := range r.Pictures {
				if slices.ContainsFunc(p.Problems, func(q part.Problem) bool { return q.Name == c.want && !q.Warn }) {
					got = append(got, p.File)
				}
				if p.State != part.PictureOK && !slices.Contains(c.doubts, p.File) {
					t.Errorf("%s is refused: %+v", p.File, p.Problems)
				}
			}
			if !slices.Equal(got, c.doubts) || r.Verdict == part.Pass {
				t.Errorf("%s of %v, want of %v; %s, warnings %q", c.want, got, c.doubts, r.Verdict, r.Warnings)
			}
			for _, s := range r.Seam.Stations {
				if slices.Contains(c.doubts, s.Image) == (s.State == part.Measured) {
					t.Errorf("station of %s is %s", s.Image, s.State)
				}
			}
		})
	}
	r, _ := resultIn(t, cli.ExitFails, changed(t, "u08-R", nil), "--mm-per-px", "0.015")
	for _, w := range r.Warnings {
		if strings.Contains(w, "not tested") {
			t.Errorf("an honest unit: %s", w)
		}
	}
}

// At the bench each shot is told against those before it: a unit that was not turned at the second, one taken once more anew.
func TestSeenShots(t *testing.T) {
	seen := &inspection.SeenShots{}
	look := func(file string, view part.View, light part.Light, turn float64, as string) *proof.Doubt {
		pictures := must(capture.Read("../../testdata/images/u06-R/" + as))
		shot := part.Shot{File: file, View: view, Light: light, AngleDeg: turn}
		return seen.Differs(shot, proof.Look(pictures, shot))
	}
	if d := look("edge_000.png", part.Edge, part.NoLight, 0, "edge_000.jpg"); d != nil {
		t.Errorf("the first: %+v", d)
	}
	if d := look("edge_030.png", part.Edge, part.NoLight, 30, "edge_000.jpg"); d == nil || d.Name != proof.SameTurn {
		t.Errorf("the second, not turned: %+v", d)
	}
	if d := look("edge_030.png", part.Edge, part.NoLight, 30, "edge_030.jpg"); d != nil {
		t.Errorf("the second, once more: %+v", d)
	}
	if d := look("face_diffuse.png", part.Face, part.Diffuse, 0, "face_diffuse.jpg"); d != nil {
		t.Errorf("the face: %+v", d)
	}
	if d := look("face_raking.png", part.Face, part.Raking, 0, "face_diffuse.jpg"); d == nil || d.Name != proof.SameLight {
		t.Errorf("the light not switched: %+v", d)
	}
}
