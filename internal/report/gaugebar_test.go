package report

import (
	"bytes"
	"encoding/xml"
	"io"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
)

var nan, inf = math.NaN(), math.Inf(1)

func TestBarText(t *testing.T) {
	// Worked out by hand: 21 cells, the scale 0 to 18 on cells 1 to 19, so that
	// the number n stands in cell n + 1.
	for _, c := range []struct {
		v, lo, hi, min, max float64
		want                string
	}{
		{8, 5, 12, 0, 18, "|----[===O====]-----|"},
		{5, 5, 12, 0, 18, "|----[O=======]-----|"},
		{12, 5, 12, 0, 18, "|----[=======O]-----|"},
		{4.9, 5, 12, 0, 18, "|---X[========]-----|"}, // just outside is outside
		{12.1, 5, 12, 0, 18, "|----[========]X----|"},
		{2, 5, 12, 0, 18, "|--X-[========]-----|"},
		{-1, 5, 12, 0, 18, "<----[========]-----|"},
		{19, 5, 12, 0, 18, "|----[========]----->"},
		{9, nan, 12, 0, 18, "|=========O===]-----|"}, // open below
		{0, nan, 12, 0, 18, "|O============]-----|"},
		{15, 5, inf, 0, 18, "|----[==========O===|"}, // open above
		{8, nan, nan, 0, 18, "|--------O----------|"},
		{nan, 5, 12, 0, 18, "|-- not measured ---|"},
		{8, 8, 8, 0, 18, "|-------[O]---------|"}, // a zone of one number
		{8.1, 8, 8, 0, 18, "|-------[=]X--------|"},
	} {
		got := SheetBar{V: c.v, Lo: c.lo, Hi: c.hi, Min: c.min, Max: c.max}.Text(21, nil)
		if got != c.want {
			t.Errorf("%+v:\n got %s\nwant %s", c, got, c.want)
		}
	}
}

// For any numbers, the bar tells the side on which the value lies, and is as
// wide as asked for.
func TestBarTextTellsTheSide(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 1))
	pick := func() float64 {
		switch r.IntN(12) {
		case 0:
			return nan
		case 1:
			return inf
		case 2:
			return -inf
		}
		return math.Round(r.NormFloat64()*20) / 2
	}
	for range 20000 {
		v, lo, hi, a, b, width := pick(), pick(), pick(), pick(), pick(), 12+r.IntN(60)
		if lo > hi {
			lo, hi = hi, lo
		}
		s := SheetBar{V: v, Lo: lo, Hi: hi, Min: a, Max: b}.Text(width, nil)
		if len(s) != width {
			t.Fatalf("%g in %g..%g on %g..%g: %d characters, want %d", v, lo, hi, a, b, len(s), width)
		}
		if math.IsNaN(v) {
			if !strings.Contains(s, "not measured") && !strings.Contains(s, "?") {
				t.Fatalf("not measured: %s", s)
			}
			continue
		}
		at := strings.IndexAny(s, "OX<>")
		if at < 0 || strings.ContainsAny(s[at+1:], "OX<>") {
			t.Fatalf("%g in %g..%g on %g..%g: not one mark in %s", v, lo, hi, a, b, s)
		}
		open, shut := strings.IndexByte(s, '['), strings.IndexByte(s, ']')
		switch {
		case s[at] == '<' || s[at] == '>':
		case v < lo:
			if s[at] != 'X' || open >= 0 && at > open {
				t.Fatalf("%g below %g..%g on %g..%g: %s", v, lo, hi, a, b, s)
			}
		case v > hi:
			if s[at] != 'X' || shut >= 0 && at < shut {
				t.Fatalf("%g above %g..%g on %g..%g: %s", v, lo, hi, a, b, s)
			}
		case s[at] != 'O' || open >= 0 && at < open || shut >= 0 && at > shut:
			t.Fatalf("%g in %g..%g on %g..%g: %s", v, lo, hi, a, b, s)
		}
	}
}

