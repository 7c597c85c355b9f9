package capture

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"golang.org/x/image/bmp"
	"golang.org/x/image/tiff"

	"finishbench/internal/part"
)

// write puts data into a new file of the given name and returns its path.
func write(t testing.TB, name string, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// scene is a w x h picture in which every pixel differs from its neighbours,
// smooth enough for JPEG.
func scene(w, h int) *image.RGBA {
	im := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			im.SetRGBA(x, y, color.RGBA{uint8(20 + 200*x/w), uint8(30 + 180*y/h), uint8(60 + 100*(x+y)/(w+h)), 255})
		}
	}
	return im
}

func greyScene(w, h int) *image.Gray {
	im := image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			im.SetGray(x, y, color.Gray{uint8(20 + 100*x/w + 100*y/h)})
		}
	}
	return im
}

// scene16 has values that need 16 bits.
func scene16(w, h int) *image.NRGBA64 {
	im := image.NewNRGBA64(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			im.SetNRGBA64(x, y, color.NRGBA64{uint16(1000 + 257*x), uint16(2000 + 131*y), uint16(3000 + 77*x*y%60000), 65535})
		}
	}
	return im
}

func encode(t testing.TB, kind string, im image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	var err error
	switch kind {
	case "jpg":
		err = jpeg.Encode(&b, im, &jpeg.Options{Quality: 95})
	case "png":
		err = png.Encode(&b, im)
	case "tif":
		err = tiff.Encode(&b, im, nil)
	case "tif-deflate":
		err = tiff.Encode(&b, im, &tiff.Options{Compression: tiff.Deflate, Predictor: true})
	case "bmp":
		err = bmp.Encode(&b, im)
	default:
		t.Fatalf("kind %q", kind)
	}
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// samples gives an image's pixels as Read should: R, G, B without alpha.
func samples(im image.Image) []uint16 {
	var v []uint16
	b := im.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			if n, ok := im.(*image.NRGBA); ok { // its own model, without a detour that rounds
				p := n.NRGBAAt(x, y)
				v = append(v, uint16(p.R)*257, uint16(p.G)*257, uint16(p.B)*257)
				continue
			}
			c := color.NRGBA64Model.Convert(im.At(x, y)).(color.NRGBA64)
			v = append(v, c.R, c.G, c.B)
		}
	}
	return v
}

// spread gives a read picture's samples as 16-bit R, G, B.
func spread(im *part.Image) []uint16 {
	var v []uint16
	for i := range im.W * im.H {
		for c := range 3 {
			j := i*im.C + min(c, im.C-1)
			if im.Pix16 != nil {
				v = append(v, im.Pix16[j])
			} else {
				v = append(v, uint16(im.Pix8[j])*257)
			}
		}
	}
	return v
}

