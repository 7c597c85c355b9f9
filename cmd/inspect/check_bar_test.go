package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/part"
)

// A check piece out of limits keeps every unit from passing until someone says
// what was done; what is wrong with a unit stays wrong.
func TestCheckPieceBars(t *testing.T) {
	dir := t.TempDir()
	// One picture of a unit that its step rejects.
	unit := filepath.Join(dir, "u")
	if err := os.Mkdir(unit, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(unit, "edge_000.jpg"), must(os.ReadFile("../../testdata/images/u08-R/edge_000.jpg")),
		0o600); err != nil {
		t.Fatal(err)
	}
	// 20 quiet checks of an invented piece, hour by hour, then one that jumps.
	var log strings.Builder
	log.WriteString("time,value,event,note\n")
	at := time.Now().Add(-22 * time.Hour)
	for i := range 20 {
		fmt.Fprintf(&log, "%s,%.1f,,\n", at.Add(time.Duration(i)*time.Hour).Format(time.RFC3339), 40+0.3*float64(i%3-1))
	}
	steady := log.String()
	jumped := steady + at.Add(21*time.Hour).Format(time.RFC3339) + ",47.0,,\n"
	dealt := jumped + at.Add(21*time.Hour+time.Minute).Format(time.RFC3339) + ",,dealt_with,invented finisher: cleaned the lens\n" +
		at.Add(21*time.Hour+2*time.Minute).Format(time.RFC3339) + ",40.1,,\n"
	for name, c := range map[string]struct {
		log  string
		bars bool
	}{"steady": {steady, false}, "jumped": {jumped, true}, "dealt with": {dealt, false}, "no log yet": {"", true}} {
		st := filepath.Join(dir, "station.yaml")
		os.Remove(filepath.Join(dir, "checks.csv"))
		if c.log != "" {
			if err := os.WriteFile(filepath.Join(dir, "checks.csv"), []byte(c.log), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		if err := os.WriteFile(st, []byte("version: 1\nmm_per_px: 0.015\ncheck_log: checks.csv\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		// That stands, with a warning.
		out := t.TempDir()
		if code, _, stderr := runCode(t, "unit", unit, "--out", out, "--station", st); code != cli.ExitFails {
			t.Fatalf("%s: exit code %d: %s", name, code, stderr)
		}
		var r part.Result
		readJSON(t, filepath.Join(out, "u", "result.json"), &r)
		told := len(r.Warnings) > 0 && strings.Contains(r.Warnings[0], "check piece")
		if r.Verdict == part.Pass || r.Verdict == part.NotMeasured || told != c.bars {
			t.Errorf("%s: verdict %s, warnings %q", name, r.Verdict, r.Warnings)
		}
	}
}
