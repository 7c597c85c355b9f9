package screen

import (
	"fmt"
	"math"

	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/inspection"
	"finishbench/internal/optics"
	"finishbench/internal/plots"
	"finishbench/internal/report"
	"finishbench/internal/stripes"
)

// curveSheet is the page of a screen's light curve.
func curveSheet(c stripes.Curve, screen config.Screen) (report.Sheet, error) {
	power := func(g float64) func(float64) float64 { return func(v float64) float64 { return math.Pow(v, g) } }
	four, three := stripes.PhaseErrorRad(optics.LinearToSRGB, power(c.Gamma), screen.Contrast)
	left, left3 := stripes.PhaseErrorRad(power(1/(c.Gamma+2*c.UGamma)), power(c.Gamma), screen.Contrast)
	s := report.Sheet{
		Title: "The screen's light curve", Rating: report.Good, Word: "good",
		Line: fmt.Sprintf("The light follows the level's power of %.3f, ± %.3f (k = 2).", c.Gamma, 2*c.UGamma),
		Facts: []report.Fact{
			{Name: "Gamma", Value: fmt.Sprintf("%.3f ± %.3f (k = 2)", c.Gamma, 2*c.UGamma)},
			{Name: "Stray light and the screen's own black", Value: cli.ShownShare(c.Offset) + " of white"},
			{Name: "Steps about the curve", Value: cli.ShownShare(c.Residual) + " of white"},
			{Name: "Phase error of stripes drawn for sRGB, four phases", Value: fmt.Sprintf("%.1f mrad at most", 1000*four)},
			{Name: "the same of three phases", Value: fmt.Sprintf("%.1f mrad at most", 1000*three)},
			{Name: "Left of it by this curve, four and three phases", Value: fmt.Sprintf("%.1f and %.1f mrad at most", 1000*left, 1000*left3)},
			{Name: "Good until", Value: c.Made.AddDate(0, 0, c.MaxAgeDays).Format("2006-01-02")},
		},
		Warnings: c.Warnings,
	}
	if len(c.Warnings) > 0 {
		s.Rating, s.Word = report.Fair, "fair"
	}
	b := plots.Band{Name: "fitted curve", Points: []plots.Series{{Name: "steps"}}}
	t := report.SheetTable{Caption: "Steps of the wedge", Head: []string{"level", "light, % of white", "curve, % of white", "off, % of white"}, Numeric: []bool{true, true, true, true}}
	for level := 0; level <= 255; level += 3 {
		b.X, b.Y = append(b.X, float64(level)), append(b.Y, 100*math.Pow(float64(level)/255, c.Gamma))
	}
	for _, k := range c.Steps {
		b.Points[0].X, b.Points[0].Y = append(b.Points[0].X, float64(k.Level)), append(b.Points[0].Y, 100*k.Light)
		t.Rows = append(t.Rows, []string{fmt.Sprint(k.Level), cli.Shown(100*k.Light, 2), cli.Shown(100*k.Fitted, 2), cli.Shown(math.Round(1e4*(k.Light-k.Fitted))/100+0, 2)})
	}
	svg, err := plots.Curve(plots.Options{X: "level that the screen showed", Y: "light / % of white"}, b)
	if err != nil {
		return s, err
	}
	s.Sections = []report.SheetSection{
		{Heading: "The wedge", Figures: []report.SheetFigure{{SVG: svg, Alt: fmt.Sprintf("Light of %d steps over the level, and the curve through them", len(c.Steps)), Caption: "Black's own light is taken off."}}, Tables: []report.SheetTable{t}},
		{Heading: "What to do", Text: []string{
			"Name the file in the station file (screen: curve) and start the bench anew: its stripes are drawn by this curve. What was measured is screen and camera together; measure again with another camera or screen, or another brightness.",
			"Limits are common practice and have no published source.",
		}},
		screenCautionSection(),
	}
	return s, nil
}

func screenCautionSection() report.SheetSection {
	return report.SheetSection{Heading: "Cautions", Text: Cautions()}
}

// mirrorSheet is the page of a mirror in three positions.
func mirrorSheet(m stripes.Mirror) report.Sheet {
	r := inspection.MirrorRating(m)
	ruler := 4 * math.Pi * m.ToldDistanceMM / m.PeriodMM
	told := [2]float64{ruler, ruler * math.Cos(m.ToldTiltDeg*math.Pi/180)}
	s := report.Sheet{
		Title: "The screen, by a mirror in three positions", Rating: r, Word: string(r),
		Line: fmt.Sprintf("One milliradian of slope moves the stripes by %.3f rad along x and %.3f rad along y, ± %.1f %% (k = 2).", m.RadPerRad[0]/1000, m.RadPerRad[1]/1000, 200*m.URel()),
		Facts: []report.Fact{
			{Name: "Distance that a screen square to the mirrored line of sight would have", Value: fmt.Sprintf("%.1f ± %.1f mm (k = 2); by the ruler %.0f mm", m.DistanceMM, 2*m.UDistanceMM, m.ToldDistanceMM)},
			{Name: "Tilt, from y against x", Value: fmt.Sprintf("%.1f ± %.1f° (k = 2); told %.0f°", m.TiltDeg, 2*m.UTiltDeg, math.Abs(m.ToldTiltDeg))},
			{Name: "Axis of the tilts beside the picture's", Value: fmt.Sprintf("%.1f and %.1f°", math.Abs(m.CrossDeg[0]), math.Abs(m.CrossDeg[1]))},
			{Name: "The mirror's slopes beside a smooth field", Value: fmt.Sprintf("%.3f and %.3f mrad", m.RoughMRad[0], m.RoughMRad[1])},
			{Name: "Good until", Value: m.Made.AddDate(0, 0, m.MaxAgeDays).Format("2006-01-02") + ", or until screen or camera is moved"},
		},
		Warnings: m.Warnings,
	}
	t := report.SheetTable{Caption: "Radians of phase that a radian of slope makes", Head: []string{"", "x", "y"}, Numeric: []bool{false, true, true}}
	row := func(name string, f func(d int) string) { t.Rows = append(t.Rows, []string{name, f(0), f(1)}) }
	row("measured", func(d int) string { return cli.Shown(m.RadPerRad[d], 1) })
	row("by the ruler, the tilt and the period", func(d int) string { return cli.Shown(told[d], 1) })
	row("standard uncertainty (k = 1)", func(d int) string { return cli.Shown(m.URadPerRad[d], 1) })
	for i, p := range m.Parts[0] {
		row("of it: "+p.Name, func(d int) string { return cli.ShownShare(m.Parts[d][i].URel) })
	}
	s.Sections = []report.SheetSection{
		{Heading: "What it comes from", Text: []string{fmt.Sprintf("A gauge of %.0f µm under a mirror of %.1f mm along x and %.1f mm along y, stripes of %g mm. Uncertainties are combined by JCGM 100, 5.1.2.", m.GaugeUM, m.SpanMM[0], m.SpanMM[1], m.PeriodMM)}, Tables: []report.SheetTable{t}},
		{Heading: "What to do", Text: []string{
			"Name the file in the station file (screen: mirror). Slopes in mrad and depths in µm are then told by it. It is refused once the station's period, distance or tilt is another.",
			"A back-silvered mirror mirrors twice, and that is not looked for: take a first-surface mirror or black glass. Limits are common practice and have no published source.",
		}},
		screenCautionSection(),
	}
	return s
}
