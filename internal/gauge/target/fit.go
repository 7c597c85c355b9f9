package target

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"finishbench/internal/stats/robust"
)

// model is a least-squares problem: n residuals of m parameters. row gives
// residual i and writes its derivatives to slope.
type model struct {
	n, m  int
	row   func(p []float64, i int, slope []float64) float64
	valid func(p []float64) bool // nil: everything is
	least map[int]float64        // least value of a parameter; it stays there where the data want less
}

// fitted is a solution with what its scatter says about it.
type fitted struct {
	p     []float64
	cov   *mat.SymDense // of p, from the scatter of the residuals
	sigma float64       // the residuals' standard deviation
}

const (
	fitRounds  = 40
	fitGain    = 1e-6 // relative gain below which the fit is done
	outlierCut = 3.0  // Huber's limit in standard deviations; common practice, no source
)

// solve fits by Levenberg's and Marquardt's damped least squares from p. Where
// soft, single residuals far out count less (Huber 1964: weight limit/|r|). It
// is false where there is no solution.
func (q *model) solve(p []float64, rounds int, soft bool) (*fitted, bool) {
	p = append([]float64(nil), p...)
	weight := make([]float64, q.n)
	for i := range weight {
		weight[i] = 1
	}
	out, ok := q.descend(p, weight, rounds)
	if !ok || !soft {
		return out, ok
	}
	q.downweight(out.p, weight)
	return q.descend(out.p, weight, rounds)
}

// downweight sets Huber's weights about the fit p.
func (q *model) downweight(p, weight []float64) {
	slope := make([]float64, q.m)
	r := make([]float64, q.n)
	sum := 0.0
	for i := range r {
		r[i] = math.Abs(q.row(p, i, slope))
		sum += r[i] * r[i]
	}
	// No less than the root mean square: where the model is near perfect, its few
	// worst pixels are those that hold the mark's place.
	limit := max(outlierCut*1.4826*robust.Quantile(r, 0.5), math.Sqrt(sum/float64(q.n)))
	for i, v := range r {
		weight[i] = 1
		if v > limit {
			weight[i] = limit / v
		}
	}
}

// descend is one damped least-squares fit with fixed weights.
func (q *model) descend(p, weight []float64, rounds int) (*fitted, bool) {
	if q.n <= q.m {
		return nil, false
	}
	type state struct {
		p []float64
		h *mat.SymDense
		g []float64
	}
	h, g, cost := q.normal(p, weight)
	at, cost, _ := robust.Descend(robust.Descent{Rounds: rounds, Gain: fitGain, Most: 1e10}, state{p, h, g}, cost,
		func(at state, damp float64) (state, float64) {
			trial, ok := q.dampedStep(at.p, at.h, at.g, damp)
			if !ok || q.valid != nil && !q.valid(trial) {
				return at, math.Inf(1)
			}
			h, g, cost := q.normal(trial, weight)
			return state{trial, h, g}, cost
		})
	p, h, g = at.p, at.h, at.g
	sum := 0.0
	for _, w := range weight {
		sum += w
	}
	if !(sum > float64(q.m)) || math.IsNaN(cost) {
		return nil, false
	}
	q.hold(p, h, g)
	cov, ok := robust.Inverse(h)
	if !ok {
		return nil, false
	}
	s2 := cost / (sum - float64(q.m))
	cov.ScaleSym(s2, cov)
	return &fitted{p: p, cov: cov, sigma: math.Sqrt(s2)}, true
}

// normal builds the normal equations: slopes' products, gradient, cost.
func (q *model) normal(p, weight []float64) (*mat.SymDense, []float64, float64) {
	m := q.m
	h, g, slope := make([]float64, m*m), make([]float64, m), make([]float64, m)
	cost := 0.0
	for i := range q.n {
		r := q.row(p, i, slope)
		w := weight[i]
		cost += w * r * r
		for k, s := range slope {
			s *= w
			g[k] += s * r
			line := h[k*m : (k+1)*m]
			for l := k; l < m; l++ {
				line[l] += s * slope[l]
			}
		}
	}
	return mat.NewSymDense(m, h), g, cost
}

// dampedStep is p less the solution of (h + damp diag h) step = g, with
// parameters at their least value held where the step would go below.
func (q *model) dampedStep(p []float64, h *mat.SymDense, g []float64, damp float64) ([]float64, bool) {
	a := robust.Damped(h, 0)
	b := append([]float64(nil), g...)
	q.hold(p, a, b)
	step, ok := robust.SolveDamped(a, b, damp)
	for k := range step {
		step[k] = p[k] - step[k]
		if low, ok := q.least[k]; ok {
			step[k] = max(step[k], low)
		}
	}
	return step, ok
}

// hold takes parameters that are at their least value, and would go below, out of
// the equations.
func (q *model) hold(p []float64, h *mat.SymDense, g []float64) {
	for k, low := range q.least {
		if p[k] > low || g[k] <= 0 {
			continue
		}
		for i := range g {
			if i != k {
				h.SetSym(i, k, 0)
			}
		}
		if h.At(k, k) == 0 {
			h.SetSym(k, k, 1)
		}
		g[k] = 0
	}
}

// linearFit solves rows of known values by least squares: beta with the least
// sum of (y - x beta)^2.
func linearFit(x [][]float64, y []float64) ([]float64, bool) {
	if len(x) == 0 || len(x) < len(x[0]) {
		return nil, false
	}
	a := mat.NewDense(len(x), len(x[0]), nil)
	for i, r := range x {
		a.SetRow(i, r)
	}
	var beta mat.VecDense
	if err := beta.SolveVec(a, mat.NewVecDense(len(y), y)); err != nil {
		return nil, false
	}
	return beta.RawVector().Data, true
}
