package study

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Call is what an appraiser said of a part once. A program is an appraiser too.
type Call struct {
	Part, Appraiser, Trial string
	Word                   string // pass, rework, bubble ...
	Reference              string // what the part is known to be; empty: not known
	Line                   int    // in the file it came from; 0: none
}

// AgreementOptions are what a study of calls can be asked.
type AgreementOptions struct {
	Good           []string       // calls that mean good; empty: pass, good, ok, accept and the like, or 1 of 0 and 1
	Confidence     float64        // of all intervals
	Interval       BinomialMethod // of all shares
	DropIncomplete bool           // leave out parts that lack calls, instead of refusing
	GoodMayLack    bool           // Good stands even where no call and no reference is one of it: all parts are bad, and called so
	Limits         AgreementLimits
}

// AgreementLimits are the limits of the verdict, as shares.
type AgreementLimits struct {
	GoodEffective, GoodMiss, GoodFalseAlarm float64
	FairEffective, FairMiss, FairFalseAlarm float64
}

// DefaultAgreementOptions are 95 % and Wilson's interval, and the limits that
// AIAG's Measurement Systems Analysis prints (3rd ed. 2002 and 4th ed. 2010,
// attribute study): effectiveness at least 90 %, misses at most 2 %, false
// alarms at most 5 %; marginal 80, 5 and 10 %.
func DefaultAgreementOptions() AgreementOptions {
	return AgreementOptions{Confidence: 0.95, Interval: WilsonScore, Limits: AgreementLimits{0.90, 0.02, 0.05, 0.80, 0.05, 0.10}}
}

// knownGood are the calls that mean good where nothing else is said; besides, 1
// where 0 and 1 are all calls there are.
var knownGood = []string{"pass", "good", "ok", "accept", "accepted", "conforming", "go", "flush", "none"}

// Fitness is how far an appraiser's calls can be relied on.
type Fitness string

// The fitnesses, best first.
const (
	FitAcceptable   Fitness = "acceptable"
	FitMarginal     Fitness = "marginal"
	FitUnacceptable Fitness = "unacceptable"
	FitUnknown      Fitness = "not measured"
)

// Agreement is a study of calls.
type Agreement struct {
	Parts, Appraisers, Categories []string
	Good                          []string // of the categories, those that mean good; empty: not known
	HasReference                  bool
	GoodParts, BadParts           int               // by the reference
	LeftOut                       []string          // parts that lacked calls
	Results                       []AppraiserResult // in the order of Appraisers
	Between                       Share             // parts on which all calls of all appraisers are one
	AllRight                      Share             // parts on which all of these are the reference's too
	Pairs                         []PairKappa
	Overall                       FleissResult // all calls of all appraisers
	OverallErr                    error
	Options                       AgreementOptions
}

// AppraiserResult is one appraiser's result.
type AppraiserResult struct {
	Appraiser     string
	Trials        int
	Within        Share // parts called the same in every trial; not measured with one trial
	WithinKappa   FleissResult
	WithinErr     error
	Effective     Share // parts called right in every trial
	Right         Share // calls that were right
	Miss          Share // bad called good, of calls on bad parts
	FalseAlarm    Share // good called bad, of calls on good parts
	Reference     Kappa // to the reference
	ReferenceErr  error
	Effectiveness Fitness // each by the limits
	Misses        Fitness
	FalseAlarms   Fitness
	Fitness       Fitness // the worst of the three
}

// PairKappa is the agreement of two appraisers beyond chance.
type PairKappa struct {
	A, B  string
	Same  Share // calls that are the same, trial by trial
	Kappa Kappa
	Err   error
}

var callColumns = []column{
	{name: "part", also: []string{"unit", "piece"}},
	{name: "appraiser", also: []string{"appr", "operator"}},
	{name: "trial", also: []string{"repeat", "run"}, optional: true},
	{name: "call", also: []string{"verdict", "rating"}},
	{name: "reference", also: []string{"truth", "known"}, optional: true},
}

