package plots

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgsvg"
)

// fontFamily is the page's.
const fontFamily = "system-ui, 'Liberation Sans', 'DejaVu Sans', sans-serif"

// A plot's natural width is such that its letters are about as large as the
// page's. It is shown between these times that width; where its place is
// narrower, it scrolls there.
const (
	unitsPerRem = 17
	smallest    = 0.92
	largest     = 1.35
)

// Onto gives the canvas for a plot of this size, in the plot's units. Lines of text
// come to it as [Aligned] reads them.
type Onto func(wide, high float64) vg.Canvas

// on draws on what the caller gives, or, for nil, on an element of SVG, which it returns.
func (o Onto) on(w, h vg.Length, draw func(vg.Canvas)) ([]byte, error) {
	if o != nil {
		draw(o(float64(w), float64(h)))
		return nil, nil
	}
	canvas := vgsvg.New(w, h)
	draw(canvas)
	var b bytes.Buffer
	if _, err := canvas.WriteTo(&b); err != nil {
		return nil, fmt.Errorf("plots: write svg: %w", err)
	}
	return inPage(b.Bytes(), w, h)
}

// inPage turns a drawing into an element for the inside of a page: without the
// size in points that the library writes, its texts in the page's font.
func inPage(svg []byte, w, h vg.Length) ([]byte, error) {
	start := bytes.Index(svg, []byte("<svg"))
	if start < 0 {
		return nil, errors.New("plots: write svg: the library wrote no svg element")
	}
	end := bytes.IndexByte(svg[start:], '>')
	if end < 0 {
		return nil, errors.New("plots: write svg: the library wrote half an element")
	}
	body := svg[start+end+1:]
	body = regexp.MustCompile(`font-family:[^;"]*;font-variant:[^;"]*;font-weight:[^;"]*;font-style:[^;"]*;?`).ReplaceAll(body, nil)
	body = anchors(bytes.ReplaceAll(body, []byte("\n\tstyle="), []byte(" style=")))
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg class="plot" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %.0f" style="min-width:%.1frem;max-width:%.1frem" font-family="%s">`,
		w, h, w/unitsPerRem*smallest, w/unitsPerRem*largest, fontFamily)
	b.Write(body)
	return bytes.TrimSpace(b.Bytes()), nil
}

// Standalone makes a file of a plot, on a white ground and with its natural
// size, for a text that shows pictures. It returns nil for what is no plot.
func Standalone(svg []byte) []byte {
	m := regexp.MustCompile(`^<svg class="plot" ([^>]*)viewBox="0 0 (\d+) (\d+)" style="[^"]*"([^>]*)>`).FindSubmatchIndex(svg)
	if m == nil {
		return nil
	}
	part := func(i int) []byte { return svg[m[2*i]:m[2*i+1]] }
	var b bytes.Buffer
	fmt.Fprintf(&b, `<?xml version="1.0" encoding="UTF-8"?>`+"\n"+`<svg %swidth="%s" height="%s" viewBox="0 0 %s %s"%s><rect width="100%%" height="100%%" fill="#ffffff"/>`,
		part(1), part(2), part(3), part(2), part(3), part(4))
	b.Write(svg[m[1]:])
	b.WriteByte('\n')
	return b.Bytes()
}
