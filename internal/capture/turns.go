package capture

import (
	"math"
	"slices"
	"strconv"

	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// How turns should stand around the shell. Beyond a slope of 60 degrees to the camera a
// place is not looked at: on a body of revolution turns may so be twice
// that apart. A gap that is so many times the usual one is told too, since a turn that was
// forgotten doubles one (common practice, no source).
const (
	turnsApartDeg = 120.0
	wideGap       = 1.5
)

// TurnDoubts says, a phrase each, what is missing among the turns at which the shell was
// photographed: a turn, where the gap between two is too large, and a light that other turns have.
// Only pictures that are looked into count; their order does not.
func TurnDoubts(shots []part.Shot) []part.Phrase {
	lights := map[float64][]part.Light{}
	var turns []float64
	for _, s := range shots {
		if s.View != part.Shell || !s.Searched() {
			continue
		}
		turn := s.Pose().TurnDeg
		if lights[turn] == nil {
			turns = append(turns, turn)
		}
		lights[turn] = append(lights[turn], s.Light)
	}
	slices.Sort(turns)
	return append(missingTurns(turns), missingLights(turns, lights)...)
}

// missingTurns looks at the gaps between turns, which are sorted and differ.
func missingTurns(turns []float64) []part.Phrase {
	if len(turns) == 0 {
		return nil
	}
	gaps := make([]float64, len(turns)) // from each to the next, around
	for i, t := range turns {
		gaps[i] = turns[(i+1)%len(turns)] - t
		if i == len(turns)-1 {
			gaps[i] += 360
		}
	}
	usual := min(turnsApartDeg, robust.Quantile(slices.Clone(gaps), 0.5))
	if len(turns) == 2 {
		usual = min(usual, gaps[0], gaps[1])
	}
	var out []part.Phrase
	for i, gap := range gaps {
		if gap <= turnsApartDeg+0.5 && (len(turns) < 3 || gap < wideGap*usual) {
			continue
		}
		n := max(1, int(math.Ceil(gap/usual-0.25))-1) // so many between
		var missing []float64
		for k := range n {
			missing = append(missing, part.Turn(math.Round(turns[i]+gap*float64(k+1)/float64(n+1))))
		}
		absent := part.Say("turns.absent", "n", strconv.Itoa(n)).With("turns", part.Turns(missing...))
		next := turns[(i+1)%len(turns)]
		if next == 0 {
			next = 360
		}
		between := part.Turns(turns[i], next)
		switch {
		case len(turns) == 1:
			out = append(out, part.Say("turns.alone").With("turn", part.Turns(turns[0])).With("turns", part.Turns(missing...)))
		case gap > turnsApartDeg+0.5:
			out = append(out, part.Say("turns.gap").With("between", between).With("absent", absent))
		default:
			out = append(out, part.Say("turns.uneven").With("between", between).With("absent", absent))
		}
	}
	return out
}

// missingLights tells the turns without a light that others have.
func missingLights(turns []float64, lights map[float64][]part.Light) []part.Phrase {
	var out []part.Phrase
	for _, l := range part.Lights {
		var without []float64
		for _, t := range turns {
			if !slices.Contains(lights[t], l) {
				without = append(without, t)
			}
		}
		if l != part.NoLight && len(without) > 0 && len(without) < len(turns) {
			out = append(out, part.Say("turns.no_light", "light", lang.Word("lit.", string(l))).With("turns", part.Turns(without...)))
		}
	}
	return out
}
