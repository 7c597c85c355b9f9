package grade

import (
	"cmp"
	"math"
	"slices"
	"strconv"

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
		over[w.StepStation] = true
		to := &c.Proud
		if w.measure == RecessedUM {
			to = &c.Recessed
		}
		if *to == nil || w.value > (*to).UM {
			limit := w.class.bound
			if w.Severity.Rank() >= part.Major.Rank() {
				limit = w.classes.limit()
			}
			*to = &part.Over{Station: w.StepStation, UM: w.value, LimitUM: limit}
		}
		c.Beyond = c.Beyond || !w.mends && w.Severity.Rank() >= part.Moderate.Rank()
	}
	switch {
	case c.Stations == 0:
		return nil
	case r.Seam.Shape != nil && ofShape(c, r.Seam, over):
		return c
	case c.Both():
		c.What, c.UM, c.TowardsDeg, c.AtLeast = part.InTurn, 0, 0, false
		opposite(c, r.Seam)
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
		local[place(part.StepStation{AngleDeg: l.AngleDeg, Side: l.Side})] = true
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

// opposite makes an offset of one proud and one recessed place that lie opposite each other, where there is no
// curve to tell more.
func opposite(c *part.SeamCause, s part.Seam) {
	around := map[string]float64{}
	for i := range s.Stations {
		around[place(s.Stations[i])] = s.Stations[i].AroundDeg()
	}
	proud, recessed := around[c.Proud.Station], around[c.Recessed.Station]
	if s.Shape == nil && math.Abs(math.Remainder(proud-recessed-180, 360)) <= 30 { // as even stations lie; common practice, no source
		c.What, c.UM, c.TowardsDeg, c.AtLeast = part.OffCentre, (c.Proud.UM+c.Recessed.UM)/2, proud, true
	}
}

// alike says whether no station that was measured lies plainly on the other side of the shell's outline than the mean.
func alike(stations []part.StepStation, mean float64) bool {
	return !slices.ContainsFunc(stations, func(s part.StepStation) bool {
		u := 0.0
		if s.UUM != nil {
			u = part.CoverageK * *s.UUM
		}
		return s.State == part.Measured && s.StepUM != nil && *s.StepUM*mean < 0 && math.Abs(*s.StepUM) > u
	})
}

// arcOf says how stations lie round the seam among those that were measured: on one arc from one
// angle to another, or at all of them.
func arcOf(r *part.Result, over map[string]bool) (fromDeg, toDeg float64, arc, all bool) {
	var ring []part.StepStation
	for _, s := range r.Seam.Stations {
		if s.State == part.Measured {
			ring = append(ring, s)
		}
	}
	slices.SortStableFunc(ring, func(a, b part.StepStation) int { return cmp.Compare(a.AroundDeg(), b.AroundDeg()) })
	first, runs := 0, 0
	for i, s := range ring {
		if over[place(s)] && !over[place(ring[(i+len(ring)-1)%len(ring)])] {
			first, runs = i, runs+1
		}
	}
	if runs == 1 {
		fromDeg, toDeg = ring[first].AroundDeg(), ring[(first+len(over)-1)%len(ring)].AroundDeg()
	}
	return fromDeg, toDeg, runs == 1, len(over) == len(ring)
}

// extent tells how far round the seam a gap or bead goes that is over its limits at several stations.
func extent(r *part.Result, group []weighed) part.Phrase {
	over := map[string]bool{}
	for _, w := range group {
		over[w.StepStation] = true
	}
	from, to, arc, all := arcOf(r, over)
	switch {
	case all:
		return part.Say("seam.extent.all")
	case arc:
		return part.Say("seam.extent.one", "from_deg", short(from), "to_deg", short(to))
	}
	return part.Say("seam.extent.some", "n", strconv.Itoa(len(over)))
}

// causeSentence tells one cause instead of the steps; steps are the sentences of the worst of
// them, one for each way.
func causeSentence(c *part.SeamCause, steps []part.Phrase) part.Phrase {
	p := part.Say("seam.fault." + string(c.What))
	if c.UM > 0 {
		p = part.Say(p.Key, "value_um", fixed(c.UM, 0))
	}
	if sides := c.Sides(false); len(sides) > 0 {
		p = p.With("sides", part.Turns(sides...))
		if c.AtLeast {
			p = p.With("least", part.Say("least"))
		}
	}
	p = p.With("steps", steps...)
	if c.Stations > len(steps) {
		p = p.With("extent", part.Say("seam.extent.some", "n", strconv.Itoa(c.Stations)))
	}
	if c.Both() {
		p = p.With("both", part.Say("seam.fault.both"))
	}
	return p
}

// where is the place of a cause in a remedy.
func where(c *part.SeamCause, recessed bool) part.Phrase {
	sides := c.Sides(recessed)
	switch {
	case c.What == part.AllProud || c.What == part.AllRecessed:
		return part.Say("where.all_round")
	case c.What == part.OnePlace:
		return part.Say("where.one_place")
	case len(sides) == 2:
		return part.Say("where.sides").With("sides", part.Turns(sides...))
	case len(sides) == 1:
		return part.Say("where.side").With("sides", part.Turns(sides...))
	}
	return part.Say("where.in_places")
}

// causeAdvice is what to do about the steps that have one cause.
func causeAdvice(st part.Stage, c *part.SeamCause) part.Phrase {
	word, recessed := c.Remedy()
	switch {
	case c.Beyond:
		return part.Say("beyond."+word).With("where", where(c, recessed))
	case !slices.Contains(part.Stages, st):
		return part.Say("remedy.other")
	}
	return part.Say("remedy."+word+"."+string(st)).With("where", where(c, recessed))
}
