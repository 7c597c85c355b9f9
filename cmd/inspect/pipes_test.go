package main

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// TestNoPipeIsWaitedFor: a pipe with nobody at its other end, or a device without
// an end, in the place of any file that a command reads is told at once.
func TestNoPipeIsWaitedFor(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string {
		p := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(p), 0o777); err != nil {
			t.Fatal(err)
		}
		return p
	}
	pipe := func(name string) string {
		if err := unix.Mkfifo(at(name), 0o600); err != nil {
			t.Fatal(err)
		}
		return at(name)
	}
	pipe("listed/unit.yaml")
	pipe("pictured/face_diffuse.jpg")
	if err := os.WriteFile(at("listed/face_diffuse.jpg"), []byte("no picture"), 0o600); err != nil {
		t.Fatal(err)
	}
	silent, out := pipe("silent"), at("out")
	unit := []string{"unit", "../../testdata/images/u06-R", "--out", out, "--mm-per-px", "0.015"}
	for _, c := range [][]string{
		{"unit", at("listed"), "--out", out, "--mm-per-px", "0.015"},
		{"unit", at("pictured"), "--out", out, "--mm-per-px", "0.015"},
		append(unit, "--limits", silent),
		append(unit, "--station", silent),
		append(unit, "--kind-model", silent),
		{"unit", "../../testdata/images/u06-R", "--out", out, "--scale", silent},
		{"unit", "../../testdata/images/u06-R", "--out", out, "--scale", "/dev/zero"},
		{"camera", "--exposures", silent},
		{"camera", "--exposures", "/dev/zero"},
		{"camera", "--white", silent},
		{"study", "gauge", silent},
		{"study", "bias", silent},
		{"study", "stability", silent},
		{"study", "agreement", silent},
		{"lot", "report", "L1", "--json", "--gauge-study", silent, "--record", at("none.db")},
		{"records", "check", "--trail", silent},
	} {
		name := strings.ReplaceAll(strings.Join(c, " "), dir, "")
		ended := make(chan error, 1)
		go func() { ended <- run(context.Background(), c, strings.NewReader(""), io.Discard, io.Discard) }()
		select {
		case err := <-ended:
			if err == nil {
				t.Errorf("inspect %s: no error", name)
			} else if strings.Contains(err.Error(), "\n") || strings.Contains(err.Error(), "unknown") {
				t.Errorf("inspect %s: %v", name, err)
			}
			t.Logf("%s: %v", name, err)
		case <-time.After(60 * time.Second):
			t.Fatalf("inspect %s waits for a pipe or reads without end", name)
		}
	}
}
