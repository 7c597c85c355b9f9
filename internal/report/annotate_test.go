package report

import (
	"bytes"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"testing"

	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report/marks"
	"finishbench/internal/report/palette"
)

// scaledSample is the sample's result for a picture k times as large.
func scaledSample(k float64) *part.Result {
	r := sample()
	r.MMPerPX /= k
	for i := range r.Findings {
		f := &r.Findings[i]
		f.Box = scaled(f.Box, k)
		for j := range f.AlsoIn {
			f.AlsoIn[j].Box = scaled(f.AlsoIn[j].Box, k)
		}
	}
	for i := range r.Seam.Stations {
		s := &r.Seam.Stations[i]
		if s.XPX != nil {
			s.XPX, s.YPX = num(*s.XPX*k), num(*s.YPX*k)
		}
	}
	return r
}

func TestMarksLeaveBoxesUntouched(t *testing.T) {
	sizes := [][2]int{{320, 240}, {1600, 1200}, {3000, 4000}}
	if !testing.Short() {
		sizes = append(sizes, [2]int{8000, 6000})
	}
	for _, size := range sizes {
		t.Run(fmt.Sprintf("%dx%d", size[0], size[1]), func(t *testing.T) {
			im := ground(size[0], size[1])
			r := scaledSample(float64(min(size[0], size[1])) / 1200)
			for _, file := range []string{"face_raking.png", "face_diffuse.png", "edge_120.png"} {
				out := Annotate(im, overlay(file, r), r)
				changed := 0
				for i := range out.Pix8 {
					if out.Pix8[i] != im.Pix8[i] {
						changed++
					}
				}
				if changed == 0 {
					t.Errorf("%s: nothing was drawn", file)
				}
				for _, f := range r.Findings {
					if b, ok := boxIn(&f, file); ok {
						untouched(t, im, out, b, fmt.Sprintf("%s, finding %d", file, f.Number))
					}
				}
			}
		})
	}
}

// untouched fails where a pixel that the box covers differs.
func untouched(t *testing.T, a, b *part.Image, box part.Box, what string) {
	t.Helper()
	for y := 0; y < a.H; y++ {
		for x := 0; x < a.W; x++ {
			fx, fy := float64(x), float64(y)
			if !(fx+0.5 > box[0] && fx-0.5 < box[0]+box[2] && fy+0.5 > box[1] && fy-0.5 < box[1]+box[3]) {
				continue
			}
			i := (y*a.W + x) * 3
			if !bytes.Equal(a.Pix8[i:i+3], b.Pix8[i:i+3]) {
				t.Errorf("%s: pixel %d,%d inside the box was drawn over", what, x, y)
				return
			}
		}
	}
}

// In a crowd the smaller finding stays clear whatever is drawn around it.
func TestSmallBoxesStayClearInACrowd(t *testing.T) {
	im := ground(1600, 1200)
	r := sample()
	sixty(r)
	out := Annotate(im, Overlay{File: "face_raking.jpg"}, r)
	for i := range r.Findings {
		f := &r.Findings[i]
		inside := false // of a larger one: then that one's size rules
		for j := range r.Findings {
			g := r.Findings[j].Box
			inside = inside || j != i && g.Meets(f.Box) && g[2]*g[3] < f.Box[2]*f.Box[3]
		}
		if !inside {
			untouched(t, im, out, f.Box, fmt.Sprintf("finding %d", f.Number))
		}
	}
}

// The area of a stroke is its length times its width, and pi/4 times the square
// of the width for its two round ends (plane geometry).
func TestStrokeCoversItsArea(t *testing.T) {
	for _, p := range [][]part.Point{pts(20, 20, 80, 20), pts(20.3, 20.7, 70, 85), pts(50, 10, 50, 90)} {
		c := &canvas{w: 100, h: 100, pix: make([]uint8, 30000)}
		c.stroke([][]part.Point{p}, 2.5, palette.White, 1)
		sum := 0.0
		for i := 0; i < len(c.pix); i += 3 {
			sum += float64(c.pix[i]) / 255
		}
		want := 5*math.Hypot(p[1].X-p[0].X, p[1].Y-p[0].Y) + math.Pi/4*25
		if math.Abs(sum-want) > 0.02*want {
			t.Errorf("stroke %v covers %.1f px, want %.1f", p, sum, want)
		}
	}
}