// TestReadLossless: what a lossless file holds is what Read gives. The expected
// values are the picture that was written, by other encoders (Go's and x/image's).
func TestReadLossless(t *testing.T) {
	alpha := image.NewNRGBA(image.Rect(0, 0, 40, 30))
	for i := range alpha.Pix {
		alpha.Pix[i] = uint8(7 * i)
	}
	pal := image.NewPaletted(image.Rect(0, 0, 33, 21), color.Palette{color.RGBA{255, 0, 0, 255}, color.RGBA{0, 90, 255, 255},
		color.RGBA{9, 8, 7, 255}})
	greys := image.NewPaletted(image.Rect(0, 0, 33, 21), color.Palette{color.Gray{3}, color.Gray{77}, color.Gray{200}})
	for i := range pal.Pix {
		pal.Pix[i], greys.Pix[i] = uint8(i*i%3), uint8(i%3)
	}
	grey16 := image.NewGray16(image.Rect(0, 0, 40, 30))
	for i := range grey16.Pix {
		grey16.Pix[i] = uint8(11 * i)
	}
	for _, c := range []struct {
		name, kind string
		im         image.Image
		channels   int
		bits       int
	}{
		{"png colour", "png", scene(50, 41), 3, 8},
		{"png grey", "png", greyScene(50, 41), 1, 8},
		{"png alpha", "png", alpha, 3, 8},
		{"png 16 colour", "png", scene16(40, 30), 3, 16},
		{"png 16 grey", "png", grey16, 1, 16},
		{"png palette", "png", pal, 3, 8},
		{"png grey palette", "png", greys, 1, 8},
		{"tiff colour", "tif", scene(50, 41), 3, 8},
		{"tiff grey", "tif", greyScene(50, 41), 1, 8},
		{"tiff alpha", "tif", alpha, 3, 8},
		{"tiff palette", "tif", pal, 3, 8},
		{"tiff 16 colour", "tif", scene16(40, 30), 3, 16},
		{"tiff 16 grey", "tif", grey16, 1, 16},
		{"tiff deflate colour", "tif-deflate", scene(50, 41), 3, 8},
		{"tiff deflate 16", "tif-deflate", scene16(40, 30), 3, 16},
		{"bmp colour", "bmp", scene(51, 41), 3, 8},
		{"bmp grey", "bmp", greyScene(51, 41), 1, 8},
		{"bmp palette", "bmp", pal, 3, 8},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := Read(write(t, "p."+c.kind[:3], encode(t, c.kind, c.im)))
			if err != nil {
				t.Fatal(err)
			}
			if err := got.Validate(); err != nil {
				t.Fatal(err)
			}
			if got.C != c.channels || (got.Pix16 != nil) != (c.bits == 16) || got.W != c.im.Bounds().Dx() || got.H != c.im.Bounds().Dy() {
				t.Fatalf("got %dx%d, %d channels, 16 bit %v", got.W, got.H, got.C, got.Pix16 != nil)
			}
			if !slices.Equal(spread(got), samples(c.im)) {
				t.Error("samples differ from what was written")
			}
		})
	}
}

// TestReadJPEG: colours come in the order R, G, B, and near what was written
// (8 levels: quality 95 with halved colour; common practice, no source).
func TestReadJPEG(t *testing.T) {
	for _, im := range []image.Image{scene(64, 48), greyScene(70, 33)} {
		got, err := Read(write(t, "p.jpg", encode(t, "jpg", im)))
		if err != nil {
			t.Fatal(err)
		}
		want := samples(im)
		for i, v := range spread(got) {
			if d := int(v/257) - int(want[i]/257); d > 8 || d < -8 {
				t.Fatalf("sample %d of %T: %d, want %d", i, im, v/257, want[i]/257)
			}
		}
		if _, grey := im.(*image.Gray); grey != (got.C == 1) {
			t.Errorf("%T gives %d channels", im, got.C)
		}
	}
}

// exif is an EXIF block with an orientation and nothing else.
func exif(order binary.ByteOrder, o uint16) []byte {
	b := make([]byte, 26)
	copy(b, "II")
	if order == binary.BigEndian {
		copy(b, "MM")
	}
	order.PutUint16(b[2:], 42)
	order.PutUint32(b[4:], 8)
	order.PutUint16(b[8:], 1)
	order.PutUint16(b[10:], 0x0112)
	order.PutUint16(b[12:], 3)
	order.PutUint32(b[14:], 1)
	order.PutUint16(b[18:], o)
	return b
}

// chunk is a PNG chunk with its check sum.
func chunk(name string, body []byte) []byte {
	b := binary.BigEndian.AppendUint32(nil, uint32(len(body)))
	b = append(append(b, name...), body...)
	return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[4:]))
}

// oriented puts an orientation tag into an encoded file.
func oriented(t testing.TB, kind string, data []byte, o uint16) []byte {
	t.Helper()
	switch kind {
	case "jpg":
		body := append([]byte("Exif\x00\x00"), exif(binary.BigEndian, o)...)
		seg := binary.BigEndian.AppendUint16([]byte{0xff, 0xe1}, uint16(len(body)+2))
		return slices.Concat(data[:2], seg, body, data[2:])
	case "png":
		return slices.Concat(data[:33], chunk("eXIf", exif(binary.LittleEndian, o)), data[33:])
	}
	// TIFF by x/image: little-endian, its directory at the end; copy it with one
	// more entry in its place.
	le := binary.LittleEndian
	at := int(le.Uint32(data[4:]))
	n := int(le.Uint16(data[at:]))
	dir := le.AppendUint16(nil, uint16(n+1))
	done := false
	for i := range n {
		e := data[at+2+12*i : at+14+12*i]
		if !done && le.Uint16(e) > 274 {
			dir = append(dir, 18, 1, 3, 0, 1, 0, 0, 0, byte(o), 0, 0, 0)
			done = true
		}
		dir = append(dir, e...)
	}
	dir = append(dir, 0, 0, 0, 0)
	out := slices.Concat(data, dir)
	le.PutUint32(out[4:], uint32(len(data)))
	return out
}

