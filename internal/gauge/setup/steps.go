package setup

import (
	"fmt"
	"math"
	"strconv"

	"finishbench/internal/part"
)

// Name is the name of a step.
type Name string

// The steps, in the order in which they are taken.
const (
	Panel       Name = "panel"
	Exposure    Name = "exposure"
	Focus       Name = "focus"
	Height      Name = "height"
	Perspective Name = "perspective"
	Squareness  Name = "squareness"
	ScaleStep   Name = "scale"
)

// Names are all steps in their order: each rests on those before it.
func Names() []Name {
	return []Name{Panel, Exposure, Focus, Height, Perspective, Squareness, ScaleStep}
}

// Title is a step's heading.
func (n Name) Title() part.Phrase { return part.Say("setup.step." + string(n)) }

// Asks says what to put before the camera for a step.
func (n Name) Asks() part.Phrase {
	switch n {
	case Panel:
		return part.Say("setup.asks.panel")
	case Exposure:
		return part.Say("setup.asks.exposure")
	case Focus:
		return part.Say("setup.asks.focus")
	case Height:
		return part.Say("setup.asks.height")
	case Perspective:
		return part.Say("setup.asks.perspective")
	case Squareness:
		return part.Say("setup.asks.squareness")
	case ScaleStep:
		return part.Say("setup.asks.scale")
	}
	return part.Phrase{}
}

// Step is one thing to put in order, as a picture shows it.
type Step struct {
	Name     Name
	File     string // of the picture
	Applies  bool   // the picture is one that tells of this step
	Measures []Measure
	Fact     part.Phrase // what was found beside the measures; may have no key
}

// State is the step's: outside where any measure is, inside only where there are
// measures and all of them are.
func (s Step) State() State {
	if !s.Applies || len(s.Measures) == 0 {
		return NotMeasured
	}
	state := Inside
	for _, m := range s.Measures {
		switch m.State() {
		case Below, Above:
			return Outside
		case NotMeasured:
			state = NotMeasured
		}
	}
	return state
}

// First is the one measure to deal with: the first that is outside, else the
// first that was not measured.
func (s Step) First() (Measure, bool) {
	for _, want := range []bool{true, false} {
		for _, m := range s.Measures {
			st := m.State()
			if want && (st == Below || st == Above) || !want && st == NotMeasured {
				return m, true
			}
		}
	}
	return Measure{}, false
}

// Do is the one thing to do now; without a key where the step is in its zone.
func (s Step) Do() part.Phrase {
	if m, ok := s.First(); ok {
		return m.Do()
	}
	return part.Phrase{}
}

var open = math.NaN()

// Judge looks at a reading for one step.
func (l Limits) Judge(n Name, r Reading) Step {
	s := Step{Name: n, File: r.File}
	switch n {
	case Panel:
		s.Applies = r.Lit && (r.Subject == Empty || r.Subject == Unit)
		s.Measures = l.panel(r)
	case Exposure:
		s.Applies = r.Subject == Unit || r.Subject == Target
		s.Measures = l.exposure(r)
	case Focus:
		s.Applies = r.Subject == Unit || r.Subject == Target
		s.Measures = l.focus(r)
	case Height:
		s.Applies = r.Lit && r.Subject == Unit
		s.Measures = l.height(r)
	case Perspective:
		s.Applies = r.Lit && r.Subject == Unit
		s.Measures = l.perspective(r)
		if s.Applies && math.IsNaN(r.DistanceMM) {
			s.Fact = part.Say("setup.fact.no_distance")
		}
	case Squareness:
		s.Applies = r.Subject == Target
		s.Measures = l.squareness(r)
	case ScaleStep:
		s.Applies = r.Subject == Target
		s.Measures = l.scale(r)
		if !math.IsNaN(r.MMPerPX) {
			s.Fact = part.Say("setup.fact.target", "mm_per_px", fixed(r.MMPerPX))
			if !math.IsNaN(r.UMMPerPX) {
				s.Fact = s.Fact.With("u", part.Say("setup.fact.u", "u_mm_per_px", fmt.Sprintf("%.1g", r.UMMPerPX)))
			}
		}
	}
	for i := range s.Measures {
		s.Measures[i].File = r.File
	}
	return s
}

