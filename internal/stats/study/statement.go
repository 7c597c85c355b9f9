package study

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// DetectionOptions are what a study of detection can be asked.
type DetectionOptions struct {
	Probability float64   // that is to be reached: 0.9
	Confidence  float64   // of all bounds: 0.95
	Scale       SizeScale // empty: the one with the smaller deviance
	Bound       BoundMethod
	Firth       bool   // fit separated sets by Firth's likelihood
	Unit        string // of the sizes, for words: "mm"
}

// DefaultDetectionOptions ask for a90/95 by the likelihood ratio.
func DefaultDetectionOptions() DetectionOptions {
	return DetectionOptions{Probability: 0.9, Confidence: 0.95, Bound: LikelihoodRatio, Unit: "mm"}
}

// minTargets is the number of targets under which a curve is unsteady (MIL-HDBK-
// 1823A, 2009: at least 60 for found or missed; from memory).
const minTargets = 60

// Basis is what a statement rests on.
type Basis string

// The bases.
const (
	ByCurve Basis = "curve" // a fitted probability of detection
	ByCount Basis = "count" // all were found, enough of them
	ByNone  Basis = "none"  // no size can be stated
)

// Detection is what a set of targets tells about finding them.
type Detection struct {
	Targets           []Target // by size
	Of, Found         int
	Smallest, Largest float64
	All               Share   // found of all sizes, two-sided Clopper-Pearson
	Lower             float64 // one-sided lower bound of that share, Clopper-Pearson
	Fit               *POD    // nil: none
	FitErr            error
	A50, A90          float64                 // sizes found with 0.5 and the probability asked for; NaN: none
	Upper             map[BoundMethod]float64 // upper bounds of A90; only those that exist, the smallest size where a bound is not above 0
	BoundErr          error                   // of the method asked for
	Checked           *FitCheck               // nil: too few targets
	AllFrom           FoundFrom
	Basis             Basis
	Size              float64 // of the statement; NaN: none
	Options           DetectionOptions
}

// FoundFrom is the smallest size from which on all were found.
type FoundFrom struct {
	Size  float64 // NaN: the largest was missed
	Of    int
	Lower float64 // one-sided lower bound of the share found, Clopper-Pearson
	// Chosen: the size was chosen after the misses were seen, so that the bound's
	// confidence is less than it says.
	Chosen bool
}

// NewDetection says what can be said of the targets. It is no error that no curve
// can be fitted; it is one that the targets or the options are no such thing.
func NewDetection(targets []Target, o DetectionOptions) (Detection, error) {
	d := Detection{A50: math.NaN(), A90: math.NaN(), Size: math.NaN(), Options: o, Upper: map[BoundMethod]float64{}, Basis: ByNone}
	var err error
	if err = checkConfidence(o.Confidence); err != nil {
		return d, err
	}
	if !(o.Probability > 0 && o.Probability < 1) {
		return d, fmt.Errorf("probability %g: it must lie between 0 and 1, such as 0.9", o.Probability)
	}
	if d.Targets, err = mergeTargets(targets); err != nil {
		return d, err
	}
	for _, t := range d.Targets {
		if t.Size <= 0 {
			return d, fmt.Errorf("a target has the size %g: sizes must be above 0", t.Size)
		}
		d.Of += t.Of
		d.Found += t.Found
	}
	d.Smallest, d.Largest = d.Targets[0].Size, d.Targets[len(d.Targets)-1].Size
	if d.All, err = NewShare(d.Found, d.Of, o.Confidence, ClopperPearsonExact); err != nil {
		return d, err
	}
	if d.Lower, err = ClopperPearsonLower(d.Found, d.Of, o.Confidence); err != nil {
		return d, err
	}
	if d.AllFrom, err = foundFrom(d.Targets, o.Confidence); err != nil {
		return d, err
	}
	if err := d.fit(); err != nil {
		return d, err
	}
	d.decide()
	return d, nil
}

func foundFrom(m []Target, confidence float64) (FoundFrom, error) {
	f := FoundFrom{Size: math.NaN(), Lower: math.NaN()}
	for i := len(m) - 1; i >= 0; i-- {
		if m[i].Found < m[i].Of {
			f.Chosen = true
			break
		}
		f.Size = m[i].Size
		f.Of += m[i].Of
	}
	if f.Of == 0 {
		return f, nil
	}
	var err error
	f.Lower, err = ClopperPearsonLower(f.Of, f.Of, confidence)
	return f, err
}

