package study

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// errNoOptimum says that the likelihood has no maximum, or none was found.
var errNoOptimum = lang.Error(part.Say("study.fit.no_optimum"))

// logistic is a logistic regression fitted to grouped counts.
type logistic struct {
	beta     []float64
	cov      *mat.SymDense // inverse of the information
	logLik   float64       // without the binomial coefficients, which do not depend on beta
	deviance float64       // against one share for each group
	top      float64       // the logarithm of what is largest: with Firth's penalty, where it was fitted with it
}

// fitLogistic fits logit(p) = rows·beta to found out of of by maximum likelihood:
// Newton's method, which here is iteratively reweighted least squares (McCullagh
// & Nelder 1989, section 4.4), with steps damped until the likelihood rises. With
// firth the likelihood is penalised by the root of the information's determinant
// (Firth 1993, Biometrika 80:27), which has a maximum even where the plain one
// has none (Heinze & Schemper 2002, Stat. Med. 21:2409).
func fitLogistic(rows [][]float64, of, found []float64, firth bool) (logistic, error) {
	first := likelihood(rows, of, found, make([]float64, len(rows[0])), firth)
	top, _, _ := robust.Descend(robust.Descent{Rounds: 200, Most: 1e12}, first, -first.value,
		func(at likely, damp float64) (likely, float64) {
			step, ok := robust.SolveDamped(at.info, at.score, damp)
			if !ok {
				return at, math.Inf(1)
			}
			for i, b := range at.beta {
				step[i] += b
			}
			next := likelihood(rows, of, found, step, firth)
			return next, -next.value
		})
	cov, ok := robust.Inverse(top.info)
	step, ok2 := robust.SolveDamped(top.info, top.score, 0)
	if !ok || !ok2 {
		return logistic{}, errNoOptimum
	}
	for i, d := range step { // at the top another step is below a millionth of the standard errors
		if !(math.Abs(d) <= 1e-6*math.Sqrt(cov.At(i, i))) {
			return logistic{}, errNoOptimum
		}
	}
	return logistic{beta: top.beta, cov: cov, top: top.value, deviance: devianceOf(rows, of, found, top.beta),
		logLik: likelihood(rows, of, found, top.beta, false).value}, nil
}

// likely is a curve and its (penalised) log likelihood, -Inf where there is none,
// with Firth's score and the information.
type likely struct {
	beta  []float64
	value float64
	score []float64
	info  *mat.SymDense
}

func likelihood(rows [][]float64, of, found, beta []float64, firth bool) likely {
	k := len(beta)
	at := likely{beta: beta, score: make([]float64, k), info: mat.NewSymDense(k, nil)}
	for i, r := range rows {
		eta := dot(r, beta)
		at.value += found[i]*eta - of[i]*softplus(eta)
		p := expit(eta)
		for a := range k {
			at.score[a] += (found[i] - of[i]*p) * r[a]
		}
		at.info.SymRankOne(at.info, of[i]*p*(1-p), mat.NewVecDense(k, r))
	}
	if firth {
		var chol mat.Cholesky
		inv, ok := robust.Inverse(at.info)
		if !ok || !chol.Factorize(at.info) {
			at.value = math.Inf(-1)
			return at
		}
		at.value += chol.LogDet() / 2
		for i, r := range rows {
			p, row := expit(dot(r, beta)), mat.NewVecDense(k, r)
			leverage := of[i] * p * (1 - p) * mat.Inner(row, inv, row)
			for a := range k {
				at.score[a] += leverage * (0.5 - p) * r[a]
			}
		}
	}
	return at
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
