package main

import (
	"path/filepath"
	"testing"
	"time"

	"finishbench/internal/bench/station"
	"finishbench/internal/inspection"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

func inventedAnswer(key string, v part.Verdict) part.Inspection {
	at := time.Date(2031, 3, 4, 5, 6, 7, 0, time.UTC)
	return part.Inspection{Key: key, UnitInfo: part.UnitInfo{Serial: "k041", Side: "R", Stage: part.Wet}, Started: at,
		Ended:  at.Add(time.Second),
		Result: part.Result{Verdict: v, Stage: part.Wet}, Pictures: []part.StoredPicture{{File: "face_diffuse.jpg", View: part.Face,
			Bytes: []byte("picture"), MIME: "image/jpeg"}}}
}

// An answer that was recorded, though nobody heard of it, is not recorded again;
// where it turned out otherwise in the meantime, the later one corrects it.
func TestBenchRecordsOnce(t *testing.T) {
	o := inspection.Options{Out: ".", MMPerPX: 0.015, Station: stationFile(t, "bench: {name: bench 2}\n"),
		Record: inspection.RecordOptions{URL: filepath.Join(t.TempDir(), "bench.db")}}
	set, err := o.Settings()
	if err != nil {
		t.Fatal(err)
	}
	rec, err := inspection.OpenRecorder(t.Context(), o.Record, set)
	if err != nil {
		t.Fatal(err)
	}
	defer rec.Close()
	if rec.Bench != "bench 2" {
		t.Errorf("the bench is %q on record, %q by the station file", rec.Bench, "bench 2")
	}
	b := station.NewRecords(rec)
	for range 2 {
		if id, err := b.Add(t.Context(), inventedAnswer("k", part.Pass)); id != 1 || err != nil {
			t.Fatalf("number %d, %v", id, err)
		}
	}
	if id, err := b.Add(t.Context(), inventedAnswer("k", part.NotMeasured)); id != 2 || err != nil { // the check piece bars passes now
		t.Fatalf("number %d, %v", id, err)
	}
	all, err := rec.Store.Find(t.Context(), records.Filter{})
	if err != nil || len(all) != 2 || all[0].CorrectedBy != 2 || all[0].Bench != "bench 2" || !all[1].Holds() ||
		all[1].Verdict() != part.NotMeasured {
		t.Errorf("%+v, %v", all, err)
	}
	for range 2 { // the answer to the first undo was lost
		if err := b.Withdraw(t.Context(), 2, "", "undo"); err != nil {
			t.Error(err)
		}
	}
	for range 2 { // and that to its taking back
		if err := b.Restore(t.Context(), 2, "", "undo"); err != nil {
			t.Error(err)
		}
	}
	if in, err := rec.Store.Get(t.Context(), 2); err != nil || !in.Holds() {
		t.Errorf("withdrawn still: %+v, %v", in.Withdrawn, err)
	}
}