// fixed writes a scale with five digits.
func fixed(v float64) string { return fmt.Sprintf("%.5g", v) }

// none is said where a picture does not tell of a step.
func (r Reading) none(otherwise part.Phrase) part.Phrase {
	if r.Trouble.Key != "" {
		return r.Trouble
	}
	return otherwise
}

func (l Limits) panel(r Reading) []Measure {
	no := r.none(part.Say("setup.do.panel"))
	if r.Subject == Target {
		no = part.Say("setup.do.no_target")
	}
	even := Measure{Key: "panel_uneven_pct", Name: part.Say("setup.name.panel_uneven"), V: 100 * r.PanelUneven, U: open, Lo: open,
		Hi:   100 * l.Warn * l.PanelUneven,
		Unit: "%", Min: 0, Max: 100, AboveWord: part.Say("setup.word.uneven"), NoneDo: no,
		AboveDo: part.Say("setup.do.even"),
		Notes:   []part.Phrase{part.Say("setup.note.uneven", "percent", Number(100*l.PanelUneven))}}
	if r.PanelDark.Key != "" {
		even.AboveDo = part.Say("setup.do.even_at").With("do", even.AboveDo).With("at", r.PanelDark)
	}
	dirt := Measure{Key: "panel_dirt_pct", Name: part.Say("setup.name.panel_dirt"), V: 100 * r.PanelDirt, U: open, Lo: open,
		Hi:   100 * dirtWarn * l.PanelDirt,
		Unit: "%", Min: 0, Max: 200 * l.PanelDirt, AboveWord: part.Say("setup.word.dirty"), NoneDo: no, Plain: true,
		AboveDo: part.Say("setup.do.wipe"),
		Notes:   []part.Phrase{part.Say("setup.note.dirt", "percent", Number(100*l.PanelDirt))}}
	light := l.panelLight(r)
	light.NoneDo = no
	if r.Subject == Unit && !r.Bright && light.State() == Inside {
		// Bright enough, and yet the unit is brighter: light from the front.
		even.NoneDo = part.Say("setup.do.front_off")
		dirt.NoneDo = even.NoneDo
	}
	return []Measure{light, even, dirt}
}

func (l Limits) panelLight(r Reading) Measure {
	return Measure{Key: "panel_light_pct", Name: part.Say("setup.name.panel_light"), V: 100 * r.PanelLevel, U: open, Lo: 100 * l.MinPanel,
		Hi:   open,
		Unit: "% of full scale", Min: 0, Max: 100, BelowWord: part.Say("setup.word.dark"),
		BelowDo: part.Say("setup.do.panel_up")}
}

func (l Limits) exposure(r Reading) []Measure {
	what := "@setup.the_unit"
	if r.Subject == Target {
		what = "@setup.the_target"
	}
	no := r.none(part.Say("setup.do.unit"))
	clipped := Measure{Key: "clipped_pct", Name: part.Say("setup.name.clipped", "what", what), V: 100 * r.Clipped, U: open, Lo: open,
		Hi:   100 * l.Warn * r.ClippedMost,
		Unit: "%", Min: 0, Max: 300 * r.ClippedMost, AboveWord: part.Say("setup.word.bright"), NoneDo: no,
		AboveDo: part.Say("setup.do.light_down"),
		Notes:   []part.Phrase{part.Say("setup.note.clipped", "percent", Number(100*r.ClippedMost))}}
	if math.IsNaN(r.ClippedMost) {
		clipped.Hi, clipped.Max, clipped.Notes = open, open, nil
	}
	if r.Lit && r.Subject != Target {
		panel := Measure{Key: "panel_clipped_pct", Name: part.Say("setup.name.panel_clipped"), V: 100 * r.PanelClipped, U: open, Lo: open,
			Hi:   100 * PanelClippedMost,
			Unit: "%", Min: 0, Max: 100, AboveWord: part.Say("setup.word.bright"), NoneDo: no,
			AboveDo: part.Say("setup.do.panel_down")}
		light := l.panelLight(r)
		light.NoneDo = no
		if r.Subject != Unit {
			panel.V, light.V, clipped.V = open, open, open
		}
		return []Measure{light, panel, clipped}
	}
	light := Measure{Key: "light_pct", Name: part.Say("setup.name.light", "what", what), V: 100 * r.Level, U: open, Lo: 100 * l.MinLevel,
		Hi:   open,
		Unit: "% of full scale", Min: 0, Max: 100, BelowWord: part.Say("setup.word.dark"), NoneDo: no,
		BelowDo: part.Say("setup.do.light_up")}
	return []Measure{light, clipped}
}

