package proof

import (
	"math"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// A unit's colour, its shares of red and green in linear light, over all that is seen of it: turns of one unit differed by up to
// 0.037, of units of other colours from 0.06 on (30 ray-traced units). A shell may be of two colours: then turns scatter.
const (
	otherColour  = 0.06
	colourSpread = 4.0 // and so many times what the others are apart
)

// Colours doubts the one picture among four or more of a view and light, from the side, whose unit has
// another colour than all others have. Of fewer it is only said. Sights may be nil.
func Colours(sights []*Sight) (doubts []Doubt, untested []part.Phrase) {
	type kind struct {
		v part.View
		l part.Light
	}
	groups := map[kind][]int{}
	var order []kind
	for i, s := range sights {
		if s == nil || s.shot.View == part.Face {
			continue
		}
		k := kind{s.shot.View, s.shot.Light}
		if groups[k] == nil {
			order = append(order, k)
		}
		groups[k] = append(groups[k], i)
	}
	apart := func(i, j int) float64 {
		a, b := sights[i].chroma, sights[j].chroma
		return math.Hypot(a[0]-b[0], a[1]-b[1])
	}
	for _, k := range order {
		g := groups[k]
		if len(g) < 4 {
			for n, i := range g {
				for _, j := range g[:n] {
					if apart(i, j) > otherColour {
						untested = append(untested, part.Say("proof.two_colours", "a", sights[j].shot.File, "b", sights[i].shot.File))
					}
				}
			}
			continue
		}
		for _, i := range g {
			var own, others []float64
			for _, j := range g {
				if j == i {
					continue
				}
				own = append(own, apart(i, j))
				for _, o := range g {
					if o != i && o < j {
						others = append(others, apart(o, j))
					}
				}
			}
			if least := robust.Quantile(own, 0); least > otherColour && least > colourSpread*robust.Quantile(others, 1) {
				doubts = append(doubts, Doubt{i, OtherUnit, part.Say("proof.other_colour")})
			}
		}
	}
	return doubts, untested
}
