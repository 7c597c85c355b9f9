package defects

import (
	"math"
	"slices"

	"finishbench/internal/defects/search"
	"finishbench/internal/defects/shape"
	"finishbench/internal/part"
)

// What a size's uncertainty is made of, beside what the place itself tells. All
// are common practice, no source.
const (
	lacquerIndex = 1.5  // refractive index of acrylates; a bubble's rim outside 1/lacquerIndex of its radius passes no light (Snell's law)
	coursePieces = 4.0  // a fibre's course is followed in pieces of so many standard deviations of the blur
	fadingTipMM  = 0.05 // either tip of a fibre fades or curls away within this, to either side
	craterMostMM = 1.0  // a crater told by a lamp that one of its slopes mirrors is anything up to this wide
	// What stands out of the lacquer and is lit from 60 degrees aside shows 0.75 of its width lit: (1 + cos 60 deg) / 2.
	shadedShare   = 0.25
	softEdgeShare = 0.25 // a crater's or run's slope ends within this share of its size, to either side
	noiseOfRatio  = 1    // standard deviation of a response, in its own units
)

// measure is one length taken from a place: how it follows from the blur, in
// shape pixels, and what speaks about its ends.
type measure struct {
	quantity string
	px       float64
	again    float64                      // the same from the other level; NaN: there is none
	blurred  func(blurPX float64) float64 // what it would be with another blur; nil: the blur does not matter
	ends     float64                      // 1: one extent; 0.5: geometric mean of two, whose ends err independently
	out      float64                      // where its ends are drawn, see place.coreOut
	off      float64                      // how much less, were the edge weaker than the peak, see place.coreOff
	more     []part.Contribution          // what is special to the kind
}

// sizeBudget is how a size's uncertainty comes about, by JCGM 100:2008 (GUM). ok
// is false where the size has none to state.
func (f *face) sizeBudget(p *place, m measure) (part.Budget, bool) {
	um := 1000 * f.ShapeMM()
	cs := []part.Contribution{
		// two ends, each anywhere within a pixel
		{Name: "ends on the pixel grid", Unit: "px", U: math.Sqrt(2 * m.ends / 12), Distribution: part.Rectangular, Sensitivity: um},
		{Name: "noise where the ends are drawn", Unit: "px", U: math.Sqrt(2*m.ends) * p.endNoisePX(m.out, f.Params.MinResponse),
			Distribution: part.Normal, Sensitivity: um},
	}
	if m.off > 0 { // both ends alike
		cs = append(cs, part.Contribution{Name: "strength at the ends against the peak's", Unit: "px",
			U: 2 * m.off * p.blurPX / math.Sqrt(3), Distribution: part.Rectangular, Sensitivity: um})
	}
	if !math.IsNaN(m.again) {
		// the edge's form: a sharp edge, blurred, has the same size at each level
		cs = append(cs, part.Contribution{Name: "edge's form: size at another level", Unit: "px", Value: part.Num(m.again),
			U: math.Abs(m.again-m.px) / math.Sqrt(3), Distribution: part.Rectangular, Sensitivity: um})
	}
	if m.blurred != nil {
		u := f.ULensPX / float64(f.ShapeFactor)
		perPX := f.blurSensitivity(p, m.blurred, math.Min(math.Max(u, 1e-3)*math.Sqrt(3), f.LensPX/float64(f.ShapeFactor)))
		cs = append(cs, part.Contribution{Name: "blur of the lens", Unit: "px", Value: part.Num(f.LensPX / float64(f.ShapeFactor)),
			U: u, Distribution: part.Rectangular, Sensitivity: perPX * um})
	}
	if c, so := p.narrow(m.px, um); so {
		cs = append(cs, c)
	}
	cs = append(cs, m.more...)
	cs = append(cs, part.Contribution{Name: "scale: target, fit, squareness of the view", Unit: "mm/px", Value: part.Num(f.Params.MMPerPX),
		U: f.Params.URelScale * f.Params.MMPerPX, Distribution: part.Normal, Sensitivity: m.px * um / f.Params.MMPerPX})
	b := part.NewBudget(m.quantity, m.px*um, cs)
	return b, !math.IsNaN(b.CombinedUM) && !math.IsInf(b.CombinedUM, 0) && m.px > 0
}

// endNoisePX is the standard uncertainty of one end from the noise alone: the
// noise over the slope of a blurred edge there. The peak is in units of the
// threshold, which is at least minResponse standard deviations.
func (p *place) endNoisePX(out, minResponse float64) float64 {
	density := math.Exp(-out*out/2) / math.Sqrt(2*math.Pi)
	return noiseOfRatio / minResponse / (p.peak * density / p.blurPX)
}

// blurSensitivity is the change of a size per pixel of the lens's blur, both in
// shape pixels, from differences at the limits of what the blur may be.
func (f *face) blurSensitivity(p *place, blurred func(float64) float64, limit float64) float64 {
	lens := f.LensPX / float64(f.ShapeFactor)
	rest := p.blurPX*p.blurPX - lens*lens // what our own smoothing and averaging blur by, squared
	with := func(lens float64) float64 { return blurred(math.Sqrt(math.Max(0, rest) + lens*lens)) }
	return (with(lens+limit) - with(lens-limit)) / (2 * limit)
}

// share is a contribution of a share of the size itself, within limits.
func share(name string, sizeUM, limit float64) part.Contribution {
	return part.Contribution{Name: name, Unit: "1", U: limit / math.Sqrt(3), Distribution: part.Rectangular, Sensitivity: sizeUM}
}

// spotBudgets are those of a spot's diameter, length and width as told, in
// shape pixels.
func (f *face) spotBudgets(p *place, kind part.Kind, diameter, long, across float64) (d, l, w measure) {
	ring := p.ringPX > 0 && diameter == 2*p.ringPX
	make := func(name string, px float64, ends float64, pick func(s *shape.Shape) float64) measure {
		m := measure{quantity: name, px: px, ends: ends, again: math.NaN(), out: p.bodyOut, off: p.bodyOff}
		um := px * 1000 * f.ShapeMM()
		switch {
		case ring:
			m.off = 0
			// a ring's radius is the nearest of those tried: half the step to the next, to either side
			m.more = []part.Contribution{{Name: "radii tried for the ring", Unit: "px",
				U: 2 * search.RingStepMM / 2 / f.ShapeMM() / math.Sqrt(3), Distribution: part.Rectangular, Sensitivity: 1000 * f.ShapeMM()}}
		default:
			s, o, so, oo, pixels := &p.all, &p.inner, p.bodyOut, p.coreOut, p.body
			if f.opaque(p) {
				s, o, so, oo, pixels = o, s, oo, so, p.core
				m.out, m.off = p.coreOut, p.coreOff
			}
			m.blurred = func(blur float64) float64 { return unblurredDiameter(math.Max(0.5, pick(s)-2*so*blur), blur) }
			m.again = p.sharp(pick(o), oo)
			if kind == part.Dust && ends < 1 {
				m.more = append(m.more, part.Contribution{Name: "uneven outline: diameter by box or area", Unit: "px",
					U: s.UnevenPX(pixels, p.win.W) / math.Sqrt(3), Distribution: part.Rectangular, Sensitivity: 1000 * f.ShapeMM()})
			}
		}
		switch kind {
		case part.Dust:
			if f.Params.Shell != nil && slices.Max(p.contrast) > 0 { // pale against the ground: what is not lit does not show
				m.more = append(m.more, share("shaded side that may not show, not corrected", um, shadedShare))
			}
		case part.Bubble:
			if !ring {
				m.more = append(m.more, share("clear rim that may not show, not corrected", um, lacquerIndex-1))
			}
		case part.Crater, part.Run:
			if least := um / 1000; kind == part.Crater && f.isGlint(p) && least < craterMostMM {
				m.more = append(m.more, part.Contribution{Name: "what mirrors no lamp does not show, not corrected", Unit: "mm",
					U: (craterMostMM - least) / math.Sqrt(3), Distribution: part.Rectangular, Sensitivity: 1000})
			}
			m.more = append(m.more, share("slope without an edge", um, softEdgeShare))
		}
		return m
	}
	both := func(s *shape.Shape) float64 { return math.Sqrt(s.Long * s.Across) }
	if f.byArea(kind) {
		both = (*shape.Shape).AreaDiameter
	}
	return make("diameter", diameter, 0.5, both), make("length", long, 1, func(s *shape.Shape) float64 { return s.Long }),
		make("width", across, 1, func(s *shape.Shape) float64 { return s.Across })
}

// lineBudgets are those of a line's, or a patch of lines', length and width as
// told, in shape pixels.
func (f *face) lineBudgets(p *place, kind part.Kind, long, across float64) (l, w measure) {
	um := 1000 * f.ShapeMM()
	sh, inner := p.all, p.inner
	core := func(extent float64) float64 { return extent - 2*p.coreOut*p.blurPX }
	blurred := func(px float64) func(float64) float64 {
		return func(blur float64) float64 { return px - 2*p.bodyOut*(blur-p.blurPX) }
	}
	l = measure{quantity: "length", px: long, ends: 1, out: p.bodyOut, off: p.bodyOff, blurred: blurred(long)}
	w = measure{quantity: "width", px: across, ends: 1, out: p.bodyOut, off: p.bodyOff, blurred: blurred(across)}
	if kind == part.Sanding {
		sh.SetAxis(p.lineRad, p.body, p.win.W)
		inner.SetAxis(p.lineRad, p.core, p.win.W)
		l.again, w.again = core(inner.Long), core(inner.Across)
		l.more = []part.Contribution{{Name: "lines that end unlike each other", Unit: "px", U: sh.RaggedPX(p.body, p.win.W, p.lines),
			Distribution: part.Scatter,
			DOF:          part.Num(float64(2 * max(1, p.lines-1))), Sensitivity: um}}
		w.more = []part.Contribution{{Name: "a line more or less at either side", Unit: "px",
			U:            math.Sqrt2 * across / float64(max(1, p.lines)) / math.Sqrt(3),
			Distribution: part.Rectangular, Sensitivity: um}}
		return l, w
	}
	arc := long - p.unblurred(sh.Long)
	l.again = core(inner.Long) + arc
	l.more = []part.Contribution{{Name: "course: followed in short pieces instead of as an arc", Unit: "px",
		U: math.Abs(sh.CoursePX(p.body, p.win.W, coursePieces*p.blurPX)-sh.Long-arc) / math.Sqrt(3), Distribution: part.Rectangular,
		Sensitivity: um},
		{Name: "tips that fade or curl", Unit: "px", U: math.Sqrt2 * fadingTipMM / f.ShapeMM() / math.Sqrt(3),
			Distribution: part.Rectangular, Sensitivity: um}}
	w.again, w.ends, w.off = unblurredDiameter(inner.Thick, p.blurPX), 1/math.Max(1, sh.Long), 0 // a mean over the whole length
	w.blurred = func(blur float64) float64 { return unblurredDiameter(sh.Thick, blur) }
	return l, w
}

// narrow is the part of a width that the blur hides: what is reported is then
// the narrowest that can be told, and the true width anything down to nothing.
func (p *place) narrow(px, um float64) (part.Contribution, bool) {
	return part.Contribution{Name: "narrower than the blur shows", Unit: "px", U: px / math.Sqrt(3), Distribution: part.Rectangular,
			Sensitivity: um},
		px <= 1.001*narrowest*p.blurPX
}

// addBudgets states the uncertainties of a finding's sizes; long and across are
// in shape pixels. The budget kept is that of its telling size: the diameter of
// a spot, the length of a line.
func (f *face) addBudgets(p *place, out *part.Finding, long, across float64) {
	state := func(m measure) (*float64, *part.Budget) {
		b, ok := f.sizeBudget(p, m)
		if !ok {
			return nil, nil
		}
		b.Quantity = string(out.Kind) + "'s " + b.Quantity
		return part.Num(round4(b.CombinedUM / 1000)), &b
	}
	var l, w measure
	switch out.Kind {
	case part.Fibre, part.Sanding:
		l, w = f.lineBudgets(p, out.Kind, long, across)
		out.ULengthMM, out.Budget = state(l)
	case part.Run:
		_, l, w = f.spotBudgets(p, out.Kind, math.Sqrt(long*across), long, across)
		out.ULengthMM, out.Budget = state(l)
	default:
		var d measure
		d, l, w = f.spotBudgets(p, out.Kind, *out.DiameterMM/f.ShapeMM(), long, across)
		out.UDiamMM, out.Budget = state(d)
		out.ULengthMM, _ = state(l)
	}
	out.UWidthMM, _ = state(w)
}
