package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"finishbench/internal/bench"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// TestBenchSurvivesKills: killed ten times with a unit, before its first picture, after each, while it is judged and at its verdict, the
// bench comes back each time with that unit and every picture that the page had shown as taken, and at the end with the verdict, whose
// undo works; one inspection is on record.
func TestBenchSurvivesKills(t *testing.T) {
	t.Parallel() // it waits most of its time
	unit := "../../testdata/images/u06-R"
	drop, db := t.TempDir(), filepath.Join(t.TempDir(), "bench.db")
	files := []string{"face_diffuse", "face_raking", "edge_000", "edge_030", "edge_060", "edge_090", "edge_120", "edge_150"}
	plan, asks := "", []string{} // and what the page asks for
	for _, f := range files {
		view, rest, _ := strings.Cut(f, "_")
		if view == "edge" {
			deg := strings.TrimLeft(rest[:2], "0") + rest[2:]
			plan, asks = plan+fmt.Sprintf("  - {view: edge, angle_deg: %s}\n", deg), append(asks, "edge "+deg+"°")
		} else {
			plan, asks = plan+fmt.Sprintf("  - {view: face, light: %s}\n", rest), append(asks, "face, "+rest+" light")
		}
	}
	station := stationFile(t, "bench: {name: bench 1}\ncameras: [{name: tethered, source: folder, folder: "+drop+"}]\nplan:\n"+plan)
	var b *benchBrowser
	kills := 0
	start := func() (kill func()) {
		pid, page := benchProcess(t, "--station", station, "--record", db, "--mm-per-px", "0.015")
		b = openBrowser(t, page, "en", false)
		return func() {
			kills++
			if err := syscall.Kill(pid, syscall.SIGKILL); err != nil {
				t.Fatal(err)
			}
		}
	}
	dropped := 0
	shoot := func(file string) { // a moment after it was asked for, as a person does
		data, err := os.ReadFile(filepath.Join(unit, file+".jpg"))
		if err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Second)
		dropped++
		name := filepath.Join(drop, fmt.Sprintf("IMG_%d.jpg", dropped))
		if err := os.WriteFile(name, data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	// asked waits until the page asks for picture number n, from 0, or the unit is past it.
	asked := func(n int) bench.Phase {
		e, _ := b.within(t, time.Minute, fmt.Sprintf("picture %d", n+1), func(e benchEvent) bool {
			return e.Phase == bench.Shooting && strings.Contains(e.text(), "elease: "+asks[n]) ||
				e.Phase == bench.Judging || e.Phase == bench.Answered
		})
		return e.Phase
	}
	kill := start()
	b.start(t, "k041")
	asked(0)
	for n := range files { // killed before each picture
		kill()
		kill = start()
		e := b.phase(t, bench.Halted)
		if text := e.text(); !strings.Contains(text, "k041-L") || !strings.Contains(text, fmt.Sprintf("%d picture", n)) ||
			!strings.Contains(text, "The program ended while this unit") {
			t.Fatalf("%d taken: %s", n, text)
		}
		b.do(t, "press", nil)
		if got := asked(n); got != bench.Shooting {
			t.Fatalf("%d taken, and the page is %s", n, got)
		}
		shoot(files[n])
		if n < len(files)-1 {
			if got := asked(n + 1); got != bench.Shooting {
				t.Fatalf("picture %d: %s", n+1, got)
			}
		}
	}
	b.until(t, "judging", func(e benchEvent) bool { return e.Phase == bench.Judging || e.Phase == bench.Answered })
	kill()
	kill = start()
	e, _ := b.until(t, "the unit", func(e benchEvent) bool { return e.Phase == bench.Halted || e.Phase == bench.Answered })
	if e.Phase == bench.Halted {
		b.do(t, "press", nil)
		e = b.phase(t, bench.Answered)
	}
	kill()
	start()
	again := b.phase(t, bench.Answered)
	if first, second := e.text(), again.text(); kills != 10 || !strings.Contains(second, "k041-L") || !strings.Contains(second, "Undo") ||
		first[:60] != second[:60] {
		t.Errorf("%d kills; before: %s\nafter: %s", kills, first, second)
	}
	store, err := records.Open(t.Context(), db, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	all, err := store.Find(t.Context(), records.Filter{Limit: 10})
	if err != nil || len(all) != 1 || all[0].Serial != "k041" || len(all[0].Result.Pictures) != 8 || all[0].Verdict() == part.NotMeasured {
		t.Fatalf("%d on record, %v", len(all), err)
	}
	b.do(t, "undo", map[string][]string{"id": {fmt.Sprint(all[0].ID)}})
	b.phase(t, bench.Ready)
	if all, err = store.Find(t.Context(), records.Filter{Limit: 10}); err != nil || len(all) != 1 || all[0].Withdrawn == nil {
		t.Errorf("not withdrawn: %v", err)
	}
}