// ReadCalls reads a table with the columns part, appraiser, trial, call and
// reference (or unit, piece; appr, operator; repeat, run; verdict, rating;
// truth, known), in any order. Without a trial the calls of an appraiser on a
// part count up; without a reference agreement is among the appraisers only.
// Case does not matter in calls. Errors name line and column.
func ReadCalls(r io.Reader) ([]Call, error) {
	t, err := readTable(r, callColumns)
	if err != nil {
		return nil, err
	}
	var all []Call
	next := map[[2]string]int{}
	for _, rw := range t.rows {
		for _, c := range []string{"part", "appraiser"} {
			if rw.text[c] == "" {
				return nil, fmt.Errorf("line %d, column %s: nothing there", rw.line, c)
			}
		}
		c := Call{Part: rw.text["part"], Appraiser: rw.text["appraiser"], Trial: rw.text["trial"], Word: strings.ToLower(rw.text["call"]),
			Reference: strings.ToLower(rw.text["reference"]), Line: rw.line}
		if !t.has["trial"] {
			cell := [2]string{c.Part, c.Appraiser}
			next[cell]++
			c.Trial = strconv.Itoa(next[cell])
		} else if c.Trial == "" {
			return nil, fmt.Errorf("line %d, column trial: nothing there", rw.line)
		}
		all = append(all, c)
	}
	return all, nil
}

// calls is a study sorted: words by part, appraiser and trial.
type calls struct {
	parts, appraisers, categories []string
	reference                     []string // by part; nil: none
	words                         [][][]int
	ref                           []int // reference as a category, by part
	trials                        []int // by appraiser
}

// NewAgreement weighs the calls of a study. Each appraiser must have called each
// part the same number of times; the number may differ between appraisers, as a
// program needs one trial only. It refuses calls that are there twice, parts
// that lack calls (unless they are to be left out), and references that
// contradict each other or are there for some parts only.
func NewAgreement(all []Call, o AgreementOptions) (Agreement, error) {
	if err := checkConfidence(o.Confidence); err != nil {
		return Agreement{}, err
	}
	for i, w := range o.Good {
		o.Good = slices.Clone(o.Good)
		o.Good[i] = strings.ToLower(strings.TrimSpace(w))
	}
	s, out, err := sortCalls(all, o.DropIncomplete)
	if err != nil {
		return Agreement{}, err
	}
	a := Agreement{Parts: s.parts, Appraisers: s.appraisers, Categories: s.categories, HasReference: s.reference != nil, LeftOut: out, Options: o}
	if a.Good, err = goodWords(s.categories, o.Good); err != nil && !o.GoodMayLack {
		return a, err
	}
	goodKnown := len(a.Good) > 0 || o.GoodMayLack && len(o.Good) > 0
	good := make([]bool, len(s.categories))
	for i, c := range s.categories {
		good[i] = slices.Contains(a.Good, c)
	}
	if a.HasReference && goodKnown {
		for _, r := range s.ref {
			if good[r] {
				a.GoodParts++
			} else {
				a.BadParts++
			}
		}
	}
	for j := range s.appraisers {
		judge, err := s.judge(j, good, goodKnown, o)
		if err != nil {
			return a, err
		}
		a.Results = append(a.Results, judge)
	}
	if err := s.between(&a, o); err != nil {
		return a, err
	}
	return a, nil
}

// goodWords are the categories that mean good.
func goodWords(categories, asked []string) ([]string, error) {
	var good []string
	if len(asked) > 0 {
		for _, c := range categories {
			if slices.Contains(asked, c) {
				good = append(good, c)
			}
		}
		if len(good) == 0 {
			return nil, fmt.Errorf("no call and no reference is %s: the calls are %s", strings.Join(asked, " or "), strings.Join(categories, ", "))
		}
		return good, nil
	}
	for _, c := range categories {
		if slices.Contains(knownGood, c) {
			good = append(good, c)
		}
	}
	if len(good) == 0 && slices.Contains(categories, "1") && !slices.ContainsFunc(categories, func(c string) bool { return c != "0" && c != "1" }) {
		good = []string{"1"}
	}
	return good, nil
}

