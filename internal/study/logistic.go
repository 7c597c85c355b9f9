package study

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// errNoOptimum says that the likelihood has no maximum, or none was found.
var errNoOptimum = errors.New("the likelihood has no maximum that could be found")

// logistic is a logistic regression fitted to grouped counts.
type logistic struct {
	beta     []float64
	cov      *mat.SymDense // inverse of the information
	logLik   float64       // without the binomial coefficients, which do not depend on beta
	deviance float64       // against one share for each group
}

// fitLogistic fits logit(p) = rows·beta to found out of of by maximum likelihood:
// Newton's method, which here is iteratively reweighted least squares (McCullagh
// & Nelder 1989, section 4.4), with steps halved until the likelihood rises. With
// firth the likelihood is penalised by the root of the information's determinant
// (Firth 1993, Biometrika 80:27), which has a maximum even where the plain one
// has none (Heinze & Schemper 2002, Stat. Med. 21:2409).
func fitLogistic(rows [][]float64, of, found []float64, firth bool) (logistic, error) {
	k := len(rows[0])
	f := logistic{beta: make([]float64, k)}
	best, info, ok := objective(rows, of, found, f.beta, firth)
	if !ok {
		return f, errNoOptimum
	}
	for range 200 {
		step, ok := newtonStep(rows, of, found, f.beta, info, firth)
		if !ok {
			return f, errNoOptimum
		}
		next, value, nextInfo, moved := halved(rows, of, found, f.beta, step, best, firth)
		if !moved {
			break // no smaller step is better: this is the top
		}
		far := 0.0
		for i := range next {
			far = max(far, math.Abs(next[i]-f.beta[i])/(1+math.Abs(next[i])))
		}
		f.beta, best, info = next, value, nextInfo
		if far < 1e-12 {
			break
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(info) {
		return f, errNoOptimum
	}
	f.cov = mat.NewSymDense(k, nil)
	if err := chol.InverseTo(f.cov); err != nil {
		return f, errNoOptimum
	}
	if !atTop(rows, of, found, f, info, firth) {
		return f, errNoOptimum
	}
	f.logLik, _, _ = objective(rows, of, found, f.beta, false)
	f.deviance = devianceOf(rows, of, found, f.beta)
	return f, nil
}

// atTop says whether another step would move by less than a millionth of the
// standard errors.
func atTop(rows [][]float64, of, found []float64, f logistic, info *mat.SymDense, firth bool) bool {
	step, ok := newtonStep(rows, of, found, f.beta, info, firth)
	if !ok {
		return false
	}
	for i, d := range step {
		if !(math.Abs(d) <= 1e-6*math.Sqrt(f.cov.At(i, i))) {
			return false
		}
	}
	return true
}

// halved goes along step, half as far each time, until the objective rises.
func halved(rows [][]float64, of, found, beta, step []float64, best float64, firth bool) (next []float64, value float64, info *mat.SymDense, ok bool) {
	scale := 1.0
	for range 40 {
		next = make([]float64, len(beta))
		for i := range next {
			next[i] = beta[i] + scale*step[i]
		}
		if v, m, fine := objective(rows, of, found, next, firth); fine && v > best {
			return next, v, m, true
		}
		scale /= 2
	}
	return beta, best, nil, false
}

// objective is the (penalised) log likelihood at beta and the information there.
func objective(rows [][]float64, of, found, beta []float64, firth bool) (float64, *mat.SymDense, bool) {
	k := len(beta)
	info := mat.NewSymDense(k, nil)
	sum := 0.0
	for i, r := range rows {
		eta := dot(r, beta)
		sum += found[i]*eta - of[i]*softplus(eta)
		p := expit(eta)
		w := of[i] * p * (1 - p)
		for a := range k {
			for b := a; b < k; b++ {
				info.SetSym(a, b, info.At(a, b)+w*r[a]*r[b])
			}
		}
	}
	if firth {
		var chol mat.Cholesky
		if !chol.Factorize(info) {
			return 0, nil, false
		}
		sum += chol.LogDet() / 2
	}
	return sum, info, !math.IsNaN(sum) && !math.IsInf(sum, 0)
}

// newtonStep is the inverse information times the (Firth's) score.
func newtonStep(rows [][]float64, of, found, beta []float64, info *mat.SymDense, firth bool) ([]float64, bool) {
	k := len(beta)
	var chol mat.Cholesky
	if !chol.Factorize(info) {
		return nil, false
	}
	score := mat.NewVecDense(k, nil)
	for i, r := range rows {
		p := expit(dot(r, beta))
		u := found[i] - of[i]*p
		if firth {
			var v mat.VecDense
			row := mat.NewVecDense(k, r)
			if chol.SolveVecTo(&v, row) != nil {
				return nil, false
			}
			h := of[i] * p * (1 - p) * mat.Dot(row, &v) // leverage of the group
			u += h * (0.5 - p)
		}
		for a := range k {
			score.SetVec(a, score.AtVec(a)+u*r[a])
		}
	}
	var step mat.VecDense
	if chol.SolveVecTo(&step, score) != nil {
		return nil, false
	}
	return step.RawVector().Data, true
}

// devianceOf is twice the log likelihood that one share for each group would
// have more.
func devianceOf(rows [][]float64, of, found, beta []float64) float64 {
	d := 0.0
	for i, r := range rows {
		eta := dot(r, beta)
		y, n := found[i], of[i]
		if y > 0 {
			d += y * (math.Log(y/n) + softplus(-eta))
		}
		if y < n {
			d += (n - y) * (math.Log((n-y)/n) + softplus(eta))
		}
	}
	return 2 * d
}

func dot(a, b []float64) float64 {
	s := 0.0
	for i := range a {
		s += a[i] * b[i]
	}
	return s
}

// softplus is ln(1+e^x), without overflow.
func softplus(x float64) float64 {
	if x > 0 {
		return x + math.Log1p(math.Exp(-x))
	}
	return math.Log1p(math.Exp(x))
}

// expit is the inverse of logit.
func expit(x float64) float64 {
	if x >= 0 {
		return 1 / (1 + math.Exp(-x))
	}
	e := math.Exp(x)
	return e / (1 + e)
}

func logit(p float64) float64 { return math.Log(p / (1 - p)) }
