package process

import (
	"maps"
	"math"
	"slices"
	"time"

	"finishbench/internal/part"
)

// Unit is one inspection of one unit at one stage, that holds. Words that are
// not told are empty, numbers that were not measured NaN.
type Unit struct {
	part.UnitInfo
	Shift        string
	At           time.Time    // when it ended
	Verdict      part.Verdict // the last word
	Score        float64      // demerits
	Findings     []Finding
	Steps        []Step         // that were measured
	StepsMissing int            // stations that were not
	Plate        *Plate         // nil: the faceplate's outline is not known
	Shell        *part.ShellMap // what was looked at of the shell; nil: nothing
	Screen       *part.Mirror   // what the faceplate mirrors of a screen; nil: not measured
}

// Finding is one finding.
type Finding struct {
	Kind     part.Kind
	Zone     part.Zone
	Severity part.Severity
	SizeMM   float64     // diameter, else length
	AngleDeg float64     // of the long axis, 0..180, counter-clockwise from the picture's x axis
	Place    *Place      // on the faceplate; nil: not in a face picture, or the outline is not known
	OnShell  *ShellPlace // on the shell; nil: not there, or where is not known
}

// Step is the step at one station.
type Step struct {
	AngleDeg float64
	Side     part.Side
	StepUM   float64 // + proud
	UUM      float64 // standard uncertainty, k = 1
}

// UnitsOf are inspections as they are counted here.
func UnitsOf(ins []part.Inspection) []Unit {
	out := make([]Unit, len(ins))
	for i := range ins {
		out[i] = UnitOf(&ins[i])
	}
	return out
}

// UnitOf is an inspection as it is counted here.
func UnitOf(in *part.Inspection) Unit {
	r := &in.Result
	u := Unit{UnitInfo: in.UnitInfo, At: in.Ended, Verdict: in.Verdict(), Score: part.OrNaN(r.Score), Screen: r.Screen, Shell: r.Shell}
	for i := range r.Seam.Stations {
		s := &r.Seam.Stations[i]
		if s.StepUM == nil {
			u.StepsMissing++
			continue
		}
		u.Steps = append(u.Steps, Step{s.AngleDeg, s.Side, *s.StepUM, part.OrNaN(s.UUM)})
	}
	mm := 0.0
	if r.Faceplate != nil {
		mm = r.ScaleOf(r.Faceplate.Image)
		u.Plate = NewPlate(r.Faceplate.Outline(), mm)
	}
	views := map[string]part.View{}
	for i := range r.Pictures {
		views[r.Pictures[i].File] = r.Pictures[i].View
	}
	for i := range r.Findings {
		f := &r.Findings[i]
		g := Finding{Kind: f.Kind, Zone: f.Zone, Severity: f.Severity, SizeMM: part.OrNaN(f.DiameterMM), AngleDeg: part.OrNaN(f.AngleDeg)}
		if f.DiameterMM == nil {
			g.SizeMM = part.OrNaN(f.LengthMM)
		}
		if f.TurnDeg != nil && f.BelowMM != nil {
			g.OnShell = &ShellPlace{within360(*f.TurnDeg), *f.BelowMM}
		} else if u.Plate != nil && views[f.Image] == part.Face && f.Zone != part.ZoneShell {
			// Face pictures are of one pose: a place in one is that place in all.
			g.Place = u.Plate.Place(f.Box.Centre())
		}
		u.Findings = append(u.Findings, g)
	}
	return u
}

// Measured says whether the inspection came to a call.
func (u *Unit) Measured() bool {
	return u.Verdict == part.Pass || u.Verdict == part.Rework || u.Verdict == part.Reject
}

// WorstStepUM is the step of the largest size, with its sign; NaN where none was
// measured.
func (u *Unit) WorstStepUM() float64 {
	worst := math.NaN()
	for _, s := range u.Steps {
		if !(math.Abs(s.StepUM) <= math.Abs(worst)) && !math.IsNaN(s.StepUM) {
			worst = s.StepUM
		}
	}
	return worst
}

// MeanStepUM is the mean step around the unit; NaN where none was measured.
func (u *Unit) MeanStepUM() float64 {
	sum := 0.0
	for _, s := range u.Steps {
		sum += s.StepUM
	}
	return sum / float64(len(u.Steps))
}

// WavinessMRad is the root mean square slope of the faceplate; NaN where it was not
// measured: also where only the stripes' phase was, which is another quantity, and
// where what is told is a lower bound.
func (u *Unit) WavinessMRad() float64 {
	if u.Screen == nil || u.Screen.AtLeast {
		return math.NaN()
	}
	return part.OrNaN(u.Screen.SlopeMRad)
}

// Count is how many findings of a kind there are; "" counts all.
func (u *Unit) Count(k part.Kind) int {
	n := 0
	for i := range u.Findings {
		if k == "" || u.Findings[i].Kind == k {
			n++
		}
	}
	return n
}

// BySeverity counts findings by class: critical, major, moderate, minor, as
// charts.DodgeWeights has them.
func (u *Unit) BySeverity() []int {
	n := make([]int, 4)
	for i := range u.Findings {
		if r := u.Findings[i].Severity.Rank(); r >= 1 {
			n[4-r]++
		}
	}
	return n
}

// InTime are the units in order of time, those of one moment as given.
func InTime(units []Unit) []Unit {
	out := slices.Clone(units)
	slices.SortStableFunc(out, func(a, b Unit) int { return a.At.Compare(b.At) })
	return out
}

// FirstLooks are each unit's first inspections at each stage, in order of time.
func FirstLooks(units []Unit) []Unit {
	seen := map[part.Look]bool{}
	var out []Unit
	for _, u := range InTime(units) {
		if !seen[u.Look()] {
			seen[u.Look()] = true
			out = append(out, u)
		}
	}
	return out
}

// LastLooks are each unit's last inspections at each stage, in order of time.
func LastLooks(units []Unit) []Unit {
	all := InTime(units)
	last := map[part.Look]int{}
	for i := range all {
		last[all[i].Look()] = i
	}
	var out []Unit
	for _, i := range slices.Sorted(maps.Values(last)) {
		out = append(out, all[i])
	}
	return out
}
