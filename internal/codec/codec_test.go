package codec

import (
	"bytes"
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"

	"golang.org/x/sys/unix"

	"finishbench/internal/part"
)

// drawn is a smooth picture with a little noise; its values are the test's own.
func drawn(w, h, c, bits int) *part.Image {
	r := rand.New(rand.NewPCG(1, uint64(bits)))
	im := &part.Image{W: w, H: h, C: c}
	for y := range h {
		for x := range w {
			for k := range c {
				v := 20000 + 150*x + 90*y*(k+1) + r.IntN(400)
				if bits == 16 {
					im.Pix16 = append(im.Pix16, uint16(v))
				} else {
					im.Pix8 = append(im.Pix8, uint8(v>>8))
				}
			}
		}
	}
	return im
}

// empty is a picture like im whose samples are all 0.
func empty(im *part.Image) *part.Image {
	out := &part.Image{W: im.W, H: im.H, C: im.C}
	if im.Pix16 != nil {
		out.Pix16 = make([]uint16, len(im.Pix16))
	} else {
		out.Pix8 = make([]uint8, len(im.Pix8))
	}
	return out
}

// TestPNG: what is written is read again by this package and by Go's, bit for bit.
func TestPNG(t *testing.T) {
	for _, c := range []int{1, 3} {
		for _, bits := range []int{8, 16} {
			im := drawn(97, 61, c, bits)
			file, err := EncodePNG(im)
			if err != nil {
				t.Fatal(err)
			}
			again := empty(im)
			if err := DecodePNG(again, file); err != nil {
				t.Fatal(err)
			}
			if !slices.Equal(again.Pix8, im.Pix8) || !slices.Equal(again.Pix16, im.Pix16) {
				t.Errorf("%d channels of %d bits come back different", c, bits)
			}
			std, err := png.Decode(bytes.NewReader(file))
			if err != nil {
				t.Fatal(err)
			}
			for i := range 97 * 61 {
				p := color.NRGBA64Model.Convert(std.At(i%97, i/97)).(color.NRGBA64)
				for k, v := range []uint16{p.R, p.G, p.B}[:c] {
					if bits == 16 && v != im.Pix16[i*c+k] || bits == 8 && uint8(v>>8) != im.Pix8[i*c+k] {
						t.Fatalf("%d channels of %d bits: Go's reader has %d at pixel %d", c, bits, v, i)
					}
				}
			}
		}
	}
}

// TestJPEG: Go's own reader and this package agree to the rounding of two
// inverse transforms and colour conversions; 3 of 255 is from memory of their sizes.
func TestJPEG(t *testing.T) {
	for _, c := range []int{1, 3} {
		im := drawn(97, 61, c, 8)
		file, err := EncodeJPEG(im, 95)
		if err != nil {
			t.Fatal(err)
		}
		again := empty(im)
		if err := DecodeJPEG(again, file); err != nil {
			t.Fatal(err)
		}
		std, err := jpeg.Decode(bytes.NewReader(file))
		if err != nil {
			t.Fatal(err)
		}
		far := func(a, b uint8) bool { return max(a, b)-min(a, b) > 3 }
		for i := range 97 * 61 {
			x, y := i%97, i/97
			if c == 1 {
				if v := std.(*image.Gray).GrayAt(x, y).Y; far(v, again.Pix8[i]) || far(im.Pix8[i], v) {
					t.Fatalf("grey at %d: %d, Go's %d, drawn %d", i, again.Pix8[i], v, im.Pix8[i])
				}
				continue
			}
			p := std.(*image.YCbCr).YCbCrAt(x, y) // luma: the halved colours are interpolated here and not by Go's
			q := color.YCbCrModel.Convert(color.RGBA{again.Pix8[3*i], again.Pix8[3*i+1], again.Pix8[3*i+2], 255}).(color.YCbCr)
			if far(p.Y, q.Y) {
				t.Fatalf("luma at %d: %d, Go's %d", i, q.Y, p.Y)
			}
		}
	}
}

// TestFaultsAreErrors: whatever is done to a file, it is an error or a picture;
// nothing is written to the terminal, calls do not meet, and lost data are told.
func TestFaultsAreErrors(t *testing.T) {
	im := drawn(97, 61, 3, 8)
	jpg, err := EncodeJPEG(im, 90)
	if err != nil {
		t.Fatal(err)
	}
	pic, err := EncodePNG(im)
	if err != nil {
		t.Fatal(err)
	}
	cut := append(slices.Clone(jpg[:len(jpg)*2/3]), 0xff, 0xd9)
	if err := DecodeJPEG(empty(im), cut); !errors.Is(err, ErrCut) {
		t.Errorf("a JPEG without its last third: %v", err)
	}
	if err := DecodePNG(empty(im), pic[:len(pic)*2/3]); err == nil {
		t.Error("a PNG without its last third is read")
	}
	for _, wrong := range []*part.Image{{W: 96, H: 61, C: 3}, {W: 97, H: 60, C: 3}, {W: 97, H: 61, C: 1}} {
		wrong.Pix8 = make([]uint8, wrong.W*wrong.H*wrong.C)
		if err := DecodePNG(wrong, pic); err == nil {
			t.Errorf("a PNG is read as %dx%dx%d", wrong.W, wrong.H, wrong.C)
		}
		if err := DecodeJPEG(wrong, jpg); err == nil && wrong.C == 3 { // grey is what a colour file has too
			t.Errorf("a JPEG is read as %dx%dx%d", wrong.W, wrong.H, wrong.C)
		}
	}
	if _, err := EncodeJPEG(&part.Image{W: 70000, H: 1, C: 1, Pix8: make([]uint8, 70000)}, 90); err == nil {
		t.Error("a JPEG 70000 wide was written")
	}

	log, err := os.Create(filepath.Join(t.TempDir(), "stderr"))
	if err != nil {
		t.Fatal(err)
	}
	terminal, err := unix.Dup(2)
	if err != nil {
		t.Fatal(err)
	}
	if err := unix.Dup3(int(log.Fd()), 2, 0); err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	refused := make([]int, 4)
	for g := range refused {
		wg.Go(func() {
			r := rand.New(rand.NewPCG(7, uint64(g)))
			for range 1500 {
				file, decode := slices.Clone(jpg), DecodeJPEG
				if g%2 == 1 {
					file, decode = slices.Clone(pic), DecodePNG
				}
				for range 1 + r.IntN(4) {
					file[r.IntN(len(file))] = byte(r.IntN(256))
				}
				if decode(empty(im), file) != nil {
					refused[g]++
				}
			}
		})
	}
	wg.Wait()
	if err := unix.Dup3(terminal, 2, 0); err != nil {
		t.Fatal(err)
	}
	if said, _ := os.ReadFile(log.Name()); len(said) > 0 {
		t.Errorf("written to the terminal: %.200q", said)
	}
	if slices.Min(refused) == 0 {
		t.Errorf("damaged files refused, by worker: %v", refused)
	}
}
