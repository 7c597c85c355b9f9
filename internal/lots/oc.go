package lots

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// OC is a single plan as arithmetic sees it: look at N, accept with at most Ac.
// LotSize 0 is a lot much larger than the sample; the hypergeometric law needs
// the lot. Quality p is a share of nonconforming units, or nonconformities a
// unit for the Poisson law.
type OC struct {
	Law     Law `json:"law"`
	LotSize int `json:"lot_size,omitempty"`
	N       int `json:"n"`
	Ac      int `json:"ac"`
}

// OC is the plan's operating characteristic as the standard's own tables have
// it: lots of a process, binomial, or Poisson for nonconformities per 100 units.
// In the gap of a reduced plan a lot is accepted, so that Re - 1 counts. A plan
// that accepts none is no plan of the standard: it is told for its one lot.
func (s Single) OC() OC {
	if s.Zero() {
		return OC{Law: Hypergeometric, LotSize: s.LotSize, N: s.N}
	}
	o := OC{Law: Binomial, LotSize: s.LotSize, N: s.N, Ac: s.Re - 1}
	if s.PerHundred || s.AQL > percentLimit {
		o.Law = Poisson
	}
	return o
}

// Accept is the probability of acceptance at quality p.
func (o OC) Accept(p float64) float64 { return AcceptP(o.Law, o.LotSize, o.N, o.Ac, p) }

// unseen is the share of the lot that the sample leaves out; 1 for a large lot.
func (o OC) unseen() float64 {
	if o.LotSize <= 0 {
		return 1
	}
	return float64(max(0, o.LotSize-o.N)) / float64(o.LotSize)
}

// AOQ is the average outgoing quality at incoming quality p where refused lots
// are looked at unit by unit and whatever is found is replaced: Pa p (N-n)/N
// (Dodge and Romig 1959; NIST/SEMATECH e-Handbook 6.2.2). For one lot exactly:
// what is left in accepted lots is D/N (N-n)/N times the probability of
// acceptance of a lot with one unit, a nonconforming one, less.
func (o OC) AOQ(p float64) float64 {
	if o.Law != Hypergeometric {
		return o.Accept(p) * p * o.unseen()
	}
	bad := int(math.Round(p * float64(o.LotSize)))
	if math.IsNaN(o.Accept(p)) {
		return math.NaN()
	}
	if bad == 0 || o.N >= o.LotSize {
		return 0
	}
	return float64(bad) / float64(o.LotSize) * o.unseen() * hyperAtMost(o.LotSize-1, bad-1, o.N, o.Ac)
}

// AOQL is the worst average outgoing quality, and the incoming quality that
// leads to it. It is NaN where there is no plan, and 0 where every unit is
// looked at.
func (o OC) AOQL() (aoql, at float64) {
	if math.IsNaN(o.Accept(0)) {
		return math.NaN(), math.NaN()
	}
	if o.unseen() == 0 {
		return 0, 0
	}
	if o.Law == Hypergeometric {
		at = float64(o.worstBad()) / float64(o.LotSize)
		return o.AOQ(at), at
	}
	low, high := 0.0, o.tooBad()
	at = golden(o.AOQ, low, high)
	return o.AOQ(at), at
}

// worstBad is the number of nonconforming units in the lot with the largest
// AOQ, which has one peak over them: a third of the range goes at each step.
func (o OC) worstBad() int {
	aoq := func(bad int) float64 { return o.AOQ(float64(bad) / float64(o.LotSize)) }
	low, high := 0, o.LotSize
	for high-low > 2 {
		a, b := low+(high-low)/3, high-(high-low)/3
		if aoq(a) >= aoq(b) {
			high = b // equal values are zeros to the right of the peak
		} else {
			low = a
		}
	}
	best := low
	for bad := low + 1; bad <= high; bad++ {
		if aoq(bad) > aoq(best) {
			best = bad
		}
	}
	return best
}

// tooBad is a quality at which next to nothing is accepted.
func (o OC) tooBad() float64 {
	if o.Law == Poisson {
		return (float64(o.Ac) + 10*math.Sqrt(float64(o.Ac)+1) + 10) / float64(o.N)
	}
	return 1
}

// golden finds where a function with one peak is largest. Kiefer 1953.
func golden(f func(float64) float64, low, high float64) float64 {
	r := (math.Sqrt(5) - 1) / 2
	a, b := high-r*(high-low), low+r*(high-low)
	fa, fb := f(a), f(b)
	for high-low > 1e-10*(1+high) {
		// Equal values far from the peak are zeros to the right of it.
		if fa >= fb {
			high, b, fb = b, a, fa
			a = high - r*(high-low)
			fa = f(a)
		} else {
			low, a, fa = a, b, fb
			b = low + r*(high-low)
			fb = f(b)
		}
	}
	return (low + high) / 2
}

