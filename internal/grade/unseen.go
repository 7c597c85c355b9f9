package grade

import (
	"slices"

	"finishbench/internal/part"
)

// tooLittleOf lists the surfaces of which less was looked at than the limits ask for
// at a result's stage, each with the least share. The shell counts over all its turns where
// that is known, else each turn by itself.
func tooLittleOf(r *part.Result, l Limits) (surfaces []part.Surface, least []float64) {
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

// missingViews lists the views that the limits ask for at a result's stage and
// of which it has no picture that is looked at.
func missingViews(r *part.Result, l Limits) []part.View {
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
