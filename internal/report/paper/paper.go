// Package paper writes PDFs: pages of A4 in one font with Latin and Chinese letters, that are the
// same bytes each time, and a canvas on them for package plots. Pure Go.
package paper

import (
	"image/color"
	"strings"
	"time"
	"unicode"

	"codeberg.org/go-pdf/fpdf"
)

// Sizes of a page, mm: A4.
const (
	WideMM, HighMM = 210.0, 297.0
	MarginMM       = 16.0
)

// New begins a PDF in a language (BCP 47), with the font "text". It has no page yet. All that would
// differ from one run to the next is given.
func New(title, subject, language string, stamp time.Time) (*fpdf.Fpdf, error) {
	font, err := fontFile()
	if err != nil {
		return nil, err
	}
	p := fpdf.New("P", "mm", "A4", "")
	p.SetCatalogSort(true)
	p.SetCreationDate(stamp.UTC())
	p.SetModificationDate(stamp.UTC())
	p.SetProducer("Finishbench", true)
	p.SetTitle(title, true)
	p.SetSubject(subject, true)
	p.SetLang(language)
	p.SetAutoPageBreak(false, 0)
	p.SetMargins(MarginMM, MarginMM, MarginMM)
	p.SetCellMargin(0)
	p.AddUTF8FontFromBytes("text", "", font)
	return p, p.Error()
}

// RGB is a colour as fpdf takes it.
func RGB(c color.NRGBA) (r, g, b int) { return int(c.R), int(c.G), int(c.B) }

// Letters chooses how large, in points, and in which colour the next letters are.
func Letters(p *fpdf.Fpdf, size float64, c color.NRGBA) {
	p.SetFont("text", "", size)
	p.SetTextColor(RGB(c))
}

// Bold writes with thicker strokes: the font has one weight.
func Bold(p *fpdf.Fpdf, size float64, c color.NRGBA, write func()) {
	Letters(p, size, c)
	p.SetDrawColor(RGB(c))
	p.SetLineWidth(size * .011)
	p.SetTextRenderingMode(2)
	write()
	p.SetTextRenderingMode(0)
}

// Wrap breaks a text into lines that fit: at spaces, and beside any character of
// Chinese or Japanese writing, but not before what closes a phrase.
func Wrap(p *fpdf.Fpdf, text string, room float64) []string {
	if p.GetStringWidth(text) <= room {
		return []string{text}
	}
	var lines []string
	var line, word strings.Builder
	lineWide, wordWide := 0.0, 0.0
	flush := func() { // the word goes to the line, or begins a new one
		if word.Len() == 0 {
			return
		}
		if lineWide > 0 && lineWide+wordWide > room {
			lines = append(lines, strings.TrimRight(line.String(), " "))
			line.Reset()
			lineWide = 0
		}
		line.WriteString(word.String())
		lineWide += wordWide
		word.Reset()
		wordWide = 0
	}
	for _, r := range text {
		w := p.GetStringWidth(string(r))
		if han(r) || wordWide+w > room {
			flush()
		}
		if r == ' ' {
			flush()
			if lineWide > 0 {
				line.WriteRune(r)
				lineWide += w
			}
			continue
		}
		if word.Len() == 0 && line.Len() > 0 && closes(r) {
			line.WriteRune(r) // hangs over rather than begin a line
			lineWide += w
			continue
		}
		word.WriteRune(r)
		wordWide += w
		if han(r) {
			flush()
		}
	}
	flush()
	if line.Len() > 0 {
		lines = append(lines, strings.TrimRight(line.String(), " "))
	}
	return lines
}

func han(r rune) bool { return unicode.In(r, unicode.Han, unicode.Hiragana, unicode.Katakana) }

func closes(r rune) bool {
	return strings.ContainsRune("，。、；：！？）》」』”’％…", r)
}
