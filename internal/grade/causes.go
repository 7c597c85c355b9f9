package grade

import (
	"math"
	"slices"

	"finishbench/internal/part"
)

// Cause is what a finding's severity rests on, as numbers and words of this
// program, for those who tell it in a language of their own. Reasons and Advice
// in a Result tell the same in English.
type Cause struct {
	Number   int     // the finding's, from 1
	Measure  string  // ProudUM, DiameterMM, SlopeMRad ...; "": no size could be had, so that it was taken as major
	Value    float64 // in the measure's unit, never negative
	Limit    float64 // the bound that it is over, or from which its class starts; NaN where it is within all
	Cluster  int     // how many lie close together where that raised the severity; 0: it did not
	WithinMM float64 // and within what
	U        float64 // standard uncertainty of a step or a slope, in the measure's unit; NaN where there is none
	Near     bool    // a step or a slope within the uncertainty of its limit
	FromMM   float64 // a slope: of the waves from this wavelength to the next; 0: of all
	ToMM     float64 //
	AtLeast  bool    // a slope that is a lower bound
	Doubted  bool    // too uncertain to count
	Mends    bool    // rework can mend it at this stage

	Seam *part.SeamCause // of a step: the fault of the seam that it is part of; nil: none is seen
}

// Causes returns a cause for each finding of a judged result, in their order.
// The result stays as it is.
func Causes(r *part.Result, l Limits) []Cause {
	c := *r
	c.Findings = slices.Clone(r.Findings)
	c.Seam.Stations = slices.Clone(r.Seam.Stations)
	c.Warnings = slices.Clone(r.Warnings)
	all, _, _, _ := weighAll(&c, l)
	out := make([]Cause, len(all))
	for i, w := range all {
		limit := w.class.bound
		if w.Kind.AtSeam() && w.Severity.Rank() >= part.Major.Rank() {
			limit = w.classes.limit()
		}
		out[i] = Cause{
			Number: i + 1, Measure: w.measure, Value: w.value, Limit: limit, Cluster: w.cluster, WithinMM: w.within,
			U: math.NaN(), AtLeast: w.atLeast, Near: nearLimit(w.value, limit, w.u, w.k), Doubted: w.doubted, Mends: w.mends, Seam: w.seam,
		}
		if w.u != nil {
			out[i].U = *w.u
		}
		if !allWaves(w.band) {
			out[i].FromMM, out[i].ToMM = w.band.FromMM, w.band.ToMM
		}
	}
	return out
}

// WavinessUnmeasured says whether the limits ask for a faceplate's waviness, and too little of it
// was measured to tell whether it is within them.
func WavinessUnmeasured(r *part.Result, l Limits) bool { return len(wavesOf(r, l).unjudged) > 0 }

// TooLittle lists the surfaces of which less was looked at than the limits ask for
// at a result's stage, each with the least share. The shell counts over all its turns where
// that is known, else each turn by itself.
func TooLittle(r *part.Result, l Limits) (surfaces []part.Surface, least []float64) {
	all := r.Surfaces
	if r.Shell != nil {
		all = slices.DeleteFunc(slices.Clone(all), func(s part.Surface) bool { return s.View == part.Shell })
		all = append(all, r.Shell.Surface())
	}
	for _, s := range all {
		if most := l.lookedAt(r.Stage, s.View); s.Seen() < most {
			surfaces, least = append(surfaces, s), append(least, most)
		}
	}
	return surfaces, least
}

// MissingViews lists the views that the limits ask for at a result's stage and
// of which it has no picture that is looked at.
func MissingViews(r *part.Result, l Limits) []part.View {
	var out []part.View
	for _, row := range l.Required {
		if !has(row.Stages, r.Stage) {
			continue
		}
		for _, v := range row.Views {
			seen := v == part.Edge && len(r.Seam.Stations) > 0 ||
				slices.ContainsFunc(r.Pictures, func(p part.PictureReport) bool { return p.View == v && p.LookedAt() })
			if !seen && !slices.Contains(out, v) {
				out = append(out, v)
			}
		}
	}
	return out
}
