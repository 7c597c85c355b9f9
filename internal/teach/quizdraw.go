package teach

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"

	"finishbench/internal/part"
)

// Spec is what a trainer asks of a test.
type Spec struct {
	Name       string       `json:"name"`
	Kinds      []part.Kind  `json:"kinds,omitempty"`      // asked; none: all that the pool has
	Stages     []part.Stage `json:"stages,omitempty"`     // none: all
	Difficulty Difficulty   `json:"difficulty,omitempty"` // to begin with; AnyDifficulty: mixed
	CleanShare float64      `json:"clean_share"`          // of the different units
	Number     int          `json:"number"`               // of different units
	Repeats    int          `json:"repeats"`              // of these, how many are shown again
	Times      int          `json:"times,omitempty"`      // how many more times each; 0: once
	Adapt      bool         `json:"adapt,omitempty"`      // by the answers: see Test.Next
	Prior      []KindCount  `json:"prior,omitempty"`      // with Adapt: what the trainee missed before, such as in earlier tests
	Seed       uint64       `json:"seed"`
	LimitS     float64      `json:"limit_s,omitempty"` // a unit, seconds; 0: none
	// ToleranceMM is how far beside a defect a mark still tells of it; 0: ToleranceMM.
	ToleranceMM float64 `json:"tolerance_mm,omitempty"`
	// Criteria are asked for a certificate; nil: DefaultCriteria.
	Criteria *Criteria `json:"criteria,omitempty"`
}

// KindCount is how many defects of a kind were asked, and how many missed.
type KindCount struct {
	Kind   part.Kind `json:"kind"`
	Asked  int       `json:"asked"`
	Missed int       `json:"missed"`
}

// Bounds of what a test may be; common practice, no source.
const (
	maxShown = 500
	maxLimit = 3600 // s
	gap      = 3    // showings between two of one unit, where there are enough units
)

// Test is a drawn test: what was asked, and all units that it may show.
type Test struct {
	Spec Spec   `json:"spec"`
	Pool []Item `json:"pool"`
}

// Shown is one unit as shown, with what was said.
type Shown struct {
	Item   int    // in the test's pool
	Answer Answer //
	Gone   bool   // its picture was not there any more: not counted
}

// TooSmallError says that the pool does not hold what was asked for.
type TooSmallError struct {
	Clean      bool
	Want, Have int
	Kinds      []part.Kind // asked
	Difficulty Difficulty
	OtherStage int // units of the right sort that their stage keeps out
}

func (e TooSmallError) Error() string {
	what := "with a defect that can be asked"
	if e.Clean {
		what = "without a defect"
	} else if len(e.Kinds) > 0 {
		what = "with " + kindWords(e.Kinds)
	}
	s := fmt.Sprintf("the pool has %d units %s, the test wants %d different ones", e.Have, what, e.Want)
	if e.OtherStage > 0 {
		s += fmt.Sprintf(" (%d more are of another stage)", e.OtherStage)
	}
	return s + ": ask for fewer, or add units or drawn pictures"
}

// NewTest draws a test from a pool. It keeps of the pool what may be asked: of
// the stages; clean, or with defects of the kinds only (a unit that shows
// others too would ask what was not to be asked), and, where the test does not
// adapt, of the difficulty. It refuses a pool with too few.
func NewTest(s Spec, pool []Item) (Test, error) {
	if err := s.Check(); err != nil {
		return Test{}, err
	}
	t := Test{Spec: s}
	seen := map[string]bool{}
	clean, other := 0, [2]int{}
	for _, it := range pool {
		if err := it.Check(); err != nil {
			return Test{}, err
		}
		if seen[it.Key] {
			return Test{}, fmt.Errorf("quiz item %s is there twice: name each unit once", it.Key)
		}
		seen[it.Key] = true
		if !s.asks(it) {
			continue
		}
		if len(s.Stages) > 0 && !slices.Contains(s.Stages, it.Stage) {
			other[index(it.Clean())]++
			continue
		}
		t.Pool = append(t.Pool, it)
		clean += index(it.Clean())
	}
	wantClean := s.clean()
	if clean < wantClean {
		return Test{}, TooSmallError{Clean: true, Want: wantClean, Have: clean, OtherStage: other[1]}
	}
	if have := len(t.Pool) - clean; have < s.Number-wantClean {
		return Test{}, TooSmallError{Want: s.Number - wantClean, Have: have, Kinds: s.Kinds, Difficulty: s.Difficulty, OtherStage: other[0]}
	}
	return t, nil
}

func index(yes bool) int {
	if yes {
		return 1
	}
	return 0
}

