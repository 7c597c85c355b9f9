package optics

import (
	"errors"
	"fmt"
	"math"
	"strconv"

	"finishbench/internal/part"
)

// FlatViewOptions says what is known before one picture of a target is fitted.
type FlatViewOptions struct {
	TargetURel float64  // relative standard uncertainty of the target's pitch or diameter, from its certificate; 0: not given, which is warned about
	Projection string   // [Telecentric] or [Perspective] where a person knows; "" where not
	Lens       *Lens    // known distortion; with [Telecentric] only that, else also the focal length, so that the tilt is known
	LensCov    *LensCov // of the lens, for the budget; nil: not counted
	TiltDeg    float64  // for a ruler, which does not show its tilt: the most it may be, 0 is [DefaultRulerTiltDeg]
}

// DefaultRulerTiltDeg is the tilt by which a ruler laid by hand may be off the
// picture's plane (common practice, no source).
const DefaultRulerTiltDeg = 2.0

// When one picture shows more than an affine map (common practice, no source).
const (
	termP          = 0.01 // chance of an F as large, below which a term is taken as real
	radialMarks    = 30   // fewest marks among which distortion is looked for
	radialCoverage = 0.25 // of the picture
	tellTiltsApart = 1.5  // sum of squares of the pose tilted the other way, over this one's, below which either may be true
)

// Contribution is one source of the scale's uncertainty.
type Contribution struct {
	Name    string
	Value   float64 // of the source, in Unit: its standard uncertainty, for a tilt its size
	Unit    string  // "1": relative; "px"; "deg"
	MMPerPX float64 // what it contributes: standard uncertainty
}

// Flat is the scale and squareness that one picture of a target tells. What it
// does not tell is NaN.
type Flat struct {
	Name       string
	W, H       int    // px
	Projection string // [Telecentric] only where it was given; else [Perspective], which promises less

	MMPerPX  float64 // at the picture's middle, for a plane square to the axis at the target's distance
	UMMPerPX float64 // k = 1, from Budget
	Budget   []Contribution

	MMPerPXX, MMPerPXY      float64 // of the target's plane as it stands, along the picture's x and y, at its middle
	AspectRatio, UAspect    float64 // MMPerPXY / MMPerPXX
	SkewDeg, USkewDeg       float64 // the target's right angle as pictured, minus 90
	TiltDeg, UTiltDeg       float64 // of the target's plane against the picture's; without a lens: if the foreshortening is all tilt
	TiltAlongDeg            float64 // the direction in the picture along which it is foreshortened, 0..180 counter-clockwise
	TurnDeg                 float64 // the target's x axis in the picture, counter-clockwise, -180..180
	DistanceMM, UDistanceMM float64 // to the target's plane along the axis; needs a lens

	PerspectiveP    float64 // chance of as much perspective by noise alone
	PerspectiveSeen bool
	ScaleChangePct  float64 // of the target's plane over the picture by perspective: largest less smallest, of the middle's
	RadialP         float64
	RadialSeen      bool
	Lens, LensU     *Lens   // the given lens, or the radial distortion seen (on FX = FY = the diagonal; no focal length)
	DistortionMaxPX float64 // largest shift by the lens within the picture; NaN: no lens known

	RMSPX     float64 // sqrt(sum of squared distances / number of marks)
	SigmaPX   float64 // of one coordinate
	Residuals []part.Point
	Coverage  float64 // share of the picture within the marks' hull
	Warnings  []part.Phrase
}

// FitFlat tells scale and squareness from one picture of a flat target. Without
// a lens it fits an affine map, then perspective and a radial distortion where
// they are significant (F test); with a lens it fits the target's place.
func FitFlat(v View, o FlatViewOptions) (Flat, error) {
	if err := o.check(); err != nil {
		return Flat{}, err
	}
	if err := v.check(); err != nil {
		return Flat{}, fmt.Errorf("optics: scale: view %s: %w", flatName(v), err)
	}
	f := newFlat(v, o)
	f.Coverage = coverage([]View{v})
	err := error(nil)
	if o.Lens != nil && o.Projection != Telecentric {
		err = f.byPlacement(v, o)
	} else {
		err = f.byPlane(v, o)
	}
	if err != nil {
		return Flat{}, fmt.Errorf("optics: scale: view %s: %w", flatName(v), err)
	}
	f.addTarget(o)
	f.combine()
	if !(f.MMPerPX > 0) || !(f.UMMPerPX < f.MMPerPX) { // also NaN
		return Flat{}, fmt.Errorf("optics: scale: view %s: the marks contradict each other so much that they tell no scale; look whether they were found rightly, and square the target", flatName(v))
	}
	f.warn(v, o)
	return f, nil
}

