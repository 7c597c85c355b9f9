package capture

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// coded is a small picture as a PNG file; its width tells which one it is.
func coded(t testing.TB, w int) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, greyScene(w, 40)); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func put(t testing.TB, dir, name string, data []byte) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
		t.Error(err)
	}
}

// watched runs do beside a watch of a new folder, by a clock that costs no
// time. before fills the folder first. Within limit Next must give what comes.
func watched(t *testing.T, before func(dir string), do func(dir string), check func(t *testing.T, next func() (Frame, error))) {
	synctest.Test(t, func(t *testing.T) {
		dir := filepath.Join(t.TempDir(), "in")
		if err := os.Mkdir(dir, 0o700); err != nil {
			t.Fatal(err)
		}
		if before != nil {
			before(dir)
		}
		w, err := NewWatch(dir, DefaultWatchOptions())
		if err != nil {
			t.Fatal(err)
		}
		defer w.Close()
		go do(dir)
		check(t, func() (Frame, error) {
			ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
			defer cancel()
			f, err := w.Next(ctx)
			if err == nil {
				Release(f.Image)
			}
			return f, err
		})
	})
}

// gives wants a picture of that name.
func gives(t *testing.T, next func() (Frame, error), name string, width int) {
	t.Helper()
	f, err := next()
	if err != nil {
		t.Fatalf("want %s: %v", name, err)
	}
	if filepath.Base(f.Path) != name || f.Image.W != width {
		t.Fatalf("got %s, %d wide; want %s, %d wide", filepath.Base(f.Path), f.Image.W, name, width)
	}
}

// nothing wants no picture for half a minute.
func nothing(t *testing.T, next func() (Frame, error)) {
	t.Helper()
	if f, err := next(); !errors.Is(err, context.DeadlineExceeded) {
		t.Fatalf("got %q, %v; want nothing", f.Path, err)
	}
}

func TestWatchNewPicture(t *testing.T) {
	one := coded(t, 40)
	watched(t,
		func(dir string) { put(t, dir, "old.png", one) },
		func(dir string) {
			time.Sleep(time.Second)
			put(t, dir, "new.png", one)
		},
		func(t *testing.T, next func() (Frame, error)) {
			start := time.Now()
			gives(t, next, "new.png", 40)
			if d := time.Since(start); d < 1400*time.Millisecond || d > 1900*time.Millisecond {
				t.Errorf("given after %v; it came after 1 s and is to settle for 0.4 s", d)
			}
			nothing(t, next)
		})
}

// A file that grows is not given before it is whole, however long the pauses.
func TestWatchHalfWritten(t *testing.T) {
	data := coded(t, 41)
	watched(t, nil,
		func(dir string) {
			f, err := os.Create(filepath.Join(dir, "slow.png"))
			if err != nil {
				t.Error(err)
				return
			}
			defer f.Close()
			for i := 0; i < len(data); i += len(data)/4 + 1 {
				time.Sleep(1500 * time.Millisecond) // far more than a file takes to settle
				if _, err := f.Write(data[i:min(len(data), i+len(data)/4+1)]); err != nil {
					t.Error(err)
				}
			}
		},
		func(t *testing.T, next func() (Frame, error)) { gives(t, next, "slow.png", 41) })
}

// A camera may set the size first.
func TestWatchSizeFirst(t *testing.T) {
	data := coded(t, 42)
	watched(t, nil,
		func(dir string) {
			put(t, dir, "a.png", make([]byte, len(data)))
			time.Sleep(2 * time.Second)
			put(t, dir, "a.png", data)
		},
		func(t *testing.T, next func() (Frame, error)) { gives(t, next, "a.png", 42) })
}

// Moved in from elsewhere, with an old date.
func TestWatchMovedIn(t *testing.T) {
	data := coded(t, 43)
	watched(t,
		func(dir string) { put(t, dir, "0.png", coded(t, 40)) },
		func(dir string) {
			from := filepath.Join(filepath.Dir(dir), "x.part")
			if err := os.WriteFile(from, data, 0o600); err != nil {
				t.Error(err)
			}
			long := time.Date(1999, 1, 2, 3, 4, 5, 0, time.UTC)
			if err := errors.Join(os.Chtimes(from, long, long), os.Rename(from, filepath.Join(dir, "1.png"))); err != nil {
				t.Error(err)
			}
		},
		func(t *testing.T, next func() (Frame, error)) { gives(t, next, "1.png", 43) })
}

// Of several the last to come wins; the ones before are passed over for good.
func TestWatchLastWins(t *testing.T) {
	watched(t, nil,
		func(dir string) {
			// This clock does not date the files.
			for i, name := range []string{"z.png", "a.png", "m.png"} {
				put(t, dir, name, coded(t, 40+i))
				at := time.Now().Add(time.Duration(i) * time.Second)
				if err := os.Chtimes(filepath.Join(dir, name), at, at); err != nil {
					t.Error(err)
				}
			}
		},
		func(t *testing.T, next func() (Frame, error)) {
			time.Sleep(5 * time.Second) // busy with another picture
			gives(t, next, "m.png", 42)
			nothing(t, next)
		})
}

// One that is still being written does not hold up the one before it.
func TestWatchNewestNotReady(t *testing.T) {
	data := coded(t, 45)
	watched(t, nil,
		func(dir string) {
			put(t, dir, "1.png", coded(t, 44))
			time.Sleep(300 * time.Millisecond)
			put(t, dir, "2.png", data[:100])
			time.Sleep(3 * time.Second)
			put(t, dir, "2.png", data)
		},
		func(t *testing.T, next func() (Frame, error)) {
			gives(t, next, "1.png", 44)
			gives(t, next, "2.png", 45)
		})
}

