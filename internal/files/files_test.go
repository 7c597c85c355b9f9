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
