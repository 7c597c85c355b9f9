package defects

import (
	"math"

	"finishbench/internal/part"
)

// On a shell, whose surface shows the lamps under every angle, faults of the lacquer's surface are seen by the lamps that their slopes mirror:
// some bright spots, each where the slope fits a lamp. What is matt, dust and fibres, looks alike in all lights. That tells them
// apart, and which spots are one run.

// How what is matt shows in two lights (common practice, no source).
const (
	mattMost   = 4.0  // under raking light it stands out at most so many times more: lacquer mirrors up to 6 % at slopes up to 60 degrees (Fresnel's law, index 1.5), a black paint sends 2 %
	mattLess   = 2.0  // and at most so many times less: nothing beside the ground is mirrored there, so that it should be no less
	mattAlike  = 0.5  // correlation of the two lights over it,
	alikeSeen  = 10.0 // where it stands out in both by so many times the noise
	alikeAside = 0.06 // this far around it, mm
)

// What is one run (common practice, no source). Lengths in millimetres.
const (
	runMostMM   = 1.0  // a run is no wider, and its drop no longer
	streakMinMM = 0.30 // a bright line down one of its sides is at least this long
)

// mirrors says whether a place of a shell is bright by what it mirrors: bright, but not in both lights as something matt is.
func (f *face) mirrors(p *place) bool {
	if f.p.Shell == nil || len(p.contrast) < 2 || f.sparkles {
		return false
	}
	low, other, in, out := math.Inf(-1), math.Inf(-1), 0, 0
	for pic, c := range p.contrast {
		if f.scene[pic].Shot.Light == part.Raking {
			if c > low {
				low, in = c, pic
			}
		} else if c > other {
			other, out = c, pic
		}
	}
	best, darkest := math.Max(low, other), math.Min(low, other)
	if math.IsInf(darkest, 0) || best < clearChange || -darkest > best { // one sort of light only, or it hides more than it mirrors
		return false
	}
	if low > mattMost*other || other > mattLess*low {
		return true
	}
	return min(p.strength[in], p.strength[out]) >= alikeSeen && f.alikeIn(p, in, out) < mattAlike
}

// inBothLights says whether a place is brighter in two lights at least, and by more than what the lacquer's surface mirrors of an even light.
func (f *face) inBothLights(p *place) bool {
	n := 0
	for _, c := range p.contrast {
		if c > opaqueDome {
			n++
		}
	}
	return n > 1
}

// alikeIn is the correlation, -1..1, of what two pictures show over a place and right around it.
func (f *face) alikeIn(p *place, a, b int) float64 {
	m := int(alikeAside/f.shapeMM() + 0.5)
	var x, y, xx, yy, xy, n float64
	for row := max(0, p.all.y0-p.win.y0-m); row <= min(p.win.h-1, p.all.y1-p.win.y0+m); row++ {
		for col := max(0, p.all.x0-p.win.x0-m); col <= min(p.win.w-1, p.all.x1-p.win.x0+m); col++ {
			i := row*p.win.w + col
			if p.win.parent[i] < 0 {
				continue
			}
			var u, v float64
			for c, ch := range f.channels {
				switch ch.pic {
				case a:
					u += f.deviation(p.win, c, i)
				case b:
					v += f.deviation(p.win, c, i)
				}
			}
			x, y, xx, yy, xy, n = x+u, y+v, xx+u*u, yy+v*v, xy+u*v, n+1
		}
	}
	spread := (xx - x*x/n) * (yy - y*y/n)
	if !(spread > 0) {
		return 0
	}
	return (xy - x*y/n) / math.Sqrt(spread)
}

// isGlint says whether a place of a shell is a lamp that a slope mirrors.
func (f *face) isGlint(p *place) bool {
	if f.p.Shell == nil || len(p.contrast) < 2 {
		return false
	}
	best, _ := brightest(p.contrast)
	return best >= glint && (f.mirrors(p) || f.isSlope(p))
}

// isStreak says whether a place is a lamp mirrored along an upright side.
func (f *face) isStreak(p *place) bool {
	return p.all.long*f.shapeMM() >= streakMinMM && p.all.long >= runSlender*p.all.across && f.isUpright(p) && f.isGlint(p)
}

// sameRun says whether two glints are one run's: in one column along gravity, as narrow as a run, no further from each other than its drop is
// long, and one of them a streak down its side.
func (f *face) sameRun(a, b *place) bool {
	if f.p.Shell == nil || !(f.isStreak(a) && f.isGlint(b)) {
		return false
	}
	// x along the axis to the height of a's middle
	mm, roll := f.shapeMM(), f.p.Shell.Roll
	left, right := math.Inf(1), math.Inf(-1)
	var top, bottom [2]float64
	for k, p := range [2]*place{a, b} {
		top[k], bottom[k] = math.Inf(1), math.Inf(-1)
		for _, i := range p.body {
			y := float64(i/p.win.w + p.win.y0)
			x := float64(i%p.win.w+p.win.x0) + roll*(y-a.all.cy)
			left, right = min(left, x), max(right, x)
			top[k], bottom[k] = min(top[k], y), max(bottom[k], y)
		}
	}
	gap := max(top[0], top[1]) - min(bottom[0], bottom[1])
	return (right-left+1)*mm <= runMostMM && gap*mm <= runMostMM
}
