package bench

import (
	"html/template"
	"image/color"
	"regexp"
	"strings"

	"finishbench/internal/report/palette"
)

// plotColours are the colours of package plots, in the order of the classes f0, f1,
// ... (fills) and s0, s1, ... (strokes) of bench.css: ink, ground, grid, then series.
var plotColours = []color.NRGBA{palette.Ink, palette.Card, palette.Line, palette.Blue, palette.Vermilion, palette.Green, palette.Purple,
	palette.Orange, palette.Sky}

var (
	styleAttr = regexp.MustCompile(`\s*style="([^"]*)"`)
	plotOpen  = regexp.MustCompile(`^<svg [^>]*viewBox="([^"]*)"[^>]*>`)
)

// plotPart is a plot for a page whose policy allows no styles of its own: each style
// becomes attributes, its colours classes, so that dark looks have their own. It
// is "" for what is no plot.
func plotPart(svg []byte) template.HTML {
	m := plotOpen.FindSubmatchIndex(svg)
	if m == nil {
		return ""
	}
	body := styleAttr.ReplaceAllStringFunc(string(svg[m[1]:]), func(a string) string {
		return attributes(styleAttr.FindStringSubmatch(a)[1])
	})
	return template.HTML(`<svg class="plot" viewBox="` + string(svg[m[2]:m[3]]) + `" aria-hidden="true" focusable="false">` + body)
}

// attributes are the declarations of a style as attributes of SVG.
func attributes(style string) string {
	var out, classes []string
	for d := range strings.SplitSeq(style, ";") {
		k, v, ok := strings.Cut(d, ":")
		k, v = strings.TrimSpace(k), strings.TrimSpace(v)
		if !ok {
			continue
		}
		if c := colourClass(k, v); c != "" {
			classes = append(classes, c)
			continue
		}
		out = append(out, k+`="`+template.HTMLEscapeString(v)+`"`)
	}
	if len(classes) > 0 {
		out = append(out, `class="`+strings.Join(classes, " ")+`"`)
	}
	if len(out) == 0 {
		return ""
	}
	return " " + strings.Join(out, " ")
}

func colourClass(property, colour string) string {
	for i, c := range plotColours {
		if strings.EqualFold(palette.Hex(c), colour) && (property == "fill" || property == "stroke") {
			return property[:1] + string(rune('0'+i))
		}
	}
	return ""
}
