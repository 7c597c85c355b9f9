package report

import (
	"fmt"
	"html/template"
	"strings"

	"finishbench/internal/part"
	"finishbench/internal/report/marks"
	"finishbench/internal/report/palette"
)

// verdictSign is the large sign before a verdict: each verdict has a shape and
// a symbol of its own. The word stands beside it, so it is hidden from screen
// readers.
func verdictSign(v part.Verdict) template.HTML {
	var ground, symbol string
	switch v {
	case part.Pass: // disc with a tick
		ground = `<circle cx="50" cy="50" r="45"/>`
		symbol = `<path d="M27 52l17 18 31-38"/>`
	case part.Rework: // triangle with an exclamation mark
		ground = `<path d="M50 6L97 91H3z"/>`
		symbol = `<path d="M50 36v28M50 77v1"/>`
	case part.Reject: // octagon with a cross
		ground = `<path d="M31 5h38l26 26v38l-26 26h-38l-26-26v-38z"/>`
		symbol = `<path d="M32 32l36 36M68 32l-36 36"/>`
	default: // square with a question mark
		ground = `<path d="M7 7h86v86h-86z"/>`
		symbol = `<path d="M35 38c0-20 30-20 30-1 0 13-15 12-15 26M50 77v1"/>`
	}
	return template.HTML(fmt.Sprintf(`<svg class="sign" viewBox="0 0 100 100" aria-hidden="true" focusable="false">`+
		`<g fill="%s" stroke="%s" stroke-width="5" stroke-linejoin="round">%s</g>`+
		`<g fill="none" stroke="%s" stroke-width="11" stroke-linecap="round" stroke-linejoin="round">%s</g></svg>`,
		palette.Hex(verdictColour(v)), palette.Hex(palette.Ink), ground, palette.Hex(palette.Black), symbol))
}

// icon is the shape of a kind, as drawn in the pictures, on a dark ground.
func icon(k part.Kind) template.HTML {
	d := marks.Of(k).SVGPath(16, 16, 10/marks.Of(k).Extent())
	return template.HTML(fmt.Sprintf(`<svg class="icon" viewBox="0 0 32 32" aria-hidden="true" focusable="false">`+
		`<rect width="32" height="32" rx="4" fill="%s"/><path d="%s" fill="none" stroke="%s" stroke-width="2.6"/></svg>`,
		palette.Hex(palette.Shadow), d, palette.Hex(marks.Colour(k))))
}

// severityBars shows a severity as none to four filled blocks of growing
// height; the word stands beside it.
func severityBars(s part.Severity) template.HTML {
	var b strings.Builder
	b.WriteString(`<svg class="bars" viewBox="0 0 44 24" aria-hidden="true" focusable="false">`)
	for i := 0; i < 4; i++ {
		fill := "none"
		if i < s.Rank() {
			fill = palette.Hex(palette.Ink)
		}
		h := 6 + 5*i
		fmt.Fprintf(&b, `<rect x="%d" y="%d" width="8" height="%d" fill="%s" stroke="%s" stroke-width="1.5"/>`, 1+11*i, 22-h, h, fill,
			palette.Hex(palette.Ink))
	}
	b.WriteString(`</svg>`)
	return template.HTML(b.String())
}