// TestOrientation: each of the eight tags gives the upright picture, in 8 and 16
// bits alike. The expected places are worked by hand from the EXIF words: tag 6
// means that the file's row 0 is the picture's right side and its column 0 the
// top (CIPA DC-008, from memory).
func TestOrientation(t *testing.T) {
	const w, h = 24, 17
	// place of file pixel (x,y) in the upright picture
	upright := map[uint16]func(x, y int) (int, int){
		1: func(x, y int) (int, int) { return x, y },
		2: func(x, y int) (int, int) { return w - 1 - x, y },
		3: func(x, y int) (int, int) { return w - 1 - x, h - 1 - y },
		4: func(x, y int) (int, int) { return x, h - 1 - y },
		5: func(x, y int) (int, int) { return y, x },
		6: func(x, y int) (int, int) { return h - 1 - y, x },
		7: func(x, y int) (int, int) { return h - 1 - y, w - 1 - x },
		8: func(x, y int) (int, int) { return y, w - 1 - x },
	}
	grey := greyScene(w, h)
	for _, kind := range []string{"jpg", "png", "tif"} {
		for _, im := range []image.Image{scene(w, h), scene16(w, h), grey} {
			if kind == "jpg" {
				if _, deep := im.(*image.NRGBA64); deep {
					continue
				}
			}
			plain := encode(t, kind, im)
			base, err := Read(write(t, "p."+kind, plain))
			if err != nil {
				t.Fatal(err)
			}
			src := spread(base)
			for o := uint16(1); o <= 8; o++ {
				got, err := Read(write(t, "p."+kind, oriented(t, kind, plain, o)))
				if err != nil {
					t.Fatalf("%s tag %d: %v", kind, o, err)
				}
				if (o >= 5) != (got.W == h && got.H == w) {
					t.Fatalf("%s %T tag %d: %dx%d", kind, im, o, got.W, got.H)
				}
				v := spread(got)
				for y := range h {
					for x := range w {
						X, Y := upright[o](x, y)
						for c := range 3 {
							if v[(Y*got.W+X)*3+c] != src[(y*w+x)*3+c] {
								t.Fatalf("%s %T tag %d: file pixel (%d,%d) is not at (%d,%d)", kind, im, o, x, y, X, Y)
							}
						}
					}
				}
			}
		}
	}
}

// noisy is a picture whose JPEG has no repeated rows.
func noisy(w, h int) *image.RGBA {
	im := scene(w, h)
	s := uint32(1)
	for i := range im.Pix {
		if i%4 != 3 {
			s = s*1664525 + 1013904223
			im.Pix[i] += uint8(s >> 28)
		}
	}
	return im
}

// headerBomb is a file that claims a huge picture.
func headerBomb(t *testing.T, kind string, w, h int) []byte {
	data := encode(t, kind, scene(32, 32))
	switch kind {
	case "jpg":
		i := bytes.Index(data, []byte{0xff, 0xc0})
		binary.BigEndian.PutUint16(data[i+5:], uint16(h))
		binary.BigEndian.PutUint16(data[i+7:], uint16(w))
	case "png":
		ihdr := slices.Clone(data[16:29])
		binary.BigEndian.PutUint32(ihdr, uint32(w))
		binary.BigEndian.PutUint32(ihdr[4:], uint32(h))
		data = slices.Concat(data[:8], chunk("IHDR", ihdr), data[33:])
	case "bmp":
		binary.LittleEndian.PutUint32(data[18:], uint32(w))
		binary.LittleEndian.PutUint32(data[22:], uint32(h))
	case "tif":
		data = setTag(data, 256, uint32(w))
		data = setTag(data, 257, uint32(h))
	}
	return data
}

