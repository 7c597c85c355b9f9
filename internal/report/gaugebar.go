package report

import (
	"fmt"
	"html/template"
	"math"
	"strings"
	"unicode"

	"finishbench/internal/lang"
)

// SheetBar is a value beside the zone it should be moved into, on a scale from
// Min to Max. NaN for V is not measured; NaN or an infinity for Lo or Hi is a
// zone open on that side. Without a usable Min and Max a range is chosen.
type SheetBar struct {
	Name, Value          string // what it is; the value with its unit, ready to read
	V, Lo, Hi, Min, Max  float64
	Line                 string // what to do about it, or why it is fine; may be empty
	LoText, HiText       string // the zone's ends, ready to read; empty: written from Lo and Hi
	BelowText, AboveText string // what being outside means: "too dark"; empty: "too low", "too high"
}

// BarIn says whether a value lies in its zone, ends included. NaN does not; NaN
// or an infinity for lo or hi leaves that side open.
func BarIn(v, lo, hi float64) bool { return zoneSide(v, lo, hi) == 0 && !math.IsNaN(v) }

// zoneSide is -1 for a value below its zone, +1 above, else 0 (also for NaN).
func zoneSide(v, lo, hi float64) int {
	switch {
	case v < lo:
		return -1
	case v > hi:
		return 1
	}
	return 0
}

// State says in words where the bar's value lies; nil: in English.
func (b SheetBar) State(l *lang.Lang) string { return b.state(wordsOf(l)) }

func (b SheetBar) state(x words) string {
	switch side := zoneSide(b.V, b.Lo, b.Hi); {
	case math.IsNaN(b.V):
		return x.T("not_measured")
	case !limited(b.Lo) && !limited(b.Hi):
		return x.T("bar.no_zone")
	case side < 0:
		return orElse(b.BelowText, x.T("bar.below"))
	case side > 0:
		return orElse(b.AboveText, x.T("bar.above"))
	}
	return x.T("bar.in")
}

// sign is a small shape for the same, before the words.
func (b SheetBar) sign() string {
	switch {
	case math.IsNaN(b.V):
		return "?"
	case !limited(b.Lo) && !limited(b.Hi):
		return ""
	case BarIn(b.V, b.Lo, b.Hi):
		return "✓"
	}
	return "✗"
}

