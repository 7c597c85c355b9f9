package defects

import (
	"errors"
	"math"
	"slices"

	"finishbench/internal/capture/outline"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// A shell is searched as a face is, with three differences. Its region is what the turn
// shows at slopes that still show something. Its base is a function of the surface's normal: that is what the light of
// a convex body depends on. And it has no rim: where the region ends the shell goes on, in another turn's
// picture.

// How a shell is looked at. Common practice, no source.
const (
	mostSlopeDeg = 60.0 // beyond, a turn's picture is not looked at
	underSeamMM  = 0.15 // so far below the seam the region begins, besides what the blur smears
	shellOrder   = 4    // of the polynomial in the normal's components,
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
	shellTurns   = 4    // a shell in so many turns has, in all, the false places from noise that a face is allowed
	baseDoubt    = 0.02 // the base is not known better than by this share of the light
	glowMM       = 2.6  // and what is left of it is a smooth surface within this distance
)

// ErrNoShell says that a turn shows no shell to look at.
var ErrNoShell = errors.New("defects: nothing of the shell lies within 60 degrees of the line of sight: photograph it from the side")

// shellRegion makes the region's outline of a turn's picture.
func (f *sceneFace) shellRegion() (*outline.Curve, error) {
	curve, middle := f.p.Shell.Region(mostSlopeDeg, underSeamMM+2*f.blurPX()*f.shapeMM())
	if len(curve) == 0 {
		return nil, ErrNoShell
	}
	c := &outline.Curve{Middle: middle}
	for _, q := range curve {
		c.RadiusN = append(c.RadiusN, math.Hypot(q.X-middle.X, q.Y-middle.Y))
	}
	return c, nil
}

// normalsOn tells, for each cell of a grid over the region, the normal's components across the line of
// sight as shares of what the region shows at most; NaN beside the shell.
func (f *sceneFace) normalsOn(g cellGrid) [][2]float64 {
	most := math.Sin(mostSlopeDeg * math.Pi / 180)
	out := make([][2]float64, g.nx*g.ny)
	for i := range out {
		x := (float64(f.surf.x0+i%g.nx*g.cell) + float64(g.cell)/2) * float64(f.factor)
		y := (float64(f.surf.y0+i/g.nx*g.cell) + float64(g.cell)/2) * float64(f.factor)
		out[i] = [2]float64{math.NaN(), math.NaN()}
		if p, ok := f.p.Shell.Place(x, y); ok {
			out[i] = [2]float64{p.NormalX / most, p.NormalY / most}
		}
	}
	return out
}

// levelShell adds to a channel's base what is left of the light over a few millimetres: a lamp's glow, and
// the limb's shading.
func (f *sceneFace) levelShell(ch *channel, dist *part.Plane) error {
	rest := part.NewPlane(f.surf.w, f.surf.h)
	for i, v := range ch.smooth.V {
		rest.V[i] = v - ch.base.V[i]
	}
	var off, light []float64
	for _, i := range f.points {
		if dist.V[i] > 0 {
			off, light = append(off, math.Abs(float64(rest.V[i]))), append(light, float64(ch.smooth.V[i]))
		}
	}
	ch.uneven = quantile(off, 0.85) / max(median(light), paintAtLeast)
	more, err := f.grid.newSpread(localFit(f.grid.medians(rest, dist, 0), max(2, int(glowMM/f.mmPX/float64(f.grid.cell)+0.5))), f.surf.w, f.surf.h)
	if err != nil {
		return err
	}
	base := part.NewPlane(f.surf.w, f.surf.h)
	for i, v := range ch.base.V {
		base.V[i] = v + more.V[i]
	}
	ch.base = base
	return nil
}

// localFit smooths a grid's values (NaN: none): each is that of a second-order surface through those within
// reach cells, far ones left out. Where there are too few around, it is 0.
func localFit(p *part.Plane, reach int) *part.Plane {
	out := part.NewPlane(p.W, p.H)
	var rows [][]float64
	var v, terms []float64
	for cy := range p.H {
		for cx := range p.W {
			rows, v, terms = rows[:0], v[:0], terms[:0]
			for y := max(0, cy-reach); y <= min(p.H-1, cy+reach); y++ {
				for x := max(0, cx-reach); x <= min(p.W-1, cx+reach); x++ {
					dx, dy := float64(x-cx)/float64(reach), float64(y-cy)/float64(reach)
					if a := float64(p.V[y*p.W+x]); a == a && dx*dx+dy*dy <= 1 {
						terms = append(terms, 1, dx, dy, dx*dx, dx*dy, dy*dy)
						rows, v = append(rows, terms[len(terms)-6:]), append(v, a)
					}
				}
			}
			if len(v) < 12 {
				continue
			}
			fit := make([]float64, 6)
			fit[0] = median(slices.Clone(v))
			robust.Biweight{Rounds: 4, Least: 1e-5}.Fit(fit, rows, v)
			out.V[cy*p.W+cx] = float32(fit[0])
		}
	}
	return out
}

// name is what the pictures show.
func (f *sceneFace) name() string {
	if f.p.Shell != nil {
		return "shell"
	}
	return "faceplate"
}

// zoneOfAll is the zone of what is the whole surface's.
func (f *face) zoneOfAll() part.Zone {
	if f.p.Shell != nil {
		return part.ZoneShell
	}
	return part.ZoneFace
}

// alongLimb says whether a place is what the shell's limb mirrors of the room behind the camera's back and
// beside it: a line along the limb where that turns away.
func (f *face) alongLimb(p *place) bool {
	if f.p.Shell == nil || p.all.long*f.shapeMM() < limbLineMM {
		return false
	}
	box := f.boxOf(float64(p.all.x0), float64(p.all.y0), float64(p.all.x1), float64(p.all.y1))
	c := box.Centre()
	at, ok := f.p.Shell.Place(c.X, c.Y)
	if !ok || at.Slope() < limbFromDeg {
		return false
	}
	sin, cos := math.Sincos(p.all.angleDeg * math.Pi / 180)
	tilt := math.Hypot(at.NormalX, at.NormalY)
	return math.Abs(at.NormalX*cos-at.NormalY*sin) < limbWithin*tilt
}

// withinBase says whether a place of a shell changes no light by more than the base may be wrong.
func (f *face) withinBase(p *place) bool {
	return f.p.Shell != nil && !slices.ContainsFunc(p.contrast, func(c float64) bool { return math.Abs(c) >= baseDoubt })
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

// cutOff says whether a small place is what the edge of what is looked at leaves of something that goes on
// beyond it: a lamp's foot, a mirrored line.
func (f *face) cutOff(p *place) bool {
	if f.p.Shell == nil || p.all.long*f.shapeMM() > lampCutMM || p.all.long*f.shapeMM() > cutOffMM && !p.brightInOneLight() {
		return false
	}
	in := map[int]bool{}
	for _, i := range p.found {
		in[i] = true
	}
	around, beyond := 0, 0
	for _, i := range p.found {
		for _, k := range [4]int{i - 1, i + 1, i - f.surf.w, i + f.surf.w} {
			if k < 0 || k >= len(f.surf.dist.V) || in[k] {
				continue
			}
			around++
			if f.surf.dist.V[k] <= 0 {
				beyond++
			}
		}
	}
	if float64(beyond) < cutOffShare*float64(around) {
		return false
	}
	if p.all.long*f.shapeMM() < sliverMM && 3*beyond >= around {
		return true
	}
	return !f.clear || f.unevenAround(p.found) > cutOffUneven // long edges inside cut off much, but what goes on beyond shows around it
}

// runsDown says whether a place on a shell is as long along gravity as a run, and narrow across it.
func (f *face) runsDown(p *place) bool {
	return f.p.Shell != nil && p.all.long*f.shapeMM() >= runOnShellMM && p.all.long >= runSlender*p.all.across && f.isUpright(p)
}

// isUpright says whether a place of a shell lies along gravity, as that runs down the surface there: the unit hangs or stands
// along its axis.
func (f *face) isUpright(p *place) bool {
	c := f.boxOf(float64(p.all.x0), float64(p.all.y0), float64(p.all.x1), float64(p.all.y1)).Centre()
	upright := 90 - math.Atan(f.p.Shell.Roll)*180/math.Pi
	if at, ok := f.p.Shell.Place(c.X, c.Y); ok {
		half := p.all.long * f.shapeMM() / 2
		a, _, above := f.p.Shell.Pixel(at.TurnDeg, at.BelowMM-half)
		b, _, below := f.p.Shell.Pixel(at.TurnDeg, at.BelowMM+half)
		if above && below {
			upright = math.Atan2(b.Y-a.Y, a.X-b.X) * 180 / math.Pi
		}
	}
	return angleBetween(math.Mod(p.all.angleDeg+180, 180), math.Mod(upright+180, 180)) <= runWithinDeg
}
