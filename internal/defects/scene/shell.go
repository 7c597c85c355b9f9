package scene

import (
	"math"
	"slices"

	"finishbench/internal/capture/outline"
	"finishbench/internal/defects/raster"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// A shell is searched as a face is, with three differences. Its region is what the turn
// shows at slopes that still show something. Its base is a function of the surface's normal: that is what the light of
// a convex body depends on. And it has no rim: where the region ends the shell goes on, in another turn's
// picture.

// How a shell is looked at. Common practice, no source.
const (
	MostSlopeDeg = 60.0 // beyond, a turn's picture is not looked at
	underSeamMM  = 0.15 // so far below the seam the region begins, besides what the blur smears
	shellOrder   = 4    // of the polynomial in the normal's components that is its base
	shellTurns   = 4    // a shell in so many turns has, in all, the false places from noise that a face is allowed
	glowMM       = 2.6  // what its fit leaves of the light is a smooth surface within this distance
)

// ErrNoShell says that a turn shows no shell to look at.
var ErrNoShell = lang.Error(part.Say("defects.no_shell"))

// shellRegion makes the region's outline of a turn's picture.
func (f *Face) shellRegion() (*outline.Curve, error) {
	curve, middle := f.Params.Shell.Region(MostSlopeDeg, underSeamMM+2*f.BlurPX()*f.ShapeMM())
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
func (f *Face) normalsOn(g raster.Grid) [][2]float64 {
	most := math.Sin(MostSlopeDeg * math.Pi / 180)
	out := make([][2]float64, g.NX*g.NY)
	for i := range out {
		x := (float64(f.Surface.X0+i%g.NX*g.Cell) + float64(g.Cell)/2) * float64(f.Factor)
		y := (float64(f.Surface.Y0+i/g.NX*g.Cell) + float64(g.Cell)/2) * float64(f.Factor)
		out[i] = [2]float64{math.NaN(), math.NaN()}
		if p, ok := f.Params.Shell.Place(x, y); ok {
			out[i] = [2]float64{p.NormalX / most, p.NormalY / most}
		}
	}
	return out
}

// levelShell adds to a channel's base what is left of the light over a few millimetres: a lamp's glow, and
// the limb's shading.
func (f *Face) levelShell(ch *Channel, dist *part.Plane) error {
	rest := part.NewPlane(f.Surface.W, f.Surface.H)
	for i, v := range ch.Light.V {
		rest.V[i] = v - ch.Base.V[i]
	}
	var off, light []float64
	for _, i := range f.Points {
		if dist.V[i] > 0 {
			off, light = append(off, math.Abs(float64(rest.V[i]))), append(light, float64(ch.Light.V[i]))
		}
	}
	ch.uneven = raster.Quantile(off, 0.85) / max(raster.Median(light), PaintAtLeast)
	more, err := f.Grid.Spread(localFit(f.Grid.Medians(rest, dist, 0), max(2, int(glowMM/f.MMPX/float64(f.Grid.Cell)+0.5))), f.Surface.W,
		f.Surface.H)
	if err != nil {
		return err
	}
	base := part.NewPlane(f.Surface.W, f.Surface.H)
	for i, v := range ch.Base.V {
		base.V[i] = v + more.V[i]
	}
	ch.Base = base
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
			fit[0] = raster.Median(slices.Clone(v))
			robust.Biweight{Rounds: 4, Least: 1e-5}.Fit(fit, rows, v)
			out.V[cy*p.W+cx] = float32(fit[0])
		}
	}
	return out
}
