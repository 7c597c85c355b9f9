package report

import (
	"fmt"
	"image/color"
	"math"
	"strings"

	"finishbench/internal/palette"
	"finishbench/internal/part"
)

// cssColours are the names under which style.css knows the palette.
var cssColours = []struct {
	name string
	c    color.NRGBA
}{
	{"ink", palette.Ink}, {"soft", palette.Soft}, {"paper", palette.Paper}, {"card", palette.Card}, {"line", palette.Line}, {"tint", palette.Tint},
	{"white", palette.White}, {"black", palette.Black},
	{"orange", palette.Orange}, {"sky", palette.Sky}, {"green", palette.Green}, {"yellow", palette.Yellow},
	{"blue", palette.Blue}, {"vermilion", palette.Vermilion}, {"purple", palette.Purple},
}

// cssRoot is the palette as CSS custom properties.
func cssRoot() string {
	var b strings.Builder
	b.WriteString(":root{")
	for _, c := range cssColours {
		fmt.Fprintf(&b, "--%s:%s;", c.name, palette.Hex(c.c))
	}
	b.WriteString("}\n")
	return b.String()
}

// textPairs are all pairs of text and ground that pages and pictures use; a
// test holds each to a contrast of 4.5:1 or more.
var textPairs = []struct {
	use    string
	fg, bg color.NRGBA
}{
	{"text", palette.Ink, palette.Paper}, {"text on a card", palette.Ink, palette.Card}, {"table head", palette.Ink, palette.Tint},
	{"lesser text", palette.Soft, palette.Paper}, {"lesser text on a card", palette.Soft, palette.Card}, {"lesser text in a table head", palette.Soft, palette.Tint},
	{"link", palette.Blue, palette.Paper}, {"link on a card", palette.Blue, palette.Card},
	{"print", palette.Black, palette.White}, {"crop's scale", palette.Ink, palette.White},
	{"sign: pass", palette.Black, palette.Green}, {"sign: rework", palette.Black, palette.Orange},
	{"sign: reject", palette.Black, palette.Vermilion}, {"sign: not measured", palette.Black, palette.Sky},
	{"label in a picture", palette.White, palette.Shadow}, {"label of a major finding", palette.Black, palette.Yellow},
}

// contrast is the ratio of two colours' luminances, 1 to 21.
// Source: W3C, WCAG 2.1 (2018), definitions of contrast ratio and relative
// luminance.
func contrast(a, b color.NRGBA) float64 {
	la, lb := luminance(a), luminance(b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

func luminance(c color.NRGBA) float64 {
	lin := func(v uint8) float64 {
		s := float64(v) / 255
		if s <= 0.03928 {
			return s / 12.92
		}
		return math.Pow((s+0.055)/1.055, 2.4)
	}
	return 0.2126*lin(c.R) + 0.7152*lin(c.G) + 0.0722*lin(c.B)
}

// verdictColour is the ground of a verdict's sign.
func verdictColour(v part.Verdict) color.NRGBA {
	switch v {
	case part.Pass:
		return palette.Green
	case part.Rework:
		return palette.Orange
	case part.Reject:
		return palette.Vermilion
	}
	return palette.Sky
}
