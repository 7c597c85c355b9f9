package grade

import (
	"math"
	"testing"

	"finishbench/internal/part"
)

// The limits are those shipped (common practice, no source): what is tested is
// that causes are the findings' own, in their order.
func TestCausesGoWithFindings(t *testing.T) {
	step := func(v float64) part.Station {
		return part.Station{Image: "edge_000.jpg", Side: part.Left, State: part.Measured, StepUM: part.Num(v), UUM: part.Num(3)}
	}
	r := &part.Result{Stage: part.Wet, MMPerPX: 0.015,
		Pictures: []part.PictureReport{{File: "edge_000.jpg", View: part.Edge, State: part.PictureOK}},
		Seam:     part.Seam{Stations: []part.Station{step(4), step(-160)}},
		Findings: []part.Finding{
			{Kind: part.Dust, Zone: part.ZoneFace, DiameterMM: part.Num(0.2), Confidence: 0.9, Image: "face.jpg"},
			{Kind: part.Bubble, Zone: part.ZoneFace, DiameterMM: part.Num(0.9), Confidence: 0.01, Image: "face.jpg"},
		}}
	l := DefaultLimits()
	Judge(r, l)
	causes := Causes(r, l)
	if len(causes) != len(r.Findings) || len(causes) != 3 {
		t.Fatalf("%d causes for %d findings, 3 wanted", len(causes), len(r.Findings))
	}
	for i, c := range causes {
		f := r.Findings[i]
		if c.Number != f.Number {
			t.Errorf("cause %d is of finding %d, not %d", i, c.Number, f.Number)
		}
		switch f.Kind {
		case part.Step:
			_, limit := l.StepLimits(part.Wet)
			if c.Measure != RecessedUM || c.Value != 160 || c.Limit != limit || c.U != 3 {
				t.Errorf("step: %+v, limit %g wanted", c, limit)
			}
		case part.Dust:
			if c.Measure != DiameterMM || c.Value != 0.2 || c.Doubted {
				t.Errorf("dust: %+v", c)
			}
		case part.Bubble:
			if !c.Doubted || !math.IsNaN(c.U) {
				t.Errorf("a doubtful bubble: %+v", c)
			}
		}
	}
	// A picture that is only read does not stand in for its view.
	r.Pictures = append(r.Pictures, part.PictureReport{File: "face_white.jpg", View: part.Face, Light: part.White, State: part.PictureOK, Problems: []part.Problem{{Name: part.NotLookedAt, Warn: true}}})
	if got := MissingViews(r, l); len(got) != 1 || got[0] != part.Face {
		t.Errorf("missing views %v, only face is wanted (edge is there)", got)
	}
}
