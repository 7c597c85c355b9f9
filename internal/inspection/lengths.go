package inspection

import (
	"math"

	"finishbench/internal/config"
	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/seam"
)

// Lengths turns a view's pixels into millimetres.
type Lengths struct {
	MMPerPX float64
	URel    float64    // its relative standard uncertainty
	File    *ScaleFile // nil: the scale was given as a number
}

// ScaleFile is a scale file in use.
type ScaleFile struct {
	optics.Scale
	view part.View // "": all views
	Path string
	sum  string // SHA-256 of its bytes
	text config.Text

	doubts []part.Phrase // what a reader must know of it
}

// Undistort returns where a lens without distortion would have a place of the
// picture; nil where none is taken off. A place that the lens's model does not
// reach stays where it is.
func (l Lengths) Undistort() func(part.Point) part.Point {
	if l.File == nil || l.File.Lens == nil {
		return nil
	}
	lens := *l.File.Lens
	return func(p part.Point) part.Point {
		if q, ok := lens.UndistortPX(p); ok {
			return q
		}
		return p
	}
}

// uPupilMM is how well a ruler tells where in a lens its centre of projection lies, standard uncertainty. Common
// practice, no source.
const uPupilMM = 10

// Camera is where the lens stands: as the scale file has it, else stationMM, the station file's distance in mm, 0 where it has
// none. The distance of a pinhole is its focal length in px times the scale.
func (l Lengths) Camera(stationMM float64) seam.Camera {
	c := seam.Camera{DistanceMM: stationMM, UDistanceMM: uPupilMM}
	switch {
	case l.File == nil:
	case l.File.Projection == optics.Telecentric:
		return seam.Camera{DistanceMM: math.Inf(1)}
	case l.File.Lens != nil:
		lens := l.File.Lens
		c.DistanceMM = lens.FX * l.MMPerPX
		if u := l.File.LensU; u != nil {
			c.UDistanceMM = c.DistanceMM * math.Hypot(u.FX/lens.FX, l.URel)
			c.Axis, c.UAxisPX = &part.Point{X: lens.CX, Y: lens.CY}, max(u.CX, u.CY)
		}
	}
	if math.IsInf(c.DistanceMM, 1) {
		c.UDistanceMM = 0
	}
	return c
}

// straighten gives a finding the size that a lens without distortion would
// have shown: each length is stretched as the lens is there, in its direction.
// Its box stays the picture's.
func straighten(f *part.Finding, undistort func(part.Point) part.Point) {
	c := f.Box.Centre()
	reach := max(1, (f.Box[2]+f.Box[3])/4)
	along := func(deg float64) (dx, dy float64) {
		sin, cos := math.Sincos(deg * math.Pi / 180)
		a := undistort(part.Point{X: c.X - reach*cos, Y: c.Y + reach*sin}) // angles are counter-clockwise, y is down
		b := undistort(part.Point{X: c.X + reach*cos, Y: c.Y - reach*sin})
		return (b.X - a.X) / (2 * reach), (b.Y - a.Y) / (2 * reach)
	}
	angle := 0.0
	if f.AngleDeg != nil {
		angle = *f.AngleDeg
	}
	lx, ly := along(angle)
	wx, wy := along(angle + 90)
	area := math.Abs(lx*wy - ly*wx)
	stretch(f.LengthMM, math.Hypot(lx, ly))
	stretch(f.WidthMM, math.Hypot(wx, wy))
	stretch(f.DiameterMM, math.Sqrt(area))
	stretch(f.AreaMM2, area)
}

// straighten does so for all findings in pictures of this lens, where its distortion is known.
func (l Lengths) straighten(findings []part.Finding) {
	if undistort := l.Undistort(); undistort != nil {
		for i := range findings {
			straighten(&findings[i], undistort)
		}
	}
}

// stretch multiplies a length that was measured, to a micrometre as before.
func stretch(v *float64, by float64) {
	if v != nil {
		*v = math.Round(*v*by*1e4) / 1e4
	}
}
