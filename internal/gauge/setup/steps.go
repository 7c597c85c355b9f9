package setup

import (
	"fmt"
	"math"
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
func (n Name) Title() string {
	return map[Name]string{Panel: "Panel", Exposure: "Exposure", Focus: "Focus", Height: "Height", Perspective: "Perspective", Squareness: "Squareness", ScaleStep: "Scale"}[n]
}

// Asks says what to put before the camera for a step.
func (n Name) Asks() string {
	switch n {
	case Panel:
		return "Photograph the lit panel, empty or with a unit before it."
	case Exposure:
		return "Put a unit before the camera, in the light it is inspected in."
	case Focus:
		return "Leave the unit where it is, or put a target in its place, turned by about 5 degrees."
	case Height:
		return "Put a unit before the lit panel, upright, as for an edge picture."
	case Perspective:
		return "Leave the unit where it is."
	case Squareness:
		return "Put the target where the unit stands, flat towards the camera."
	case ScaleStep:
		return "Leave the target where it is, or put it where the unit stands."
	}
	return ""
}

// Step is one thing to put in order, as a picture shows it.
type Step struct {
	Name     Name
	File     string // of the picture
	Applies  bool   // the picture is one that tells of this step
	Measures []Measure
	Fact     string // what was found beside the measures, to read; may be empty
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

// Do is the one thing to do now; empty where the step is in its zone.
func (s Step) Do() string {
	if m, ok := s.First(); ok {
		return m.Do()
	}
	return ""
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
			s.Fact = "how far the lens stands is not known: a scale file from several pictures of a target, or lens_distance_mm in the station file, tells it"
		}
	case Squareness:
		s.Applies = r.Subject == Target
		s.Measures = l.squareness(r)
	case ScaleStep:
		s.Applies = r.Subject == Target
		s.Measures = l.scale(r)
		if !math.IsNaN(r.MMPerPX) {
			s.Fact = fmt.Sprintf("this target: %s mm per px", fixed(r.MMPerPX))
			if !math.IsNaN(r.UMMPerPX) {
				s.Fact += fmt.Sprintf(" ± %.1g (k = 1)", r.UMMPerPX)
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
func (r Reading) none(otherwise string) string {
	if r.Trouble != "" {
		return r.Trouble
	}
	return otherwise
}

func (l Limits) panel(r Reading) []Measure {
	no := r.none("photograph the lit panel, empty or with a unit before it")
	if r.Subject == Target {
		no = "this is a target: photograph the lit panel, empty or with a unit before it"
	}
	even := Measure{Key: "panel_uneven_pct", Name: "change of light across it", V: 100 * r.PanelUneven, U: open, Lo: open, Hi: 100 * l.Warn * l.PanelUneven,
		Unit: "%", Min: 0, Max: 100, AboveWord: "too uneven", NoneDo: no,
		AboveDo: "light the panel more evenly: move its lamp further behind, or put a second diffuser before it",
		Note:    fmt.Sprintf("0 is best; from %s %% on edge pictures are refused, and of faces it is told", Number(100*l.PanelUneven))}
	if r.PanelDark != "" {
		even.AboveDo += "; it is darkest at " + r.PanelDark
	}
	dirt := Measure{Key: "panel_dirt_pct", Name: "dirt on it", V: 100 * r.PanelDirt, U: open, Lo: open, Hi: 100 * dirtWarn * l.PanelDirt,
		Unit: "%", Min: 0, Max: 200 * l.PanelDirt, AboveWord: "too dirty", NoneDo: no, Plain: true,
		AboveDo: "wipe the panel, and take what does not belong there out of the picture",
		Note:    fmt.Sprintf("0 is best; pictures are refused from %s %% near the unit on", Number(100*l.PanelDirt))}
	light := l.panelLight(r)
	light.NoneDo = no
	if r.Subject == Unit && !r.Bright && light.State() == Inside {
		// Bright enough, and yet the unit is brighter: light from the front.
		even.NoneDo = "the unit is brighter than the panel: switch the panel on and the light in front off"
		dirt.NoneDo = even.NoneDo
	}
	return []Measure{light, even, dirt}
}

func (l Limits) panelLight(r Reading) Measure {
	return Measure{Key: "panel_light_pct", Name: "light of the panel", V: 100 * r.PanelLevel, U: open, Lo: 100 * l.MinPanel, Hi: open,
		Unit: "% of full scale", Min: 0, Max: 100, BelowWord: "too dark",
		BelowDo: "switch the panel on, turn it up, or expose longer"}
}

func (l Limits) exposure(r Reading) []Measure {
	what := "unit"
	if r.Subject == Target {
		what = "target"
	}
	no := r.none("put a unit before the camera")
	clipped := Measure{Key: "clipped_pct", Name: "share of the " + what + " at full scale", V: 100 * r.Clipped, U: open, Lo: open, Hi: 100 * l.Warn * r.ClippedMost,
		Unit: "%", Min: 0, Max: 300 * r.ClippedMost, AboveWord: "too bright", NoneDo: no,
		AboveDo: "light down, or expose shorter: what is at full scale shows no detail",
		Note:    fmt.Sprintf("0 is best; pictures are refused from %s %% on", Number(100*r.ClippedMost))}
	if math.IsNaN(r.ClippedMost) {
		clipped.Hi, clipped.Max, clipped.Note = open, open, ""
	}
	if r.Lit && r.Subject != Target {
		panel := Measure{Key: "panel_clipped_pct", Name: "share of the panel at full scale", V: 100 * r.PanelClipped, U: open, Lo: open, Hi: 100 * PanelClippedMost,
			Unit: "%", Min: 0, Max: 100, AboveWord: "too bright", NoneDo: no,
			AboveDo: "turn the panel down, or expose shorter: its light spills over the unit's edge and makes it look smaller"}
		light := l.panelLight(r)
		light.NoneDo = no
		if r.Subject != Unit {
			panel.V, light.V, clipped.V = open, open, open
		}
		return []Measure{light, panel, clipped}
	}
	light := Measure{Key: "light_pct", Name: "light of the " + what + "'s brightest tenth", V: 100 * r.Level, U: open, Lo: 100 * l.MinLevel, Hi: open,
		Unit: "% of full scale", Min: 0, Max: 100, BelowWord: "too dark", NoneDo: no,
		BelowDo: "light up, or expose longer"}
	return []Measure{light, clipped}
}

func (l Limits) focus(r Reading) []Measure {
	no := r.none("put a unit or a target before the camera")
	if r.FocusTrouble != "" {
		no = r.FocusTrouble
	}
	var all []Measure
	if r.Moved {
		all = append(all, Measure{Key: "motion_px", Name: "movement while it was taken", V: r.MotionPX, U: open, Lo: open, Hi: r.MotionMostPX,
			Unit: "px", Min: 0, Max: 3 * r.MotionMostPX, AboveWord: "moved", Plain: true,
			AboveDo: fmt.Sprintf("hold still, wait before the release, or expose shorter: it moved along %s", heading(r.MotionDeg))})
	}
	most := l.Warn * r.EdgeMostPX
	all = append(all, Measure{Key: "edge_width_px", Name: "width of edges (10 to 90 %)", V: r.EdgeWidthPX, U: open, Lo: open, Hi: most,
		Unit: "px", Min: 0, Max: 3 * most, AboveWord: "not sharp", NoneDo: no,
		AboveDo: "turn the focus ring, or move the camera nearer or further",
		Note:    "narrower is better, there is no lower limit"})
	if !math.IsNaN(r.EdgeMostPX) {
		all[len(all)-1].Note += fmt.Sprintf("; pictures are refused from %s px on", Number(r.EdgeMostPX))
	}
	if !math.IsNaN(r.MTF50CyPX) {
		all = append(all, Measure{Key: "mtf50_cy_px", Name: "half the contrast is left at (MTF50)", V: r.MTF50CyPX, U: open, Lo: r.MTF50LeastCyPX, Hi: open,
			Unit: "cycles/px", Min: 0, Max: 0.6, BelowWord: "not sharp",
			BelowDo: "turn the focus ring, or move the camera nearer or further",
			Note:    "the zone is that of the edges' width, by a Gaussian blur and a square pixel; more is better, there is no upper limit"})
	}
	return all
}

// heading says a direction in the picture, clockwise from the x axis as seen.
func heading(deg float64) string {
	switch d := math.Mod(deg+180, 180); {
	case d < 22.5 || d >= 157.5:
		return "the picture's width"
	case d < 67.5:
		return "the slope from the upper left to the lower right"
	case d < 112.5:
		return "the picture's height"
	}
	return "the slope from the lower left to the upper right"
}

// wantUnit is why the pose was not measured.
func (r Reading) wantUnit() string {
	if r.PoseTrouble != "" {
		return r.PoseTrouble
	}
	return r.none("put a unit before the lit panel, as for an edge picture")
}

func (l Limits) height(r Reading) []Measure {
	most := l.heightMostMM(r.DistanceMM)
	m := Measure{Key: "height_mm", Name: "seam over the lens's axis", V: r.HeightMM, U: r.UHeightMM, Lo: -most, Hi: most, Unit: "mm", Min: -4 * most, Max: 4 * most,
		BelowWord: "too low", AboveWord: "too high", NoneDo: r.wantUnit(),
		BelowDo: "lower the camera, or raise the unit: its seam stands " + Number(math.Abs(r.HeightMM)) + " mm below the lens's axis",
		AboveDo: "raise the camera, or lower the unit: its seam stands " + Number(math.Abs(r.HeightMM)) + " mm above the lens's axis"}
	switch {
	case math.IsNaN(most):
		m.Min, m.Max, m.Plain = -10, 10, true
		m.Note = "a telecentric lens sees every height alike"
	case math.IsNaN(r.DistanceMM):
		m.Note = fmt.Sprintf("the zone is that of a lens %d mm away: the lens's distance is not known", nearestMM)
	default:
		m.Note = fmt.Sprintf("beyond it a level seam is seen at more than %s°, from a lens %.0f mm away", Number(l.SlantMost), r.DistanceMM)
	}
	return []Measure{m}
}

func (l Limits) perspective(r Reading) []Measure {
	slant := Measure{Key: "slant_deg", Name: "slant at which the seam is seen", V: r.SlantDeg, U: r.USlantDeg, Lo: -l.SlantMost, Hi: l.SlantMost, Unit: "°",
		Min: -4 * l.SlantMost, Max: 4 * l.SlantMost, BelowWord: "seen from below", AboveWord: "seen from above", NoneDo: r.wantUnit(),
		BelowDo: "bring the seam to the lens's height, then tip the unit's top towards the camera until the seam looks straight",
		AboveDo: "bring the seam to the lens's height, then tip the unit's top away from the camera until the seam looks straight",
		Note:    "at 0 the seam is a straight line; the more it bows, the less sure are its ends, where the step is measured"}
	all := []Measure{slant}
	if !math.IsNaN(r.DistanceMM) && r.DistanceMM > 0 {
		near := 100 * r.HalfMM / r.DistanceMM
		if math.IsInf(r.DistanceMM, 1) && !math.IsNaN(r.HalfMM) {
			near = 0
		}
		all = append(all, Measure{Key: "near_pct", Name: "nearest place larger than the axis by", V: near, U: open, Lo: open, Hi: 100 * nearMost, Unit: "%", Min: 0, Max: 300 * nearMost,
			AboveWord: "too near", NoneDo: r.wantUnit(), AboveDo: "move the camera further away and use a longer lens: a limb before or behind the axis is pictured at another scale",
			Note: "0 is a telecentric lens"})
	}
	return all
}

func (l Limits) squareness(r Reading) []Measure {
	no := r.none(l.wantTarget())
	if r.TiltUnseen {
		no = "this kind of target does not show its tilt: use a chessboard or a dot grid"
	}
	tilt := Measure{Key: "tilt_deg", Name: "tilt of the target", V: r.TiltDeg, U: r.UTiltDeg, Lo: open, Hi: l.tiltMostDeg(), Unit: "°", Min: 0, Max: 3 * l.tiltMostDeg(),
		AboveWord: "not square", NoneDo: no, AboveDo: "square camera and target: " + swing(r.TiltAlongDeg),
		Note: fmt.Sprintf("so far a length is shortened by no more than %s %%, half the scale's uncertainty", Number(100*squareShare*l.uRel()))}
	skew := Measure{Key: "skew_deg", Name: "right angle of the target, off by", V: r.SkewDeg, U: r.USkewDeg, Lo: -l.skewMostDeg(), Hi: l.skewMostDeg(), Unit: "°",
		Min: -4 * l.skewMostDeg(), Max: 4 * l.skewMostDeg(), BelowWord: "not square", AboveWord: "not square", NoneDo: no,
		BelowDo: "square camera and target: they are tilted about a slanting axis", AboveDo: "square camera and target: they are tilted about a slanting axis"}
	all := []Measure{tilt, skew}
	if !math.IsNaN(r.ChangePct) {
		all = append(all, Measure{Key: "scale_change_pct", Name: "change of scale across the picture", V: r.ChangePct, U: open, Lo: open, Hi: 200 * squareShare * l.uRel(), Unit: "%",
			Min: 0, Max: 600 * squareShare * l.uRel(), AboveWord: "not square", NoneDo: no,
			AboveDo: "square camera and target: one side of it is nearer; " + swing(r.TiltAlongDeg)})
	}
	return all
}

// swing says how to turn the camera when the target is foreshortened along a
// direction, counter-clockwise from the x axis.
func swing(along float64) string {
	if math.IsNaN(along) {
		return "turn the camera a little and look whether this gets less"
	}
	switch d := math.Mod(along+180, 180); {
	case d < 30 || d >= 150:
		return "swing the camera a little to the left or right, it looks at the target from the side"
	case d >= 60 && d < 120:
		return "tip the camera a little up or down, it looks at the target from above or below"
	}
	return "swing the camera a little sideways and tip it, it looks at the target from a corner"
}

// wantTarget asks for the target, and for its kind where nobody has told it.
func (l Limits) wantTarget() string {
	if l.Target {
		return "put the target before the camera"
	}
	return "put a target before the camera, and say with --target which it is"
}

func (l Limits) scale(r Reading) []Measure {
	if l.Scale == nil {
		no := r.none("there is no scale in force: photograph a target and make one with inspect scale")
		if !math.IsNaN(r.MMPerPX) {
			no = "there is no scale in force: make one from this picture with inspect scale, and name it in the station file"
		}
		return []Measure{{Key: "scale_off_pct", Name: "difference to the one in force", V: open, U: open, Lo: open, Hi: open, Unit: "%", Min: -1, Max: 1, NoneDo: no}}
	}
	sc := l.Scale
	off, u := open, open
	no := r.none(l.wantTarget())
	if r.ScaleTrouble != "" {
		no = r.ScaleTrouble
	} else if !math.IsNaN(r.MMPerPX) && !math.IsNaN(r.UMMPerPX) {
		off = 100 * (r.MMPerPX/sc.MMPerPX - 1)
		// A target that is known badly must not widen the zone.
		u = 100 * math.Hypot(min(r.UMMPerPX/sc.MMPerPX, l.uRel()), sc.U/sc.MMPerPX)
	}
	zone := 2 * u // k = 2, as the results state their uncertainty
	all := []Measure{
		{Key: "scale_off_pct", Name: "difference to the one in force", V: off, U: open, Lo: -zone, Hi: zone, Unit: "%", Min: -4 * zone, Max: 4 * zone, NoneDo: no,
			BelowWord: "nearer than it was", AboveWord: "further than it was",
			BelowDo: fmt.Sprintf("the camera is nearer than when %s was made: move it back, or make the scale again with inspect scale", sc.Name),
			AboveDo: fmt.Sprintf("the camera is further than when %s was made: move it nearer, or make the scale again with inspect scale", sc.Name),
			Note:    "the zone is twice the standard uncertainty of the two scales together, this one's no more than the station claims"},
		{Key: "scale_u_pct", Name: "uncertainty of the one in force", V: 100 * sc.U / sc.MMPerPX, U: open, Lo: open, Hi: 100 * l.uRel(), Unit: "%", Min: 0, Max: 400 * l.uRel(), Plain: true,
			AboveWord: "too uncertain", AboveDo: "make the scale again with a better known target, and more of the picture covered"},
	}
	if !math.IsNaN(sc.MaxAgeDays) {
		all = append(all, Measure{Key: "scale_age_days", Name: "age of the one in force", V: sc.AgeDays, U: open, Lo: open, Hi: ageShare * sc.MaxAgeDays, Unit: "days", Min: 0, Max: 1.5 * sc.MaxAgeDays, Plain: true,
			AboveWord: "too old", AboveDo: sc.AgeText, NoneDo: sc.AgeText,
			Note: fmt.Sprintf("it is refused after %s days", Number(sc.MaxAgeDays))})
	}
	return all
}