// ATI is the average total inspection at quality p: the sample, and the rest of
// the lots that are refused, n + (1-Pa)(N-n). NaN for a lot of no size.
func (o OC) ATI(p float64) float64 {
	if o.LotSize < 1 {
		return math.NaN()
	}
	return float64(o.N) + (1-o.Accept(p))*float64(max(0, o.LotSize-o.N))
}

// ASN is the average sample number where inspection stops as soon as Ac+1 have
// been counted and the lot is refused; without stopping it is N. From the
// negative binomial law: n F(n; Ac) + (Ac+1)/p (1 - F(n+1; Ac+1)) (Burr 1957).
// For nonconforming units of a process only; else NaN.
func (o OC) ASN(p float64) float64 {
	if o.Law != Binomial || math.IsNaN(o.Accept(p)) {
		return math.NaN()
	}
	if p == 0 {
		return float64(o.N)
	}
	return float64(o.N)*o.Accept(p) + float64(o.Ac+1)/p*(1-binomialAtMost(o.N+1, o.Ac+1, p))
}

// PWith is the quality at which the plan accepts with probability pa. For the
// hypergeometric law it is that of the worst lot which is accepted at least so
// often. NaN where no quality has it.
func (o OC) PWith(pa float64) float64 {
	if !(pa > 0 && pa < 1) || math.IsNaN(o.Accept(0)) {
		return math.NaN()
	}
	if o.Law == Hypergeometric {
		bad, _ := o.badWith(pa)
		return float64(bad) / float64(o.LotSize)
	}
	low, high := 0.0, o.tooBad()
	for o.Law == Poisson && o.Accept(high) > pa {
		high *= 2
	}
	if o.Accept(high) > pa {
		return math.NaN() // a sample that can not hold more than Ac
	}
	return lastAccepted(o.Accept, pa, low, high)
}