func (o *FlatViewOptions) check() error {
	if !(o.TargetURel >= 0 && o.TargetURel < 1) {
		return fmt.Errorf("optics: scale: the target's relative uncertainty is given as %g; it must be from 0 to below 1, as 0.0005",
			o.TargetURel)
	}
	if o.Projection != "" && o.Projection != Telecentric && o.Projection != Perspective {
		return fmt.Errorf("optics: scale: the projection is given as %q; it must be %s or %s", o.Projection, Telecentric, Perspective)
	}
	if o.LensCov != nil && o.Lens == nil {
		return errors.New("optics: scale: a lens's covariance is given without the lens")
	}
	if !(o.TiltDeg >= 0 && o.TiltDeg < 90) {
		return fmt.Errorf("optics: scale: the largest tilt is given as %g degrees; it must be from 0 to below 90", o.TiltDeg)
	}
	if o.Lens != nil {
		return o.Lens.Validate()
	}
	return nil
}

func flatName(v View) string { return viewName([]View{v}, 0) }

// newFlat has nothing measured yet.
func newFlat(v View, o FlatViewOptions) Flat {
	n := math.NaN()
	f := Flat{Name: v.Name, W: v.W, H: v.H, Projection: o.Projection, Lens: o.Lens,
		MMPerPX: n, UMMPerPX: n, MMPerPXX: n, MMPerPXY: n, AspectRatio: n, UAspect: n, SkewDeg: n, USkewDeg: n, TiltDeg: n, UTiltDeg: n,
		TiltAlongDeg: n, TurnDeg: n, DistanceMM: n, UDistanceMM: n, PerspectiveP: n, ScaleChangePct: n, RadialP: n, DistortionMaxPX: n, RMSPX: n, SigmaPX: n, Coverage: n}
	if f.Projection == "" {
		f.Projection = Perspective
	}
	if o.LensCov != nil && o.Lens != nil {
		f.LensU = new(Lens)
		for k, u := range f.LensU.list() {
			*u.at = math.Sqrt(max(0, o.LensCov[k][k]))
		}
	}
	if f.Lens != nil {
		f.DistortionMaxPX = f.Lens.maxShiftPX(v.W, v.H)
	}
	return f
}

// maxShiftPX is how far the distortion moves a pixel of the picture's border at
// most; NaN where the lens cannot say.
func (l Lens) maxShiftPX(w, h int) float64 {
	most := 0.0
	const steps = 16
	for i := range steps + 1 {
		a, b := float64(i)/steps*float64(w-1), float64(i)/steps*float64(h-1)
		for _, p := range []part.Point{{X: a, Y: 0}, {X: a, Y: float64(h - 1)}, {X: 0, Y: b}, {X: float64(w - 1), Y: b}} {
			q, ok := l.UndistortPX(p)
			if !ok {
				return math.NaN()
			}
			most = max(most, math.Hypot(p.X-q.X, p.Y-q.Y))
		}
	}
	return most
}

// byPlane fits the plane as pictured. A known distortion is taken off first.
func (f *Flat) byPlane(v View, o FlatViewOptions) error {
	if o.Lens != nil {
		marks := make([]Mark, len(v.Marks))
		for i, m := range v.Marks {
			p, ok := o.Lens.UndistortPX(picturePoint(m))
			if !ok {
				return fmt.Errorf("the mark in column %d, row %d lies where the lens's distortion is not known", m.Col+1, m.Row+1)
			}
			m.XPX, m.YPX = p.X, p.Y
			marks[i] = m
		}
		v.Marks = marks
	}
	p, err := f.choose(v, o.Lens == nil)
	if err != nil {
		return err
	}
	f.SigmaPX = math.Sqrt(p.variance())
	f.Residuals = p.residuals()
	f.RMSPX = rmsOf(f.Residuals)
	h := p.homography(p.p)
	if !math.IsNaN(f.PerspectiveP) {
		f.ScaleChangePct = scaleChange(h, v.W, v.H) // 0 where perspective was looked for and none seen
	}
	if f.RadialSeen {
		f.takeRadial(p)
	}
	mid := part.Point{X: float64(v.W-1) / 2, Y: float64(v.H-1) / 2}
	values := func(q [planeSize]float64) []float64 { return viewOf(p.homography(q), mid).list() }
	f.takeView(viewOf(h, mid), viewOfList(p.uncertainty(values)))
	if o.Lens == nil && !f.RadialSeen {
		f.addUnseenDistortion(v, mid)
	}
	return nil
}

