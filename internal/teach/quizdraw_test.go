package teach

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"finishbench/internal/part"
)

// poolOf has n clean units and n with one defect of each kind and difficulty.
func poolOf(n int, kinds ...part.Kind) []Item {
	var all []Item
	for i := range n {
		all = append(all, unitOf(fmt.Sprint("clean-", i), part.Pass))
		for _, k := range kinds {
			for d, mm := range []float64{0.8, 0.4, 0.1} {
				it := unitOf(fmt.Sprint(k, "-", d+1, "-", i), part.Rework, k)
				it.Known[0].SizeMM = mm
				all = append(all, it)
			}
		}
	}
	return all
}

// run takes a whole test; answers gives what is said of an item.
func run(t *testing.T, q Test, answers func(Item) Answer) []Shown {
	t.Helper()
	var shown []Shown
	for {
		i, ok := q.Next(shown)
		if !ok {
			return shown
		}
		shown = append(shown, Shown{Item: i, Answer: answers(q.Pool[i])})
		if len(shown) > q.Spec.Showings() {
			t.Fatal("it does not end")
		}
	}
}

func rightly(it Item) Answer {
	var kinds []part.Kind
	for _, k := range it.Known {
		kinds = append(kinds, k.Kind)
	}
	return said(it.Verdict, kinds...)
}

func blindly(Item) Answer { return said(part.Pass) }

func keys(q Test, shown []Shown) []string {
	var all []string
	for _, s := range shown {
		all = append(all, q.Pool[s.Item].Key)
	}
	return all
}

func TestDrawnAsAsked(t *testing.T) {
	pool := poolOf(12, part.Bubble, part.Dust, part.Fibre)
	for _, s := range []Spec{
		{Number: 20, CleanShare: 0.3, Repeats: 5, Seed: 7},
		{Number: 20, CleanShare: 0.3, Repeats: 5, Seed: 7, Adapt: true},
		{Number: 10, CleanShare: 0.5, Repeats: 10, Times: 2, Seed: 1},
		{Number: 4, CleanShare: 0, Repeats: 4, Times: 5, Seed: 3},
		{Number: 1, CleanShare: 1, Repeats: 1, Seed: 3},
		{Number: 8, CleanShare: 0.25, Kinds: []part.Kind{part.Dust}, Difficulty: Hard, Seed: 4},
	} {
		q, err := NewTest(s, pool)
		if err != nil {
			t.Fatalf("%+v: %v", s, err)
		}
		for name, f := range map[string]func(Item) Answer{"rightly": rightly, "blindly": blindly} {
			shown := run(t, q, f)
			if len(shown) != s.Showings() {
				t.Fatalf("%+v: %d shown, want %d", s, len(shown), s.Showings())
			}
			order, times, _ := firstShown(shown)
			clean, again := 0, 0
			for _, i := range order {
				clean += index(q.Pool[i].Clean())
				if times[i] > 1 {
					again++
					if times[i] != 1+s.times() {
						t.Errorf("%+v: unit shown %d times", s, times[i])
					}
				}
				if it := q.Pool[i]; !it.Clean() && (len(s.Kinds) > 0 && it.Known[0].Kind != part.Dust ||
					s.Difficulty == Hard && it.Difficulty() != Hard) {
					t.Errorf("%+v: %s was not asked for", s, it.Key)
				}
			}
			if len(order) != s.Number || clean != s.clean() || again != s.Repeats {
				t.Errorf("%s, %+v: %d units, %d clean, %d again", name, s, len(order), clean, again)
			}
			if s.Number >= 10 { // enough others to stand between
				for i, x := range shown {
					for j := max(0, i-gap); j < i; j++ {
						if shown[j].Item == x.Item && i < len(shown)-s.Repeats {
							t.Errorf("%+v: place %d shows again what place %d showed", s, i, j)
						}
					}
				}
			}
			if same := run(t, q, f); !slices.Equal(keys(q, same), keys(q, shown)) {
				t.Errorf("%+v: the same answers gave another test", s)
			}
		}
	}
	a, _ := NewTest(Spec{Number: 20, CleanShare: 0.3, Seed: 7}, pool)
	b, _ := NewTest(Spec{Number: 20, CleanShare: 0.3, Seed: 8}, pool)
	if slices.Equal(keys(a, run(t, a, rightly)), keys(b, run(t, b, rightly))) {
		t.Error("another seed gave the same test")
	}
	if !slices.Equal(keys(a, run(t, a, rightly)), keys(a, run(t, a, blindly))) {
		t.Error("a test that does not adapt hangs on the answers")
	}
}