// limited says whether an end of a zone is a number.
func limited(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

// barRange is the range shown: min to max where that is one, else one that
// holds zone and value with room beside them.
func barRange(v, lo, hi, min_, max_ float64) (float64, float64) {
	if limited(min_) && limited(max_) && min_ < max_ {
		return min_, max_
	}
	a, b := math.Inf(1), math.Inf(-1)
	for _, x := range []float64{v, lo, hi} {
		if limited(x) {
			a, b = min(a, x), max(b, x)
		}
	}
	if a > b {
		return 0, 1
	}
	room := max((b-a)*0.25, math.Abs(a)*0.05, math.Abs(b)*0.05)
	if room == 0 {
		room = 1
	}
	return a - room, b + room
}

// barMin is the narrowest bar that can be read, in characters.
const barMin = 12

// Text draws the value beside its zone for a terminal, width characters wide
// (at least 12), in plain ASCII; what is not measured is a ? where the language (nil: English) writes
// that in other letters:
//
//	|-------[====O===]--------------|   in the zone
//	|---X---[========]--------------|   below it
//	|-------[========]-------------->   above it, and beyond the scale
//	|-------[ not measured ]--------|
//
// The zone runs from lo to hi on a scale from min to max; NaN or an infinity for lo
// or hi leaves it open there. A value in its zone is an O between the brackets,
// however near to the end; one outside is an X, or an arrow at the scale's end.
func (b SheetBar) Text(width int, l *lang.Lang) string {
	none := wordsOf(l).T("not_measured")
	if strings.ContainsFunc(none, func(r rune) bool { return r > unicode.MaxASCII }) {
		none = "?"
	}
	return string(newTextBar(width, b.V, b.Lo, b.Hi, b.Min, b.Max).draw(b.V, b.Lo, b.Hi, none))
}

// textBar is the line under a value: cells 1 to n-2 are the scale, the ones
// outside hold its ends.
type textBar struct {
	cells      []byte
	from, to   float64
	open, shut int // cells of the zone's brackets; 0 and n-1 where it is open
}

func newTextBar(width int, v, lo, hi, min_, max_ float64) *textBar {
	t := &textBar{cells: []byte(strings.Repeat("-", max(width, barMin)))}
	t.from, t.to = barRange(v, lo, hi, min_, max_)
	last := len(t.cells) - 1
	t.cells[0], t.cells[last] = '|', '|'
	t.open, t.shut = 0, last
	// Brackets leave one cell between them for the value, and one on each side
	// for a value just outside.
	if limited(lo) && lo > t.from {
		t.open = min(max(t.cell(lo)-1, 2), last-4)
	}
	if limited(hi) && hi < t.to {
		t.shut = min(max(t.cell(hi)+1, 4), last-2)
	}
	t.shut = max(t.shut, t.open+2)
	return t
}

// cell is the place of a number, within the scale.
func (t *textBar) cell(x float64) int {
	n := float64(len(t.cells) - 3)
	f := 1 + math.Round((x-t.from)/(t.to-t.from)*n)
	return int(min(max(f, 1), n+1))
}

func (t *textBar) draw(v, lo, hi float64, none string) []byte {
	last := len(t.cells) - 1
	zone := limited(lo) || limited(hi)
	for i := max(t.open, 1); zone && i < min(t.shut+1, last); i++ {
		t.cells[i] = '='
	}
	if t.open > 0 {
		t.cells[t.open] = '['
	}
	if t.shut < last && zone {
		t.cells[t.shut] = ']'
	}
	switch side := zoneSide(v, lo, hi); {
	case math.IsNaN(v):
		words := []byte(" " + none + " ")
		if len(words) > last-1 {
			words = []byte("?")
		}
		copy(t.cells[1+(last-1-len(words))/2:], words)
	case v < t.from:
		t.cells[0] = '<'
	case v > t.to:
		t.cells[last] = '>'
	case side < 0:
		t.cells[max(min(t.cell(v), t.open-1), 1)] = 'X'
	case side > 0:
		t.cells[min(max(t.cell(v), t.shut+1), last-1)] = 'X'
	case !zone:
		t.cells[t.cell(v)] = 'O'
	default:
		t.cells[min(max(t.cell(v), t.open+1), t.shut-1)] = 'O'
	}
	return t.cells
}

// The drawing's own units; the style sheet lets it grow to 30 rem at most.
const (
	barW, barH       = 420.0, 62.0
	barLeft          = 22.0 // room for the arrows of values beyond the scale
	barTop, barThick = 24.0, 14.0
)

// svg draws the same for a page: the zone is hatched and has posts at its
// ends, the value is a pin standing on the scale, filled in the zone, hollow
// and crossed outside, an arrow beyond the scale. Colour only helps. Its words
// (name, value, state) stand in the drawing's label.
func (b SheetBar) svg(x words) template.HTML {
	from, to := barRange(b.V, b.Lo, b.Hi, b.Min, b.Max)
	at := func(v float64) float64 {
		return barLeft + min(max((v-from)/(to-from), 0), 1)*(barW-2*barLeft)
	}
	var s strings.Builder
	fmt.Fprintf(&s, `<svg class="gaugebar" viewBox="0 0 %g %g" role="img" aria-label="%s">`, barW, barH,
		template.HTMLEscapeString(b.label(x)))
	fmt.Fprintf(&s, `<rect class="track" x="%g" y="%g" width="%g" height="%g"/>`, barLeft, barTop, barW-2*barLeft, barThick)
	if limited(b.Lo) || limited(b.Hi) {
		b.zoneSVG(&s, at, from, to)
	}
	b.pinSVG(&s, x, at, from, to)
	b.endsSVG(&s, x, at, from, to)
	s.WriteString(`</svg>`)
	return template.HTML(s.String())
}

// label is what the bar says to those who cannot see it.
func (b SheetBar) label(x words) string {
	value := b.Value
	if value == "" && !math.IsNaN(b.V) {
		value = significant(b.V)
	}
	s := b.Name
	if value != "" && value != x.T("not_measured") {
		s += " " + value
	}
	s = strings.TrimSpace(s) + ": " + b.state(x)
	lo, hi := b.ends()
	switch {
	case lo != "" && hi != "":
		s += x.T("bar.zone", "zone", x.T("span", "from", lo, "to", hi))
	case lo != "":
		s += x.T("bar.zone_from", "from", lo)
	case hi != "":
		s += x.T("bar.zone_to", "to", hi)
	}
	return s
}

// ends are the zone's ends as text; empty where it is open.
func (b SheetBar) ends() (lo, hi string) {
	if limited(b.Lo) {
		lo = orElse(b.LoText, significant(b.Lo))
	}
	if limited(b.Hi) {
		hi = orElse(b.HiText, significant(b.Hi))
	}
	return lo, hi
}

func (b SheetBar) zoneSVG(s *strings.Builder, x func(float64) float64, from, to float64) {
	l, r := x(from), x(to)
	if limited(b.Lo) {
		l = x(b.Lo)
	}
	if limited(b.Hi) {
		r = x(b.Hi)
	}
	if r < l {
		return
	}
	fmt.Fprintf(s, `<rect class="zone" x="%.1f" y="%g" width="%.1f" height="%g"/>`, l, barTop, r-l, barThick)
	s.WriteString(`<path class="zone-hatch" d="`)
	for h := l; h+barThick <= r; h += 9 {
		fmt.Fprintf(s, "M%.1f %gl%g %g", h, barTop+barThick, barThick, -barThick)
	}
	s.WriteString(`"/>`)
	for _, e := range []struct{ v, x float64 }{{b.Lo, l}, {b.Hi, r}} {
		if limited(e.v) && e.v >= from && e.v <= to {
			fmt.Fprintf(s, `<path class="post" d="M%.1f %gv%g"/>`, e.x, barTop-5, barThick+10)
		}
	}
}

func (b SheetBar) pinSVG(s *strings.Builder, t words, x func(float64) float64, from, to float64) {
	mid := barTop + barThick/2
	switch {
	case math.IsNaN(b.V):
		fmt.Fprintf(s, `<text class="none" x="%g" y="16" text-anchor="middle">%s</text>`, barW/2, t.T("not_measured"))
	case b.V < from:
		fmt.Fprintf(s, `<path class="pin out" d="M%g %gl16 -11v22z"/>`, barLeft-18, mid)
	case b.V > to:
		fmt.Fprintf(s, `<path class="pin out" d="M%g %gl-16 -11v22z"/>`, barW-barLeft+18, mid)
	case zoneSide(b.V, b.Lo, b.Hi) != 0:
		fmt.Fprintf(s, `<path class="pin out" d="M%.1f %gl-9 -19h18z"/><path class="cross" d="M%.1f %gl6 6m0 -6l-6 6"/>`, x(b.V), mid+3,
			x(b.V)-3, mid-14)
	default:
		fmt.Fprintf(s, `<path class="pin in" d="M%.1f %gl-9 -19h18z"/>`, x(b.V), mid+3)
	}
}

// textWide is about how wide a text is in the drawing, at its size of 15.
func textWide(s string) float64 { return 8.5 * float64(Columns(s)) }

// endsSVG writes the ends of zone and scale below; the scale's give way.
func (b SheetBar) endsSVG(s *strings.Builder, t words, x func(float64) float64, from, to float64) {
	lo, hi := b.ends()
	type word struct {
		text  string
		x     float64
		class string
	}
	var words []word
	if lo != "" && hi != "" && x(b.Hi)-x(b.Lo) < (textWide(lo)+textWide(hi))/2+8 {
		words = append(words, word{t.T("span", "from", lo, "to", hi), (x(b.Lo) + x(b.Hi)) / 2, "end"})
	} else {
		if lo != "" {
			words = append(words, word{lo, x(b.Lo), "end"})
		}
		if hi != "" {
			words = append(words, word{hi, x(b.Hi), "end"})
		}
	}
	for _, e := range []word{{significant(from), x(from), "soft-end"}, {significant(to), x(to), "soft-end"}} {
		e.x = inside(e.text, e.x)
		free := true
		for _, w := range words {
			free = free && math.Abs(inside(w.text, w.x)-e.x) > (textWide(w.text)+textWide(e.text))/2+6
		}
		if free {
			words = append(words, e)
		}
	}
	for _, w := range words {
		fmt.Fprintf(s, `<text class="%s" x="%.1f" y="%g" text-anchor="middle">%s</text>`, w.class, inside(w.text, w.x), barH-7,
			template.HTMLEscapeString(w.text))
	}
}

// inside moves a centred text so that it stays in the drawing.
func inside(s string, x float64) float64 {
	half := textWide(s) / 2
	return max(min(x, barW-half-2), half+2)
}