func (l Limits) focus(r Reading) []Measure {
	no := r.none(part.Say("setup.do.unit_or_target"))
	if r.FocusTrouble.Key != "" {
		no = r.FocusTrouble
	}
	var all []Measure
	if r.Moved {
		all = append(all, Measure{Key: "motion_px", Name: part.Say("setup.name.motion"), V: r.MotionPX, U: open, Lo: open,
			Hi:   r.MotionMostPX,
			Unit: "px", Min: 0, Max: 3 * r.MotionMostPX, AboveWord: part.Say("setup.word.moved"), Plain: true,
			AboveDo: part.Say("setup.do.still").With("heading", heading(r.MotionDeg))})
	}
	most := l.Warn * r.EdgeMostPX
	all = append(all, Measure{Key: "edge_width_px", Name: part.Say("setup.name.edge_width"), V: r.EdgeWidthPX, U: open, Lo: open, Hi: most,
		Unit: "px", Min: 0, Max: 3 * most, AboveWord: part.Say("setup.word.unsharp"), NoneDo: no,
		AboveDo: part.Say("setup.do.focus"),
		Notes:   []part.Phrase{part.Say("setup.note.edge_width")}})
	if !math.IsNaN(r.EdgeMostPX) {
		last := &all[len(all)-1]
		last.Notes = append(last.Notes, part.Say("setup.note.refused", "px", Number(r.EdgeMostPX)))
	}
	if !math.IsNaN(r.MTF50CyPX) {
		all = append(all, Measure{Key: "mtf50_cy_px", Name: part.Say("setup.name.mtf50"), V: r.MTF50CyPX, U: open, Lo: r.MTF50LeastCyPX,
			Hi:   open,
			Unit: "cycles/px", Min: 0, Max: 0.6, BelowWord: part.Say("setup.word.unsharp"),
			BelowDo: part.Say("setup.do.focus"),
			Notes:   []part.Phrase{part.Say("setup.note.mtf50")}})
	}
	return all
}

// heading says a direction in the picture, clockwise from the x axis as seen.
func heading(deg float64) part.Phrase {
	switch d := math.Mod(deg+180, 180); {
	case d < 22.5 || d >= 157.5:
		return part.Say("setup.along.width")
	case d < 67.5:
		return part.Say("setup.along.falling")
	case d < 112.5:
		return part.Say("setup.along.height")
	}
	return part.Say("setup.along.rising")
}

// wantUnit is why the pose was not measured.
func (r Reading) wantUnit() part.Phrase {
	if r.StanceTrouble.Key != "" {
		return r.StanceTrouble
	}
	return r.none(part.Say("setup.do.edge_unit"))
}

