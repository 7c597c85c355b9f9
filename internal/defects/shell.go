package defects

import (
	"errors"
	"fmt"
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
	mostSlopeDeg  = 60.0  // beyond, a turn's picture is not looked at
	underSeamMM   = 0.15  // so far below the seam the region begins, besides what the blur smears
	atSeamMM      = 0.35  // what reaches nearer to the seam than this lies at it
	shellOrder    = 4     // of the polynomial in the normal's components
	leastCameraMM = 150.0 // a camera is at least so far from the shell: what lies nearer is larger in its picture
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

// onShell tells where on the shell a finding lies, and makes its sizes those on the surface: what is
// seen at a slope is shortened along it. Lengths are divided by that, along their own direction; their uncertainties gain that
// of the slope, and of how much nearer to the camera than the axis the surface lies.
func (f *face) onShell(p *place, out *part.Finding, angleDeg float64) {
	c := out.Box.Centre()
	for i, s := range f.scene {
		if s.Shot.File == out.Image && s.lies.moved() {
			c = f.scene[i].lies.to.back(c)
		}
	}
	at, ok := f.p.Shell.Place(c.X, c.Y)
	if !ok {
		return
	}
	out.TurnDeg, out.BelowMM = part.Num(math.Round(at.TurnDeg*10)/10), part.Num(round3(max(0, at.BelowMM)))
	uCos := f.p.Shell.USlope(c.X, c.Y) / max(at.NormalZ, 0.3)
	uNear := max(0, at.FrontMM) / leastCameraMM / math.Sqrt(3)
	long, across := at.Stretch(angleDeg), at.Stretch(angleDeg+90)
	size := func(v, u *float64, stretch, along float64) {
		if v == nil {
			return
		}
		*v = round3(*v / stretch)
		if u != nil {
			*u = round4(math.Sqrt(math.Pow(*u/stretch, 2) + math.Pow(*v*uCos*along, 2) + math.Pow(*v*uNear, 2)))
		}
	}
	// how much of the slope's doubt a length takes: none along the contour, all along the slope
	share := func(stretch float64) float64 {
		return max(0, min(1, (1-stretch)/max(1-at.NormalZ, 1e-6)))
	}
	size(out.LengthMM, out.ULengthMM, long, share(long))
	size(out.WidthMM, out.UWidthMM, across, share(across))
	d := math.Sqrt(at.NormalZ)
	size(out.DiameterMM, out.UDiamMM, d, 0.5)
	if out.AreaMM2 != nil {
		*out.AreaMM2 = round4(*out.AreaMM2 / at.NormalZ)
	}
	if b := out.Budget; b != nil && b.ValueUM != nil {
		stretch, along := long, share(long)
		if out.DiameterMM != nil {
			stretch, along = d, 0.5
		}
		for i := range b.Contributions {
			b.Contributions[i].Sensitivity /= stretch
		}
		v := *b.ValueUM / stretch
		more := part.NewBudget(b.Quantity, v, append(b.Contributions,
			part.Contribution{Name: fmt.Sprintf("slope of the shell, %.0f deg: its cross-section is told by %d of its turns", at.Slope(), f.p.Shell.Turns), Unit: "1", U: uCos * along, Distribution: part.Normal, Sensitivity: v},
			part.Contribution{Name: "nearer to the camera than the shell's axis, at a distance not known", Unit: "1", U: uNear, Distribution: part.Rectangular, Sensitivity: v}))
		out.Budget = &more
	}
	if at.BelowMM-p.reachMM(f) < atSeamMM {
		out.Zone = part.ZoneSeam
	}
}

// reachMM is how far a place reaches from its middle, in the picture.
func (p *place) reachMM(f *face) float64 { return p.all.long / 2 * f.shapeMM() }
