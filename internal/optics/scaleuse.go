package optics

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// PictureFacts is what a picture says about how it was taken. Empty or 0: not known.
type PictureFacts struct {
	WidthPX, HeightPX int
	Camera, Focus     string
	FocalLengthMM     float64
}

// sameFocalRel is how far two stated focal lengths of one setting may differ:
// tags round to a digit or two (common practice, no source).
const sameFocalRel = 0.005

// CheckPicture refuses a picture that was taken in another way than the scale's:
// another size, camera, focus or focal length. What one side does not say is no
// reason to refuse; see [Scale.Doubts].
func (s *Scale) CheckPicture(p PictureFacts) error {
	const remedy = "use the scale made for it, or make one"
	switch {
	case p.WidthPX != s.WidthPX || p.HeightPX != s.HeightPX:
		return fmt.Errorf("the picture has %d x %d px, the scale was made at %d x %d; %s", p.WidthPX, p.HeightPX, s.WidthPX, s.HeightPX, remedy)
	case differ(p.Camera, s.Camera):
		return fmt.Errorf("the picture is of camera %q, the scale of %q; %s", p.Camera, s.Camera, remedy)
	case differ(p.Focus, s.Focus):
		return fmt.Errorf("the picture's focus is %q, the scale's %q: a lens focused anew has another scale; %s", p.Focus, s.Focus, remedy)
	case s.FocalLengthMM != nil && p.FocalLengthMM > 0 && math.Abs(p.FocalLengthMM / *s.FocalLengthMM - 1) > sameFocalRel:
		return fmt.Errorf("the picture's focal length is %g mm, the scale's %g mm; %s", p.FocalLengthMM, *s.FocalLengthMM, remedy)
	}
	return nil
}

// differ reports whether both sides say something, and not the same.
func differ(a, b string) bool {
	a, b = strings.TrimSpace(a), strings.TrimSpace(b)
	return a != "" && b != "" && !strings.EqualFold(a, b)
}

// Doubts says what could not be compared because the picture or the scale does
// not tell it.
func (s *Scale) Doubts(p PictureFacts) []string {
	var said []string
	doubt := func(what string, picture, scale bool) {
		switch {
		case picture && scale:
		case picture:
			said = append(said, "the scale does not say its "+what+", so that the picture's could not be compared")
		case scale:
			said = append(said, "the picture does not say its "+what+", so that it could not be compared with the scale's")
		default:
			said = append(said, "neither picture nor scale says its "+what)
		}
	}
	doubt("camera", strings.TrimSpace(p.Camera) != "", strings.TrimSpace(s.Camera) != "")
	doubt("focus", strings.TrimSpace(p.Focus) != "", strings.TrimSpace(s.Focus) != "")
	doubt("focal length", p.FocalLengthMM > 0, s.FocalLengthMM != nil)
	return said
}

// States of a scale's age.
const (
	AgeOK   = "ok"
	AgeSoon = "soon" // the last fifth of its life
	AgeOver = "over"
)

// AgeState is how old a scale is against its limit.
type AgeState struct {
	State    string // [AgeOK], [AgeSoon], [AgeOver]
	Days     float64
	DaysLeft float64 // below 0 when it is over
	Sentence string
}

// Age is the time since the scale was made.
func (s *Scale) Age(now time.Time) time.Duration { return now.Sub(s.Made) }

// clockSlack is by how much a scale may be younger than now: clocks differ.
const clockSlack = 24 * time.Hour

// AgeState says whether the scale may still be used. One from the future is
// over: a clock is wrong, and its age is not known.
func (s *Scale) AgeState(now time.Time) AgeState {
	return AgeOf("the scale", s.Made, s.MaxAgeDays, now)
}

// AgeState says the same of a flat field.
func (f *FlatField) AgeState(now time.Time) AgeState {
	return AgeOf("the flat field", f.Made, f.MaxAgeDays, now)
}

// AgeOf is the state of what was made then and is good for so many days.
func AgeOf(what string, madeAt time.Time, maxDays int, now time.Time) AgeState {
	day := 24 * time.Hour
	age := now.Sub(madeAt)
	a := AgeState{State: AgeOK, Days: float64(age) / float64(day)}
	limit := float64(maxDays)
	a.DaysLeft = limit - a.Days
	made := madeAt.Format("2006-01-02")
	switch {
	case madeAt.IsZero():
		a.State, a.Days, a.DaysLeft = AgeOver, math.NaN(), math.NaN()
		a.Sentence = what + " does not say when it was made; make it again"
	case age < -clockSlack:
		a.State = AgeOver
		a.Sentence = fmt.Sprintf("%s was made on %s, which is still to come: set this computer's clock, or make it again", what, made)
	case a.Days > limit:
		a.State = AgeOver
		a.Sentence = fmt.Sprintf("%s of %s is %.0f days old, its limit is %d: make it again before measuring", what, made, math.Floor(a.Days), maxDays)
	case a.Days >= 0.8*limit:
		a.State = AgeSoon
		a.Sentence = fmt.Sprintf("%s of %s is good for another %.0f days: make it again soon", what, made, math.Ceil(a.DaysLeft))
	default:
		a.Sentence = fmt.Sprintf("%s of %s is %.0f days old and good for %.0f more", what, made, math.Floor(max(0, a.Days)), math.Ceil(a.DaysLeft))
	}
	return a
}