func (l Limits) height(r Reading) []Measure {
	most := l.heightMostMM(r.DistanceMM)
	m := Measure{Key: "height_mm", Name: part.Say("setup.name.height"), V: r.HeightMM, U: r.UHeightMM, Lo: -most, Hi: most, Unit: "mm",
		Min: -4 * most, Max: 4 * most,
		BelowWord: part.Say("setup.word.low"), AboveWord: part.Say("setup.word.high"), NoneDo: r.wantUnit(),
		BelowDo: part.Say("setup.do.lower", "height_mm", Number(math.Abs(r.HeightMM))),
		AboveDo: part.Say("setup.do.raise", "height_mm", Number(math.Abs(r.HeightMM)))}
	switch {
	case math.IsNaN(most):
		m.Min, m.Max, m.Plain = -10, 10, true
		m.Notes = []part.Phrase{part.Say("setup.note.telecentric")}
	case math.IsNaN(r.DistanceMM):
		m.Notes = []part.Phrase{part.Say("setup.note.no_distance", "mm", strconv.Itoa(nearestMM))}
	default:
		m.Notes = []part.Phrase{part.Say("setup.note.height", "slant_deg", Number(l.SlantMost), "mm", fmt.Sprintf("%.0f", r.DistanceMM))}
	}
	return []Measure{m}
}

func (l Limits) perspective(r Reading) []Measure {
	slant := Measure{Key: "slant_deg", Name: part.Say("setup.name.slant"), V: r.SlantDeg, U: r.USlantDeg, Lo: -l.SlantMost,
		Hi: l.SlantMost, Unit: "°",
		Min: -4 * l.SlantMost, Max: 4 * l.SlantMost, BelowWord: part.Say("setup.word.from_below"), AboveWord: part.Say("setup.word.from_above"), NoneDo: r.wantUnit(),
		BelowDo: part.Say("setup.do.tip_towards"),
		AboveDo: part.Say("setup.do.tip_away"),
		Notes:   []part.Phrase{part.Say("setup.note.slant")}}
	all := []Measure{slant}
	if !math.IsNaN(r.DistanceMM) && r.DistanceMM > 0 {
		near := 100 * r.HalfMM / r.DistanceMM
		if math.IsInf(r.DistanceMM, 1) && !math.IsNaN(r.HalfMM) {
			near = 0
		}
		all = append(all, Measure{Key: "near_pct", Name: part.Say("setup.name.near"), V: near, U: open, Lo: open, Hi: 100 * nearMost,
			Unit: "%", Min: 0, Max: 300 * nearMost,
			AboveWord: part.Say("setup.word.near"), NoneDo: r.wantUnit(), AboveDo: part.Say("setup.do.further"),
			Notes: []part.Phrase{part.Say("setup.note.near")}})
	}
	return all
}

func (l Limits) squareness(r Reading) []Measure {
	no := r.none(l.wantTarget())
	if r.TiltUnseen {
		no = part.Say("setup.do.shows_tilt")
	}
	tilt := Measure{Key: "tilt_deg", Name: part.Say("setup.name.tilt"), V: r.TiltDeg, U: r.UTiltDeg, Lo: open, Hi: l.tiltMostDeg(),
		Unit: "°", Min: 0, Max: 3 * l.tiltMostDeg(),
		AboveWord: part.Say("setup.word.not_square"), NoneDo: no, AboveDo: part.Say("setup.do.square").With("how", swing(r.TiltAlongDeg)),
		Notes: []part.Phrase{part.Say("setup.note.tilt", "percent", Number(100*squareShare*l.uRel()))}}
	skew := Measure{Key: "skew_deg", Name: part.Say("setup.name.skew"), V: r.SkewDeg, U: r.USkewDeg, Lo: -l.skewMostDeg(),
		Hi: l.skewMostDeg(), Unit: "°",
		Min: -4 * l.skewMostDeg(), Max: 4 * l.skewMostDeg(), BelowWord: part.Say("setup.word.not_square"), AboveWord: part.Say("setup.word.not_square"), NoneDo: no,
		BelowDo: part.Say("setup.do.slanting"), AboveDo: part.Say("setup.do.slanting")}
	all := []Measure{tilt, skew}
	if !math.IsNaN(r.ChangePct) {
		all = append(all, Measure{Key: "scale_change_pct", Name: part.Say("setup.name.change"), V: r.ChangePct, U: open, Lo: open,
			Hi: 200 * squareShare * l.uRel(), Unit: "%",
			Min: 0, Max: 600 * squareShare * l.uRel(), AboveWord: part.Say("setup.word.not_square"), NoneDo: no,
			AboveDo: part.Say("setup.do.square_near").With("how", swing(r.TiltAlongDeg))})
	}
	return all
}

