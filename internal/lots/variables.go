package lots

import (
	"fmt"
	"math"
	"slices"
	"sync"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// VariablesEdition is where the plans for measured values come from.
const VariablesEdition = "MIL-STD-414 (1957), Tables A-2 and B-1"

// VariablesNote says what is not as sure as the rest.
func VariablesNote() part.Phrase { return part.Say("protection.values_note") }

// VariablesLevels lists the inspection levels of MIL-STD-414; IV unless agreed
// otherwise.
var VariablesLevels = []Level{"I", "II", "III", "IV", "V"}

// Variables is a plan for a measured, normally distributed value whose spread is
// not known (s-method): measure N units, accept with (limit-mean)/s of at least
// K, or with an estimated share outside the limits of at most M.
type Variables struct {
	LotSize    int     `json:"lot_size,omitempty"`
	Level      Level   `json:"level,omitempty"`
	AQL        float64 `json:"aql"` // percent
	Mode       Mode    `json:"mode"`
	Letter     string  `json:"letter"`
	PlanLetter string  `json:"plan_letter"` // another one where the table has an arrow
	N          int     `json:"n"`
	K          float64 `json:"k"`
	M          float64 `json:"m"` // fraction; what K makes of the estimate, so that both methods agree on one limit
	All        bool    `json:"all,omitempty"`
}

type variablesCell struct {
	letter string
	n      int
	k      float64
}

type variablesTables struct {
	rows  []letterRow
	cells map[Mode]map[cellKey]variablesCell
	aqls  map[Mode][]float64
}

var variables = sync.OnceValue(func() *variablesTables {
	t := &variablesTables{cells: map[Mode]map[cellKey]variablesCell{}, aqls: map[Mode][]float64{}}
	for _, r := range tableRows("variables_letters.csv") {
		row := letterRow{from: atoi(r[0]), to: atoi(r[1]), letter: map[Level]string{}}
		for i, l := range VariablesLevels {
			row.letter[l] = r[2+i]
		}
		t.rows = append(t.rows, row)
	}
	for _, m := range []Mode{Normal, Tightened} {
		t.cells[m] = map[cellKey]variablesCell{}
		for _, r := range tableRows("variables_" + string(m) + ".csv") {
			k := cellKey{r[0], atof(r[2])}
			t.cells[m][k] = variablesCell{r[4], atoi(r[5]), atof(r[6])}
			if !slices.Contains(t.aqls[m], k.aql) {
				t.aqls[m] = append(t.aqls[m], k.aql)
			}
		}
		slices.Sort(t.aqls[m])
	}
	return t
})

// LookupVariables finds the s-method plan for a lot. There is none for reduced
// inspection here: that table of the standard is not in this program.
func LookupVariables(lotSize int, level Level, aql float64, mode Mode) (Variables, error) {
	if err := checkLot(lotSize); err != nil {
		return Variables{}, err
	}
	if !slices.Contains(VariablesLevels, level) {
		return Variables{}, fmt.Errorf("lots: no inspection level %q for measured values; there are I, II, III, IV and V", level)
	}
	if lotSize < 3 {
		return Variables{}, fmt.Errorf("lots: a lot of %d is too small for a plan by measured values, which needs 3; measure all of it",
			lotSize)
	}
	for _, r := range variables().rows {
		if lotSize >= r.from && (r.to == 0 || lotSize <= r.to) {
			v, err := VariablesByLetter(r.letter[level], aql, mode)
			if err != nil {
				return Variables{}, err
			}
			v.LotSize, v.Level = lotSize, level
			if v.N >= lotSize {
				v.N, v.All = lotSize, true
				v.M = EstimateOutside(v.K, v.N)
			}
			return v, nil
		}
	}
	return Variables{}, fmt.Errorf("lots: no code letter for a lot of %d", lotSize)
}

// VariablesByLetter finds the s-method plan of a code letter of MIL-STD-414.
func VariablesByLetter(letter string, aql float64, mode Mode) (Variables, error) {
	t := variables()
	if mode != Normal && mode != Tightened {
		return Variables{}, fmt.Errorf("lots: no %q plans for measured values; there are normal and tightened", mode)
	}
	if !slices.Contains(t.aqls[mode], aql) {
		return Variables{}, fmt.Errorf("lots: no AQL %s for measured values on %s inspection; %s", part.Decimal(aql), mode,
			neighbours(aql, t.aqls[mode]))
	}
	c, ok := t.cells[mode][cellKey{letter, aql}]
	if !ok {
		return Variables{}, fmt.Errorf("lots: no code letter %q for measured values; they go from B to Q", letter)
	}
	return Variables{AQL: aql, Mode: mode, Letter: letter, PlanLetter: c.letter, N: c.n, K: c.k, M: EstimateOutside(c.k, c.n)}, nil
}

// EstimateOutside is the estimate of the share of a lot beyond a limit that is
// q sample standard deviations from the mean of n values: I_x(n/2-1, n/2-1) with
// x = max(0, 1/2 - q sqrt(n)/(2 (n-1))). Lieberman and Resnikoff 1955;
// MIL-STD-414, Table B-5. n is at least 3; else NaN.
func EstimateOutside(q float64, n int) float64 {
	if n < 3 || math.IsNaN(q) {
		return math.NaN()
	}
	x := 0.5 - 0.5*q*math.Sqrt(float64(n))/float64(n-1)
	switch {
	case x <= 0:
		return 0
	case x >= 1:
		return 1
	}
	h := float64(n)/2 - 1
	return mathext.RegIncBeta(h, h, x)
}

// Limits are what a measured value must keep. A NaN or nil side is none.
type Limits struct {
	Lower *float64 `json:"lower,omitempty"`
	Upper *float64 `json:"upper,omitempty"`
}

// Measured is how a lot stands by its measured values. Shares are fractions.
type Measured struct {
	N        int      `json:"n"`
	Mean     float64  `json:"mean"`
	S        float64  `json:"s"`
	QLower   *float64 `json:"q_lower,omitempty"` // (mean - lower)/s
	QUpper   *float64 `json:"q_upper,omitempty"` // (upper - mean)/s
	PLower   *float64 `json:"p_lower,omitempty"` // estimated share below
	PUpper   *float64 `json:"p_upper,omitempty"`
	P        float64  `json:"p"`              // outside altogether
	ByK      *bool    `json:"by_k,omitempty"` // the k method's decision; one limit only
	ByM      bool     `json:"by_m"`           // the M method's decision
	Accepted bool     `json:"accepted"`       // by K for one limit, by M for two
	Outside  int      `json:"outside"`        // values that are themselves outside a limit
	Sentence string   `json:"sentence"`       // in English

	Phrase part.Phrase `json:"sentence_phrase"` // the same, to be told in any language
}

// Judge decides by the measured values of the plan's sample, one a unit. With
// one limit the k and the M method decide alike; two limits have one AQL
// together and are decided by M.
func (v Variables) Judge(values []float64, l Limits) (Measured, error) {
	if err := v.checkValues(values, l); err != nil {
		return Measured{}, err
	}
	m := Measured{N: len(values)}
	m.Mean, m.S = stat.MeanStdDev(values, nil)
	if !(m.S > 0) {
		return Measured{}, fmt.Errorf("lots: all %d values are %s; without any spread the s-method can not judge", len(values),
			part.Decimal(values[0]))
	}
	side := func(q float64) (*float64, *float64) {
		p := EstimateOutside(q, v.N)
		m.P += p
		return &q, &p
	}
	byK := true
	if l.Lower != nil {
		m.QLower, m.PLower = side((m.Mean - *l.Lower) / m.S)
		byK = *m.QLower >= v.K
	}
	if l.Upper != nil {
		m.QUpper, m.PUpper = side((*l.Upper - m.Mean) / m.S)
		byK = byK && *m.QUpper >= v.K
	}
	m.ByM = m.P <= v.M
	m.Accepted = m.ByM
	if l.Lower == nil || l.Upper == nil {
		m.ByK, m.Accepted = &byK, byK
	}
	for _, x := range values {
		if l.Lower != nil && x < *l.Lower || l.Upper != nil && x > *l.Upper {
			m.Outside++
		}
	}
	m.Phrase = part.Say("protection.estimate", "outside_percent", percentShort(m.P), "most_percent", percentShort(v.M))
	m.Sentence = lang.English().Say(&m.Phrase)
	return m, nil
}

func (v Variables) checkValues(values []float64, l Limits) error {
	switch {
	case v.N < 3 || !(v.M > 0):
		return fmt.Errorf("lots: the plan for measured values has a sample of %d and M %s; look one up first", v.N, part.Decimal(v.M))
	case l.Lower == nil && l.Upper == nil:
		return fmt.Errorf("lots: a measured value is judged by a lower or an upper limit; there is none")
	case l.Lower != nil && l.Upper != nil && !(*l.Lower < *l.Upper):
		return fmt.Errorf("lots: the lower limit %s is not below the upper limit %s", part.Decimal(*l.Lower), part.Decimal(*l.Upper))
	case len(values) != v.N:
		return fmt.Errorf("lots: the plan needs %d measured values, not %d", v.N, len(values))
	}
	for i, x := range values {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return fmt.Errorf("lots: value %d was not measured; measure the unit, or judge the lot by attributes", i+1)
		}
	}
	return nil
}

