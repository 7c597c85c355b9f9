package teach

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"finishbench/internal/part"
	"finishbench/internal/stats/study"
)

// unitOf is a drawn unit with a verdict and, unless it is clean, one bubble or
// other defect in the middle.
func unitOf(key string, verdict part.Verdict, kinds ...part.Kind) Item {
	it := Item{Key: key, Unit: key, Stage: part.Cured, Provenance: Drawn, MMPerPX: 0.015, WidthPX: 1600, HeightPX: 1200,
		Pictures: []ItemPicture{{Light: part.Diffuse, Ref: key}}, Verdict: verdict}
	for i, k := range kinds {
		it.Known = append(it.Known, KnownDefect{Kind: k, Box: part.Box{100 + 200*float64(i), 100, 20, 20}, SizeMM: 0.3, Measure: "diameter",
			CNR: 30})
	}
	return it
}

// said is an answer with a verdict; a verdict other than pass marks the bubble of
// unitOf, so that finding and verdict go together.
func said(verdict part.Verdict, kinds ...part.Kind) Answer {
	a := Answer{Verdict: verdict, TookS: 5}
	for i, k := range kinds {
		a.Marks = append(a.Marks, QuizMark{109.5 + 200*float64(i), 109.5, k})
	}
	return a
}

// fromTable makes a taken test of a square table: table[i][j] units whose
// reference is verdict i, called j.
func fromTable(table [][]int, verdicts []part.Verdict) (Test, []Shown) {
	t := Test{Spec: Spec{Number: 1}}
	var shown []Shown
	for i, row := range table {
		for j, n := range row {
			for range n {
				var there, called []part.Kind
				if verdicts[i] != part.Pass {
					there = []part.Kind{part.Bubble}
				}
				if verdicts[j] != part.Pass {
					called = []part.Kind{part.Bubble}
				}
				t.Pool = append(t.Pool, unitOf(fmt.Sprint("u", len(t.Pool)), verdicts[i], there...))
				shown = append(shown, Shown{Item: len(t.Pool) - 1, Answer: said(verdicts[j], called...)})
			}
		}
	}
	t.Spec.Number = len(t.Pool)
	return t, shown
}

