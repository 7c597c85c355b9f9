package grade

import (
	"fmt"
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
	unjudged []string      // what could not be measured
	warnings []string
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
		out.unjudged = append(out.unjudged,
			"waviness not measured: too little of the faceplate mirrors the screen: move the screen or the unit, and take the set again")
		return out
	case m.SlopeMRad == nil:
		if peel != nil {
			out.warnings = append(out.warnings,
				"orange peel is weighed by its area: how steep it is is not known, since the station file does not tell where the screen stands")
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
		told := !m.AtLeast || between(row) == ""
		if !told {
			got = class{part.None, math.NaN()}
		}
		worst = worse(worst, got.sev)
		if list := c.list(); len(list) > 0 {
			most = worse(most, list[len(list)-1].sev)
		}
		b := part.Band{FromMM: row.FromMM, ToMM: row.ToMM, SlopeMRad: v, USlopeMRad: u,
			Minor: c.Minor, Moderate: c.Moderate, Major: c.Major, Critical: c.Critical}
		if peel != nil && told {
			b.Severity = got.sev
		}
		out.bands, out.rows, out.got = append(out.bands, b), append(out.rows, row), append(out.got, got)
		if limit := c.limit(); !m.AtLeast && got.sev == part.None && nearLimit(v, limit, &u, l.Decision.K) {
			out.warnings = append(out.warnings, fmt.Sprintf(
				"waves of %s mrad%s are within their limit of %s mrad, but also within the uncertainty of the limit (u = %s mrad)",
				apart(v, limit, 1), between(row), short(limit), fixed(u, 2)))
		}
	}
	if peel == nil {
		worst = part.None
	}
	if m.AtLeast && worst.Rank() < min(most.Rank(), part.Major.Rank()) {
		out.unjudged = append(out.unjudged, fmt.Sprintf("waviness not measured: at least %s mrad, but there are slopes too steep for these stripes: "+
			"set wider stripes or bring the screen nearer, or look at it by eye", fixed(*m.SlopeMRad, 1)))
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

// between names the waves of a band that is not all of them.
func between(c WaveClasses) string {
	ends := part.OctaveEndsMM
	if c.FromMM >= ends[0] && c.ToMM <= ends[len(ends)-1] {
		return ""
	}
	return fmt.Sprintf(" in waves of %s to %s mm", short(c.FromMM), short(c.ToMM))
}

// slopeSentence is a reason: "orange peel of 6.2 mrad on the face (limit 6 mrad)".
func (w weighed) slopeSentence() string {
	least := ""
	if w.atLeast {
		least = "at least "
	}
	limit := w.class.bound
	told := fmt.Sprintf("%s over %s mrad", w.class.sev, short(limit))
	if w.class.sev.Rank() >= part.Major.Rank() {
		limit = w.classes.limit()
		told = fmt.Sprintf("limit %s mrad", short(limit))
		if w.class.bound != limit {
			told += fmt.Sprintf(", %s over %s mrad", w.class.sev, short(w.class.bound))
		}
	}
	if w.cluster > 0 {
		told = fmt.Sprintf("%s: %d lie within %s mm", w.Severity, w.cluster, short(w.within))
	}
	if nearLimit(w.value, limit, w.u, w.k) || nearLimit(w.value, w.class.bound, w.u, w.k) {
		told += fmt.Sprintf("; within the uncertainty of the limit, u = %s mrad", fixed(*w.u, 2))
	}
	return fmt.Sprintf("%s of %s%s mrad%s %s (%s)", kindWord(w.Kind), least, apart(w.value, limit, 1), between(w.band), zoneWord(w.Zone), told)
}
