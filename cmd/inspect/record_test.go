package main

import (
	"context"
	"database/sql"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// Where the records cannot be written, it is told and the exit code is 1; the
// results on disk are whole. Then it is recorded with what was in force.
func TestRecord(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for a busy database")
	}
	dir := t.TempDir()
	db, out := filepath.Join(dir, "bench.db"), filepath.Join(dir, "out")
	store, err := records.Open(context.Background(), db, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	busy, err := sql.Open("sqlite", db) // another program that does not let go
	if err != nil {
		t.Fatal(err)
	}
	defer busy.Close()
	busy.SetMaxOpenConns(1)
	if _, err := busy.Exec("BEGIN IMMEDIATE"); err != nil {
		t.Fatal(err)
	}
	unit := []string{"unit", "../../testdata/images/u06-R", "--out", out, "--mm-per-px", "0.015", "--record", db}
	code, stdout, stderr := runCode(t, unit...)
	if code != cli.ExitOther || !strings.Contains(stderr, "was not recorded") || !strings.Contains(stderr, "busy") ||
		strings.Contains(stdout, "records:") {
		t.Errorf("exit code %d; %s%s", code, stdout, stderr)
	}
	if _, err := os.Stat(filepath.Join(out, "u06-R", cli.ResultFile)); err != nil {
		t.Error(err)
	}
	if _, err := busy.Exec("ROLLBACK"); err != nil {
		t.Fatal(err)
	}
	if code, _, stderr := runCode(t, unit...); code != cli.ExitFails || stderr != "" {
		t.Errorf("exit code %d; %s", code, stderr)
	}
	in, err := store.Get(context.Background(), 1)
	if err != nil {
		t.Fatal(err)
	}
	if in.Serial != "u06" || in.Side != "R" || in.Result.Verdict != part.Rework || len(in.Pictures) != 8 ||
		!strings.Contains(string(in.Limits.Bytes), "version: 1") ||
		in.Station.SHA256 == "" || in.Ended.Before(in.Started) || in.Program != cli.Version || !strings.Contains(in.Libraries, "opencv") {
		t.Errorf("%+v", in)
	}
	for _, p := range in.Pictures {
		want, err := os.ReadFile(filepath.Join("../../testdata/images/u06-R", p.File))
		got, mime, err2 := store.PictureBytes(context.Background(), p.SHA256)
		if err != nil || err2 != nil || string(got) != string(want) || mime != "image/jpeg" {
			t.Errorf("%s: %d bytes of %s, want %d; %v %v", p.File, len(got), mime, len(want), err, err2)
		}
	}
}
