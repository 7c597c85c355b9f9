package capture

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"testing"
)

// exifBlock is a TIFF structure with a camera's name, focal length and focus,
// by CIPA DC-008 (Exif 2.32), section 4.6 (numbers of the tags from memory).
func exifBlock(order binary.AppendByteOrder, sig string) []byte {
	var b []byte
	u16 := func(v uint16) { b = order.AppendUint16(b, v) }
	u32 := func(v uint32) { b = order.AppendUint32(b, v) }
	entry := func(tag, typ uint16, n, v uint32) { u16(tag); u16(typ); u32(n); u32(v) }
	b = append(b, sig...)
	u16(42)
	u32(8)
	// IFD0 at 8: maker, model, pointer to the Exif directory; 2 + 3*12 + 4 = 42 bytes, ends at 50
	u16(3)
	entry(0x010f, 2, 9, 50)
	entry(0x0110, 2, 7, 60)
	entry(0x8769, 4, 1, 68)
	u32(0)
	b = append(b, "Invented\x00\x00"...) // 50
	b = append(b, "Cam 12\x00\x00"...)   // 60
	// Exif at 68: focal length, subject distance; 2 + 2*12 + 4 = 30 bytes, ends at 98
	u16(2)
	entry(0x920a, 5, 1, 98)
	entry(0x9206, 5, 1, 106)
	u32(0)
	u32(350) // 35.0 mm
	u32(10)
	u32(1) // 0.25 m
	u32(4)
	return b
}

func TestReadTags(t *testing.T) {
	im := image.NewGray(image.Rect(0, 0, 32, 32))
	var plain, withPNG bytes.Buffer
	if err := jpeg.Encode(&plain, im, nil); err != nil {
		t.Fatal(err)
	}
	if err := png.Encode(&withPNG, im); err != nil {
		t.Fatal(err)
	}
	app1 := func(block []byte) []byte {
		body := append([]byte("Exif\x00\x00"), block...)
		seg := binary.BigEndian.AppendUint16([]byte{0xff, 0xe1}, uint16(len(body)+2))
		out := append([]byte{0xff, 0xd8}, append(seg, body...)...)
		return append(out, plain.Bytes()[2:]...)
	}
	want := Tags{Camera: "Invented Cam 12", FocalLengthMM: 35, Focus: "0.25 m"}
	damaged := exifBlock(binary.LittleEndian, "II")[:70]
	for name, c := range map[string]struct {
		data []byte
		want Tags
	}{
		"little.jpg":  {app1(exifBlock(binary.LittleEndian, "II")), want},
		"big.jpg":     {app1(exifBlock(binary.BigEndian, "MM")), want},
		"plain.jpg":   {plain.Bytes(), Tags{}},
		"plain.png":   {withPNG.Bytes(), Tags{}},
		"empty.jpg":   {nil, Tags{}},
		"letters.jpg": {[]byte("not a picture"), Tags{}},
		"cut.jpg":     {plain.Bytes()[:20], Tags{}},
	} {
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, c.data, 0o600); err != nil {
			t.Fatal(err)
		}
		got, err := ReadTags(path)
		if err != nil || got != c.want {
			t.Errorf("%s: %+v, %v; want %+v", name, got, err, c.want)
		}
	}
	path := filepath.Join(t.TempDir(), "damaged.jpg")
	if err := os.WriteFile(path, app1(damaged), 0o600); err != nil {
		t.Fatal(err)
	}
	if got, err := ReadTags(path); err != nil || got.FocalLengthMM != 0 {
		t.Errorf("damaged tags: %+v, %v", got, err)
	}
	if _, err := ReadTags(filepath.Join(t.TempDir(), "absent.jpg")); err == nil {
		t.Error("an absent file has tags")
	}
}

func FuzzTags(f *testing.F) {
	f.Add(exifBlock(binary.LittleEndian, "II"))
	f.Fuzz(func(t *testing.T, data []byte) {
		for _, head := range []string{"", "\xff\xd8\xff\xe1\x10\x00Exif\x00\x00", pngMagic} {
			file := append([]byte(head), data...)
			if format, ok := tagFormat(file); ok {
				decodeTags(bytes.NewReader(file), format)
			}
		}
	})
}
