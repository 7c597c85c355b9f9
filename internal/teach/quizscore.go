package teach

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/gonum/stat"

	"finishbench/internal/part"
	"finishbench/internal/stats/study"
)

// ErrNoAnswer says that nothing was answered that counts.
var ErrNoAnswer = errors.New("no unit was answered yet: there is nothing to score")

// ScoreOptions say how a test is scored.
type ScoreOptions struct {
	Confidence float64 // of all intervals
	Limits     study.AgreementLimits
}

// DefaultScoreOptions are those of the study of agreement.
func DefaultScoreOptions() ScoreOptions {
	o := study.DefaultAgreementOptions()
	return ScoreOptions{o.Confidence, o.Limits}
}

// Score is what a taken test says of a trainee. Where each unit was shown equally
// often, all showings count; else only the first of each, so that no unit counts
// more than another, and those shown again tell of the trainee's own consistency.
type Score struct {
	Showings, Units  int  // answered; different units
	Clean, Defective int  // of the units
	All              bool // all showings count
	Gone             int  // units left out because their picture was gone
	TimeOver         int  // answers that time cut short
	ByProvenance     map[Provenance]int
	MedianS          float64 // time an answer took

	Verdict    study.AppraiserResult // by the verdict, pass being good; Trials 1 unless All
	VerdictErr error
	Seen       study.AppraiserResult // by clean or not
	SeenErr    error

	Again         int                // units shown again
	Within        study.Share        // of these, those with the same verdict each time
	WithinKappa   study.FleissResult //
	WithinErr     error              // why there is no kappa
	WithinKind    study.FleissResult // the same for what was said of each defect: its kind, or missed
	WithinKindErr error

	Kinds      []KindScore // in the trade's order
	Kind       study.Kappa // of the defects found: kind said against kind known
	KindErr    error
	FalseMarks study.Rate // a unit
	Confusion  Confusion
	OffMM      []float64 // of the defects found, sorted: how far off the marks are

	Curves   []SizeCurve
	Mistakes []Mistake
	Options  ScoreOptions
}

// KindScore is how a kind was done.
type KindScore struct {
	Kind       part.Kind
	Found      study.Share // of those that can be seen, whatever they were called
	RightKind  study.Share // of those found
	FalseMarks int         // marks of this kind on nothing
}

// Missed is how many were not found.
func (k KindScore) Missed() int { return k.Found.Of - k.Found.Count }

// Confusion counts what defects were called: by kind known, then by kind said.
// Missed ones stand apart; marks on nothing are in [KindScore].
type Confusion struct {
	Kinds  []part.Kind
	Counts [][]int
	Missed []int // by kind known
}

// SizeCurve is from which size on defects are seen, by the curve of the study of
// detection.
type SizeCurve struct {
	Kind      part.Kind // "": all spots
	Measure   string    // "diameter" or "length"
	Detection study.Detection
	Err       error
}

// Mistake is a showing that was not all right.
type Mistake struct {
	Trial     int // from 0
	Item      int // in the pool
	Answer    Answer
	Missed    []int // defects that can be seen and were not marked
	False     []int // marks on nothing
	WrongKind []int // defects that were marked and called by another kind; see Mark
	Mark      []int // by defect: its mark, or -1
	Verdict   bool  // the verdict is not the reference's
}

// scoring is a score in the making.
type scoring struct {
	t       Test
	shown   []Shown // those that were answered, whole
	number  []int   // of each, its showing
	trial   []int   // of each, which showing of its unit it is, from 0
	counted []int   // of shown, those that count
	out     []Outcome
	o       ScoreOptions
}

// NewScore scores what was answered so far.
func NewScore(t Test, shown []Shown, o ScoreOptions) (Score, error) {
	s := Score{Options: o, ByProvenance: map[Provenance]int{}}
	g := scoring{t: t, o: o}
	times := map[int]int{}
	for i, x := range shown {
		if x.Item < 0 || x.Item >= len(t.Pool) {
			return s, fmt.Errorf("quiz: showing %d is of unit %d, the pool has %d", i+1, x.Item+1, len(t.Pool))
		}
		if x.Gone {
			s.Gone++
			continue
		}
		if err := x.Answer.Check(t.Pool[x.Item]); err != nil {
			return s, fmt.Errorf("quiz: showing %d: %w", i+1, err)
		}
		g.shown, g.number, g.trial = append(g.shown, x), append(g.number, i), append(g.trial, times[x.Item])
		g.out = append(g.out, t.Pool[x.Item].judge(x.Answer, t.Spec.Tolerance()))
		times[x.Item]++
	}
	if len(g.shown) == 0 {
		return s, ErrNoAnswer
	}
	s.All = sameTimes(times)
	for i := range g.shown {
		if s.All || g.trial[i] == 0 {
			g.counted = append(g.counted, i)
		}
	}
	for item, n := range times {
		it := t.Pool[item]
		s.Clean += index(it.Clean())
		s.Again += index(n > 1)
		s.ByProvenance[it.Provenance]++
	}
	s.Showings, s.Units = len(g.shown), len(times)
	s.Defective = s.Units - s.Clean
	if err := g.fill(&s, times); err != nil {
		return s, err
	}
	return s, nil
}