func TestBarState(t *testing.T) {
	for _, c := range []struct {
		b    SheetBar
		want string
	}{
		{SheetBar{V: 5, Lo: 5, Hi: 6}, "in the zone"},
		{SheetBar{V: 4, Lo: 5, Hi: 6}, "too low"},
		{SheetBar{V: 7, Lo: 5, Hi: 6}, "too high"},
		{SheetBar{V: 7, Lo: 5, Hi: 6, AboveText: "too bright"}, "too bright"},
		{SheetBar{V: nan, Lo: 5, Hi: 6}, "not measured"},
		{SheetBar{V: 7, Lo: 5, Hi: nan}, "in the zone"},
		{SheetBar{V: 7, Lo: nan, Hi: inf}, "no zone given"},
	} {
		if got := c.b.State(nil); got != c.want {
			t.Errorf("%+v: %q", c.b, got)
		}
	}
}

func TestBarSVG(t *testing.T) {
	for _, c := range []struct {
		b          SheetBar
		want, lack string
	}{
		{SheetBar{Name: "Edge <1>", Value: "2 px", V: 2, Lo: 1, Hi: 3, Min: 0, Max: 4}, `class="pin in" d="M210.0 `, "cross"},
		{SheetBar{Name: "a", V: 0.5, Lo: 1, Hi: 3, Min: 0, Max: 4}, `class="cross"`, "pin in"},
		{SheetBar{Name: "a", V: 9, Lo: 1, Hi: 3, Min: 0, Max: 4}, `class="pin out" d="M416 `, "cross"},
		{SheetBar{Name: "a", V: nan, Lo: 1, Hi: 3, Min: 0, Max: 4}, "not measured", "pin"},
		{SheetBar{Name: "a", V: 2, Lo: nan, Hi: nan, Min: 0, Max: 4}, "pin in", "zone\""},
		{SheetBar{Name: "a", V: 2, Lo: 2, Hi: 2}, "pin in", "NaN"},
		{SheetBar{Name: "a", V: 0, Lo: nan, Hi: inf}, "pin in", "NaN"},
	} {
		s := string(c.b.svg(english()))
		if !strings.Contains(s, c.want) || strings.Contains(s, c.lack) || strings.Contains(s, "NaN") || strings.Contains(s, "Inf") {
			t.Errorf("%+v: want %q, not %q, in\n%s", c.b, c.want, c.lack, s)
		}
		for d := xml.NewDecoder(strings.NewReader(s)); ; {
			k, err := d.Token()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatalf("%+v: %v in\n%s", c.b, err, s)
			}
			// Nothing lies beyond the drawing, which is 420 wide.
			if e, ok := k.(xml.StartElement); ok {
				for _, a := range e.Attr {
					if x, err := strconv.ParseFloat(a.Value, 64); a.Name.Local == "x" && (err != nil || x < 0 || x > 420) {
						t.Errorf("%+v: x=%q", c.b, a.Value)
					}
				}
			}
		}
	}
}

func TestSheetWithBars(t *testing.T) {
	s := sampleSheet()
	s.Sections = append(s.Sections, SheetSection{Heading: "Focus", Bars: []SheetBar{
		{Name: "Edge width", Value: "2.1 px", V: 2.1, Lo: 0, Hi: 4, Min: 0, Max: 8},
		{Name: "Tilt", Value: "3.0 deg", V: 3, Lo: -1, Hi: 1, Min: -2, Max: 2, Line: "Turn the target to the left."}}})
	var page, text bytes.Buffer
	if err := SheetPage(&page, s); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(page.String(), `<svg class="gaugebar"`); n != 2 {
		t.Errorf("%d bars on the page", n)
	}
	if err := SheetText(&text, s); err != nil {
		t.Fatal(err)
	}
	const want = `
Focus
  Edge width   2.1 px  |==========O=========]-----------------|  in the zone
  Tilt        3.0 deg  |--------[====================]-------->  too high
    Turn the target to the left.
`
	if !strings.HasSuffix(text.String(), want) {
		t.Errorf("got\n%s\nwant at its end\n%s", text.String(), want)
	}
}
