package optics

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"

	"gonum.org/v1/gonum/mat"
)

// Terms names the distortion terms of a lens that are fitted; the others are 0.
type Terms string

// Choices of terms. TermsAuto takes the set with the least information criterion.
const (
	TermsNone   Terms = "none"
	TermsK1     Terms = "k1"
	TermsRadial Terms = "k1 k2"
	TermsK1K2P  Terms = "k1 k2 p1 p2"
	TermsFull   Terms = "k1 k2 p1 p2 k3" // OpenCV's five
	TermsAuto   Terms = "auto"
)

// termPlaces are the places of each choice's terms, fewest first.
var termPlaces = []struct {
	terms  Terms
	places []int
}{
	{TermsNone, nil},
	{TermsK1, []int{lensK1}},
	{TermsRadial, []int{lensK1, lensK2}},
	{TermsK1K2P, []int{lensK1, lensK2, lensP1, lensP2}},
	{TermsFull, []int{lensK1, lensK2, lensP1, lensP2, lensK3}},
}

// CalibrateOptions says what is fitted. The zero value is the full model.
type CalibrateOptions struct {
	Terms        Terms // "" is [TermsFull]
	SquarePixels bool  // one focal length for both directions
	Weighted     bool  // weigh each mark by 1/UPX^2; each must have one
}

// LensCov is the covariance of a lens's parameters in the order fx, fy, cx, cy,
// k1, k2, p1, p2, k3; 0 for those that were not fitted.
type LensCov [lensSize][lensSize]float64

// Calibration is a lens as several views of one target tell it.
type Calibration struct {
	Lens    Lens
	LensU   Lens    // standard uncertainties; 0 for what was not fitted
	Cov     LensCov // of the lens
	UChoice Lens    // what the choice of terms has in LensU; 0 before AddChoice
	Terms   Terms   // those fitted, also where they were chosen
	W, H    int     // px
	Views   []ViewFit
	RMSPX   float64 // sqrt(sum of squared distances / number of marks), as OpenCV defines it
	SigmaPX float64 // of one coordinate, from the residuals and what is left to them
	Free    int     // residuals less fitted parameters

	Coverage        float64 // share of the picture within the marks' hull, 0..1
	CoveredRadiusPX float64 // the mark furthest from the axis
	CornerRadiusPX  float64 // the picture's corner furthest from the axis
	Tried           []TermsTried
	Warnings        []part.Phrase

	source  []View
	options CalibrateOptions
}

// ViewFit is how one view agrees with the lens.
type ViewFit struct {
	Name       string
	Placement  Placement
	TiltDeg    float64 // of the target's plane against the picture's
	UTiltDeg   float64
	DistanceMM float64 // from the lens to the target's plane, along the axis
	RMSPX      float64
	Residuals  []part.Point // of each mark: found less predicted, px
}

// TermsTried is one choice of terms that [TermsAuto] weighed.
type TermsTried struct {
	Terms Terms
	RMSPX float64
	AICC  float64 // Akaike's criterion, corrected for few data (Hurvich and Tsai 1989, Biometrika 76(2)); the least is taken
}

// Calibrate fits a lens to several views of one flat target: Zhang's closed form
// first, then all of it by least squares of the marks' distances. It needs two
// views; three or more, tilted differently by 20 to 45 degrees, make it good.
func Calibrate(views []View, o CalibrateOptions) (Calibration, error) {
	if err := checkViews(views); err != nil {
		return Calibration{}, err
	}
	weight, err := weights(views, o.Weighted)
	if err != nil {
		return Calibration{}, err
	}
	if o.Terms == TermsAuto {
		return calibrateAuto(views, weight, o)
	}
	if o.Terms == "" {
		o.Terms = TermsFull
	}
	i := slices.IndexFunc(termPlaces, func(t struct {
		terms  Terms
		places []int
	}) bool {
		return t.terms == o.Terms
	})
	if i < 0 {
		return Calibration{}, fmt.Errorf("optics: calibrate: distortion terms %q are not known; choose one of %s", o.Terms, termNames())
	}
	return calibrate(views, weight, termPlaces[i].places, o)
}

func termNames() string {
	names := make([]string, 0, len(termPlaces)+1)
	for _, t := range termPlaces {
		names = append(names, fmt.Sprintf("%q", string(t.terms)))
	}
	return strings.Join(append(names, fmt.Sprintf("%q", string(TermsAuto))), ", ")
}