// setTag overwrites a value in a little-endian TIFF's first directory.
func setTag(data []byte, tag uint16, v uint32) []byte {
	data = slices.Clone(data)
	le := binary.LittleEndian
	at := int(le.Uint32(data[4:]))
	for i := range int(le.Uint16(data[at:])) {
		if e := data[at+2+12*i:]; le.Uint16(e) == tag {
			if n := le.Uint32(e[4:]); n > 2 || n == 2 && le.Uint16(e[2:]) != 3 {
				off := le.Uint32(e[8:]) // a list: set its first value
				le.PutUint16(data[off:], uint16(v))
			} else if le.Uint16(e[2:]) == 3 {
				le.PutUint16(e[8:], uint16(v))
			} else {
				le.PutUint32(e[8:], v)
			}
		}
	}
	return data
}

// TestReadRefuses: each bad file gives one clear line and no picture.
func TestReadRefuses(t *testing.T) {
	jpg := encode(t, "jpg", noisy(160, 120))
	pngData := encode(t, "png", noisy(160, 120))
	tif := encode(t, "tif", noisy(160, 120))
	deflated := encode(t, "tif-deflate", noisy(160, 120))
	bmpData := encode(t, "bmp", noisy(160, 120))
	badCRC := slices.Clone(pngData)
	badCRC[len(badCRC)/2] ^= 1
	shortPNG := slices.Concat(pngData[:33], chunk("IDAT", pngData[41:200]), chunk("IEND", nil))
	twelveJPEG := slices.Clone(jpg)
	twelveJPEG[bytes.Index(jpg, []byte{0xff, 0xc0})+4] = 12
	for _, c := range []struct {
		name string
		data []byte
		want string // in the message
	}{
		{"zero bytes", nil, "empty"},
		{"text.jpg", []byte("hello, this is a text file\n"), "not a JPEG, PNG, TIFF or BMP"},
		{"text II.tif", []byte("II. On the use of files that are no pictures"), "not a JPEG, PNG, TIFF or BMP"},
		{"two bytes", []byte{0xff, 0xd8}, "cut off"},
		{"1x1 jpg", encode(t, "jpg", scene(1, 1)), "1 x 1 pixels are too few"},
		{"1x1 png", encode(t, "png", scene(1, 1)), "1 x 1 pixels are too few"},
		{"1x1 tif", encode(t, "tif", scene(1, 1)), "1 x 1 pixels are too few"},
		{"1x1 bmp", encode(t, "bmp", scene(1, 1)), "1 x 1 pixels are too few"},
		{"15 high", encode(t, "png", scene(200, 15)), "too few"},
		{"bomb jpg", headerBomb(t, "jpg", 30000, 30000), "900 megapixels, more than the limit of 50"},
		{"bomb png", headerBomb(t, "png", 30000, 30000), "900 megapixels, more than the limit of 50"},
		{"bomb png largest", headerBomb(t, "png", 1<<31-1, 1<<31-1), "more than the limit of 50"},
		{"bomb bmp", headerBomb(t, "bmp", 30000, 30000), "900 megapixels, more than the limit of 50"},
		{"bomb bmp largest", headerBomb(t, "bmp", 1<<31-1, 1<<31-1), "more than the limit of 50"},
		{"bomb tif", headerBomb(t, "tif", 30000, 30000), "900 megapixels, more than the limit of 50"},
		{"no size jpg", headerBomb(t, "jpg", 0, 30), "no size"},
		{"no size png", headerBomb(t, "png", 30, 0), "no size"},
		{"49 Mpx jpg of 32x32 data", headerBomb(t, "jpg", 7000, 7000), "cut off"},
		{"jpg cut at half", jpg[:len(jpg)/2], "cut off"},
		{"jpg without its last byte", jpg[:len(jpg)-1], "cut off"},
		{"jpg cut in its header", jpg[:100], "cut off"},
		{"jpg cut, then zeros", append(slices.Clone(jpg[:len(jpg)/2]), make([]byte, len(jpg)/2)...), "cut off"},
		{"jpg cut, end marker put back", append(slices.Clone(jpg[:len(jpg)/2]), 0xff, 0xd9), "cut off"},
		{"jpg cut at 97 %, end marker put back", append(slices.Clone(jpg[:len(jpg)*97/100]), 0xff, 0xd9), "cut off"},
		{"12-bit jpg", twelveJPEG, "12 bits"},
		{"jpg without a picture", []byte{0xff, 0xd8, 0xff, 0xd9}, "no picture"},
		{"png cut at half", pngData[:len(pngData)/2], "cut off"},
		{"png without its end", pngData[:len(pngData)-12], "cut off"},
		{"png check sum", badCRC, "check sum"},
		{"png of too little data", shortPNG, "cannot be decoded"},
		{"tif cut at half", tif[:len(tif)/2], "cut off"},
		{"tif strip past the end", setTag(tif, 273, uint32(len(tif))), "cut off"},
		{"tif deflate damaged", func() []byte { d := slices.Clone(deflated); clear(d[100:5000]); return d }(), "damaged"},
		{"12-bit tif", setTag(setTag(tif, 258, 12), 258, 12), "sample"},
		{"float tif", floatTIFF(), "floating-point"},
		{"tif with JPEG inside", setTag(tif, 259, 7), "compression kind 7"},
		{"big tif", []byte("II\x2b\x00\x08\x00\x00\x00\x10\x00\x00\x00\x00\x00\x00\x00"), "BigTIFF"},
		{"bmp cut at half", bmpData[:len(bmpData)/2], "cut off"},
		{"bmp header only", bmpData[:30], "cut off"},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := write(t, "p.jpg", c.data)
			im, err := Read(path)
			if err == nil {
				t.Fatalf("no error, got a picture of %dx%d", im.W, im.H)
			}
			msg := err.Error()
			if !strings.Contains(msg, c.want) || strings.Contains(msg, "\n") || !strings.Contains(msg, path) {
				t.Errorf("message %q does not say %q in one line", msg, c.want)
			}
			t.Log(strings.ReplaceAll(msg, path, "p.jpg"))
		})
	}
	if _, err := Read(filepath.Join(t.TempDir(), "none.jpg")); err == nil || !strings.Contains(err.Error(), "no such file") {
		t.Errorf("missing file: %v", err)
	}
	if _, err := Read(t.TempDir()); err == nil || !strings.Contains(err.Error(), "a folder") {
		t.Errorf("folder: %v", err)
	}
	if _, err := ReadLimited(write(t, "p.png", encode(t, "png", scene(40, 40))), 1000); err == nil ||
		!strings.Contains(err.Error(), "limit") {
		t.Errorf("set limit: %v", err)
	}
}

