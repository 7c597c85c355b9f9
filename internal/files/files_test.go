package files

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// TestRead: a plain file is read; a pipe without a writer, a device without an
// end, a socket, a folder are refused at once; and so is what is too large.
func TestRead(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	if err := os.WriteFile(at("text"), []byte("five!"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(at("empty"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := unix.Mkfifo(at("pipe"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := unix.Mknod(at("socket"), unix.S_IFSOCK|0o600, 0); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(at("text"), at("link")); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		path string
		most int64
		want string
		err  error
	}{
		{at("text"), 5, "five!", nil},
		{at("link"), 5, "five!", nil},
		{at("empty"), 0, "", nil},
		{at("text"), 4, "", errTooLong},
		{at("pipe"), 9, "", ErrNoFile},
		{at("socket"), 9, "", ErrNoFile},
		{"/dev/zero", 9, "", ErrNoFile},
		{dir, 9, "", ErrFolder},
		{at("none"), 9, "", fs.ErrNotExist},
	} {
		done := make(chan struct{})
		go func() {
			defer close(done)
			got, err := Read(c.path, c.most)
			if string(got) != c.want || !errors.Is(err, c.err) {
				t.Errorf("%s: %q, %v; want %q, %v", c.path, got, err, c.want, c.err)
			}
			var path *fs.PathError
			if err != nil && (!errors.As(err, &path) || path.Path != c.path || strings.Contains(err.Error(), "\n")) {
				t.Errorf("%s: %v", c.path, err)
			}
		}()
		select {
		case <-done:
		case <-time.After(10 * time.Second):
			t.Fatalf("%s is waited for", c.path)
		}
	}
}

// TestReplace: a file is replaced as a whole, for its owner alone; where that cannot be, what was there stays and nothing is left over.
func TestReplace(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "kept.json")
	for _, data := range []string{"first, and longer", "second"} {
		if err := Replace(path, []byte(data)); err != nil {
			t.Fatal(err)
		}
		got, err := os.ReadFile(path)
		if err != nil || string(got) != data {
			t.Errorf("%q, %v; want %q", got, err, data)
		}
	}
	if st, err := os.Stat(path); err != nil || st.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v", st.Mode(), err)
	}
	folder := filepath.Join(dir, "folder")
	if err := os.MkdirAll(filepath.Join(folder, "full"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := Replace(folder, []byte("x")); err == nil {
		t.Error("a file took a folder's place")
	}
	if err := Replace(filepath.Join(dir, "none", "x"), nil); err == nil {
		t.Error("a file in no folder")
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) != 2 {
		t.Errorf("%v, %v are left, two wanted", left, err)
	}
}