// addUnseenDistortion counts a distortion that is not taken off: how much the
// scale at the middle would change with a radial term, significant or not. With
// few marks that says nothing, and a warning stands instead.
func (f *Flat) addUnseenDistortion(v View, mid part.Point) {
	if len(v.Marks) < minForScatter {
		return
	}
	p, ok := fitPlane(&v, f.PerspectiveSeen, true)
	if !ok || p.spare <= 0 {
		return
	}
	values := func(q [planeSize]float64) []float64 { return viewOf(p.homography(q), mid).list() }
	other, _ := squareScale(viewOf(p.homography(p.p), mid), viewOfList(p.uncertainty(values)))
	change := math.Abs(other - f.MMPerPX)
	f.Budget = append(f.Budget, Contribution{"distortion, not taken off", change / f.MMPerPX, "1", change})
}

// choose adds perspective and radial distortion to the affine map one at a time,
// the likelier first, each only where the residuals ask for it.
func (f *Flat) choose(v View, lookForRadial bool) (*planeFit, error) {
	now, ok := fitPlane(&v, false, false)
	if !ok {
		return nil, errors.New("no plane explains the marks; look whether they were found rightly")
	}
	lookForRadial = lookForRadial && len(v.Marks) >= radialMarks && f.Coverage >= radialCoverage
	for range 2 {
		var withP, withK *planeFit
		if !f.PerspectiveSeen {
			withP, f.PerspectiveP = better(now, &v, true, f.RadialSeen)
		}
		if lookForRadial && !f.RadialSeen {
			withK, f.RadialP = better(now, &v, f.PerspectiveSeen, true)
		}
		switch {
		case withP != nil && (withK == nil || withP.cost/float64(withP.spare) <= withK.cost/float64(withK.spare)):
			now, f.PerspectiveSeen = withP, true
		case withK != nil:
			now, f.RadialSeen = withK, true
		default:
			return now, nil
		}
	}
	return now, nil
}

// better fits the larger model and gives it if chance does not explain by how
// much its residuals are smaller, and the chance in any case; NaN where too few
// marks are there to tell.
func better(small *planeFit, v *View, perspective, radial bool) (*planeFit, float64) {
	big, ok := fitPlane(v, perspective, radial)
	if !ok || big.spare <= 0 {
		return nil, math.NaN()
	}
	terms := float64(small.spare - big.spare)
	p := upperF((small.cost-big.cost)/terms/max(big.variance(), floorPX*floorPX), terms, float64(big.spare))
	if p < termP {
		return big, p
	}
	return nil, p
}

// takeRadial keeps the distortion found as a lens without a focal length: it is
// on the picture's diagonal, and good for taking distortion off only.
func (f *Flat) takeRadial(p *planeFit) {
	d := 2 * p.px
	f.Lens = &Lens{FX: d, FY: d, CX: p.mid.X, CY: p.mid.Y, K1: 4 * p.p[planeK]}
	f.LensU = &Lens{}
	for k, place := range p.free {
		if place == planeK {
			f.LensU.K1 = 4 * math.Sqrt(p.cov.At(k, k))
		}
	}
	f.DistortionMaxPX = f.Lens.maxShiftPX(f.W, f.H)
}

func rmsOf(r []part.Point) float64 {
	sum := 0.0
	for _, p := range r {
		sum += p.X*p.X + p.Y*p.Y
	}
	return math.Sqrt(sum / float64(len(r)))
}

// planeView is a plane as pictured near one pixel.
type planeView struct {
	mean   float64 // px/mm, the geometric mean over directions
	q1, q2 float64 // how it differs by direction: q = (s1^2 - s2^2) / (s1^2 + s2^2), as a vector of twice the angle
	mmX    float64 // mm/px along the picture's x
	mmY    float64
	skew   float64 // degrees
	turn   float64 // degrees
}

