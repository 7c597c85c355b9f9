package optics

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"finishbench/internal/lang"
	"finishbench/internal/part"
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
	switch {
	case p.WidthPX != s.WidthPX || p.HeightPX != s.HeightPX:
		return lang.Error(part.Say("optics.other_size", "width_px", strconv.Itoa(p.WidthPX), "height_px", strconv.Itoa(p.HeightPX),
			"scale_width_px", strconv.Itoa(s.WidthPX), "scale_height_px", strconv.Itoa(s.HeightPX)))
	case differ(p.Camera, s.Camera):
		return lang.Error(part.Say("optics.other_camera", "camera", fmt.Sprintf("%q", p.Camera), "scale_camera",
			fmt.Sprintf("%q", s.Camera)))
	case differ(p.Focus, s.Focus):
		return lang.Error(part.Say("optics.other_focus", "focus", fmt.Sprintf("%q", p.Focus), "scale_focus", fmt.Sprintf("%q", s.Focus)))
	case s.FocalLengthMM != nil && p.FocalLengthMM > 0 && math.Abs(p.FocalLengthMM / *s.FocalLengthMM - 1) > sameFocalRel:
		return lang.Error(part.Say("optics.other_focal", "focal_mm", fmt.Sprintf("%g", p.FocalLengthMM),
			"scale_focal_mm", fmt.Sprintf("%g", *s.FocalLengthMM)))
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
func (s *Scale) Doubts(p PictureFacts) []part.Phrase {
	var said []part.Phrase
	doubt := func(what string, picture, scale bool) {
		switch {
		case picture && scale:
		case picture:
			said = append(said, part.Say("optics.doubt.picture", "what", what))
		case scale:
			said = append(said, part.Say("optics.doubt.scale", "what", what))
		default:
			said = append(said, part.Say("optics.doubt.neither", "what", what))
		}
	}
	doubt("@optics.its.camera", strings.TrimSpace(p.Camera) != "", strings.TrimSpace(s.Camera) != "")
	doubt("@optics.its.focus", strings.TrimSpace(p.Focus) != "", strings.TrimSpace(s.Focus) != "")
	doubt("@optics.its.focal_length", p.FocalLengthMM > 0, s.FocalLengthMM != nil)
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
	Sentence part.Phrase
}

// Age is the time since the scale was made.
func (s *Scale) Age(now time.Time) time.Duration { return now.Sub(s.Made) }

// clockSlack is by how much a scale may be younger than now: clocks differ.
const clockSlack = 24 * time.Hour

// AgeState says whether the scale may still be used. One from the future is
// over: a clock is wrong, and its age is not known.
func (s *Scale) AgeState(now time.Time) AgeState {
	return AgeOf("@age.of.scale", s.Made, s.MaxAgeDays, now)
}

// AgeState says the same of a flat field.
func (f *FlatField) AgeState(now time.Time) AgeState {
	return AgeOf("@age.of.flat", f.Made, f.MaxAgeDays, now)
}

// AgeOf is the state of what was made then and is good for so many days; what is the key of its name.
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
		a.Sentence = part.Say("age.untold", "what", what)
	case age < -clockSlack:
		a.State = AgeOver
		a.Sentence = part.Say("age.future", "what", what, "made", made)
	case a.Days > limit:
		a.State = AgeOver
		a.Sentence = part.Say("age.over", "what", what, "made", made, "days", fmt.Sprintf("%.0f", math.Floor(a.Days)),
			"limit_days", strconv.Itoa(maxDays))
	case a.Days >= 0.8*limit:
		a.State = AgeSoon
		a.Sentence = part.Say("age.soon", "what", what, "made", made, "days", fmt.Sprintf("%.0f", math.Ceil(a.DaysLeft)))
	default:
		a.Sentence = part.Say("age.ok", "what", what, "made", made, "days", fmt.Sprintf("%.0f", math.Floor(max(0, a.Days))),
			"left_days", fmt.Sprintf("%.0f", math.Ceil(a.DaysLeft)))
	}
	return a
}
