package optics

import (
	"errors"
	"fmt"
	"math"
	"strconv"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"

	"gonum.org/v1/gonum/mat"
)

// rulerMarks is the fewest lines of a ruler: two fix a scale, more show errors.
const rulerMarks = 3

// FitRuler tells the scale along a ruler or graticule of known pitch: marks on
// one line. It does not show squareness or tilt, which count with the tilt that
// a ruler laid by hand may have.
func FitRuler(v View, o FlatViewOptions) (Flat, error) {
	if err := o.check(); err != nil {
		return Flat{}, err
	}
	if err := v.checkMarks(rulerMarks); err != nil {
		return Flat{}, fmt.Errorf("optics: scale: view %s: %w", flatName(v), err)
	}
	f := newFlat(v, o)
	if err := f.byRuler(v, o); err != nil {
		return Flat{}, fmt.Errorf("optics: scale: view %s: %w", flatName(v), err)
	}
	tilt := o.TiltDeg
	if tilt == 0 {
		tilt = DefaultRulerTiltDeg
	}
	short := (1 - math.Cos(tilt*math.Pi/180)) / math.Sqrt(3) // a rectangle from square to the largest tilt, taken to both sides
	f.Budget = append(f.Budget, Contribution{"tilt of the ruler, unseen", tilt, "deg", f.MMPerPX * short})
	f.addTarget(o)
	f.combine()
	if !(f.MMPerPX > 0) || !(f.UMMPerPX < f.MMPerPX) { // also NaN
		return Flat{}, fmt.Errorf("optics: scale: view %s: the ruler's marks contradict each other so much that they tell no scale; look whether they were found rightly", flatName(v))
	}
	f.warnTarget(o)
	f.Warnings = append(f.Warnings, part.Say("optics.ruler_line"))
	if f.PerspectiveSeen {
		f.Warnings = append(f.Warnings, part.Say("optics.ruler_changes", "change_percent", fmt.Sprintf("%.2f", f.ScaleChangePct)))
	}
	if len(v.Marks) < minForScatter {
		f.Warnings = append(f.Warnings, part.Say("optics.few_marks", "n", strconv.Itoa(len(v.Marks))))
	}
	f.Warnings = append(f.Warnings, oddMarks(flatName(v), v.Marks, f.Residuals, f.SigmaPX)...)
	return f, nil
}