// checkViews tells what keeps the views from giving a lens.
func checkViews(views []View) error {
	if len(views) == 0 {
		return errors.New("optics: calibrate: there are no views; photograph the target tilted in three or more ways")
	}
	for i := range views {
		if err := views[i].check(); err != nil {
			return fmt.Errorf("optics: calibrate: view %s: %w", viewName(views, i), err)
		}
		if views[i].W != views[0].W || views[i].H != views[0].H {
			return fmt.Errorf("optics: calibrate: view %s has %d x %d px, view %s has %d x %d; all must be of one size",
				viewName(views, i), views[i].W, views[i].H, viewName(views, 0), views[0].W, views[0].H)
		}
		for j := range i {
			if sameMarks(views[i].Marks, views[j].Marks) {
				return fmt.Errorf("optics: calibrate: views %s and %s are the same picture; leave one out", viewName(views, j),
					viewName(views, i))
			}
		}
	}
	if len(views) == 1 {
		return fmt.Errorf("optics: calibrate: view %s alone does not tell the lens; photograph the target tilted in three or more ways",
			viewName(views, 0))
	}
	return nil
}

func viewName(views []View, i int) string {
	if views[i].Name != "" {
		return views[i].Name
	}
	return fmt.Sprintf("number %d", i+1)
}

// sameMarks reports whether two views hold the same pixels for the same marks.
func sameMarks(a, b []Mark) bool {
	return slices.EqualFunc(a, b, func(x, y Mark) bool {
		return targetPoint(x) == targetPoint(y) && math.Abs(x.XPX-y.XPX) < 1e-9 && math.Abs(x.YPX-y.YPX) < 1e-9
	})
}

// weights are those of the marks, of mean 1, or nil for equal ones.
func weights(views []View, weighted bool) ([]float64, error) {
	if !weighted {
		return nil, nil
	}
	var w []float64
	sum := 0.0
	for i, v := range views {
		for _, m := range v.Marks {
			if !(m.UPX > 0) || math.IsInf(m.UPX, 0) {
				return nil, fmt.Errorf("optics: calibrate: view %s: the mark in column %d, row %d has no uncertainty to be weighed by; fit without weights",
					viewName(views, i), m.Col+1, m.Row+1)
			}
			w = append(w, 1/(m.UPX*m.UPX))
			sum += w[len(w)-1]
		}
	}
	for i := range w {
		w[i] *= float64(len(w)) / sum
	}
	return w, nil
}

// calibrateAuto fits each choice of terms and keeps that of least AICc.
func calibrateAuto(views []View, weight []float64, o CalibrateOptions) (Calibration, error) {
	var best Calibration
	var tried []TermsTried
	var first error
	least := math.Inf(1)
	for _, t := range termPlaces {
		o.Terms = t.terms
		c, err := calibrate(views, weight, t.places, o)
		if err != nil {
			if first == nil {
				first = err
			}
			continue
		}
		n := 2 * float64(c.marks())
		p := n - float64(c.Free) + 1 // and the residuals' variance
		aicc := math.Inf(1)
		if n-p-1 > 0 {
			aicc = n*math.Log(c.SigmaPX*c.SigmaPX*float64(c.Free)/n) + 2*p + 2*p*(p+1)/(n-p-1)
		}
		tried = append(tried, TermsTried{t.terms, c.RMSPX, aicc})
		if best.Terms == "" || aicc < least {
			best, least = c, aicc
		}
	}
	if best.Terms == "" {
		return Calibration{}, first
	}
	best.Tried = tried
	best.options.Terms = best.Terms // a refit without a view keeps the model
	return best, nil
}

func (c *Calibration) marks() int {
	n := 0
	for _, v := range c.source {
		n += len(v.Marks)
	}
	return n
}