// fit fills the curve and its sizes, or why there are none.
func (d *Detection) fit() error {
	f, err := FitPOD(d.Targets, d.Options.Scale)
	var no NoFitError
	if errors.As(err, &no) && no.Reason == Separated && d.Options.Firth {
		f, err = FitPODFirth(d.Targets, d.Options.Scale)
	}
	if errors.As(err, &no) || errors.Is(err, errNoOptimum) {
		d.FitErr, d.BoundErr = err, err
		return nil
	} else if err != nil {
		return err
	}
	d.Fit = &f
	d.A50, d.A90 = f.Size(0.5), f.Size(d.Options.Probability)
	for _, m := range []BoundMethod{LikelihoodRatio, WaldCurve, DeltaMethod} {
		if b, err := f.SizeUpper(d.Options.Probability, d.Options.Confidence, m); err == nil {
			if d.Upper[m] = b; b <= 0 {
				d.Upper[m] = d.Smallest
			}
		}
	}
	_, d.BoundErr = f.SizeUpper(d.Options.Probability, d.Options.Confidence, d.Options.Bound)
	if c, ok := f.Check(); ok {
		d.Checked = &c
	}
	return nil
}

// doubted is the probability under which a curve's form is held to be wrong, so
// that no statement rests on it; under doubtful it is said (both common practice,
// no source).
const doubted, doubtful = 0.01, 0.05

func (d *Detection) decide() {
	bound, ok := d.Upper[d.Options.Bound]
	switch {
	case ok && bound <= d.Largest && (d.Checked == nil || d.Checked.P >= doubted):
		d.Basis, d.Size = ByCurve, max(bound, d.Smallest)
	case d.Found == d.Of && d.Lower >= d.Options.Probability:
		d.Basis, d.Size = ByCount, d.Smallest
	}
}

// Statement is what can be said of these targets in one sentence; name is what they are called, such as
// "bubbles", or the key of that with an @ before it.
func (d Detection) Statement(name string) part.Phrase {
	say := func(key string, more ...string) part.Phrase {
		return part.Say("study.found."+key, append([]string{"name", name, "sure", inPercent(d.Options.Confidence), "of",
			strconv.Itoa(d.Of)}, more...)...).
			With("often", times(d.Options.Probability))
	}
	switch d.Basis {
	case ByCurve:
		return say("curve", "size", d.size(roundUp(d.Size)))
	case ByCount:
		return say("count", "size", d.size(roundUp(d.Size)))
	}
	least, sizes := wholePercent(d.Lower), d.sizes()
	if d.Found == d.Of {
		key := "all"
		if d.Of == 1 {
			key = "only_one"
		}
		return say(key, "least", least, "takes", strconv.Itoa(OpportunitiesToShow(1-d.Options.Probability,
			d.Options.Confidence))).With("sizes", sizes)
	}
	return say("some", "found", strconv.Itoa(d.Found), "least", least).With("sizes", sizes).With("why", d.why())
}

// why says in a few words why no size can be stated.
func (d Detection) why() part.Phrase {
	var no NoFitError
	bound, ok := d.Upper[d.Options.Bound]
	switch {
	case errors.As(d.FitErr, &no) && no.Reason == NoneFound:
		return part.Say("study.why.none_found")
	case errors.As(d.FitErr, &no) && no.Reason == OneSize:
		return part.Say("study.why.one_size")
	case errors.As(d.FitErr, &no) && no.Reason == Separated:
		return part.Say("study.why.separated")
	case errors.As(d.FitErr, &no) && no.Reason == Reversed:
		return part.Say("study.why.reversed")
	case d.FitErr != nil:
		return part.Say("study.why.no_curve")
	case errors.Is(d.BoundErr, ErrNoSlope):
		return part.Say("study.why.no_slope")
	case d.BoundErr != nil:
		return part.Say("study.why.no_bound")
	case ok && bound > d.Largest:
		return part.Say("study.why.beyond", "size", d.size(roundUp(bound)))
	}
	return part.Say("study.why.misfit")
}

