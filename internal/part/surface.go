package part

import (
	"maps"
	"math"
	"slices"
	"strconv"
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

// LookedAtPhrases say how much of each surface was looked at; a view that was
// not looked at in any turn has one phrase.
func (r *Result) LookedAtPhrases() []Phrase {
	var out []Phrase
	for _, v := range Views {
		surfaces, none := r.SurfacesOf(v)
		if n := len(surfaces); none && n > 1 {
			out = append(out, Say("looked_at.no_turn", "n", strconv.Itoa(n)).With("pose", Pose{v, math.NaN()}.Phrase()))
			continue
		}
		for _, s := range surfaces {
			if s.Unsearched() {
				out = append(out, Say("looked_at.none").With("pose", s.Pose().Phrase()))
			} else {
				out = append(out, lookedAt(s, r.Lights(s)))
			}
		}
	}
	if r.Shell != nil {
		out = append(out, Say("looked_at.map", "share", Percent(r.Shell.LookedAt)))
	}
	return out
}

// NotLookedAtPhrases are those of LookedAtPhrases that tell of places that were not looked at; of
// a shell that is known over all its turns, what they showed together.
func (r *Result) NotLookedAtPhrases() []Phrase {
	some := *r
	some.Surfaces = slices.DeleteFunc(slices.Clone(r.Surfaces), func(s Surface) bool {
		return s.View == Shell && r.Shell != nil || Percent(s.NotLookedAt) == Percent(0)
	})
	if r.Shell != nil && Percent(r.Shell.LookedAt) == Percent(1) {
		some.Shell = nil
	}
	return some.LookedAtPhrases()
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
func lookedAt(s Surface, lights int) Phrase {
	all, some := "looked_at.all", "looked_at.in_some"
	switch lights {
	case 1:
		all = "looked_at.one"
	case 2:
		all, some = "looked_at.both", "looked_at.in_one"
	}
	p := Say(all, "share", Percent(s.LookedAt)).With("pose", s.Pose().Phrase())
	if s.OneLight > 0 {
		p = p.With("some", Say(some, "share", Percent(s.OneLight)))
	}
	if s.NotLookedAt > 0 {
		p = p.With("rest", Say("looked_at.rest", "share", Percent(s.NotLookedAt)))
	}
	var of []Phrase
	for _, w := range s.Causes() {
		of = append(of, Say("looked.cause", "cause", "@cause."+string(w), "share", Percent(s.Why[w])))
	}
	if len(of) > 0 {
		p = p.With("left_out", Say("looked_at.left_out").With("causes", of...))
	}
	return p
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