func sortCalls(all []Call, drop bool) (calls, []string, error) {
	var s calls
	if len(all) == 0 {
		return s, nil, errors.New("the study has no calls")
	}
	seen := map[[3]string]Call{}
	cells := map[[2]string][]Call{}
	most := map[string]int{} // calls a part, by appraiser
	for _, c := range all {
		key := [3]string{c.Part, c.Appraiser, c.Trial}
		if first, ok := seen[key]; ok {
			return s, nil, fmt.Errorf("part %s, appraiser %s, trial %s is there twice%s: keep one of them", c.Part, c.Appraiser, c.Trial, lines(first.Line, c.Line))
		}
		seen[key] = c
		if !slices.Contains(s.parts, c.Part) {
			s.parts = append(s.parts, c.Part)
		}
		if !slices.Contains(s.appraisers, c.Appraiser) {
			s.appraisers = append(s.appraisers, c.Appraiser)
		}
		if c.Word == "" {
			continue // no call: the cell is short of one
		}
		cell := [2]string{c.Part, c.Appraiser}
		cells[cell] = append(cells[cell], c)
		most[c.Appraiser] = max(most[c.Appraiser], len(cells[cell]))
	}
	slices.SortFunc(s.parts, compareNames)
	slices.SortFunc(s.appraisers, compareNames)
	out, err := s.dropShort(cells, most, drop)
	if err != nil {
		return s, nil, err
	}
	if err := s.references(all); err != nil {
		return s, nil, err
	}
	s.number(cells)
	for _, a := range s.appraisers {
		s.trials = append(s.trials, most[a])
	}
	return s, out, nil
}

// dropShort leaves out the parts that some appraiser called less often than the
// others, or refuses them.
func (s *calls) dropShort(cells map[[2]string][]Call, most map[string]int, drop bool) ([]string, error) {
	var out, notes []string
	for _, a := range s.appraisers {
		if most[a] == 0 {
			return nil, fmt.Errorf("appraiser %s has no calls: leave the appraiser out of the table, or fill the column call", a)
		}
	}
	for _, p := range s.parts {
		short := false
		for _, a := range s.appraisers {
			if n := len(cells[[2]string{p, a}]); n < most[a] {
				short = true
				notes = append(notes, fmt.Sprintf("part %s by %s has %d of %d", p, a, n, most[a]))
			}
		}
		if short {
			out = append(out, p)
		}
	}
	if len(out) == 0 {
		return nil, nil
	}
	if len(notes) > 5 {
		notes = append(notes[:4], fmt.Sprintf("and %d more", len(notes)-4))
	}
	if !drop {
		return nil, fmt.Errorf("calls are missing: %s; add them, or leave those parts out with --drop-incomplete", strings.Join(notes, ", "))
	}
	s.parts = slices.DeleteFunc(s.parts, func(p string) bool { return slices.Contains(out, p) })
	if len(s.parts) == 0 {
		return nil, fmt.Errorf("no part has all its calls: %s; add them", strings.Join(notes, ", "))
	}
	return out, nil
}

// references finds each part's reference.
func (s *calls) references(all []Call) error {
	ref := map[string]Call{}
	for _, c := range all {
		if c.Reference == "" || !slices.Contains(s.parts, c.Part) {
			continue
		}
		if first, ok := ref[c.Part]; ok && first.Reference != c.Reference {
			return fmt.Errorf("part %s has two references, %q and %q%s: it can be only one", c.Part, first.Reference, c.Reference, lines(first.Line, c.Line))
		} else if !ok {
			ref[c.Part] = c
		}
	}
	if len(ref) == 0 {
		return nil
	}
	for _, p := range s.parts {
		c, ok := ref[p]
		if !ok {
			return fmt.Errorf("part %s has no reference, though others have: give each part one, or take the column out", p)
		}
		s.reference = append(s.reference, c.Reference)
	}
	return nil
}

// number turns words into categories, in the order of their names.
func (s *calls) number(cells map[[2]string][]Call) {
	for _, p := range s.parts {
		for _, a := range s.appraisers {
			for _, c := range cells[[2]string{p, a}] {
				if !slices.Contains(s.categories, c.Word) {
					s.categories = append(s.categories, c.Word)
				}
			}
		}
	}
	for _, r := range s.reference {
		if !slices.Contains(s.categories, r) {
			s.categories = append(s.categories, r)
		}
	}
	slices.SortFunc(s.categories, compareNames)
	for i, p := range s.parts {
		var row [][]int
		for _, a := range s.appraisers {
			in := cells[[2]string{p, a}]
			slices.SortStableFunc(in, func(x, y Call) int { return compareNames(x.Trial, y.Trial) })
			w := make([]int, len(in))
			for k, c := range in {
				w[k] = slices.Index(s.categories, c.Word)
			}
			row = append(row, w)
		}
		s.words = append(s.words, row)
		if s.reference != nil {
			s.ref = append(s.ref, slices.Index(s.categories, s.reference[i]))
		}
	}
}

