package main

import (
	"bytes"
	"image/jpeg"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"finishbench/internal/grade"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/teach"
)

// A unit drawn before a screen is asked in what is made of its stripes, in which its fault is dark; a mark
// there is right, and the mistake of who misses it is shown there. Expected values: by the drawing.
func TestQuizBeforeScreen(t *testing.T) {
	all, err := paintUnits(t.TempDir(), paintOptions{number: 3, clean: 0.3, kinds: []part.Kind{part.Missed}, difficulty: teach.Easy, seed: 4})
	if err != nil {
		t.Fatal(err)
	}
	pool, err := poolUnits(all, part.Wet, grade.DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	clean := 0
	for _, it := range pool {
		if it.Clean() {
			clean++
			continue
		}
		var lights []part.Light
		for _, p := range it.Pictures {
			lights = append(lights, p.Light)
		}
		if !slices.Equal(lights, []part.Light{glossLight, slopeLight, part.StripesX0, part.White}) {
			t.Fatalf("shown are %v", lights)
		}
		k := it.Known[0]
		if k.Kind != part.Missed || k.Light != glossLight {
			t.Errorf("%+v", k)
		}
		raw, err := quizPicture(t.Context(), nil, it.Pictures[0])
		if err != nil {
			t.Fatal(err)
		}
		im, err := jpeg.Decode(bytes.NewReader(raw))
		if err != nil || im.Bounds().Dx() != it.WidthPX {
			t.Fatalf("%v: %v, %d wide", err, im.Bounds(), it.WidthPX)
		}
		grey := func(x, y float64) uint32 {
			r, _, _, _ := im.At(int(x), int(y)).RGBA()
			return r >> 8
		}
		c := k.Box.Centre()
		wall := k.SizeMM / 2 / it.MMPerPX // its wall's middle
		if w, in := grey(c.X+wall, c.Y), grey(c.X, c.Y); w > 130 || in < 170 {
			t.Errorf("gloss %d on the wall, %d within", w, in)
		}
		if at := mistakePicture(it, teach.Mistake{Missed: []int{0}}); at.Light != glossLight {
			t.Errorf("a miss is shown in %s", at.Light)
		}
	}
	if clean != 1 {
		t.Errorf("%d clean ones of 3", clean)
	}
	// Orange peel has no size, and is asked all the same.
	peel, err := paintUnits(t.TempDir(), paintOptions{number: 1, kinds: []part.Kind{part.OrangePeel}, seed: 5})
	if err == nil {
		pool, err = poolUnits(peel, part.Cured, grade.DefaultLimits())
	}
	if err != nil || len(pool[0].Known) != 1 || pool[0].Known[0].Kind != part.OrangePeel || !(pool[0].Known[0].SlopeMRad >= 2) || pool[0].Verdict == part.Pass {
		t.Errorf("%v: %+v", err, pool)
	}
	// Where one picture of which the map is made is gone, so is the map.
	if err := os.Remove(filepath.Join(all[0], "face_stripes_y2.jpg")); err != nil {
		t.Fatal(err)
	}
	first, _ := poolUnits(all[1:2], part.Wet, grade.DefaultLimits())
	if err := isThere(t.Context(), nil, first[0].Pictures[0]); err != nil {
		t.Error(err)
	}
	gone := first[0].Pictures[0]
	gone.Ref = strings.ReplaceAll(gone.Ref, filepath.Base(all[1]), filepath.Base(all[0]))
	if err := isThere(t.Context(), nil, gone); err == nil {
		t.Error("a map is there without its pictures")
	}
}

// A recorded set before a screen, confirmed by a person, is asked in the gloss.
func TestQuizOfRecordedScreen(t *testing.T) {
	store := recordedScreen(t)
	in, err := store.Get(t.Context(), 1)
	if err != nil {
		t.Fatal(err)
	}
	body, err := confirmation{verdict: part.Rework}.confirmed(in)
	if err != nil {
		t.Fatal(err)
	}
	it, err := recordItem(t.Context(), store, in, body, "T1")
	if err != nil {
		t.Fatal(err)
	}
	if len(it.Known) != 1 || it.Known[0].Light != glossLight || len(it.Pictures) != 4 || it.Pictures[0].Light != glossLight {
		t.Errorf("%+v", it)
	}
	if raw, err := quizPicture(t.Context(), store, it.Pictures[1]); err != nil || len(raw) == 0 {
		t.Errorf("%v", err)
	}
}

// Under lamps and before a screen in two poses a place is not the same: what is asked is the pose in which
// something is known, and nothing where both are.
func TestPosesOfAnItem(t *testing.T) {
	both := records.Inspection{Pictures: []records.Picture{{File: "a", View: part.Face, Light: part.Raking}, {File: "b", View: part.Face, Light: part.White}}}
	one := both
	one.Result.Findings = []part.Finding{{Image: "a", AlsoIn: []part.Sighting{{Image: "b"}}}}
	lamp, mirror := teach.KnownDefect{Light: part.Raking}, teach.KnownDefect{Light: glossLight}
	for _, c := range []struct {
		in            records.Inspection
		known         []teach.KnownDefect
		screen, lamps bool
	}{
		{both, nil, false, true},
		{both, []teach.KnownDefect{lamp}, false, true},
		{both, []teach.KnownDefect{mirror}, true, false},
		{both, []teach.KnownDefect{lamp, mirror}, false, false},
		{one, []teach.KnownDefect{lamp, mirror}, true, true},
		{records.Inspection{Pictures: both.Pictures[1:]}, nil, true, false},
	} {
		if screen, lamps := posesOf(c.in, c.known); screen != c.screen || lamps != c.lamps {
			t.Errorf("%+v: screen %v, lamps %v", c.known, screen, lamps)
		}
	}
}
