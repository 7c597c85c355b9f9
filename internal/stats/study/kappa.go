package study

import (
	"errors"
	"fmt"
	"math"

	"finishbench/internal/lang"
	"finishbench/internal/part"

	"gonum.org/v1/gonum/stat/distuv"
)

// Weights says how much of an agreement a near miss is between ordered
// categories.
type Weights string

// The weights of Cohen's kappa.
const (
	NoWeights        Weights = "none"      // only the same category agrees
	LinearWeights    Weights = "linear"    // 1 - |i-j|/(k-1): Cicchetti & Allison (1971)
	QuadraticWeights Weights = "quadratic" // 1 - (i-j)^2/(k-1)^2: Fleiss & Cohen (1973)
)

// ErrNoKappa says that kappa is not defined: by chance alone the raters would
// agree always, because only one category was used.
var ErrNoKappa = lang.Error(part.Say("study.kappa.undefined"))

// Kappa is an agreement beyond chance with its uncertainty. It lies between -1
// and 1; 0 is agreement by chance, 1 full agreement.
type Kappa struct {
	N                  int     // judged pairs (Cohen) or parts (Fleiss)
	Observed, Expected float64 // weighted share of agreement, seen and by chance
	Value              float64
	SE                 float64 // standard error for an interval; NaN where it is not known
	SENull             float64 // standard error where the true kappa is 0, for the test
	SECohen            float64 // the older one of Cohen (1960), unweighted only; else NaN
	Z, P               float64 // test against 0: Value/SENull, two-sided
	Bounds             Bounds  // at the confidence asked for, within -1 ... 1; NaN where the calls do not vary
	Confidence         float64
	Method             string // where SE comes from
}

// Word is kappa in a word, by Landis & Koch (1977), Biometrics 33:159, table 2.
func (k Kappa) Word() string { return KappaWord(k.Value) }

// KappaWord is the word of Landis & Koch (1977) for a kappa; empty for NaN.
func KappaWord(kappa float64) string {
	switch {
	case math.IsNaN(kappa):
		return ""
	case kappa < 0:
		return "poor"
	case kappa <= 0.20:
		return "slight"
	case kappa <= 0.40:
		return "fair"
	case kappa <= 0.60:
		return "moderate"
	case kappa <= 0.80:
		return "substantial"
	}
	return "almost perfect"
}

// CohenKappa is the kappa of two raters (Cohen 1960, Educ. Psychol. Meas. 20:37; weighted: Cohen 1968, Psychol. Bull. 70:213) from a square
// table of counts: table[i][j] pairs called i by the first and j by the second. Standard errors are those of Fleiss, Cohen & Everitt
// (1969), Psychol. Bull. 72:323, for large samples. ErrNoKappa where only one category was used.
func CohenKappa(table [][]int, w Weights, confidence float64) (Kappa, error) {
	p, n, err := proportions(table)
	if err != nil {
		return Kappa{}, err
	}
	if err := checkConfidence(confidence); err != nil {
		return Kappa{}, err
	}
	weight, err := weightTable(len(p), w)
	if err != nil {
		return Kappa{}, err
	}
	rows, cols := margins(p)
	po, pe := weightedAgreement(p, rows, cols, weight)
	k := Kappa{N: n, Observed: po, Expected: pe, SE: math.NaN(), SENull: math.NaN(), SECohen: math.NaN(), Confidence: confidence,
		Method: "large sample (Fleiss, Cohen & Everitt 1969)"}
	if 1-pe < 1e-12 {
		return Kappa{}, ErrNoKappa
	}
	k.Value = (po - pe) / (1 - pe)
	k.SE, k.SENull = cohenErrors(p, rows, cols, weight, po, pe, float64(n))
	if w == NoWeights {
		k.SECohen = math.Sqrt(po * (1 - po) / (float64(n) * (1 - pe) * (1 - pe)))
	}
	k.finish()
	return k, nil
}

