package charts

import (
	"fmt"
	"math"
)

// Averaged is the kind of chart that [EWMA] makes.
const Averaged Kind = "EWMA"

// EWMAOptions say how values are averaged over time.
type EWMAOptions struct {
	Target float64 // where the process should be; the average starts there
	Sigma  float64 // standard deviation of a value (a mean of n: sigma/sqrt(n)), above 0
	Lambda float64 // weight of the newest value, above 0 up to 1; 0: 0.2 (common practice, no source)
	Widths float64 // limits, in standard deviations of the average; 0: 3
	// Steady draws the limits that are reached in the long run at once; else the
	// first ones are as narrow as they truly are.
	Steady bool
}

// EWMA makes a chart of the exponentially weighted moving average z_i = lambda
// x_i + (1-lambda) z_(i-1), z_0 the target, with limits of target +- L sigma
// sqrt(lambda/(2-lambda) (1-(1-lambda)^2i)) (Roberts, Technometrics 1, 1959;
// NIST/SEMATECH e-Handbook 6.3.2.4). It shows small lasting shifts sooner than
// single values do. A value that was not measured is passed over: the average
// stays, and the point is NaN.
func EWMA(values []float64, o EWMAOptions) (Chart, error) {
	if o.Lambda == 0 {
		o.Lambda = 0.2
	}
	if o.Widths == 0 {
		o.Widths = 3
	}
	if err := checkLevel("EWMA", values, o.Target, o.Sigma); err != nil {
		return Chart{}, err
	}
	if !(o.Lambda > 0 && o.Lambda <= 1) || !(o.Widths > 0) || math.IsInf(o.Widths, 0) {
		return Chart{}, fmt.Errorf("charts: EWMA with weight %g and limits of %g standard deviations: the weight lies above 0 and up to "+
			"1, the limits above 0", o.Lambda, o.Widths)
	}
	c, _ := newChart(Averaged, len(values), nil)
	c.Stretches[0].Given, c.Stretches[0].Fixed = &Standard{Centre: o.Target, Sigma: o.Sigma}, true
	beyond := EWMARule()
	beyond.Text = fmt.Sprintf("the average beyond %g of its standard deviations", o.Widths)
	z, left := o.Target, 1.0 // left: what remains of the start, (1-lambda)^2i
	for i, x := range values {
		if math.IsNaN(x) {
			continue
		}
		z = o.Lambda*x + (1-o.Lambda)*z
		left *= (1 - o.Lambda) * (1 - o.Lambda)
		share := o.Lambda / (2 - o.Lambda)
		if !o.Steady {
			share *= 1 - left
		}
		sd := o.Sigma * math.Sqrt(share)
		c.Values[i], c.Limits[i] = z, Limits{o.Target, o.Target - o.Widths*sd, o.Target + o.Widths*sd, sd}
		if z > c.Limits[i].Upper || z < c.Limits[i].Lower {
			c.Signals = append(c.Signals, Signal{i, beyond})
		}
	}
	return c, nil
}

// EWMARule is what a signal of an EWMA chart says.
func EWMARule() Rule {
	return Rule{Name: "average-beyond", Text: "the average beyond its limits", need: 1, Number: "E"}
}

// checkLevel refuses what neither EWMA nor CUSUM can be made of.
func checkLevel(what string, values []float64, target, sigma float64) error {
	if !(sigma > 0) || math.IsInf(sigma, 0) || math.IsNaN(target) || math.IsInf(target, 0) {
		return fmt.Errorf("charts: %s with target %g and standard deviation %g: both must be numbers, the second above 0", what, target,
			sigma)
	}
	for i, x := range values {
		if math.IsInf(x, 0) {
			return fmt.Errorf("charts: %s: value %d is infinite", what, i+1)
		}
	}
	return nil
}