// byRuler fits mm along the ruler as a polynomial of px along its picture: a
// straight one, or one of degree two where chance does not explain the bend.
func (f *Flat) byRuler(v View, o FlatViewOptions) error {
	if o.Lens != nil {
		for i, m := range v.Marks {
			p, ok := o.Lens.UndistortPX(picturePoint(m))
			if !ok {
				return fmt.Errorf("the mark in column %d, row %d lies where the lens's distortion is not known", m.Col+1, m.Row+1)
			}
			if i == 0 {
				v.Marks = append([]Mark(nil), v.Marks...)
			}
			v.Marks[i].XPX, v.Marks[i].YPX = p.X, p.Y
		}
	}
	on, at := spreadOf(v.Marks, targetPoint), spreadOf(v.Marks, picturePoint)
	if on.along <= 0 || at.along <= 0 {
		return errors.New("the ruler's marks all lie at one place")
	}
	if on.across > 1e-6*on.along {
		return errors.New("the ruler's marks do not lie on one line of the target; fit them as a grid")
	}
	if at.across > 0.1*at.along {
		return errors.New("the ruler's marks do not lie along one line of the picture; look whether they were found rightly")
	}
	n := len(v.Marks)
	mm, px, across := make([]float64, n), make([]float64, n), make([]float64, n)
	mid := along(at, part.Point{X: float64(v.W-1) / 2, Y: float64(v.H-1) / 2})
	sense := 0.0
	for i, m := range v.Marks {
		mm[i] = along(on, targetPoint(m))
		px[i] = along(at, picturePoint(m))
		d := part.Point{X: m.XPX - at.mean.X, Y: m.YPX - at.mean.Y}
		across[i] = d.Y*at.dir.X - d.X*at.dir.Y
		sense += mm[i] * px[i]
		px[i] -= mid
	}
	if sense < 0 { // the line's direction has no sense of its own
		for i := range mm {
			mm[i] = -mm[i]
		}
		on.dir = part.Point{X: -on.dir.X, Y: -on.dir.Y}
	}
	line, err := fitPoly(px, mm, 1)
	if err != nil {
		return err
	}
	if bent, err := fitPoly(px, mm, 2); err == nil && bent.spare > 0 {
		rounding := floorPX * math.Abs(line.c[1])
		f.PerspectiveP = upperF((line.cost-bent.cost)/max(bent.variance(), rounding*rounding), 1, float64(bent.spare))
		if f.PerspectiveSeen = f.PerspectiveP < termP; f.PerspectiveSeen {
			line = bent
		}
		half := math.Hypot(float64(v.W)*at.dir.X, float64(v.H)*at.dir.Y) / 2
		if len(line.c) > 2 {
			f.ScaleChangePct = 100 * math.Abs(4*line.c[2]*half/line.c[1])
		} else {
			f.ScaleChangePct = 0
		}
	}
	f.MMPerPX = math.Abs(line.c[1])
	u := math.Sqrt(line.cov.At(1, 1))
	f.Budget = append(f.Budget, Contribution{"fit to the marks", u / f.MMPerPX, "1", u})
	f.SigmaPX = math.Sqrt(line.variance()) / f.MMPerPX
	// The ruler's direction: x of the target, or whatever its marks run along.
	f.TurnDeg = degrees(math.Atan2(-at.dir.Y, at.dir.X))
	if on.dir.X < -1e-9 || math.Abs(on.dir.X) <= 1e-9 && on.dir.Y < 0 {
		f.TurnDeg = math.Mod(f.TurnDeg+360, 360) - 180
	}
	f.Residuals = make([]part.Point, n)
	for i := range px {
		r := (line.at(px[i]) - mm[i]) / f.MMPerPX
		f.Residuals[i] = part.Point{X: r*at.dir.X - across[i]*at.dir.Y, Y: r*at.dir.Y + across[i]*at.dir.X}
	}
	f.RMSPX = rmsOf(f.Residuals)
	return nil
}

func along(s spread, p part.Point) float64 {
	return (p.X-s.mean.X)*s.dir.X + (p.Y-s.mean.Y)*s.dir.Y
}

// poly is a least-squares polynomial, c[0] + c[1] x + ...
type poly struct {
	c     []float64
	cov   *mat.SymDense
	cost  float64
	spare int
}

func (p *poly) variance() float64 { return p.cost / float64(max(1, p.spare)) }

func (p *poly) at(x float64) float64 {
	y := 0.0
	for i := len(p.c) - 1; i >= 0; i-- {
		y = y*x + p.c[i]
	}
	return y
}

func fitPoly(x, y []float64, degree int) (*poly, error) {
	n := mat.NewSymDense(degree+1, nil)
	g := make([]float64, degree+1)
	for i := range x {
		row := make([]float64, degree+1)
		row[0] = 1
		for k := range degree {
			row[k+1] = row[k] * x[i]
		}
		n.SymRankOne(n, 1, mat.NewVecDense(len(row), row))
		for k := range row {
			g[k] += row[k] * y[i]
		}
	}
	c, ok := robust.SolveDamped(n, g, 0)
	inv, ok2 := robust.Inverse(n)
	if !ok || !ok2 {
		return nil, errors.New("the marks do not fix the scale along the ruler")
	}
	p := &poly{c: c, spare: len(x) - degree - 1}
	for i := range x {
		e := y[i] - p.at(x[i])
		p.cost += e * e
	}
	inv.ScaleSym(p.variance(), inv)
	p.cov = inv
	return p, nil
}

