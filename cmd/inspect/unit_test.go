package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
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

// TestOutErrors: one line each, with what to do.
func TestOutErrors(t *testing.T) {
	for _, c := range []struct {
		err  error
		want string
	}{
		{&os.PathError{Op: "write", Path: "x", Err: syscall.ENOSPC}, "free some space"},
		{&os.PathError{Op: "write", Path: "x", Err: syscall.EROFS}, "read-only"},
		{&os.PathError{Op: "mkdir", Path: "x", Err: syscall.EACCES}, "may not write"},
		{&os.PathError{Op: "mkdir", Path: "x", Err: syscall.ENOTDIR}, "is a file"},
	} {
		got := cli.OutError("OUT", c.err).Error()
		if !strings.HasPrefix(got, "--out OUT: ") || !strings.Contains(got, c.want) {
			t.Errorf("%v: %q", c.err, got)
		}
	}
}

// TestPanicStaysInUnit: a fault met in one picture ends that unit, not the
// program, and gives its slot back.
func TestPanicStaysInUnit(t *testing.T) {
	u := &unit{inspector: &inspector{slots: newSlots(1)}}
	for range 3 {
		u.pictures = append(u.pictures, &picture{})
	}
	err := u.each(context.Background(), u.pictures, func(p *picture) error {
		if p == u.pictures[1] {
			panic("oops")
		}
		return nil
	})
	var fault panicError
	if !errors.As(err, &fault) || !strings.Contains(err.Error(), "oops") {
		t.Errorf("%v, want the panic as an error", err)
	}
	if len(u.slots) != 0 {
		t.Errorf("%d slots are still taken", len(u.slots))
	}
}

// TestSlotsEndWithContext: nothing starts once the run is stopped.
func TestSlotsEndWithContext(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	u := &unit{inspector: &inspector{slots: newSlots(2)}, pictures: []*picture{{}, {}}}
	err := u.each(ctx, u.pictures, func(*picture) error { t.Error("started"); return nil })
	if !errors.Is(err, context.Canceled) {
		t.Errorf("%v, want %v", err, context.Canceled)
	}
}

// TestReplaceKeepsWhatIsNotOurs: a new result takes the place of an older one
// as a whole; a person's own files stay.
func TestReplaceKeepsWhatIsNotOurs(t *testing.T) {
	out, err := cli.OpenOut(filepath.Join(t.TempDir(), "out"))
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"first", "second"} {
		d, err := out.Begin("u")
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range []string{"result.json", "report.html", "annotated/" + text + ".jpg"} {
			if err := d.Write(name, []byte(text)); err != nil {
				t.Fatal(err)
			}
		}
		if err := d.Commit(); err != nil {
			t.Fatal(err)
		}
		if text == "first" {
			if err := os.WriteFile(filepath.Join(out.Path, "u", "note.txt"), []byte("mine"), 0o666); err != nil {
				t.Fatal(err)
			}
		}
	}
	var got []string
	err = filepath.WalkDir(out.Path, func(p string, e os.DirEntry, err error) error {
		if err == nil && !e.IsDir() {
			rel, _ := filepath.Rel(out.Path, p)
			text, _ := os.ReadFile(p)
			got = append(got, rel+"="+string(text))
		}
		return err
	})
	want := []string{"u/annotated/second.jpg=second", "u/note.txt=mine", "u/report.html=second", "u/result.json=second"}
	if err != nil || !slices.Equal(got, want) {
		t.Errorf("%q (%v), want %q", got, err, want)
	}
}

func TestPanels(t *testing.T) {
	dir := t.TempDir()
	var files []string
	for _, f := range []string{"p1_diffuse.png", "p2.png", "p1_raking.png"} {
		f = filepath.Join(dir, f)
		if err := os.WriteFile(f, nil, 0o666); err != nil {
			t.Fatal(err)
		}
		files = append(files, f)
	}
	jobs, err := panels(files)
	if err != nil {
		t.Fatal(err)
	}
	if len(jobs) != 2 || jobs[0].name != "p1" || len(jobs[0].folder.Shots) != 2 || jobs[1].name != "p2" {
		t.Errorf("%+v", jobs)
	}
	if s := jobs[0].folder.Shots; s[0].Light != part.Diffuse || s[1].Light != part.Raking {
		t.Errorf("lights %q, %q", s[0].Light, s[1].Light)
	}
	for _, bad := range [][]string{{"a/p.png", "b/p.png"}, {"p.png", "./p.png"}, {"p.png", "p.jpg"}, {".png"}} {
		var usage cli.UsageError
		if _, err := panels(bad); !errors.As(err, &usage) {
			t.Errorf("%q: %v, want a usage error", bad, err)
		}
	}
}
