package main

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"finishbench/internal/part"

	"finishbench/internal/bench"
	"finishbench/internal/bench/station"
	"finishbench/internal/config"
	"finishbench/internal/inspection"
)

// shooterOf is what the bench takes pictures with by a station file.
func shooterOf(t *testing.T, text string) (bench.Shooter, error) {
	t.Helper()
	path := stationFile(t, text)
	st, err := config.LoadStation(path)
	if err != nil {
		t.Fatal(err)
	}
	o := station.Options{Options: inspection.Options{Station: path, MMPerPX: 0.015, Out: "."}}
	set, err := o.Settings()
	if err != nil {
		t.Fatal(err)
	}
	s, err := o.Shooter(set, st, bench.NewScreens())
	if err == nil {
		t.Cleanup(func() { s.(io.Closer).Close() })
	}
	return s, err
}

// A station whose camera plays stored units: each start takes the next unit's
// pictures, by the plan where there is one.
func TestStationPlaysUnits(t *testing.T) {
	images, err := filepath.Abs("../../testdata/images")
	if err != nil {
		t.Fatal(err)
	}
	camera := "cameras: [{name: played, source: replay, folder: " + images + "}]\n"
	s, err := shooterOf(t, camera)
	if err != nil {
		t.Fatal(err)
	}
	shots, err := s.Shoot(t.Context(), part.UnitInfo{}, nil, func(bench.Progress) {})
	if err != nil || len(shots) != 8 {
		t.Fatalf("%d shots, %v; a unit has 8 pictures", len(shots), err)
	}
	s.Release(shots)
	s, err = shooterOf(t, camera+"plan: [{view: face, light: raking, camera: played}, {view: edge, angle_deg: 30, camera: played}]\n")
	if err != nil {
		t.Fatal(err)
	}
	shots, err = s.Shoot(t.Context(), part.UnitInfo{}, nil, func(bench.Progress) {})
	if err != nil || len(shots) != 2 || shots[0].File != "face_raking.jpg" && shots[0].File != "face_raking.png" {
		t.Fatalf("%d shots, %v", len(shots), err)
	}
	s.Release(shots)
}

// A station whose camera drops files into a folder.
func TestStationFolder(t *testing.T) {
	dir := t.TempDir()
	s, err := shooterOf(t, "cameras: [{name: tethered, source: folder, folder: "+dir+"}]\nplan: [{view: face, light: diffuse}]\n")
	if err != nil {
		t.Fatal(err)
	}
	picture, err := os.ReadFile("../../testdata/images/u06-R/face_diffuse.jpg")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	drop := sync.OnceFunc(func() { // the operator presses the camera's own release; a moment later its file is there
		time.AfterFunc(300*time.Millisecond, func() {
			if err := os.WriteFile(filepath.Join(dir, "IMG_1.jpg"), picture, 0o600); err != nil {
				t.Error(err)
			}
		})
	})
	shots, err := s.Shoot(ctx, part.UnitInfo{}, nil, func(p bench.Progress) {
		if p.Problem != nil && p.Problem.Key == "ask.release" {
			drop()
		}
	})
	if err != nil || len(shots) != 1 || string(shots[0].Raw) != string(picture) {
		t.Fatalf("%d shots, %v", len(shots), err)
	}
	s.Release(shots)
}

func TestStationCamerasRefused(t *testing.T) {
	for text, want := range map[string]string{
		"": "say where the pictures come from",
		"cameras: [{name: a, source: folder, folder: /nowhere/at/all}]\nplan: [{view: face, light: diffuse}]\n": "/nowhere/at/all",
	} {
		if _, err := shooterOf(t, text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

// What the command line leaves open comes from the station file.
func TestBenchFromStation(t *testing.T) {
	o := station.Options{Page: bench.Serving{Listen: "127.0.0.1:9"}}
	o.FromStation(config.Bench{Name: "bench 2", Listen: "127.0.0.1:8080", Language: "zh-Hans", PedalKeys: []string{"F5"}})
	if o.Page.Listen != "127.0.0.1:9" || o.Name != "bench 2" || o.Page.Language != "zh-Hans" || len(o.Page.PedalKeys) != 1 ||
		o.Page.PedalKeys[0] != "F5" {
		t.Errorf("%+v", o)
	}
}
