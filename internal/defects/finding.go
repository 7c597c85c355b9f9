package defects

import (
	"math"

	"finishbench/internal/part"
)

// finding turns a place into a finding, without severity, advice or number. Sizes
// are as projected into the picture: on the rim, whose slope one picture from above
// does not tell, the true size across it is larger, and what is stated a lower bound.
func (f *face) finding(p *place) part.Finding {
	best := p.bestPicture()
	out := part.Finding{Image: f.Pictures[best].Shot.File, Zone: f.zoneOf(p), Features: f.featureTable(p)}
	f.call(p, &out)
	kind := out.Kind
	mm := f.ShapeMM()
	var long, across float64
	angle := p.inner.AngleDeg
	box := f.boxOf(float64(p.inner.X0), float64(p.inner.Y0), float64(p.inner.X1), float64(p.inner.Y1))
	area := p.inner.Area
	switch kind {
	case part.Sanding, part.Fibre, part.Run:
		sh := p.all
		if kind == part.Sanding {
			sh.SetAxis(p.lineRad, p.body, p.win.W)
			out.Lines = max(p.lines, int(sh.Outline/sh.Long+0.5))
			long, across = p.unblurred(sh.Long), p.unblurred(sh.Across)
		} else {
			// A shallow arc's length over its chord.
			long, across = p.unblurred(sh.Long)+8*sh.Bow*sh.Bow/(3*sh.Long), unblurredDiameter(sh.Thick, p.blurPX)
		}
		angle, area = sh.AngleDeg, sh.Area
		box = f.boxOf(float64(sh.X0), float64(sh.Y0), float64(sh.X1), float64(sh.Y1))
	default:
		d := f.spotDiameterPX(p)
		long, across = f.spotSizePX(p)
		area = math.Min(area, math.Pi*d*d/4)
		if f.byArea(kind) {
			d = f.areaDiameterPX(p)
		}
		if p.ringPX > 0 && 2*p.ringPX > d {
			d = 2 * p.ringPX
			long, across, area = d, d, math.Pi*d*d/4
			cx, cy := p.inner.CX, p.inner.CY
			box = f.boxOf(cx-d/2+0.5, cy-d/2+0.5, cx+d/2-0.5, cy+d/2-0.5)
		}
		out.DiameterMM = part.Num(d * mm)
	}
	out.Box = f.BoxIn(best, box)
	f.addBudgets(p, &out, long, across)
	out.LengthMM, out.WidthMM, out.AreaMM2, out.AngleDeg = part.Num(round3(long*mm)), part.Num(round3(across*mm)),
		part.Num(round4(area*mm*mm)), part.Num(math.Round(angle*10)/10)
	if out.DiameterMM != nil {
		out.DiameterMM = part.Num(round3(*out.DiameterMM))
	}
	for i, z := range p.strength {
		if i != best && z > 3 {
			out.AlsoIn = append(out.AlsoIn, part.Sighting{Image: f.Pictures[i].Shot.File, Box: f.BoxIn(i, box)})
		}
	}
	return out
}

// zoneOf is where a place lies. On a faceplate that is the rim where all of it is no
// deeper than the rim can reach; what comes further in is the face's, whose limits
// are the narrower ones.
func (f *face) zoneOf(p *place) part.Zone {
	switch {
	case f.Surface.All:
		return part.ZonePanel
	case f.Params.Shell != nil:
		return part.ZoneShell
	}
	for _, i := range p.found {
		if f.Surface.Outside.V[i] > f.RimPX() {
			return part.ZoneFace
		}
	}
	return part.ZoneRim
}

// call fills in a finding's kind and confidence: the rules', or those of the
// caller, beside which the rules' are then kept.
func (f *face) call(p *place, out *part.Finding) {
	kind, confidence := f.kindOf(p)
	confidence = math.Round(confidence*100) / 100
	out.Kind, out.Confidence = kind, confidence
	if f.Params.Call == nil {
		return
	}
	if k, s, ok := f.Params.Call(out.Features, kind, confidence); ok {
		out.Kind, out.Confidence = k, math.Round(p.seen()*s*100)/100
	}
	out.Rule = &part.RuleCall{Kind: kind, Confidence: confidence}
}

// ruleConfidence is the rules' confidence in a finding, whoever called its kind.
func ruleConfidence(fd part.Finding) float64 {
	if fd.Rule != nil {
		return fd.Rule.Confidence
	}
	return fd.Confidence
}

// featureTable is what led to a kind, by name, for a person to read.
func (f *face) featureTable(p *place) map[string]float64 {
	t := map[string]float64{
		"response_over_threshold": round3(p.peak),
		"opacity":                 round3(f.mattness(p)),
		"line_length_mm":          round3(p.all.Outline * f.ShapeMM()),
		"thickness_mm":            round3(p.all.Thick * f.ShapeMM()),
		"fill":                    round3(p.all.Fill()),
		"bend":                    round3(p.all.Bow / p.all.Long),
		"parallel_lines":          float64(p.lines),
		"grain":                   round3(p.grain),
	}
	if p.sided > 0 {
		t["one_sided"] = round3(p.sided)
	}
	if p.ringPX > 0 {
		t["ring_radius_mm"] = round3(p.ringPX * f.ShapeMM())
	}
	for i, c := range p.contrast {
		name := string(f.Pictures[i].Shot.Light)
		if name == "" {
			name = "light"
		}
		t["contrast_"+name] = round3(c)
	}
	if f.Params.Shell != nil && len(p.contrast) > 1 {
		t["own_colour"], t["shows_again"] = round3(max(0, f.ownColour(p))), round3(max(0, p.again))
	}
	return t
}

func round3(v float64) float64 { return math.Round(v*1000) / 1000 }

func round4(v float64) float64 { return math.Round(v*10000) / 10000 }
