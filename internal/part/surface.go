package part

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
)

// UnsearchedSurface is a surface that no part of the program looked at.
func UnsearchedSurface(v View, angleDeg float64) Surface {
	return Surface{View: v, AngleDeg: angleDeg, NotLookedAt: 1, Why: map[Why]float64{NotSearched: 1}}
}

// Seen is the share that was looked at in at least one light, 0..1.
func (s Surface) Seen() float64 { return math.Round(1000*(s.LookedAt+s.OneLight)) / 1000 }

// Unsearched says whether no part of the program looked at it.
func (s Surface) Unsearched() bool { return s.Why[NotSearched] >= 1 }

// Rounded has the shares to three decimals, the first three still adding up to 1.
// Causes that round to nothing are left out.
func (s Surface) Rounded() Surface {
	round := func(v float64) float64 { return math.Round(1000*v) / 1000 }
	out := Surface{View: s.View, AngleDeg: s.AngleDeg, OneLight: round(s.OneLight), NotLookedAt: round(s.NotLookedAt)}
	out.LookedAt = max(0, round(1-out.OneLight-out.NotLookedAt))
	for why, share := range s.Why {
		if share = round(share); share > 0 {
			if out.Why == nil {
				out.Why = map[Why]float64{}
			}
			out.Why[why] = share
		}
	}
	return out
}

// Causes are the reasons of Why, the largest share first.
func (s Surface) Causes() []Why {
	whys := slices.Sorted(maps.Keys(s.Why))
	slices.SortStableFunc(whys, func(a, b Why) int {
		switch {
		case s.Why[a] > s.Why[b]:
			return -1
		case s.Why[a] < s.Why[b]:
			return 1
		}
		return 0
	})
	return whys
}

// Lights is how many pictures of a surface were looked into: 0 where none.
func (r *Result) Lights(s Surface) int {
	if s.Unsearched() {
		return 0
	}
	n := 0
	for i := range r.Pictures {
		if p := &r.Pictures[i]; p.Pose() == s.Pose() && p.State == PictureOK && p.LookedAt() {
			n++
		}
	}
	return n
}

// LookedAtSentences say how much of each surface was looked at; a view that was
// not looked at in any turn has one sentence.
func (r *Result) LookedAtSentences() []string {
	var out []string
	for _, v := range Views {
		surfaces, none := r.SurfacesOf(v)
		if n := len(surfaces); none && n > 1 {
			out = append(out, fmt.Sprintf("The %s was not looked at in any of %d turns", v, n))
			continue
		}
		for _, s := range surfaces {
			if s.Unsearched() {
				out = append(out, fmt.Sprintf("The %s was not looked at", s.Pose()))
			} else {
				out = append(out, lookedAt(s, r.Lights(s)))
			}
		}
	}
	if r.Shell != nil {
		out = append(out, fmt.Sprintf("Over all its turns %s of the shell was looked at", Percent(r.Shell.LookedAt)))
	}
	return out
}

// SurfacesOf are the surfaces of a view in their order, and whether none of them
// was looked at.
func (r *Result) SurfacesOf(v View) (surfaces []Surface, none bool) {
	none = true
	for _, s := range r.Surfaces {
		if s.View == v {
			surfaces, none = append(surfaces, s), none && s.Unsearched()
		}
	}
	return surfaces, none
}

// lookedAt is "Looked at 91 % of the face in both lights, 6 % in one, 3 % not at
// all (left out: mirrored lamps 2 %, outermost strip 1 %)".
func lookedAt(s Surface, lights int) string {
	all, some := "all lights", "in some"
	switch lights {
	case 1:
		all = "one light"
	case 2:
		all, some = "both lights", "in one"
	}
	t := fmt.Sprintf("Looked at %s of the %s in %s", Percent(s.LookedAt), s.Pose(), all)
	if s.OneLight > 0 {
		t += fmt.Sprintf(", %s %s", Percent(s.OneLight), some)
	}
	if s.NotLookedAt > 0 {
		t += fmt.Sprintf(", %s not at all", Percent(s.NotLookedAt))
	}
	var of []string
	for _, w := range s.Causes() {
		of = append(of, w.words()+" "+Percent(s.Why[w]))
	}
	if len(of) > 0 {
		t += " (left out: " + strings.Join(of, ", ") + ")"
	}
	return t
}

// words are the cause in words.
func (w Why) words() string {
	switch w {
	case Mirrored:
		return "mirrored lamps"
	case Clipped:
		return "clipped highlights"
	case Shadow:
		return "shadow"
	case Print:
		return "print"
	case Outermost:
		return "outermost strip"
	case Steep:
		return "slopes that mirror no screen"
	case Inside:
		return "parts inside"
	case NotSearched:
		return "not searched"
	}
	return string(w)
}

// Percent is a share in per cent: a whole number, with one decimal where that
// would read as nothing, or as all.
func Percent(share float64) string {
	p := 100 * share
	decimals := 0
	if p < 1 || p > 99 {
		decimals = 1
		p = math.Round(10*p) / 10
		if p == math.Trunc(p) {
			decimals = 0
		}
	}
	return strconv.FormatFloat(p, 'f', decimals, 64) + " %"
}
