package study

import (
	"math"

	"finishbench/internal/stats/assign"
)

// Box is a place in a picture: x, y, width, height, px.
type Box [4]float64

// Known is a defect that is known to be there.
type Known struct {
	Kind string
	Box  Box
	Size float64
}

// Called is what was found.
type Called struct {
	Kind string
	Box  Box
}

// MatchRule says when a call tells of a known defect.
type MatchRule struct {
	// SlackPX and SlackShare widen the known box before boxes are compared: by so
	// many pixels, and by this share of its longer side; the larger counts.
	SlackPX, SlackShare float64
	// A call with its centre outside the widened box must not be longer than
	// GrowShare times the known box's longer side plus GrowPX: a call over half the
	// picture tells of nothing in it.
	GrowShare, GrowPX float64
}

// DefaultMatchRule is that of the score that the units with known defects come
// with: 3 px or 15 %, and 3 times plus 12 px (common practice, no source).
func DefaultMatchRule() MatchRule { return MatchRule{3, 0.15, 3, 12} }

// Matching is which call tells of which known defect.
type Matching struct {
	Call    []int // by known defect: the call's number, or -1
	Target  []int // by call: the known defect's number, or -1
	Repeats []int // calls that tell of a defect that has its call already: neither a find nor false
	Shared  []int // known defects that only a call touches which tells of another one: missed
	False   []int // calls that tell of no known defect
}

// Match gives each known defect at most one call and each call at most one
// defect: as many pairs as there can be, and of these the closest. Kinds do not
// matter.
func Match(known []Known, called []Called, rule MatchRule) Matching {
	m := Matching{Call: make([]int, len(known)), Target: make([]int, len(called))}
	for i := range m.Target {
		m.Target[i] = -1
	}
	touch := make([][]bool, len(known))
	cost := make([][]float64, len(known))
	for i, k := range known {
		touch[i], cost[i] = make([]bool, len(called)), make([]float64, len(called))
		for j, c := range called {
			touch[i][j] = rule.tells(k.Box, c.Box)
			cost[i][j] = 1 - closeness(k.Box, c.Box)
			if !touch[i][j] {
				cost[i][j] = assign.Unmatched
			}
		}
	}
	for i, j := range assign.Least(cost, len(called)) {
		m.Call[i] = -1
		if j >= 0 && touch[i][j] {
			m.Call[i], m.Target[j] = j, i
		}
	}
	m.rest(touch)
	return m
}

// rest sorts what has no partner.
func (m *Matching) rest(touch [][]bool) {
	for j, i := range m.Target {
		if i >= 0 {
			continue
		}
		repeat := false
		for k := range touch {
			repeat = repeat || touch[k][j]
		}
		if repeat {
			m.Repeats = append(m.Repeats, j)
		} else {
			m.False = append(m.False, j)
		}
	}
	for i, j := range m.Call {
		if j >= 0 {
			continue
		}
		for k := range m.Target {
			if touch[i][k] {
				m.Shared = append(m.Shared, i)
				break
			}
		}
	}
}

func (r MatchRule) tells(known, call Box) bool {
	longer := max(known[2], known[3])
	slack := max(r.SlackPX, r.SlackShare*longer)
	wide := Box{known[0] - slack, known[1] - slack, known[2] + 2*slack, known[3] + 2*slack}
	if overlap(wide[0], wide[2], call[0], call[2]) < 0 || overlap(wide[1], wide[3], call[1], call[3]) < 0 {
		return false
	}
	x, y := call[0]+call[2]/2, call[1]+call[3]/2
	if x >= wide[0] && x <= wide[0]+wide[2] && y >= wide[1] && y <= wide[1]+wide[3] {
		return true
	}
	return max(call[2], call[3]) <= r.GrowShare*longer+r.GrowPX
}

// closeness is 0 to 1: half the share that two boxes have in common, half how
// near their centres are, in lengths of the known one.
func closeness(known, call Box) float64 {
	w, h := max(0, overlap(known[0], known[2], call[0], call[2])), max(0, overlap(known[1], known[3], call[1], call[3]))
	common := w * h
	union := known[2]*known[3] + call[2]*call[3] - common
	share := 0.0
	if union > 0 {
		share = common / union
	}
	away := math.Hypot(known[0]+known[2]/2-call[0]-call[2]/2, known[1]+known[3]/2-call[1]-call[3]/2)
	return share/2 + 1/(1+away/max(1, known[2], known[3]))/2
}

// overlap is how far two stretches overlap; below 0 is their gap.
func overlap(a, la, b, lb float64) float64 { return min(a+la, b+lb) - max(a, b) }
