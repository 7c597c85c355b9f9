package defects

import (
	"math"

	"finishbench/internal/part"
)

// How near places must be to be one thing, in millimetres on the unit (common
// practice, no source).
const (
	parallelDeg   = 12.0
	bendDeg       = 50.0
	lineReachMM   = 0.30
	patchMarginMM = 0.15
	spotReachMM   = 0.06
)

// group joins places that belong together: lines of one patch, pieces of one
// fibre, fragments inside a patch or a ring, glints of one bubble.
func (f *face) group(places []*place, r *response) []*place {
	places = f.join(places, r, f.sameLines)
	places = f.join(places, r, f.inside)
	return f.join(places, r, f.sameSpot)
}

// join merges places for which same holds, over and over until none does.
func (f *face) join(places []*place, r *response, same func(a, b *place) bool) []*place {
	for merged := true; merged; {
		merged = false
		for i := 0; i < len(places); i++ {
			for j := i + 1; j < len(places); j++ {
				if !same(places[i], places[j]) && !same(places[j], places[i]) {
					continue
				}
				places[i] = f.newPlace(append(places[i].pixels, places[j].pixels...), r)
				places = append(places[:j], places[j+1:]...)
				merged = true
				j--
			}
		}
	}
	return places
}

// sameLines: parallel and near, or the one goes on where the other ends.
func (f *face) sameLines(a, b *place) bool {
	if !f.isLine(a) || !f.isLine(b) {
		return false
	}
	if a.all.gapTo(&b.all) > lineReachMM/f.mmPX {
		return false
	}
	turn := angleBetween(a.lineRad*180/math.Pi, b.lineRad*180/math.Pi)
	if turn < parallelDeg {
		return true
	}
	if turn > bendDeg || f.isBundle(a) || f.isBundle(b) {
		return false
	}
	link := math.Atan2(b.all.cy-a.all.cy, b.all.cx-a.all.cx) * 180 / math.Pi
	return angleBetween(link, a.lineRad*180/math.Pi) < bendDeg && angleBetween(link, b.lineRad*180/math.Pi) < bendDeg
}

// inside: b is a faint fragment within a's patch of lines or ring.
func (f *face) inside(a, b *place) bool {
	if f.opacity(b) > 1.3 && !f.isLine(b) {
		return false
	}
	switch {
	case f.isBundle(a) && b.all.long < a.all.long:
		m := patchMarginMM / f.mmPX
		return b.all.cx > float64(a.all.x0)-m && b.all.cx < float64(a.all.x1)+m &&
			b.all.cy > float64(a.all.y0)-m && b.all.cy < float64(a.all.y1)+m
	case a.ringPX > 0:
		return math.Hypot(a.all.cx-b.all.cx, a.all.cy-b.all.cy) < 1.4*a.ringPX
	}
	return false
}

// sameSpot: two specks that touch, of one sort.
func (f *face) sameSpot(a, b *place) bool {
	if f.isLine(a) || f.isLine(b) || (f.opacity(a) >= 1) != (f.opacity(b) >= 1) {
		return false
	}
	return a.all.gapTo(&b.all) <= spotReachMM/f.mmPX
}

// finding turns a place into a finding, without severity, advice or number.
func (f *face) finding(p *place, r *response) part.Finding {
	kind, confidence := f.kindOf(p)
	best := p.bestPicture()
	out := part.Finding{
		Image: f.scene[best].Shot.File, Kind: kind, Confidence: math.Round(confidence*100) / 100,
		Zone: part.ZoneFace,
	}
	mm := f.mmPX
	long, across, angle := p.inner.long, p.inner.across, p.inner.angleDeg
	s := p.blurPX
	box := f.boxOf(float64(p.inner.x0), float64(p.inner.y0), float64(p.inner.x1), float64(p.inner.y1))
	area := p.inner.area
	switch kind {
	case part.Sanding, part.Fibre, part.Run:
		sh := p.all
		if kind == part.Sanding {
			sh.setAxis(p.lineRad, p.body, f.surf.w)
			out.Lines = max(p.lines, int(sh.outline/sh.long+0.5))
			long, across = sh.long, sh.across
		} else {
			long, across = sh.long+8*sh.bow*sh.bow/(3*sh.long), unblurredDiameter(sh.thick, s) // a shallow arc's length over its chord
		}
		angle, area = sh.angleDeg, sh.area
		box = f.boxOf(float64(sh.x0), float64(sh.y0), float64(sh.x1), float64(sh.y1))
	default:
		d := f.spotDiameterPX(p)
		long, across = f.spotSizePX(p)
		area = math.Min(area, math.Pi*d*d/4)
		if p.ringPX > 0 && 2*p.ringPX > d {
			d = 2 * p.ringPX
			long, across, area = d, d, math.Pi*d*d/4
			cx, cy := p.inner.cx, p.inner.cy
			box = f.boxOf(cx-d/2+0.5, cy-d/2+0.5, cx+d/2-0.5, cy+d/2-0.5)
		}
		out.DiameterMM = part.Num(d * mm)
	}
	out.Box = box
	out.LengthMM, out.WidthMM, out.AreaMM2, out.AngleDeg = part.Num(round3(long*mm)), part.Num(round3(across*mm)), part.Num(round4(area*mm*mm)), part.Num(math.Round(angle*10)/10)
	if out.DiameterMM != nil {
		out.DiameterMM = part.Num(round3(*out.DiameterMM))
	}
	for i, z := range p.strength {
		if i != best && z > 3 {
			out.AlsoIn = append(out.AlsoIn, part.Sighting{Image: f.scene[i].Shot.File, Box: box})
		}
	}
	out.Features = f.featureTable(p)
	return out
}

// featureTable is what led to a kind, by name, for a person to read.
func (f *face) featureTable(p *place) map[string]float64 {
	t := map[string]float64{
		"response_over_threshold": round3(p.peak),
		"opacity":                 round3(f.opacity(p)),
		"line_length_mm":          round3(p.all.outline * f.mmPX),
		"thickness_mm":            round3(p.all.thick * f.mmPX),
		"fill":                    round3(p.all.fill()),
		"bend":                    round3(p.all.bow / p.all.long),
		"parallel_lines":          float64(p.lines),
		"grain":                   round3(p.grain),
	}
	if p.ringPX > 0 {
		t["ring_radius_mm"] = round3(p.ringPX * f.mmPX)
	}
	for i, c := range p.contrast {
		name := string(f.scene[i].Shot.Light)
		if name == "" {
			name = "light"
		}
		t["contrast_"+name] = round3(c)
	}
	return t
}

func round3(v float64) float64 { return math.Round(v*1000) / 1000 }
func round4(v float64) float64 { return math.Round(v*10000) / 10000 }
