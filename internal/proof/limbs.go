package proof

import (
	"fmt"
	"math"
	"slices"

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

// leastTurns: with fewer nothing is refused, for the outline itself may be wrong. fewKept is then what is told of (common practice, no source).
const (
	leastTurns = 4
	fewKept    = 0.06
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
func (p Plate) Course(view part.View, limbs []Limbs) (doubts []Doubt, untested []string) {
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
	note := func(format string, a ...any) ([]Doubt, []string) {
		return nil, append(untested, fmt.Sprintf("%s: %s", view, fmt.Sprintf(format, a...)))
	}
	doubt := func(name string, which func(i int) bool, say func(i int) string) ([]Doubt, []string) {
		for i, l := range limbs {
			if which(i) {
				doubts = append(doubts, Doubt{l.At, name, say(i)})
			}
		}
		return doubts, nil
	}
	if n < leastTurns {
		if c := p.courseOf(limbs, named, -1); c.width > fewKept {
			return note("the widths at its turns do not fit the outline in the face picture: a turn is not the one that it is named, or a picture is of another unit; with less than %d turns which is not tested", leastTurns)
		}
		return nil, nil
	}
	stands, back := p.courseOf(limbs, named, -1), as(func(i int) float64 { return -named[i] })
	if stands.keeps() {
		if stands.scale < scaleLeast || stands.scale > scaleMost {
			const height = "from the side the unit is %.2f times as wide as its outline in the face picture: one of the two scales was made at another height than the unit's, or for another lens; make it where the unit lies"
			untested = append(untested, fmt.Sprintf("%s: %s", view, fmt.Sprintf(height, stands.scale)))
		}
		switch {
		case as(func(int) float64 { return named[0] }).keeps():
			return note("the faceplate is too round for its outline to tell the turns: whether the names are right is not tested")
		case back.keeps():
			return note("the faceplate is too even for its outline to tell which way the unit was turned: that is not tested")
		}
		return nil, untested
	}
	if back.keeps() {
		const other = "it fits the faceplate's outline at %s, not at %s, and so do the others: the unit was turned the wrong way round, or the face picture is mirrored; more degrees turn it counter-clockwise as seen onto the faceplate"
		turned := func(i int) bool { return part.Turn(2*named[i]) != 0 }
		return doubt(WrongTurn, turned, func(i int) string {
			return fmt.Sprintf(other, part.Degrees(part.Turn(-named[i])), part.Degrees(named[i]))
		})
	}
	if stands.byWidth() { // then it is middles that do not fit
		for i := range limbs {
			if p.courseOf(limbs, named, i).keeps() {
				const mirrored = "left and right are exchanged in it: it is a mirrored picture; take it again without mirroring"
				return doubt(MirrorView, func(k int) bool { return k == i }, func(int) string { return mirrored })
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
				const off = "from %s on the unit stands %s farther than the names say: a turn was left out, or made twice; photograph all turns again"
				return doubt(WrongTurn, func(i int) bool { return i >= k }, func(int) string { return fmt.Sprintf(off, limbs[k].File, part.Degrees(by)) })
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
				return doubt(WrongTurn, which, func(i int) string {
					return fmt.Sprintf("it is the picture of %s, and that is this one's: exchange their names", limbs[swap[i]].File)
				})
			}
		}
	}
	if stands.byWidth() {
		return note("the unit did not stay on its axis between turns: how wide it is fits them, but which way it was turned, and whether a picture is mirrored, is not tested")
	}
	for by := scanDeg; by < 180; by += scanDeg {
		for _, sign := range [2]float64{1, -1} {
			if as(func(i int) float64 { return sign*named[i] + by }).keeps() {
				return note("the faceplate lies turned by about %s in the face picture against these: the turns fit each other, but whether each is the one that it is named is not tested", part.Degrees(by))
			}
		}
	}
	const none = "the outline in the face picture and what is seen from the side do not fit: they are of different units, or turns are in no order; photograph the unit's face and turns again"
	doubt(OtherUnit, func(int) bool { return true }, func(int) string { return none })
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
			return Doubt{l.At, WrongTurn, fmt.Sprintf("it shows the unit as at %s, not at %s: turn the unit, and take it again", part.Degrees(part.Turn(t)), part.Degrees(l.TurnDeg))}
		}
	}
	w, _ := p.at(l.TurnDeg)
	const other = "it does not fit the faceplate's outline, as the other turns do: the unit shows %.2f mm wide where %.2f mm are to be seen at %s; it is another unit, or another turn: take it again"
	return Doubt{l.At, OtherUnit, fmt.Sprintf(other, l.width(), w, part.Degrees(l.TurnDeg))}
}