func sameTimes(times map[int]int) bool {
	first := 0
	for _, n := range times {
		if first == 0 {
			first = n
		}
		if n != first {
			return false
		}
	}
	return true
}

func (g *scoring) fill(s *Score, times map[int]int) error {
	var took []float64
	for _, x := range g.shown {
		s.TimeOver += index(x.Answer.TimeOver)
		took = append(took, x.Answer.TookS)
	}
	slices.Sort(took)
	s.MedianS = stat.Quantile(0.5, stat.LinInterp, took, nil)
	s.Verdict, s.VerdictErr = g.against(func(it Item, a Answer) (string, string) { return string(a.verdict()), string(it.Verdict) }, string(part.Pass))
	s.Seen, s.SeenErr = g.against(func(it Item, a Answer) (string, string) { return cleanWord(len(a.Marks) == 0), cleanWord(it.Clean()) }, cleanWord(true))
	g.within(s, times)
	if err := g.kinds(s); err != nil {
		return err
	}
	g.curves(s)
	g.mistakes(s)
	return nil
}

const (
	wordClean  = "clean"
	wordDefect = "defect"
	wordMissed = "missed"
)

func cleanWord(clean bool) string {
	if clean {
		return wordClean
	}
	return wordDefect
}

func (g *scoring) options(good ...string) study.AgreementOptions {
	o := study.DefaultAgreementOptions()
	o.Confidence, o.Limits, o.Good, o.GoodMayLack = g.o.Confidence, g.o.Limits, good, true
	return o
}

// trainee is the appraiser's name in the study of agreement.
const trainee = "trainee"

// against judges what counts against the reference; words gives what was said of
// an item and what is right.
func (g *scoring) against(words func(Item, Answer) (said, right string), good string) (study.AppraiserResult, error) {
	var calls []study.Call
	for _, i := range g.counted {
		x := g.shown[i]
		said, right := words(g.t.Pool[x.Item], x.Answer)
		calls = append(calls, study.Call{Part: g.t.Pool[x.Item].Key, Appraiser: trainee, Trial: strconv.Itoa(g.trial[i]), Word: said, Reference: right})
	}
	a, err := study.NewAgreement(calls, g.options(good))
	if err != nil {
		return study.AppraiserResult{}, err
	}
	return a.Results[0], nil
}

// errNotAgain says why there is nothing to say of consistency.
var errNotAgain = errors.New("no unit was shown again")

// within is the agreement with oneself over the units that were shown again, as
// often as all of them were.
func (g *scoring) within(s *Score, times map[int]int) {
	s.WithinErr, s.WithinKindErr = errNotAgain, errNotAgain
	least := 0
	for _, n := range times {
		if n > 1 && (least == 0 || n < least) {
			least = n
		}
	}
	if s.Within, _ = study.NewShare(0, 0, g.o.Confidence, study.WilsonScore); least == 0 {
		return
	}
	var verdicts, kinds []study.Call
	for i, x := range g.shown {
		if times[x.Item] < 2 || g.trial[i] >= least {
			continue
		}
		it, trial := g.t.Pool[x.Item], strconv.Itoa(g.trial[i])
		verdicts = append(verdicts, study.Call{Part: it.Key, Appraiser: trainee, Trial: trial, Word: string(x.Answer.verdict())})
		for d, k := range it.Known {
			if !k.Visible() {
				continue
			}
			word := wordMissed
			if m := g.out[i].Mark[d]; m >= 0 {
				word = string(x.Answer.Marks[m].Kind)
			}
			kinds = append(kinds, study.Call{Part: it.Key + "#" + strconv.Itoa(d), Appraiser: trainee, Trial: trial, Word: word})
		}
	}
	if a, err := study.NewAgreement(verdicts, g.options(string(part.Pass))); err != nil {
		s.WithinErr = err
	} else {
		j := a.Results[0]
		s.Within, s.WithinKappa, s.WithinErr = j.Within, j.WithinKappa, j.WithinErr
	}
	if len(kinds) == 0 {
		s.WithinKindErr = errors.New("no unit with a defect was shown again")
		return
	}
	if a, err := study.NewAgreement(kinds, g.options()); err != nil {
		s.WithinKindErr = err
	} else {
		s.WithinKind, s.WithinKindErr = a.Results[0].WithinKappa, a.Results[0].WithinErr
	}
}

