package defects

import (
	"errors"
	"math"

	"finishbench/internal/outline"
	"finishbench/internal/part"
)

// A shell is searched as a face is, with three differences. Its region is what the turn
// shows at slopes that still show something. Its base is a function of the surface's normal: that is what the light of
// a convex body depends on. And it has no rim: where the region ends the shell goes on, in another turn's
// picture.

// How a shell is looked at. Common practice, no source.
const (
	mostSlopeDeg = 60.0 // beyond, a turn's picture is not looked at
	underSeamMM  = 0.15 // so far below the seam the region begins, besides what the blur smears
	shellOrder   = 4    // of the polynomial in the normal's components
)

// ErrNoShell says that a turn shows no shell to look at.
var ErrNoShell = errors.New("defects: nothing of the shell lies within 60 degrees of the line of sight: photograph it from the side")

// shellRegion makes the region's outline of a turn's picture.
func (f *face) shellRegion() (*outline.Curve, error) {
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

// normals tells, for each cell of a grid over the region, the normal's components across the line of
// sight as shares of what the region shows at most; NaN beside the shell.
func (f *face) normals(g cellGrid) [][2]float64 {
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

// evenGain lets all light count alike.
func (f *face) evenGain() {
	for range f.scene {
		g := part.NewPlane(f.surf.w, f.surf.h)
		for i := range g.V {
			g.V[i] = 1
		}
		f.gain = append(f.gain, g)
	}
}
