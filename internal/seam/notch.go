package seam

import "math"

// Smallest features of the outline that tell the seam's height, in um.
// Common practice, no source: a few times the roughness of printed shells.
const (
	notchMinUM  = 8.0
	stepMinUM   = 12.0
	uNotchFloor = 0.15 // pixels

	blendWidthMM  = 0.03  // lacquer's blend from one side to the other, standard deviation
	grooveWidthMM = 0.055 // half width of a groove at 1/e
	startsMM      = 0.03
	uWidthShare   = 0.5 // their relative standard uncertainty
)

// notch finds the seam's height from the outline itself, near row y: the
// middle of a groove, or of the change from one side's curve to the other's.
// The outline between the sides is taken as
//
//	face + (shell - face) P((t-t0)/w) + d exp(-((t-t0)/g)^2)
//
// with P the normal distribution. ok is false where neither is plain, or a
// bead sits on the seam.
func (b *limb) notch(face, shell *side, y float64) (row, u float64, plain bool) {
	um := b.mm * 1000
	reach := blendMaxMM/2/b.mm + 3
	var ts, zs, fs, ss []float64
	dip, high := 0.0, 0.0
	last := [3]float64{}
	for _, r := range b.rows {
		t := b.dir * (r.y - y)
		if math.Abs(t) > reach || math.IsNaN(r.half) {
			continue
		}
		f, s := face.fit.at(r.y), shell.fit.at(r.y)
		ts, zs, fs, ss = append(ts, t), append(zs, r.half), append(fs, f), append(ss, s)
		last[0], last[1], last[2] = last[1], last[2], r.half-max(f, s)
		if len(ts) >= 3 && math.Abs(t) < reach/2 {
			dip = max(dip, min(last[0], last[1], last[2]))
		}
		high = max(high, min(f, s)-r.half)
	}
	step := math.Abs(face.fit.at(y)-shell.fit.at(y)) * um
	groove := dip*um > notchMinUM && dip > 4*max(face.fit.sd, shell.fit.sd)
	switch {
	case high*um > 2*notchMinUM && high > dip:
		return 0, 0, false // a bead
	case !groove && step < stepMinUM:
		return 0, 0, false
	}
	var p [maxParams]float64
	w0, g0 := blendWidthMM/b.mm, grooveWidthMM/b.mm
	p[1], p[3] = w0, g0
	n := 4
	noise := max(face.fit.sd, shell.fit.sd, 0.02)
	// expected widths, give or take half: they decide only where a step and a
	// groove of alike size cannot be told apart
	kw, kg := noise/(uWidthShare*w0), noise/(uWidthShare*g0)
	sum := func(p *[maxParams]float64, q *normal) float64 {
		total := kw * kw * (w0 - p[1]) * (w0 - p[1])
		q.add([]float64{0, kw, 0, 0}, kw*(w0-p[1]), 1)
		if n == 4 {
			total += kg * kg * (g0 - p[3]) * (g0 - p[3])
			q.add([]float64{0, 0, 0, kg}, kg*(g0-p[3]), 1)
		}
		for i, t := range ts {
			d := t - p[0]
			den, dis := gauss(d / p[1])
			e := math.Exp(-d * d / (p[3] * p[3]))
			gap := ss[i] - fs[i]
			r := zs[i] - fs[i] - gap*dis - p[2]*e
			j := [4]float64{
				-gap*den/p[1] + p[2]*e*2*d/(p[3]*p[3]),
				-gap * den * d / (p[1] * p[1]),
				e,
				p[2] * e * 2 * d * d / (p[3] * p[3] * p[3]),
			}
			q.add(j[:], r, 1)
			total += r * r
		}
		return total
	}
	move := func(p *[maxParams]float64, dx [maxParams]float64) {
		p[0] = clamp(p[0]+clamp(dx[0], 1), reach)
		p[1] = min(reach, max(0.5, p[1]+clamp(dx[1], 1)))
		if n == 4 {
			p[2] += clamp(dx[2], 2)
			p[3] = min(reach, max(1, p[3]+clamp(dx[3], 1)))
		}
	}
	// a groove beside a step has more than one resting place: try several and
	// take the best, what is far from the followed seam a little less
	var best [maxParams]float64
	var inv [maxParams][maxParams]float64
	chi, ok := math.Inf(1), false
	try := func(params int, d, better float64) {
		n = params
		was := chi
		for _, t0 := range [3]float64{-startsMM / b.mm, 0, startsMM / b.mm} {
			p[0], p[2] = t0, d
			if x, c, v, settled := marquardt(p, n, 30, sum, move); settled {
				c += noise * noise * x[0] * x[0]
				if c < chi && c < was*better {
					best, chi, inv, ok = x, c, v, true
				}
			}
		}
	}
	if !groove { // a step alone, unless a groove explains the outline far better
		try(2, 0, 1)
		try(4, 0.5, 0.3)
	} else {
		try(4, dip, 1)
	}
	if !ok || len(ts) < n+4 || math.Abs(best[0]) > blendMaxMM/2/b.mm {
		return 0, 0, false
	}
	sd := math.Sqrt(chi / float64(len(ts)-n))
	u = max(uNotchFloor, math.Sqrt2*sd*math.Sqrt(inv[0][0])) // neighbours err alike over about two rows
	return y + b.dir*best[0], u, u < 3
}

// weighted is the mean of two values weighted by their uncertainties, with its
// own, which grows where they disagree (Birge 1932, Phys. Rev. 40:207).
func weighted(a, ua, b, ub float64) (v, u float64) {
	wa, wb := 1/(ua*ua), 1/(ub*ub)
	v = (a*wa + b*wb) / (wa + wb)
	u = 1 / math.Sqrt(wa+wb)
	birge := math.Abs(a-b) / math.Hypot(ua, ub)
	return v, u * max(1, birge)
}
