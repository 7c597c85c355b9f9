package study

import (
	"fmt"
	"math"
	"strconv"

	"finishbench/internal/lang"
	"finishbench/internal/part"

	"gonum.org/v1/gonum/stat/distuv"
)

// FitCheck says whether a curve of this form can be right for the data at all.
type FitCheck struct {
	Method    string
	Statistic float64
	DF        int
	P         float64 // probability of a worse one where the form is right
}

// Check tests the form of the curve. Groups of five or more on average are
// tested by the deviance; single targets by Hosmer & Lemeshow (1980), Commun.
// Stat. A 9:1043: up to ten groups of equal numbers by size, chi-square with two
// degrees fewer than groups. False where there are too few targets to tell
// (under 30, common practice, no source).
func (f POD) Check() (FitCheck, bool) {
	k := len(f.Targets)
	if k > 2 && f.Of >= 5*k {
		return newFitCheck("deviance", f.Deviance, k-2), true
	}
	groups := min(10, f.Of/10)
	if groups < 3 {
		return FitCheck{}, false
	}
	chi, cut := f.hosmerLemeshow(groups)
	if cut < 3 {
		return FitCheck{}, false
	}
	return newFitCheck("Hosmer-Lemeshow", chi, cut-2), true
}

// Phrase is the statistic with its degrees of freedom and probability.
func (c FitCheck) Phrase() part.Phrase {
	return part.Say("study.test", "n", strconv.Itoa(c.DF), "statistic", fmt.Sprintf("%.3g", c.Statistic), "p", fmt.Sprintf("%.2g", c.P))
}

// name is the method, or the key of its name.
func (c FitCheck) name() string { return lang.Word("study.method.", c.Method) }

func newFitCheck(method string, statistic float64, df int) FitCheck {
	return FitCheck{method, statistic, df, distuv.ChiSquared{K: float64(df)}.Survival(statistic)}
}

// hosmerLemeshow is the statistic and the number of groups that were cut. Targets
// of one size stay together.
func (f POD) hosmerLemeshow(groups int) (chi float64, cut int) {
	var n, y, e float64
	done := 0
	for i, t := range f.Targets {
		p := expit(f.B0 + f.B1*f.x[i])
		of := float64(t.Of)
		n, y, e = n+of, y+float64(t.Found), e+of*p
		done += t.Of
		if done*groups < (cut+1)*f.Of && i < len(f.Targets)-1 {
			continue
		}
		// The mean probability's variance, as the published statistic has it; it is
		// a little more than the sum of the variances.
		mean := e / n
		if w := n * mean * (1 - mean); w > 1e-12 {
			chi += (y - e) * (y - e) / w
		}
		cut++
		n, y, e = 0, 0, 0
	}
	return chi, cut
}

// SlopeTest is the likelihood ratio test of the slope against none: chi-square
// with one degree of freedom, and its probability.
func (f POD) SlopeTest() (chi, p float64) {
	chi = max(0, f.NullDeviance-f.Deviance)
	return chi, distuv.ChiSquared{K: 1}.Survival(chi)
}

// Curve are n points of the curve between two sizes, evenly spaced on the fit's
// scale, with the band whose sides are each one sided at the confidence.
func (f POD) Curve(from, to float64, n int, confidence float64) (size, p, lower, upper []float64) {
	a, b := f.scaled(from), f.scaled(to)
	for i := range n {
		x := f.unscaled(a + (b-a)*float64(i)/math.Max(1, float64(n-1)))
		band := f.Band(x, confidence)
		size, p, lower, upper = append(size, x), append(p, f.At(x)), append(lower, band.Lower), append(upper, band.Upper)
	}
	return size, p, lower, upper
}