// judge is the result of the appraiser number j.
func (s *calls) judge(j int, good []bool, goodKnown bool, o AgreementOptions) (AppraiserResult, error) {
	d := AppraiserResult{Appraiser: s.appraisers[j], Trials: s.trials[j]}
	var same, effective, right, miss, badCalls, alarm, goodCalls int
	for i := range s.parts {
		w := s.words[i][j]
		if constantInts(w) {
			same++
		}
		if s.ref == nil {
			continue
		}
		allRight := true
		for _, c := range w {
			if c == s.ref[i] {
				right++
			} else {
				allRight = false
			}
			switch {
			case !goodKnown:
			case good[s.ref[i]]:
				goodCalls++
				if !good[c] {
					alarm++
				}
			default:
				badCalls++
				if good[c] {
					miss++
				}
			}
		}
		if allRight {
			effective++
		}
	}
	n := len(s.parts)
	if d.Trials < 2 {
		same = 0
	}
	for _, f := range []struct {
		to        *Share
		count, of int
	}{
		{&d.Within, same, either(d.Trials > 1, n)}, {&d.Effective, effective, either(s.ref != nil, n)}, {&d.Right, right, either(s.ref != nil, n*d.Trials)},
		{&d.Miss, miss, badCalls}, {&d.FalseAlarm, alarm, goodCalls},
	} {
		var err error
		if *f.to, err = NewShare(f.count, f.of, o.Confidence, o.Interval); err != nil {
			return d, err
		}
	}
	d.WithinErr = errors.New("there is one trial only")
	if d.Trials > 1 {
		d.WithinKappa, d.WithinErr = FleissKappa(s.counts([]int{j}), o.Confidence)
	}
	d.ReferenceErr = errors.New("there is no reference")
	if s.ref != nil {
		d.Reference, d.ReferenceErr = s.kappaOf(func(i int) [][2]int {
			var p [][2]int
			for _, c := range s.words[i][j] {
				p = append(p, [2]int{c, s.ref[i]})
			}
			return p
		}, o.Confidence)
	}
	d.rate(o.Limits)
	return d, nil
}

func either(yes bool, n int) int {
	if yes {
		return n
	}
	return 0
}

// rate judges by the limits.
func (d *AppraiserResult) rate(l AgreementLimits) {
	least := func(v, good, fair float64) Fitness {
		switch {
		case math.IsNaN(v):
			return FitUnknown
		case v >= good:
			return FitAcceptable
		case v >= fair:
			return FitMarginal
		}
		return FitUnacceptable
	}
	d.Effectiveness = least(d.Effective.Value(), l.GoodEffective, l.FairEffective)
	d.Misses = least(-d.Miss.Value(), -l.GoodMiss, -l.FairMiss)
	d.FalseAlarms = least(-d.FalseAlarm.Value(), -l.GoodFalseAlarm, -l.FairFalseAlarm)
	d.Fitness = worst(d.Effectiveness, d.Misses, d.FalseAlarms)
}

// worst of several: what is unacceptable stays so whatever was not measured;
// else what was not measured leaves all not measured.
func worst(f ...Fitness) Fitness {
	for _, w := range []Fitness{FitUnacceptable, FitUnknown, FitMarginal} {
		if slices.Contains(f, w) {
			return w
		}
	}
	return FitAcceptable
}

// Fitness is the worst of all appraisers'.
func (a Agreement) Fitness() Fitness {
	var f []Fitness
	for _, j := range a.Results {
		f = append(f, j.Fitness)
	}
	return worst(f...)
}