// More of what is missed: whoever never sees fibres gets more of them than whoever
// misses nothing; harder when it goes well, and easier when it does not.
func TestAdapts(t *testing.T) {
	pool := poolOf(30, part.Bubble, part.Dust, part.Fibre)
	fibres, hardRight, hardWrong, all := [2]int{}, 0, 0, 0
	for seed := range uint64(40) {
		q, err := NewTest(Spec{Number: 25, CleanShare: 0.2, Adapt: true, Seed: seed}, pool)
		if err != nil {
			t.Fatal(err)
		}
		for which, f := range []func(Item) Answer{rightly, func(it Item) Answer {
			if !it.Clean() && it.Known[0].Kind == part.Fibre {
				return blindly(it)
			}
			return rightly(it)
		}} {
			for _, s := range run(t, q, f) {
				if it := q.Pool[s.Item]; !it.Clean() && it.Known[0].Kind == part.Fibre {
					fibres[which]++
				}
			}
		}
		for _, s := range run(t, q, rightly) {
			hardRight += index(q.Pool[s.Item].Difficulty() == Hard)
			all++
		}
		for _, s := range run(t, q, blindly) {
			hardWrong += index(q.Pool[s.Item].Difficulty() == Hard)
		}
	}
	// 20 defective units a test: a third each, or 5 of 5+1.x+1.x for the missed kind.
	if share := float64(fibres[0]) / float64(40*20); share < 0.25 || share > 0.42 {
		t.Errorf("share of fibres %.2f where nothing is missed: about a third is wanted", share)
	}
	if share := float64(fibres[1]) / float64(40*20); share < 0.5 {
		t.Errorf("share of fibres %.2f where all of them are missed: more than half is wanted", share)
	}
	if right, wrong := float64(hardRight)/float64(all), float64(hardWrong)/float64(all); right < 0.5 || wrong > 0.1 {
		t.Errorf("share of hard ones %.2f where all goes well, %.2f where nothing does", right, wrong)
	}
}

// What was missed in earlier tests weighs from the start.
func TestAdaptsToEarlierTests(t *testing.T) {
	pool := poolOf(30, part.Bubble, part.Dust)
	dust := map[bool]int{}
	for seed := range uint64(60) {
		for _, prior := range []bool{false, true} {
			s := Spec{Number: 4, Adapt: true, Seed: seed}
			if prior {
				s.Prior = []KindCount{{part.Dust, 10, 10}, {part.Bubble, 10, 0}}
			}
			q, err := NewTest(s, pool)
			if err != nil {
				t.Fatal(err)
			}
			for _, x := range run(t, q, rightly) {
				dust[prior] += index(q.Pool[x.Item].Known[0].Kind == part.Dust)
			}
		}
	}
	if dust[false] > 150 || dust[true] < 170 { // of 240
		t.Errorf("dust %d of 240 without and %d with ten missed before", dust[false], dust[true])
	}
}

func TestDifficulty(t *testing.T) {
	for _, c := range []struct {
		k    KnownDefect
		want Difficulty
	}{
		{KnownDefect{SizeMM: 0.2, Measure: "diameter"}, Hard},
		{KnownDefect{SizeMM: 0.21, Measure: "diameter", CNR: 40}, Middling},
		{KnownDefect{SizeMM: 0.51, Measure: "diameter"}, Easy},
		{KnownDefect{SizeMM: 0.51, Measure: "diameter", CNR: 8}, Middling},
		{KnownDefect{SizeMM: 0.1, Measure: "diameter", CNR: 8}, Hard},
		{KnownDefect{SizeMM: 1.5, WidthMM: 0.02, Measure: "length"}, Hard}, // the area of a disc of 0.195 mm, by hand
		{KnownDefect{SizeMM: 3, WidthMM: 1, Measure: "length"}, Easy},
		{KnownDefect{Box: part.Box{0, 0, 20, 20}}, Middling}, // 400 px at 15 um: a disc of 0.34 mm, by hand
	} {
		if got := c.k.difficulty(0.015); got != c.want {
			t.Errorf("%+v is %d, want %d", c.k, got, c.want)
		}
	}
}

func TestDrawRefuses(t *testing.T) {
	pool := poolOf(3, part.Bubble)
	for name, c := range map[string]struct {
		spec Spec
		pool []Item
		want string
	}{
		"no records":     {Spec{Number: 5}, nil, "the pool has 0 units with a defect that can be asked, the test wants 5"},
		"one kind only":  {Spec{Number: 5, Kinds: []part.Kind{part.Fibre}}, pool, "the pool has 0 units with fibre"},
		"no clean ones":  {Spec{Number: 10, CleanShare: 0.5}, pool, "the pool has 3 units without a defect, the test wants 5"},
		"other stage":    {Spec{Number: 5, Stages: []part.Stage{part.Wet}}, pool, "(9 more are of another stage)"},
		"nothing":        {Spec{}, pool, "one unit or more"},
		"share":          {Spec{Number: 1, CleanShare: 1.5}, pool, "0 to 1"},
		"kind":           {Spec{Number: 1, Kinds: []part.Kind{"smudge"}}, pool, "no kind of defect"},
		"stage":          {Spec{Number: 1, Stages: []part.Stage{"dry"}}, pool, "trim, wet or cured"},
		"too many again": {Spec{Number: 2, Repeats: 3}, pool, "cannot be shown again"},
		"far too many":   {Spec{Number: 400, Repeats: 400}, pool, "at most 500"},
		"twice":          {Spec{Number: 1}, append(slices.Clone(pool), pool[0]), "is there twice"},
		"tool's guess":   {Spec{Number: 1}, []Item{{Key: "x", Provenance: "found"}}, "only what a person confirmed or what was drawn"},
	} {
		_, err := NewTest(c.spec, c.pool)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v; want %q", name, err, c.want)
		}
	}
	var few TooSmallError
	if _, err := NewTest(Spec{Number: 50}, pool); !errors.As(err, &few) || few.Have != 9 || few.Want != 50 {
		t.Errorf("%+v", few)
	}
}