func percentShort(p float64) string {
	if p == 0 {
		return "0"
	}
	return short(100 * p)
}

// Accept is the probability that a normally distributed process with the share
// p beyond its one limit is accepted: the limit lies z(1-p) standard deviations
// off the mean, and accepted is where the mean is off it by K sample standard
// deviations or more. Over the sampling of s, by Gauss-Legendre quadrature
// (Resnikoff and Lieberman 1957 have it as a noncentral t).
func (v Variables) Accept(p float64) float64 {
	if v.N < 2 || !(p >= 0 && p <= 1) {
		return math.NaN()
	}
	if p == 0 || p == 1 {
		return 1 - p
	}
	z := distuv.UnitNormal.Quantile(1 - p)
	root, dof := math.Sqrt(float64(v.N)), float64(v.N-1)
	chi := distuv.ChiSquared{K: dof}
	// s in units of sigma has all but 1e-12 of its probability between these.
	low, high := math.Sqrt(chi.Quantile(1e-12)/dof), math.Sqrt(chi.Quantile(1-1e-12)/dof)
	density := func(s float64) float64 { return chi.Prob(dof*s*s) * 2 * dof * s }
	return quad.Fixed(func(s float64) float64 {
		return density(s) * distuv.UnitNormal.CDF(root*(z-v.K*s))
	}, low, high, 200, quad.Legendre{}, 0)
}