// finish fills the test and the interval from the standard errors.
func (k *Kappa) finish() {
	k.Z, k.P = math.NaN(), math.NaN()
	if k.SENull > 0 {
		k.Z = k.Value / k.SENull
		k.P = twoSidedP(k.Z)
	}
	k.around(normalQuantile((1 + k.Confidence) / 2))
}

// around is the interval of so many standard errors. An error of 0 means that
// the calls did not vary (full agreement), not that kappa is known without
// doubt: then there is no interval.
func (k *Kappa) around(errors float64) {
	k.Bounds = Bounds{math.NaN(), math.NaN()}
	if k.SE > 1e-6 { // what rounding leaves of 0 is about 1e-8
		k.Bounds = Bounds{max(-1, k.Value-errors*k.SE), min(1, k.Value+errors*k.SE)}
	}
}

func proportions(table [][]int) (p [][]float64, n int, err error) {
	for i, row := range table {
		if len(row) != len(table) {
			return nil, 0, fmt.Errorf("kappa: row %d of the table has %d cells, %d are wanted: rows and columns are the same categories",
				i+1, len(row), len(table))
		}
		for j, c := range row {
			if c < 0 {
				return nil, 0, fmt.Errorf("kappa: row %d, column %d holds %d: a count cannot be below 0", i+1, j+1, c)
			}
			n += c
		}
	}
	if n == 0 {
		return nil, 0, errors.New("kappa: the table is empty: there is no part that both judged")
	}
	p = make([][]float64, len(table))
	for i, row := range table {
		p[i] = make([]float64, len(row))
		for j, c := range row {
			p[i][j] = float64(c) / float64(n)
		}
	}
	return p, n, nil
}

func weightTable(k int, w Weights) ([][]float64, error) {
	t := make([][]float64, k)
	for i := range t {
		t[i] = make([]float64, k)
		for j := range t[i] {
			d := math.Abs(float64(i-j)) / math.Max(1, float64(k-1))
			switch w {
			case NoWeights, "":
				if i == j {
					t[i][j] = 1
				}
			case LinearWeights:
				t[i][j] = 1 - d
			case QuadraticWeights:
				t[i][j] = 1 - d*d
			default:
				return nil, fmt.Errorf("weights %q: use %s, %s or %s", w, NoWeights, LinearWeights, QuadraticWeights)
			}
		}
	}
	return t, nil
}

func margins(p [][]float64) (rows, cols []float64) {
	rows, cols = make([]float64, len(p)), make([]float64, len(p))
	for i := range p {
		for j := range p {
			rows[i] += p[i][j]
			cols[j] += p[i][j]
		}
	}
	return rows, cols
}

func weightedAgreement(p [][]float64, rows, cols []float64, w [][]float64) (po, pe float64) {
	for i := range p {
		for j := range p {
			po += w[i][j] * p[i][j]
			pe += w[i][j] * rows[i] * cols[j]
		}
	}
	return po, pe
}

// cohenErrors are the large-sample standard errors of Fleiss, Cohen & Everitt
// (1969): of kappa as it is, and of kappa where the true one is 0.
func cohenErrors(p [][]float64, rows, cols []float64, w [][]float64, po, pe, n float64) (se, seNull float64) {
	k := len(p)
	wr, wc := make([]float64, k), make([]float64, k) // mean weight of a row's and of a column's category
	for i := range p {
		for j := range p {
			wr[i] += cols[j] * w[i][j]
			wc[j] += rows[i] * w[i][j]
		}
	}
	var v, v0 float64
	for i := range p {
		for j := range p {
			d := w[i][j]*(1-pe) - (wr[i]+wc[j])*(1-po)
			v += p[i][j] * d * d
			d0 := w[i][j] - (wr[i] + wc[j])
			v0 += rows[i] * cols[j] * d0 * d0
		}
	}
	c := po*pe - 2*pe + po
	v -= c * c
	v0 -= pe * pe
	return math.Sqrt(max(0, v)/n) / ((1 - pe) * (1 - pe)), math.Sqrt(max(0, v0)/n) / (1 - pe)
}

