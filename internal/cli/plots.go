package cli

import "finishbench/internal/report"

// Figure makes a plot; none where there is nothing to draw.
func Figure(draw func() ([]byte, error), alt, caption string) *report.SheetFigure {
	svg, err := draw()
	if err != nil {
		return nil
	}
	return &report.SheetFigure{SVG: svg, Alt: alt, Caption: caption}
}

// Figures are those plots of which there is something to draw.
func Figures(f ...*report.SheetFigure) []report.SheetFigure {
	var all []report.SheetFigure
	for _, x := range f {
		if x != nil {
			all = append(all, *x)
		}
	}
	return all
}
