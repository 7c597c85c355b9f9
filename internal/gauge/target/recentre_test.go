package target

import (
	"math"
	"testing"

	"finishbench/internal/optics"
	"finishbench/internal/synth"
)

// Large dots through a lens with distortion: their outlines' middles are not
// their pictured middles, and taking the middles in the target's plane mends
// it. The truth is the drawing's own lens.
func TestRecentred(t *testing.T) {
	lens := optics.Lens{FX: 900, FY: 900, CX: 405, CY: 296, K1: -0.15}
	spec := optics.Target{Kind: optics.Dots, Cols: 9, Rows: 7, PitchMM: 2, DiameterMM: 1}
	var found []Found
	var views []optics.View
	for i, q := range []synth.Placement{{AboutXDeg: 30}, {AboutXDeg: -28, AboutDeg: 20}, {AboutYDeg: 32}, {AboutYDeg: -30, AboutDeg: -35}, {AboutXDeg: 25, AboutYDeg: 20}} {
		q.XMM, q.YMM, q.DistanceMM = 8, 6, 30
		p := synth.DefaultTarget()
		p.Seed, p.Map = uint64(i+1), synth.Tilted(lens, q)
		f, err := Find(synth.Dots(p, spec, nil), spec, "drawn")
		if err != nil {
			t.Fatal(err)
		}
		found, views = append(found, f), append(views, f.View)
	}
	fit := func() optics.Calibration {
		c, err := optics.Calibrate(views, optics.CalibrateOptions{Terms: optics.TermsK1})
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	before := fit()
	c := before
	for range 2 {
		for i := range found {
			views[i] = Recentred(found[i], c.Lens, c.Views[i].Placement)
		}
		c = fit()
	}
	if d := math.Abs(c.Lens.FX - lens.FX); d > 3*c.LensU.FX || d > math.Abs(before.Lens.FX-lens.FX)/2 {
		t.Errorf("fx %.3f, u %.3f, before %.3f, drawn with %g", c.Lens.FX, c.LensU.FX, before.Lens.FX, lens.FX)
	}
	if d := math.Abs(c.Lens.K1 - lens.K1); d > 3*c.LensU.K1 {
		t.Errorf("k1 %.6f, u %.6f, drawn with %g", c.Lens.K1, c.LensU.K1, lens.K1)
	}
	board := Found{View: found[0].View} // no outlines: a chessboard
	if got := Recentred(board, c.Lens, c.Views[0].Placement); &got.Marks[0] != &board.View.Marks[0] {
		t.Error("a view without outlines was changed")
	}
}
