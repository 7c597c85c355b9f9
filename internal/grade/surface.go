package grade

import (
	"math"
	"strconv"

	"finishbench/internal/part"
)

// surfaceFindings gives every finding that is not the seam's its severity. What
// has no limit (an unknown kind, zone or stage) is told in unjudged: it cannot
// pass.
func surfaceFindings(r *part.Result, l Limits, waves wavesOutcome) (found []weighed, unjudged []part.Phrase) {
	for _, f := range r.Findings {
		w := weighed{Finding: f}
		w.Severity = part.None
		if math.IsNaN(f.Confidence) {
			w.Confidence = l.MinConfidence // not known: it counts
		}
		by, ok := l.surface(r.Stage, f.Zone, f.Kind)
		switch {
		case !ok:
			unjudged = append(unjudged, part.Say("reason.no_limit", "kind", kindWord(f.Kind), "zone", zoneWord(f.Zone), "stage",
				strconv.Quote(string(r.Stage))))
		case w.Confidence < l.MinConfidence:
			w.doubted = true
		case ofFaceplate(&f) && waves.judged:
			w.weighWaves(waves, l.Decision.K)
		default:
			w.weigh(by, r.MMPerPX)
		}
		found = append(found, w)
	}
	return found, unjudged
}

// weigh takes the worst class of all measures. A size that was not measured is
// never taken as small: where no measure of the row is known, the box's longer
// side stands in, and without that the finding is major.
func (w *weighed) weigh(by []Classes, mmPerPX float64) {
	known := false
	for _, c := range by {
		v := measured(w.Finding, c.Measure)
		if v == nil {
			continue
		}
		known = true
		w.consider(c, c.Measure, *v)
	}
	if known {
		return
	}
	if side, ok := boxSide(w.Finding, mmPerPX); ok {
		for _, c := range by {
			switch c.Measure {
			case DiameterMM, LengthMM, WidthMM:
				known = true
				w.consider(c, c.Measure, side)
			case AreaMM2:
				known = true
				w.consider(c, c.Measure, w.Box[2]*w.Box[3]*mmPerPX*mmPerPX)
			}
		}
	}
	if !known {
		w.Severity, w.class = part.Major, class{part.Major, math.NaN()}
	}
}

// consider keeps the measure that gives the worst class; between equals, the
// first.
func (w *weighed) consider(c Classes, measure string, v float64) {
	got := c.from(v)
	if w.measure == "" || got.sev.Rank() > w.Severity.Rank() {
		w.measure, w.value, w.class, w.classes, w.Severity = measure, v, got, c, got.sev
	}
}

// measured is the value of a measure, nil where it is not known.
func measured(f part.Finding, measure string) *float64 {
	switch measure {
	case DiameterMM:
		return f.DiameterMM
	case LengthMM:
		return f.LengthMM
	case WidthMM:
		return f.WidthMM
	case AreaMM2:
		return f.AreaMM2
	case Lines:
		if f.Lines > 0 {
			return part.Num(float64(f.Lines))
		}
	}
	return nil
}

// boxSide is the longer side of the finding's box, mm.
func boxSide(f part.Finding, mmPerPX float64) (float64, bool) {
	side := max(f.Box[2], f.Box[3]) * mmPerPX
	return side, side > 0 && !math.IsInf(side, 0)
}

// longest is the finding's longest size that is known, mm.
func longest(f part.Finding, mmPerPX float64) (float64, bool) {
	best, ok := 0.0, false
	for _, p := range []*float64{f.LengthMM, f.DiameterMM, f.WidthMM} {
		if p != nil && *p > best {
			best, ok = *p, true
		}
	}
	if ok {
		return best, true
	}
	return boxSide(f, mmPerPX)
}

// mends reports whether rework can mend the finding at this stage. A size that
// is not known is not taken as small: what mends only up to a size then does not.
func (l Limits) mends(st part.Stage, f part.Finding, mmPerPX float64) bool {
	what := string(f.Kind)
	if f.Kind == part.Step {
		what = Proud
		if f.ValueUM != nil && *f.ValueUM < 0 {
			what = Recessed
		}
	}
	row, ok := l.mend(st, what)
	if !ok || !row.Mendable {
		return false
	}
	if row.UpToUM != nil {
		return f.ValueUM != nil && math.Abs(*f.ValueUM) <= *row.UpToUM
	}
	if row.UpToMM != nil {
		size, known := longest(f, mmPerPX)
		return known && size <= *row.UpToMM
	}
	return true
}