// FleissResult is the kappa of several raters: over all categories, and of each
// category against the rest.
type FleissResult struct {
	Kappa
	Parts, Raters int
	Categories    []Kappa // in the order of the table's columns; NaN where a category was never or always used
}

// FleissKappa is the agreement of several raters (Fleiss 1971, Psychol. Bull. 76:378). counts[i][j] raters put part i into category j; each
// part has the same number of raters, at least two. The test uses the standard error under no agreement (Fleiss, Nee & Landis 1979,
// Psychol. Bull. 86:974), the interval the scatter between parts: a jackknife that leaves out one part at a time (Fleiss & Davies 1982, Am.
// J. Epidemiol. 115:841), Student's t. ErrNoKappa where only one category was used.
func FleissKappa(counts [][]int, confidence float64) (FleissResult, error) {
	if err := checkConfidence(confidence); err != nil {
		return FleissResult{}, err
	}
	raters, err := checkCounts(counts)
	if err != nil {
		return FleissResult{}, err
	}
	r := FleissResult{Parts: len(counts), Raters: raters}
	all := fleissSums(counts)
	value, ok := all.kappa()
	if !ok {
		return FleissResult{}, ErrNoKappa
	}
	r.Kappa = Kappa{N: len(counts), Observed: all.observed(), Expected: all.expected(), Value: value, SECohen: math.NaN(),
		Confidence: confidence,
		SENull:     all.seNull(), Method: "jackknife over parts (Fleiss & Davies 1982)"}
	r.SE = all.jackknife(counts, fleissSum.kappa)
	r.finishT(len(counts) - 1)
	for j := range counts[0] {
		r.Categories = append(r.Categories, all.category(counts, j, confidence))
	}
	return r, nil
}

// finishT is finish with an interval by Student's t.
func (k *Kappa) finishT(df int) {
	k.finish()
	if df < 1 {
		k.SE, k.Bounds = math.NaN(), Bounds{math.NaN(), math.NaN()}
		return
	}
	k.around(studentT((1+k.Confidence)/2, df))
}

func studentT(p float64, df int) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(df)}.Quantile(p)
}

func checkCounts(counts [][]int) (raters int, err error) {
	if len(counts) == 0 || len(counts[0]) == 0 {
		return 0, errors.New("kappa: the table is empty")
	}
	for i, row := range counts {
		n := 0
		for j, c := range row {
			if c < 0 {
				return 0, fmt.Errorf("kappa: row %d, column %d holds %d: a count cannot be below 0", i+1, j+1, c)
			}
			n += c
		}
		if len(row) != len(counts[0]) {
			return 0, fmt.Errorf("kappa: row %d has %d categories, the first row has %d", i+1, len(row), len(counts[0]))
		}
		if i == 0 {
			raters = n
		}
		if n != raters {
			return 0, fmt.Errorf("kappa: row %d has %d calls, the first row has %d: each part needs the same number of raters", i+1, n,
				raters)
		}
	}
	if raters < 2 {
		return 0, fmt.Errorf("kappa: %d call a part: agreement needs two or more", raters)
	}
	return raters, nil
}

// fleissSum holds what Fleiss's kappa needs of a table: sums over its parts.
type fleissSum struct {
	parts, raters float64
	in            []float64 // calls in each category
	pairs         []float64 // sum of x(x-1) in each category: ordered pairs of raters who agree on it
}

func fleissSums(counts [][]int) fleissSum {
	s := fleissSum{in: make([]float64, len(counts[0])), pairs: make([]float64, len(counts[0]))}
	for _, c := range counts[0] {
		s.raters += float64(c)
	}
	for _, row := range counts {
		s.add(row, 1)
	}
	return s
}

