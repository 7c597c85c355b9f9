package learn

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// Params say how is learned.
type Params struct {
	Prior float64 // how much the rules' call counts before any label, natural logarithm of odds
	Ridge float64 // 1 / variance of a weight before any label, > 0

	MinPerKind, MinUnitsPerKind int // a kind with fewer labels, or from fewer units, is left to the rules
	MinLabels, MinUnits         int // in all
	Folds                       int // the test's
	MaxP                        float64
}

// DefaultParams returns the shipped values. Prior and ridge were chosen on drawn
// faces (testdata/README.md); the others are common practice, no source.
func DefaultParams() Params {
	return Params{Prior: 2.5, Ridge: 3, MinPerKind: 10, MinUnitsPerKind: 4, MinLabels: 40, MinUnits: 8, Folds: 8, MaxP: 0.05}
}

// fit finds the weights that are likeliest given the labels, where each weight
// was drawn from a normal distribution about 0 of variance 1/ridge before
// (ridge penalty: Hoerl and Kennard 1970; for logistic regression le Cessie and
// van Houwelingen 1992, from memory), by Newton's method. The rules' call comes in
// as a fixed offset, so that without labels the model is the rules. Examples of
// which label or rules' call is none of the kinds are left out.
func fit(examples []Example, kinds []part.Kind, p Params) (*Model, error) {
	if !(p.Ridge > 0) {
		return nil, fmt.Errorf("learn: a ridge of %g: it must be above 0", p.Ridge)
	}
	used := slices.DeleteFunc(slices.Clone(examples), func(e Example) bool {
		return !slices.Contains(kinds, e.Kind) || !slices.Contains(kinds, e.Rule)
	})
	m := &Model{Schema: modelSchema, Labels: len(used), Units: len(unitsOf(used)), Prior: p.Prior, Ridge: p.Ridge,
		Features: standardise(used)}
	for _, k := range kinds {
		m.Kinds = append(m.Kinds, KindWeights{Kind: k, Rule: map[part.Kind]float64{}, Weights: map[string]float64{}})
	}
	n := newNewton(m, used, kinds)
	if err := n.solve(); err != nil {
		return nil, err
	}
	n.into(m)
	return m, nil
}

// standardise tells each feature's mean and standard deviation.
func standardise(examples []Example) []ModelFeature {
	out := make([]ModelFeature, len(features))
	for i, f := range features {
		var n, sum, squares float64
		for _, e := range examples {
			if v := f.take(e.Features); finite(v) {
				n, sum, squares = n+1, sum+v, squares+v*v
			}
		}
		out[i] = ModelFeature{f, 0, 1}
		if n > 0 {
			out[i].Mean = sum / n
			if sd := math.Sqrt(math.Max(0, squares/n-out[i].Mean*out[i].Mean)); sd > 1e-9 {
				out[i].SD = sd
			}
		}
	}
	return out
}

// newton is the search for the weights. Of each kind these are, in one vector:
// start, one for each kind that the rules call, one for each feature.
type newton struct {
	kinds  []part.Kind
	x      [][]float64 // by example: 1, the rules' call as 0 and 1, features
	offset [][]float64 // by example and kind
	label  []int
	ridge  float64
	d, k   int       // length of x; kinds
	w      []float64 // k times d
}

func newNewton(m *Model, examples []Example, kinds []part.Kind) *newton {
	n := &newton{kinds: kinds, ridge: m.Ridge, k: len(kinds), d: 1 + len(kinds) + len(features)}
	n.w = make([]float64, n.k*n.d)
	for _, e := range examples {
		x := make([]float64, 0, n.d)
		x = append(x, 1)
		off := make([]float64, n.k)
		for i, k := range kinds {
			said := 0.0
			if e.Rule == k {
				said, off[i] = 1, m.Prior
			}
			x = append(x, said)
		}
		n.x = append(n.x, append(x, m.standard(e.Features)...))
		n.offset = append(n.offset, off)
		n.label = append(n.label, slices.Index(kinds, e.Kind))
	}
	return n
}

func (n *newton) shares(i int, w []float64) []float64 {
	s := slices.Clone(n.offset[i])
	for k := range s {
		for j, v := range n.x[i] {
			s[k] += w[k*n.d+j] * v
		}
	}
	return softmax(s)
}

// cost is minus the logarithm of what is to be largest.
func (n *newton) cost(w []float64) float64 {
	c := 0.0
	for i := range n.x {
		c -= math.Log(math.Max(n.shares(i, w)[n.label[i]], 1e-300))
	}
	for _, v := range w {
		c += n.ridge / 2 * v * v
	}
	return c
}

// solve goes on from the weights until the cost, of which a part in 1e12 is
// nothing, falls no further.
func (n *newton) solve() error {
	type state struct {
		w, g []float64
		h    *mat.SymDense
	}
	g, h := n.slopes(n.w)
	at, _, rested := robust.Descend(robust.Descent{Rounds: 60, Gain: 1e-12, Most: 1e9}, state{n.w, g, h}, n.cost(n.w),
		func(at state, damp float64) (state, float64) {
			w, ok := robust.SolveDamped(at.h, at.g, damp)
			if !ok {
				return at, math.Inf(1)
			}
			for j := range w {
				w[j] = at.w[j] - w[j]
			}
			g, h := n.slopes(w)
			return state{w, g, h}, n.cost(w)
		})
	if n.w = at.w; !rested {
		return fmt.Errorf("learn: the weights cannot be found: the features of the labels are not usable")
	}
	return nil
}

// slopes are the cost's gradient and its matrix of second derivatives.
func (n *newton) slopes(w []float64) ([]float64, *mat.SymDense) {
	size := n.k * n.d
	g := make([]float64, size)
	h := mat.NewSymDense(size, nil)
	for i, x := range n.x {
		p := n.shares(i, w)
		for a := range n.k {
			r := p[a]
			if a == n.label[i] {
				r--
			}
			for j, v := range x {
				g[a*n.d+j] += r * v
			}
			for b := a; b < n.k; b++ {
				f := -p[a] * p[b]
				if a == b {
					f += p[a]
				}
				n.outer(h, x, a, b, f)
			}
		}
	}
	for j, v := range w {
		g[j] += n.ridge * v
		h.SetSym(j, j, h.At(j, j)+n.ridge)
	}
	return g, h
}

func (n *newton) outer(h *mat.SymDense, x []float64, a, b int, f float64) {
	raw := h.RawSymmetric()
	for j, v := range x {
		if v == 0 {
			continue
		}
		row := raw.Data[(a*n.d+j)*raw.Stride:]
		from := 0
		if a == b {
			from = j
		}
		for l := from; l < n.d; l++ {
			row[b*n.d+l] += f * v * x[l]
		}
	}
}

// into writes the weights into the model.
func (n *newton) into(m *Model) {
	for k := range m.Kinds {
		w := n.w[k*n.d : (k+1)*n.d]
		m.Kinds[k].Start = rounded(w[0])
		for i, kind := range n.kinds {
			m.Kinds[k].Rule[kind] = rounded(w[1+i])
		}
		for i := range features {
			m.Kinds[k].Weights[features[i].Name] = rounded(w[1+n.k+i])
		}
	}
	for i := range m.Features {
		m.Features[i].Mean, m.Features[i].SD = rounded(m.Features[i].Mean), math.Max(1e-6, rounded(m.Features[i].SD))
	}
}

// rounded keeps a model readable; a millionth changes no call.
func rounded(v float64) float64 { return math.Round(v*1e6) / 1e6 }