func TestStrokeAcrossTilesHasNoSeams(t *testing.T) {
	c := &canvas{w: 200, h: 20, pix: make([]uint8, 200*20*3)}
	c.stroke([][]part.Point{pts(5, 10, 60, 10, 64, 10, 195, 10)}, 2, palette.White, 0.5)
	for x := 10; x < 190; x++ {
		if v := c.pix[(10*200+x)*3]; v != c.pix[(10*200+10)*3] {
			t.Fatalf("x %d: %d, elsewhere %d", x, v, c.pix[(10*200+10)*3])
		}
	}
}

func TestAnnotateTakesAnyPicture(t *testing.T) {
	r := sample()
	for _, c := range []int{1, 3} {
		g16 := &part.Image{W: 64, H: 48, C: c, Pix16: make([]uint16, 64*48*c)}
		for i := range g16.Pix16 {
			g16.Pix16[i] = 0x8123
		}
		out := Annotate(g16, Overlay{File: "none"}, r)
		if out == nil || out.C != 3 || out.Pix8[len(out.Pix8)-1] != 0x81 {
			t.Errorf("%d channels of 16 bit: %v", c, out)
		}
		g8 := &part.Image{W: 64, H: 48, C: c, Pix8: bytes.Repeat([]uint8{77}, 64*48*c)}
		if out := Annotate(g8, Overlay{File: "none"}, r); out == nil || out.C != 3 || out.Pix8[len(out.Pix8)-1] != 77 {
			t.Errorf("%d channels of 8 bit", c)
		}
	}
	own := ground(400, 300)
	want := Annotate(own, overlay("edge_120.png", r), r)
	if got := AnnotateInPlace(own, overlay("edge_120.png", r), r); got != own || !bytes.Equal(got.Pix8, want.Pix8) {
		t.Error("in place: not the same picture as a copy's")
	}
	grey := &part.Image{W: 64, H: 48, C: 1, Pix8: make([]uint8, 64*48)}
	if got := AnnotateInPlace(grey, Overlay{}, r); got == grey || got.C != 3 {
		t.Error("a grey picture was drawn on in place")
	}
	if Annotate(&part.Image{W: 3, H: 3, C: 3}, Overlay{}, r) != nil || Annotate(nil, Overlay{}, r) != nil {
		t.Error("a picture without pixels was annotated")
	}
	one := &part.Image{W: 1, H: 1, C: 1, Pix8: []uint8{9}}
	if Annotate(one, Overlay{File: "edge_120.png"}, r) == nil {
		t.Error("a picture of one pixel was refused")
	}
}

// Boxes that make no sense are left out, and nothing else suffers.
func TestAnnotateSurvivesOddBoxes(t *testing.T) {
	nan := math.NaN()
	r := sample()
	r.Findings = nil
	for i, b := range []part.Box{{nan, 1, 2, 3}, {1, 1, nan, 2}, {-50, -50, 10, 10}, {-5, -5, 4000, 4000}, {1e12, 3, 4, 5},
		{math.Inf(-1), 0, math.Inf(1), 9}, {10, 10, 0, 0}, {10, 10, -4, 3}} {
		r.Findings = append(r.Findings, part.Finding{Number: i + 1, Image: "a", Kind: part.Dust, Box: b})
	}
	r.Seam.Stations = []part.StepStation{{Image: "a", State: part.Measured, StepUM: num(5), XPX: num(nan), YPX: num(4)},
		{Image: "a", State: part.Measured, StepUM: num(5), XPX: num(1e9), YPX: num(-1e9)}}
	ov := Overlay{File: "a", SeamLine: []part.Point{{X: nan, Y: 2}, {X: 4, Y: 4}},
		Limbs: [][]part.Point{{{X: math.Inf(1), Y: 0}, {X: 0, Y: 0}}}, FaceOutline: pts(0, 0, 1e30, 5, 20, 20)}
	out := Annotate(ground(100, 80), ov, r)
	if out == nil || out.Validate() != nil {
		t.Fatal("no picture")
	}
	if _, err := MakeCrops(r, func(string) *part.Image { return ground(100, 80) }); err != nil {
		t.Errorf("crops: %v", err)
	}
}