// PWith is the share beyond the limit at which the plan accepts with
// probability pa.
func (v Variables) PWith(pa float64) float64 {
	if !(pa > 0 && pa < 1) || v.N < 2 {
		return math.NaN()
	}
	low, high := 0.0, 1.0
	for range 60 {
		if mid := (low + high) / 2; v.Accept(mid) >= pa {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// AOQ and ATI are those of [OC].
func (v Variables) AOQ(p float64) float64 { return v.Accept(p) * p * v.size().unseen() }

// ATI is the average total inspection, as [OC.ATI].
func (v Variables) ATI(p float64) float64 {
	if v.LotSize < 1 {
		return math.NaN()
	}
	return float64(v.N) + (1-v.Accept(p))*float64(max(0, v.LotSize-v.N))
}

func (v Variables) size() OC { return OC{LotSize: v.LotSize, N: v.N} }

// Curve is the plan's table, as [OC.Curve]; ASN is N.
func (v Variables) Curve(n int) []CurvePoint {
	last := v.PWith(0.001)
	if n < 1 || math.IsNaN(last) {
		return nil
	}
	step := roundUp(last / float64(n))
	var out []CurvePoint
	for i := range int(math.Ceil(last/step)) + 1 {
		p := min(float64(i)*step, 1)
		out = append(out, CurvePoint{P: p, Pa: v.Accept(p), AOQ: v.AOQ(p), ATI: v.ATI(p), ASN: float64(v.N)})
	}
	return out
}

// Protection says what the plan lets through of a normally distributed process
// with one limit.
func (v Variables) Protection() Protection {
	t := Protection{P95: hundredfold(v.PWith(0.95)), P50: hundredfold(v.PWith(0.50)), P10: hundredfold(v.PWith(0.10))}
	if t.P95 == nil || t.P10 == nil {
		return t
	}
	at := golden(v.AOQ, 0, 1)
	t.AOQL = hundredfold(v.AOQ(at))
	pa := v.Accept(v.AQL / 100)
	t.PaAtAQL = &pa
	t.Law = "normal"
	return t.say(part.Say("protection.values", "p95", short(*t.P95), "p10", short(*t.P10)), atAQL(v.AQL, pa))
}
