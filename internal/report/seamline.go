package report

import (
	"math"
	"strings"

	"finishbench/internal/part"
)

// seamLine tells the curve of steps round the unit in one line, with expanded uncertainties
// (k = 2); "" where there is none.
func (x words) seamLine(s *part.SeamShape) string {
	if s == nil {
		return ""
	}
	var parts []string
	tell := func(key string, args ...string) { parts = append(parts, x.T("page.curve."+key, args...)) }
	u := func(v *float64) string { return fixedText(twice(v), 1) }
	if s.MeanUM != nil {
		tell("mean", "mean_um", signedUM(s.MeanUM), "u_um", u(s.UMeanUM))
	}
	switch {
	case s.OffCentreUM != nil:
		tell("off_centre", "offset_um", fixedText(s.OffCentreUM, 1), "u_um", u(s.UOffCentreUM),
			"towards_deg", fixedText(s.TowardsDeg, 0), "u_deg", fixedText(twice(s.UTowardsDeg), 0))
	case s.OffCentreMostUM != nil:
		tell("no_offset", "most_um", fixedText(s.OffCentreMostUM, 1))
	case s.AlongUM != nil:
		tell("along", "along_deg", fixedText(s.AlongDeg, 0), "offset_um", signedUM(s.AlongUM), "u_um", u(s.UAlongUM))
	}
	switch {
	case s.OvalUM != nil:
		tell("oval", "oval_um", fixedText(s.OvalUM, 1), "u_um", u(s.UOvalUM),
			"a_deg", fixedText(s.OvalDeg, 0), "b_deg", fixedText(part.Num(*s.OvalDeg+180), 0))
	case s.OvalMostUM != nil:
		tell("no_oval", "most_um", fixedText(s.OvalMostUM, 1))
	}
	for _, l := range s.Local {
		tell("alone", "at_deg", trimNumber(l.AroundDeg, 1), "step_um", signedUM(&l.UM), "u_um", fixedText(part.Num(2*l.UUM), 1))
	}
	if s.RestUM != nil {
		tell("rest", "rest_um", fixedText(s.RestUM, 1))
	}
	var not []string
	for _, t := range s.Undetermined {
		not = append(not, x.T("page.curve.term."+string(t)))
	}
	if len(not) > 0 {
		tell("untold", "terms", strings.Join(not, x.T("looked.comma")))
	}
	head := "page.curve"
	if !math.IsNaN(s.Step(0)) {
		head = "page.curve_drawn"
	}
	return x.T(head, "told", strings.Join(parts, x.T("page.semicolon")))
}