// add adds a part, or with sign -1 takes it out.
func (s *fleissSum) add(row []int, sign float64) {
	s.parts += sign
	for j, c := range row {
		x := float64(c)
		s.in[j] += sign * x
		s.pairs[j] += sign * x * (x - 1)
	}
}

func (s fleissSum) share(j int) float64 { return s.in[j] / (s.parts * s.raters) }

func (s fleissSum) observed() float64 {
	sum := 0.0
	for _, v := range s.pairs {
		sum += v
	}
	return sum / (s.parts * s.raters * (s.raters - 1))
}

func (s fleissSum) expected() float64 {
	sum := 0.0
	for j := range s.in {
		sum += s.share(j) * s.share(j)
	}
	return sum
}

func (s fleissSum) kappa() (float64, bool) {
	pe := s.expected()
	if s.parts == 0 || 1-pe < 1e-12 {
		return math.NaN(), false
	}
	return (s.observed() - pe) / (1 - pe), true
}

// seNull is the standard error of kappa where there is no agreement beyond
// chance (Fleiss, Nee & Landis 1979).
func (s fleissSum) seNull() float64 {
	var pq, skew float64
	for j := range s.in {
		p := s.share(j)
		q := 1 - p
		pq += p * q
		skew += p * q * (q - p)
	}
	return math.Sqrt(2/(s.parts*s.raters*(s.raters-1))) / pq * math.Sqrt(max(0, pq*pq-skew))
}

// categoryKappa is the kappa of one category against all others together.
func (s fleissSum) categoryKappa(j int) (float64, bool) {
	p := s.share(j)
	if s.parts == 0 || p < 1e-12 || 1-p < 1e-12 {
		return math.NaN(), false
	}
	// Pairs that disagree on the category, over those expected by chance.
	differ := s.in[j]*s.raters - s.pairs[j] - s.in[j]
	return 1 - differ/(s.parts*s.raters*(s.raters-1)*p*(1-p)), true
}

func (s fleissSum) category(counts [][]int, j int, confidence float64) Kappa {
	k := Kappa{N: len(counts), SECohen: math.NaN(), SE: math.NaN(), SENull: math.NaN(), Confidence: confidence,
		Method: "jackknife over parts (Fleiss & Davies 1982)"}
	p := s.share(j)
	k.Observed, k.Expected = math.NaN(), p*p+(1-p)*(1-p)
	v, ok := s.categoryKappa(j)
	k.Value = v
	if ok {
		k.Observed = k.Expected + v*(1-k.Expected)
		k.SENull = math.Sqrt(2 / (s.parts * s.raters * (s.raters - 1)))
		k.SE = s.jackknife(counts, func(t fleissSum) (float64, bool) { return t.categoryKappa(j) })
	}
	k.finishT(len(counts) - 1)
	return k
}

// jackknife is the standard error of f over parts; NaN where f is not defined
// without one of them.
func (s fleissSum) jackknife(counts [][]int, f func(fleissSum) (float64, bool)) float64 {
	return jackknifeSE(len(counts), func(leave int) (float64, bool) {
		t := fleissSum{s.parts, s.raters, append([]float64{}, s.in...), append([]float64{}, s.pairs...)}
		t.add(counts[leave], -1)
		return f(t)
	})
}

// jackknifeSE is the standard error of a figure from its n values with one part
// left out each (Tukey 1958; Efron & Stein 1981). NaN for fewer than two parts,
// and where the figure is not defined without one of them.
func jackknifeSE(n int, without func(leave int) (float64, bool)) float64 {
	if n < 2 {
		return math.NaN()
	}
	v := make([]float64, n)
	mean := 0.0
	for i := range v {
		x, ok := without(i)
		if !ok {
			return math.NaN()
		}
		v[i] = x
		mean += x / float64(n)
	}
	ss := 0.0
	for _, x := range v {
		ss += (x - mean) * (x - mean)
	}
	return math.Sqrt(ss * float64(n-1) / float64(n))
}
