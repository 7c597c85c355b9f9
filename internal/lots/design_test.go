package lots

import (
	"strings"
	"testing"
)

// TestDesign: two-point plans published with worked examples (reference, section
// 2): n and Ac, and what they give.
func TestDesign(t *testing.T) {
	for _, c := range []struct {
		pt             Points
		n, ac          int
		accept1, risk2 float64
	}{
		{Points{.05, .05, .15, .075}, 80, 7, .95341, .07272},
		{Points{.01, .02, .05, .15}, 144, 4, 1 - .01534843, .1487162},
	} {
		n, ac, err := Design(c.pt, Binomial, 0)
		if err != nil || n != c.n || ac != c.ac {
			t.Errorf("%+v: n %d, Ac %d, %v", c.pt, n, ac, err)
		}
		near(t, "Pa(p1)", AcceptP(Binomial, 0, n, ac, c.pt.P1), c.accept1, 1e-5)
		near(t, "Pa(p2)", AcceptP(Binomial, 0, n, ac, c.pt.P2), c.risk2, 1e-4)
	}
}

// TestDesignIsSmallest: against trying every n and Ac.
func TestDesignIsSmallest(t *testing.T) {
	for _, law := range Laws {
		for _, pt := range []Points{{.02, .05, .12, .10}, {.01, .05, .10, .05}, {.05, .10, .20, .10}, {.1, .01, .3, .02}} {
			const lot = 90
			n, ac, err := Design(pt, law, lot)
			if err != nil {
				t.Fatal(err)
			}
			wantN, wantAc := 0, 0
		search:
			for k := 1; ; k++ {
				for a := 0; a < k; a++ {
					if goodAccept(law, lot, k, a, pt.P1) >= 1-pt.Alpha && badAccept(law, lot, k, a, pt.P2) <= pt.Beta {
						wantN, wantAc = k, a
						break search
					}
				}
			}
			if n != wantN || ac != wantAc {
				t.Errorf("%s %+v: n %d Ac %d, by trying n %d Ac %d", law, pt, n, ac, wantN, wantAc)
			}
		}
	}
}

// TestDesignKeepsItsRisks: over 2,000 requests for single lots, with and without an acceptance number, no lot as good as asked is refused
// more often, and none as bad accepted more often, than was allowed, by whole-number arithmetic (math/big) over every number of
// nonconforming units up to and from there; a unit less, with this acceptance number or the next lower one, would not do.
func TestDesignKeepsItsRisks(t *testing.T) {
	requests := 0
	keep := func(o OC, pt Points) bool {
		for bad := range o.LotSize + 1 {
			accepts := exactHyper(int64(o.LotSize), int64(bad), int64(o.N), int64(o.Ac))
			share := float64(bad) / float64(o.LotSize)
			if share <= pt.P1+1e-12 && 1-accepts > pt.Alpha+1e-9 {
				return false
			}
			if share >= pt.P2-1e-12 && accepts > pt.Beta+1e-9 {
				return false
			}
			if share >= pt.P2-1e-12 { // more of them are accepted less often
				break
			}
		}
		return true
	}
	try := func(lot int, pt Points) {
		requests++
		o := OC{Law: Hypergeometric, LotSize: lot}
		var err error
		if pt.P1 == 0 {
			pt.Alpha = 1
			o.N, err = ZeroAcceptance(lot, pt.P2, pt.Beta)
		} else {
			o.N, o.Ac, err = Design(pt, Hypergeometric, lot)
		}
		if err != nil {
			return
		}
		refused, accepted := o.Risks(pt)
		if !keep(o, pt) || refused > pt.Alpha+1e-9 || accepted > pt.Beta+1e-9 {
			t.Errorf("%d units, %+v: %d, %d refuses %.4f and accepts %.4f", lot, pt, o.N, o.Ac, refused, accepted)
		}
		for less := range min(2, o.Ac+1) {
			if smaller := (OC{Law: Hypergeometric, LotSize: lot, N: o.N - 1, Ac: o.Ac - less}); o.N > 1 && keep(smaller, pt) {
				t.Errorf("%d units, %+v: %d, %d; %d, %d would do", lot, pt, o.N, o.Ac, smaller.N, smaller.Ac)
			}
		}
	}
	for _, lot := range []int{2, 5, 13, 30, 50, 90, 150, 200, 280, 500} {
		for _, bad := range []float64{.001, .0025, .0065, .01, .025, .04, .065, .10, .15, .25} {
			for _, beta := range []float64{.01, .05, .1, .2} {
				try(lot, Points{P2: bad, Beta: beta})
				for _, good := range []float64{.1, .2, .3, .4} {
					try(lot, Points{P1: good * bad, Alpha: .05, P2: bad, Beta: beta})
				}
			}
		}
	}
	if requests != 2000 {
		t.Errorf("%d requests", requests)
	}
}

// TestSmallestN: tries that demonstrate 90 % at 95 % confidence with so many
// misses (reference, sections 2 and 8).
func TestSmallestN(t *testing.T) {
	for misses, want := range []int{29, 46, 61, 76, 89, 103} {
		if n, err := SmallestN(Binomial, 0, misses, 0.10, 0.05); err != nil || n != want {
			t.Errorf("%d misses: %d, %v; want %d", misses, n, err, want)
		}
	}
}

// TestZeroAcceptance: by trying, in whole-number arithmetic.
func TestZeroAcceptance(t *testing.T) {
	for _, c := range []struct {
		lot, bad int
		p, beta  float64
	}{{60, 3, 0.05, 0.10}, {30, 3, 0.1, 0.05}, {500, 13, 0.025, 0.10}, {2, 1, 0.01, 0.05}, {100, 1, 0.01, 0.05}} {
		n, err := ZeroAcceptance(c.lot, c.p, c.beta)
		if err != nil {
			t.Fatal(err)
		}
		want := 1
		for exactHyper(int64(c.lot), int64(c.bad), int64(want), 0) > c.beta {
			want++
		}
		if n != want {
			t.Errorf("%+v: %d, want %d", c, n, want)
		}
	}
}

func TestDesignRefuses(t *testing.T) {
	for _, c := range []struct {
		pt   Points
		law  Law
		lot  int
		says string
	}{
		{Points{.1, .05, .05, .1}, Binomial, 0, "below the worse one"},
		{Points{0, .05, .05, .1}, Binomial, 0, "above 0"},
		{Points{1, .05, 6.5, .1}, Binomial, 0, "as a fraction"},
		{Points{.01, .5, .05, .5}, Binomial, 0, "add up to less than 1"},
		{Points{.01, .05, .05, .1}, "normal", 0, "no law"},
		{Points{.01, .05, .05, .1}, Hypergeometric, 1, "one unit has no sampling plan"},
		{Points{.01, .05, .0100001, .1}, Binomial, 0, "too close together"},
	} {
		if _, _, err := Design(c.pt, c.law, c.lot); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v: %v", c, err)
		}
	}
	if _, err := SmallestN(Hypergeometric, 20, 5, 0.1, 0.05); err == nil || !strings.Contains(err.Error(), "no sample of a lot of 20") {
		t.Error(err)
	}
}
