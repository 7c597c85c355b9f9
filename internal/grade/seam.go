package grade

import (
	"fmt"
	"math"
	"strconv"

	"finishbench/internal/part"
)

// seamOutcome is what the stations say.
type seamOutcome struct {
	findings []weighed
	unjudged []part.Phrase // what has no limit, or no uncertainty where the rule needs it
	warnings []part.Phrase
}

// seamFindings compares every measured station with the limits.
func seamFindings(r *part.Result, l Limits) seamOutcome {
	var out seamOutcome
	noDepth := 0
	for _, s := range r.Seam.Stations {
		if s.State != part.Measured {
			continue
		}
		measure, size := ProudUM, *s.StepUM
		if size < 0 {
			measure, size = RecessedUM, -size
		}
		out.add(r, l, s, part.Step, measure, *s.StepUM, size, s.UUM)
		if s.GapUM == nil || s.BeadUM == nil {
			noDepth++
		}
		if s.GapUM != nil {
			out.add(r, l, s, part.Gap, GapUM, *s.GapUM, *s.GapUM, nil)
		}
		if s.BeadUM != nil {
			out.add(r, l, s, part.Bead, BeadUM, *s.BeadUM, *s.BeadUM, nil)
		}
	}
	if noDepth > 0 {
		out.warnings = append(out.warnings, part.Say("warning.no_depth", "n", strconv.Itoa(noDepth), "of", strconv.Itoa(len(r.Seam.Stations))))
	}
	return out
}

// add weighs one measure of one station: value is what the finding carries,
// size what is compared, u its standard uncertainty or nil. Gap and bead have no
// uncertainty of their own and are always compared by simple acceptance.
func (out *seamOutcome) add(r *part.Result, l Limits, s part.StepStation, kind part.Kind, measure string, value, size float64, u *float64) {
	where := place(s)
	c, ok := l.seam(r.Stage, measure)
	if !ok {
		out.unjudged = append(out.unjudged, part.Say("reason.no_limit."+string(kind), "stage", strconv.Quote(string(r.Stage))).With("place", at(where)))
		return
	}
	shift := 0.0
	if kind == part.Step {
		if shift, ok = l.Decision.shift(u); !ok {
			out.unjudged = append(out.unjudged, part.Say("reason.no_u", "rule", string(l.Decision.Rule)).With("place", at(where)))
			return
		}
	}
	got := c.over(size + shift)
	if got.sev == part.None {
		if limit := c.limit(); nearLimit(size, limit, u, l.Decision.K) {
			out.warnings = append(out.warnings, part.Say("warning.near_um", "limit_um", short(limit), "u_um", short1(*u)).
				With("what", seamWord(measure, size, limit)).With("place", at(where)))
		}
		return
	}
	f := part.Finding{
		Image: s.Image, Kind: kind, Box: stepStationBox(r, s), Zone: part.ZoneSeam, Severity: got.sev,
		Confidence: overLimit(size, got.bound, u), StepStation: where, ValueUM: part.Num(value),
		Features: map[string]float64{"limit_um": got.bound},
	}
	if u != nil {
		f.Features["u_um"] = *u
	}
	out.findings = append(out.findings, weighed{Finding: f, measure: measure, value: size, class: got, classes: c, u: u, k: l.Decision.K})
}

// nearLimit reports whether size lies within k times u of the limit.
func nearLimit(size, limit float64, u *float64, k float64) bool {
	return u != nil && math.Abs(size-limit) <= k**u
}

// overLimit is the probability that the true size is over the limit, for a
// normally distributed error with the standard uncertainty u: JCGM 106:2012,
// section 7 (from memory). 1 where no uncertainty is stated.
func overLimit(size, limit float64, u *float64) float64 {
	if u == nil {
		return 1
	}
	if *u == 0 {
		if size > limit {
			return 1
		}
		return 0
	}
	return 0.5 * math.Erfc((limit-size)/(*u*math.Sqrt2))
}

// boxMM is the side of the box that marks a station, mm; boxPX is taken where
// the scale is not known.
const (
	boxMM = 0.9
	boxPX = 60.0
)

// stepStationBox is a square around the station, kept inside its picture. It is
// empty where the station's place is not known.
func stepStationBox(r *part.Result, s part.StepStation) part.Box {
	if s.XPX == nil || s.YPX == nil {
		return part.Box{}
	}
	side := boxPX
	if r.MMPerPX > 0 && !math.IsInf(r.MMPerPX, 0) {
		side = boxMM / r.MMPerPX
	}
	x0, y0 := *s.XPX-side/2, *s.YPX-side/2
	x1, y1 := x0+side, y0+side
	for _, p := range r.Pictures {
		if p.File == s.Image && p.WidthPX > 0 && p.HeightPX > 0 {
			x0, y0 = max(x0, -0.5), max(y0, -0.5)
			x1, y1 = min(x1, float64(p.WidthPX)-0.5), min(y1, float64(p.HeightPX)-0.5)
		}
	}
	if !(x1 > x0 && y1 > y0) {
		return part.Box{}
	}
	return part.Box{x0, y0, x1 - x0, y1 - y0}
}

// place names a station: "120 deg, left".
func place(s part.StepStation) string { return fmt.Sprintf("%s deg, %s", short(s.AngleDeg), s.Side) }
