package report

import (
	"fmt"
	"image/color"
	"math"
	"strings"

	"finishbench/internal/marks"
	"finishbench/internal/part"
)

// colour is an sRGB colour, 8 bit a channel.
type colour struct{ r, g, b uint8 }

func (c colour) nrgba() color.NRGBA { return color.NRGBA{c.r, c.g, c.b, 0xff} }

func (c colour) hex() string { return fmt.Sprintf("#%02x%02x%02x", c.r, c.g, c.b) }

// The palette of Okabe and Ito, "Color Universal Design", 2002 (values from
// memory): eight colours that people with common colour-vision deficiencies
// can tell apart.
var (
	okBlack     = colour{0x00, 0x00, 0x00}
	okOrange    = colour{0xe6, 0x9f, 0x00}
	okSky       = colour{0x56, 0xb4, 0xe9}
	okGreen     = colour{0x00, 0x9e, 0x73}
	okYellow    = colour{0xf0, 0xe4, 0x42}
	okBlue      = colour{0x00, 0x72, 0xb2}
	okVermilion = colour{0xd5, 0x5e, 0x00}
	okPurple    = colour{0xcc, 0x79, 0xa7}
)

// Paper and ink: neutral tones for text, lines and grounds.
var (
	white  = colour{0xff, 0xff, 0xff}
	ink    = colour{0x1d, 0x1b, 0x18} // text
	soft   = colour{0x55, 0x50, 0x48} // lesser text
	paper  = colour{0xfb, 0xf8, 0xf1} // the page
	card   = colour{0xff, 0xfd, 0xf8} // a finding's card
	line   = colour{0x8a, 0x83, 0x76} // rules and frames
	tint   = colour{0xf1, 0xea, 0xdc} // table heads, plot's zone beyond a limit
	shadow = colour{0x10, 0x10, 0x10} // casing of a stroke, plate of a label
)

// cssColours are the names under which style.css knows the palette.
var cssColours = []struct {
	name string
	c    colour
}{
	{"ink", ink}, {"soft", soft}, {"paper", paper}, {"card", card}, {"line", line}, {"tint", tint},
	{"white", white}, {"black", okBlack},
	{"orange", okOrange}, {"sky", okSky}, {"green", okGreen}, {"yellow", okYellow},
	{"blue", okBlue}, {"vermilion", okVermilion}, {"purple", okPurple},
}

// cssRoot is the palette as CSS custom properties.
func cssRoot() string {
	var b strings.Builder
	b.WriteString(":root{")
	for _, c := range cssColours {
		fmt.Fprintf(&b, "--%s:%s;", c.name, c.c.hex())
	}
	b.WriteString("}\n")
	return b.String()
}

// textPairs are all pairs of text and ground that pages and pictures use; a
// test holds each to a contrast of 4.5:1 or more.
var textPairs = []struct {
	use    string
	fg, bg colour
}{
	{"text", ink, paper}, {"text on a card", ink, card}, {"table head", ink, tint},
	{"lesser text", soft, paper}, {"lesser text on a card", soft, card}, {"lesser text in a table head", soft, tint},
	{"link", okBlue, paper}, {"link on a card", okBlue, card},
	{"print", okBlack, white}, {"crop's scale", ink, white},
	{"sign: pass", okBlack, okGreen}, {"sign: rework", okBlack, okOrange},
	{"sign: reject", okBlack, okVermilion}, {"sign: not measured", okBlack, okSky},
	{"label in a picture", white, shadow}, {"label of a major finding", okBlack, okYellow},
}

// contrast is the ratio of two colours' luminances, 1 to 21.
// Source: W3C, WCAG 2.1 (2018), definitions of contrast ratio and relative
// luminance.
func contrast(a, b colour) float64 {
	la, lb := luminance(a), luminance(b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

func luminance(c colour) float64 {
	lin := func(v uint8) float64 {
		s := float64(v) / 255
		if s <= 0.03928 {
			return s / 12.92
		}
		return math.Pow((s+0.055)/1.055, 2.4)
	}
	return 0.2126*lin(c.r) + 0.7152*lin(c.g) + 0.0722*lin(c.b)
}

// kindColour is the bright inner colour of a kind's mark.
func kindColour(k part.Kind) colour {
	c := marks.Colour(k)
	return colour{c.R, c.G, c.B}
}

// verdictColour is the ground of a verdict's sign.
func verdictColour(v part.Verdict) colour {
	switch v {
	case part.Pass:
		return okGreen
	case part.Rework:
		return okOrange
	case part.Reject:
		return okVermilion
	}
	return okSky
}
