package report

import (
	"bytes"
	"image"
	"reflect"
	"slices"
	"testing"

	"finishbench/internal/part"
)

// roundUnit is a face picture's overlay: an outline from 600 to 1000 px across.
func roundUnit() Overlay {
	return Overlay{File: "face_raking.png", FaceOutline: []part.Point{{X: 600, Y: 400}, {X: 1000, Y: 400}, {X: 1000, Y: 800},
		{X: 600, Y: 800}}}
}

func TestScreenPicture(t *testing.T) {
	im, r := ground(1600, 1200), sample()
	pixels, said := slices.Clone(im.Pix8), sample()
	all, err := MakePagePicture(im, roundUnit(), r, PageWidth)
	if err != nil {
		t.Fatal(err)
	}
	draw := func(important, width int) PagePicture {
		t.Helper()
		p, err := MakeScreenPicture(im, roundUnit(), r, important, width)
		if err != nil {
			t.Fatal(err)
		}
		c, _, err := image.DecodeConfig(bytes.NewReader(p.JPEG))
		if err != nil || c.Width != p.W || c.Height != p.H {
			t.Errorf("the JPEG has %dx%d, %v; said are %dx%d", c.Width, c.Height, err, p.W, p.H)
		}
		return p
	}
	p := draw(2, 2000)
	// The unit and finding 3, from 500 to 1000 px across and 400 to 820 px down, with
	// 0.14 of its longer side free around: 640 px wide, 560 high, and wider than high
	// by 1.2 at least (the constants of screen.go).
	if p.W != 672 || p.H != 560 {
		t.Errorf("cut to %dx%d, want 672x560", p.W, p.H)
	}
	if p.File != all.File || p.Href != all.Href {
		t.Errorf("%s, %s; for the page %s, %s", p.File, p.Href, all.File, all.Href)
	}
	if small := draw(2, 336); small.W != 336 || small.H != 280 {
		t.Errorf("at most 336 wide: %dx%d, want 336x280", small.W, small.H)
	}
	if bytes.Equal(p.JPEG, draw(0, 2000).JPEG) || bytes.Equal(p.JPEG, draw(3, 2000).JPEG) {
		t.Error("the finding that the picture is about does not show as that")
	}
	if !bytes.Equal(im.Pix8, pixels) || !reflect.DeepEqual(r, said) {
		t.Error("the picture or the result was changed")
	}
	if _, err := MakeScreenPicture(&part.Image{W: 5, H: 5, C: 3}, roundUnit(), r, 0, 100); err == nil {
		t.Error("a picture without pixels was drawn")
	}
	if _, err := MakeScreenPicture(im, roundUnit(), r, 0, 0); err == nil {
		t.Error("a picture of no width was drawn")
	}
}

func TestScreenCut(t *testing.T) {
	r := sample()
	for _, c := range []struct {
		name         string
		ov           Overlay
		w, h         int
		x, y, cw, ch int
	}{
		{"nothing says where the unit is", Overlay{File: "face_raking.png"}, 1600, 1200, 0, 0, 1600, 1200},
		{"a picture without findings", Overlay{File: "other.png", FaceOutline: roundUnit().FaceOutline}, 1600, 1200, 492, 344, 615, 512},
		{"as far as the picture goes", roundUnit(), 1050, 850, 378, 290, 672, 560},
	} {
		if x, y, cw, ch := screenCut(c.w, c.h, c.ov, r); x != c.x || y != c.y || cw != c.cw || ch != c.ch {
			t.Errorf("%s: %d,%d %dx%d, want %d,%d %dx%d", c.name, x, y, cw, ch, c.x, c.y, c.cw, c.ch)
		}
	}
}

// Cut or not, in one channel or three, in 8 bits or 16, the same pixels come out.
func TestCutOfEachKind(t *testing.T) {
	rgb := ground(40, 30)
	grey := &part.Image{W: 40, H: 30, C: 1, Pix8: rgb.Pix8[:1200]}
	deep := &part.Image{W: 40, H: 30, C: 3}
	for _, v := range rgb.Pix8 {
		deep.Pix16 = append(deep.Pix16, uint16(v)<<8|7)
	}
	area := image.Rect(3, 5, 20, 30)
	for name, im := range map[string]*part.Image{"rgb": rgb, "grey": grey, "16 bits": deep} {
		whole, got := rgb8(im), cut(im, area)
		for y := range area.Dy() {
			from := 3 * ((area.Min.Y+y)*whole.W + area.Min.X)
			if !bytes.Equal(got.Pix8[3*y*got.W:3*(y+1)*got.W], whole.Pix8[from:from+3*got.W]) {
				t.Fatalf("%s: row %d differs", name, y)
			}
		}
	}
}
