package report

import (
	"fmt"
	"math"
	"strings"

	"finishbench/internal/part"
)

// seamLine tells the curve of steps round the unit in one line, with expanded uncertainties
// (k = 2); "" where there is none.
func seamLine(s *part.SeamShape) string {
	if s == nil {
		return ""
	}
	with := func(v, u *float64) string {
		return fmt.Sprintf("%s ± %s µm", fixedText(v, 1), fixedText(twice(u), 1))
	}
	var told []string
	if s.MeanUM != nil {
		told = append(told, fmt.Sprintf("mean %s ± %s µm", signedUM(s.MeanUM), fixedText(twice(s.UMeanUM), 1)))
	}
	switch {
	case s.OffCentreUM != nil:
		told = append(told, fmt.Sprintf("off-centre by %s towards %s ± %s°", with(s.OffCentreUM, s.UOffCentreUM),
			fixedText(s.TowardsDeg, 0), fixedText(twice(s.UTowardsDeg), 0)))
	case s.OffCentreMostUM != nil:
		told = append(told, fmt.Sprintf("no offset seen (at most %s µm)", fixedText(s.OffCentreMostUM, 1)))
	case s.AlongUM != nil:
		told = append(told, fmt.Sprintf("offset along %s° %s ± %s µm, across it not measured",
			fixedText(s.AlongDeg, 0), signedUM(s.AlongUM), fixedText(twice(s.UAlongUM), 1)))
	}
	switch {
	case s.OvalUM != nil:
		told = append(told, fmt.Sprintf("oval by %s, proud at %s and %s°", with(s.OvalUM, s.UOvalUM),
			fixedText(s.OvalDeg, 0), fixedText(part.Num(*s.OvalDeg+180), 0)))
	case s.OvalMostUM != nil:
		told = append(told, fmt.Sprintf("no oval seen (at most %s µm)", fixedText(s.OvalMostUM, 1)))
	}
	for _, l := range s.Local {
		told = append(told, fmt.Sprintf("at %s° alone %s ± %.1f µm beside the curve", trimNumber(l.AroundDeg, 1), signedUM(&l.UM), 2*l.UUM))
	}
	if s.RestUM != nil {
		told = append(told, fmt.Sprintf("rest %s µm", fixedText(s.RestUM, 1)))
	}
	var not []string
	for _, t := range s.Untold {
		not = append(not, map[part.Term]string{part.TermMean: "the mean", part.TermOffCentre: "the whole offset", part.TermOval: "an oval"}[t])
	}
	if len(not) > 0 {
		told = append(told, "not told by these stations: "+strings.Join(not, ", "))
	}
	head := "The curve of steps: "
	if !math.IsNaN(s.Step(0)) {
		head = "The curve of steps (the broad line): "
	}
	return head + strings.Join(told, "; ") + "."
}
