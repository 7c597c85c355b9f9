package proof

import (
	"math"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// Doubt is a picture that does not show what its name says.
type Doubt struct {
	At     int         // its place among those that were given
	Name   string      // one of the words below
	Remedy part.Phrase // what is wrong with it, and what to do
}

// What can be wrong: part.Problem.Name.
const (
	SameTurn   = "same_turn"      // the unit stands as in the picture of another turn
	SameLight  = "same_light"     // the light is that of another picture of the pose
	Swapped    = "lights_swapped" // two lights are named the wrong way round
	OtherUnit  = "other_unit"     // it fits none of the unit's turns
	WrongTurn  = "wrong_turn"     // it shows the unit at another turn than its name says
	MirrorView = "mirrored"       // left and right are exchanged
)

// When two pictures are the same but for noise, a movement, their brightness and coding. Of repeats (movement to 2 px, noise to 2.5 levels,
// brightness by 10 %, JPEG quality from 70) the share left of the light's spread was 0.004 to 0.045, most of it noise; of turns 30
// and 120 degrees apart and of two lights 0.16 to 0.99 (30 ray-traced units). Between these is nothing a repeat leaves.
const (
	restShare = 0.04 // share of the light's spread
	restNoise = 3.0  // and so many times what noise leaves
)

// trembles: a unit that was not turned stays within this share of the picture's longer side (common practice, no source).
const trembles = 0.004

// copyNoise: two pictures that were taken differ by their noise; a copy by less than this share of it (common practice, no source).
const copyNoise = 0.1

// same says that nothing but noise tells two pictures apart.
func (m match) same() bool {
	return m.ok && m.rest < restShare*m.spread+restNoise*m.noise && m.rest < mostShare*m.spread
}

// mostShare: with more noise than this nothing is told of two pictures (common practice, no source).
const mostShare = 0.12

// over matches the darker of two pictures to the brighter, in whose light what is left counts.
func over(a, b *Sight) match {
	if a == nil || b == nil {
		return match{}
	}
	if robust.Quantile(lightOf(a.coarse), 0.9) > robust.Quantile(lightOf(b.coarse), 0.9) {
		a, b = b, a
	}
	return laidOver(a, b)
}

func lightOf(p *part.Plane) []float64 {
	out := make([]float64, len(p.V))
	for i, v := range p.V {
		out[i] = float64(v)
	}
	return out
}

// TurnDiffers says whether a unit may look the same at two turns, by what is known of its
// shape: true that it must differ.
type TurnDiffers func(aDeg, bDeg float64) bool

// Turns doubts pictures of different turns that are the same: the unit was not turned between them, or one was copied. Which of them is right
// nobody can tell. Sights may be nil. A unit that looks even about its axis may look the same at any turn: unless differs, which may be
// nil, knows better it is said to be not tested.
func Turns(sights []*Sight, differs TurnDiffers) (doubts []Doubt, untested []part.Phrase) {
	named := map[int]bool{}
	for i, b := range sights {
		for j, a := range sights[:i] {
			if a == nil || b == nil || a.shot.View != b.shot.View || a.shot.View == part.Face || a.shot.Pose() == b.shot.Pose() {
				continue
			}
			m := over(a, b)
			if !m.same() || math.Hypot(m.dx, m.dy) > trembles*float64(a.step*max(a.fine.W, a.fine.H)) {
				continue
			}
			certain := m.rest < copyNoise*m.noise || differs != nil && differs(a.shot.Pose().TurnDeg, b.shot.Pose().TurnDeg)
			if !certain && a.even() && b.even() {
				untested = append(untested, part.Say("proof.even", "a", a.shot.File, "b", b.shot.File))
				continue
			}
			for _, p := range [2][2]int{{j, i}, {i, j}} {
				if named[p[0]] {
					continue
				}
				named[p[0]] = true
				doubts = append(doubts, Doubt{p[0], SameTurn, part.Say("proof.stuck", "file", sights[p[1]].shot.File)})
			}
		}
	}
	return doubts, untested
}

// brightBy: two pictures of one light are as bright to this share (common practice, no source).
const brightBy = 0.1

// Lights doubts pictures of one pose, as named under different lights, that show the same light, and such that are named the wrong way round.
// Where two differ in brightness alone neither is believed: the light may have been the same, or the plate is like
// a mirror and shows nothing but the room. Sights may be nil.
func Lights(sights []*Sight) (doubts []Doubt) {
	named := map[int]bool{}
	tell := func(at int, name, key string, of *Sight) {
		if !named[at] {
			named[at] = true
			doubts = append(doubts, Doubt{at, name, part.Say(key, "file", of.shot.File)})
		}
	}
	for i, b := range sights {
		for j, a := range sights[:i] {
			if a == nil || b == nil || a.shot.Pose() != b.shot.Pose() || a.shot.Light == b.shot.Light || a.shot.Light.OfScreen() || b.shot.Light.OfScreen() {
				continue
			}
			m := over(a, b)
			switch {
			case m.same() && math.Abs(m.gain-1) <= brightBy:
				tell(i, SameLight, "proof.same_light", a)
			case m.same():
				tell(i, SameLight, "proof.same_but_brightness", a)
				tell(j, SameLight, "proof.same_but_brightness", b)
			case swapped(a, b):
				tell(i, Swapped, "proof.swapped", a)
				tell(j, Swapped, "proof.swapped", b)
			}
		}
	}
	return doubts
}

// How raking light is told from diffuse: it comes in low, so that a surface is darker than under the dome,
// its rim and the lamps that it mirrors stand out more, and the rim is shaded less. Each says so by the logarithm of a ratio,
// held to as much as it can be believed. Common practice, no source: on 52 pairs of 30 ray-traced units the sum was above 0.5 throughout.
const (
	lightHeld  = 1.5
	standsHeld = 0.7
	shadeHeld  = 0.35
	swappedSum = -0.4
)

// filled: of the box around a unit that is seen whole it takes this share at least (an ellipse takes 0.79); mirrored lamps alone, on a dark unit before a
// ground as dark, take much less, and say nothing of the light between them (common practice, no source).
const filled = 0.5

// swapped says whether of a diffuse and a raking picture of a pose each looks like the other.
func swapped(a, b *Sight) bool {
	switch {
	case a.shot.Light == part.Raking && b.shot.Light == part.Diffuse:
		a, b = b, a
	case a.shot.Light != part.Diffuse || b.shot.Light != part.Raking:
		return false
	}
	in := region(a.fine, b.fine)
	return fills(in, a.fine.W) >= filled && diffuseness(a, b, in) < swappedSum
}

// fills is the share of a mask's box that it takes, less the hundredth that lies farthest out to each side.
func fills(mask []bool, w int) float64 {
	var xs, ys []float64
	for i, yes := range mask {
		if yes {
			xs, ys = append(xs, float64(i%w)), append(ys, float64(i/w))
		}
	}
	if len(xs) == 0 {
		return 0
	}
	span := func(v []float64) float64 { return robust.Quantile(v, 0.99) - robust.Quantile(v, 0.01) + 1 }
	return float64(len(xs)) / (span(xs) * span(ys))
}

// diffuseness is above 0 where a looks more like diffuse light than b, and below where less.
func diffuseness(a, b *Sight, in []bool) float64 {
	p, q := toneOf(a, in), toneOf(b, in)
	held := func(ratio, most float64) float64 { return max(-most, min(most, math.Log(ratio))) }
	sum := held(p.mean/q.mean, lightHeld) + held(q.stands/p.stands, standsHeld)
	if a.shot.View == part.Face { // a shell's sides are dark in any light, and one may see through it
		sum += held(p.shade/q.shade, shadeHeld)
	}
	return sum
}

// tone is how light is spread over a unit, in linear light.
type tone struct {
	mean   float64
	stands float64 // how far the brightest stand out
	shade  float64 // and how dark the darkest are
}

func toneOf(s *Sight, in []bool) tone {
	var v []float64
	sum := 0.0
	for i, yes := range in {
		if yes {
			l := math.Pow(max(0.5, float64(s.fine.V[i]))/255, 2.2)
			v = append(v, l)
			sum += l
		}
	}
	if len(v) == 0 {
		return tone{1, 1, 1}
	}
	mean := sum / float64(len(v))
	return tone{mean, robust.Quantile(v, 0.98) / mean, mean / robust.Quantile(v, 0.1)}
}