// calibrate fits the terms at the given places besides focal lengths and axis.
func calibrate(views []View, weight []float64, terms []int, o CalibrateOptions) (Calibration, error) {
	groups := [][]int{{lensFX}, {lensFY}, {lensCX}, {lensCY}}
	if o.SquarePixels {
		groups = [][]int{{lensFX, lensFY}, {lensCX}, {lensCY}}
	}
	for _, t := range terms {
		groups = append(groups, []int{t})
	}
	c := Calibration{Terms: o.Terms, W: views[0].W, H: views[0].H, source: views, options: o}
	c.Free = 2*c.marks() - len(groups) - placementSize*len(views)
	if c.Free <= 0 {
		return Calibration{}, fmt.Errorf("optics: calibrate: %d marks in %d views are too few for the %d parameters of lens and poses; take more pictures or fit fewer terms",
			c.marks(), len(views), len(groups)+placementSize*len(views))
	}
	b, err := bestBundle(views, weight, groups, o.SquarePixels)
	if err != nil {
		return Calibration{}, fmt.Errorf("optics: calibrate: %w", err)
	}
	c.Lens = b.lens
	if err := c.describe(b); err != nil {
		return Calibration{}, fmt.Errorf("optics: calibrate: %w", err)
	}
	c.warn()
	return c, nil
}

// bestBundle fits from the closed form and from a search of focal lengths, and
// keeps the better fit.
func bestBundle(views []View, weight []float64, groups [][]int, square bool) (*bundle, error) {
	hs := make([]homography, len(views))
	for i := range views {
		h, ok := homographyOf(views[i].Marks)
		if !ok {
			return nil, fmt.Errorf("view %s: its marks do not fix how the plane is seen; use more marks, in rows and columns",
				viewName(views, i))
		}
		hs[i] = h
	}
	starts := []Lens{searchLens(views, hs)}
	if l, ok := startLens(hs, views[0].W, views[0].H); ok {
		starts = append(starts, l)
	}
	var best *bundle
	var first error
	least := math.Inf(1)
	for _, l := range starts {
		if square {
			l.FX = (l.FX + l.FY) / 2
			l.FY = l.FX
		}
		b := &bundle{views: views, groups: groups, weight: weight, lens: l, poses: make([]Placement, len(views))}
		for i := range views {
			b.poses[i], _ = hs[i].placement(&b.lens)
		}
		if err := b.fit(); err != nil {
			if first == nil {
				first = err
			}
			continue
		}
		if q := b.normal(&b.lens, b.poses); q.cost < least {
			best, least = b, q.cost
		}
	}
	if best == nil {
		return nil, first
	}
	return best, nil
}

// describe fills in residuals, uncertainties and coverage from the fit.
func (c *Calibration) describe(b *bundle) error {
	q := b.normal(&b.lens, b.poses)
	s, _, inv, ok := q.eliminate(0)
	if !ok {
		return errors.New("a view does not fix where its target stands; use more marks, in rows and columns")
	}
	if name, weak := undetermined(q, s, b.groups); weak {
		return fmt.Errorf("the views do not determine %s: tilt the target by 20 to 45 degrees, in other directions from picture to picture", name)
	}
	sinv, ok := robust.Inverse(s)
	if !ok {
		return errors.New("the views do not determine the lens: tilt the target by 20 to 45 degrees, in other directions from picture to picture")
	}
	variance := q.cost / float64(c.Free)
	c.SigmaPX = math.Sqrt(variance)
	for r, from := range b.groups {
		for k, to := range b.groups {
			for _, x := range from {
				for _, y := range to {
					c.Cov[x][y] = variance * sinv.At(r, k)
				}
			}
		}
	}
	for k, v := range c.LensU.list() {
		*v.at = math.Sqrt(c.Cov[k][k])
	}
	sum, n := 0.0, 0
	for i, v := range b.views {
		f := viewFit(&b.lens, b.poses[i], v)
		f.Name = viewName(b.views, i)
		f.UTiltDeg = tiltU(b.poses[i], placementCov(q, i, inv[i], sinv), variance)
		c.Views = append(c.Views, f)
		for _, r := range f.Residuals {
			sum += r.X*r.X + r.Y*r.Y
			n++
		}
		for _, m := range v.Marks {
			c.CoveredRadiusPX = max(c.CoveredRadiusPX, math.Hypot(m.XPX-b.lens.CX, m.YPX-b.lens.CY))
		}
	}
	c.RMSPX = math.Sqrt(sum / float64(n))
	c.Coverage = coverage(b.views)
	for _, x := range []float64{0, float64(c.W - 1)} {
		for _, y := range []float64{0, float64(c.H - 1)} {
			c.CornerRadiusPX = max(c.CornerRadiusPX, math.Hypot(x-b.lens.CX, y-b.lens.CY))
		}
	}
	return nil
}

