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
	"finishbench/internal/teach"
	"finishbench/internal/teach/book"
)

// A unit drawn before a screen is asked in what is made of its stripes, in which its fault is dark; a mark
// there is right, and the mistake of who misses it is shown there. Expected values: by the drawing.
func TestQuizBeforeScreen(t *testing.T) {
	all, err := book.PaintUnits(t.TempDir(), book.PaintOptions{Number: 3, Clean: 0.3, Kinds: []part.Kind{part.Missed},
		Difficulty: teach.Easy, Seed: 4})
	if err != nil {
		t.Fatal(err)
	}
	pool, err := book.PoolUnits(all, part.Wet, grade.DefaultLimits())
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
		if !slices.Equal(lights, []part.Light{book.GlossLight, book.SlopeLight, part.StripesX0, part.White}) {
			t.Fatalf("shown are %v", lights)
		}
		k := it.Known[0]
		if k.Kind != part.Missed || k.Light != book.GlossLight {
			t.Errorf("%+v", k)
		}
		raw, err := book.QuizPicture(t.Context(), nil, it.Pictures[0])
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
		if at := book.MistakePicture(it, teach.Mistake{Missed: []int{0}}); at.Light != book.GlossLight {
			t.Errorf("a miss is shown in %s", at.Light)
		}
	}
	if clean != 1 {
		t.Errorf("%d clean ones of 3", clean)
	}
	// Orange peel has no size, and is asked all the same.
	peel, err := book.PaintUnits(t.TempDir(), book.PaintOptions{Number: 1, Kinds: []part.Kind{part.OrangePeel}, Seed: 5})
	if err == nil {
		pool, err = book.PoolUnits(peel, part.Cured, grade.DefaultLimits())
	}
	if err != nil || len(pool[0].Known) != 1 || pool[0].Known[0].Kind != part.OrangePeel || !(pool[0].Known[0].SlopeMRad >= 2) ||
		pool[0].Verdict == part.Pass {
		t.Errorf("%v: %+v", err, pool)
	}
	// Where one picture of which the map is made is gone, so is the map.
	if err := os.Remove(filepath.Join(all[0], "face_stripes_y2.jpg")); err != nil {
		t.Fatal(err)
	}
	first, _ := book.PoolUnits(all[1:2], part.Wet, grade.DefaultLimits())
	if err := book.IsThere(t.Context(), nil, first[0].Pictures[0]); err != nil {
		t.Error(err)
	}
	gone := first[0].Pictures[0]
	gone.Ref = strings.ReplaceAll(gone.Ref, filepath.Base(all[1]), filepath.Base(all[0]))
	if err := book.IsThere(t.Context(), nil, gone); err == nil {
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
	body, err := book.Confirmation{Verdict: part.Rework}.Confirmed(in)
	if err != nil {
		t.Fatal(err)
	}
	it, err := book.RecordItem(t.Context(), store, in, body, "T1")
	if err != nil {
		t.Fatal(err)
	}
	if len(it.Known) != 1 || it.Known[0].Light != book.GlossLight || len(it.Pictures) != 4 || it.Pictures[0].Light != book.GlossLight {
		t.Errorf("%+v", it)
	}
	if raw, err := book.QuizPicture(t.Context(), store, it.Pictures[1]); err != nil || len(raw) == 0 {
		t.Errorf("%v", err)
	}
}

// Under lamps and before a screen in two poses a place is not the same: what is asked is the pose in which
// something is known, and nothing where both are.
func TestPosesOfAnItem(t *testing.T) {
	both := part.Inspection{Pictures: []part.StoredPicture{{File: "a", View: part.Face, Light: part.Raking},
		{File: "b", View: part.Face, Light: part.White}}}
	one := both
	one.Result.Findings = []part.Finding{{Image: "a", AlsoIn: []part.Sighting{{Image: "b"}}}}
	lamp, mirror := teach.KnownDefect{Light: part.Raking}, teach.KnownDefect{Light: book.GlossLight}
	for _, c := range []struct {
		in            part.Inspection
		known         []teach.KnownDefect
		screen, lamps bool
	}{
		{both, nil, false, true},
		{both, []teach.KnownDefect{lamp}, false, true},
		{both, []teach.KnownDefect{mirror}, true, false},
		{both, []teach.KnownDefect{lamp, mirror}, false, false},
		{one, []teach.KnownDefect{lamp, mirror}, true, true},
		{part.Inspection{Pictures: both.Pictures[1:]}, nil, true, false},
	} {
		if screen, lamps := book.PosesOf(c.in, c.known); screen != c.screen || lamps != c.lamps {
			t.Errorf("%+v: screen %v, lamps %v", c.known, screen, lamps)
		}
	}
}
