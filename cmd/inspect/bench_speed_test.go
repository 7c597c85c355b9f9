package main

import (
	"context"
	"errors"
	"io"
	"path/filepath"
	"testing"
	"time"

	"finishbench/internal/bench"
	"finishbench/internal/bench/station"
	"finishbench/internal/cli"
	"finishbench/internal/grade"
	"finishbench/internal/inspection"
	"finishbench/internal/part"
)

// answerBar is the longest that a press may take to its answer, on two cores,
// from a replay of eight pictures (issue 4).
const answerBar = time.Second

// benchOfReplay is a station over the real pipeline, which plays testdata/images
// and records into a SQLite file.
func benchOfReplay(t testing.TB) *bench.Station {
	t.Helper()
	o := station.Options{}
	o.Out, o.MMPerPX, o.Stage, o.Jobs = ".", 0.015, "wet", 2
	o.Record.URL = filepath.Join(t.TempDir(), "bench.db")
	set, err := o.Settings()
	if err != nil {
		t.Fatal(err)
	}
	shooter, err := station.NewReplay("../../testdata/images", set.Fit, 2)
	if err != nil {
		t.Fatal(err)
	}
	rec, err := inspection.OpenRecorder(t.Context(), o.Record, set)
	if err != nil {
		t.Fatal(err)
	}
	s := bench.NewStation(bench.Parts{
		Shooter: shooter, Inspector: &station.Inspector{Settings: set, Slots: inspection.NewSlots(2), Now: time.Now},
		Recorder: station.NewRecords(rec), PairLimits: grade.DefaultLimits().Pair, Log: t.Logf,
	}, part.UnitInfo{Serial: "u001", Stage: part.Wet}, bench.FollowNumber)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { s.Run(ctx); close(done) }()
	t.Cleanup(func() { cancel(); <-done; rec.Close() })
	return s
}

// oneAnswer presses, waits for the answer and goes on; it returns how long the
// answer took.
func oneAnswer(t testing.TB, s *bench.Station) time.Duration {
	t.Helper()
	begin := time.Now()
	if err := s.Send(t.Context(), -1, bench.Press{}); err != nil {
		t.Fatal(err)
	}
	for s.Snapshot().Phase != bench.Answered {
		if s.Snapshot().Phase == bench.Halted || time.Since(begin) > time.Minute {
			t.Fatalf("no answer: %s, %v", s.Snapshot().Phase, s.Snapshot().Problem)
		}
		time.Sleep(time.Millisecond)
	}
	took := time.Since(begin)
	if err := s.Send(t.Context(), -1, bench.Press{}); err != nil {
		t.Fatal(err)
	}
	return took
}

// TestBenchRecordsWhatItAnswers takes the way of the operator's press through
// the real pipeline into the records, and looks whether these say the same as
// 'inspect unit' does of the same pictures.
func TestBenchRecordsWhatItAnswers(t *testing.T) {
	s := benchOfReplay(t)
	if err := s.Send(t.Context(), -1, bench.Press{}); err != nil {
		t.Fatal(err)
	}
	for s.Snapshot().Phase != bench.Answered {
		time.Sleep(time.Millisecond)
	}
	a := s.Snapshot().Answer
	past, err := s.Recorder.History(t.Context(), "u001")
	if err != nil || len(past) != 1 || past[0].ID != a.ID {
		t.Fatalf("history: %v, %v", past, err)
	}
	out := t.TempDir()
	var code cli.ExitCode
	if err := run(t.Context(), []string{"unit", "../../testdata/images/u01-L", "--out", out, "--mm-per-px", "0.015", "--stage", "wet"}, nil,
		io.Discard, io.Discard); err != nil && !errors.As(err, &code) {
		t.Fatal(err)
	}
	want, err := inspection.ReadResult(filepath.Join(out, "u01-L", cli.ResultFile))
	if err != nil {
		t.Fatal(err)
	}
	got := past[0].Result
	if got.Verdict != want.Verdict || len(got.Findings) != len(want.Findings) || *got.Score != *want.Score ||
		*got.Seam.WorstStepUM != *want.Seam.WorstStepUM {
		t.Errorf("at the bench %s, score %v, %d findings; by inspect unit %s, score %v, %d findings", got.Verdict, *got.Score,
			len(got.Findings), want.Verdict, *want.Score, len(want.Findings))
	}
	if len(past[0].Pictures) != 8 {
		t.Errorf("%d pictures are on record, 8 wanted", len(past[0].Pictures))
	}
	if data, mime, err := s.Recorder.PictureBytes(t.Context(), past[0].Pictures[0].SHA256); err != nil || mime != "image/jpeg" ||
		len(data) < 1000 {
		t.Errorf("picture: %d bytes of %q, %v", len(data), mime, err)
	}
	if len(a.Outcome.Main) == 0 || len(a.Outcome.Crops) == 0 || a.Outcome.Result.Plan.First() == nil {
		t.Errorf("answer: %d bytes of picture, %d crops, plan %+v for %d findings", len(a.Outcome.Main), len(a.Outcome.Crops),
			a.Outcome.Result.Plan, len(a.Outcome.Result.Findings))
	}
}

// BenchmarkBenchAnswer is a press to its answer, recorded.
func BenchmarkBenchAnswer(b *testing.B) {
	s := benchOfReplay(b)
	oneAnswer(b, s)
	for b.Loop() {
		oneAnswer(b, s)
	}
}
