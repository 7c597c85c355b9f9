package part

import (
	"fmt"
	"slices"
)

// View is where the camera looks from.
type View string

// Light is how the unit is lit in a picture.
type Light string

// Stage is the moment in finishing at which a unit is looked at.
type Stage string

// Verdict is the answer for a unit.
type Verdict string

// Kind is a kind of finding, in the trade's words (ISO 8785 where it has one).
type Kind string

// Zone is the part of the unit on which a finding lies.
type Zone string

// Why is why a place on a surface was not looked at in some light.
type Why string

// ScreenSet is a set of pictures of one pose before a screen that is looked into; see
// [MarkSets].
type ScreenSet string

// Severity is a class of Dodge's demerit plan, or none.
type Severity string

// The words of the trade. Other packages take no other strings.
const (
	Edge  View = "edge"  // along the faceplate's plane, across the seam
	Face  View = "face"  // onto the faceplate
	Shell View = "shell" // onto the shell

	NoLight Light = ""        // not told, or an edge picture before its panel
	Diffuse Light = "diffuse" // dome or sheet
	Raking  Light = "raking"  // low angle
	Back    Light = "back"    // lit panel behind

	White     Light = "white"      // a screen, all lit
	Black     Light = "black"      // the same screen, dark
	StripesX0 Light = "stripes_x0" // stripes along the screen's x, at phases of 0, 90, 180 and 270 degrees
	StripesX1 Light = "stripes_x1"
	StripesX2 Light = "stripes_x2"
	StripesX3 Light = "stripes_x3"
	StripesY0 Light = "stripes_y0" // and along its y
	StripesY1 Light = "stripes_y1"
	StripesY2 Light = "stripes_y2"
	StripesY3 Light = "stripes_y3"

	NoSet    ScreenSet = ""      // some of its pictures are missing, or it is no picture before a screen
	FullSet  ScreenSet = "full"  // white, and stripes at four phases in both directions; black may be there
	ShortSet ScreenSet = "short" // stripes at phases of 0, 90 and 180 degrees in both directions; white and black may be there

	Trim  Stage = "trim"  // after trimming, before lacquer
	Wet   Stage = "wet"   // lacquered, not cured
	Cured Stage = "cured" // after the cure box

	Pass        Verdict = "pass"
	Rework      Verdict = "rework"
	Reject      Verdict = "reject"
	NotMeasured Verdict = "not_measured"

	Bubble     Kind = "bubble"
	Dust       Kind = "dust"
	Fibre      Kind = "fibre"
	Sanding    Kind = "sanding"
	Crater     Kind = "crater"
	Run        Kind = "run"
	OrangePeel Kind = "orange_peel"
	Haze       Kind = "haze"
	Chip       Kind = "chip"
	Missed     Kind = "missed_place"
	Step       Kind = "step"
	Gap        Kind = "gap"
	Bead       Kind = "bead"

	ZoneFace  Zone = "face"  // the faceplate away from its rim
	ZoneRim   Zone = "rim"   // the faceplate's rounded rim
	ZoneSeam  Zone = "seam"  // where faceplate and shell meet
	ZoneShell Zone = "shell" // the shell
	ZonePanel Zone = "panel" // a flat test panel

	Mirrored    Why = "mirrored"     // the edge of a lamp's or window's image, mirrored in the lacquer
	Clipped     Why = "clipped"      // at full scale
	Shadow      Why = "shadow"       // too dark to tell anything
	Print       Why = "print"        // the edge of what is printed on the faceplate
	Outermost   Why = "outermost"    // the outermost strip, where the outline's own blur lies
	Steep       Why = "steep"        // slopes that mirror no screen: a rounded rim
	Inside      Why = "inside"       // a see-through shell's: what lies inside cannot be told from a defect there
	NotSearched Why = "not_searched" // no part of the program looks there

	None     Severity = "none"
	Minor    Severity = "minor"
	Moderate Severity = "moderate"
	Major    Severity = "major"
	Critical Severity = "critical"
)

// Views, Lights, Stages, Kinds, Zones, Whys and Severities list the words in order;
// severities from none upwards.
var (
	Views      = []View{Edge, Face, Shell}
	Lights     = append([]Light{NoLight, Diffuse, Raking, Back}, ScreenLights...)
	Stages     = []Stage{Trim, Wet, Cured}
	Kinds      = []Kind{Bubble, Dust, Fibre, Sanding, Crater, Run, OrangePeel, Haze, Chip, Missed, Step, Gap, Bead}
	Zones      = []Zone{ZoneFace, ZoneRim, ZoneSeam, ZoneShell, ZonePanel}
	Whys       = []Why{Mirrored, Clipped, Shadow, Print, Outermost, Steep, Inside, NotSearched}
	Severities = []Severity{None, Minor, Moderate, Major, Critical}
)

// ScreenLights are the lights of a full set before a screen, in the order in which they are
// shown, and ShortLights those of a short one. Where a place has the light B + A cos(phi + k 90
// degrees) in picture k, B = (I0 + I2)/2, A cos(phi) = (I0 - I2)/2 and A sin(phi) = B - I1 follow
// from three phases: the fourth makes them less noisy, and tells whether the four belong together.
var (
	ScreenLights = []Light{White, Black, StripesX0, StripesX1, StripesX2, StripesX3, StripesY0, StripesY1, StripesY2, StripesY3}
	ShortLights  = []Light{StripesX0, StripesX1, StripesX2, StripesY0, StripesY1, StripesY2}
)

// OfScreen says whether the light is a screen's.
func (l Light) OfScreen() bool { return slices.Contains(ScreenLights, l) }

// ShowsUnit says whether a person sees the unit in a picture under such a light: in the
// dark, and under stripes, he does not.
func (l Light) ShowsUnit() bool { return !l.OfScreen() || l == White }

// Rank is the severity's place in the order, 0 for none up to 4 for critical;
// -1 for a word that is none of them.
func (s Severity) Rank() int {
	for i, v := range Severities {
		if v == s {
			return i
		}
	}
	return -1
}

// AtSeam says whether a kind is one of the seam's, which are measured at stations
// rather than seen on a surface.
func (k Kind) AtSeam() bool { return k == Step || k == Gap || k == Bead }

// ParseStage turns a word into a stage, or says which words there are.
func ParseStage(s string) (Stage, error) {
	for _, v := range Stages {
		if string(v) == s {
			return v, nil
		}
	}
	return "", fmt.Errorf("stage %q: use trim, wet or cured", s)
}
