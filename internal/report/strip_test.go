package report

import (
	"bytes"
	"image/jpeg"
	"testing"

	"finishbench/internal/part"
)

// A window of 4 mm is 300 px, so the bar of 1 mm is 75 px long.
func TestStripIsToScale(t *testing.T) {
	im := &part.Image{W: 800, H: 600, C: 1, Pix8: make([]uint8, 800*600)}
	for i := range im.Pix8 {
		im.Pix8[i] = 128
	}
	box := part.Box{700, 500, 20, 20}
	s, err := MakeStrip([]StripPanel{{Image: im, Middle: part.Point{X: 710, Y: 510}, MMPerPX: 0.02, Box: &box},
		{Image: im, Middle: part.Point{}, MMPerPX: 0.01}}, 4)
	if err != nil {
		t.Fatal(err)
	}
	if s.W != 2*stripSide+stripGap || s.H != stripSide+stripFoot {
		t.Fatalf("%d x %d", s.W, s.H)
	}
	m, err := jpeg.Decode(bytes.NewReader(s.JPEG))
	if err != nil {
		t.Fatal(err)
	}
	first, last := 0, 0
	for x := range 120 {
		if r, _, _, _ := m.At(x, stripSide+stripFoot/2).RGBA(); r < 0x6000 {
			if first == 0 {
				first = x
			}
			last = x
		} else if first > 0 { // the bar's end; its words follow
			break
		}
	}
	if n := last - first + 1; n < 74 || n > 77 {
		t.Errorf("the bar of 1 mm is %d px long, want 75", n)
	}
}

func TestStripRefuses(t *testing.T) {
	im := &part.Image{W: 100, H: 100, C: 1, Pix8: make([]uint8, 10000)}
	for name, p := range map[string]StripPanel{
		"no scale":  {Image: im},
		"too small": {Image: im, MMPerPX: 0.01},
		"no pixels": {Image: &part.Image{}, MMPerPX: 0.1},
	} {
		if _, err := MakeStrip([]StripPanel{p}, 4); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
	if _, err := MakeStrip(nil, 4); err == nil {
		t.Error("no panel: taken")
	}
}
