package robust

import "math"

// Biweight fits values by a sum of terms, one row of terms a value, by least squares with Tukey's biweight, its width
// 4.685 standard deviations (Beaton and Tukey 1974, Technometrics 16, 147) told by the median of what is off.
type Biweight struct {
	Rounds int     // how often weights are told and the fit made anew
	Least  float64 // the least standard deviation that counts,
	Share  float64 // or as this share of the first term's fit, where that is more
}

// madToSD turns the median absolute deviation of a normal sample into its standard deviation: 1 over the normal
// quantile of 3/4.
const madToSD = 1.4826

// Fit goes on from a first fit, in place. Where the equations have no one solution the last fit stands.
func (b Biweight) Fit(fit []float64, rows [][]float64, v []float64) {
	m := len(fit)
	off, dev, a := make([]float64, len(v)), make([]float64, len(v)), make([]float64, m*(m+1))
	for range b.Rounds {
		for i, row := range rows {
			off[i] = v[i]
			for k, t := range row {
				off[i] -= t * fit[k]
			}
			dev[i] = math.Abs(off[i])
		}
		sd := max(b.Least, b.Share*math.Abs(fit[0]))
		if len(dev) > 0 {
			sd = max(sd, madToSD*Nth(dev, len(dev)/2))
		}
		clear(a)
		for i, row := range rows {
			u := off[i] / (4.685 * sd)
			if !(math.Abs(u) < 1) {
				continue
			}
			w := (1 - u*u) * (1 - u*u)
			for k, t := range row {
				to := a[k*(m+1) : (k+1)*(m+1)]
				for j := k; j < m; j++ {
					to[j] += w * t * row[j]
				}
				to[m] += w * t * v[i]
			}
		}
		x := Solve(a, m)
		if x == nil {
			return
		}
		copy(fit, x)
	}
}

// Solve solves n symmetric equations by Cholesky's way, the upper half given row by row with the
// right side behind each; nil where they have no one solution. It changes a.
func Solve(a []float64, n int) []float64 {
	m := n + 1
	for i := range n {
		for k := range i {
			f := a[k*m+i]
			for j := i; j <= n; j++ {
				a[i*m+j] -= f * a[k*m+j]
			}
		}
		d := a[i*m+i]
		if !(d > 1e-12) {
			return nil
		}
		d = math.Sqrt(d)
		for j := i; j <= n; j++ {
			a[i*m+j] /= d
		}
	}
	x := make([]float64, n)
	for i := n - 1; i >= 0; i-- {
		s := a[i*m+n]
		for j := i + 1; j < n; j++ {
			s -= a[i*m+j] * x[j]
		}
		x[i] = s / a[i*m+i]
	}
	return x
}