// undetermined names the lens's parameter that the views leave open, if one is:
// what the poses leave of its information is lost in the rounding of numbers.
func undetermined(q *normal, s *mat.SymDense, groups [][]int) (string, bool) {
	n := q.n
	scaled := mat.NewSymDense(n, nil)
	for r := range n {
		for k := r; k < n; k++ {
			scaled.SetSym(r, k, s.At(r, k)/math.Sqrt(q.a[r*n+r]*q.a[k*n+k]))
		}
	}
	var e mat.EigenSym
	if !e.Factorize(scaled, true) {
		return "the lens", true
	}
	if e.Values(nil)[0] > 1e-13 {
		return "", false
	}
	var vectors mat.Dense
	e.VectorsTo(&vectors)
	most := 0
	for k := range n {
		if math.Abs(vectors.At(k, 0)) > math.Abs(vectors.At(most, 0)) {
			most = k
		}
	}
	switch at := groups[most][0]; at {
	case lensFX, lensFY:
		return "the focal length", true
	case lensCX, lensCY:
		return "where the axis meets the picture", true
	default:
		return "the distortion " + new(Lens).list()[at].name, true
	}
}

// viewFit is a view's residuals against lens and pose.
func viewFit(l *Lens, p Placement, v View) ViewFit {
	f := ViewFit{Name: v.Name, Placement: p, TiltDeg: p.TiltDeg(), UTiltDeg: math.NaN(), Residuals: make([]part.Point, len(v.Marks))}
	sum := 0.0
	for i, m := range v.Marks {
		c := p.at(m.XMM, m.YMM)
		x, y := l.distort(c[0]/c[2], c[1]/c[2])
		r := part.Point{X: m.XPX - (l.FX*x + l.CX), Y: m.YPX - (l.FY*y + l.CY)}
		f.Residuals[i] = r
		sum += r.X*r.X + r.Y*r.Y
	}
	f.RMSPX = math.Sqrt(sum / float64(len(v.Marks)))
	f.DistanceMM = depthOnAxis(&p)
	return f
}

// depthOnAxis is where the lens's axis meets the target's plane, mm; NaN where
// it does not.
func depthOnAxis(p *Placement) float64 {
	n := [3]float64{p.R[2], p.R[5], p.R[8]} // the plane's normal
	d := (n[0]*p.T[0] + n[1]*p.T[1] + n[2]*p.T[2]) / n[2]
	if !(d > 0) || math.IsInf(d, 0) {
		return math.NaN()
	}
	return d
}

// placementCov is the covariance of a view's pose per unit variance: its own block's
// inverse, and what the lens's uncertainty adds.
func placementCov(q *normal, i int, inv [36]float64, sinv *mat.SymDense) [36]float64 {
	cov := inv
	w := make([]float64, q.n*placementSize) // b times the block's inverse
	for r := range q.n {
		for c := range placementSize {
			for k := range placementSize {
				w[r*placementSize+c] += q.b[i][r*placementSize+k] * inv[k*placementSize+c]
			}
		}
	}
	for r := range placementSize {
		for c := range placementSize {
			for j := range q.n {
				for k := range q.n {
					cov[r*placementSize+c] += w[j*placementSize+r] * sinv.At(j, k) * w[k*placementSize+c]
				}
			}
		}
	}
	return cov
}

// tiltU is the tilt's standard uncertainty in degrees: of the turn about the
// axis in the picture's plane that tilts, or the mean of both where the target
// stands square.
func tiltU(p Placement, cov [36]float64, variance float64) float64 {
	nx, ny := p.R[2], p.R[5]
	n := math.Hypot(nx, ny)
	xx, xy, yy := cov[0], cov[1], cov[placementSize+1]
	v := (xx + yy) / 2
	if n > 1e-9 {
		ax, ay := -ny/n, nx/n
		v = ax*ax*xx + 2*ax*ay*xy + ay*ay*yy
	}
	return degrees(math.Sqrt(max(0, v) * variance))
}

// At which a calibration is warned about (common practice, no source).
const (
	minViews        = 3
	alikeDeg        = 10.0 // normals of all targets within this of each other
	weakFocal       = 0.01 // u(f)/f
	littleCoverage  = 0.5
	farCorner       = 1.15 // corner's radius / covered radius
	oddMarkSigma    = 6.0
	oddMarksNamed   = 3
	nearlySamePlace = 1.0 // px, root mean square, between two views
)

