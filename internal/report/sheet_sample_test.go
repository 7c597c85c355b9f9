package report

import (
	"bytes"
	"fmt"
	"math"
	"testing"

	"finishbench/internal/report/plots"
)

func sheetPage(t testing.TB, s Sheet) string {
	t.Helper()
	var b bytes.Buffer
	if err := SheetPage(&b, s); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// figure is a plot of a sheet.
func plotted(t testing.TB, alt, caption string) func(svg []byte, err error) SheetFigure {
	return func(svg []byte, err error) SheetFigure {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return SheetFigure{SVG: svg, Alt: alt, Caption: caption}
	}
}

// sheets are a sheet of each rating, with all that a sheet can hold. All data are
// invented.
func sheets(t testing.TB) map[string]Sheet {
	t.Helper()
	return map[string]Sheet{"sheet good": goodSheet(t), "sheet fair": fairSheet(t), "sheet poor": poorSheet(t),
		"sheet unrated": unratedSheet(t)}
}

func goodSheet(t testing.TB) Sheet {
	var arrows []plots.Arrow
	for y := 60.0; y < 1200; y += 120 {
		for x := 80.0; x < 1600; x += 120 {
			arrows = append(arrows, plots.Arrow{X: x, Y: y, DX: 0.1 * math.Sin(x*y), DY: 0.1 * math.Cos(x+2*y)})
		}
	}
	return Sheet{Title: "Scale", Subject: "edge camera", Rating: Good, Word: "good",
		Line:    "One pixel is 0.01502 mm ± 0.04 % (k = 2) at the unit's distance.",
		Facts:   []Fact{{"Scale", "0.01502 mm/px"}, {"Uncertainty (k = 2)", "0.04 %"}, {"Residuals", "0.09 px"}, {"Squareness", "89.98°"}},
		Reasons: []string{"The residuals are 0.09 px, limit 0.3 px.", "The target covers 81 % of the picture."},
		Sections: []SheetSection{
			{Heading: "Set-up", Bars: []SheetBar{
				{Name: "Edge width", Value: "2.1 px", V: 2.1, Lo: nan, Hi: 4, Min: 0, Max: 8, Line: "Sharp enough."},
				{Name: "Panel's brightness", Value: "88 %", V: 88, Lo: 60, Hi: 80, Min: 0, Max: 100, AboveText: "too bright",
					Line: "Close the aperture by half a stop."},
				{Name: "Tilt", Value: "−3.0°", V: -3, Lo: -1, Hi: 1, Min: -2, Max: 2, Line: "Turn the target to the left."},
				{Name: "Scale", V: nan, Lo: 0.014, Hi: 0.016, Line: "No target was found in the picture."}}},
			{Heading: "What is left over",
				Text: []string{"Each arrow runs from where a point of the target should lie to where it was seen."},
				Figures: []SheetFigure{plotted(t, "arrows of up to 0.14 px without an order",
					"Residuals of 130 points")(plots.Arrows(plots.Options{X: "x / px", Y: "y / px"}, 1600, 1200, arrows, 0))}},
		}, Version: "finishbench 0.0 (test)", Generated: "2031-02-03 04:05"}
}

func fairSheet(t testing.TB) Sheet {
	var names []string
	var groups []plots.Series
	rows := [][]string{}
	for i := range 10 {
		names = append(names, fmt.Sprint(i+1))
	}
	for a := range 3 {
		s := plots.Series{Name: "appraiser " + string(rune('A'+a))}
		for p := range 10 {
			for k := range 3 {
				s.X, s.Y = append(s.X, float64(p)), append(s.Y, 25*math.Sin(float64(p*p))+float64(a)+math.Sin(float64(17*p+31*a+7*k)))
			}
		}
		groups = append(groups, s)
	}
	for i := range 6 {
		rows = append(rows, []string{[]string{"repeatability", "reproducibility", "interaction", "gauge", "part to part", "all"}[i],
			"0.0401", "0.2000 [0.1412, 0.3093]", "1.20", "18.42", "20.00", "3.39", "0.161", "0.142 to 0.311"})
	}
	return Sheet{Title: "Gauge study: step at the seam", Subject: "ten pieces", Rating: Fair, Word: "conditional",
		Line:     "The gauge takes 27.9 % of the study's variation: usable where the step is not the last word.",
		Facts:    []Fact{{"Gauge, of study variation", "27.9 %"}, {"Gauge, of tolerance", "12.0 %"}, {"Distinct categories", "4"}},
		Reasons:  []string{"27.9 % lies between 10 % and 30 %."},
		Warnings: []string{"There are three appraisers: what is said of reproducibility is vague (95 % interval 11 % to 79 %)."},
		Sections: []SheetSection{{Heading: "By part", Figures: []SheetFigure{
			plotted(t, "each appraiser's values for each part",
				"Values by part; the means of each appraiser are joined")(plots.Strips(plots.Options{X: "part", Y: "step / µm"}, names,
				groups, plots.HLine{Name: "mean", Y: 1}, plots.HLine{Name: "proud limit", Y: 30, Dash: true})),
			plotted(t, "shares of the components", "Components of variation")(plots.Bars(plots.Options{Y: "share / %"},
				[]string{"gauge", "repeatability", "reproducibility", "part to part"},
				[]plots.Series{{Name: "of study variation", Y: []float64{27.9, 20, 19.4, 96}},
					{Name: "of tolerance", Y: []float64{12, 8.6, 8.3, math.NaN()}}}, plots.HLine{Name: "30 %", Y: 30, Dash: true}))},
			Tables: []SheetTable{{Caption: "Components", Head: []string{"source", "variance, µm²", "sd [95 % interval], µm", "6 sd, µm",
				"of study variation, %", "of variance, %", "of tolerance, %", "p", "interval of p"},
				Numeric: []bool{false, true, true, true, true, true, true, true, true}, Rows: rows, Marked: []bool{false, true}}}}},
		Version: "finishbench 0.0 (test)", Generated: "2031-02-03 04:05"}
}

func poorSheet(t testing.TB) Sheet {
	b := plots.Band{Name: "probability of detection", BandName: "95 % band",
		MarkX: []plots.Mark{{Name: "a50 0.08 mm", X: 0.08}, {Name: "a90 0.17 mm", X: 0.17}, {Name: "a90/95 0.21 mm", X: 0.21}}}
	var hit, miss plots.Series
	hit.Name, miss.Name = "found", "missed"
	for i := range 60 {
		x := 0.03 * math.Pow(10, float64(i)/59)
		p := func(k float64) float64 { return 1 / (1 + math.Pow(0.08/x, k)) }
		b.X, b.Y, b.Lower, b.Upper = append(b.X, x), append(b.Y, p(2.9)), append(b.Lower, p(2.9)*0.85),
			append(b.Upper, min(1, p(2.9)*1.1+0.04))
		if math.Sin(float64(i*i)) < 2*p(2.9)-1 {
			hit.X, hit.Y = append(hit.X, x), append(hit.Y, 1)
		} else {
			miss.X, miss.Y = append(miss.X, x), append(miss.Y, 0)
		}
	}
	b.Points = []plots.Series{hit, miss}
	values := []float64{10, 10.1, 9.9, 10.2, 9.8, math.NaN(), 10.1, 9.7, 10.4, 12, 12.1}
	out := make([]bool, len(values))
	out[9], out[10] = true, true
	return Sheet{Title: "What is found", Subject: "bubbles", Rating: Poor, Word: "not enough",
		Line:    "Bubbles of 0.21 mm and larger are found 9 times in 10 (95 % confidence); wanted are 0.10 mm.",
		Facts:   []Fact{{"a90/95", "0.21 mm"}, {"False calls", "0.02 a unit"}},
		Reasons: []string{"a90/95 is 0.21 mm, limit 0.10 mm.", "The check piece was out of limits twice."},
		Sections: []SheetSection{{Heading: "By size", Figures: []SheetFigure{
			plotted(t, "a rising curve with its band",
				"Ticks above are bubbles found, ticks below are missed")(plots.Curve(plots.Options{X: "diameter / mm",
				Y: "probability of detection", LogX: true}, b, plots.HLine{Name: "90 %", Y: 0.9, Dash: true}))}},
			{Heading: "Check piece", Figures: []SheetFigure{
				plotted(t, "two last points above the upper limit", "")(plots.Control(plots.Options{X: "shift", Y: "step / µm"},
					plots.Chart{Values: values, Out: out, Centre: 10, Lower: 9.1, Upper: 10.9})),
				plotted(t, "three agreements with their limits", "Agreement with the reference")(plots.Intervals(plots.Options{Y: "kappa"},
					[]string{"A", "B", "C"}, []plots.Interval{{Lo: 0.4, Mid: 0.6, Hi: 0.8}, {Lo: 0.1, Mid: 0.3, Hi: 0.5},
						{Lo: math.NaN(), Mid: math.NaN(), Hi: math.NaN()}}))}}},
		Version: "finishbench 0.0 (test)", Generated: "2031-02-03 04:05"}
}

func unratedSheet(t testing.TB) Sheet {
	return Sheet{Title: "Sharpness", Subject: "a-very-long-name-of-a-picture-2031-02-03-lot-000417-edge-030-degrees.jpg", Rating: Unrated,
		Line:    "No slanted edge was found in the picture.",
		Reasons: []string{"Tilt the target by about 5° and take the picture again."},
		Sections: []SheetSection{{Heading: "Contrast", Figures: []SheetFigure{
			plotted(t, "one curve", "")(plots.Lines(plots.Options{X: "frequency / (cycles/px)", Y: "contrast"},
				[]plots.Series{{Name: "ideal lens", X: []float64{0, 0.25, 0.5}, Y: []float64{1, 0.5, 0}}}))}}}}
}
