package grade

import (
	"math"

	"finishbench/internal/part"
)

// wavesOutcome is how the slope of a faceplate's waves lies to its limits.
type wavesOutcome struct {
	judged   bool // there are a slope in mrad and limits for it, and what the decision rule needs
	atLeast  bool // the slope is a lower bound
	bands    []part.Band
	rows     []WaveClasses // their limits
	got      []class       // what each makes of orange peel
	unjudged []part.Phrase // what could not be measured
	warnings []part.Phrase
}

// wavesOf compares the slopes that a screen's stripes tell with the limits of orange peel.
//
// A lower bound that is over a limit of all waves decides; of octaves nothing is known then, for
// phase that comes back from the other side makes short waves out of long ones. One that is under a limit tells nothing about it:
// unless the orange peel is major already, whether the waves are within their limits was not
// measured, and the unit does not pass, be orange peel found or not. Lost gloss makes no class by
// itself: how much is lost is the stripes' and the lens's doing as much as the lacquer's, haze takes it too,
// and where slopes took it they prove 1.18 radians of phase at most (half of the gloss is
// exp(-s^2/2)), which strong waves show over the rest of the face anyway.
//
// Without orange peel there is nothing to weigh. What is over a limit then is steep in single
// places, which are findings of their own; the slope's uncertainty, from how alike the
// face waves everywhere, tells it.
func wavesOf(r *part.Result, l Limits) wavesOutcome {
	var out wavesOutcome
	rows := l.waviness(r.Stage)
	m := r.Screen
	peel := peelOf(r)
	switch {
	case m == nil || len(rows) == 0:
		return out
	case m.SlopeMRad == nil && m.PhaseRad == nil && m.RangeMRad != nil:
		out.unjudged = append(out.unjudged, part.Say("reason.waviness"))
		return out
	case m.SlopeMRad == nil:
		if peel != nil {
			out.warnings = append(out.warnings, part.Say("warning.peel_by_area"))
		}
		return out
	}
	out.judged, out.atLeast = true, m.AtLeast
	worst, most := part.None, part.None
	for _, row := range rows {
		v, u, ok := m.Slope(row.FromMM, row.ToMM)
		if !ok {
			continue
		}
		c := row.classes()
		shift, _ := l.Decision.shift(&u)
		got := c.over(v + shift)
		limitPhrase := !m.AtLeast || allWaves(row)
		if !limitPhrase {
			got = class{part.None, math.NaN()}
		}
		worst = worse(worst, got.sev)
		if list := c.list(); len(list) > 0 {
			most = worse(most, list[len(list)-1].sev)
		}
		b := part.Band{FromMM: row.FromMM, ToMM: row.ToMM, SlopeMRad: v, USlopeMRad: u,
			Minor: c.Minor, Moderate: c.Moderate, Major: c.Major, Critical: c.Critical}
		if peel != nil && limitPhrase {
			b.Severity = got.sev
		}
		out.bands, out.rows, out.got = append(out.bands, b), append(out.rows, row), append(out.got, got)
		if limit := c.limit(); !m.AtLeast && got.sev == part.None && nearLimit(v, limit, &u, l.Decision.K) {
			out.warnings = append(out.warnings, between(row, part.Say("warning.near_mrad",
				"slope_mrad", apart(v, limit, 1), "limit_mrad", short(limit), "u_mrad", fixed(u, 2))))
		}
	}
	if peel == nil {
		worst = part.None
	}
	if m.AtLeast && worst.Rank() < min(most.Rank(), part.Major.Rank()) {
		out.unjudged = append(out.unjudged, part.Say("reason.waviness_bound", "slope_mrad", fixed(*m.SlopeMRad, 1)))
	}
	return out
}

// peelOf is the orange peel of a result's faceplate; nil where there is none.
func peelOf(r *part.Result) *part.Finding {
	for i := range r.Findings {
		if f := &r.Findings[i]; ofFaceplate(f) {
			return f
		}
	}
	return nil
}

// ofFaceplate says whether a finding is the faceplate's orange peel, which its slope weighs.
func ofFaceplate(f *part.Finding) bool {
	return f.Kind == part.OrangePeel && f.Zone != part.ZoneShell
}

// weighWaves gives orange peel the worst class that a band's slope makes of it; between equals,
// the first.
func (w *weighed) weighWaves(o wavesOutcome, k float64) {
	for i, got := range o.got {
		if b := o.bands[i]; i == 0 || got.sev.Rank() > w.Severity.Rank() {
			w.measure, w.value, w.u, w.k = SlopeMRad, b.SlopeMRad, &b.USlopeMRad, k
			w.class, w.classes, w.Severity = got, o.rows[i].classes(), got.sev
			w.band, w.atLeast = o.rows[i], o.atLeast
		}
	}
}

// allWaves says whether a band is all waves.
func allWaves(c WaveClasses) bool {
	ends := part.OctaveEndsMM
	return c.FromMM >= ends[0] && c.ToMM <= ends[len(ends)-1]
}

// between names the waves of a band that is not all of them.
func between(c WaveClasses, p part.Phrase) part.Phrase {
	if allWaves(c) {
		return p
	}
	return p.With("waves", part.Say("waves", "from_mm", short(c.FromMM), "to_mm", short(c.ToMM)))
}

// slopeSentence is a reason: "orange peel of 6.2 mrad on the face (limit 6 mrad)".
func (w weighed) slopeSentence() part.Phrase {
	limit := w.class.bound
	limitPhrase := part.Say("limit.over_mrad", "severity", severityWord(w.class.sev), "over_mrad", short(limit))
	if w.class.sev.Rank() >= part.Major.Rank() {
		limit = w.classes.limit()
		limitPhrase = part.Say("limit.mrad", "limit_mrad", short(limit))
		if w.class.bound != limit {
			limitPhrase = part.Say("limit.worse_mrad", "limit_mrad", short(limit), "severity", severityWord(w.class.sev), "over_mrad", short(w.class.bound))
		}
	}
	if w.cluster > 0 {
		limitPhrase = w.clusterWord()
	}
	p := part.Say("reason.slope", "kind", kindWord(w.Kind), "zone", zoneWord(w.Zone), "slope_mrad", apart(w.value, limit, 1)).With("limit", limitPhrase)
	if w.atLeast {
		p = p.With("least", part.Say("least"))
	}
	if nearLimit(w.value, limit, w.u, w.k) || nearLimit(w.value, w.class.bound, w.u, w.k) {
		p = p.With("near", part.Say("limit.near_mrad", "u_mrad", fixed(*w.u, 2)))
	}
	return between(w.band, p)
}
