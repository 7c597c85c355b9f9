package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// onlookers is how many browsers may watch, and onlookersBar how much longer an
// answer may take then (issue 4).
const (
	onlookers    = 50
	onlookersBar = 1.10
)

// TestFiguresBench prints how long a press at the page takes to its verdict at the
// page, through a browser's connection, with nobody else watching and with fifty.
// The bench is a process of its own; the onlookers share the cores with it here,
// as real ones would not. The two ways take turns, so that whatever else the
// machine does meets both.
//
//	FINISHBENCH_FIGURES  set: run
//	FINISHBENCH_PROGRAM  the program; absent: this test binary under its name
func TestFiguresBench(t *testing.T) {
	if os.Getenv("FINISHBENCH_FIGURES") == "" {
		t.Skip("takes minutes and wants a quiet machine: `make bench` runs it")
	}
	pid, page := benchProcess(t, "--replay", "../../testdata/images", "--mm-per-px", "0.015", "--jobs", "2", "--record",
		filepath.Join(t.TempDir(), "bench.db"))
	var serial int
	operator := openBrowser(t, page, "en", true)
	some := func(n int) []time.Duration {
		var all []time.Duration
		for range n {
			serial++
			all = append(all, operator.answer(t, fmt.Sprintf("u%04d", serial)))
		}
		return all
	}
	some(2) // the first ones warm up
	used := processorTime(t, pid)
	alone := some(20)
	used = processorTime(t, pid) - used
	row("bench: press to verdict at the page", middle(alone) <= answerBar, "%.0f ms, longest %.0f ms (bar %d ms)", ms(middle(alone)),
		ms(slices.Max(alone)), answerBar.Milliseconds())
	fmt.Printf("%-46s %.0f ms of one processor, whatever else the machine does\n", "  of which work", ms(used)/20)

	var without, with []time.Duration
	var watching, worked, workedAlone time.Duration
	for range 5 {
		used := processorTime(t, pid)
		without = append(without, some(5)...)
		workedAlone += processorTime(t, pid) - used
		t.Run("onlookers", func(t *testing.T) {
			var all []*benchBrowser
			for i := range onlookers {
				all = append(all, openBrowser(t, page, []string{"en", "zh-Hans"}[i%2], true))
			}
			some(1)
			begin, used := time.Now(), processorTime(t, pid)
			with = append(with, some(5)...)
			watching += time.Since(begin)
			worked += processorTime(t, pid) - used
			for i, b := range all {
				if faults, served := b.told(); len(faults) > 0 || served == 0 {
					t.Errorf("onlooker %d: %d bytes of pictures, %q", i, served, faults)
				}
			}
		})
	}
	ratio := ms(middle(with)) / ms(middle(without))
	row(fmt.Sprintf("bench: the same with %d onlookers", onlookers), ratio < onlookersBar, "%.0f ms against %.0f ms, %.3f (bar %.2f)",
		ms(middle(with)), ms(middle(without)), ratio, onlookersBar)
	fmt.Printf("%-46s %.0f ms an answer against %.0f ms, %.1f s watched\n", "  of which work of the bench's", ms(worked)/float64(len(with)),
		ms(workedAlone)/float64(len(without)), watching.Seconds())
}

func middle(v []time.Duration) time.Duration {
	v = slices.Clone(v)
	slices.Sort(v)
	return v[len(v)/2]
}

// processorTime is how long a process has worked so far. Source: proc_pid_stat(5),
// fields 14 and 15, in ticks of which Linux tells 100 a second.
func processorTime(t *testing.T, pid int) time.Duration {
	t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		t.Fatal(err)
	}
	_, after, _ := strings.Cut(string(text), ") ") // the name may hold spaces
	fields := strings.Fields(after)
	if len(fields) < 13 {
		t.Fatalf("/proc/%d/stat: %q", pid, text)
	}
	var ticks int64
	for _, f := range fields[11:13] {
		n, err := strconv.ParseInt(f, 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		ticks += n
	}
	return time.Duration(ticks) * 10 * time.Millisecond
}