// floatTIFF is a 32-bit floating-point grey TIFF of 20x20.
func floatTIFF() []byte {
	le := binary.LittleEndian
	b := []byte("II\x2a\x00")
	b = le.AppendUint32(b, 8+1600)
	b = append(b, make([]byte, 1600)...)
	entries := [][3]uint32{{256, 4, 20}, {257, 4, 20}, {258, 3, 32}, {259, 3, 1}, {262, 3, 1}, {273, 4, 8}, {277, 3, 1}, {278, 4, 20},
		{279, 4, 1600}, {339, 3, 3}}
	b = le.AppendUint16(b, uint16(len(entries)))
	for _, e := range entries {
		b = le.AppendUint16(b, uint16(e[0]))
		b = le.AppendUint16(b, uint16(e[1]))
		b = le.AppendUint32(b, 1)
		b = le.AppendUint32(b, e[2])
	}
	return append(b, 0, 0, 0, 0)
}

// TestReadTolerates: what follows the end of a JPEG does no harm, nor does a
// picture that is mid grey all over.
func TestReadTolerates(t *testing.T) {
	jpg := encode(t, "jpg", noisy(160, 120))
	grey := image.NewRGBA(image.Rect(0, 0, 64, 64))
	for i := range grey.Pix {
		grey.Pix[i] = 128
	}
	for name, data := range map[string][]byte{
		"zeros after the end": append(slices.Clone(jpg), make([]byte, 5000)...),
		"text after the end":  append(slices.Clone(jpg), "made by a camera"...),
		"mid grey":            encode(t, "jpg", grey),
		"bmp with a gap":      gapBMP(encode(t, "bmp", scene(33, 20))),
	} {
		if _, err := Read(write(t, "p", data)); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// gapBMP leaves room between header and rows, as some cameras do.
func gapBMP(b []byte) []byte {
	at := binary.LittleEndian.Uint32(b[10:])
	out := slices.Concat(b[:at], make([]byte, 10), b[at:])
	binary.LittleEndian.PutUint32(out[10:], at+10)
	return out
}