// between fills what concerns several appraisers.
func (s *calls) between(a *Agreement, o AgreementOptions) error {
	all := make([]int, len(s.appraisers))
	for j := range all {
		all[j] = j
	}
	var same, right int
	for i := range s.parts {
		flat := slices.Concat(s.words[i]...)
		if !constantInts(flat) {
			continue
		}
		same++
		if s.ref != nil && flat[0] == s.ref[i] {
			right++
		}
	}
	several := len(s.appraisers) > 1
	if !several {
		same = 0
	}
	var err error
	if a.Between, err = NewShare(same, either(several, len(s.parts)), o.Confidence, o.Interval); err != nil {
		return err
	}
	if a.AllRight, err = NewShare(right, either(s.ref != nil, len(s.parts)), o.Confidence, o.Interval); err != nil {
		return err
	}
	a.OverallErr = errors.New("there is one appraiser only")
	if several {
		a.Overall, a.OverallErr = FleissKappa(s.counts(all), o.Confidence)
	}
	for j := range s.appraisers {
		for k := j + 1; k < len(s.appraisers); k++ {
			p, err := s.pair(j, k, o)
			if err != nil {
				return err
			}
			a.Pairs = append(a.Pairs, p)
		}
	}
	return nil
}

// pair is the agreement of two appraisers, trial by trial as far as both go.
func (s *calls) pair(j, k int, o AgreementOptions) (PairKappa, error) {
	p := PairKappa{A: s.appraisers[j], B: s.appraisers[k]}
	n := min(s.trials[j], s.trials[k])
	pairs := func(i int) [][2]int {
		var v [][2]int
		for t := range n {
			v = append(v, [2]int{s.words[i][j][t], s.words[i][k][t]})
		}
		return v
	}
	same := 0
	for i := range s.parts {
		for _, v := range pairs(i) {
			if v[0] == v[1] {
				same++
			}
		}
	}
	var err error
	if p.Same, err = NewShare(same, n*len(s.parts), o.Confidence, o.Interval); err != nil {
		return p, err
	}
	p.Kappa, p.Err = s.kappaOf(pairs, o.Confidence)
	return p, nil
}

// kappaOf is Cohen's kappa over all parts' pairs. Where a part has several
// pairs, they are not independent; then the interval comes from the scatter
// between parts (jackknife, Fleiss & Davies 1982), Student's t.
func (s *calls) kappaOf(pairs func(part int) [][2]int, confidence float64) (Kappa, error) {
	table := squareTable(len(s.categories))
	several := false
	for i := range s.parts {
		p := pairs(i)
		several = several || len(p) > 1
		addPairs(table, p, 1)
	}
	k, err := CohenKappa(table, NoWeights, confidence)
	if err != nil || !several {
		return k, err
	}
	se := jackknifeSE(len(s.parts), func(leave int) (float64, bool) {
		addPairs(table, pairs(leave), -1)
		defer addPairs(table, pairs(leave), 1)
		v, err := CohenKappa(table, NoWeights, confidence)
		return v.Value, err == nil
	})
	if !math.IsNaN(se) {
		k.SE, k.Method = se, "jackknife over parts (Fleiss & Davies 1982)"
		k.finishT(len(s.parts) - 1)
	}
	return k, nil
}

func squareTable(n int) [][]int {
	t := make([][]int, n)
	for i := range t {
		t[i] = make([]int, n)
	}
	return t
}

func addPairs(table [][]int, pairs [][2]int, sign int) {
	for _, p := range pairs {
		table[p[0]][p[1]] += sign
	}
}

// counts are the calls on each part by category, of the given appraisers.
func (s *calls) counts(appraisers []int) [][]int {
	var all [][]int
	for i := range s.parts {
		row := make([]int, len(s.categories))
		for _, j := range appraisers {
			for _, c := range s.words[i][j] {
				row[c]++
			}
		}
		all = append(all, row)
	}
	return all
}

func constantInts(v []int) bool {
	for _, x := range v {
		if x != v[0] {
			return false
		}
	}
	return true
}

// OpportunitiesToShow is how many calls without a single failure it takes to
// show, at the confidence, that a share is at most limit: the smallest n with
// (1-limit)^n <= 1-confidence.
func OpportunitiesToShow(limit, confidence float64) int {
	return int(math.Ceil(math.Log(1-confidence) / math.Log(1-limit)))
}
