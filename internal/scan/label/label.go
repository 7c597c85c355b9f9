// Package label draws labels with a QR code that the bench's readers read.
package label

import (
	"fmt"
	"io"
	"strings"

	"codeberg.org/go-pdf/fpdf"
	go_qr "github.com/piglig/go-qr"

	"finishbench/internal/scan"
)

// Label is what one says: the code's text, see [scan.Own], and the name that people read.
type Label struct{ Text, Name string }

// New is the label of a unit, badge, lot or batch. The error says what is wrong with the name.
func New(kind scan.Kind, name string) (Label, error) {
	text, err := scan.Own(kind, name)
	if err != nil {
		return Label{}, err
	}
	c, err := scan.Rules{}.Read(text, "")
	if err != nil {
		return Label{}, fmt.Errorf("the label of %q would not be read: %w", name, err)
	}
	return Label{text, c.Name()}, nil
}

// Bounds of a label, mm.
const (
	LeastMM, MostMM = 8, 200
	// leastModuleMM is the least side of one of a code's squares that common readers still read
	// (common practice, no source).
	leastModuleMM = 0.25
	// quiet is the empty border that a code needs, in its squares (ISO/IEC 18004, from memory).
	quiet = 4
)

// WritePDF writes a page a label, as large as the label: code and name side by side, or one above
// the other where it is not wider than high by half. The error says which label is too small.
func WritePDF(out io.Writer, all []Label, widthMM, heightMM float64) error {
	p := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: fpdf.SizeType{Wd: widthMM, Ht: heightMM}})
	p.SetMargins(0, 0, 0)
	p.SetAutoPageBreak(false, 0)
	p.SetTitle("labels", true)
	for _, l := range all {
		q, err := go_qr.EncodeText(l.Text, go_qr.Medium)
		if err != nil {
			return fmt.Errorf("label of %s: %w", l.Name, err)
		}
		beside := widthMM >= 1.5*heightMM
		side := min(widthMM, heightMM)
		if !beside {
			side = min(widthMM, heightMM*0.8)
		}
		squares := float64(q.Size() + 2*quiet)
		module := side / squares
		if module < leastModuleMM {
			return fmt.Errorf("the label of %s needs %.0f mm for its code, and has %.0f", l.Name, leastModuleMM*squares+0.5, side)
		}
		p.AddPageFormat("P", fpdf.SizeType{Wd: widthMM, Ht: heightMM})
		left, textX, textY, textW, textH := 0.0, side, 0.0, widthMM-side-1, heightMM
		if !beside {
			left, textX, textY, textW, textH = (widthMM-side)/2, 1, side, widthMM-2, heightMM-side
		}
		draw(p, q, left, 0, module)
		write(p, l.Name, textX, textY, textW, textH)
	}
	if err := p.Output(out); err != nil {
		return fmt.Errorf("write the labels: %w", err)
	}
	return nil
}

// DrawCode draws the code of a label into a square of a page, with the border that it needs.
func DrawCode(p *fpdf.Fpdf, l Label, left, top, sideMM float64) error {
	q, err := go_qr.EncodeText(l.Text, go_qr.Medium)
	if err != nil {
		return fmt.Errorf("code of %s: %w", l.Name, err)
	}
	draw(p, q, left, top, sideMM/float64(q.Size()+2*quiet))
	return nil
}

// draw fills a code's dark squares, as one path: between squares that touch no light shows.
func draw(p *fpdf.Fpdf, q *go_qr.QrCode, left, top, module float64) {
	p.SetFillColor(0, 0, 0)
	for y := range q.Size() {
		for x := 0; x < q.Size(); x++ {
			from := x
			for x < q.Size() && q.Module(x, y) {
				x++
			}
			if x > from {
				x0, x1 := left+module*float64(from+quiet), left+module*float64(x+quiet)
				y0, y1 := top+module*float64(y+quiet), top+module*float64(y+1+quiet)
				p.MoveTo(x0, y0)
				p.LineTo(x1, y0)
				p.LineTo(x1, y1)
				p.LineTo(x0, y1)
				p.ClosePath()
			}
		}
	}
	p.DrawPath("F")
}

// write sets a name as large as its room allows, on two lines where that makes it larger by a
// third: rather between its parts than within one.
func write(p *fpdf.Fpdf, name string, x, y, w, h float64) {
	lines, size := []string{name}, 0.0
	p.SetFont("Helvetica", "B", 10)
	fit := func(lines []string) float64 {
		most := 0.0
		for _, l := range lines {
			most = max(most, p.GetStringWidth(l))
		}
		_, high := p.GetFontSize()
		return min(10*w/most, 10*h*0.8/(high*1.15*float64(len(lines))), 36)
	}
	size = fit(lines)
	for _, signs := range []string{"-_. ", name} {
		one := size
		for i := 1; i < len(name); i++ {
			two := []string{strings.TrimSpace(name[:i]), name[i:]}
			if strings.ContainsRune(signs, rune(name[i-1])) && fit(two) > max(size, one*4/3) {
				lines, size = two, fit(two)
			}
		}
	}
	p.SetFontSize(size)
	_, high := p.GetFontSize()
	at := y + (h-high*1.15*float64(len(lines)))/2
	for _, l := range lines {
		p.Text(x+(w-p.GetStringWidth(l))/2, at+high*0.88, l)
		at += high * 1.15
	}
}