// lastAccepted is the worst quality that is accepted with probability pa or more,
// between one that is and a worse one that is not.
func lastAccepted(accept func(float64) float64, pa, low, high float64) float64 {
	for range 200 {
		mid := (low + high) / 2
		if mid == low || mid == high {
			break
		}
		if accept(mid) >= pa {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// badWith is the largest number of nonconforming units with which the lot is
// accepted with probability pa or more, and the probability.
func (o OC) badWith(pa float64) (bad int, has float64) {
	low, high := 0, o.LotSize+1 // low is accepted as often, high is not or is no lot
	for high-low > 1 {
		mid := (low + high) / 2
		if hyperAtMost(o.LotSize, mid, o.N, o.Ac) >= pa {
			low = mid
		} else {
			high = mid
		}
	}
	return low, hyperAtMost(o.LotSize, low, o.N, o.Ac)
}

// CurvePoint is a row of a plan's table. What does not apply is NaN, and null in
// JSON.
type CurvePoint struct {
	P, Pa, AOQ, ATI, ASN float64
}

// MarshalJSON leaves out what does not apply.
func (c CurvePoint) MarshalJSON() ([]byte, error) {
	return json.Marshal(struct {
		P   float64  `json:"p"`
		Pa  *float64 `json:"pa,omitempty"`
		AOQ *float64 `json:"aoq,omitempty"`
		ATI *float64 `json:"ati,omitempty"`
		ASN *float64 `json:"asn,omitempty"`
	}{c.P, part.Num(c.Pa), part.Num(c.AOQ), part.Num(c.ATI), part.Num(c.ASN)})
}

// Curve is the plan's table from quality 0 to the one that is accepted once in a
// thousand, in round steps, with at most n+2 rows. The hypergeometric law has
// rows of whole nonconforming units. nil where there is no plan.
func (o OC) Curve(n int) []CurvePoint {
	if n < 1 || math.IsNaN(o.Accept(0)) {
		return nil
	}
	last := o.PWith(0.001)
	if math.IsNaN(last) {
		last = o.tooBad()
	}
	if o.Law == Hypergeometric {
		bad := min(o.LotSize, int(math.Round(last*float64(o.LotSize)))+1)
		every := max(1, (bad+n-1)/n)
		return o.rows(float64(every)/float64(o.LotSize), bad/every, 1)
	}
	limit := 1.0
	if o.Law == Poisson {
		limit = math.Inf(1)
	}
	step := roundUp(last / float64(n))
	return o.rows(step, int(math.Ceil(last/step)), limit)
}

// rows are n+1 rows with a step between them, none beyond limit.
func (o OC) rows(step float64, n int, limit float64) []CurvePoint {
	out := make([]CurvePoint, 0, n+1)
	for i := range n + 1 {
		p := min(float64(i)*step, limit)
		out = append(out, CurvePoint{P: p, Pa: o.Accept(p), AOQ: o.AOQ(p), ATI: o.ATI(p), ASN: o.ASN(p)})
	}
	return out
}

// roundUp is the next 1, 2 or 5 times a power of ten.
func roundUp(v float64) float64 {
	ten := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 2, 5} {
		if v <= m*ten*(1+1e-9) {
			return m * ten
		}
	}
	return 10 * ten
}

// Protection is what a plan lets through. Qualities are per 100: percent
// nonconforming, or nonconformities per 100 units. What does not apply is nil.
type Protection struct {
	Law      Law          `json:"law"`
	PaAtAQL  *float64     `json:"pa_at_aql,omitempty"` // probability
	P95      *float64     `json:"p95,omitempty"`       // accepted 95 times in 100
	P50      *float64     `json:"p50,omitempty"`
	P10      *float64     `json:"p10,omitempty"`
	AOQL     *float64     `json:"aoql,omitempty"`            // where refused lots are screened
	Sentence string       `json:"sentence,omitempty"`        // in English
	Phrase   *part.Phrase `json:"sentence_phrase,omitempty"` // the same, to be told in any language
}

// say is the protection with what it is in sentences.
func (t Protection) say(sentences ...part.Phrase) Protection {
	p := part.Say("protection").With("sentences", sentences...)
	t.Phrase, t.Sentence = &p, lang.English().Say(&p)
	return t
}

// Protection says what the plan lets through.
func (s Single) Protection() Protection {
	o := s.OC()
	if s.All {
		p := part.Say("protection.all")
		if s.Ac > 0 {
			p = part.Say("protection.all_counted", "ac", strconv.Itoa(s.Ac))
		}
		return Protection{Law: o.Law}.say(p)
	}
	t := o.Protection()
	if s.Zero() || t.Phrase == nil {
		return t
	}
	pa := o.Accept(s.AQL / 100)
	t.PaAtAQL = &pa
	return t.say(append(t.Phrase.Parts["sentences"], atAQL(s.AQL, pa))...)
}

// atAQL says how often a plan accepts lots as good as its AQL.
func atAQL(aql, pa float64) part.Phrase {
	return part.Say("protection.at_aql", "aql", part.Decimal(aql)).With("share", inHundred(pa))
}

// Protection says what the plan lets through: in a process, or for the
// hypergeometric law in this one lot.
func (o OC) Protection() Protection {
	t := Protection{Law: o.Law}
	if math.IsNaN(o.Accept(0)) {
		return t
	}
	if o.Law == Hypergeometric {
		return o.protectionOfLot()
	}
	t.P95, t.P50, t.P10 = hundredfold(o.PWith(0.95)), hundredfold(o.PWith(0.50)), hundredfold(o.PWith(0.10))
	aoql, _ := o.AOQL()
	t.AOQL = hundredfold(aoql)
	switch {
	case t.P95 == nil || t.P10 == nil:
		return t.say(part.Say("protection.every"))
	case o.Law == Poisson:
		return t.say(part.Say("protection.per_hundred", "p95", short(*t.P95), "p10", short(*t.P10)))
	}
	return t.say(part.Say("protection.units", "p95", short(*t.P95), "p10", short(*t.P10)))
}

// protectionOfLot counts in whole units of the one lot.
func (o OC) protectionOfLot() Protection {
	good, _ := o.badWith(0.95)
	half, _ := o.badWith(0.5)
	bad, _ := o.badWith(0.1)
	aoql, _ := o.AOQL()
	share := func(units int) *float64 { return hundredfold(float64(units) / float64(o.LotSize)) }
	t := Protection{Law: o.Law, P95: share(good), P50: share(half), P10: share(bad), AOQL: hundredfold(aoql)}
	first := max(good, o.Ac+1) // fewer than that are always accepted
	if bad >= o.LotSize {
		return t.say(part.Say("protection.every"))
	}
	accepts := func(bad int) part.Phrase { return inHundred(hyperAtMost(o.LotSize, bad, o.N, o.Ac)) }
	p := part.Say("protection.lot", "size", strconv.Itoa(o.LotSize), "n", strconv.Itoa(first)).With("share", accepts(first))
	if worse := max(bad+1, first+1); worse <= o.LotSize {
		p = p.With("worse", part.Say("protection.worse", "units", strconv.Itoa(worse)).With("share", accepts(worse)))
	}
	return t.say(p)
}

func hundredfold(v float64) *float64 {
	if math.IsNaN(v) {
		return nil
	}
	v *= 100
	return &v
}

// inHundred says a probability as times in 100, in 1000 where it is close to an
// end.
func inHundred(p float64) part.Phrase {
	switch {
	case p == 0:
		return part.Say("protection.share.none")
	case p == 1:
		return part.Say("protection.share.all")
	case p < 0.0005:
		return part.Say("protection.share.few")
	case p > 0.9995:
		return part.Say("protection.share.most")
	case p < 0.01 || p > 0.99:
		return part.Say("protection.share.thousand", "times", fmt.Sprintf("%.0f", 1000*p))
	}
	return part.Say("protection.share.hundred", "times", fmt.Sprintf("%.0f", 100*p))
}

// short prints a number with two digits that count.
func short(v float64) string {
	if v >= 10 {
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	return strconv.FormatFloat(v, 'f', max(0, 1-int(math.Floor(math.Log10(max(v, 1e-9))))), 64)
}
