package part

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// Distribution is the form of what is known about an input of a budget.
type Distribution string

// The distributions, with where JCGM 100:2008 (GUM) has their standard
// deviation from.
const (
	Scatter     Distribution = "scatter"     // from repeated readings or residuals, Student's t: 4.2
	Normal      Distribution = "normal"      // told or judged as a standard deviation: 4.3.3, 4.3.4
	Rectangular Distribution = "rectangular" // anything within limits +-a: a/sqrt(3), 4.3.7
	TwoValues   Distribution = "two values"  // either of two, with chances w and 1-w: sqrt(w(1-w)) times their distance, C.3.2
)

// CoverageK is the factor of every expanded uncertainty (JCGM 100:2008, 6.3.3).
const CoverageK = 2.0

// Contribution is one input of an uncertainty budget. Value and U are in Unit;
// Sensitivity is the change of the result, in micrometres, per Unit.
type Contribution struct {
	Name           string       `json:"name"`
	Unit           string       `json:"unit"`            // "px", "um", "1" (a share)
	Value          *float64     `json:"value,omitempty"` // its estimate; absent where it has none of its own (a correction of zero)
	U              float64      `json:"u"`               // standard uncertainty, >= 0
	Distribution   Distribution `json:"distribution"`
	DOF            *float64     `json:"dof,omitempty"` // degrees of freedom of U; absent: U is taken as exact (JCGM 100:2008, G.4.3)
	Sensitivity    float64      `json:"sensitivity_um"`
	ContributionUM float64      `json:"contribution_um"` // |Sensitivity| U, >= 0

	NamePhrase *Phrase `json:"name_phrase,omitempty"` // Name, to be told in any language, where it has numbers in it; else its key is budget.part. and Name
}

// Budget is how the uncertainty of one measured length comes about.
type Budget struct {
	Quantity      string         `json:"quantity"` // "step at 120 deg, left"
	ValueUM       *float64       `json:"value_um,omitempty"`
	Contributions []Contribution `json:"contributions"`
	CombinedUM    float64        `json:"combined_um"`       // standard uncertainty, k = 1
	DOFEff        *float64       `json:"dof_eff,omitempty"` // absent: no part has few degrees of freedom
	K             float64        `json:"k"`
	ExpandedUM    float64        `json:"expanded_um"` // K CombinedUM
	Coverage      float64        `json:"coverage"`    // chance that the interval +-ExpandedUM holds the value, 0..1
}

// NewBudget combines independent contributions by JCGM 100:2008: standard
// uncertainties as squares (5.1.2, equation 10), effective degrees of freedom
// by Welch and Satterthwaite (G.4.1, equation G.2b), coverage of +-2 u by
// Student's t with them (G.3.2). ContributionUM is filled in. A U that is NaN
// makes the result NaN: not known is not nothing.
func NewBudget(quantity string, valueUM float64, cs []Contribution) Budget {
	b := Budget{Quantity: quantity, ValueUM: Num(valueUM), Contributions: cs, K: CoverageK}
	ss, finite := 0.0, 0.0
	for i := range cs {
		c := &cs[i]
		c.ContributionUM = math.Abs(c.Sensitivity) * c.U
		v := c.ContributionUM * c.ContributionUM
		ss += v
		if c.DOF != nil && v > 0 {
			finite += v * v / *c.DOF
		}
	}
	b.CombinedUM = math.Sqrt(ss)
	b.ExpandedUM = b.K * b.CombinedUM
	dof := math.Inf(1)
	if finite > 0 {
		dof = ss * ss / finite
	}
	b.DOFEff, b.Coverage = Num(dof), CoverageOf(b.K, dof)
	return b
}

// Of returns a contribution's share of the combined variance, 0..1; NaN where
// that is zero.
func (b Budget) Of(c Contribution) float64 {
	return c.ContributionUM * c.ContributionUM / (b.CombinedUM * b.CombinedUM)
}

// CoverageOf is the chance that a value lies within k standard uncertainties,
// these having dof degrees of freedom (> 0, may be infinite): Student's t, for
// infinite ones the normal distribution. NaN where k or dof makes no sense.
func CoverageOf(k, dof float64) float64 {
	switch {
	case !(k >= 0) || !(dof > 0):
		return math.NaN()
	case dof > 1e6:
		return math.Erf(k / math.Sqrt2)
	}
	return 1 - mathext.RegIncBeta(dof/2, 0.5, dof/(dof+k*k))
}
