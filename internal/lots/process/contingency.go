package process

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"
)

// TestMethod says how the chance of a difference was found.
type TestMethod string

// The methods. The chi-squared distribution stands for the truth only where all
// expected counts are at least five (Cochran, Biometrics 10, 1954); below that the
// chance is exact (Fisher) or from tables drawn by lot with the same sums.
const (
	ChiSquaredTest TestMethod = "chi-squared"
	FisherTest     TestMethod = "Fisher's exact test"
	DrawnTest      TestMethod = "chi-squared by drawn tables"
)

// leastExpected is Cochran's five.
const leastExpected = 5

// Test says whether counts differ by more than chance.
type Test struct {
	Method        TestMethod
	Statistic     float64 // Pearson's chi-squared
	DOF           int
	P             float64 // chance of at least so large a difference; NaN: there is nothing to compare
	Strength      float64 // Cramer's V, 0 none to 1 complete; NaN for shares
	LeastExpected float64 // the smallest expected count
	Draws         int     // of tables, where they were drawn
	Seed          uint64
}

// TestGroups compares groups: hits[i] of sizes[i] in each have something. P is
// the chance that groups which are alike differ so much. residuals[i] is how far
// group i lies off the rest, in standard deviations (Haberman, Biometrics 29, 1973:
// adjusted residuals).
func TestGroups(hits, sizes []int, seed uint64) (t Test, residuals []float64, err error) {
	k := len(hits)
	t = Test{Method: ChiSquaredTest, Statistic: math.NaN(), P: math.NaN(), Strength: math.NaN(), LeastExpected: math.NaN(), Seed: seed}
	if k != len(sizes) {
		return t, nil, fmt.Errorf("process: comparing %d counts with %d sizes: each count needs its size", k, len(sizes))
	}
	total, all, filled := 0, 0, 0
	for i := range hits {
		if hits[i] < 0 || hits[i] > sizes[i] {
			return t, nil, fmt.Errorf("process: comparing groups: group %d has %d of %d: a count lies between 0 and its size", i+1, hits[i],
				sizes[i])
		}
		total, all = total+hits[i], all+sizes[i]
		if sizes[i] > 0 {
			filled++
		}
	}
	residuals = make([]float64, k)
	p := float64(total) / float64(all)
	for i := range residuals {
		e, share := p*float64(sizes[i]), float64(sizes[i])/float64(all)
		residuals[i] = (float64(hits[i]) - e) / math.Sqrt(e*(1-p)*(1-share)) // NaN where there is nothing to compare
	}
	if filled < 2 || total == 0 || total == all {
		return t, residuals, nil
	}
	t.DOF, t.Statistic, t.LeastExpected = filled-1, 0, math.Inf(1)
	for i := range hits {
		if sizes[i] > 0 {
			e := p * float64(sizes[i])
			t.LeastExpected = math.Min(t.LeastExpected, math.Min(e, float64(sizes[i])-e))
		}
	}
	t.Statistic = groupsChi(hits, sizes, p)
	t.Strength = math.Sqrt(t.Statistic / float64(all)) // two columns: V = sqrt(chi2/n)
	switch {
	case t.LeastExpected >= leastExpected:
		t.P = distuv.ChiSquared{K: float64(t.DOF)}.Survival(t.Statistic)
	case filled == 2:
		t.Method, t.P = FisherTest, fisher(hits, sizes, total, all)
	default:
		t.Method = DrawnTest
		t.Draws = max(999, min(9999, 20_000_000/all))
		t.P = drawnGroups(hits, sizes, total, t.Statistic, t.Draws, rand.New(rand.NewPCG(seed, 0xc41)))
	}
	return t, residuals, nil
}

func groupsChi(hits, sizes []int, p float64) float64 {
	chi := 0.0
	for i, h := range hits {
		if n := float64(sizes[i]); n > 0 {
			d := float64(h) - p*n
			chi += d * d / (n * p * (1 - p))
		}
	}
	return chi
}

// fisher is the two-sided exact chance of two groups: of all tables with the
// same sums, those that are no more likely than the one at hand (Fisher 1934).
func fisher(hits, sizes []int, total, all int) float64 {
	var h, n []int
	for i := range hits {
		if sizes[i] > 0 {
			h, n = append(h, hits[i]), append(n, sizes[i])
		}
	}
	log := func(x int) float64 { return choose(n[0], x) + choose(n[1], total-x) - choose(all, total) }
	at, p := log(h[0]), 0.0
	for x := max(0, total-n[1]); x <= min(n[0], total); x++ {
		if l := log(x); l <= at+1e-7 {
			p += math.Exp(l)
		}
	}
	return math.Min(1, p)
}