func TestLabelsDoNotOverlapWhereThereIsRoom(t *testing.T) {
	r := sample()
	im := ground(1600, 1200)
	st := styleOf(im.W, im.H)
	marks := marksIn("face_raking.png", r, st, drawing{scale: 1}, im.W, im.H)
	lay := newLayout(im.W, im.H, marks)
	l, err := newLettering(st.letter)
	if err != nil {
		t.Fatal(err)
	}
	var at []image.Rectangle
	for _, m := range marks {
		b := lay.place(l, st, m, fmt.Sprint(m.f.Number)+" "+english().kind(m.f.Kind))
		if !b.at.In(lay.frame) {
			t.Errorf("label %s at %v is not inside the picture", b.text, b.at)
		}
		for _, o := range append(at, lay.boxes...) {
			if o.Overlaps(b.at) {
				t.Errorf("label %s at %v lies over %v", b.text, b.at, o)
			}
		}
		at = append(at, b.at)
	}
}

func TestEncodeJPEG(t *testing.T) {
	im := ground(160, 120)
	for i := 0; i < 60*160*3; i += 3 { // a pure colour tells channels apart
		im.Pix8[i], im.Pix8[i+1], im.Pix8[i+2] = 200, 30, 30
	}
	b, err := EncodeJPEG(im, 90)
	if err != nil {
		t.Fatal(err)
	}
	m, err := jpeg.Decode(bytes.NewReader(b))
	if err != nil || m.Bounds().Dx() != 160 || m.Bounds().Dy() != 120 {
		t.Fatalf("decoded: %v, %v", m.Bounds(), err)
	}
	if r, g, bl, _ := m.At(80, 20).RGBA(); r>>8 < 180 || g>>8 > 60 || bl>>8 > 60 {
		t.Errorf("red became %d %d %d", r>>8, g>>8, bl>>8)
	}
	for _, bad := range []struct {
		im *part.Image
		q  int
	}{{im, 0}, {im, 101}, {nil, 90}, {&part.Image{W: 2, H: 2, C: 1, Pix16: make([]uint16, 4)}, 90},
		{&part.Image{W: 70000, H: 1, C: 1, Pix8: make([]uint8, 70000)}, 90}} {
		if _, err := EncodeJPEG(bad.im, bad.q); err == nil {
			t.Errorf("quality %d of %v was encoded", bad.q, bad.im != nil)
		}
	}
}

func TestCropShowsTheFindingAtScale(t *testing.T) {
	r := sample()
	im := ground(1600, 1200)
	for _, f := range r.Findings {
		c, err := MakeCrop(im, f.Image, f, r.MMPerPX)
		if err != nil {
			t.Fatal(err)
		}
		if c.W != cropSide || c.H < cropStrip+100 || c.BarMM <= 0 || c.Number != f.Number {
			t.Errorf("finding %d: crop %dx%d, bar %g mm", f.Number, c.W, c.H, c.BarMM)
		}
		a := cropArea(f.Box, im.W, im.H, r.MMPerPX)
		if !pixels(f.Box).In(a) || !a.In(image.Rect(0, 0, im.W, im.H)) {
			t.Errorf("finding %d: area %v of box %v", f.Number, a, f.Box)
		}
		// The bar's length on the crop, from the scale: mm over mm/px times the enlargement.
		k := cropSide / float64(a.Dx())
		mm, px := roundBar(r.MMPerPX, k, 0.3*cropSide)
		if want := mm / r.MMPerPX * k; mm != c.BarMM || math.Abs(px-want) > 1e-9 || px > 0.4*cropSide || px < 0.1*cropSide {
			t.Errorf("finding %d: bar of %g mm is %g px, want %g", f.Number, mm, px, want)
		}
	}
	if c, err := MakeCrop(im, "face_raking.png", r.Findings[1], 0); err != nil || c.BarMM != 0 {
		t.Errorf("without a scale: bar of %g mm, %v", c.BarMM, err)
	}
	if _, err := MakeCrop(im, "other.png", r.Findings[1], 1); err == nil {
		t.Error("a crop of a picture that does not show the finding")
	}
	if _, err := MakeCrop(ground(20, 20), "face_raking.png", r.Findings[1], 1); err == nil {
		t.Error("a crop of a box outside the picture")
	}
}

// 1, 2, 5 times a power of ten, not far from what was wanted.
func TestRoundBar(t *testing.T) {
	for _, c := range []struct{ mmPerPX, want, mm float64 }{{0.015, 192, 2}, {0.015, 90, 1}, {0.005, 100, 0.5}, {0.04, 100, 2},
		{1, 80, 50}} {
		mm, px := roundBar(c.mmPerPX, 1, c.want)
		if math.Abs(mm-c.mm) > 1e-12 || math.Abs(px-c.mm/c.mmPerPX) > 1e-9 {
			t.Errorf("scale %g, %g px wanted: %g mm, %g px; want %g mm", c.mmPerPX, c.want, mm, px, c.mm)
		}
	}
	if _, px := roundBar(math.NaN(), 1, 100); px != 0 {
		t.Error("a bar without a scale")
	}
}

