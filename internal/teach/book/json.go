package book

import (
	"errors"
	"math"
	"time"

	"finishbench/internal/part"
	"finishbench/internal/stats/study"
	"finishbench/internal/teach"
)

// QuizNumbers are a score as JSON; what was not measured is absent.
type QuizNumbers struct {
	Attempt       string           `json:"taking"`
	Quiz          string           `json:"quiz"`
	Title         string           `json:"title,omitempty"`
	Who           string           `json:"who,omitempty"`
	Begun         time.Time        `json:"begun,omitzero"`
	Ended         *time.Time       `json:"ended,omitempty"`
	Showings      int              `json:"showings"`
	Units         int              `json:"units"`
	Clean         int              `json:"clean"`
	Defective     int              `json:"defective"`
	Gone          int              `json:"pictures_gone,omitempty"`
	TimeOver      int              `json:"time_over,omitempty"`
	Effectiveness *quizShare       `json:"effectiveness,omitempty"`
	Miss          *quizShare       `json:"miss_rate,omitempty"`
	FalseAlarm    *quizShare       `json:"false_alarm_rate,omitempty"`
	Fitness       study.Fitness    `json:"fitness,omitempty"`
	Kappa         *quizKappa       `json:"kappa_reference,omitempty"`
	KappaSeen     *quizKappa       `json:"kappa_clean_or_not,omitempty"`
	KappaKinds    *quizKappa       `json:"kappa_kinds,omitempty"`
	Again         int              `json:"shown_again,omitempty"`
	Within        *quizShare       `json:"same_verdict_again,omitempty"`
	KappaWithin   *quizKappa       `json:"kappa_own_verdicts,omitempty"`
	KappaOwnKinds *quizKappa       `json:"kappa_own_defects,omitempty"`
	Kinds         []quizKindNumber `json:"kinds,omitempty"`
	FalseMarks    int              `json:"false_marks"`
	OffMM         *float64         `json:"place_median_mm,omitempty"`
	OffMM90       *float64         `json:"place_p90_mm,omitempty"`
	SizeMM        *float64         `json:"spots_seen_9_in_10_from_mm,omitempty"`
	SizeBoundMM   *float64         `json:"spots_seen_9_in_10_bound_mm,omitempty"`
	MedianS       *float64         `json:"median_s,omitempty"`
	Certificate   *time.Time       `json:"certificate_until,omitempty"`
}

type quizShare struct {
	Value float64  `json:"value"`
	Count int      `json:"count"`
	Of    int      `json:"of"`
	Lower *float64 `json:"lower,omitempty"`
	Upper *float64 `json:"upper,omitempty"`
}

type quizKappa struct {
	Value float64  `json:"value"`
	N     int      `json:"n"`
	Lower *float64 `json:"lower,omitempty"`
	Upper *float64 `json:"upper,omitempty"`
}

type quizKindNumber struct {
	Kind       part.Kind  `json:"kind"`
	Found      *quizShare `json:"found,omitempty"`
	RightKind  *quizShare `json:"right_kind,omitempty"`
	FalseMarks int        `json:"false_marks"`
}

func shareNumber(s study.Share) *quizShare {
	if s.Of == 0 {
		return nil
	}
	return &quizShare{s.Value(), s.Count, s.Of, part.Num(s.Bounds.Lower), part.Num(s.Bounds.Upper)}
}

func kappaNumber(k study.Kappa, err error) *quizKappa {
	if err != nil {
		return nil
	}
	return &quizKappa{k.Value, k.N, part.Num(k.Bounds.Lower), part.Num(k.Bounds.Upper)}
}

// Numbers are the score's numbers.
func (s QuizSheet) Numbers() QuizNumbers {
	c, v := s.Score, s.Score.Verdict
	n := QuizNumbers{Attempt: s.Attempt.Name, Quiz: s.Quiz.Name, Title: s.Quiz.Test.Spec.Name, Who: s.Who, Begun: s.Attempt.Begun, Showings: c.Showings, Units: c.Units, Clean: c.Clean,
		Defective: c.Defective, Gone: c.Gone, TimeOver: c.TimeOver, Effectiveness: shareNumber(v.Effective), Miss: shareNumber(v.Miss), FalseAlarm: shareNumber(v.FalseAlarm),
		Fitness: v.Fitness, Kappa: kappaNumber(v.Reference, errors.Join(c.VerdictErr, v.ReferenceErr)), KappaSeen: kappaNumber(c.Seen.Reference, errors.Join(c.SeenErr, c.Seen.ReferenceErr)),
		KappaKinds: kappaNumber(c.Kind, c.KindErr), Again: c.Again, Within: shareNumber(c.Within), KappaWithin: kappaNumber(c.WithinKappa.Kappa, c.WithinErr),
		KappaOwnKinds: kappaNumber(c.WithinKind.Kappa, c.WithinKindErr), FalseMarks: c.FalseMarks.Count, OffMM: part.Num(c.MedianOffMM()), OffMM90: part.Num(c.OffMM90()),
		SizeMM: part.Num(c.SpotSizeMM()), MedianS: part.Num(c.MedianS)}
	if !s.Attempt.Finished.IsZero() {
		n.Ended = &s.Attempt.Finished
	}
	if s.Attempt.Certificate != nil {
		n.Certificate = &s.Attempt.Certificate.Expires
	}
	for _, k := range c.Kinds {
		n.Kinds = append(n.Kinds, quizKindNumber{k.Kind, shareNumber(k.Found), shareNumber(k.RightKind), k.FalseMarks})
	}
	for _, k := range c.Curves {
		if k.Kind == "" && !math.IsNaN(k.BoundMM()) {
			n.SizeBoundMM = part.Num(k.BoundMM())
		}
	}
	return n
}

// Exported is all that is kept of a person.
type Exported struct {
	ID       string          `json:"id"`
	Initials string          `json:"initials,omitempty"`
	Badge    string          `json:"badge,omitempty"`
	Attempts []exportedTaken `json:"tests"`
}

type exportedTaken struct {
	QuizNumbers
	Answers []exportedAnswer `json:"answers"`
}

type exportedAnswer struct {
	Unit string `json:"unit"`
	Gone bool   `json:"picture_gone,omitempty"`
	teach.Answer
}