// choose is the logarithm of n over k.
func choose(n, k int) float64 {
	a, _ := math.Lgamma(float64(n + 1))
	b, _ := math.Lgamma(float64(k + 1))
	c, _ := math.Lgamma(float64(n - k + 1))
	return a - b - c
}

// drawnGroups deals the hits out to the groups anew, again and again: the share
// of tables at least as far off, the one at hand counted among them.
func drawnGroups(hits, sizes []int, total int, chi float64, draws int, rng *rand.Rand) float64 {
	var owner []int
	for i, n := range sizes {
		for range n {
			owner = append(owner, i)
		}
	}
	p := float64(total) / float64(len(owner))
	dealt := make([]int, len(hits))
	// The fewer of hits and others are dealt: it is the same table.
	deal := min(total, len(owner)-total)
	far := 1
	for range draws {
		clear(dealt)
		for i := range deal {
			j := i + rng.IntN(len(owner)-i)
			owner[i], owner[j] = owner[j], owner[i]
			dealt[owner[i]]++
		}
		if deal < total {
			for i := range dealt {
				dealt[i] = sizes[i] - dealt[i]
			}
		}
		if groupsChi(dealt, sizes, p) >= chi*(1-1e-12) {
			far++
		}
	}
	return float64(far) / float64(draws+1)
}

// TestShares compares counts with the shares that they should have; equal ones
// where shares is nil. It takes each count for an event of its own.
func TestShares(counts []int, shares []float64, seed uint64) (Test, error) {
	t := Test{Method: ChiSquaredTest, Statistic: math.NaN(), P: math.NaN(), Strength: math.NaN(), LeastExpected: math.NaN(), Seed: seed}
	k := len(counts)
	if shares == nil {
		for range k {
			shares = append(shares, 1)
		}
	}
	if len(shares) != k {
		return t, fmt.Errorf("process: comparing %d counts with %d shares: each count needs its share", k, len(shares))
	}
	n, sum := 0, 0.0
	for i := range counts {
		if counts[i] < 0 || !(shares[i] > 0) || math.IsInf(shares[i], 0) {
			return t, fmt.Errorf("process: comparing counts: count %d is %d and its share %g: a count is not below 0, a share above it",
				i+1, counts[i], shares[i])
		}
		n, sum = n+counts[i], sum+shares[i]
	}
	if k < 2 || n == 0 {
		return t, nil
	}
	t.DOF, t.LeastExpected = k-1, math.Inf(1)
	expected := make([]float64, k)
	for i, s := range shares {
		expected[i] = float64(n) * s / sum
		t.LeastExpected = math.Min(t.LeastExpected, expected[i])
	}
	t.Statistic = sharesChi(counts, expected)
	if t.LeastExpected >= leastExpected {
		t.P = distuv.ChiSquared{K: float64(t.DOF)}.Survival(t.Statistic)
		return t, nil
	}
	t.Method = DrawnTest
	t.Draws = max(999, min(9999, 20_000_000/n))
	rng := rand.New(rand.NewPCG(seed, 0x5a4))
	drawn, far := make([]int, k), 1
	for range t.Draws {
		clear(drawn)
		for range n {
			x, i := rng.Float64()*sum, 0
			for ; i < k-1 && x >= shares[i]; i++ {
				x -= shares[i]
			}
			drawn[i]++
		}
		if sharesChi(drawn, expected) >= t.Statistic*(1-1e-12) {
			far++
		}
	}
	t.P = float64(far) / float64(t.Draws+1)
	return t, nil
}

func sharesChi(counts []int, expected []float64) float64 {
	chi := 0.0
	for i, c := range counts {
		d := float64(c) - expected[i]
		chi += d * d / expected[i]
	}
	return chi
}

// signTest is the two-sided chance that of n even odds so many fall on one side.
func signTest(a, b int) float64 {
	n, k := a+b, min(a, b)
	if n == 0 {
		return math.NaN()
	}
	p := 0.0
	for x := 0; x <= k; x++ {
		p += math.Exp(choose(n, x) - float64(n)*math.Ln2)
	}
	return math.Min(1, 2*p)
}
