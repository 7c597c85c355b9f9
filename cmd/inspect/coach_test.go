package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/teach"
	"finishbench/internal/teach/coach"
)

// inventedWeeks records ten invented weeks of three invented operators, of whom B17
// has four times the dust. One unit has real pictures of testdata.
func inventedWeeks(t testing.TB) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "records.db")
	ctx := context.Background()
	store, err := records.Open(ctx, file, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	rng := rand.New(rand.NewPCG(3, 4))
	picture, err := os.ReadFile("../../testdata/images/u06-R/face_diffuse.jpg")
	if err != nil {
		t.Fatal(err)
	}
	start := time.Date(2026, 3, 2, 6, 0, 0, 0, time.Local)
	for i := range 300 {
		at := start.Add(time.Duration(i) * 10 * 7 * 24 * time.Hour / 300)
		in := part.Inspection{UnitInfo: part.UnitInfo{Serial: fmt.Sprint(100 + i), Side: "L", Operator: []string{"B17", "B02", "B30"}[i%3],
			Stage: part.Wet}, Started: at, Ended: at.Add(time.Second)}
		in.Result = part.Result{Schema: 1, Unit: in.Serial, Stage: in.Stage, Verdict: part.Rework, Score: part.Num(1), MMPerPX: 0.015}
		mean := 0.4
		if in.Operator == "B17" {
			mean = 1.6
		}
		for rng.Float64() < mean/(1+mean) {
			in.Result.Findings = append(in.Result.Findings, part.Finding{Number: len(in.Result.Findings) + 1, Kind: part.Dust,
				Severity: part.Moderate, Confidence: rng.Float64(),
				Image: "face_diffuse.jpg", Box: part.Box{500, 400, 40, 40}})
		}
		if rng.IntN(8) == 0 {
			in.Result.Findings = append(in.Result.Findings, part.Finding{Number: 9, Kind: part.Bubble, Severity: part.Minor,
				Image: "none.jpg"})
		}
		if in.Operator == "B17" {
			in.Pictures = []part.StoredPicture{{File: "face_diffuse.jpg", View: part.Face, Light: part.Diffuse, MIME: "image/jpeg",
				Bytes: picture}}
		}
		if _, err := store.Add(ctx, in); err != nil {
			t.Fatal(err)
		}
	}
	return file
}

func TestCoachCommand(t *testing.T) {
	file := inventedWeeks(t)
	for lang, want := range map[string][]string{"en": {"Coaching sheet", "Dust nib: ", "more than chance gives", "<img"},
		"zh-Hans": {"辅导单", "多于偶然", "尘粒"}} {
		o := coach.Options{Operator: "B17", Stage: "wet", From: "2026-03-01", To: "2026-06-01",
			SheetOptions: cli.SheetOptions{Language: lang}}
		o.Records.URL, o.Out = file, t.TempDir()
		if keep := os.Getenv("FINISHBENCH_KEEP"); keep != "" {
			o.Out = filepath.Join(keep, lang)
		}
		var text bytes.Buffer
		if err := coach.Run(t.Context(), o, time.Now(), &text); err != nil {
			t.Fatal(err)
		}
		page, err := os.ReadFile(filepath.Join(o.Out, "coach.html"))
		if err != nil {
			t.Fatal(err)
		}
		for _, w := range want {
			if !strings.Contains(string(page), w) {
				t.Errorf("%s: the page lacks %q", lang, w)
			}
		}
	}
	var out bytes.Buffer
	o := coach.Options{Operator: "B02", From: "2026-03-01", To: "2026-06-01", SheetOptions: cli.SheetOptions{Language: "en"}}
	o.Records.URL, o.JSON = file, true
	if err := coach.Run(t.Context(), o, time.Now(), &out); err != nil {
		t.Fatal(err)
	}
	var c teach.Coaching
	if err := json.Unmarshal(out.Bytes(), &c); err != nil || c.Units != 100 || c.Others != 2 {
		t.Errorf("%v: %d units, %d others", err, c.Units, c.Others)
	}
}

func TestCoachCommandRefuses(t *testing.T) {
	file := inventedShift(t, 4)
	for _, c := range []struct {
		o    coach.Options
		want string
	}{
		{coach.Options{}, "--operator"},
		{coach.Options{Operator: "B1", Stage: "dry"}, `stage "dry"`},
		{coach.Options{Operator: "B1", From: "yesterday"}, "is no time"},
		{coach.Options{Operator: "B1", From: "2026-05-01", To: "2026-04-01"}, "is not before"},
		{coach.Options{Operator: "B1", SheetOptions: cli.SheetOptions{Language: "xx"}}, "--language xx"},
		{coach.Options{Operator: "B1", From: "2026-01-01", SheetOptions: cli.SheetOptions{Language: "en"}}, `no unit of operator "B1"`},
	} {
		if c.o.Language == "" {
			c.o.Language = "en"
		}
		c.o.Records.URL = file
		if err := coach.Run(t.Context(), c.o, time.Now(), &bytes.Buffer{}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v, want %q", c.o, err, c.want)
		}
	}
}
