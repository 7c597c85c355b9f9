package part

import (
	"fmt"
	"math"
	"strconv"
)

// SeamShape is the curve of steps round the unit: what all stations share, what goes once round
// (the faceplate is glued off-centre), what goes twice round (it is oval), and what is at one
// place alone. Angles are those of [Station.AroundDeg]. A term is absent where the stations do
// not tell it, and then named in Undetermined.
type SeamShape struct {
	Stations int `json:"stations"` // those that the curve was fitted to, and the local ones

	MeanUM     *float64 `json:"mean_um,omitempty"` // + proud all round
	UMeanUM    *float64 `json:"u_mean_um,omitempty"`
	ChanceMean *float64 `json:"chance_mean,omitempty"` // of a mean as large where there is none, 0..1

	OffCentreUM     *float64 `json:"off_centre_um,omitempty"` // off the shell's middle; absent: no offset is seen
	UOffCentreUM    *float64 `json:"u_off_centre_um,omitempty"`
	TowardsDeg      *float64 `json:"towards_deg,omitempty"`
	UTowardsDeg     *float64 `json:"u_towards_deg,omitempty"`
	OffCentreMostUM *float64 `json:"off_centre_at_most_um,omitempty"` // where none is seen: it is smaller, 19 times in 20
	ChanceOffCentre *float64 `json:"chance_off_centre,omitempty"`

	Towards0UM   *float64 `json:"towards_0_um,omitempty"` // the offset's two components, seen or not
	UTowards0UM  *float64 `json:"u_towards_0_um,omitempty"`
	Towards90UM  *float64 `json:"towards_90_um,omitempty"`
	UTowards90UM *float64 `json:"u_towards_90_um,omitempty"`

	AlongDeg *float64 `json:"along_deg,omitempty"` // told along one direction only: which, 0..180,
	AlongUM  *float64 `json:"along_um,omitempty"`  // and the offset along it: the whole of it is at least as large
	UAlongUM *float64 `json:"u_along_um,omitempty"`

	OvalUM     *float64 `json:"oval_um,omitempty"` // proud at two opposite places, recessed between; absent: none is seen
	UOvalUM    *float64 `json:"u_oval_um,omitempty"`
	OvalDeg    *float64 `json:"oval_deg,omitempty"` // one of the two places where it is proud, 0..180
	OvalMostUM *float64 `json:"oval_at_most_um,omitempty"`
	ChanceOval *float64 `json:"chance_oval,omitempty"`

	RestUM       *float64    `json:"rest_um,omitempty"` // root mean square of what the curve leaves, local places apart
	Local        []LocalStep `json:"local,omitempty"`   // single places that stand out from the curve, the largest first
	Undetermined []Term      `json:"untold,omitempty"`  // what these stations do not tell
}

// SeenTimes is from how many times its standard uncertainty on a term of the curve is told as
// being there (common practice, no source).
const SeenTimes = 3.0

// Term is a part of the curve of steps.
type Term string

// The terms.
const (
	TermMean      Term = "mean"
	TermOffCentre Term = "off_centre"
	TermOval      Term = "oval"
)

// LocalStep is how far the step at one station is from the curve of the others.
type LocalStep struct {
	Image     string  `json:"image"`
	AngleDeg  float64 `json:"angle_deg"`
	Side      Side    `json:"side"`
	AroundDeg float64 `json:"around_deg"`
	UM        float64 `json:"um"`
	UUM       float64 `json:"u_um"`
}

// AroundDeg is the place around the seam at which a station lies, 0 to below 360 degrees. In
// the picture taken at angle a the right limb is at a and the left limb at a + 180: what lies
// towards 40 deg is at the right with the unit turned by 40, at the left with it turned by 220.
func (s *StepStation) AroundDeg() float64 {
	a := s.AngleDeg
	if s.Side == Left {
		a += 180
	}
	if a = math.Mod(a, 360); a < 0 {
		a += 360
	}
	return a
}