func (v planeView) list() []float64 {
	return []float64{v.mean, v.q1, v.q2, v.mmX, v.mmY, v.mmY / v.mmX, v.skew, v.turn}
}

func viewOfList(u []float64) (v planeViewU) {
	return planeViewU{mean: u[0], q: math.Sqrt((u[1]*u[1] + u[2]*u[2]) / 2), aspect: u[5], skew: u[6]}
}

// planeViewU holds the standard uncertainties of a planeView.
type planeViewU struct{ mean, q, aspect, skew float64 }

// viewOf describes the plane near the pixel p from the homography's slope there.
func viewOf(h homography, p part.Point) planeView {
	m := h.inverse().at(p.X, p.Y)
	j := h.slope(m.X, m.Y)
	det := j[0]*j[3] - j[1]*j[2]
	// J J^T tells the directions in the picture.
	xx, xy, yy := j[0]*j[0]+j[1]*j[1], j[0]*j[2]+j[1]*j[3], j[2]*j[2]+j[3]*j[3]
	return planeView{
		mean: math.Sqrt(math.Abs(det)),
		q1:   (xx - yy) / (xx + yy), q2: 2 * xy / (xx + yy),
		mmX:  math.Hypot(j[3], j[2]) / math.Abs(det),
		mmY:  math.Hypot(j[1], j[0]) / math.Abs(det),
		skew: degrees(math.Atan2(det, j[0]*j[1]+j[2]*j[3])) - 90,
		turn: degrees(math.Atan2(-j[2], j[0])),
	}
}

// squareScale is mm/px of a plane square to the axis and the shortening by tilt,
// pixels taken as square: what differs by direction is tilt, and the larger px/mm
// is the true one. Noise alone makes directions differ; its part is taken off.
func squareScale(v planeView, u planeViewU) (mmPerPX, ratio float64) {
	ratio = shortening(math.Sqrt(max(0, v.q1*v.q1+v.q2*v.q2-2*u.q*u.q)))
	return math.Sqrt(ratio) / v.mean, ratio
}

// takeView fills in what the plane's view tells without a lens.
func (f *Flat) takeView(v planeView, u planeViewU) {
	var ratio float64
	f.MMPerPX, ratio = squareScale(v, u)
	q := (1 - ratio*ratio) / (1 + ratio*ratio)
	f.TiltDeg = degrees(math.Acos(ratio))
	f.UTiltDeg = tiltUDeg(q, u.q)
	f.takeShape(v, u)
	f.Budget = append(f.Budget,
		Contribution{"fit to the marks", math.Hypot(u.mean/v.mean, u.q/2), "1", f.MMPerPX * math.Hypot(u.mean/v.mean, u.q/2)},
		// Whether it is tilt, the target's print or the pixels cannot be told: a rectangle as wide as the correction.
		Contribution{"squareness of the view", f.TiltDeg, "deg", f.MMPerPX * (1/ratio - 1) / math.Sqrt(12)})
}

// shortening is s2/s1 for q = (s1^2 - s2^2) / (s1^2 + s2^2).
func shortening(q float64) float64 { return math.Sqrt((1 - q) / (1 + q)) }

// tiltUDeg is the tilt's standard uncertainty where q is known to u. The tilt goes
// as the root of q: where q is not told from 0, it is half of the tilt at q + 2 u.
func tiltUDeg(q, u float64) float64 {
	tilt := func(q float64) float64 { return degrees(math.Acos(shortening(max(0, min(1, q))))) }
	if q < 3*u {
		return tilt(q+2*u) / 2
	}
	return (tilt(q+u) - tilt(q-u)) / 2
}

func (f *Flat) takeShape(v planeView, u planeViewU) {
	f.MMPerPXX, f.MMPerPXY = v.mmX, v.mmY
	f.AspectRatio, f.UAspect = v.mmY/v.mmX, u.aspect
	f.SkewDeg, f.USkewDeg = v.skew, u.skew
	f.TurnDeg = v.turn
	// The direction of the largest px/mm is half the angle of q; foreshortening
	// is square to it. Counter-clockwise as seen: y is down.
	f.TiltAlongDeg = math.Mod(degrees(-math.Atan2(v.q2, v.q1)/2)+90+360, 180)
}

