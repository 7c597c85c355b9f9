package screen

import (
	"fmt"
	"math"
	"strconv"

	"finishbench/internal/config"
	"finishbench/internal/inspection"
	"finishbench/internal/lang"
	"finishbench/internal/optics"
	"finishbench/internal/report"
	"finishbench/internal/report/plots"
	"finishbench/internal/stripes"
)

// curveSheet is the page of a screen's light curve.
func curveSheet(x *lang.Lang, c stripes.Curve, screen config.Screen) (report.Sheet, error) {
	power := func(g float64) func(float64) float64 { return func(v float64) float64 { return math.Pow(v, g) } }
	four, three := stripes.PhaseErrorRad(optics.LinearToSRGB, power(c.Gamma), screen.Contrast)
	left, left3 := stripes.PhaseErrorRad(power(1/(c.Gamma+2*c.UGamma)), power(c.Gamma), screen.Contrast)
	s := report.Sheet{
		Lang: x, Title: x.T("screen.curve.title"), Rating: report.Good, Word: x.T("rating.good"),
		Line: x.T("screen.curve.line", "gamma", fmt.Sprintf("%.3f", c.Gamma), "u", fmt.Sprintf("%.3f", 2*c.UGamma)),
		Facts: []report.Fact{
			{Name: x.T("screen.curve.gamma"), Value: x.T("screen.with_u", "v", fmt.Sprintf("%.3f", c.Gamma), "u",
				fmt.Sprintf("%.3f", 2*c.UGamma))},
			{Name: x.T("screen.curve.offset"), Value: x.T("screen.of_white", "share", x.ShownShare(c.Offset))},
			{Name: x.T("screen.curve.residual"), Value: x.T("screen.of_white", "share", x.ShownShare(c.Residual))},
			{Name: x.T("screen.curve.phase_four"), Value: x.T("screen.at_most", "mrad", fmt.Sprintf("%.1f", 1000*four))},
			{Name: x.T("screen.curve.phase_three"), Value: x.T("screen.at_most", "mrad", fmt.Sprintf("%.1f", 1000*three))},
			{Name: x.T("screen.curve.left"), Value: x.T("screen.at_most_two", "mrad", fmt.Sprintf("%.1f", 1000*left), "mrad3",
				fmt.Sprintf("%.1f", 1000*left3))},
			{Name: x.T("screen.until"), Value: c.Made.AddDate(0, 0, c.MaxAgeDays).Format("2006-01-02")},
		},
		Warnings: warnings(x, c.Proof),
	}
	if len(c.Warnings) > 0 {
		s.Rating, s.Word = report.Fair, x.T("rating.fair")
	}
	b := plots.Band{Name: x.T("screen.curve.fitted"), Points: []plots.Series{{Name: x.T("screen.curve.steps")}}}
	t := report.SheetTable{Caption: x.T("screen.curve.table"), Head: []string{x.T("screen.curve.level"), x.T("screen.curve.light"),
		x.T("screen.curve.curve"), x.T("screen.curve.off")}, Numeric: []bool{true, true, true, true}}
	for level := 0; level <= 255; level += 3 {
		b.X, b.Y = append(b.X, float64(level)), append(b.Y, 100*math.Pow(float64(level)/255, c.Gamma))
	}
	for _, k := range c.Steps {
		b.Points[0].X, b.Points[0].Y = append(b.Points[0].X, float64(k.Level)), append(b.Points[0].Y, 100*k.Light)
		t.Rows = append(t.Rows, []string{fmt.Sprint(k.Level), x.Shown(100*k.Light, 2), x.Shown(100*k.Fitted, 2),
			x.Shown(math.Round(1e4*(k.Light-k.Fitted))/100+0, 2)})
	}
	svg, err := plots.Curve(plots.Options{X: x.T("screen.curve.axis.level"), Y: x.T("screen.curve.axis.light")}, b)
	if err != nil {
		return s, err
	}
	s.Sections = []report.SheetSection{
		{Heading: x.T("screen.curve.wedge"), Figures: []report.SheetFigure{{SVG: svg,
			Alt: x.T("screen.curve.alt", "n",
				strconv.Itoa(len(c.Steps))), Caption: x.T("screen.curve.caption")}}, Tables: []report.SheetTable{t}},
		{Heading: x.T("screen.do"), Text: []string{
			x.T("screen.curve.do"),
			x.T("screen.limits"),
		}},
		screenCautionSection(x),
	}
	return s, nil
}

