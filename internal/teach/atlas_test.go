package teach

import (
	"fmt"
	"math"
	"testing"

	"finishbench/internal/part"
)

func sample(unit string, mm, confidence float64) Sample {
	return Sample{Unit: unit, SizeMM: mm, Finding: part.Finding{Kind: part.Dust, Confidence: confidence}}
}

func units(s []Sample) string {
	var out []string
	for _, x := range s {
		out = append(out, x.Unit)
	}
	return fmt.Sprint(out)
}

func TestChooseSpreadsOverSize(t *testing.T) {
	all := []Sample{sample("f", 0.6, 0.9), sample("a", 0.1, 0.9), sample("b", 0.2, 0.5), sample("c", 0.3, 0.9), sample("d", 0.4, 0.5),
		sample("e", 0.5, 0.6)}
	if got := units(Choose(all, 3)); got != "[a c f]" { // the surest of the small, the middle and the large pair
		t.Errorf("%s", got)
	}
	all[2].Confirmed = true // b: less sure, but a person said so
	all[5].Hidden = true    // e
	all[4].Pinned, all[4].SizeMM = true, math.NaN()
	if got := units(Choose(all, 3)); got != "[d b c]" {
		t.Errorf("%s", got)
	}
	if got := Choose(all, 20); len(got) != 5 {
		t.Errorf("%d of five that may be shown", len(got))
	}
	if got := Choose(nil, 5); len(got) != 0 {
		t.Errorf("%d of none", len(got))
	}
}

// Of one span, a unit that is not in yet comes first.
func TestChooseManyUnits(t *testing.T) {
	if got := units(Choose([]Sample{sample("a", 0.1, 0.9), sample("a", 0.2, 0.9), sample("b", 0.3, 0.1)}, 2)); got != "[a b]" {
		t.Errorf("%s", got)
	}
}

func TestSize(t *testing.T) {
	for want, f := range map[float64]part.Finding{
		0.04: {ValueUM: part.Num(-40), DiameterMM: part.Num(9)},
		0.3:  {DiameterMM: part.Num(0.3), LengthMM: part.Num(0.5)},
		0.5:  {LengthMM: part.Num(0.5), AreaMM2: part.Num(4)},
		2:    {AreaMM2: part.Num(4)},
	} {
		if got := Size(f); got != want {
			t.Errorf("%v, want %v", got, want)
		}
	}
	if !math.IsNaN(Size(part.Finding{})) {
		t.Error("a finding without a size has one")
	}
}

func TestCleanPlace(t *testing.T) {
	outline := []part.Point{{X: 0, Y: 0}, {X: 1000, Y: 0}, {X: 1000, Y: 800}, {X: 0, Y: 800}}
	at := part.Point{X: 60, Y: 400}
	boxes := []part.Box{{40, 380, 40, 40}, {170, 300, 300, 200}}
	m, ok := CleanPlace(at, 100, outline, boxes)
	if !ok {
		t.Fatal("no clean place on a faceplate with room")
	}
	if !isClear(m, 100, outline, boxes) || m.X < 50 {
		t.Errorf("%v is not clean", m)
	}
	if _, ok := CleanPlace(at, 900, outline, boxes); ok {
		t.Error("a window larger than the faceplate has a place")
	}
	if _, ok := CleanPlace(at, 50, nil, nil); ok {
		t.Error("without an outline there is a place")
	}
}