// scaleChange is how much px/mm of the plane differs over the picture, percent
// of that at its middle; NaN where the plane's horizon crosses the picture.
func scaleChange(h homography, w, ht int) float64 {
	inv := h.inverse()
	at := func(x, y float64) float64 {
		m := inv.at(x, y)
		if h[6]*m.X+h[7]*m.Y+h[8] <= 0 {
			return math.NaN()
		}
		j := h.slope(m.X, m.Y)
		return math.Sqrt(math.Abs(j[0]*j[3] - j[1]*j[2]))
	}
	x, y := float64(w-1), float64(ht-1)
	least, most := math.Inf(1), 0.0
	for _, p := range []part.Point{{X: 0, Y: 0}, {X: x, Y: 0}, {X: 0, Y: y}, {X: x, Y: y}} {
		s := at(p.X, p.Y)
		least, most = min(least, s), max(most, s) // NaN stays
	}
	return 100 * (most - least) / at(x/2, y/2)
}

// byPlacement finds the target's place before a known lens.
func (f *Flat) byPlacement(v View, o FlatViewOptions) error {
	p, err := fitPlacement(o.Lens, v)
	if err != nil {
		return err
	}
	f.Residuals, f.RMSPX = p.fit.Residuals, p.fit.RMSPX
	f.SigmaPX = math.Sqrt(p.variance)
	f.TiltDeg, f.UTiltDeg = p.fit.TiltDeg, p.fit.UTiltDeg
	placement := p.fit.Placement
	mid := part.Point{X: float64(v.W-1) / 2, Y: float64(v.H-1) / 2}
	values := func(q Placement) []float64 {
		return append(viewOf(q.homography(o.Lens), mid).list(), o.Lens.mmPerPX(&q, mid), depthOnAxis(&q))
	}
	u := placementU(placement, p.cov, values)
	h := placement.homography(o.Lens)
	f.takeShape(viewOf(h, mid), viewOfList(u))
	f.TiltAlongDeg = math.Mod(degrees(math.Atan2(-placement.R[5], placement.R[2]))+360, 180)
	f.ScaleChangePct = scaleChange(h, v.W, v.H)
	f.MMPerPX = o.Lens.mmPerPX(&placement, mid)
	f.DistanceMM, f.UDistanceMM = p.fit.DistanceMM, u[len(u)-1]
	if math.IsNaN(f.MMPerPX) {
		return errors.New("the target's plane does not meet the picture's middle before the lens; hold it square to the lens")
	}
	fit := u[len(u)-2]
	f.Budget = append(f.Budget, Contribution{"fit to the marks", fit / f.MMPerPX, "1", fit})
	if o.LensCov != nil {
		f.addLens(v, o, mid)
	}
	if p.other < tellTiltsApart {
		f.Warnings = append(f.Warnings, part.Say("optics.other_tilt"))
	}
	return nil
}

// mmPerPX is the scale of a plane square to the axis at the depth where the
// target's plane is seen at pixel p.
func (l *Lens) mmPerPX(p *Placement, at part.Point) float64 {
	u, ok := l.UndistortPX(at)
	if !ok {
		return math.NaN()
	}
	x, y := (u.X-l.CX)/l.FX, (u.Y-l.CY)/l.FY
	n := [3]float64{p.R[2], p.R[5], p.R[8]}
	z := (n[0]*p.T[0] + n[1]*p.T[1] + n[2]*p.T[2]) / (n[0]*x + n[1]*y + n[2])
	if !(z > 0) || math.IsInf(z, 0) {
		return math.NaN()
	}
	return z / math.Sqrt(l.FX*l.FY)
}

// placementU carries a pose's covariance to values of it.
func placementU(p Placement, cov [36]float64, values func(Placement) []float64) []float64 {
	var slopes [placementSize][]float64
	for k := range slopes {
		h := 0.1*math.Sqrt(max(0, cov[k*placementSize+k])) + 1e-9
		var d [placementSize]float64
		d[k] = h
		hi := values(p.turned([3]float64(d[:3]), [3]float64(d[3:])))
		d[k] = -h
		lo := values(p.turned([3]float64(d[:3]), [3]float64(d[3:])))
		slopes[k] = make([]float64, len(hi))
		for i := range hi {
			slopes[k][i] = (hi[i] - lo[i]) / (2 * h)
		}
	}
	u := make([]float64, len(slopes[0]))
	for i := range u {
		sum := 0.0
		for r := range slopes {
			for c := range slopes {
				sum += slopes[r][i] * cov[r*placementSize+c] * slopes[c][i]
			}
		}
		u[i] = math.Sqrt(max(0, sum))
	}
	return u
}

