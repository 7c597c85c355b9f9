package grade

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"finishbench/internal/part"
)

// seamCause says what makes the steps over their limits one fault, from the curve of steps round
// the unit; nil where there is none, or each has to be told by itself.
func seamCause(r *part.Result, steps []weighed) *part.SeamCause {
	c := &part.SeamCause{}
	over := map[string]bool{}
	for _, w := range steps {
		if w.Kind != part.Step {
			continue
		}
		c.Stations++
		over[w.Station] = true
		to := &c.Proud
		if w.measure == RecessedUM {
			to = &c.Recessed
		}
		if *to == nil || w.value > (*to).UM {
			limit := w.class.bound
			if w.Severity.Rank() >= part.Major.Rank() {
				limit = w.classes.limit()
			}
			*to = &part.Over{Station: w.Station, UM: w.value, LimitUM: limit}
		}
		c.Beyond = c.Beyond || !w.mends && w.Severity.Rank() >= part.Moderate.Rank()
	}
	switch {
	case c.Stations == 0:
		return nil
	case r.Seam.Shape != nil && ofShape(c, r.Seam, over):
		return c
	case c.Both():
		c.What = part.InTurn
		return c
	}
	return nil
}

// ofShape names the term of the curve that is largest, where it goes with the steps over their
// limits; false where none does.
func ofShape(c *part.SeamCause, s part.Seam, over map[string]bool) bool {
	h := s.Shape
	local := map[string]bool{}
	for _, l := range h.Local {
		local[place(part.Station{AngleDeg: l.AngleDeg, Side: l.Side})] = true
	}
	alone := true
	for p := range over {
		alone = alone && local[p]
	}
	if alone {
		c.What = part.OnePlace
		return len(over) == 1
	}
	mean, off, oval := 0.0, 0.0, 0.0
	if h.MeanUM != nil && h.UMeanUM != nil && math.Abs(*h.MeanUM) >= part.SeenTimes**h.UMeanUM {
		mean = *h.MeanUM
	}
	switch {
	case h.OffCentreUM != nil && h.TowardsDeg != nil:
		off, c.TowardsDeg = *h.OffCentreUM, *h.TowardsDeg
	case h.AlongUM != nil && h.UAlongUM != nil && h.AlongDeg != nil && math.Abs(*h.AlongUM) >= part.SeenTimes**h.UAlongUM:
		off, c.TowardsDeg, c.AtLeast = math.Abs(*h.AlongUM), *h.AlongDeg, true
		if *h.AlongUM < 0 {
			c.TowardsDeg = part.Turn(*h.AlongDeg + 180)
		}
	}
	if h.OvalUM != nil && h.OvalDeg != nil {
		oval = *h.OvalUM
	}
	if !c.Both() && math.Abs(mean) > max(off, oval) && alike(s.Stations, mean) && (mean > 0) == (c.Proud != nil) {
		c.What, c.UM, c.AtLeast = part.AllRecessed, math.Abs(mean), false
		if mean > 0 {
			c.What = part.AllProud
		}
		return true
	}
	c.What, c.UM = part.OffCentre, off
	if oval > off {
		c.What, c.UM, c.TowardsDeg, c.AtLeast = part.Oval, oval, *h.OvalDeg, false
	}
	// What is told as the cause makes at least half of what is over (common practice, no source).
	most := 0.0
	for _, o := range []*part.Over{c.Proud, c.Recessed} {
		if o != nil {
			most += o.UM
		}
	}
	if c.Both() {
		most /= 2
	} else if (mean > 0) == (c.Proud != nil) {
		most -= math.Abs(mean)
	}
	return c.UM > 0 && c.UM >= most/2
}

// alike says whether no station that was measured lies plainly on the other side of the shell's outline than the mean.
func alike(stations []part.Station, mean float64) bool {
	return !slices.ContainsFunc(stations, func(s part.Station) bool {
		u := 0.0
		if s.UUM != nil {
			u = part.CoverageK * *s.UUM
		}
		return s.State == part.Measured && s.StepUM != nil && *s.StepUM*mean < 0 && math.Abs(*s.StepUM) > u
	})
}

// extent tells how far round the seam a gap or bead goes that is over its limits at several stations.
func extent(r *part.Result, group []weighed) string {
	over := map[string]bool{}
	for _, w := range group {
		over[w.Station] = true
	}
	var ring []part.Station
	for _, s := range r.Seam.Stations {
		if s.State == part.Measured {
			ring = append(ring, s)
		}
	}
	slices.SortStableFunc(ring, func(a, b part.Station) int { return cmp.Compare(a.AroundDeg(), b.AroundDeg()) })
	first, runs := 0, 0
	for i, s := range ring {
		if over[place(s)] && !over[place(ring[(i+len(ring)-1)%len(ring)])] {
			first, runs = i, runs+1
		}
	}
	switch {
	case len(over) == len(ring):
		return " (at all stations)"
	case runs == 1:
		from, to := ring[first].AroundDeg(), ring[(first+len(over)-1)%len(ring)].AroundDeg()
		return fmt.Sprintf(" (one, from %s to %s deg)", short(from), short(to))
	}
	return fmt.Sprintf(" (%d stations over their limits)", len(over))
}

