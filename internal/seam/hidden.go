package seam

import (
	"math"

	"finishbench/internal/part"
)

// Lengths for a seam that its colour does not show, in mm. Common practice, no
// source.
const (
	hiddenMaxMM   = 3.0  // no faceplate is thicker
	hiddenSideMM  = 0.25 // wall fitted on either side of a place
	hiddenAgreeMM = 0.12 // both limbs must tell the same height to this
	uThicknessMM  = 0.03 // standard uncertainty of a told faceplate thickness, rim included
	uOneLimbMM    = 0.03 // and of a seam that only one limb shows
	hiddenShare   = 0.15 // largest scatter of a smooth wall, pixels
)

// hiddenSeam finds the seam where its colour does not show: from a step or
// groove that both limbs have at the same height, else from the faceplate's
// end and its thickness, if that is known.
func hiddenSeam(l *light, sil *silhouette, end outlineEnd, dir float64, p Params) (seamCurve, part.Phrase) {
	fine, ok := refineEnd(l, sil, end, dir)
	if !ok {
		return seamCurve{}, part.Say("seam.why.no_end")
	}
	s := seamCurve{dir: dir, from: "picture", x0: float64(sil.x0), x1: float64(sil.x1)}
	var found []float64
	for _, mirrored := range [2]bool{false, true} {
		if t, ok := outlineSeam(l, sil, fine, dir, mirrored, p); ok {
			found = append(found, t)
		}
	}
	var t float64
	switch {
	case len(found) == 2 && math.Abs(found[0]-found[1])*p.MMPerPX <= hiddenAgreeMM:
		t = (found[0] + found[1]) / 2
		s.u = max(seamFloorPX, math.Abs(found[0]-found[1])/2)
	case len(found) == 1 && p.FaceplateThicknessMM <= 0:
		t, s.u = found[0], max(seamFloorPX, uOneLimbMM/p.MMPerPX)
	case p.FaceplateThicknessMM > 0:
		t = p.FaceplateThicknessMM / p.MMPerPX * math.Hypot(1, fine.slope)
		s.from, s.u = "rim", uThicknessMM/p.MMPerPX
	default:
		return s, part.Say("seam.why.hidden")
	}
	mid := float64(sil.x0+sil.x1) / 2
	s.curve = poly{x0: mid, scale: 1, c: []float64{fine.y(mid) + dir*t, fine.slope}}
	return s, part.Phrase{}
}

// refineEnd finds the faceplate's end to a fraction of a pixel: in sparse
// columns the half-height crossing, through them a straight line.
func refineEnd(l *light, sil *silhouette, end outlineEnd, dir float64) (outlineEnd, bool) {
	const n = 40
	margin := 2*sil.s + 12
	var xs, ys []float64
	v := make([]float64, 2*margin+1)
	for i := 0; i < n; i++ {
		x := sil.x0 + int(float64(sil.x1-sil.x0)*(0.1+0.8*float64(i)/(n-1)))
		y := int(math.Round(end.y(float64(x))))
		y0 := y - int(dir)*margin
		if x < 0 || x >= l.w || min(y0, y0+int(dir)*2*margin) < 0 || max(y0, y0+int(dir)*2*margin) >= l.h {
			continue
		}
		for k := range v {
			v[k] = l.at(x, y0+int(dir)*k)
		}
		panel, unit := mean(v[:margin/3]), mean(v[len(v)-margin/3:])
		half, sign := (panel+unit)/2, 1.0
		if unit < panel {
			sign = -1
		}
		for k := 1; k < len(v); k++ {
			if a, b := sign*(v[k-1]-half), sign*(v[k]-half); a < 0 && b >= 0 {
				xs = append(xs, float64(x))
				ys = append(ys, float64(y0)+dir*(float64(k-1)+a/(a-b)))
				break
			}
		}
	}
	if len(xs) < n/4 {
		return end, false
	}
	e := end
	e.slope, e.at0 = theilSen(xs, ys)
	return e, true
}

// outlineSeam looks for a step or groove in one limb's outline and returns its
// distance from the faceplate's end in rows.
func outlineSeam(l *light, sil *silhouette, end outlineEnd, dir float64, mirrored bool, p Params) (float64, bool) {
	b := &limb{l: l, sil: sil, mirrored: mirrored, mm: p.MMPerPX, dir: dir}
	x := float64(sil.x0)
	if mirrored {
		x = float64(sil.x1)
	}
	y := end.y(x)
	reach := min(hiddenMaxMM/p.MMPerPX, 0.5*sil.height)
	y0, y1 := y, y+reach
	if dir < 0 {
		y0, y1 = y-reach, y
	}
	if reason := b.trace(int(y0), int(y1)+1); reason.Key != "" {
		return 0, false
	}
	um := p.MMPerPX * 1000
	lo, side := blendMM/b.mm+3, max(6, hiddenSideMM/b.mm)
	type place struct{ t, score float64 }
	var places []place
	best := 0.0
	var ya, ua, yb, ub []float64
	for t := rimMM/b.mm + lo + side/2; t < reach-lo-side; t++ {
		ya, ua, yb, ub = ya[:0], ua[:0], yb[:0], ub[:0]
		low := math.Inf(-1)
		c := y + dir*t
		for _, r := range b.rows {
			d := dir * (r.y - c)
			switch {
			case math.IsNaN(r.half):
			case d >= -lo-side && d <= -lo:
				ya, ua = append(ya, r.y), append(ua, r.half)
			case d >= lo && d <= lo+side:
				yb, ub = append(yb, r.y), append(ub, r.half)
			case math.Abs(d) <= 2:
				low = max(low, r.half)
			}
		}
		f, ok := fitPoly(ya, ua, c, 1)
		g, ok2 := fitPoly(yb, ub, c, 1)
		if !ok || !ok2 || f.sd > hiddenShare || g.sd > hiddenShare {
			continue
		}
		step, dip := math.Abs(f.c[0]-g.c[0]), low-max(f.c[0], g.c[0])
		if step*um < stepMinUM && dip*um < notchMinUM {
			continue
		}
		u := math.Hypot(f.u(), g.u()) + 0.02
		if s := max(step, dip) / u; s > hiddenClear {
			places = append(places, place{t, s})
			best = max(best, s)
		}
	}
	// both sides are clean as long as the change lies between them: its
	// middle is the middle of the places that score alike
	at, weight := 0.0, 0.0
	for _, p := range places {
		if p.score > best/2 {
			at += p.t * p.score
			weight += p.score
		}
	}
	return at / weight, weight > 0
}

// hiddenClear is how many standard uncertainties a step or groove must measure
// to be taken for the seam.
const hiddenClear = 5.0
