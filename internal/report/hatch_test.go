package report

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// grid is a grid of 2 px cells over a picture of 400 x 300, in over a rectangle of
// cells.
func grid(x0, y0, x1, y1 int) []bool {
	in := make([]bool, 200*150)
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			in[y*200+x] = true
		}
	}
	return in
}

// At 0.015 mm per pixel a cell is 0.03 mm: a hole of 0.3 mm is ten cells each way.
func TestSmallHolesAreNotHatched(t *testing.T) {
	for _, c := range []struct {
		name   string
		in     []bool
		mm     float64
		hatchd bool
	}{
		{"0.3 mm each way", grid(20, 20, 30, 30), 0.015, true},
		{"under 0.3 mm each way", grid(20, 20, 29, 29), 0.015, false},
		{"a long thin strip", grid(0, 20, 200, 29), 0.015, false},
		{"thin, scale not known", grid(20, 20, 22, 22), 0, true},
		{"nothing", grid(0, 0, 0, 0), 0, false},
	} {
		if got := NewUnseen(2, 200, 150, c.in, c.mm); (got != nil) != c.hatchd {
			t.Errorf("%s: hatched %v, want %v", c.name, got != nil, c.hatchd)
		}
	}
	if NewUnseen(2, 10, 10, make([]bool, 99), 0) != nil {
		t.Error("a grid that does not fit its size was taken")
	}
}

// The hatching changes pixels where nothing was looked for, few of them, and none
// elsewhere nor in a finding's box; it shows on black, grey and white.
func TestHatching(t *testing.T) {
	u := NewUnseen(2, 200, 150, grid(50, 50, 150, 100), 0.015) // pixels 100..299, 100..199
	box := part.Box{149.5, 139.5, 20, 20}
	r := &part.Result{MMPerPX: 0.015, Findings: []part.Finding{{Number: 1, Image: "f.png", Kind: part.Dust, Box: box,
		Severity: part.Minor}}}
	for _, level := range []uint8{0, 128, 255} {
		im := &part.Image{W: 400, H: 300, C: 3, Pix8: bytes.Repeat([]byte{level}, 3*400*300)}
		plain := Annotate(im, Overlay{File: "f.png"}, r)
		hatched := Annotate(im, Overlay{File: "f.png", Unseen: u}, r)
		inside := 0
		for i := range plain.Pix8 {
			if plain.Pix8[i] == hatched.Pix8[i] {
				continue
			}
			x, y := i/3%400, i/3/400
			if x < 98 || x > 303 || y < 98 || y > 201 {
				t.Fatalf("level %d: hatched at %d, %d, where it was looked", level, x, y)
			}
			if x >= 150 && x < 170 && y >= 140 && y < 160 {
				t.Fatalf("level %d: hatched within a finding's box", level)
			}
			inside++
		}
		if share := float64(inside) / (3 * 200 * 100); share < 0.01 || share > 0.25 {
			t.Errorf("level %d: %.1f %% of the area is drawn on", level, 100*share)
		}
	}
}

// A cut moves the hatching along.
func TestHatchingMoves(t *testing.T) {
	u := NewUnseen(2, 200, 150, grid(50, 50, 150, 100), 0.015).moved(100, 100)
	c := &canvas{w: 200, h: 100, pix: make([]uint8, 3*200*100)}
	u.hatch(c, styleOf(400, 300), 1)
	if !slices.ContainsFunc(c.pix[:3*200*20], func(v uint8) bool { return v > 0 }) {
		t.Error("the cut's first rows are not hatched")
	}
	var none *Unseen
	if none.moved(1, 1) != nil {
		t.Error("no hatching was moved into being")
	}
}

// The page tells the share and explains the hatching, where there is one.
func TestPageTellsWhatWasLookedAt(t *testing.T) {
	r := sample()
	im := &part.Image{W: 400, H: 300, C: 3, Pix8: bytes.Repeat([]byte{90}, 3*400*300)}
	page := func(u *Unseen) string {
		p, err := MakePagePicture(im, Overlay{File: "face_raking.png", Unseen: u}, r, PageWidth)
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := Page(&b, PageInput{Result: r, Annotated: []PagePicture{p}}); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	with, without := page(NewUnseen(2, 200, 150, grid(50, 50, 150, 100), 0.015)), page(nil)
	sentence := "Looked at 91 % of the face in both lights, 6 % in one, 3 % not at all (left out: mirrored lamps 2 %, outermost strip 1 %)"
	for _, want := range []string{sentence, english().T("page.hatched"), "hatched where nothing was looked for"} {
		if !strings.Contains(with, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	if strings.Contains(without, english().T("page.hatched")) || !strings.Contains(without, sentence) {
		t.Error("a page without hatching explains one, or does not tell the share")
	}
	// A pass tells it once, as its reason, beside what passes.
	r.Verdict, r.Findings, r.Reasons = part.Pass, nil, lang.English().SayAll(r.LookedAtPhrases())
	pass := page(nil)
	if strings.Count(pass, sentence) != 1 || !strings.Contains(pass, english().T("page.no_reason")) {
		t.Error("a pass does not tell its share once, beside what it is within")
	}
}

func BenchmarkHatch(b *testing.B) {
	in := make([]bool, 800*600)
	for y := range 600 {
		for x := range 800 {
			d := (x-400)*(x-400) + (y-300)*(y-300)
			in[y*800+x] = d < 250*250 && d > 220*220
		}
	}
	c := &canvas{w: 1600, h: 1200, pix: make([]uint8, 3*1600*1200)}
	b.ReportAllocs()
	for b.Loop() {
		NewUnseen(2, 800, 600, in, 0.015).hatch(c, styleOf(1600, 1200), 1)
	}
}