// Warnings are what must be known beside the statement, a sentence each.
func (d Detection) Warnings() []part.Phrase {
	var w []part.Phrase
	var no NoFitError
	tells := !errors.As(d.FitErr, &no) || no.Reason != AllFound && no.Reason != NoneFound // a curve is in question
	if tells && d.Of < minTargets {
		w = append(w, part.Say("study.found.few", "of", strconv.Itoa(d.Of), "least", strconv.Itoa(minTargets)))
	}
	if d.FitErr != nil && d.Basis != ByCount {
		w = append(w, part.Say("study.found.no_curve").With("why", whyNot(d.FitErr)))
	}
	if d.Fit != nil && d.Fit.Penalised {
		w = append(w, part.Say("study.found.firth"))
	}
	if d.Fit != nil && d.BoundErr != nil {
		w = append(w, whyNot(d.BoundErr))
	}
	if d.Checked != nil && d.Checked.P < doubtful {
		w = append(w, part.Say("study.found.misfit", "method", d.Checked.name()).With("test", d.Checked.Phrase()))
	}
	if d.Basis == ByCurve && d.Options.Bound != WaldCurve {
		// Of drawn sets Wald's bound is wrong less often than the others, see [BoundMethod].
		wald, ok := d.Upper[WaldCurve]
		switch {
		case !ok:
			w = append(w, part.Say("study.found.no_wald"))
		case wald > 1.2*d.Size:
			w = append(w, part.Say("study.found.wald", "size", d.size(roundUp(wald))))
		}
	}
	if b, ok := d.Upper[d.Options.Bound]; ok && b > d.Largest {
		w = append(w, part.Say("study.found.bound_beyond", "size", d.size(roundUp(b)), "largest", d.size(d.Largest)))
	}
	if d.Basis == ByCount {
		w = append(w, part.Say("study.found.by_count"))
	}
	if a := d.AllFrom; a.Chosen && a.Of > 0 && d.Basis == ByNone {
		w = append(w, part.Say("study.found.chosen", "n", strconv.Itoa(a.Of), "size", d.size(a.Size), "least", wholePercent(a.Lower)))
	}
	return w
}

// whyNot is why there is no curve or no bound.
func whyNot(err error) part.Phrase {
	var no NoFitError
	if errors.As(err, &no) {
		return no.Phrase()
	}
	if p, ok := lang.PhraseOf(err); ok {
		return p
	}
	return part.Text(err.Error())
}

func (d Detection) sizes() part.Phrase {
	if d.Smallest == d.Largest {
		return part.Text(d.size(d.Smallest))
	}
	return part.Say("span", "from", strings.TrimSuffix(d.size(d.Smallest), " "+d.Options.Unit), "to", d.size(d.Largest))
}

// RoundUp rounds to so many digits, upwards: for upper bounds and for sizes from
// which on something is claimed.
func RoundUp(v float64, digits int) float64 {
	if !(v > 0) || math.IsInf(v, 0) {
		return v
	}
	scale := math.Pow(10, float64(digits-1)-math.Floor(math.Log10(v)))
	return math.Ceil(v*scale-1e-9) / scale
}

func (d Detection) size(v float64) string { return fmt.Sprintf("%.2g %s", v, d.Options.Unit) }

// roundUp rounds to two digits, upwards: a smaller size would claim more than
// was shown.
func roundUp(v float64) float64 { return RoundUp(v, 2) }

func inPercent(p float64) string { return fmt.Sprintf("%.3g %%", 100*p) }

// wholePercent rounds a lower bound down to whole percents.
func wholePercent(p float64) string { return fmt.Sprintf("%.0f %%", math.Floor(100*p+1e-9)) }

func times(p float64) part.Phrase {
	if tenths := math.Round(10 * p); math.Abs(10*p-tenths) < 1e-9 {
		return part.Say("study.times", "times", fmt.Sprintf("%.0f", tenths), "in", "10")
	}
	if n := 1 / (1 - p); math.Abs(n-math.Round(n)) < 1e-6 {
		return part.Say("study.times", "times", fmt.Sprintf("%.0f", math.Round(n)-1), "in", fmt.Sprintf("%.0f", n))
	}
	return part.Say("study.of_the_time", "share", inPercent(p))
}

// FalseCalls says a rate of false calls in words.
func FalseCalls(r Rate) part.Phrase {
	switch {
	case r.Units == 0:
		return part.Say("study.false.unmeasured")
	case r.Count == 0:
		return part.Say("study.false.none", "units", strconv.Itoa(r.Units), "most", fmt.Sprintf("%.2g", roundUp(r.Bounds.Upper)))
	}
	return part.Say("study.false.rate", "rate", fmt.Sprintf("%.2g", r.Value()), "lower", fmt.Sprintf("%.2g", r.Bounds.Lower),
		"upper", fmt.Sprintf("%.2g", roundUp(r.Bounds.Upper)))
}
