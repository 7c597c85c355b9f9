package report

import (
	"fmt"
	"image/color"
	"strings"

	"finishbench/internal/part"
	"finishbench/internal/report/palette"
)

// cssColours are the names under which style.css knows the palette.
var cssColours = []struct {
	name string
	c    color.NRGBA
}{
	{"ink", palette.Ink}, {"soft", palette.Soft}, {"paper", palette.Paper}, {"card", palette.Card}, {"line", palette.Line},
	{"tint", palette.Tint},
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