// ClockHour is a place around the seam as on a clock face that lies on the faceplate as its picture
// shows it, to five minutes: "3" is at 0 degrees, and hours go with the degrees; "4:30".
func ClockHour(aroundDeg float64) string {
	minutes := 5 * int(math.Round(Turn(aroundDeg+90)*2/5))
	hour := strconv.Itoa((minutes/60+11)%12 + 1)
	if minutes %= 60; minutes == 0 {
		return hour
	}
	return fmt.Sprintf("%s:%02d", hour, minutes)
}

// SeamCause is what makes the steps that are over their limits one fault, told instead of them.
type SeamCause struct {
	What       SeamWhat
	UM         float64 // the mean, the offset or the oval, um, >= 0; 0 for the others
	AtLeast    bool    // the offset is known along one direction only
	TowardsDeg float64 // where it is proud: of an offset, or one of the two places of an oval
	Stations   int     // over their limits
	Proud      *Over   // the worst of those that are proud; nil: none is
	Recessed   *Over
	Beyond     bool // rework cannot mend one of them that is moderate or worse
}

// Over is a step over its limit.
type Over struct {
	Station string  // "120 deg, left"
	UM      float64 // > 0
	LimitUM float64
}

// SeamWhat is what a seam's cause is.
type SeamWhat string

// The causes: all stations stand out, or lie lower; glued off-centre; oval; one place alone; and
// where neither of these is seen, proud at some places and recessed at others.
const (
	AllProud    SeamWhat = "all_proud"
	AllRecessed SeamWhat = "all_recessed"
	OffCentre   SeamWhat = "off_centre"
	Oval        SeamWhat = "oval"
	OnePlace    SeamWhat = "one_place"
	InTurn      SeamWhat = "in_turn"
)

// Both says whether some steps are proud over their limits and others recessed.
func (c *SeamCause) Both() bool { return c.Proud != nil && c.Recessed != nil }

// Remedy is the word for what puts the fault right, and whether the place to name there is where
// the faceplate is recessed. What rework cannot mend (Beyond) has words of its own.
func (c *SeamCause) Remedy() (word string, recessed bool) {
	recessed = c.Recessed != nil
	switch {
	case c.Beyond && c.Both():
		return "seam_both", recessed
	case c.Beyond && recessed:
		return "step_recessed", recessed
	case c.Beyond:
		return "step_proud", recessed
	case c.Both() && c.What == OffCentre:
		return "seam_off_centre", recessed
	case c.Both():
		return "seam_both", recessed
	case recessed:
		return "seam_recessed", recessed
	}
	return "seam_proud", recessed
}

// Sides are the turns towards which the faceplate is proud, or recessed: one for an offset, two
// for an oval, none for the others. Whole degrees, below 360.
func (c *SeamCause) Sides(recessed bool) []float64 {
	at := func(deg float64) float64 { return Turn(math.Round(c.TowardsDeg + deg)) }
	switch {
	case c.What == OffCentre && recessed:
		return []float64{at(180)}
	case c.What == OffCentre:
		return []float64{at(0)}
	case c.What == Oval && recessed:
		return []float64{at(90), at(270)}
	case c.What == Oval:
		return []float64{at(0), at(180)}
	}
	return nil
}

// Step is the curve at a place around the seam, um, without the local places; NaN where the
// stations do not tell mean and offset. An oval that is not seen is not in it.
func (s *SeamShape) Step(aroundDeg float64) float64 {
	if s == nil || s.MeanUM == nil || s.Towards0UM == nil || s.Towards90UM == nil {
		return math.NaN()
	}
	sin, cos := math.Sincos(aroundDeg * math.Pi / 180)
	v := *s.MeanUM + *s.Towards0UM*cos + *s.Towards90UM*sin
	if s.OvalUM != nil && s.OvalDeg != nil {
		v += *s.OvalUM * math.Cos(2*(aroundDeg-*s.OvalDeg)*math.Pi/180)
	}
	return v
}