// Check says what is wrong with what is asked.
func (s Spec) Check() error {
	switch {
	case s.Number < 1:
		return errors.New("quiz: ask for one unit or more")
	case !(s.CleanShare >= 0 && s.CleanShare <= 1):
		return fmt.Errorf("quiz: the share of clean units is %g: 0 to 1 is wanted", s.CleanShare)
	case s.Repeats < 0 || s.Repeats > s.Number:
		return fmt.Errorf("quiz: %d of %d units cannot be shown again", s.Repeats, s.Number)
	case s.Times < 0:
		return fmt.Errorf("quiz: a unit cannot be shown again %d times", s.Times)
	case s.Showings() > maxShown:
		return fmt.Errorf("quiz: %d showings are too many for one test: at most %d", s.Showings(), maxShown)
	case !(s.LimitS >= 0 && s.LimitS <= maxLimit):
		return fmt.Errorf("quiz: the time limit is %g s: 0 (none) to %d is wanted", s.LimitS, maxLimit)
	case s.Difficulty < AnyDifficulty || s.Difficulty > Hard:
		return fmt.Errorf("quiz: difficulty %d: 1 (easy) to 3 (hard), or 0 for mixed", s.Difficulty)
	case !(s.ToleranceMM >= 0 && s.ToleranceMM <= 5):
		return fmt.Errorf("quiz: the tolerance of a mark is %g mm: 0 to 5 is wanted", s.ToleranceMM)
	}
	if s.Criteria != nil {
		if err := s.Criteria.Check(); err != nil {
			return err
		}
	}
	for _, k := range s.Kinds {
		if !slices.Contains(part.Kinds, k) {
			return fmt.Errorf("quiz: %q is no kind of defect", k)
		}
	}
	for _, p := range s.Prior {
		if p.Missed < 0 || p.Missed > p.Asked {
			return fmt.Errorf("quiz: %d of %d earlier defects missed (%s) cannot be", p.Missed, p.Asked, p.Kind)
		}
	}
	for _, st := range s.Stages {
		if !slices.Contains(part.Stages, st) {
			return fmt.Errorf("quiz: stage %q: use trim, wet or cured", st)
		}
	}
	return nil
}

// Showings is how many units are shown, those shown again counted again.
func (s Spec) Showings() int { return s.Number + s.Repeats*s.times() }

// Asked are the criteria of a certificate.
func (s Spec) Asked() Criteria {
	if s.Criteria != nil {
		return *s.Criteria
	}
	return DefaultCriteria()
}

func (s Spec) times() int { return max(1, s.Times) }

func (s Spec) clean() int { return int(s.CleanShare*float64(s.Number) + 0.5) }

// Tolerance is how far beside a defect a mark still tells of it, mm.
func (s Spec) Tolerance() float64 {
	if s.ToleranceMM > 0 {
		return s.ToleranceMM
	}
	return ToleranceMM
}

// asks says whether a unit may be asked, its stage aside.
func (s Spec) asks(it Item) bool {
	if it.Clean() {
		return true
	}
	for _, k := range it.kinds() {
		if len(s.Kinds) > 0 && !slices.Contains(s.Kinds, k) {
			return false
		}
	}
	return s.Adapt || s.Difficulty == AnyDifficulty || it.Difficulty() == s.Difficulty
}

// rng draws for one purpose at one place of a test, whatever was drawn before:
// PCG-DXSM (O'Neill 2014), seeded with the test's seed, purpose and place.
func (t Test) rng(purpose, place uint64) *rand.PCG {
	return rand.NewPCG(t.Spec.Seed, purpose<<32|place)
}

// below is a whole number from 0 to n-1.
func below(r *rand.PCG, n int) int { return int(r.Uint64() % uint64(n)) } // n is small: the remainder's bias is below 1e-16

// Purposes of drawing.
const (
	drawClean  = 1 // which of the different units are clean
	drawAgain  = 2 // whether a place shows a unit again
	drawRepeat = 3 // which one
	drawNew    = 4 // which new one
)

// cleanPlan says which of the different units, in the order of showing, are clean.
func (t Test) cleanPlan() []bool {
	plan := make([]bool, t.Spec.Number)
	for i := range t.Spec.clean() {
		plan[i] = true
	}
	r := t.rng(drawClean, 0)
	for i := len(plan) - 1; i > 0; i-- {
		j := below(r, i+1)
		plan[i], plan[j] = plan[j], plan[i]
	}
	return plan
}