func scoreOf(t *testing.T, q Test, shown []Shown) Score {
	t.Helper()
	s, err := NewScore(q, shown, DefaultScoreOptions())
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func to(t *testing.T, what string, got, want float64, digits int) {
	t.Helper()
	if !(math.Abs(got-want) <= 0.5000001*math.Pow10(-digits)) {
		t.Errorf("%s is %.6f, want %.*f", what, got, digits, want)
	}
}

// The trainee's verdicts against the reference are scripted so that they make
// published tables; kappa comes out to the digit that was printed.
func TestKappaAgainstTheReference(t *testing.T) {
	two, three := []part.Verdict{part.Pass, part.Rework}, []part.Verdict{part.Pass, part.Rework, part.Reject}
	for _, c := range []struct {
		name   string
		table  [][]int
		words  []part.Verdict
		kappa  float64
		digits int
	}{
		{"Cohen 1960, 3x3, N 200: published .492, cells from memory", [][]int{{88, 14, 18}, {10, 40, 10}, {2, 6, 12}}, three, 0.492, 3},
		{"3x3, N 19: SAS printout in the tests of the library statsmodels", [][]int{{0, 4, 1}, {0, 8, 0}, {0, 1, 5}}, three, 0.4842, 4},
		{"2x2, 20 5 10 15: widely reproduced example", [][]int{{20, 5}, {10, 15}}, two, 0.40, 2},
		{"2x2, 45 15 25 15: widely reproduced example", [][]int{{45, 15}, {25, 15}}, two, 0.1304, 4},
		{"2x2, 25 35 5 35: widely reproduced example", [][]int{{25, 35}, {5, 35}}, two, 0.2593, 4},
	} {
		q, shown := fromTable(c.table, c.words)
		s := scoreOf(t, q, shown)
		if s.VerdictErr != nil {
			t.Fatalf("%s: %v", c.name, s.VerdictErr)
		}
		to(t, c.name, s.Verdict.Reference.Value, c.kappa, c.digits)
		if c.kappa == 0.4842 { // the same printout: ASE .1380, 95 % limits .2137 and .7547
			k := s.Verdict.Reference
			to(t, "standard error", k.SE, 0.1380, 4)
			to(t, "lower limit", k.Bounds.Lower, 0.2137, 4)
			to(t, "upper limit", k.Bounds.Upper, 0.7547, 4)
		}
	}
}

// AIAG's Measurement Systems Analysis prints, for 50 parts and three trials each
// of three appraisers: effectiveness 84, 90, 80 %, miss 6.3, 6.3, 12.5 %, false
// alarm 4.9, 2.0, 8.8 %, kappa to the reference .88, .92, .77 (figures from
// memory; the single calls were not to be had). 16 bad and 34 good parts with
// these numbers of wrong calls give all twelve.
func TestRatesOfThePublishedStudy(t *testing.T) {
	for _, c := range []struct {
		name                                 string
		missed, alarmed                      []int // wrong calls by part, on bad and on good parts
		effective, miss, alarm, kappa        float64
		effectiveness, misses, falseAlarming study.Fitness
	}{
		{"A", []int{1, 1, 1}, []int{1, 1, 1, 1, 1}, 84, 6.3, 4.9, 0.88, study.FitMarginal, study.FitUnacceptable, study.FitAcceptable},
		{"B", []int{1, 1, 1}, []int{1, 1}, 90, 6.3, 2.0, 0.92, study.FitAcceptable, study.FitUnacceptable, study.FitAcceptable},
		{"C", []int{2, 2, 1, 1}, []int{2, 2, 2, 1, 1, 1}, 80, 12.5, 8.8, 0.77, study.FitMarginal, study.FitUnacceptable, study.FitMarginal},
	} {
		q := Test{Spec: Spec{Number: 50, Repeats: 50, Times: 2}}
		var shown []Shown
		for i := range 50 {
			verdict, wrong, n := part.Rework, part.Pass, 0
			if i < 16 && i < len(c.missed) {
				n = c.missed[i]
			}
			if i >= 16 {
				verdict, wrong = part.Pass, part.Rework
				if i-16 < len(c.alarmed) {
					n = c.alarmed[i-16]
				}
			}
			q.Pool = append(q.Pool, unitOf(fmt.Sprint("p", i), verdict))
			for trial := range 3 {
				a := said(verdict)
				if trial < n {
					a = said(wrong)
				}
				shown = append(shown, Shown{Item: i, Answer: a})
			}
		}
		s := scoreOf(t, q, shown)
		j := s.Verdict
		if !s.All || s.VerdictErr != nil {
			t.Fatalf("%s: all showings count %v, %v", c.name, s.All, s.VerdictErr)
		}
		to(t, c.name+": effectiveness, %", 100*j.Effective.Value(), c.effective, 0)
		to(t, c.name+": miss rate, %", 100*j.Miss.Value(), c.miss, 1)
		to(t, c.name+": false alarm rate, %", 100*j.FalseAlarm.Value(), c.alarm, 1)
		to(t, c.name+": kappa", j.Reference.Value, c.kappa, 2)
		if j.Effectiveness != c.effectiveness || j.Misses != c.misses || j.FalseAlarms != c.falseAlarming ||
			j.Fitness != study.FitUnacceptable {
			t.Errorf("%s is %s, %s, %s; together %s", c.name, j.Effectiveness, j.Misses, j.FalseAlarms, j.Fitness)
		}
	}
}

// fleiss1971 is the table of Fleiss (1971): 30 subjects, six judgements each,
// five categories. He prints kappa .430; the library irr (R, kappam.fleiss)
// .4302445, and by category .245 .245 .520 .471 .566.
var fleiss1971 = [][]int{
	{0, 0, 0, 6, 0}, {0, 3, 0, 0, 3}, {0, 1, 4, 0, 1}, {0, 0, 0, 0, 6}, {0, 3, 0, 3, 0}, {2, 0, 4, 0, 0}, {0, 0, 4, 0, 2}, {2, 0, 3, 1, 0},
	{2, 0, 0, 4, 0}, {0, 0, 0, 0, 6}, {1, 0, 0, 5, 0}, {1, 1, 0, 4, 0}, {0, 3, 3, 0, 0}, {1, 0, 0, 5, 0}, {0, 2, 0, 3, 1}, {0, 0, 5, 0, 1},
	{3, 0, 0, 1, 2}, {5, 1, 0, 0, 0}, {0, 2, 0, 4, 0}, {1, 0, 2, 0, 3}, {0, 0, 0, 0, 6}, {0, 1, 0, 5, 0}, {0, 2, 0, 1, 3}, {2, 0, 0, 4, 0},
	{1, 0, 0, 4, 1}, {0, 5, 0, 1, 0}, {4, 0, 0, 0, 2}, {0, 2, 0, 4, 0}, {1, 0, 5, 0, 0}, {0, 0, 0, 0, 6},
}

// A trainee who sees 30 units six times each and calls the one defect on each by
// these kinds agrees with himself as Fleiss's judges did with each other.
func TestKappaWithOneself(t *testing.T) {
	kinds := []part.Kind{part.Bubble, part.Dust, part.Fibre, part.Crater, part.Run}
	q := Test{Spec: Spec{Number: 30, Repeats: 30, Times: 5}}
	var shown []Shown
	for i, row := range fleiss1971 {
		q.Pool = append(q.Pool, unitOf(fmt.Sprint("s", i), part.Rework, part.Bubble))
		for j, n := range row {
			for range n {
				shown = append(shown, Shown{Item: i, Answer: said(part.Rework, kinds[j])})
			}
		}
	}
	s := scoreOf(t, q, shown)
	if s.WithinKindErr != nil {
		t.Fatal(s.WithinKindErr)
	}
	to(t, "kappa", s.WithinKind.Value, 0.4302445, 7)
	// The categories stand in the order of their names.
	by := map[string]float64{"bubble": 0.245, "crater": 0.471, "dust": 0.245, "fibre": 0.520, "run": 0.566}
	for i, name := range []string{"bubble", "crater", "dust", "fibre", "run"} {
		to(t, "kappa of "+name, s.WithinKind.Categories[i].Value, by[name], 3)
	}
	if s.Within.Count != 30 || !errors.Is(s.WithinErr, study.ErrNoKappa) {
		t.Errorf("verdicts were the same on %d of 30 units, kappa: %v; want all, and no kappa as all were rework", s.Within.Count,
			s.WithinErr)
	}
}

// Kinds said against kinds known, as in the table of Cohen (1960) with its cells
// from memory (published kappa .492), marks exactly on the defects.
func TestKappaOfKinds(t *testing.T) {
	kinds := []part.Kind{part.Bubble, part.Dust, part.Fibre}
	q := Test{Spec: Spec{Number: 200}}
	var shown []Shown
	for i, row := range [][]int{{88, 14, 18}, {10, 40, 10}, {2, 6, 12}} {
		for j, n := range row {
			for range n {
				q.Pool = append(q.Pool, unitOf(fmt.Sprint("k", len(q.Pool)), part.Rework, kinds[i]))
				shown = append(shown, Shown{Item: len(q.Pool) - 1, Answer: said(part.Rework, kinds[j])})
			}
		}
	}
	s := scoreOf(t, q, shown)
	if s.KindErr != nil {
		t.Fatal(s.KindErr)
	}
	to(t, "kappa of kinds", s.Kind.Value, 0.492, 3)
	to(t, "bubbles called bubbles", s.Kinds[0].RightKind.Value(), 88.0/120, 9)
	if s.Confusion.Counts[1][0] != 10 || s.Kinds[0].Found.Count != 120 || len(s.Mistakes) != 60 {
		t.Errorf("dust called bubble %d times, %d bubbles found, %d mistakes; want 10, 120, 60", s.Confusion.Counts[1][0],
			s.Kinds[0].Found.Count, len(s.Mistakes))
	}
}

// Sizes seen or not, as the beetles of Bliss (1935) died or not: the same curve.
// Published coefficients -60.72 and 34.27 (Dobson; from memory); x90 and its bound
// 1.835835 and 1.846771 computed with R 4.2.2 (glm).
func TestSizeSeenNineInTen(t *testing.T) {
	dose := []float64{1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839}
	of, dead := []int{59, 60, 62, 56, 63, 59, 62, 60}, []int{6, 13, 18, 28, 52, 53, 61, 60}
	q := Test{Spec: Spec{Number: 1}}
	var shown []Shown
	for i := range dose {
		for n := range of[i] {
			it := unitOf(fmt.Sprint("b", len(q.Pool)), part.Rework, part.Bubble)
			it.Known[0].SizeMM = dose[i]
			q.Pool = append(q.Pool, it)
			a := said(part.Rework)
			if n < dead[i] {
				a = said(part.Rework, part.Bubble)
			}
			shown = append(shown, Shown{Item: len(q.Pool) - 1, Answer: a})
		}
	}
	s := scoreOf(t, q, shown)
	if len(s.Curves) != 2 || s.Curves[0].Kind != "" || s.Curves[1].Kind != part.Bubble || s.Curves[0].Err != nil {
		t.Fatalf("curves %+v", s.Curves)
	}
	d := s.Curves[1].Detection
	if d.Of != 481 || d.Found != 291 {
		t.Fatalf("%d of %d", d.Found, d.Of)
	}
	if d.Fit.Scale == study.PlainSize {
		to(t, "size seen 9 times in 10", d.A90, 1.835835, 6)
		to(t, "its upper bound", d.Upper[study.LikelihoodRatio], 1.846771, 5)
	} else { // ln size fits these doses about as well: the size hardly changes
		to(t, "size seen 9 times in 10", d.A90, 1.836, 2)
	}
}

// A curve is not believed beyond the sizes that were shown.
func TestSizeWithinWhatWasShown(t *testing.T) {
	score := func(n int, found func(i int) bool) Score {
		q := Test{Spec: Spec{Number: n}}
		var shown []Shown
		for i := range n {
			it := unitOf(fmt.Sprint("z", i), part.Rework, part.Bubble)
			it.Known[0].SizeMM = 0.1 + 0.5*float64(i)/float64(n)
			q.Pool = append(q.Pool, it)
			a := said(part.Rework)
			if found(i) {
				a = said(part.Rework, part.Bubble)
			}
			shown = append(shown, Shown{Item: i, Answer: a})
		}
		return scoreOf(t, q, shown)
	}
	for name, c := range map[string]struct {
		n     int
		found func(int) bool
		want  Seen
	}{
		"half of them, a little more of the large ones": {40, func(i int) bool { return i%2 == 0 || i > 36 }, SeenAbove},
		"all but one small one in the middle":           {40, func(i int) bool { return i != 3 }, SeenFrom},
		"all but one of the smallest two hundred":       {200, func(i int) bool { return i != 60 }, SeenBelow},
		"all of forty": {40, func(int) bool { return true }, SeenAll},
		"all of five":  {5, func(int) bool { return true }, SeenFew},
		"none":         {5, func(int) bool { return false }, SeenNone},
	} {
		s := score(c.n, c.found)
		mm, seen := s.Curves[0].Size()
		if seen != c.want || !math.IsNaN(mm) && !(mm >= s.Curves[0].Detection.Smallest && mm <= s.Curves[0].Detection.Largest) {
			t.Errorf("%s: %s, %g", name, seen, mm)
		}
	}
}

// Where marks lie: on it, beside it within the tolerance, beyond; on a fibre's box
// and not its middle; twice on one; on what cannot be seen.
func TestMarks(t *testing.T) {
	it := unitOf("m", part.Rework, part.Bubble)
	it.Known = append(it.Known,
		KnownDefect{Kind: part.Fibre, Box: part.Box{800, 300, 300, 100}, SizeMM: 4, Measure: "length", CNR: 50},
		KnownDefect{Kind: part.Dust, Box: part.Box{1200, 900, 4, 4}, SizeMM: 0.05, Measure: "diameter", CNR: 2})
	q := Test{Spec: Spec{Number: 1}, Pool: []Item{it}}
	score := func(marks ...QuizMark) Score {
		return scoreOf(t, q, []Shown{{Item: 0, Answer: Answer{Verdict: part.Rework, TookS: 1, Marks: marks}}})
	}
	s := score(QuizMark{130, 110, part.Bubble}, QuizMark{1090, 390, part.Fibre})
	if len(s.Mistakes) != 0 || s.FalseMarks.Count != 0 {
		t.Errorf("both were found; mistakes %+v, %d false", s.Mistakes, s.FalseMarks.Count)
	}
	to(t, "on the fibre's box", s.OffMM[0], 0, 9)
	to(t, "20 px off the bubble's middle at 15 um a pixel", s.OffMM[1], 0.3, 9)
	// 0.5 mm is 33.3 px: the bubble's box ends at 120, so that 153 still tells of it.
	if s := score(QuizMark{153, 110, part.Bubble}); s.Kinds[0].Found.Count != 1 {
		t.Error("a mark 33 px beside the box, of 33.3 allowed, does not tell of it")
	}
	if s := score(QuizMark{160, 110, part.Bubble}); s.Kinds[0].Found.Count != 0 || s.FalseMarks.Count != 1 {
		t.Errorf("a mark 40 px beside the box found it, or is not false (%d)", s.FalseMarks.Count)
	}
	s = score(QuizMark{110, 110, part.Bubble}, QuizMark{112, 110, part.Dust})
	if s.FalseMarks.Count != 0 || s.Kinds[0].Found.Count != 1 {
		t.Error("a second mark on the same defect is neither a find nor false")
	}
	if s := score(QuizMark{1202, 902, part.Dust}); s.FalseMarks.Count != 0 || s.Mistakes[0].Missed[0] != 0 ||
		len(s.Mistakes[0].Missed) != 2 {
		t.Errorf("what cannot be seen is neither asked nor false: %+v", s.Mistakes)
	}
}

func TestScoreOfTooLittle(t *testing.T) {
	q := Test{Spec: Spec{Number: 2}, Pool: []Item{unitOf("a", part.Pass), unitOf("b", part.Pass)}}
	if _, err := NewScore(q, nil, DefaultScoreOptions()); !errors.Is(err, ErrNoAnswer) {
		t.Error(err)
	}
	if _, err := NewScore(q, []Shown{{Item: 0, Gone: true}}, DefaultScoreOptions()); !errors.Is(err, ErrNoAnswer) {
		t.Error(err)
	}
	s := scoreOf(t, q, []Shown{{Item: 0, Answer: said(part.Pass)}, {Item: 1, Gone: true}})
	j := s.Verdict
	if s.Gone != 1 || s.Units != 1 || !errors.Is(j.ReferenceErr, study.ErrNoKappa) || !math.IsNaN(j.Miss.Value()) ||
		j.Fitness != study.FitUnknown {
		t.Errorf("one clean unit called clean: %+v", s)
	}
	// Only bad ones, all called bad: no miss, and no false alarm could be.
	q.Pool[0], q.Pool[1] = unitOf("a", part.Rework, part.Bubble), unitOf("b", part.Rework, part.Bubble)
	s = scoreOf(t, q, []Shown{{Item: 0, Answer: said(part.Rework, part.Bubble)}, {Item: 1, Answer: said(part.Rework, part.Bubble)}})
	if j := s.Verdict; j.Miss.Value() != 0 || j.Miss.Of != 2 || !math.IsNaN(j.FalseAlarm.Value()) || j.FalseAlarms != study.FitUnknown {
		t.Errorf("only bad units: miss %+v, false alarm %+v", j.Miss, j.FalseAlarm)
	}
	if !errors.Is(s.KindErr, study.ErrNoKappa) {
		t.Errorf("one kind only: %v", s.KindErr)
	}
	// Time over and nothing said: the unit would have gone on.
	s = scoreOf(t, q, []Shown{{Item: 0, Answer: Answer{TimeOver: true, TookS: 60}}})
	if s.Verdict.Miss.Count != 1 || s.TimeOver != 1 {
		t.Error("a defective unit whose time was over is a miss")
	}
}