func TestPagePictureLiftsDarkOnesOnly(t *testing.T) {
	dark := ground(1600, 1200)
	for i := range dark.Pix8 {
		dark.Pix8[i] /= 4
	}
	for _, c := range []struct {
		im   *part.Image
		want bool
	}{{dark, true}, {ground(1600, 1200), true}, {&part.Image{W: 40, H: 30, C: 1, Pix8: bytes.Repeat([]uint8{220}, 1200)}, false},
		{&part.Image{W: 40, H: 30, C: 1, Pix8: make([]uint8, 1200)}, false}} {
		p, err := MakePagePicture(c.im, Overlay{File: "a.b.png"}, sample(), PageWidth)
		if err != nil {
			t.Fatal(err)
		}
		if p.Brightened != c.want || p.W != min(PageWidth, c.im.W) || p.Href != "annotated/a.b.jpg" {
			t.Errorf("brightened %v, want %v; %d wide; %s", p.Brightened, c.want, p.W, p.Href)
		}
	}
}

func BenchmarkAnnotateEncode(b *testing.B) {
	im, r := ground(1600, 1200), sample()
	ov := Overlay{File: "face_raking.png", FaceOutline: scaledPath(marks.Of(part.Bubble).Paths[0], 500)}
	b.ReportAllocs()
	b.SetBytes(int64(len(im.Pix8)))
	for b.Loop() {
		if _, err := EncodeJPEG(Annotate(im, ov, r), 90); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkAnnotate(b *testing.B) {
	im, r := ground(1600, 1200), sample()
	for b.Loop() {
		Annotate(im, Overlay{File: "face_raking.png"}, r)
	}
}

func BenchmarkPagePicture(b *testing.B) {
	im, r := ground(1600, 1200), sample()
	for b.Loop() {
		if _, err := MakePagePicture(im, Overlay{File: "face_raking.png"}, r, PageWidth); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCrop(b *testing.B) {
	im, r := ground(1600, 1200), sample()
	for b.Loop() {
		if _, err := MakeCrop(im, "face_raking.png", r.Findings[1], 0.015); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPage(b *testing.B) {
	r := sample()
	im := ground(1600, 1200)
	in := input(b, r, func(string) *part.Image { return im })
	for len(in.Annotated) < 8 {
		in.Annotated = append(in.Annotated, in.Annotated...)
	}
	var out bytes.Buffer
	for b.Loop() {
		out.Reset()
		if err := Page(&out, in); err != nil {
			b.Fatal(err)
		}
	}
	b.SetBytes(int64(out.Len()))
}

// Annotating from several goroutines must be safe: pictures are handled in
// parallel.
func TestAnnotateInParallel(t *testing.T) {
	im, r := ground(400, 300), scaledSample(0.25)
	want := Annotate(im, Overlay{File: "face_raking.png"}, r)
	done := make(chan *part.Image)
	for range 8 {
		go func() { done <- Annotate(im, Overlay{File: "face_raking.png"}, r) }()
	}
	for range 8 {
		if got := <-done; !bytes.Equal(got.Pix8, want.Pix8) {
			t.Error("another picture in another goroutine")
		}
	}
}

// Words in pictures are in the page's language; its letters have each character of them.
func TestPicturesHaveChineseLetters(t *testing.T) {
	all, _, err := lang.Load("")
	if err != nil {
		t.Fatal(err)
	}
	x := wordsOf(all.ByTag("zh-Hans"))
	l, err := x.lettering(30)
	if err != nil {
		t.Fatal(err)
	}
	text := x.T("not_measured") + x.picture(sample(), "face_raking.png")
	for _, k := range part.Kinds {
		text += x.kind(k)
	}
	for _, r := range text {
		if _, ok := l.face.GlyphAdvance(r); !ok {
			t.Errorf("no letter for %q", r)
		}
	}
	en, zh := Annotate(ground(1600, 1200), Overlay{File: "face_raking.png"}, sample()),
		Annotate(ground(1600, 1200), Overlay{File: "face_raking.png", Lang: x.Lang}, sample())
	if bytes.Equal(en.Pix8, zh.Pix8) {
		t.Error("the words are the same in both languages")
	}
}
