package robust

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// scaled gives a positive semidefinite matrix with a diagonal of 1, so that the
// units of its rows do not matter, and the factors that do this.
func scaled(s *mat.SymDense) (*mat.SymDense, []float64, bool) {
	n := s.SymmetricDim()
	d, q := make([]float64, n), mat.NewSymDense(n, nil)
	for k := range d {
		if d[k] = 1 / math.Sqrt(s.At(k, k)); math.IsInf(d[k], 0) || math.IsNaN(d[k]) {
			return nil, nil, false
		}
	}
	for r := range n {
		for c := r; c < n; c++ {
			q.SetSym(r, c, s.At(r, c)*d[r]*d[c])
		}
	}
	return q, d, true
}

// Inverse is that of a positive definite matrix.
func Inverse(s *mat.SymDense) (*mat.SymDense, bool) {
	q, d, ok := scaled(s)
	var chol mat.Cholesky
	if !ok || !chol.Factorize(q) {
		return nil, false
	}
	var m mat.SymDense
	if err := chol.InverseTo(&m); err != nil && !errors.As(err, new(mat.Condition)) {
		return nil, false
	}
	for r := range d {
		for c := r; c < len(d); c++ {
			m.SetSym(r, c, m.At(r, c)*d[r]*d[c])
		}
	}
	return &m, true
}

// Damped is a matrix with each term of its diagonal raised by the share damp.
func Damped(s *mat.SymDense, damp float64) *mat.SymDense {
	out := mat.NewSymDense(s.SymmetricDim(), nil)
	out.CopySym(s)
	for k := range s.SymmetricDim() {
		out.SetSym(k, k, s.At(k, k)*(1+damp))
	}
	return out
}

// SolveDamped gives x of [Damped](s, damp) x = rhs, s positive definite; nothing for
// nothing.
func SolveDamped(s *mat.SymDense, rhs []float64, damp float64) ([]float64, bool) {
	if len(rhs) == 0 {
		return nil, true
	}
	q, d, ok := scaled(Damped(s, damp))
	var chol mat.Cholesky
	if !ok || !chol.Factorize(q) {
		return nil, false
	}
	x, y := make([]float64, len(d)), make([]float64, len(d))
	for k := range d {
		y[k] = rhs[k] * d[k]
	}
	if err := chol.SolveVecTo(mat.NewVecDense(len(d), x), mat.NewVecDense(len(d), y)); err != nil && !errors.As(err, new(mat.Condition)) {
		return nil, false
	}
	for k := range d {
		x[k] *= d[k]
	}
	return x, true
}
