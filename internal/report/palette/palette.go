// Package palette has the colours of pictures, plots, pages and PDFs, as sRGB. Pure Go.
package palette

import (
	"fmt"
	"image/color"
)

// The palette of Okabe and Ito, "Color Universal Design", 2002 (values from
// memory): eight colours that people with common colour-vision deficiencies
// can tell apart.
var (
	Black     = color.NRGBA{0x00, 0x00, 0x00, 0xff}
	Orange    = color.NRGBA{0xe6, 0x9f, 0x00, 0xff}
	Sky       = color.NRGBA{0x56, 0xb4, 0xe9, 0xff}
	Green     = color.NRGBA{0x00, 0x9e, 0x73, 0xff}
	Yellow    = color.NRGBA{0xf0, 0xe4, 0x42, 0xff}
	Blue      = color.NRGBA{0x00, 0x72, 0xb2, 0xff}
	Vermilion = color.NRGBA{0xd5, 0x5e, 0x00, 0xff}
	Purple    = color.NRGBA{0xcc, 0x79, 0xa7, 0xff}
)

// Paper and ink: neutral tones for text, lines and grounds.
var (
	White  = color.NRGBA{0xff, 0xff, 0xff, 0xff}
	Ink    = color.NRGBA{0x1d, 0x1b, 0x18, 0xff} // text
	Soft   = color.NRGBA{0x55, 0x50, 0x48, 0xff} // lesser text
	Paper  = color.NRGBA{0xfb, 0xf8, 0xf1, 0xff} // the page
	Card   = color.NRGBA{0xff, 0xfd, 0xf8, 0xff} // a finding's card, a plot's ground
	Line   = color.NRGBA{0x8a, 0x83, 0x76, 0xff} // rules and frames
	Tint   = color.NRGBA{0xf1, 0xea, 0xdc, 0xff} // table heads, plot's zone beyond a limit
	Shadow = color.NRGBA{0x10, 0x10, 0x10, 0xff} // casing of a stroke, plate of a label
)

// Hex is a colour, its alpha aside, as CSS and SVG write it.
func Hex(c color.NRGBA) string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }
