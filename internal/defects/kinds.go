package defects

import (
	"math"
	"slices"

	"finishbench/internal/defects/search"
	"finishbench/internal/defects/shape"
	"finishbench/internal/part"
)

// Limits between kinds, in millimetres and relative contrast. All are common
// practice, no source, from what lacquer, dust and abrasive do to light:
// a dust inclusion is opaque and changes light by more than glass-clear lacquer
// can; a bubble is clear; a crater is shallow and wide; an abrasive leaves many
// lines, a fibre is one.
const (
	lineMinMM      = 0.30  // a line is at least this long
	lineMinSlender = 6.0   // and this many times longer than thick
	bentMinSlender = 8.0   // a bent one, which has no one direction, this many
	lineMaxThickMM = 0.115 // and no thicker
	bundleMaxThick = 0.25  // or, with three lines and more, than this
	sandingLines   = 2     // lines that make a patch of sanding marks
	bundleLength   = 1.5   // the lines of a bundle add up to this many times its length
	lineGrain      = 10.0  // a ragged line is this much more uneven across than along
	bundleGrain    = 4.0   // and it is this much more uneven across than along
	opaqueDome     = 0.14  // relative change of light from which a spot is opaque, under a dome
	opaqueRaking   = 0.28  // and under low light
	opaqueBoth     = 3.0   // what shows in one light at its limit shows in another at the limit over this
	opaqueSized    = 0.5   // from which a spot is measured as an opaque one
	clearChange    = 0.04  // relative change of light to either side that only something clear makes
	strongLine     = 6.0   // a line that stands out so far over its threshold is told by its core,
	strongShare    = 0.6   // which is this share of its length,
	strongLongMM   = 0.6   // from this length on
	clearMostMM    = 0.55  // what glints and is no wider is a bubble
	glintsMore     = 4.0   // a glint is so many times what the same thing hides in another light
	glint          = 0.25  // relative change of light in one picture alone that is a lamp mirrored in a slope
	slopeLine      = 0.2   // a slope mirrors one lamp: a line, a bundle or a wide place changes the other lights by less than this share,
	slopeSpot      = 0.06  // a spot by less than this,
	slopeStrength  = 0.3   // and stands out by less than this share as far
	slopeSharp     = 0.7   // and a spot under craterMinMM is this bright
	slopeGrain     = 30.0  // marks of an abrasive, which may show under low light alone, are straighter than a slope's glints
	slopeWideMM    = 0.5   // a place so wide is no line and no spot
	missedWideMM   = 0.8   // what slopes all around this much has no lacquer inside
	missedFill     = 0.1   // or what is so hollow, and longer than a crater
	mattMinMM      = 0.6   // a bare place of this size loses the gloss of one light and scatters the other
	hollow         = 0.5   // dust is solid: it fills this share of its box
	hollowMinMM    = 0.2   // from this size on
	chipMinMM      = 0.4   // what reaches the edge is at least this long
	chipLight      = 1.5   // and changes the light by so many times what something opaque does
	chipLeastMM    = 0.1   // what goes on through the edge, this large inside
	bareDome       = 0.08  // share of a dome's light that a bare place lacks: the 4 % that lacquer mirrors, against what paint sends
	craterMinMM    = 0.28  // a crater is at least this wide
	craterMaxLight = 0.05  // a crater changes the mean light by less
	craterSided    = 0.65  // or is this one-sided under low light
	runMinMM       = 1.2   // a run is at least this long,
	runMinThickMM  = 0.115 // this thick,
	runMinSlender  = 1.8   // and this many times longer than wide
)

// isLine says whether a place is a thin line or a bundle of them, and no ring.
func (f *face) isLine(p *place) bool {
	if !f.isThin(p) {
		return false
	}
	bent := p.peak > 2 && p.all.Outline/p.all.Thick >= bentMinSlender
	one := p.all.Outline < bundleLength*p.all.Long && (p.grain > bundleGrain || bent)
	return one || p.grain > lineGrain || f.isBundle(p)
}

func (f *face) isThin(p *place) bool {
	limit := lineMaxThickMM
	if (p.lines >= 3 && p.grain > bundleGrain) || (p.lines == 2 && p.grain > slopeGrain) { // lines so near that they touch
		limit = bundleMaxThick
	}
	if p.ringPX > 0 || p.all.Long*f.ShapeMM() < lineMinMM {
		return false
	}
	thin := func(s shape.Shape) bool { return s.Outline/s.Thick >= lineMinSlender && s.Thick*f.ShapeMM() <= limit }
	// what stands out by far is told far out on its blurred flanks: then by its core
	return thin(p.all) || p.peak >= strongLine && p.all.Long*f.ShapeMM() >= strongLongMM && p.inner.Long >= strongShare*p.all.Long && thin(p.inner)
}

// bothWays says whether a place is brighter in one light and darker in another, as clear things are, which
// mirror one lamp and hide another's light.
func bothWays(p *place) bool {
	return slices.Max(p.contrast) >= clearChange && slices.Min(p.contrast) <= -clearChange
}

// glints says whether a place is much brighter in one light and a little darker in another: a clear thing's
// glints. Dust is matt: what it changes in two lights differs by less.
func glints(p *place) bool {
	return bothWays(p) && slices.Max(p.contrast) >= -glintsMore*slices.Min(p.contrast)
}

// isBundle says whether a place is several parallel lines: their length adds up
// to more than the place is long, and they stand apart in one direction only. In a see-through shell, where parts inside hide pieces of
// them, three that are straight are enough.
func (f *face) isBundle(p *place) bool {
	many := p.all.Outline > bundleLength*p.all.Long || f.SeeThrough && p.lines > sandingLines && p.grain > lineGrain
	return f.isThin(p) && p.lines >= sandingLines && many && p.grain > bundleGrain
}

// isSlope says whether a place is a slope of the surface that mirrors a lamp: bright in
// one light, and next to nothing in the others, while what lies in the lacquer or
// scratches it shows in all.
func (f *face) isSlope(p *place) bool {
	if len(p.contrast) < 2 || f.Sparkles {
		return false
	}
	best, others := search.Brightest(p.contrast)
	if best < glint {
		return false
	}
	in := slices.Index(p.contrast, best)
	for pic, z := range p.strength { // on a dark face little light is much against its own
		if pic != in && z > slopeStrength*p.strength[in] {
			return false
		}
	}
	if f.isLine(p) || f.isBundle(p) || p.all.Across*f.ShapeMM() >= slopeWideMM || f.isHollow(p) {
		return others <= slopeLine*best && p.grain < slopeGrain
	}
	return others <= slopeSpot*best && (best >= slopeSharp || f.spotDiameterPX(p)*f.ShapeMM() >= craterMinMM)
}

// isHollow says whether a place has nothing in its middle, as dust has not.
func (f *face) isHollow(p *place) bool {
	return p.all.Fill() < hollow && f.diameterMM(p) >= hollowMinMM
}

// diameterMM is a spot's diameter, a ring's where it was seen as one.
func (f *face) diameterMM(p *place) float64 {
	return math.Max(f.spotDiameterPX(p), 2*p.ringPX) * f.ShapeMM()
}

// slopeKind is what a slope belongs to, by its size.
func (f *face) slopeKind(p *place) part.Kind {
	long, across := p.all.Long*f.ShapeMM(), p.all.Across*f.ShapeMM()
	switch {
	case f.runsDown(p) || f.isHollow(p) && long >= runOnShellMM && f.spanOf(p) >= runSlender:
		return part.Run
	case long >= runMinMM && p.all.Fill() < missedFill:
		return part.Missed
	case f.Params.Shell == nil && long >= runMinMM && long >= runMinSlender*across: // on a shell it goes down
		return part.Run
	case across >= missedWideMM:
		return part.Missed
	}
	return part.Crater
}

// isMatt says whether a place changes two lights to opposite sides: without gloss it
// mirrors less of a dome, and scatters more of a low lamp.
func (f *face) isMatt(p *place) bool {
	return len(p.contrast) > 1 && slices.Max(p.contrast) > opaqueDome && slices.Min(p.contrast) < -opaqueDome
}

// isBare says whether a wide place lacks the gloss of a dome and hardly differs under low light.
func (f *face) isBare(p *place) bool {
	if len(p.contrast) < 2 || f.diameterMM(p) < missedWideMM {
		return false
	}
	lacks := false
	for pic, c := range p.contrast {
		if f.Pictures[pic].Shot.Light == part.Raking {
			if c < -bareDome {
				return false
			}
		} else {
			lacks = lacks || c < -bareDome
		}
	}
	return lacks
}

// atEdge says whether a place reaches the outermost of what is looked at.
func (f *face) atEdge(p *place) bool {
	if f.Rim == nil {
		return false
	}
	for _, i := range p.found {
		if d := f.Surface.Outside.V[i]; float64(d)*f.MMPX < f.OutermostMM()+2*f.MMPX {
			return true
		}
	}
	return false
}

