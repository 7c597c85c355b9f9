package lots

import "math"

// Scheme is normal and tightened inspection together, with the switching rules
// between them; reduced inspection and stopping are left out.
type Scheme struct {
	Normal    OC `json:"normal"`
	Tightened OC `json:"tightened"`
}

// Accept is the share of lots that the scheme accepts in the long run at
// quality p. Stephens and Larson 1967.
func (s Scheme) Accept(p float64) float64 {
	return SchemeP(s.Normal.Accept(p), s.Tightened.Accept(p))
}

// SchemeP is the share of lots accepted in the long run where normal inspection
// accepts the share pn and tightened inspection pt: (a pn + b pt)/(a + b), with
// the mean stays a = (2-pn^4)/((1-pn)(1-pn^4)) on normal inspection and
// b = (1-pt^5)/((1-pt) pt^5) on tightened. Stephens and Larson 1967.
func SchemeP(pn, pt float64) float64 {
	switch {
	case !(pn >= 0 && pn <= 1 && pt >= 0 && pt <= 1):
		return math.NaN()
	case pn == 1:
		return 1 // never leaves normal
	case pt == 0:
		return 0 // never leaves tightened
	}
	n4 := math.Pow(pn, 4)
	a := (2 - n4) / ((1 - pn) * (1 - n4))
	// The quotient (1-pt^5)/(1-pt) as its sum, which has no 0/0 at 1.
	b := (1 + pt*(1+pt*(1+pt*(1+pt)))) / math.Pow(pt, 5)
	if math.IsInf(a, 1) {
		return pn
	}
	if math.IsInf(b, 1) {
		return pt
	}
	return (a*pn + b*pt) / (a + b)
}

// PWith is the quality at which the scheme accepts the share pa of lots.
func (s Scheme) PWith(pa float64) float64 {
	low, high := s.Tightened.PWith(pa), s.Normal.PWith(pa) // the scheme lies between
	if math.IsNaN(low) || math.IsNaN(high) {
		return math.NaN()
	}
	return lastAccepted(s.Accept, pa, min(low, high), max(low, high))
}

// SchemeOf is the scheme of a plan: its code letter and AQL on normal and on
// tightened inspection. What is tightened by an arrow has a sample of its own.
func SchemeOf(s Single) (Scheme, error) {
	n, err := lookup(s.LotSize, s.Level, s.AQL, Normal, s.PerHundred)
	if err != nil {
		return Scheme{}, err
	}
	t, err := lookup(s.LotSize, s.Level, s.AQL, Tightened, s.PerHundred)
	if err != nil {
		return Scheme{}, err
	}
	return Scheme{n.OC(), t.OC()}, nil
}
