package report

import (
	"fmt"
	"html/template"

	"finishbench/internal/part"
)

// What other pages of the program share with these, so that all look alike.

// PaletteCSS is the palette as CSS custom properties of :root.
func PaletteCSS() string { return cssRoot() }

// VerdictSign is the sign of a verdict, as SVG. The word has to stand beside it:
// the sign is hidden from screen readers.
func VerdictSign(v part.Verdict) template.HTML { return verdictSign(v) }

// KindIcon is the shape of a kind as drawn in the pictures, as SVG.
func KindIcon(k part.Kind) template.HTML { return icon(k) }

// SeverityBars shows a severity as SVG; the word has to stand beside it.
func SeverityBars(s part.Severity) template.HTML { return severityBars(s) }

// SmallJPEG is a picture shrunk to at most so many pixels in width, as it was
// taken: nothing is brightened or drawn. For live pictures.
func SmallJPEG(im *part.Image, width int) ([]byte, error) {
	if err := im.Validate(); err != nil {
		return nil, fmt.Errorf("report: small picture: %w", err)
	}
	src := im
	if im.Pix8 == nil {
		src = rgb8(im)
	}
	if width < 1 || im.W <= width {
		return EncodeJPEG(src, 75)
	}
	small, err := shrink(src, width, max(1, (im.H*width+im.W/2)/im.W))
	if err != nil {
		return nil, err
	}
	return EncodeJPEG(small, 75)
}