// warn says what weakens the result.
func (c *Calibration) warn() {
	add := func(p part.Phrase) { c.Warnings = append(c.Warnings, p) }
	if len(c.Views) < minViews {
		add(part.Say("optics.few_views", "n", strconv.Itoa(len(c.Views))))
	}
	if d := c.spreadOfTiltsDeg(); d < alikeDeg {
		add(part.Say("optics.alike_planes", "angle_deg", fmt.Sprintf("%.1f", d)))
	}
	if u := max(c.LensU.FX/c.Lens.FX, c.LensU.FY/c.Lens.FY); u > weakFocal {
		add(part.Say("optics.weak_focal", "u_percent", fmt.Sprintf("%.1f", 100*u)))
	}
	if c.Coverage < littleCoverage {
		add(part.Say("optics.little_coverage", "share_percent", fmt.Sprintf("%.0f", 100*c.Coverage)))
	}
	if c.Terms != TermsNone && c.CornerRadiusPX > farCorner*c.CoveredRadiusPX {
		add(part.Say("optics.far_corner", "covered_px", fmt.Sprintf("%.0f", c.CoveredRadiusPX),
			"corner_px", fmt.Sprintf("%.0f", c.CornerRadiusPX)))
	}
	if r := c.Lens.risingTo(); c.Terms != TermsNone && c.Lens.radial(r)*math.Min(c.Lens.FX, c.Lens.FY) < c.CornerRadiusPX {
		add(part.Say("optics.turns_back", "from_px", fmt.Sprintf("%.0f", c.Lens.radial(r)*math.Min(c.Lens.FX, c.Lens.FY))))
	}
	for i := range c.source {
		for j := range i {
			if d, ok := apart(c.source[i].Marks, c.source[j].Marks); ok && d < nearlySamePlace {
				add(part.Say("optics.same_place", "first", c.Views[j].Name, "second", c.Views[i].Name,
					"apart_px", fmt.Sprintf("%.2f", d)))
			}
		}
	}
	for i, v := range c.Views {
		c.Warnings = append(c.Warnings, oddMarks(v.Name, c.source[i].Marks, v.Residuals, c.SigmaPX)...)
	}
}

// apart is how far the marks of two views lie from each other, root mean square, px.
func apart(a, b []Mark) (float64, bool) {
	if len(a) != len(b) {
		return 0, false
	}
	sum := 0.0
	for i, m := range a {
		if targetPoint(m) != targetPoint(b[i]) {
			return 0, false
		}
		sum += (m.XPX-b[i].XPX)*(m.XPX-b[i].XPX) + (m.YPX-b[i].YPX)*(m.YPX-b[i].YPX)
	}
	return math.Sqrt(sum / float64(len(a))), true
}

// spreadOfTiltsDeg is the largest angle between the planes of two views.
func (c *Calibration) spreadOfTiltsDeg() float64 {
	most := 0.0
	for i, v := range c.Views {
		for _, w := range c.Views[:i] {
			a, b := v.Placement.R, w.Placement.R
			dot := a[2]*b[2] + a[5]*b[5] + a[8]*b[8]
			most = max(most, degrees(math.Acos(min(1, math.Abs(dot)))))
		}
	}
	return most
}

// oddMarks names the marks that lie far further off than the others.
func oddMarks(view string, marks []Mark, residuals []part.Point, sigma float64) []part.Phrase {
	var odd []int
	for i, r := range residuals {
		if math.Hypot(r.X, r.Y) > oddMarkSigma*sigma {
			odd = append(odd, i)
		}
	}
	slices.SortFunc(odd, func(i, j int) int {
		if math.Hypot(residuals[i].X, residuals[i].Y) > math.Hypot(residuals[j].X, residuals[j].Y) {
			return -1
		}
		return 1
	})
	var said []part.Phrase
	for _, i := range odd[:min(len(odd), oddMarksNamed)] {
		said = append(said, part.Say("optics.odd_mark", "view", view, "column", strconv.Itoa(marks[i].Col+1),
			"row", strconv.Itoa(marks[i].Row+1), "off_px", fmt.Sprintf("%.2f", math.Hypot(residuals[i].X, residuals[i].Y)),
			"times", fmt.Sprintf("%.0f", math.Hypot(residuals[i].X, residuals[i].Y)/sigma)))
	}
	return said
}