// swing says how to turn the camera when the target is foreshortened along a
// direction, counter-clockwise from the x axis.
func swing(along float64) part.Phrase {
	if math.IsNaN(along) {
		return part.Say("setup.do.try")
	}
	switch d := math.Mod(along+180, 180); {
	case d < 30 || d >= 150:
		return part.Say("setup.do.swing")
	case d >= 60 && d < 120:
		return part.Say("setup.do.tip")
	}
	return part.Say("setup.do.swing_tip")
}

// wantTarget asks for the target, and for its kind where nobody has told it.
func (l Limits) wantTarget() part.Phrase {
	if l.Target {
		return part.Say("setup.do.target")
	}
	return part.Say("setup.do.target_kind")
}

func (l Limits) scale(r Reading) []Measure {
	if l.Scale == nil {
		no := r.none(part.Say("setup.do.no_scale"))
		if !math.IsNaN(r.MMPerPX) {
			no = part.Say("setup.do.make_scale")
		}
		return []Measure{{Key: "scale_off_pct", Name: part.Say("setup.name.scale_off"), V: open, U: open, Lo: open, Hi: open, Unit: "%",
			Min: -1, Max: 1, NoneDo: no}}
	}
	sc := l.Scale
	off, u := open, open
	no := r.none(l.wantTarget())
	if r.ScaleTrouble.Key != "" {
		no = r.ScaleTrouble
	} else if !math.IsNaN(r.MMPerPX) && !math.IsNaN(r.UMMPerPX) {
		off = 100 * (r.MMPerPX/sc.MMPerPX - 1)
		// A target that is known badly must not widen the zone.
		u = 100 * math.Hypot(min(r.UMMPerPX/sc.MMPerPX, l.uRel()), sc.U/sc.MMPerPX)
	}
	zone := 2 * u // k = 2, as the results state their uncertainty
	all := []Measure{
		{Key: "scale_off_pct", Name: part.Say("setup.name.scale_off"), V: off, U: open, Lo: -zone, Hi: zone, Unit: "%", Min: -4 * zone,
			Max: 4 * zone, NoneDo: no,
			BelowWord: part.Say("setup.word.nearer"), AboveWord: part.Say("setup.word.further"),
			BelowDo: part.Say("setup.do.back", "file", sc.Name),
			AboveDo: part.Say("setup.do.nearer", "file", sc.Name),
			Notes:   []part.Phrase{part.Say("setup.note.scale_off")}},
		{Key: "scale_u_pct", Name: part.Say("setup.name.scale_u"), V: 100 * sc.U / sc.MMPerPX, U: open, Lo: open, Hi: 100 * l.uRel(),
			Unit: "%", Min: 0, Max: 400 * l.uRel(), Plain: true,
			AboveWord: part.Say("setup.word.uncertain"), AboveDo: part.Say("setup.do.better_scale")},
	}
	if !math.IsNaN(sc.MaxAgeDays) {
		all = append(all, Measure{Key: "scale_age_days", Name: part.Say("setup.name.scale_age"), V: sc.AgeDays, U: open, Lo: open,
			Hi: ageShare * sc.MaxAgeDays, Unit: "days", Min: 0, Max: 1.5 * sc.MaxAgeDays, Plain: true,
			AboveWord: part.Say("setup.word.old"), AboveDo: sc.AgeText, NoneDo: sc.AgeText,
			Notes: []part.Phrase{part.Say("setup.note.scale_age", "days", Number(sc.MaxAgeDays))}})
	}
	return all
}
