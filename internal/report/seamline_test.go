package report

import (
	"strings"
	"testing"

	"finishbench/internal/part"
)

// What is not told has no number, and an offset that is not seen has its bound; the curve is drawn
// where mean and offset are told. The numbers are made up.
func TestSeamLine(t *testing.T) {
	n := part.Num
	full := &part.SeamShape{Stations: 12, MeanUM: n(61), UMeanUM: n(1.1), OffCentreUM: n(84.2), UOffCentreUM: n(1.4), TowardsDeg: n(40.2), UTowardsDeg: n(1),
		Towards0UM: n(64), Towards90UM: n(54), OvalMostUM: n(3.1), RestUM: n(2), Local: []part.LocalStep{{AroundDeg: 210, UM: -30, UUM: 2}}}
	one := &part.SeamShape{Stations: 2, AlongDeg: n(0), AlongUM: n(83.5), UAlongUM: n(6), Undetermined: []part.Term{part.TermMean, part.TermOffCentre, part.TermOval}}
	none := &part.SeamShape{Stations: 12, MeanUM: n(1), UMeanUM: n(0.4), Towards0UM: n(0.2), Towards90UM: n(0), OffCentreMostUM: n(1.6), OvalUM: n(20), UOvalUM: n(1), OvalDeg: n(25)}
	for s, want := range map[*part.SeamShape]string{
		nil: "",
		full: "The curve of steps (the broad line): mean +61.0 ± 2.2 µm; off-centre by 84.2 ± 2.8 µm towards 40 ± 2°; no oval seen (at most 3.1 µm);" +
			" at 210° alone −30.0 ± 4.0 µm beside the curve; rest 2.0 µm.",
		one:  "The curve of steps: offset along 0° +83.5 ± 12.0 µm, across it not measured; not told by these step stations: the mean, the whole offset, an oval.",
		none: "The curve of steps (the broad line): mean +1.0 ± 0.8 µm; no offset seen (at most 1.6 µm); oval by 20.0 ± 2.0 µm, proud at 25 and 205°.",
	} {
		if got := english().seamLine(s); got != want {
			t.Errorf("got  %s\nwant %s", got, want)
		}
		r := sample()
		r.Seam.Shape = s
		if drawn := strings.Contains(string(english().stepPlot(r, 50, 30)), `class="shape"`); drawn != (s == full || s == none) {
			t.Errorf("%q: drawn %v", want, drawn)
		}
	}
}
