package teach

import (
	"errors"
	"fmt"
	"math"
	"time"

	"finishbench/internal/stats/study"
)

// Criteria are what a trainer asks for before a certificate is given.
type Criteria struct {
	MinClean     int     `json:"min_clean"`        // clean units answered
	MinDefective int     `json:"min_defective"`    // and defective ones
	Effective    float64 `json:"effectiveness"`    // share of right verdicts, at least
	Miss         float64 `json:"miss"`             // share of bad units passed, at most
	FalseAlarm   float64 `json:"false_alarm"`      // share of good units not passed, at most
	Kappa        float64 `json:"kappa"`            // to the reference, at least; 0: not asked
	SizeMM       float64 `json:"size_mm"`          // of spots: seen 9 times in 10 from this size on, at most; 0: not asked
	Months       int     `json:"months"`           // how long it holds
	Whole        bool    `json:"whole,omitempty"`  // the test must have been taken to its end
	Within       float64 `json:"within,omitempty"` // share of units shown again with the same verdict, at least; 0: not asked
}

// DefaultCriteria are AIAG's limits of a good appraiser (see
// study.DefaultAgreementOptions) and its bar for a good kappa, 0.75; the numbers
// of units, and that it holds for twelve months, are common practice, no source.
func DefaultCriteria() Criteria {
	l := study.DefaultAgreementOptions().Limits
	return Criteria{MinClean: 10, MinDefective: 10, Effective: l.GoodEffective, Miss: l.GoodMiss, FalseAlarm: l.GoodFalseAlarm, Kappa: 0.75,
		Months: 12, Whole: true}
}

// Check says what is wrong with the criteria.
func (c Criteria) Check() error {
	for _, s := range []struct {
		name string
		v    float64
	}{{"effectiveness", c.Effective}, {"miss rate", c.Miss}, {"false alarm rate", c.FalseAlarm}, {"kappa", c.Kappa},
		{"consistency", c.Within}} {
		if !(s.v >= 0 && s.v <= 1) {
			return fmt.Errorf("certificate: the %s asked for is %g: 0 to 1 is wanted", s.name, s.v)
		}
	}
	switch {
	case c.MinClean < 0 || c.MinDefective < 0:
		return errors.New("certificate: a number of units cannot be below 0")
	case !(c.SizeMM >= 0):
		return fmt.Errorf("certificate: the size asked for is %g mm", c.SizeMM)
	case c.Months < 1 || c.Months > 120:
		return fmt.Errorf("certificate: it cannot hold for %d months: 1 to 120", c.Months)
	}
	return nil
}

// Criterion is one of the criteria, held against a score.
type Criterion struct {
	Name       string  // "clean", "defective", "effectiveness", "miss", "false_alarm", "kappa", "size", "within", "whole"
	Got, Asked float64 // NaN: not measured
	Met        bool
}

// Certificate says that the criteria were met.
type Certificate struct {
	Criteria Criteria  `json:"criteria"`
	At       time.Time `json:"at"`
	Expires  time.Time `json:"expires"`
}

// Holds says whether it holds at a time.
func (c Certificate) Holds(now time.Time) bool { return now.Before(c.Expires) }

// Weigh holds a score against the criteria. What was not measured is not met.
func (c Criteria) Weigh(s Score, whole bool) (all []Criterion, met bool) {
	met = true
	add := func(name string, got, asked float64, ok bool) {
		all = append(all, Criterion{name, got, asked, ok})
		met = met && ok
	}
	if c.Whole {
		add("whole", float64(index(whole)), 1, whole)
	}
	add("clean", float64(s.Clean), float64(c.MinClean), s.Clean >= c.MinClean)
	add("defective", float64(s.Defective), float64(c.MinDefective), s.Defective >= c.MinDefective)
	v := s.Verdict
	if s.VerdictErr != nil {
		v = study.AppraiserResult{}
	}
	e, m, f := v.Effective.Value(), v.Miss.Value(), v.FalseAlarm.Value()
	add("effectiveness", e, c.Effective, e >= c.Effective)
	add("miss", m, c.Miss, m <= c.Miss)
	add("false_alarm", f, c.FalseAlarm, f <= c.FalseAlarm)
	if c.Kappa > 0 {
		k := math.NaN()
		if s.VerdictErr == nil && v.ReferenceErr == nil {
			k = v.Reference.Value
		}
		add("kappa", k, c.Kappa, k >= c.Kappa)
	}
	if c.Within > 0 {
		w := s.Within.Value()
		add("within", w, c.Within, w >= c.Within)
	}
	if c.SizeMM > 0 {
		size := s.SpotSizeMM()
		add("size", size, c.SizeMM, size <= c.SizeMM)
	}
	return all, met
}

// Seen says where the sizes seen 9 times in 10 begin.
type Seen string

// The answers.
const (
	SeenFrom  Seen = "from"  // by the curve, within the sizes that were shown
	SeenBelow Seen = "below" // the curve is there already at the smallest that was shown
	SeenAll   Seen = "all"   // all were seen, enough of them to say so
	SeenAbove Seen = "above" // the curve is not there yet at the largest that was shown
	SeenFew   Seen = "few"   // all were seen, too few to say so
	SeenNone  Seen = "none"  // nothing can be said
)

// Size is the size from which on defects are seen 9 times in 10. A curve is not
// believed beyond the sizes that were shown: below them the smallest is told,
// above them NaN.
func (c SizeCurve) Size() (mm float64, s Seen) {
	d := c.Detection
	switch {
	case c.Err != nil:
		return math.NaN(), SeenNone
	case d.Fit != nil && d.A90 > d.Largest:
		return math.NaN(), SeenAbove
	case d.Fit != nil && d.Fit.B1 > 0 && d.Fit.At(d.Smallest) > d.Options.Probability:
		return d.Smallest, SeenBelow
	case d.Fit != nil && !math.IsNaN(d.A90):
		return d.A90, SeenFrom
	case d.Basis == study.ByCount:
		return d.Size, SeenAll
	case d.Found == d.Of:
		return math.NaN(), SeenFew
	}
	return math.NaN(), SeenNone
}

// BoundMM is the size from which on it is sure enough that defects are seen 9 times
// in 10; NaN where none can be stated within the sizes that were shown.
func (c SizeCurve) BoundMM() float64 {
	if d := c.Detection; c.Err == nil && d.Basis != study.ByNone && d.Size <= d.Largest {
		return d.Size
	}
	return math.NaN()
}

// SpotSizeMM is the size from which on spots of all kinds are seen 9 times in 10;
// NaN where none can be stated.
func (s Score) SpotSizeMM() float64 {
	for _, c := range s.Curves {
		if c.Kind == "" {
			mm, _ := c.Size()
			return mm
		}
	}
	return math.NaN()
}

// Certify gives the certificate that criteria earn at a time.
func (c Criteria) Certify(at time.Time) Certificate {
	return Certificate{c, at, at.AddDate(0, c.Months, 0)}
}
