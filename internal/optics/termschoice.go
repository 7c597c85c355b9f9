package optics

import "math"

// alikeSigma: a choice of distortion terms explains the marks as well as another where they scatter
// about its fit by no more than so many times as much. Marks of one view err alike (print, flatness, how
// corners are found), so that a criterion for independent errors, such as AICc, is far too sure of its
// choice (common practice, no source).
const alikeSigma = 1.1

// AddChoice adds to the lens's covariance and uncertainties what the choice of distortion terms
// may make of it, and fills in UChoice. The choices that explain the marks as well are taken as
// equally possible (JCGM 100:2008, 4.3; averaging over models as in Hoeting et al. 1999,
// Statistical Science 14:382, from memory), so that each parameter, also one that was not fitted, has
// the second moment of what they give, about its own value. A choice that cannot be fitted is passed over.
func (c *Calibration) AddChoice() {
	weight, err := weights(c.source, c.options.Weighted)
	if err != nil {
		return
	}
	var apart [][lensSize]float64 // of the other choices
	var sigmas []float64
	best := c.SigmaPX
	for _, t := range termPlaces {
		if t.terms == c.Terms {
			continue
		}
		o := c.options
		o.Terms = t.terms
		other, err := calibrate(c.source, weight, t.places, o)
		if err != nil {
			continue
		}
		var d [lensSize]float64
		own := c.Lens.list()
		for k, v := range other.Lens.list() {
			d[k] = *v.at - *own[k].at
		}
		apart, sigmas = append(apart, d), append(sigmas, other.SigmaPX)
		best = min(best, other.SigmaPX)
	}
	var add LensCov
	n := 1.0 // the choice itself
	for i, d := range apart {
		if sigmas[i] > alikeSigma*best {
			continue
		}
		n++
		for j := range d {
			for k := range d {
				add[j][k] += d[j] * d[k]
			}
		}
	}
	for k, v := range c.LensU.list() {
		for j := range add {
			c.Cov[j][k] += add[j][k] / n
		}
		*v.at = math.Sqrt(c.Cov[k][k])
		*c.UChoice.list()[k].at = math.Sqrt(add[k][k] / n)
	}
}