// Next is the unit to be shown after those that were, as its place in the pool;
// false where the test is over. It follows from the test and from what was shown
// and answered alone, so that the same answers give the same test:
//
//   - Each place is drawn with a generator seeded by the test's seed and the
//     place. Which places show a clean unit, and which a unit again, does not hang
//     on any answer.
//   - A unit is shown again after three others or more, where there are so many.
//   - Among units with defects that were not shown yet one is drawn with the
//     weight of its heaviest kind times that of its difficulty. Without Adapt all
//     weigh the same.
//   - With Adapt a kind weighs 1 + 4 (misses + 1/2) / (asked + 1), counted over
//     what the test was given of earlier ones (Spec.Prior) and the answers so far:
//     between 1 where it is always found and 5 where it is always missed, 3 at the start.
//   - With Adapt the difficulty begins as asked (mixed: easy); after two
//     defective units in a row that were answered right it rises by one, after one
//     that was not it falls by one (two up, one down: Levitt 1971, J. Acoust. Soc.
//     Am. 49:467, which settles where 71 % are right). A unit weighs 1 at that
//     difficulty, 1/8 one off, 1/64 two off.
func (t Test) Next(shown []Shown) (item int, ok bool) {
	place := len(shown)
	if place >= t.Spec.Showings() {
		return 0, false
	}
	order, times, last := firstShown(shown)
	again := t.again(place, order, times, last)
	if again >= 0 {
		return again, true
	}
	clean := t.cleanPlan()[len(order)]
	weights := make([]float64, len(t.Pool))
	sum := 0.0
	kinds, level := t.standing(shown)
	for i, it := range t.Pool {
		if times[i] > 0 || it.Clean() != clean {
			continue
		}
		weights[i] = 1
		if t.Spec.Adapt && !clean {
			weights[i] = kinds.of(it) * nearness(it.Difficulty(), level)
		}
		sum += weights[i]
	}
	if sum == 0 {
		return 0, false // NewTest sees to it that there are enough
	}
	at := float64(t.rng(drawNew, uint64(place)).Uint64()>>11) / (1 << 53) * sum
	chosen := -1
	for i, w := range weights {
		if w == 0 {
			continue
		}
		chosen = i
		if at -= w; at < 0 {
			break
		}
	}
	return chosen, true
}

// firstShown are the different units in the order of their first showing, and by
// unit how often and when last it was shown.
func firstShown(shown []Shown) (order []int, times, last map[int]int) {
	times, last = map[int]int{}, map[int]int{}
	for i, s := range shown {
		if times[s.Item] == 0 {
			order = append(order, s.Item)
		}
		times[s.Item]++
		last[s.Item] = i
	}
	return order, times, last
}

// again is the unit that a place shows again, or -1 for a new one.
func (t Test) again(place int, order []int, times, last map[int]int) int {
	s := t.Spec
	fresh := s.Number - len(order)
	left := s.Showings() - place - fresh // showings again that are left
	if left <= 0 {
		return -1
	}
	begun := 0
	for _, i := range order {
		begun += index(times[i] > 1)
	}
	var may, near []int
	for _, i := range order {
		if times[i] > s.times() || times[i] == 1 && begun >= s.Repeats {
			continue
		}
		near = append(near, i)
		if place-last[i] > gap {
			may = append(may, i)
		}
	}
	if fresh > 0 {
		if len(may) == 0 || below(t.rng(drawAgain, uint64(place)), fresh+left) < fresh {
			return -1
		}
	} else if len(may) == 0 {
		may = near // no new unit is left: sooner than wished
		slices.SortStableFunc(may, func(a, b int) int { return last[a] - last[b] })
		may = may[:1]
	}
	return may[below(t.rng(drawRepeat, uint64(place)), len(may))]
}

// kindWeights are the weights of kinds, by the misses so far.
type kindWeights map[part.Kind]float64

func (w kindWeights) of(it Item) float64 {
	most := 0.0
	for _, k := range it.kinds() {
		if v, ok := w[k]; ok {
			most = max(most, v)
		} else {
			most = max(most, missWeight(0, 0))
		}
	}
	return most
}

func missWeight(misses, asked int) float64 { return 1 + 4*(float64(misses)+0.5)/(float64(asked)+1) }

// nearness is the weight of a difficulty where another is wanted.
func nearness(have, want Difficulty) float64 {
	w := 1.0
	for range max(have-want, want-have) {
		w /= 8
	}
	return w
}

// standing is where the answers so far lead: see Next.
func (t Test) standing(shown []Shown) (kindWeights, Difficulty) {
	asked, misses := map[part.Kind]int{}, map[part.Kind]int{}
	for _, p := range t.Spec.Prior {
		asked[p.Kind] += p.Asked
		misses[p.Kind] += p.Missed
	}
	level := max(Easy, t.Spec.Difficulty)
	row := 0
	for _, s := range shown {
		it := t.Pool[s.Item]
		if s.Gone || it.Clean() {
			continue
		}
		o := it.judge(s.Answer, t.Spec.Tolerance())
		for i, k := range it.Known {
			if k.Visible() {
				asked[k.Kind]++
				misses[k.Kind] += index(o.Mark[i] < 0)
			}
		}
		if !it.right(s.Answer, o) {
			row, level = 0, max(Easy, level-1)
		} else if row++; row == 2 {
			row, level = 0, min(Hard, level+1)
		}
	}
	w := kindWeights{}
	for k, n := range asked {
		w[k] = missWeight(misses[k], n)
	}
	return w, level
}