// causeSentence tells one cause instead of the steps; steps are the sentences of the worst of
// them, one for each way.
func causeSentence(c *part.SeamCause, steps []string) string {
	s := map[part.SeamWhat]string{
		part.AllProud:    fmt.Sprintf("proud all round, by %s um on average", fixed(c.UM, 0)),
		part.AllRecessed: fmt.Sprintf("recessed all round, by %s um on average", fixed(c.UM, 0)),
		part.OffCentre:   fmt.Sprintf("off-centre by %s um %s", amount(c), towards(c.Sides(false))),
		part.Oval:        fmt.Sprintf("oval by %s um, proud %s", amount(c), towards(c.Sides(false))),
		part.OnePlace:    "at one place alone",
		part.InTurn:      "proud at some places and recessed at others",
	}[c.What] + ": " + strings.Join(steps, " and ")
	if c.Stations > len(steps) {
		s += fmt.Sprintf(" (%d stations over their limits)", c.Stations)
	}
	if c.Both() {
		s += "; sanding the proud side flush leaves the other recessed"
	}
	return s
}

func amount(c *part.SeamCause) string {
	if c.AtLeast {
		return "at least " + fixed(c.UM, 0)
	}
	return fixed(c.UM, 0)
}

func towards(sides []float64) string { return "towards " + part.Degrees(sides...) }

// where is the place of a cause in a remedy.
func where(c *part.SeamCause, recessed bool) string {
	sides := c.Sides(recessed)
	switch {
	case c.What == part.AllProud || c.What == part.AllRecessed:
		return "all round"
	case c.What == part.OnePlace:
		return "at that place alone"
	case len(sides) == 2:
		return "on the sides " + towards(sides)
	case len(sides) == 1:
		return "on the side " + towards(sides)
	}
	return "in places"
}

// causeRemedies say what to do about a cause, WHERE being its place: proud or recessed steps alone over their
// limits, or both.
var causeRemedies = map[string]map[part.Stage]string{
	"seam_proud": {
		part.Trim:  care("Sand the faceplate's edge flush with the shell WHERE, little by little, and photograph again.", dusty),
		part.Wet:   care("Wipe the lacquer off, sand the faceplate's edge flush WHERE, lacquer again.", gloves, dusty),
		part.Cured: care("Cut the faceplate's edge back flush WHERE, through the lacquer, clean, lacquer again and cure.", gloves, dusty, lamp),
	},
	"seam_recessed": {
		part.Trim: care("Do not sand: the faceplate lies lower WHERE. Fill the edge there with adhesive, set it, trim flush; or replace the faceplate.",
			gloves, dusty, lamp),
		part.Wet: care("Do not sand: the faceplate lies lower WHERE. Build the edge up there with lacquer, or wipe off and fill with adhesive.",
			gloves, lamp),
		part.Cured: "Do not sand: the faceplate lies lower WHERE, and a set coat is not built up. Replace the faceplate.",
	},
	"seam_off_centre": {
		part.Trim: care("Do not sand it flush: the other side would stay recessed. Take the faceplate off and glue it again, centred;"+
			" or fill with adhesive WHERE, set it, then trim flush all round.", gloves, dusty, lamp),
		part.Wet: care("Do not sand it flush: the other side would stay recessed. Wipe the lacquer off, take the faceplate off and glue it again,"+
			" centred; or fill with adhesive WHERE, set it, trim flush all round, lacquer again.", gloves, dusty, lamp),
		part.Cured: "Do not sand it flush: the faceplate would stay recessed WHERE, and a set coat is not built up. Replace the faceplate," +
			" and glue the new one centred.",
	},
	"seam_both": {
		part.Trim: care("Do not sand it flush all round: it is recessed WHERE. Fill with adhesive there, set it, then trim flush all round;"+
			" or replace the faceplate.", gloves, dusty, lamp),
		part.Wet: care("Do not sand it flush all round: it is recessed WHERE. Wipe the lacquer off, fill with adhesive there, set it, trim flush"+
			" all round, lacquer again; or replace the faceplate.", gloves, dusty, lamp),
		part.Cured: "Do not sand it flush all round: it is recessed WHERE, and a set coat is not built up. Replace the faceplate.",
	},
}

// beyondSeam is the advice for what rework cannot mend, by the same words.
var beyondSeam = map[string]string{
	"step_proud":    beyondProud,
	"step_recessed": beyondRecessed,
	"seam_both":     "Do not sand it flush: the faceplate is recessed WHERE, and too far to fill or to sand. Replace the faceplate.",
}

// causeAdvice is what to do about the steps that have one cause.
func causeAdvice(st part.Stage, c *part.SeamCause) string {
	word, recessed := c.Remedy()
	text := causeRemedies[word][st]
	if c.Beyond {
		text = beyondSeam[word]
	}
	return orAsk(strings.ReplaceAll(text, "WHERE", where(c, recessed)))
}