// kinds counts hits, misses, false marks, kinds and places.
func (g *scoring) kinds(s *Score) error {
	n := len(part.Kinds)
	found, of, right, falseMarks, missed := make([]int, n), make([]int, n), make([]int, n), make([]int, n), make([]int, n)
	table := make([][]int, n)
	for i := range table {
		table[i] = make([]int, n)
	}
	total := 0
	for _, i := range g.counted {
		x, o := g.shown[i], g.out[i]
		for d, k := range g.t.Pool[x.Item].Known {
			if !k.Visible() {
				continue
			}
			at := slices.Index(part.Kinds, k.Kind)
			of[at]++
			m := o.Mark[d]
			if m < 0 {
				missed[at]++
				continue
			}
			said := slices.Index(part.Kinds, x.Answer.Marks[m].Kind)
			found[at]++
			right[at] += index(said == at)
			table[at][said]++
			s.OffMM = append(s.OffMM, o.OffMM[d])
		}
		for _, m := range o.False {
			falseMarks[slices.Index(part.Kinds, x.Answer.Marks[m].Kind)]++
			total++
		}
	}
	slices.Sort(s.OffMM)
	var err error
	for i, k := range part.Kinds {
		said := 0
		for j := range table {
			said += table[j][i]
		}
		if of[i] == 0 && falseMarks[i] == 0 && said == 0 {
			continue
		}
		ks := KindScore{Kind: k, FalseMarks: falseMarks[i]}
		if ks.Found, err = study.NewShare(found[i], of[i], g.o.Confidence, study.WilsonScore); err != nil {
			return err
		}
		if ks.RightKind, err = study.NewShare(right[i], found[i], g.o.Confidence, study.WilsonScore); err != nil {
			return err
		}
		s.Kinds = append(s.Kinds, ks)
		s.Confusion.Kinds = append(s.Confusion.Kinds, k)
		s.Confusion.Missed = append(s.Confusion.Missed, missed[i])
	}
	for _, k := range s.Confusion.Kinds {
		var row []int
		for _, l := range s.Confusion.Kinds {
			row = append(row, table[slices.Index(part.Kinds, k)][slices.Index(part.Kinds, l)])
		}
		s.Confusion.Counts = append(s.Confusion.Counts, row)
	}
	if len(s.OffMM) == 0 {
		s.KindErr = errors.New("no defect was found, so no kind was told")
	} else {
		s.Kind, s.KindErr = study.CohenKappa(s.Confusion.Counts, study.NoWeights, g.o.Confidence)
	}
	s.FalseMarks, err = study.NewRate(total, len(g.counted), g.o.Confidence)
	return err
}

// MedianOffMM is the middle of how far marks are off; NaN where none was right.
func (s Score) MedianOffMM() float64 { return s.offMM(0.5) }

// OffMM90 is how far off nine marks in ten are at most; NaN where none was right.
func (s Score) OffMM90() float64 { return s.offMM(0.9) }

func (s Score) offMM(p float64) float64 {
	if len(s.OffMM) == 0 {
		return math.NaN()
	}
	return stat.Quantile(p, stat.LinInterp, s.OffMM, nil)
}

// curves fits from which size on defects are seen: all spots together, then each
// kind that has a size.
func (g *scoring) curves(s *Score) {
	type set struct {
		kind    part.Kind
		measure string
	}
	targets := map[set][]study.Target{}
	for _, i := range g.counted {
		for d, k := range g.t.Pool[g.shown[i].Item].Known {
			if !k.Visible() || !(k.SizeMM > 0) || k.Measure == "" {
				continue
			}
			t := study.Target{Size: k.SizeMM, Of: 1, Found: index(g.out[i].Mark[d] >= 0)}
			targets[set{k.Kind, k.Measure}] = append(targets[set{k.Kind, k.Measure}], t)
			if k.Spot() {
				targets[set{"", k.Measure}] = append(targets[set{"", k.Measure}], t)
			}
		}
	}
	o := study.DefaultDetectionOptions()
	o.Confidence, o.Unit = g.o.Confidence, "mm"
	for _, k := range append([]part.Kind{""}, part.Kinds...) {
		for _, m := range []string{"diameter", "length"} {
			if all := targets[set{k, m}]; len(all) > 0 {
				c := SizeCurve{Kind: k, Measure: m}
				c.Detection, c.Err = study.NewDetection(all, o)
				s.Curves = append(s.Curves, c)
			}
		}
	}
}

// mistakes lists the showings that were not all right, in their order.
func (g *scoring) mistakes(s *Score) {
	for i, x := range g.shown {
		it, o := g.t.Pool[x.Item], g.out[i]
		m := Mistake{Trial: g.number[i], Item: x.Item, Answer: x.Answer, False: o.False, Mark: o.Mark, Verdict: x.Answer.verdict() != it.Verdict}
		for d, k := range it.Known {
			switch at := o.Mark[d]; {
			case at < 0 && k.Visible():
				m.Missed = append(m.Missed, d)
			case at >= 0 && x.Answer.Marks[at].Kind != k.Kind:
				m.WrongKind = append(m.WrongKind, d)
			}
		}
		if m.Verdict || len(m.Missed)+len(m.False)+len(m.WrongKind) > 0 {
			s.Mistakes = append(s.Mistakes, m)
		}
	}
}

// Found is the share of defects of all kinds that were found, without an interval.
func (s Score) Found() study.Share {
	var all study.Share
	for _, k := range s.Kinds {
		all.Count += k.Found.Count
		all.Of += k.Found.Of
	}
	return all
}

// Missed are the kinds asked and missed, for the next test's Spec.Prior.
func (s Score) Missed() []KindCount {
	var all []KindCount
	for _, k := range s.Kinds {
		if k.Found.Of > 0 {
			all = append(all, KindCount{k.Kind, k.Found.Of, k.Missed()})
		}
	}
	return all
}
