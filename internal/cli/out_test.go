package cli

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
)

// TestReplaceKeepsWhatIsNotOurs: a new result takes the place of an older one
// as a whole; a person's own files stay.
func TestReplaceKeepsWhatIsNotOurs(t *testing.T) {
	out, err := OpenOut(filepath.Join(t.TempDir(), "out"))
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
		got := OutError("OUT", c.err).Error()
		if !strings.HasPrefix(got, "--out OUT: ") || !strings.Contains(got, c.want) {
			t.Errorf("%v: %q", c.err, got)
		}
	}
}
