package grade

import (
	"math"

	"finishbench/internal/part"
)

// Limits says which finding weighs how much. The zero value is not valid: start
// from [DefaultLimits]. The names in the tags are the keys of limits.yaml.
type Limits struct {
	Version       int             `mapstructure:"version"`        // 1
	ScoreLimit    float64         `mapstructure:"score_limit"`    // demerits a unit may have and still pass, 0..10000
	MinConfidence float64         `mapstructure:"min_confidence"` // 0..1; surface findings below it are listed, but do not weigh
	Decision      Decision        `mapstructure:"decision"`
	Cluster       Cluster         `mapstructure:"cluster"`
	Pair          part.PairLimits `mapstructure:"pair"`
	Required      []Required      `mapstructure:"required"`
	LookedAt      []LookedAt      `mapstructure:"looked_at"` // each stage and view at most once
	Seam          []SeamLimit     `mapstructure:"seam"`      // each stage and measure once
	Surface       []SurfaceLimit  `mapstructure:"surface"`   // each stage, zone and kind once
	Waviness      []Waviness      `mapstructure:"waviness"`  // each stage at most once
	Mend          []Mend          `mapstructure:"mend"`      // each stage and kind once
}

// Decision is how a step, and the slope of orange peel, is compared with its
// limits (JCGM 106:2012, 8.2 and 8.3; section numbers from memory).
//
//   - simple: the value itself is compared.
//   - guarded_acceptance: the value plus K times u is compared; what is accepted
//     is surely good.
//   - guarded_rejection: the value less K times u is compared; what is refused is
//     surely bad.
type Decision struct {
	Rule string  `mapstructure:"rule"`
	K    float64 `mapstructure:"k"` // 0..5; also: a value closer than K times u to a limit is said to be within its uncertainty
}

// The rules of [Decision].
const (
	Simple            = "simple"
	GuardedAcceptance = "guarded_acceptance"
	GuardedRejection  = "guarded_rejection"
)

// shift is what the rule adds to a value of standard uncertainty u before it is compared;
// ok is false where u is nil and the rule needs it.
func (d Decision) shift(u *float64) (v float64, ok bool) {
	switch {
	case d.Rule == Simple:
		return 0, true
	case u == nil:
		return 0, false
	case d.Rule == GuardedRejection:
		return -d.K * *u, true
	}
	return d.K * *u, true
}

// Cluster is the rule for several small findings close together: where at least
// Count findings of these kinds lie within WithinMM of one of them (it counts
// too), each is raised by Raise classes, but not above UpTo.
type Cluster struct {
	Count    int           `mapstructure:"count"`     // 2..100, or 0: no cluster rule
	WithinMM float64       `mapstructure:"within_mm"` // mm between the middles, above 0, up to 50
	Raise    int           `mapstructure:"raise"`     // classes, 1..3
	UpTo     part.Severity `mapstructure:"up_to"`
	From     part.Severity `mapstructure:"from"` // the least severity that counts
	Kinds    []part.Kind   `mapstructure:"kinds"`
}

// Required names the views without which a unit cannot pass at these stages.
type Required struct {
	Stages []part.Stage `mapstructure:"stages"`
	Views  []part.View  `mapstructure:"views"`
}

// LookedAt is the share of the surfaces of these views, 0..1, that must have been
// looked at in at least one light; with less a unit cannot pass at these stages.
type LookedAt struct {
	Stages []part.Stage `mapstructure:"stages"`
	Views  []part.View  `mapstructure:"views"` // face, shell
	Least  float64      `mapstructure:"least"`
}

// SurfaceViews are the views of a surface.
var SurfaceViews = []part.View{part.Face, part.Shell}

// SeamLimit holds the limits of the seam at some stages.
type SeamLimit struct {
	Stages []part.Stage `mapstructure:"stages"`
	By     []Classes    `mapstructure:"by"`
}

