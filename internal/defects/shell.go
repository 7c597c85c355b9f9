package defects

import (
	"math"
	"slices"

	"finishbench/internal/defects/shape"
	"finishbench/internal/part"
)

// A shell is searched as a face is, with three differences. Its region is what the turn
// shows at slopes that still show something. Its base is a function of the surface's normal: that is what the light of
// a convex body depends on. And it has no rim: where the region ends the shell goes on, in another turn's
// picture.

// How a shell is looked at. Common practice, no source.
const (
	limbLineMM   = 1.0  // a line along the limb is at least this long,
	limbFromDeg  = 54.0 // lies at slopes from this on
	limbWithin   = 0.42 // and within 25 degrees of the limb's direction: the sine
	cutOffMM     = 0.5  // a place up to this length is cut off by the edge of what is looked at
	lampCutMM    = 1.0  // or up to this, where it is bright in one light alone
	sliverMM     = 0.2  // what is smaller, and cut off along a third of its edge, is nothing;
	cutOffUneven = 0.45 // in a see-through shell: and the light around it differs by this share of its contrast
	cutOffShare  = 0.2  // where this share of its own edge lies there
	runOnShellMM = 0.8  // a run on the shell is at least this long,
	runSlender   = 1.6  // this many times longer than wide,
	runWithinDeg = 20.0 // and within this of upright
	baseDoubt    = 0.02 // the base is not known better than by this share of the light
)

// zoneOfAll is the zone of what is the whole surface's.
func (f *face) zoneOfAll() part.Zone {
	if f.Params.Shell != nil {
		return part.ZoneShell
	}
	return part.ZoneFace
}

// alongLimb says whether a place is what the shell's limb mirrors of the room behind the camera's back and
// beside it: a line along the limb where that turns away.
func (f *face) alongLimb(p *place) bool {
	if f.Params.Shell == nil || p.all.Long*f.ShapeMM() < limbLineMM {
		return false
	}
	box := f.boxOf(float64(p.all.X0), float64(p.all.Y0), float64(p.all.X1), float64(p.all.Y1))
	c := box.Centre()
	at, ok := f.Params.Shell.Place(c.X, c.Y)
	if !ok || at.Slope() < limbFromDeg {
		return false
	}
	sin, cos := math.Sincos(p.all.AngleDeg * math.Pi / 180)
	tilt := math.Hypot(at.NormalX, at.NormalY)
	return math.Abs(at.NormalX*cos-at.NormalY*sin) < limbWithin*tilt
}

// withinBase says whether a place of a shell changes no light by more than the base may be wrong.
func (f *face) withinBase(p *place) bool {
	return f.Params.Shell != nil && !slices.ContainsFunc(p.contrast, func(c float64) bool { return math.Abs(c) >= baseDoubt })
}

// brightInOneLight says whether a place is brighter in one light and the same, within the base's doubt, in the others.
func (p *place) brightInOneLight() bool {
	bright := 0
	for _, c := range p.contrast {
		if c >= baseDoubt {
			bright++
		} else if c <= -baseDoubt {
			return false
		}
	}
	return bright == 1 && len(p.contrast) > 1
}

// cutOff says whether a place is what the edge of what is looked at leaves of something that goes on
// beyond it, a lamp's foot, a mirrored line: small, or with more than half of its own edge there.
func (f *face) cutOff(p *place) bool {
	if f.Params.Shell == nil {
		return false
	}
	in := map[int]bool{}
	for _, i := range p.found {
		in[i] = true
	}
	around, beyond := 0, 0
	for _, i := range p.found {
		for _, k := range [4]int{i - 1, i + 1, i - f.Surface.W, i + f.Surface.W} {
			if k < 0 || k >= len(f.Surface.Dist.V) || in[k] {
				continue
			}
			around++
			if f.Surface.Dist.V[k] <= 0 {
				beyond++
			}
		}
	}
	if 2*beyond >= around {
		return true // an island
	}
	long := p.all.Long * f.ShapeMM()
	if long > lampCutMM || long > cutOffMM && !p.brightInOneLight() || float64(beyond) < cutOffShare*float64(around) {
		return false
	}
	if p.all.Long*f.ShapeMM() < sliverMM && 3*beyond >= around {
		return true
	}
	// Long edges inside cut off much, but what goes on beyond shows around it.
	return !f.SeeThrough || f.unevenAround(p.found) > cutOffUneven
}

// runsDown says whether a place on a shell is as long along gravity as a run, and narrow across it.
func (f *face) runsDown(p *place) bool {
	return f.Params.Shell != nil && p.all.Long*f.ShapeMM() >= runOnShellMM && p.all.Long >= runSlender*p.all.Across && f.isUpright(p)
}

// isUpright says whether a place of a shell lies along gravity.
func (f *face) isUpright(p *place) bool {
	return shape.AngleBetween(p.all.AngleDeg, f.uprightDeg(p)) <= runWithinDeg
}

// spanOf is how many times as far a place of a shell reaches along gravity as across it, whatever it consists of: glints lie here and
// there around a run. 0 where it is wider than a run.
func (f *face) spanOf(p *place) float64 {
	if f.Params.Shell == nil {
		return 0
	}
	down := p.all
	down.SetAxis(-f.uprightDeg(p)*math.Pi/180, p.body, p.win.W)
	if down.Across*f.ShapeMM() > runMostMM {
		return 0
	}
	return down.Long / down.Across
}

// uprightDeg is the direction of gravity where a place of a shell lies, as that runs down the surface there: the unit hangs or stands along
// its axis. Counter-clockwise from the x axis, 0..180.
func (f *face) uprightDeg(p *place) float64 {
	c := f.boxOf(float64(p.all.X0), float64(p.all.Y0), float64(p.all.X1), float64(p.all.Y1)).Centre()
	upright := 90 - math.Atan(f.Params.Shell.Roll)*180/math.Pi
	if at, ok := f.Params.Shell.Place(c.X, c.Y); ok {
		half := p.all.Long * f.ShapeMM() / 2
		a, _, above := f.Params.Shell.Pixel(at.TurnDeg, at.BelowMM-half)
		b, _, below := f.Params.Shell.Pixel(at.TurnDeg, at.BelowMM+half)
		if above && below {
			upright = math.Atan2(b.Y-a.Y, a.X-b.X) * 180 / math.Pi
		}
	}
	return math.Mod(upright+180, 180)
}
