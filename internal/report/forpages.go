package report

import (
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
