package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"finishbench/internal/cli"
	"finishbench/internal/part"
)

// TestContract holds the names that other programs read, from the result
// contract (schema 1): nothing may be renamed or go missing without a new
// schema number.
func TestContract(t *testing.T) {
	out := t.TempDir()
	code, stdout, stderr := runCode(t, "unit", "../../testdata/images/u08-R", "--out", out, "--mm-per-px", "0.015", "--json")
	if code != cli.ExitFails {
		t.Fatalf("exit code %d: %s", code, stderr)
	}
	var got []map[string]any
	if err := json.Unmarshal([]byte(stdout), &got); err != nil || len(got) != 1 {
		t.Fatalf("stdout is not an array of one result: %v", err)
	}
	r := got[0]
	wants(t, "result", r, "schema", "unit", "stage", "verdict", "score", "reasons", "mm_per_px", "seam", "findings", "pictures")
	if r["schema"] != 1.0 || r["unit"] != "u08-R" || r["stage"] != "wet" || r["mm_per_px"] != 0.015 {
		t.Errorf("schema %v, unit %v, stage %v, mm_per_px %v", r["schema"], r["unit"], r["stage"], r["mm_per_px"])
	}
	seam := r["seam"].(map[string]any)
	wants(t, "seam", seam, "stations", "worst_step_um")
	stations := seam["stations"].([]any)
	if len(stations) != 12 {
		t.Errorf("%d stations, want two for each of six edge pictures", len(stations))
	}
	for _, s := range stations {
		wants(t, "station", s.(map[string]any), "image", "angle_deg", "side", "state", "step_um", "u_um", "x_px", "y_px")
	}
	findings := r["findings"].([]any)
	if len(findings) == 0 {
		t.Fatal("no findings")
	}
	for _, f := range findings {
		wants(t, "finding", f.(map[string]any), "image", "type", "box_px", "zone", "severity", "confidence", "advice")
	}
	pictures := r["pictures"].([]any)
	if len(pictures) != 8 {
		t.Errorf("%d pictures, want 8", len(pictures))
	}
	for _, p := range pictures {
		wants(t, "picture", p.(map[string]any), "file", "view", "light", "state", "problems", "sharpness_px", "clipped")
	}
	var file map[string]any
	readJSON(t, filepath.Join(out, "u08-R", "result.json"), &file)
	a, _ := json.Marshal(r)
	b, _ := json.Marshal(file)
	if !bytes.Equal(a, b) {
		t.Error("result.json and --json differ")
	}
}

func wants(t *testing.T, what string, m map[string]any, keys ...string) {
	t.Helper()
	for _, k := range keys {
		if v, ok := m[k]; !ok || v == nil {
			t.Errorf("%s has no %q", what, k)
		}
	}
}

// program is the built command: the test binary under the command's name.
func program(t testing.TB, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "inspect")
	if err := os.Symlink(self, name); err != nil {
		t.Fatal(err)
	}
	return exec.Command(name, args...)
}

// TestInterrupt stops a run by ctrl-C after its first unit: what is there is
// whole, units.csv has just these units, and the exit code says so.
func TestInterrupt(t *testing.T) {
	out := t.TempDir()
	var units []string
	for _, n := range []string{"a", "b", "c", "d", "e", "f", "g", "h"} {
		dir := filepath.Join(t.TempDir(), n)
		if err := os.CopyFS(dir, os.DirFS("../../testdata/images/u06-R")); err != nil {
			t.Fatal(err)
		}
		units = append(units, dir)
	}
	cmd := program(t, append([]string{"unit", "--out", out, "--mm-per-px", "0.015", "--jobs", "1"}, units...)...)
	var stdout, stderr bytes.Buffer
	cmd.Stdout, cmd.Stderr = &stdout, &stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	first := filepath.Join(out, "a", "result.json")
	for range 6000 {
		if _, err := os.Stat(first); err == nil {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if err := cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	err := cmd.Wait()
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.ExitCode() != cli.ExitInterrupted {
		t.Fatalf("%v, want exit code %d; %s", err, cli.ExitInterrupted, stderr.String())
	}
	if !strings.Contains(stderr.String(), "of 8 units done, their results are whole") {
		t.Errorf("stderr: %s", stderr.String())
	}
	whole := wholeUnits(t, out)
	if len(whole) == 0 || len(whole) == 8 {
		t.Errorf("%d units done, want some but not all", len(whole))
	}
	if got := unitsInTable(t, out); !slices.Equal(got, whole) {
		t.Errorf("units.csv has %q, the folders are %q", got, whole)
	}
}

// wholeUnits lists OUT's folders and fails where one of them is not whole.
func wholeUnits(t *testing.T, out string) []string {
	t.Helper()
	entries, err := os.ReadDir(out)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		if !e.IsDir() {
			continue
		}
		if strings.HasPrefix(e.Name(), ".") {
			t.Errorf("%s is left over", e.Name())
			continue
		}
		var r part.Result
		readJSON(t, filepath.Join(out, e.Name(), "result.json"), &r)
		page, err := os.ReadFile(filepath.Join(out, e.Name(), "report.html"))
		if err != nil || !bytes.Contains(page, []byte("</html>")) {
			t.Errorf("%s: its page is not whole (%v)", e.Name(), err)
		}
		for _, p := range r.Pictures {
			if _, err := os.Stat(filepath.Join(out, e.Name(), "annotated", p.File)); err != nil {
				t.Error(err)
			}
		}
		names = append(names, e.Name())
	}
	return names
}

func unitsInTable(t *testing.T, out string) []string {
	t.Helper()
	f, err := os.Open(filepath.Join(out, "units.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, r := range rows[1:] {
		names = append(names, r[0])
	}
	return names
}

// TestDiskFull writes into a file system of 2 MB, which holds a unit or two.
func TestDiskFull(t *testing.T) {
	disk := t.TempDir()
	if err := unix.Mount("none", disk, "tmpfs", 0, "size=2m"); err != nil {
		t.Skipf("this account may not make a small file system to fill: %v", err)
	}
	t.Cleanup(func() {
		if err := unix.Unmount(disk, 0); err != nil {
			t.Error(err)
		}
	})
	args := append([]string{"unit", "--out", filepath.Join(disk, "out"), "--mm-per-px", "0.015"}, testUnits(t)...)
	code, _, stderr := runCode(t, args...)
	if code != cli.ExitOther {
		t.Errorf("exit code %d, want %d", code, cli.ExitOther)
	}
	if strings.Count(stderr, "\n") != 1 || !strings.Contains(stderr, "the disk is full") {
		t.Errorf("want one line that says the disk is full, got: %s", stderr)
	}
	if got := wholeUnits(t, filepath.Join(disk, "out")); len(got) == 4 {
		t.Error("all units fitted: the disk was not full, and the test tests nothing")
	}
}