// SurfaceLimit holds the limits of some kinds of findings in some zones at some
// stages. With several measures the worst counts.
type SurfaceLimit struct {
	Stages []part.Stage `mapstructure:"stages"`
	Zones  []part.Zone  `mapstructure:"zones"`
	Kinds  []part.Kind  `mapstructure:"kinds"`
	By     []Classes    `mapstructure:"by"`
}

// Waviness holds the limits of a faceplate's orange peel at some stages, by the slope of its
// waves before a screen whose place is known. At other stages, and where the slope is not
// known, it is weighed by its area.
type Waviness struct {
	Stages []part.Stage  `mapstructure:"stages"`
	By     []WaveClasses `mapstructure:"by"` // the worst counts
}

// WaveClasses are the bounds between the severities for the root mean square slope (Sdq of
// ISO 25178-2) of the waves between two wavelengths, mrad, 1..1000. A class holds what lies over
// its bound.
type WaveClasses struct {
	FromMM   float64  `mapstructure:"from_mm"` // of part.OctaveEndsMM, the longest wave
	ToMM     float64  `mapstructure:"to_mm"`   // and the shortest
	Minor    *float64 `mapstructure:"minor"`
	Moderate *float64 `mapstructure:"moderate"`
	Major    *float64 `mapstructure:"major"`
	Critical *float64 `mapstructure:"critical"`
}

func (w WaveClasses) classes() Classes {
	return Classes{Measure: SlopeMRad, Minor: w.Minor, Moderate: w.Moderate, Major: w.Major, Critical: w.Critical}
}

// Classes are the bounds between the severities for one measure, in its unit.
// At the seam a class holds what lies over its bound; on the surface, what is as
// large as its bound or larger. A class without a bound is never reached.
type Classes struct {
	Measure  string   `mapstructure:"measure"`
	Minor    *float64 `mapstructure:"minor"`
	Moderate *float64 `mapstructure:"moderate"`
	Major    *float64 `mapstructure:"major"`
	Critical *float64 `mapstructure:"critical"`
}

// The measures of a seam, in um, and of a finding on the surface.
const (
	ProudUM    = "proud_um"
	RecessedUM = "recessed_um"
	GapUM      = "gap_um"
	BeadUM     = "bead_um"

	DiameterMM = "diameter_mm" // spots: geometric mean of length and width
	LengthMM   = "length_mm"
	WidthMM    = "width_mm"
	AreaMM2    = "area_mm2"
	Lines      = "lines" // number of lines of a patch of sanding marks

	SlopeMRad = "slope_mrad" // of waves, which have limits of their own: see [Waviness]
)

// SeamMeasures and SurfaceMeasures list the measures.
var (
	SeamMeasures    = []string{ProudUM, RecessedUM, GapUM, BeadUM}
	SurfaceMeasures = []string{DiameterMM, LengthMM, WidthMM, AreaMM2, Lines}
)

// Mend says whether rework can mend some findings at some stages. What names
// kinds of findings; a step is named by its direction, "proud" or "recessed".
type Mend struct {
	Stages   []part.Stage `mapstructure:"stages"`
	What     []string     `mapstructure:"what"`
	Mendable bool         `mapstructure:"mendable"`
	UpToUM   *float64     `mapstructure:"up_to_um"` // seam findings: mendable up to this; absent: whatever the size
	UpToMM   *float64     `mapstructure:"up_to_mm"` // surface findings: the longest size; absent: whatever the size
}

// The directions of a step, as [Mend] names them.
const (
	Proud    = "proud"
	Recessed = "recessed"
)

// SurfaceKinds are the kinds that lie on a surface, MendWords what [Mend] names.
var (
	SurfaceKinds = []part.Kind{part.Bubble, part.Dust, part.Fibre, part.Sanding, part.Crater, part.Run,
		part.OrangePeel, part.Haze, part.Chip, part.Missed}
	MendWords = append([]string{Proud, Recessed, string(part.Gap), string(part.Bead)}, words(SurfaceKinds)...)
)

