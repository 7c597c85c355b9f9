package main

import (
	"bytes"
	"context"
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
	"finishbench/internal/records/shift"
	"finishbench/internal/report"
)

// inventedShift records an invented shift of so many units, from six in the
// morning, and returns the records' file.
func inventedShift(t testing.TB, units int) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "records.db")
	ctx := context.Background()
	store, err := records.Open(ctx, file, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	rng := rand.New(rand.NewPCG(11, 12))
	kinds := []part.Kind{part.Dust, part.Dust, part.Dust, part.Bubble, part.Bubble, part.Fibre, part.Sanding, part.Step}
	at := time.Date(2026, 3, 2, 6, 0, 0, 0, time.Local)
	for i := range units {
		at = at.Add(time.Duration(90+60*rng.IntN(3)) * time.Second)
		if i == units/2 {
			at = at.Add(40 * time.Minute)
		}
		in := part.Inspection{UnitInfo: part.UnitInfo{Serial: fmt.Sprint(4000 + i/2), Side: []string{"L", "R"}[i%2], Lot: "A17",
			Operator: "op 3", Stage: part.Wet}, Bench: "bench 1", Started: at.Add(-20 * time.Second), Ended: at}
		step := 15 + 4*rng.NormFloat64()
		if i > units-12 {
			step += 12
		}
		in.Result = part.Result{Schema: 1, Unit: in.Serial, Stage: in.Stage, Verdict: part.Pass, Score: part.Num(1)}
		in.Result.Seam.WorstStepUM = part.Num(step)
		for range rng.IntN(3) {
			in.Result.Findings = append(in.Result.Findings, part.Finding{Kind: kinds[rng.IntN(len(kinds))], Severity: part.Minor})
		}
		switch rng.IntN(8) {
		case 0, 1:
			in.Result.Verdict = part.Rework
		case 2:
			in.Result.Verdict, in.Result.Seam.WorstStepUM = part.NotMeasured, nil
		}
		id, err := store.Add(ctx, in)
		if err != nil {
			t.Fatal(err)
		}
		if in.Result.Verdict == part.Rework && i%3 == 0 {
			if err := store.Overrule(ctx, id, part.Overrule{By: "op 3", Verdict: part.Pass,
				Reason: part.OverruleReasons()[1]}); err != nil {
				t.Fatal(err)
			}
		}
		if i == 5 {
			if err := store.Withdraw(ctx, id, part.Note{By: "op 3", Why: "wrong unit"}); err != nil {
				t.Fatal(err)
			}
		}
	}
	return file
}

func TestRecordsShift(t *testing.T) {
	file := inventedShift(t, 60)
	for lang, want := range map[string][]string{"en": {"Shift sheet", "first-pass yield", "Dust nib", "units an hour"},
		"zh-Hans": {"班次报表", "一次通过率", "尘粒"}} {
		out := t.TempDir()
		if keep := os.Getenv("FINISHBENCH_KEEP"); keep != "" {
			out = filepath.Join(keep, lang)
		}
		o := shift.Options{From: "2026-03-02 06:00", To: "2026-03-02 14:00", SheetOptions: cli.SheetOptions{Language: lang}}
		o.Out = out
		var text bytes.Buffer
		if err := shift.Run(context.Background(), cli.Database{URL: file}, o, &text); err != nil {
			t.Fatal(err)
		}
		page, err := os.ReadFile(filepath.Join(out, "shift.html"))
		if err != nil {
			t.Fatal(err)
		}
		for _, w := range want {
			if !strings.Contains(text.String(), w) || !strings.Contains(string(page), w) {
				t.Errorf("%s: %q is not in both text and page", lang, w)
			}
		}
		if s := text.String(); strings.Contains(s, "sheet.") || strings.Contains(string(page), ">sheet.") || strings.Contains(s, "{") {
			t.Errorf("%s: a key without its text:\n%s", lang, s)
		}
	}
}

// What was looked at before the time asked for is no first look in it.
func TestRecordsShiftEarlier(t *testing.T) {
	ctx := context.Background()
	store, err := records.Open(ctx, filepath.Join(t.TempDir(), "r.db"), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	noon := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	for i, at := range []time.Time{noon.Add(-time.Hour), noon.Add(time.Hour), noon.Add(2 * time.Hour)} {
		in := part.Inspection{UnitInfo: part.UnitInfo{Serial: []string{"1", "1", "2"}[i], Side: "L", Stage: part.Wet}, Started: at,
			Ended: at.Add(time.Second), Result: part.Result{Schema: 1, Verdict: part.Pass, Stage: part.Wet}}
		if _, err := store.Add(ctx, in); err != nil {
			t.Fatal(err)
		}
	}
	s, err := shift.Figures(ctx, store, records.Filter{From: noon}, shift.FigureOptions())
	if err != nil || s.Inspections != 2 || s.First.Measured != 1 {
		t.Errorf("%+v %v", s, err)
	}
}

func TestShiftSheetEmpty(t *testing.T) {
	l, err := cli.Language("en")
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := report.SheetPage(&b, shift.Page{L: l, O: shift.FigureOptions()}.Sheet()); err != nil ||
		!strings.Contains(b.String(), "No unit was inspected") {
		t.Errorf("%v", err)
	}
}

func TestShiftSpan(t *testing.T) {
	now := time.Date(2026, 3, 2, 15, 0, 0, 0, time.Local)
	if a, b, err := shift.Span("", "", now); err != nil || !b.Equal(now) || b.Sub(a) != 12*time.Hour {
		t.Errorf("%v %v %v", a, b, err)
	}
	for _, bad := range [][2]string{{"yesterday", ""}, {"2026-03-02", "2026-03-01"}, {"", "25:00"}} {
		if _, _, err := shift.Span(bad[0], bad[1], now); err == nil {
			t.Errorf("%v taken", bad)
		}
	}
	if _, err := cli.Language("xx"); err == nil {
		t.Error("language xx taken")
	}
}