// The same name again and again, as cameras with a live picture do it.
func TestWatchSameName(t *testing.T) {
	watched(t,
		func(dir string) { put(t, dir, "live.png", coded(t, 40)) },
		func(dir string) {
			for i := range 3 {
				time.Sleep(2 * time.Second)
				put(t, dir, "live.png", coded(t, 50+i))
			}
		},
		func(t *testing.T, next func() (Frame, error)) {
			for i := range 3 {
				gives(t, next, "live.png", 50+i)
			}
		})
}

func TestWatchIgnores(t *testing.T) {
	data := coded(t, 40)
	watched(t, nil,
		func(dir string) {
			put(t, dir, "notes.txt", data)
			put(t, dir, ".hidden.png", data)
			put(t, dir, "a.png.part", data)
			if err := os.MkdirAll(filepath.Join(dir, "folder.png"), 0o700); err != nil {
				t.Error(err)
			}
			put(t, filepath.Join(dir, "folder.png"), "in.png", data)
		},
		nothing)
}

func TestWatchDeleted(t *testing.T) {
	watched(t,
		func(dir string) { put(t, dir, "0.png", coded(t, 40)) },
		func(dir string) {
			put(t, dir, "a.png", coded(t, 41))
			time.Sleep(250 * time.Millisecond) // seen, not settled
			if err := os.Remove(filepath.Join(dir, "a.png")); err != nil {
				t.Error(err)
			}
			time.Sleep(2 * time.Second)
			put(t, dir, "b.png", coded(t, 42))
		},
		func(t *testing.T, next func() (Frame, error)) {
			gives(t, next, "b.png", 42)
			nothing(t, next)
		})
}

// What stays damaged is told once, and the next picture is given.
func TestWatchDamaged(t *testing.T) {
	data := coded(t, 46)
	watched(t, nil,
		func(dir string) {
			put(t, dir, "bad.png", data[:len(data)/2])
			put(t, dir, "empty.png", nil)
			time.Sleep(10 * time.Second)
			put(t, dir, "good.png", data)
		},
		func(t *testing.T, next func() (Frame, error)) {
			var p PictureError
			if _, err := next(); !errors.As(err, &p) || strings.Contains(p.Error(), "\n") {
				t.Fatalf("%v, want a PictureError of one line", err)
			}
			gives(t, next, "good.png", 46)
			nothing(t, next)
		})
}

func TestWatchManyOld(t *testing.T) {
	data := coded(t, 40)
	watched(t,
		func(dir string) {
			for i := range 2000 {
				put(t, dir, fmt.Sprintf("old%04d.png", i), data)
			}
		},
		func(dir string) {
			time.Sleep(time.Second)
			put(t, dir, "old0005a.png", coded(t, 47))
		},
		func(t *testing.T, next func() (Frame, error)) {
			gives(t, next, "old0005a.png", 47)
			nothing(t, next)
		})
}

// A folder that vanishes is told once; when it is back its old pictures are
// old still. So are those of a share whose place stays, empty, while it is gone.
func TestWatchFolderVanishes(t *testing.T) {
	for _, kind := range []string{"gone", "empty"} {
		t.Run(kind, func(t *testing.T) {
			watched(t,
				func(dir string) { put(t, dir, "old.png", coded(t, 40)) },
				func(dir string) {
					away := dir + ".away"
					time.Sleep(time.Second)
					if err := os.Rename(dir, away); err != nil {
						t.Error(err)
					}
					if kind == "empty" {
						if err := os.Mkdir(dir, 0o700); err != nil {
							t.Error(err)
						}
					}
					time.Sleep(5 * time.Second)
					if kind == "empty" {
						if err := os.Remove(dir); err != nil {
							t.Error(err)
						}
					}
					if err := os.Rename(away, dir); err != nil {
						t.Error(err)
					}
					time.Sleep(5 * time.Second)
					put(t, dir, "new.png", coded(t, 48))
				},
				func(t *testing.T, next func() (Frame, error)) {
					f, err := next()
					told := 0
					for ; errors.Is(err, ErrAway) && told < 3; told++ {
						f, err = next()
					}
					// An empty place is no folder for a moment, twice.
					if kind == "gone" && told != 1 || told > 2 {
						t.Fatalf("told %d times that it is away", told)
					}
					if err != nil || filepath.Base(f.Path) != "new.png" || f.Image.W != 48 {
						t.Fatalf("got %q, %v; want new.png, 48 wide", f.Path, err)
					}
				})
		})
	}
}

func TestWatchCancelled(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w, err := NewWatch(t.TempDir(), DefaultWatchOptions())
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		go func() {
			time.Sleep(3 * time.Second)
			cancel()
		}()
		if _, err := w.Next(ctx); !errors.Is(err, context.Canceled) {
			t.Errorf("%v, want Canceled", err)
		}
	})
}

func TestWatchRefusals(t *testing.T) {
	file := write(t, "a.png", coded(t, 40))
	for dir, want := range map[string]string{
		filepath.Join(t.TempDir(), "none"): "no such folder",
		file:                               "this is a file",
	} {
		if _, err := NewWatch(dir, DefaultWatchOptions()); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", dir, err, want)
		}
	}
}