// opacity compares a spot's change of light with what only something opaque
// does; 1 is the limit. A spot no wider than the blur shows only a part of its
// contrast: the peak of a disc of radius r blurred by a Gaussian is
// 1 - exp(-r^2 / 2 sigma^2) of it. What is opaque shows in every light; what
// shines in one alone is a slope that mirrors a lamp.
func (f *face) opacity(p *place) float64 {
	r := f.spotDiameterPX(p) / 2
	s := p.blurPX
	return f.lightLost(p) / math.Max(0.3, 1-math.Exp(-r*r/(2*s*s)))
}

// lightLost is opacity as if there were no blur.
func (f *face) lightLost(p *place) float64 {
	most, next := 0.0, 0.0
	for pic, c := range p.contrast {
		lim := opaqueDome
		if f.Pictures[pic].Shot.Light == part.Raking {
			lim = opaqueRaking
		}
		if o := math.Abs(c) / lim; o > most {
			most, next = o, most
		} else {
			next = math.Max(next, o)
		}
	}
	if glints(p) || p.mirrors {
		return 0
	}
	if len(p.contrast) > 1 {
		return math.Min(most, opaqueBoth*next)
	}
	return most
}

// spotDiameterPX is the geometric mean of a spot's length and width, the blur's
// share taken off.
func (f *face) spotDiameterPX(p *place) float64 {
	l, w := f.spotSizePX(p)
	return math.Sqrt(l * w)
}

// byArea says whether a kind's diameter follows from its area: dust on a shell. On a face a pattern may hide parts of it, which
// costs area.
func (f *face) byArea(kind part.Kind) bool { return f.Params.Shell != nil && kind == part.Dust }

// areaDiameterPX is the diameter of the disc that has an uneven spot's area (ISO 9276-6's area-equivalent diameter, from memory): its
// length and width reach from tip to tip, and make more of it.
func (f *face) areaDiameterPX(p *place) float64 {
	if f.opaque(p) {
		return p.sharp(p.inner.AreaDiameter(), p.coreOut)
	}
	return p.sharp(p.all.AreaDiameter(), p.bodyOut)
}

// spotSizePX is a spot's length and width: an opaque one's at its core, a clear
// one's at its whole body, for its middle outshines its rim; a large one's rim is
// sought by going around.
func (f *face) spotSizePX(p *place) (length, width float64) {
	if f.opaque(p) {
		return p.sharp(p.inner.Long, p.coreOut), p.sharp(p.inner.Across, p.coreOut)
	}
	length, width = p.sharp(p.all.Long, p.bodyOut), p.sharp(p.all.Across, p.bodyOut)
	if d := unblurredDiameter(math.Max(0.5, 2*p.reachPX-2*p.blurPX), p.blurPX); d > 8*p.blurPX {
		length, width = math.Max(length, d), math.Max(width, d)
	}
	return length, width
}

// opaque says whether a spot changes the light as only something opaque does.
func (f *face) opaque(p *place) bool {
	some := slices.ContainsFunc(p.contrast, func(c float64) bool { return math.Abs(c) > opaqueDome })
	return some && f.lightLost(p) > opaqueSized
}

// unblurred takes off an extent of the body what the blur adds at both ends.
func (p *place) unblurred(extentPX float64) float64 {
	return math.Max(1, extentPX-2*p.bodyOut*p.blurPX)
}

// sharp takes the blur's share off an extent whose ends lie out standard
// deviations of the blur outside the true ones.
func (p *place) sharp(extentPX, out float64) float64 {
	return unblurredDiameter(math.Max(0.5, extentPX-2*out*p.blurPX), p.blurPX)
}

// unblurredDiameter turns the width at half height of a blurred disc into the
// disc's diameter. A disc of radius r blurred by a Gaussian of standard
// deviation s keeps its half height at r where r is large against s, and is the
// Gaussian itself, 1.177 s, where it is small; between, r_half^2 = r^2 +
// 1.386 s^2 exp(-r^2/s^2) is within 5 % of the numerical integral. Below 1.6 s
// nothing can be told apart, and 1.6 s is returned.
func unblurredDiameter(half, s float64) float64 {
	rh := half / 2
	r := rh
	for range 20 {
		r2 := rh*rh - 1.386*s*s*math.Exp(-r*r/(s*s))
		r = math.Sqrt(math.Max(r2, narrowest*narrowest/4*s*s))
	}
	return 2 * r
}

// narrowest is the narrowest diameter that is told, in standard deviations of
// the blur.
const narrowest = 1.6

