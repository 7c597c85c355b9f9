package capture

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
)

// TestOtherEncoder reads what another program wrote (testdata/README.md tells
// how and what): CMYK, tiles, separate planes, big-endian, PackBits,
// progressive. Expected values are the drawn ones; grey ones are 0.2126 R +
// 0.7152 G + 0.0722 B (ITU-R BT.709), as that program made them.
func TestOtherEncoder(t *testing.T) {
	colours := [3][3]int{{200, 40, 30}, {30, 160, 60}, {40, 60, 190}}
	for _, c := range []struct {
		file     string
		channels int
		bits     int
		tol      int // JPEG: a few levels
	}{
		{"cmyk.jpg", 3, 8, 4},
		{"cmyk.tif", 3, 8, 1},
		{"tiles.tif", 3, 8, 0},
		{"planes.tif", 3, 8, 0},
		{"bigendian.tif", 3, 8, 0},
		{"packbits16.tif", 1, 16, 1},
		{"progressive.jpg", 3, 8, 3},
	} {
		t.Run(c.file, func(t *testing.T) {
			im, err := Read(filepath.Join("testdata", c.file))
			if err != nil {
				t.Fatal(err)
			}
			if im.W != 48 || im.H != 32 || im.C != c.channels || (im.Pix16 != nil) != (c.bits == 16) {
				t.Fatalf("%dx%d, %d channels, 16 bit %v", im.W, im.H, im.C, im.Pix16 != nil)
			}
			v := spread(im)
			for k, want := range colours {
				for half := range 2 {
					x, y := 16*k+8, 8+16*half
					for ch := range 3 {
						w := want[ch] >> half
						if c.channels == 1 {
							w = int(0.2126*float64(want[0]>>half) + 0.7152*float64(want[1]>>half) + 0.0722*float64(want[2]>>half) + 0.5)
						}
						if got := int(v[(y*48+x)*3+ch]) / 257; got < w-c.tol || got > w+c.tol {
							t.Errorf("pixel (%d,%d) channel %d: %d, want %d", x, y, ch, got, w)
						}
					}
				}
			}
		})
	}
}

// TestReleaseReuse: a picture read into a buffer that another one used is the
// same as one read into a fresh one.
func TestReleaseReuse(t *testing.T) {
	a, b := write(t, "a.png", encode(t, "png", scene(60, 50))), write(t, "b.png", encode(t, "png", noisy(60, 50)))
	first, err := Read(a)
	if err != nil {
		t.Fatal(err)
	}
	want := bytes.Clone(first.Pix8)
	Release(first)
	if first.Pix8 != nil {
		t.Error("a released image still has pixels")
	}
	Release(first)
	Release(nil)
	other, err := Read(b)
	if err != nil {
		t.Fatal(err)
	}
	again, err := Read(a)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(again.Pix8, want) || bytes.Equal(other.Pix8, want) {
		t.Error("pictures read into reused buffers differ")
	}
	Release(other)
	Release(again)
}

// TestShelfIsBounded: what is kept for reuse never exceeds its bound.
func TestShelfIsBounded(t *testing.T) {
	s := shelf[uint16]{sampleBytes: 2}
	for range 20 {
		s.put(make([]uint16, maxKept/20))
	}
	if s.bytes > maxKept || len(s.buffers) != 10 {
		t.Errorf("%d bytes in %d buffers are kept, bound %d", s.bytes, len(s.buffers), maxKept)
	}
	s.put(make([]uint16, maxKept))
	if s.bytes > maxKept {
		t.Errorf("%d bytes are kept", s.bytes)
	}
}

// FuzzRead: no bytes, whatever they are, stop the program; what is read is a
// valid picture. Small limits keep it quick.
func FuzzRead(f *testing.F) {
	for _, kind := range []string{"jpg", "png", "tif", "tif-deflate", "bmp"} {
		f.Add(encode(f, kind, scene(20, 17)))
		f.Add(encode(f, kind, greyScene(20, 17)))
	}
	f.Add(encode(f, "png", scene16(20, 17)))
	f.Add(encode(f, "tif", scene16(20, 17)))
	files, _ := filepath.Glob("testdata/*.*")
	for _, name := range files {
		if data, err := os.ReadFile(name); err == nil && filepath.Ext(name) != ".md" {
			f.Add(data)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		im, err := decode(data, 100_000)
		if err != nil {
			return
		}
		if err := im.Validate(); err != nil {
			t.Error(err)
		}
		if im.W*im.H > 100_000 {
			t.Errorf("%d x %d pixels were let through", im.W, im.H)
		}
		Release(im)
	})
}