func screenCautionSection(x *lang.Lang) report.SheetSection {
	return report.SheetSection{Heading: x.T("page.cautions"), Text: Cautions(x)}
}

// mirrorSheet is the page of a mirror in three positions.
func mirrorSheet(x *lang.Lang, m stripes.Mirror) report.Sheet {
	r := inspection.MirrorRating(m)
	ruler := 4 * math.Pi * m.StatedDistanceMM / m.PeriodMM
	stated := [2]float64{ruler, ruler * math.Cos(m.StatedTiltDeg*math.Pi/180)}
	s := report.Sheet{
		Lang: x, Title: x.T("screen.mirror.title"), Rating: r, Word: x.T("rating." + string(r)),
		Line: x.T("screen.mirror.line", "x_rad", fmt.Sprintf("%.3f", m.RadPerRad[0]/1000), "y_rad",
			fmt.Sprintf("%.3f", m.RadPerRad[1]/1000), "percent", fmt.Sprintf("%.1f", 200*m.URel())),
		Facts: []report.Fact{
			{Name: x.T("screen.mirror.distance"), Value: x.T("screen.mirror.distance_value", "mm", fmt.Sprintf("%.1f", m.DistanceMM),
				"u_mm", fmt.Sprintf("%.1f", 2*m.UDistanceMM), "ruler_mm", fmt.Sprintf("%.0f", m.StatedDistanceMM))},
			{Name: x.T("screen.mirror.tilt"), Value: x.T("screen.mirror.tilt_value", "deg", fmt.Sprintf("%.1f", m.TiltDeg), "u_deg",
				fmt.Sprintf("%.1f", 2*m.UTiltDeg), "told_deg", fmt.Sprintf("%.0f", math.Abs(m.StatedTiltDeg)))},
			{Name: x.T("screen.mirror.axis"), Value: x.T("screen.mirror.axis_value", "x_deg",
				fmt.Sprintf("%.1f", math.Abs(m.CrossDeg[0])), "y_deg", fmt.Sprintf("%.1f", math.Abs(m.CrossDeg[1])))},
			{Name: x.T("screen.mirror.rough"), Value: x.T("screen.mirror.rough_value", "x_mrad", fmt.Sprintf("%.3f", m.RoughMRad[0]),
				"y_mrad", fmt.Sprintf("%.3f", m.RoughMRad[1]))},
			{Name: x.T("screen.until"), Value: x.T("screen.mirror.until", "day", m.Made.AddDate(0, 0, m.MaxAgeDays).Format("2006-01-02"))},
		},
		Warnings: warnings(x, m.Proof),
	}
	t := report.SheetTable{Caption: x.T("screen.mirror.table"), Head: []string{"", "x", "y"}, Numeric: []bool{false, true, true}}
	row := func(name string, f func(d int) string) { t.Rows = append(t.Rows, []string{name, f(0), f(1)}) }
	row(x.T("screen.mirror.measured"), func(d int) string { return x.Shown(m.RadPerRad[d], 1) })
	row(x.T("screen.mirror.by_ruler"), func(d int) string { return x.Shown(stated[d], 1) })
	row(x.T("screen.mirror.u"), func(d int) string { return x.Shown(m.URadPerRad[d], 1) })
	for i, p := range m.Parts[0] {
		row(x.T("screen.mirror.of_it", "part", x.Named("screen.part.", p.Name)),
			func(d int) string { return x.ShownShare(m.Parts[d][i].URel) })
	}
	s.Sections = []report.SheetSection{
		{Heading: x.T("screen.mirror.from"), Text: []string{x.T("screen.mirror.gauge", "um", fmt.Sprintf("%.0f", m.GaugeUM), "x_mm",
			fmt.Sprintf("%.1f", m.SpanMM[0]), "y_mm", fmt.Sprintf("%.1f", m.SpanMM[1]), "period_mm", fmt.Sprintf("%g",
				m.PeriodMM))}, Tables: []report.SheetTable{t}},
		{Heading: x.T("screen.do"), Text: []string{
			x.T("screen.mirror.do"),
			x.T("screen.mirror.glass"),
		}},
		screenCautionSection(x),
	}
	return s
}

// warnings are a file's warnings; those of one written before they had phrases are English.
func warnings(x *lang.Lang, p stripes.Proof) []string {
	if len(p.WarningPhrases) != len(p.Warnings) {
		return p.Warnings
	}
	return x.SayAll(p.WarningPhrases)
}