// addLens counts what the lens's own uncertainty does to the scale: the target's
// place is fitted again with each parameter a little off.
func (f *Flat) addLens(v View, o FlatViewOptions, mid part.Point) {
	var slope [lensSize]float64
	for k := range slope {
		u := math.Sqrt(max(0, o.LensCov[k][k]))
		if u == 0 {
			continue
		}
		var s [2]float64
		for i, sign := range []float64{1, -1} {
			l := *o.Lens
			*l.list()[k].at += sign * u / 2
			p, err := fitPlacement(&l, v)
			if err != nil {
				f.Warnings = append(f.Warnings, part.Say("optics.no_lens_u"))
				return
			}
			s[i] = l.mmPerPX(&p.fit.Placement, mid)
		}
		slope[k] = (s[0] - s[1]) / u
	}
	sum := 0.0
	for r := range slope {
		for c := range slope {
			sum += slope[r] * o.LensCov[r][c] * slope[c]
		}
	}
	u := math.Sqrt(max(0, sum))
	f.Budget = append(f.Budget, Contribution{"lens", u / f.MMPerPX, "1", u})
}

func (f *Flat) addTarget(o FlatViewOptions) {
	f.Budget = append([]Contribution{{"target's pitch or diameter", o.TargetURel, "1", f.MMPerPX * o.TargetURel}}, f.Budget...)
}

// combine is the root of the sum of squares (JCGM 100:2008, section 5.1.2).
func (f *Flat) combine() {
	sum := 0.0
	for _, c := range f.Budget {
		sum += c.MMPerPX * c.MMPerPX
	}
	f.UMMPerPX = math.Sqrt(sum)
}

// minForScatter is the number of marks under which their scatter is known badly
// (common practice, no source).
const minForScatter = 12

// warn says what a reader must know.
func (f *Flat) warn(v View, o FlatViewOptions) {
	add := func(p part.Phrase) { f.Warnings = append(f.Warnings, p) }
	f.warnTarget(o)
	if len(v.Marks) < minForScatter {
		add(part.Say("optics.few_marks", "n", strconv.Itoa(len(v.Marks))))
	}
	switch {
	case o.Projection == Telecentric && f.PerspectiveSeen:
		add(part.Say("optics.perspective_seen", "change_percent", fmt.Sprintf("%.2f", f.ScaleChangePct)))
	case o.Lens == nil && f.PerspectiveSeen:
		add(part.Say("optics.tilted_perspective", "change_percent", fmt.Sprintf("%.2f", f.ScaleChangePct)))
	case o.Lens == nil && o.Projection == "":
		add(part.Say("optics.square_picture"))
	}
	if o.Lens == nil {
		switch {
		case math.IsNaN(f.RadialP):
			add(part.Say("optics.no_distortion", "need", strconv.Itoa(radialMarks), "n", strconv.Itoa(len(v.Marks)),
				"share_percent", fmt.Sprintf("%.0f", 100*f.Coverage)))
		case f.RadialSeen:
			covered, corner := reach(v)
			add(part.Say("optics.one_term", "known_px", fmt.Sprintf("%.0f", covered), "corner_px", fmt.Sprintf("%.0f", corner)))
		}
	}
	f.Warnings = append(f.Warnings, oddMarks(flatName(v), v.Marks, f.Residuals, f.SigmaPX)...)
}

// reach is how far from the picture's middle the furthest mark and the corner are, px.
func reach(v View) (covered, corner float64) {
	x, y := float64(v.W-1)/2, float64(v.H-1)/2
	for _, m := range v.Marks {
		covered = max(covered, math.Hypot(m.XPX-x, m.YPX-y))
	}
	return covered, math.Hypot(x, y)
}

func (f *Flat) warnTarget(o FlatViewOptions) {
	if o.TargetURel == 0 {
		f.Warnings = append(f.Warnings, part.Say("optics.no_target_u"))
	}
}
