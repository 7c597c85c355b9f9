package optics

import (
	"fmt"
	"math"
	"strconv"

	"finishbench/internal/part"
)

// Ratings of a scale.
const (
	RatedGood = "good"
	RatedFair = "fair"
	RatedPoor = "poor"
)

// Rating is how far a scale can be trusted, and why: a sentence for each
// quantity that was looked at, the worst first.
type Rating struct {
	Word    string // [RatedGood], [RatedFair], [RatedPoor]
	Reasons []part.Phrase
}

// Limit is up to where a quantity is good, and up to where fair; beyond it is poor.
type Limit struct{ Good, Fair float64 }

// RateLimits are the limits of a scale's rating.
type RateLimits struct {
	RMSPX     Limit // of the marks about the fit
	URel      Limit // relative standard uncertainty of the scale, or of the focal length
	TiltDeg   Limit // of the scale's target against the picture
	Uncovered Limit // share of the picture that no mark covers
	Views     Limit // the negative of the number of views of a lens
}

// DefaultRateLimits are common practice, no source.
func DefaultRateLimits() RateLimits {
	return RateLimits{
		RMSPX:     Limit{0.3, 1},
		URel:      Limit{0.002, 0.01},
		TiltDeg:   Limit{2, 5},
		Uncovered: Limit{0.6, 0.9},
		Views:     Limit{-8, -3},
	}
}

// rater gathers verdicts.
type rater struct{ sentences [3][]part.Phrase }

func (l Limit) rank(v float64) int {
	switch {
	case v <= l.Good:
		return 0
	case v <= l.Fair:
		return 1
	}
	return 2 // also NaN
}

func (r *rater) add(rank int, p part.Phrase) {
	r.sentences[rank] = append(r.sentences[rank], p)
}

func (r *rater) rating() Rating {
	words := []string{RatedGood, RatedFair, RatedPoor}
	out := Rating{Word: RatedGood}
	for rank := 2; rank >= 0; rank-- {
		if len(r.sentences[rank]) > 0 && out.Reasons == nil {
			out.Word = words[rank]
		}
		for _, s := range r.sentences[rank] {
			out.Reasons = append(out.Reasons, part.Say("rated."+words[rank]).With("what", s))
		}
	}
	return out
}

// RateFlat rates a scale from one picture.
func RateFlat(f Flat, l RateLimits) Rating {
	var r rater
	rel := f.UMMPerPX / f.MMPerPX
	r.add(l.URel.rank(rel), part.Say("optics.rate_u", "u_percent", fmt.Sprintf("%.3f", 100*rel), "good_percent",
		fmt.Sprintf("%.1f", 100*l.URel.Good),
		"fair_percent", fmt.Sprintf("%.1f", 100*l.URel.Fair)))
	if !math.IsNaN(f.RMSPX) {
		r.add(l.RMSPX.rank(f.RMSPX), part.Say("optics.rate_rms", "rms_px", fmt.Sprintf("%.2f", f.RMSPX), "good_px",
			fmt.Sprintf("%g", l.RMSPX.Good),
			"fair_px", fmt.Sprintf("%g", l.RMSPX.Fair)))
	}
	switch rank := l.TiltDeg.rank(f.TiltDeg); {
	case math.IsNaN(f.TiltDeg):
		r.add(1, part.Say("optics.rate_no_tilt"))
	case f.DistanceMM > 0: // the lens knows the tilt and takes it off
		r.add(min(rank, 1), part.Say("optics.rate_tilt_off", "tilt_deg", fmt.Sprintf("%.1f", f.TiltDeg),
			"good_deg", fmt.Sprintf("%g", l.TiltDeg.Good)))
	default:
		r.add(rank, part.Say("optics.rate_tilt", "tilt_deg", fmt.Sprintf("%.1f", f.TiltDeg), "good_deg", fmt.Sprintf("%g", l.TiltDeg.Good),
			"fair_deg", fmt.Sprintf("%g", l.TiltDeg.Fair)))
	}
	if !math.IsNaN(f.Coverage) {
		r.add(l.Uncovered.rank(1-f.Coverage), part.Say("optics.rate_coverage", "share_percent", fmt.Sprintf("%.0f", 100*f.Coverage),
			"good_percent", fmt.Sprintf("%.0f", 100*(1-l.Uncovered.Good)), "fair_percent", fmt.Sprintf("%.0f", 100*(1-l.Uncovered.Fair))))
	}
	return r.rating()
}

// RateCalibration rates a lens from several pictures.
func RateCalibration(c Calibration, l RateLimits) Rating {
	var r rater
	rel := max(c.LensU.FX/c.Lens.FX, c.LensU.FY/c.Lens.FY)
	r.add(l.URel.rank(rel), part.Say("optics.rate_focal", "u_percent", fmt.Sprintf("%.3f", 100*rel),
		"good_percent", fmt.Sprintf("%.1f", 100*l.URel.Good), "fair_percent", fmt.Sprintf("%.1f", 100*l.URel.Fair)))
	r.add(l.RMSPX.rank(c.RMSPX), part.Say("optics.rate_rms", "rms_px", fmt.Sprintf("%.2f", c.RMSPX), "good_px",
		fmt.Sprintf("%g", l.RMSPX.Good),
		"fair_px", fmt.Sprintf("%g", l.RMSPX.Fair)))
	r.add(l.Uncovered.rank(1-c.Coverage), part.Say("optics.rate_all_coverage", "share_percent", fmt.Sprintf("%.0f", 100*c.Coverage),
		"good_percent", fmt.Sprintf("%.0f", 100*(1-l.Uncovered.Good)), "fair_percent", fmt.Sprintf("%.0f", 100*(1-l.Uncovered.Fair))))
	r.add(l.Views.rank(-float64(len(c.Views))), part.Say("optics.rate_views", "n", strconv.Itoa(len(c.Views)), "good",
		fmt.Sprintf("%g", -l.Views.Good),
		"fair", fmt.Sprintf("%g", -l.Views.Fair)))
	if d := c.spreadOfTiltsDeg(); d < alikeDeg {
		r.add(2, part.Say("optics.rate_alike", "angle_deg", fmt.Sprintf("%.1f", d)))
	}
	return r.rating()
}

// Worse is the rating of two things used together.
func (r Rating) Worse(o Rating) Rating {
	rank := map[string]int{RatedGood: 0, RatedFair: 1, RatedPoor: 2}
	w := Rating{Word: r.Word, Reasons: append(append([]part.Phrase(nil), r.Reasons...), o.Reasons...)}
	if rank[o.Word] > rank[r.Word] {
		w.Word = o.Word
		w.Reasons = append(append([]part.Phrase(nil), o.Reasons...), r.Reasons...)
	}
	return w
}
