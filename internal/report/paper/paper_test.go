package paper

import (
	"bytes"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"

	"finishbench/internal/report/palette"
)

func begun(t *testing.T) *fpdf.Fpdf {
	t.Helper()
	p, err := New("t", "s", "en", time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	p.AddPage()
	return p
}

// Lines break at spaces and beside Chinese characters, never before what closes a
// phrase, and nothing is lost.
func TestWrap(t *testing.T) {
	p := begun(t)
	Letters(p, 9.5, palette.Ink)
	for _, text := range []string{
		"The quick brown fox jumps over the lazy dog, and back again.", "每处台阶均附不确定度，限度未因此收紧。每处台阶均附不确定度，限度未因此收紧。", strings.Repeat("x", 120),
		"a", "", "mixed 文字 and words，一起 wrapped in one line 或多行。",
	} {
		lines := Wrap(p, text, 40)
		if got := strings.ReplaceAll(strings.Join(lines, ""), " ", ""); got != strings.ReplaceAll(text, " ", "") {
			t.Errorf("%q became %q", text, lines)
		}
		for _, l := range lines {
			if w := p.GetStringWidth(strings.TrimRight(l, "，。、")); w > 40.5 {
				t.Errorf("%q is %.1f mm wide", l, w)
			}
			if r := []rune(l); len(r) > 0 && closes(r[0]) {
				t.Errorf("%q begins with what closes a phrase", l)
			}
		}
	}
}

// Where a canvas puts a point, worked by hand: units of half a millimetre from a corner at (20, 100), y upwards.
// A full arc is four curves that meet on the circle (ISO 32000-1, 8.5.2.2, operator c; 72/25.4 points a millimetre,
// from the page's foot up).
func TestCanvas(t *testing.T) {
	p := begun(t)
	p.SetCompression(false)
	c := NewCanvas(p, 20, 100, 0.5).(*canvas)
	for _, x := range []struct {
		do           func()
		wantX, wantY float64
	}{
		{func() {}, 25, 98}, {func() { c.Translate(vg.Point{X: 2, Y: 6}) }, 26, 95}, {func() { c.Rotate(math.Pi / 2) }, 18, 95},
		{func() { c.Scale(3, 3) }, 35, 94},
	} {
		c.Push()
		x.do()
		if gotX, gotY := c.on(10, 4); math.Hypot(gotX-x.wantX, gotY-x.wantY) > 1e-9 {
			t.Errorf("(10, 4) lies at (%g, %g), want (%g, %g)", gotX, gotY, x.wantX, x.wantY)
		}
		c.Pop()
	}
	var path vg.Path
	path.Move(vg.Point{X: 40, Y: 20})
	path.Arc(vg.Point{X: 30, Y: 20}, 10, 0, 2*math.Pi)
	path.Close()
	c.Fill(path)
	c.FillString(font.Face{Font: font.Font{Size: 10}}, vg.Point{}, "a word")
	var b bytes.Buffer
	if err := p.Output(&b); err != nil {
		t.Fatal(err)
	}
	curves := regexp.MustCompile(`(\S+) (\S+) c\n`).FindAllStringSubmatch(b.String(), -1)
	if len(curves) != 4 {
		t.Fatalf("a circle of %d curves", len(curves))
	}
	for _, m := range curves {
		x, _ := strconv.ParseFloat(m[1], 64)
		y, _ := strconv.ParseFloat(m[2], 64)
		if r := math.Hypot(x*25.4/72-35, HighMM-y*25.4/72-90); math.Abs(r-5) > 0.01 {
			t.Errorf("a curve ends %g mm from the circle's middle", r)
		}
	}
}