func logistic(x float64) float64 { return 1 / (1 + math.Exp(-x)) }

// seen is how sure it is that a place is anything, 0..1: near the threshold it may
// be nothing.
func (p *place) seen() float64 { return logistic(3 * (p.peak - 0.6)) }

// kindOf says what the rules call a place, and how sure that is, 0..1.
func (f *face) kindOf(p *place) (part.Kind, float64) {
	seen := p.seen()
	long, thick := p.all.Long*f.ShapeMM(), p.all.Thick*f.ShapeMM()
	if edge := f.breaksEdgeMM(p); edge >= chipEdgeMM && f.diameterMM(p) >= chipLeastMM {
		return part.Chip, seen * logistic(6*(edge/chipEdgeMM-0.7))
	}
	if !f.inBothLights(p) && f.tailMM(p) > 0 {
		return part.Run, seen * 0.7
	}
	if f.isStreak(p) && long >= streakLongMM && !f.inBothLights(p) {
		return part.Run, seen * 0.6
	}
	if f.Params.Shell != nil && !f.isLine(p) && f.diameterMM(p) < hazeMinMM && (f.ownColour(p) >= ownColourLeast || f.isEarth(p)) {
		return part.Dust, seen * 0.8
	}
	if f.isBubbleWall(p) || f.isBubbleDisc(p) {
		return part.Bubble, seen * 0.7
	}
	if f.isSlope(p) {
		return f.slopeKind(p), seen * 0.7
	}
	if f.atEdge(p) && long >= chipMinMM && f.opacity(p) >= chipLight {
		return part.Chip, seen * 0.7
	}
	if f.isBundle(p) && !f.isTwoSides(p) {
		return part.Sanding, seen * logistic(float64(p.lines)-1)
	}
	if f.runsDown(p) && (bothWays(p) || p.mirrors || f.isTwoSides(p) || long >= runMinMM && thick >= runMinThickMM) {
		return part.Run, seen * 0.7
	}
	if p.mirrors && f.isStreak(p) && !f.inBothLights(p) {
		return part.Run, seen * 0.5
	}
	if f.isEdgeLine(p) && p.all.Bow > straightBow*p.all.Long && long >= missedWideMM {
		return part.Missed, seen * 0.5
	}
	if f.isEdgeLine(p) && !p.isMatt() && long < missedWideMM {
		return part.Crater, seen * 0.5
	}
	if f.isEdgeLine(p) && p.mirrors && slices.Max(p.contrast) >= slopeSharp && long >= missedWideMM && f.spanOf(p) >= 1 {
		return part.Run, seen * 0.5
	}
	if f.isLine(p) {
		return part.Fibre, seen * logistic(p.all.Outline/p.all.Thick/lineMinSlender)
	}
	o := f.mattness(p)
	light := 0.0
	for _, c := range p.contrast {
		light = math.Max(light, math.Abs(c))
	}
	d := f.diameterMM(p)
	switch {
	case f.isHaze(p):
		return part.Haze, seen * hazeConfidence(f.fadeMM(p))
	case d >= mattMinMM && f.isMatt(p), f.isBare(p):
		return part.Missed, seen * 0.7
	case o >= 1 && !f.isHollow(p) && f.Params.Shell != nil && len(p.contrast) < 2 && p.contrast[0] > 0: // it may be what a slope mirrors
		return part.Dust, seen * 0.5
	case o >= 1 && !f.isHollow(p):
		return part.Dust, seen * logistic(4*(min(o, p.again/mattAgain)-0.8))
	case long >= runMinMM && thick >= runMinThickMM && p.all.Long >= runMinSlender*p.all.Across:
		return part.Run, seen * 0.6
	case d >= craterMinMM && p.sided >= craterSided:
		return part.Crater, seen * logistic(10*(p.sided-craterSided)+0.5)
	case glints(p) && d <= clearMostMM && (d < craterMinMM || p.sided < craterSided):
		return part.Bubble, seen * 0.7
	case p.mirrors && light > glint:
		return part.Crater, seen * 0.6
	case d >= craterMinMM && o < 0.8 && light > glint:
		return part.Crater, seen * 0.6
	case d >= craterMinMM && light < craterMaxLight && p.peak < 3:
		return part.Crater, seen * logistic(20*(craterMaxLight-light)+0.5)
	}
	if o >= 1 { // hollow
		return part.Bubble, seen * 0.6
	}
	return part.Bubble, seen * logistic(4*(1.2-o))
}
