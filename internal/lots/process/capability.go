package process

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"finishbench/internal/stats/charts"
	"finishbench/internal/stats/study"
)

// Index is a capability index with its two-sided bounds; NaN: there is none.
type Index struct {
	Value  float64
	Bounds study.Bounds
}

func noIndex() Index {
	return Index{math.NaN(), study.Bounds{Lower: math.NaN(), Upper: math.NaN()}}
}

// CapabilityOptions are limits and how to reckon.
type CapabilityOptions struct {
	Lower, Upper float64 // NaN: no limit on that side; at least one
	Target       float64 // NaN: none
	Confidence   float64 // of all bounds; 0: 0.95
	Seed         uint64  // of the resampling behind the percentiles' bounds
	// Gauge is the gauge's standard uncertainty of one value, in the unit of the
	// values; NaN or 0: not known. It is told as a share of the spread, not taken off.
	Gauge float64
}

// Capability sets the spread of a process beside its limits. C indices rest on
// the spread within subgroups, P indices on that of all values: where the process
// wanders the first flatter it.
type Capability struct {
	CapabilityOptions
	N                  int
	Mean, SD           float64 // of all values
	SigmaWithin        float64 // within subgroups, or from moving ranges
	DOFWithin          float64 // degrees of freedom that this is worth
	Pooled             bool    // SigmaWithin is from subgroups that are not all whole: the root of their mean variance
	Cp, Cpl, Cpu, Cpk  Index
	Pp, Ppl, Ppu, Ppk  Index
	Cpm                Index // Pp with the distance from the target in the spread
	Outside            study.Share
	ExpectedOutsidePPM float64 // if the values were normal, per million
	Normality          Normality
	Percentiles        Percentiles
	// Points of the level's and the spread's chart beyond their limits: the indices say little where the process is not stable.
	Calls      int
	GaugeShare float64 // of the variance of all values; NaN: not known
}

// leastValues is from how many values on indices are given (common practice, no
// source: below it the bounds say little).
const leastValues = 8

// Capable computes the indices of measured values in subgroups of one size (1:
// single values in order of time). Values that are NaN were not measured.
func Capable(groups [][]float64, k charts.Kind, o CapabilityOptions) (Capability, error) {
	if o.Confidence == 0 {
		o.Confidence = 0.95
	}
	c := Capability{CapabilityOptions: o}
	if err := o.check(); err != nil {
		return c, err
	}
	var all []float64
	n := 0
	for _, g := range groups {
		all = append(all, present(g)...)
		n = max(n, len(g))
	}
	if c.N = len(all); c.N < leastValues {
		return c, fmt.Errorf("process: capability of %d values: at least %d are needed", c.N, leastValues)
	}
	c.Mean, c.SD = meanSD(all)
	if err := c.within(groups, k, n); err != nil {
		return c, err
	}
	if c.SD == 0 || c.SigmaWithin == 0 {
		return c, fmt.Errorf("process: capability of %d values: they do not differ; the gauge or the rounding is too coarse to tell", c.N)
	}
	c.indices()
	lo, hi := o.Lower, o.Upper
	var err error
	c.Outside, err = study.NewShare(int(math.Round(shareOutside(all, lo, hi)*float64(c.N))), c.N, o.Confidence, study.ClopperPearsonExact)
	if err != nil {
		return c, err
	}
	c.ExpectedOutsidePPM = 1e6 * transform{lambda: 1, width: 1, centre: c.Mean, sd: c.SD}.outside(lo, hi)
	c.Normality, _ = AndersonDarling(all) // NaN where it can not be tested
	c.Percentiles = percentilesOf(all, lo, hi, o.Confidence, o.Seed)
	c.GaugeShare = math.NaN()
	if o.Gauge > 0 {
		c.GaugeShare = o.Gauge * o.Gauge / (c.SD * c.SD)
	}
	return c, nil
}

// within finds the spread within subgroups, by the charts where all are whole,
// else by pooling what each has: sum (n_i - 1) s_i^2 over sum (n_i - 1). NaN where no
// subgroup, and no two neighbours of single values, have two.
func (c *Capability) within(groups [][]float64, k charts.Kind, n int) error {
	level, spread, err := charts.Measured(k, groups, charts.Options{Rules: beyond()})
	if err != nil {
		return err
	}
	c.Calls = len(level.Signals) + len(spread.Signals)
	c.SigmaWithin = level.Limits[0].Sigma * math.Sqrt(float64(n))
	c.DOFWithin = dofWithin(k, n, counted(spread.Values))
	squares, dof := 0.0, 0
	for _, g := range groups {
		if v := present(g); len(v) > 0 && len(v) < n {
			c.Pooled = true
		}
	}
	if k == charts.Individuals || !c.Pooled {
		return nil
	}
	for _, g := range groups {
		if v := present(g); len(v) > 1 {
			_, s := meanSD(v)
			squares, dof = squares+float64(len(v)-1)*s*s, dof+len(v)-1
		}
	}
	c.SigmaWithin, c.DOFWithin = math.Sqrt(squares/float64(dof)), float64(dof) // NaN for none
	return nil
}

func beyond() []charts.Rule {
	r, err := charts.Rules("beyond")
	if err != nil {
		panic(err) // the word is the package's own
	}
	return r
}