// Demerits is the weight of a severity: the classes and weights of Dodge's
// demerit plan (weights from memory).
func Demerits(s part.Severity) float64 {
	switch s {
	case part.Critical:
		return 100
	case part.Major:
		return 50
	case part.Moderate:
		return 10
	case part.Minor:
		return 1
	}
	return 0
}

// ForPanel returns the limits for a flat test panel: no view is required.
func (l Limits) ForPanel() Limits {
	l.Required = nil
	return l
}

// StepLimits returns the steps over which a unit cannot pass by one step alone,
// um, both positive: where a step becomes major, or the mildest bound where it
// never does. A reason quotes the same number. +Inf where nothing limits it.
func (l Limits) StepLimits(st part.Stage) (proudUM, recessedUM float64) {
	proud, _ := l.seam(st, ProudUM)
	recessed, _ := l.seam(st, RecessedUM)
	return proud.limit(), recessed.limit()
}

// lookedAt returns the least share of a view's surfaces that must have been looked
// at; 0: none is asked for.
func (l Limits) lookedAt(st part.Stage, v part.View) float64 {
	for _, row := range l.LookedAt {
		if has(row.Stages, st) && has(row.Views, v) {
			return row.Least
		}
	}
	return 0
}

// class is a severity and the bound from which it starts.
type class struct {
	sev   part.Severity
	bound float64
}

// list returns the classes that have a bound, mildest first.
func (c Classes) list() []class {
	var out []class
	for _, b := range []struct {
		s part.Severity
		v *float64
	}{{part.Minor, c.Minor}, {part.Moderate, c.Moderate}, {part.Major, c.Major}, {part.Critical, c.Critical}} {
		if b.v != nil {
			out = append(out, class{b.s, *b.v})
		}
	}
	return out
}

// over returns the worst class whose bound lies under v; none and NaN where v
// is within all of them.
func (c Classes) over(v float64) class { return c.pick(func(bound float64) bool { return v > bound }) }

// from returns the worst class whose bound v reaches.
func (c Classes) from(v float64) class { return c.pick(func(bound float64) bool { return v >= bound }) }

func (c Classes) pick(reached func(bound float64) bool) class {
	got := class{part.None, math.NaN()}
	for _, k := range c.list() {
		if reached(k.bound) {
			got = k
		}
	}
	return got
}

// limit is the bound over which a unit cannot pass by this measure alone, or
// the mildest bound where there is no such class.
func (c Classes) limit() float64 {
	switch {
	case c.Major != nil:
		return *c.Major
	case c.Critical != nil:
		return *c.Critical
	}
	if l := c.list(); len(l) > 0 {
		return l[0].bound
	}
	return math.Inf(1)
}

// seam returns the limits of one measure of the seam.
func (l Limits) seam(st part.Stage, measure string) (Classes, bool) {
	for _, row := range l.Seam {
		if !has(row.Stages, st) {
			continue
		}
		for _, c := range row.By {
			if c.Measure == measure {
				return c, true
			}
		}
	}
	return Classes{}, false
}

// surface returns the limits of a kind in a zone.
func (l Limits) surface(st part.Stage, z part.Zone, k part.Kind) ([]Classes, bool) {
	for _, row := range l.Surface {
		if has(row.Stages, st) && has(row.Zones, z) && has(row.Kinds, k) {
			return row.By, true
		}
	}
	return nil, false
}

// waviness returns the limits of the waves' slopes; nil where there are none.
func (l Limits) waviness(st part.Stage) []WaveClasses {
	for _, row := range l.Waviness {
		if has(row.Stages, st) {
			return row.By
		}
	}
	return nil
}

// mend returns the row for a word of MendWords.
func (l Limits) mend(st part.Stage, what string) (Mend, bool) {
	for _, row := range l.Mend {
		if has(row.Stages, st) && has(row.What, what) {
			return row, true
		}
	}
	return Mend{}, false
}

func has[T comparable](list []T, v T) bool {
	for _, x := range list {
		if x == v {
			return true
		}
	}
	return false
}

func words[T ~string](list []T) []string {
	out := make([]string, len(list))
	for i, v := range list {
		out[i] = string(v)
	}
	return out
}
