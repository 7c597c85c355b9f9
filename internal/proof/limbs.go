package proof

import (
	"math"
	"slices"
	"strconv"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// Limbs are the two sides of a unit in a picture from the side, at one height near its faceplate.
type Limbs struct {
	At              int // the picture's place among those that were given
	File            string
	TurnDeg         float64
	LeftMM, RightMM float64 // in the picture, from a column that is the same in all of them
}

func (l Limbs) width() float64  { return l.RightMM - l.LeftMM }
func (l Limbs) middle() float64 { return (l.RightMM + l.LeftMM) / 2 }

// Plate is the outline of a unit's faceplate, seen onto it.
type Plate struct {
	Outline []part.Point // any unit of length, y down
	MMPerPX float64      // of it
}

// support is how far the outline reaches in a direction, mm: its support function.
func (p Plate) support(deg float64) float64 {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	most := math.Inf(-1)
	for _, q := range p.Outline {
		most = max(most, q.X*cos+q.Y*sin)
	}
	return most * p.MMPerPX
}

// at is how wide the unit shows at a turn, and where the middle of its two sides lies, mm.
func (p Plate) at(turnDeg float64) (width, middle float64) {
	right, left := p.support(turnDeg), -p.support(turnDeg+180)
	return right - left, (right + left) / 2
}

// How well limbs keep to an outline, as shares of the unit's width. On 18 ray-traced units widths kept to 0.008 and
// middles to 0.0015 of it, the outermost strip of the plate being where its outline is least sure; turned the other way round widths were
// off by up to 0.016 to 0.08, middles by 0.003 to 0.05. Common practice, no source.
const (
	widthKept  = 0.012 // each width, its scale told by all
	middleKept = 0.003 // each middle, about where the axis puts it
	scaleLeast = 0.93  // scales that agree: seen onto its faceplate a unit is as wide as its shell,
	scaleMost  = 1.03  // which bulges out under the seam; on these units limbs were 0.96 to 0.99 of it
	scanDeg    = 2.0   // step in which the face's direction is looked for
)

// course is how pictures keep to an outline, taken to show it at given turns.
type course struct {
	width, middle float64 // the farthest off, shares of the width; NaN: too few to say
	scale         float64
}

// keeps says that widths fit, and middles where they can be judged.
func (c course) keeps() bool { return c.byWidth() && !(c.middle > middleKept) }

func (c course) byWidth() bool { return c.width <= widthKept }

// courseOf takes the unit to stand at the given turns; a flip has left and right exchanged.
func (p Plate) courseOf(limbs []Limbs, turns []float64, flip int) course {
	n := len(limbs)
	ratios, mids := make([]float64, n), make([]float64, n)
	for i, l := range limbs {
		w, m := p.at(turns[i])
		ratios[i], mids[i] = l.width()/w, m
	}
	c := course{scale: robust.Quantile(slices.Clone(ratios), 0.5), middle: math.NaN()}
	for _, r := range ratios {
		c.width = max(c.width, math.Abs(r/c.scale-1))
	}
	if n < leastMiddles {
		return c
	}
	// Where the axis lies in the picture, and where it passes through the outline: three unknowns.
	var a [3][4]float64
	row := func(i int) [4]float64 {
		sin, cos := math.Sincos(turns[i] * math.Pi / 180)
		m := limbs[i].middle()
		if i == flip {
			m = -m // about the picture's middle column: see Limbs
		}
		return [4]float64{1, cos, sin, m - c.scale*mids[i]}
	}
	for i := range limbs {
		r := row(i)
		for j := range 3 {
			for k := range 4 {
				a[j][k] += r[j] * r[k]
			}
		}
	}
	x, ok := solve3(a)
	if !ok {
		return c
	}
	c.middle = 0
	for i, l := range limbs {
		r := row(i)
		c.middle = max(c.middle, math.Abs(r[3]-x[0]-x[1]*r[1]-x[2]*r[2])/l.width())
	}
	return c
}

// leastTurns: with fewer nothing is refused, for the outline itself may be wrong. fewTurnsKept is then what is told of (common practice, no source).
const (
	leastTurns   = 4
	fewTurnsKept = 0.06
)

// leastMiddles: three unknowns, and two turns to judge them by.
const leastMiddles = 5

func solve3(a [3][4]float64) (x [3]float64, ok bool) {
	for k := range 3 {
		if !(a[k][k] > 1e-9) {
			return x, false
		}
		for r := range 3 {
			if f := a[r][k] / a[k][k]; r != k {
				for c := k; c < 4; c++ {
					a[r][c] -= f * a[k][c]
				}
			}
		}
	}
	for k := range 3 {
		x[k] = a[k][3] / a[k][k]
	}
	return x, true
}

// Differs is what an outline says of two turns; see [TurnDiffers]. Where the unit is as wide at both it may look the same, or not.
func (p Plate) Differs(aDeg, bDeg float64) bool {
	w, _ := p.at(aDeg)
	v, _ := p.at(bDeg)
	return math.Abs(w/v-1) > widthKept
}

// OfFace stands for the pictures of the face in a [Doubt] of [Plate.Course].
const OfFace = -1

// Course doubts pictures from the side, of one view, that show the unit at another turn than they are named, or
// another unit: what they show is held against the outline of the faceplate. Pictures that are doubted already are to be left out. untested says
// what could not be told.
func (p Plate) Course(view part.View, limbs []Limbs) (doubts []Doubt, untested []part.Phrase) {
	n := len(limbs)
	if n < 2 {
		return nil, nil
	}
	named := make([]float64, n)
	for i, l := range limbs {
		named[i] = l.TurnDeg
	}
	as := func(f func(i int) float64) course {
		turns := make([]float64, n)
		for i := range turns {
			turns[i] = f(i)
		}
		return p.courseOf(limbs, turns, -1)
	}
	ofView := func(p part.Phrase) part.Phrase {
		return part.Say("proof.of_view", "view", "@view."+string(view)).With("what", p)
	}
	note := func(p part.Phrase) ([]Doubt, []part.Phrase) { return nil, append(untested, ofView(p)) }
	doubt := func(name string, which func(i int) bool, say func(i int) part.Phrase) ([]Doubt, []part.Phrase) {
		for i, l := range limbs {
			if which(i) {
				doubts = append(doubts, Doubt{l.At, name, say(i)})
			}
		}
		return doubts, nil
	}
	if n < leastTurns {
		if c := p.courseOf(limbs, named, -1); c.width > fewTurnsKept {
			return note(part.Say("proof.few_turns", "n", strconv.Itoa(leastTurns)))
		}
		return nil, nil
	}
	stands, back := p.courseOf(limbs, named, -1), as(func(i int) float64 { return -named[i] })
	if stands.keeps() {
		if stands.scale < scaleLeast || stands.scale > scaleMost {
			untested = append(untested, ofView(part.Say("proof.height", "times", two(stands.scale))))
		}
		switch {
		case as(func(int) float64 { return named[0] }).keeps():
			return note(part.Say("proof.too_round"))
		case back.keeps():
			return note(part.Say("proof.too_even"))
		}
		return nil, untested
	}
	if back.keeps() {
		turned := func(i int) bool { return part.Turn(2*named[i]) != 0 }
		return doubt(WrongTurn, turned, func(i int) part.Phrase {
			return part.Say("proof.wrong_way").With("at", part.Turns(part.Turn(-named[i]))).With("named", part.Turns(named[i]))
		})
	}
	if stands.byWidth() { // then it is middles that do not fit
		for i := range limbs {
			if p.courseOf(limbs, named, i).keeps() {
				return doubt(MirrorView, func(k int) bool { return k == i }, func(int) part.Phrase { return part.Say("proof.mirrored") })
			}
		}
	}
	if !stands.byWidth() || n > leastMiddles {
		if i, ok := p.odd(limbs); ok {
			return []Doubt{p.sayOdd(limbs, named, i)}, nil
		}
	}
	for k := n - 1; k > 0; k-- { // from the picture at k on
		for _, by := range steps(named) {
			if as(func(i int) float64 {
				if i >= k {
					return named[i] + by
				}
				return named[i]
			}).keeps() {
				off := part.Say("proof.farther", "file", limbs[k].File).With("by", part.Turns(by))
				return doubt(WrongTurn, func(i int) bool { return i >= k }, func(int) part.Phrase { return off })
			}
		}
	}
	for k := range n {
		for j := range k {
			swap := map[int]int{j: k, k: j}
			if as(func(i int) float64 {
				if o, ok := swap[i]; ok {
					return named[o]
				}
				return named[i]
			}).keeps() {
				which := func(i int) bool { return i == j || i == k }
				return doubt(WrongTurn, which, func(i int) part.Phrase { return part.Say("proof.names_exchanged", "file", limbs[swap[i]].File) })
			}
		}
	}
	if stands.byWidth() {
		return note(part.Say("proof.off_axis"))
	}
	for by := scanDeg; by < 180; by += scanDeg {
		for _, sign := range [2]float64{1, -1} {
			if as(func(i int) float64 { return sign*named[i] + by }).keeps() {
				return note(part.Say("proof.face_turned").With("by", part.Turns(by)))
			}
		}
	}
	none := part.Say("proof.no_fit")
	doubt(OtherUnit, func(int) bool { return true }, func(int) part.Phrase { return none })
	return append(doubts, Doubt{OfFace, OtherUnit, none}), nil
}

// steps are by how much a turntable may be off: the distances between turns that were named.
func steps(named []float64) []float64 {
	var out []float64
	for i := 1; i < len(named); i++ {
		for _, d := range [2]float64{named[i] - named[i-1], named[i-1] - named[i]} {
			if !slices.Contains(out, d) {
				out = append(out, d)
			}
		}
	}
	return out
}

// odd finds the one picture without which the others keep to their names.
func (p Plate) odd(limbs []Limbs) (at int, ok bool) {
	best := course{width: math.Inf(1)}
	for i := range limbs {
		rest := slices.Delete(slices.Clone(limbs), i, i+1)
		turns := make([]float64, len(rest))
		for k, l := range rest {
			turns[k] = l.TurnDeg
		}
		if c := p.courseOf(rest, turns, -1); c.keeps() && c.width < best.width {
			best, at, ok = c, i, true
		}
	}
	return at, ok
}

// sayOdd tells what the odd picture may be: the unit at a turn near by, else another unit.
func (p Plate) sayOdd(limbs []Limbs, named []float64, odd int) Doubt {
	l := limbs[odd]
	others := slices.Delete(slices.Clone(named), odd, odd+1)
	for _, by := range steps(named) {
		others = append(others, l.TurnDeg+by)
	}
	for _, t := range others {
		turns := slices.Clone(named)
		turns[odd] = t
		if p.courseOf(limbs, turns, -1).keeps() {
			return Doubt{l.At, WrongTurn, part.Say("proof.other_turn").With("at", part.Turns(part.Turn(t))).With("named", part.Turns(l.TurnDeg))}
		}
	}
	w, _ := p.at(l.TurnDeg)
	return Doubt{l.At, OtherUnit, part.Say("proof.other_width", "width_mm", two(l.width()), "wanted_mm", two(w)).With("named", part.Turns(l.TurnDeg))}
}

func two(v float64) string { return strconv.FormatFloat(v, 'f', 2, 64) }