func (o CapabilityOptions) check() error {
	switch {
	case math.IsNaN(o.Lower) && math.IsNaN(o.Upper):
		return fmt.Errorf("process: capability without a limit: give at least one")
	case o.Lower >= o.Upper:
		return fmt.Errorf("process: capability between %g and %g: the lower limit must be below the upper one", o.Lower, o.Upper)
	case math.IsInf(o.Lower, 0) || math.IsInf(o.Upper, 0) || math.IsInf(o.Target, 0):
		return fmt.Errorf("process: capability with an infinite limit or target: leave out what there is none of")
	case o.Target < o.Lower || o.Target > o.Upper:
		return fmt.Errorf("process: capability with target %g outside of the limits %g to %g", o.Target, o.Lower, o.Upper)
	case !(o.Confidence > 0 && o.Confidence < 1):
		return fmt.Errorf("process: a confidence of %g: it lies between 0 and 1", o.Confidence)
	}
	return nil
}

func counted(v []float64) int { return len(present(v)) }

// dofWithin is how many degrees of freedom a chi-squared estimate would need to
// scatter as the mean of m spreads does: 1/(2 v^2), v its relative standard
// deviation. Neighbouring moving ranges share a value: with correlation -1/2 of
// the differences, the covariance of their sizes is (4/pi)(sqrt(3)/2 + pi/12 - 1)
// sigma^2, from the mean of |xy| of two normal values.
func dofWithin(k charts.Kind, n, m int) float64 {
	if m < 1 {
		return math.NaN()
	}
	g := float64(m)
	switch k {
	case charts.MeansSDs:
		c4 := charts.C4(n)
		return g * c4 * c4 / (2 * (1 - c4*c4))
	case charts.MeansRanges:
		d2, d3 := charts.D2(n), charts.D3(n)
		return g * d2 * d2 / (2 * d3 * d3)
	}
	mean := 2 / math.Sqrt(math.Pi)
	variance := 2 - mean*mean
	neighbours := 4 / math.Pi * (math.Sqrt(3)/2 + math.Pi/12 - 1)
	return g * mean * mean / (2 * (variance + 2*neighbours*(g-1)/g))
}

func (c *Capability) indices() {
	n, conf, overall := float64(c.N), c.Confidence, float64(c.N-1)
	cp, cpl, cpu, cpk := Indices(c.Mean, c.SigmaWithin, c.Lower, c.Upper)
	c.Cp = Index{cp, CpBounds(cp, c.DOFWithin, conf)}
	pp, ppl, ppu, ppk := Indices(c.Mean, c.SD, c.Lower, c.Upper)
	c.Pp = Index{pp, CpBounds(pp, overall, conf)}
	for _, x := range []struct {
		to    *Index
		value float64
		dof   float64
	}{{&c.Cpl, cpl, c.DOFWithin}, {&c.Cpu, cpu, c.DOFWithin}, {&c.Cpk, cpk, c.DOFWithin}, {&c.Ppl, ppl, overall}, {&c.Ppu, ppu, overall},
		{&c.Ppk, ppk, overall}} {
		*x.to = Index{x.value, CpkBounds(x.value, n, x.dof, conf)}
	}
	c.Cpm = noIndex()
	if !math.IsNaN(c.Target + c.Lower + c.Upper) {
		c.Cpm.Value = (c.Upper - c.Lower) / (6 * math.Hypot(c.SD, c.Mean-c.Target))
		// Boyles, J. Qual. Technol. 23, 1991, 17-26 (from memory).
		x := (c.Mean - c.Target) / c.SD
		c.Cpm.Bounds = CpBounds(c.Cpm.Value, n*(1+x*x)*(1+x*x)/(1+2*x*x), conf)
	}
}

// Indices are Cp, those of either side, and the lesser of the two (NIST/SEMATECH
// e-Handbook 6.1.6); NaN limits are none.
func Indices(mean, sigma, lower, upper float64) (cp, cpl, cpu, cpk float64) {
	cp = (upper - lower) / (6 * sigma)
	cpl, cpu = (mean-lower)/(3*sigma), (upper-mean)/(3*sigma)
	return cp, cpl, cpu, lesser(cpl, cpu)
}

// CpBounds are the bounds of an index that goes as 1/sigma, from the chi-squared
// distribution: cp sqrt(chi2(a/2)/dof) to cp sqrt(chi2(1-a/2)/dof) (Montgomery,
// "Introduction to Statistical Quality Control"; from memory).
func CpBounds(cp, dof, confidence float64) study.Bounds {
	if math.IsNaN(cp) || !(dof > 0) {
		return study.Bounds{Lower: math.NaN(), Upper: math.NaN()}
	}
	// The gamma distribution takes fractions of a degree of freedom.
	chi := distuv.ChiSquared{K: dof}
	return study.Bounds{Lower: cp * math.Sqrt(chi.Quantile((1-confidence)/2)/dof),
		Upper: cp * math.Sqrt(chi.Quantile((1+confidence)/2)/dof)}
}

// CpkBounds are the bounds of an index of one side: cpk -+ z sqrt(1/(9n) +
// cpk^2/(2 dof)) (Bissell, Applied Statistics 39, 1990, 331-340; from memory).
func CpkBounds(cpk, n, dof, confidence float64) study.Bounds {
	half := distuv.UnitNormal.Quantile((1+confidence)/2) * math.Sqrt(1/(9*n)+cpk*cpk/(2*dof))
	return study.Bounds{Lower: cpk - half, Upper: cpk + half}
}