// Ellipse is the outline of a disc or of a ball as pictured.
type Ellipse struct {
	XPX, YPX         float64 // its centre
	MajorPX, MinorPX float64 // its diameters, major >= minor
	AngleDeg         float64 // of the major axis, counter-clockwise from the picture's x axis
	UDiameterPX      float64 // standard uncertainty of the diameters
}

// FitDisc tells the scale from one disc, pin or ball of known diameter in a
// picture of w x h px. Its larger diameter is not shortened by tilt.
func FitDisc(e Ellipse, w, h int, diameterMM float64, o FlatViewOptions) (Flat, error) {
	if err := o.check(); err != nil {
		return Flat{}, err
	}
	if err := e.check(w, h, diameterMM); err != nil {
		return Flat{}, fmt.Errorf("optics: scale: disc: %w", err)
	}
	f := newFlat(View{W: w, H: h}, o)
	u, major, minor := e.UDiameterPX, e.MajorPX, e.MinorPX
	if o.Lens != nil {
		stretch, ok := o.Lens.stretch(part.Point{X: e.XPX, Y: e.YPX})
		if !ok {
			return Flat{}, errors.New("optics: scale: disc: it lies where the lens's distortion is not known; move it to the picture's middle")
		}
		u, major, minor = u*stretch, major*stretch, minor*stretch
	}
	f.MMPerPX = diameterMM / major
	// As for a plane: noise alone makes the diameters differ.
	q := (major*major - minor*minor) / (major*major + minor*minor)
	uq := u * math.Sqrt2 / major
	q = math.Sqrt(max(0, q*q-uq*uq))
	f.TiltDeg = degrees(math.Acos(shortening(q)))
	f.UTiltDeg = tiltUDeg(q, uq)
	f.TiltAlongDeg = math.Mod(math.Mod(e.AngleDeg, 180)+90+180, 180)
	f.Budget = []Contribution{
		{"diameter in the picture", u, "px", f.MMPerPX * u / major},
		{"squareness of the view", f.TiltDeg, "deg", f.MMPerPX * (1/shortening(q) - 1) / math.Sqrt(12)},
	}
	f.addTarget(o)
	f.combine()
	f.warnTarget(o)
	f.Warnings = append(f.Warnings, part.Say("optics.disc_edge"))
	return f, nil
}

func (e *Ellipse) check(w, h int, diameterMM float64) error {
	for _, v := range []float64{e.XPX, e.YPX, e.MajorPX, e.MinorPX, e.AngleDeg, diameterMM} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return errors.New("its centre, diameters, angle and diameter in mm must be numbers")
		}
	}
	switch {
	case w <= 0 || h <= 0:
		return fmt.Errorf("the picture's size is given as %d x %d px; both must be above 0", w, h)
	case diameterMM <= 0:
		return fmt.Errorf("its diameter is given as %g mm; it must be above 0", diameterMM)
	case e.MinorPX <= 0 || e.MajorPX < e.MinorPX:
		return fmt.Errorf("its diameters in the picture are %g and %g px; the larger must come first and both be above 0", e.MajorPX,
			e.MinorPX)
	case !(e.UDiameterPX > 0) || math.IsInf(e.UDiameterPX, 0):
		return errors.New("how well its diameter is known in the picture is not given; without that the scale has no uncertainty")
	case e.XPX < 0 || e.YPX < 0 || e.XPX > float64(w) || e.YPX > float64(h):
		return fmt.Errorf("its centre at %.1f, %.1f lies outside the picture of %d x %d px", e.XPX, e.YPX, w, h)
	}
	return nil
}

// stretch is how much longer a short length near the pixel p is once the
// distortion is taken off, the mean over directions.
func (l *Lens) stretch(p part.Point) (float64, bool) {
	x, y, ok := l.undistort((p.X-l.CX)/l.FX, (p.Y-l.CY)/l.FY)
	if !ok {
		return math.NaN(), false
	}
	j := l.slope(x, y)
	return 1 / math.Sqrt(j[0]*j[3]-j[1]*j[2]), true
}
