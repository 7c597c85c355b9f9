package seam

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// A station in a picture taken square to the unit's axis compares, in the direction of its limb,
// two support functions: how far the faceplate and how far the shell reach out there. A faceplate
// of any outline that is moved by the vector d reaches out by d.n more in the direction n
// (h(K + d, n) = h(K, n) + d.n; Schneider, "Convex Bodies", 1.7; from memory), so that the first
// harmonic over the turn is the offset itself, for an oval outline as for a round one. What the
// outlines differ by else is of higher order.
//
// The curve is fitted by generalized least squares (JCGM 102:2011; Draper and Smith, "Applied
// Regression Analysis", chapter 5): each station has its own variance, all share the scale's and part
// of the blur's. What such a curve does not hold is of two sorts, both with a standard deviation
// that is not known: single stations that err by themselves, and waves that go round three times
// and more, which 12 even stations keep apart from the offset and uneven ones do not. Both are
// averaged over, each size by its likelihood and a prior that falls slowly.

// What the fit takes for granted. All common practice, no source.
const (
	vagueUM     = 1000.0 // standard deviation of the terms before anything was measured: none is kept from being large
	otherOvalUM = 20.0   // and of an oval that stations do not tell
	blurShared  = 0.5    // share of the variance of a station's sharpness that all share: the blur's form; the rest is JPEG
	trueChance  = 0.15   // the chance that stations err as they state, and not more
	wavyChance  = 0.1    // and that there are waves at all,
	waveLast    = 6      // which go round 3 to 6 times,
	waveFall    = 4      // with a variance that falls as this power of how often,
	ovalShare   = 0.1    // and of which size: by this share of the offset, where outlines are oval
	localMost   = 3      // places at most are told as local,
	localChance = 0.003  // each set of them where chance would bring it so rarely
)

const shapeTerms = 5 // mean, cos, sin, cos 2, sin 2

// shapeData is what the curve is fitted to.
type shapeData struct {
	at     []float64 // radians
	y      []float64 // um
	own    []float64 // variance that is a station's own
	scale  []float64 // standard uncertainty that all share, by the scale
	blur   []float64 // and by the blur's form
	unitUM float64   // a typical standard uncertainty, um
}

// ShapeOf fits the curve of steps round the unit to the stations that were measured, with an
// uncertainty; nil where there are fewer than two. The stations' angles may be any, and
// any of them may be missing: what they do not tell is in Undetermined.
func ShapeOf(stations []part.StepStation) *part.SeamShape {
	var used []*part.StepStation
	for i := range stations {
		s := &stations[i]
		if s.State == part.Measured && s.StepUM != nil && s.UUM != nil &&
			*s.UUM > 0 && *s.UUM <= maxUM && math.Abs(*s.StepUM) <= 1000*maxStepMM {
			used = append(used, s)
		}
	}
	if len(used) < 2 {
		return nil
	}
	d := newShapeData(used)
	f, oval := d.fit(nil)
	local := d.locals(f, oval)
	if len(local) > 0 {
		f, oval = d.fit(local)
	}
	s := &part.SeamShape{Stations: len(used)}
	f.tell(s, oval)
	rest, n := 0.0, 0
	for i, st := range used {
		r := d.y[i] - f.at(d.at[i])
		if k := slices.Index(local, i); k >= 0 {
			off := make([]float64, shapeTerms+len(local))
			off[shapeTerms+k] = 1
			s.Local = append(s.Local, part.LocalStep{Image: st.Image, AngleDeg: st.AngleDeg, Side: st.Side, AroundDeg: st.AroundDeg(),
				UM: f.along(off), UUM: f.u(off)})
			continue
		}
		rest, n = rest+r*r, n+1
	}
	if n > shapeTerms {
		s.RestUM = part.Num(math.Sqrt(rest / float64(n)))
	}
	slices.SortStableFunc(s.Local, func(a, b part.LocalStep) int { return cmp.Compare(math.Abs(b.UM), math.Abs(a.UM)) })
	return s
}

func newShapeData(used []*part.StepStation) *shapeData {
	d := &shapeData{}
	var us []float64
	for _, s := range used {
		scale, blur := shared(s.Budget)
		v := *s.UUM**s.UUM - scale*scale - blur*blur
		d.at = append(d.at, s.AroundDeg()*math.Pi/180)
		d.y, d.own = append(d.y, *s.StepUM), append(d.own, max(v, 0.01**s.UUM**s.UUM))
		d.scale, d.blur = append(d.scale, scale), append(d.blur, blur)
		us = append(us, *s.UUM)
	}
	d.unitUM = robust.Quantile(us, 0.5)
	return d
}

// shared are the parts of a station's uncertainty that all stations have alike, um; the scale's
// with the step's sign. Both are 0 where there is no budget: all is then taken as its own.
func shared(b *part.Budget) (scale, blur float64) {
	if b == nil {
		return 0, 0
	}
	v := 0.0
	for _, c := range b.Contributions {
		switch {
		case c.Unit == "mm/px":
			scale = c.Sensitivity * c.U
		case strings.HasPrefix(c.Name, "sharpness "):
			v += blurShared * c.ContributionUM * c.ContributionUM
		}
	}
	return scale, math.Sqrt(v)
}

func basisAt(a float64) []float64 {
	s, c := math.Sincos(a)
	s2, c2 := math.Sincos(2 * a)
	return []float64{1, c, s, c2, s2}
}

// shapeFit is the curve as a mixture of normal distributions, one for each size of what the curve
// does not hold.
type shapeFit struct {
	weight []float64
	mean   [][]float64 // the terms, then how far each station that was left out stands off
	cov    []*mat.SymDense
}

// fit fits the curve without the stations left out, and says whether its oval is told. Where it is
// not, it is taken to be within otherOvalUM.
func (d *shapeData) fit(out []int) (f shapeFit, oval bool) {
	f = d.mixture(out, vagueUM, fineSizes)
	for _, k := range []int{3, 4} {
		if f.u(unit(k)) > maxUM {
			return d.mixture(out, otherOvalUM, fineSizes), false
		}
	}
	return f, true
}

func unit(k int) []float64 {
	e := make([]float64, shapeTerms)
	e[k] = 1
	return e
}

// Sizes of what the curve does not hold, in units of what is expected.
var (
	fineSizes   = []float64{0, 0.4, 0.8, 1.2, 1.8, 2.7, 4, 6, 9, 14, 22, 40}
	coarseSizes = []float64{0, 0.5, 1, 2, 5, 12, 40}
)

// mixture fits the curve for each size of the single stations' errors and of the waves. Each
// station left out has a term of its own, so that it tells nothing of the curve.
func (d *shapeData) mixture(out []int, ovalUM float64, sizes []float64) shapeFit {
	n, terms := len(d.y), shapeTerms+len(out)
	x := mat.NewDense(n, terms, nil)
	base, wave := mat.NewSymDense(n, nil), mat.NewSymDense(n, nil)
	for i := range n {
		for k, v := range basisAt(d.at[i]) {
			x.Set(i, k, v)
		}
		for k := range i + 1 {
			base.SetSym(i, k, d.scale[i]*d.scale[k]+d.blur[i]*d.blur[k])
			w := 0.0
			for o := 3; o <= waveLast; o++ {
				w += math.Pow(3/float64(o), waveFall) * math.Cos(float64(o)*(d.at[i]-d.at[k]))
			}
			wave.SetSym(i, k, w)
		}
		base.SetSym(i, i, base.At(i, i)+d.own[i])
	}
	prior := []float64{vagueUM, vagueUM, vagueUM, ovalUM, ovalUM}
	for k, i := range out {
		x.Set(i, shapeTerms+k, 1)
		prior = append(prior, vagueUM)
	}
	y := mat.NewVecDense(n, d.y)
	var logs []float64
	var f shapeFit
	v := mat.NewSymDense(n, nil)
	waveUM := math.Hypot(d.unitUM, ovalShare*d.offset(out)) // what the outlines' oval makes of an offset is expected with it
	for a, single := range sizes {
		for b, waves := range sizes {
			g, s := waves*waveUM, single*d.unitUM
			for i := range n {
				for k := range i + 1 {
					v.SetSym(i, k, base.At(i, k)+g*g*wave.At(i, k))
				}
				v.SetSym(i, i, v.At(i, i)+s*s)
			}
			mean, cov, log, ok := leastSquares(x, y, v, prior)
			if !ok {
				continue
			}
			f.mean, f.cov = append(f.mean, mean), append(f.cov, cov)
			own, wavy := (1-trueChance)*scattered(sizes, a), wavyChance*expected(sizes, b)
			if a == 0 {
				own += trueChance
			}
			if b == 0 {
				wavy += 1 - wavyChance
			}
			logs = append(logs, log+math.Log(own*wavy))
		}
	}
	top := slices.Max(logs)
	sum, kept := 0.0, 0
	for i, l := range logs {
		if l < top-12 { // less than a hundred-thousandth of the likeliest
			continue
		}
		f.mean[kept], f.cov[kept] = f.mean[i], f.cov[i]
		f.weight = append(f.weight, math.Exp(l-top))
		sum, kept = sum+f.weight[kept], kept+1
	}
	for i := range f.weight {
		f.weight[i] /= sum
	}
	return f
}

// scattered is the share of a density that falls as 1/(1 + s), up to the last node's.
func scattered(v []float64, i int) float64 {
	lo, hi := 0.0, v[len(v)-1]
	if i > 0 {
		lo = (v[i-1] + v[i]) / 2
	}
	if i+1 < len(v) {
		hi = (v[i] + v[i+1]) / 2
	}
	return (math.Log1p(hi) - math.Log1p(lo)) / math.Log1p(v[len(v)-1])
}

// expected is the share of a half Cauchy distribution (Gelman 2006, Bayesian Analysis 1:515) that a
// node of a grid stands for.
func expected(v []float64, i int) float64 {
	lo, hi := 0.0, math.Inf(1)
	if i > 0 {
		lo = (v[i-1] + v[i]) / 2
	}
	if i+1 < len(v) {
		hi = (v[i] + v[i+1]) / 2
	}
	return (math.Atan(hi) - math.Atan(lo)) * 2 / math.Pi
}

// offset is how large an offset the stations may show, um: half of what steps differ by.
func (d *shapeData) offset(out []int) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for i, y := range d.y {
		if !slices.Contains(out, i) {
			lo, hi = min(lo, y), max(hi, y)
		}
	}
	return (hi - lo) / 2
}

// leastSquares is the generalized least-squares estimate of the terms, its covariance, and the
// logarithm of the likelihood of v, the terms averaged over.
func leastSquares(x *mat.Dense, y *mat.VecDense, v *mat.SymDense, prior []float64) (
	mean []float64, cov *mat.SymDense, log float64, ok bool) {
	var chol, a mat.Cholesky
	if !chol.Factorize(v) {
		return nil, nil, 0, false
	}
	var vx mat.Dense
	var vy mat.VecDense
	if chol.SolveTo(&vx, x) != nil || chol.SolveVecTo(&vy, y) != nil {
		return nil, nil, 0, false
	}
	n := len(prior)
	info := mat.NewSymDense(n, nil)
	b := mat.NewVecDense(n, nil)
	for i := range n {
		for k := range i + 1 {
			info.SetSym(i, k, mat.Dot(x.ColView(i), vx.ColView(k)))
		}
		info.SetSym(i, i, info.At(i, i)+1/(prior[i]*prior[i]))
		b.SetVec(i, mat.Dot(x.ColView(i), &vy))
		log -= math.Log(prior[i])
	}
	if !a.Factorize(info) {
		return nil, nil, 0, false
	}
	var m mat.VecDense
	cov = mat.NewSymDense(n, nil)
	if a.SolveVecTo(&m, b) != nil || a.InverseTo(cov) != nil {
		return nil, nil, 0, false
	}
	log -= (chol.LogDet() + a.LogDet() + mat.Dot(y, &vy) - mat.Dot(&m, b)) / 2
	return m.RawVector().Data, cov, log, true
}

// along is the mean of a linear combination of the terms.
func (f shapeFit) along(e []float64) float64 {
	s := 0.0
	for i, w := range f.weight {
		for k, v := range e {
			s += w * v * f.mean[i][k]
		}
	}
	return s
}

func (f shapeFit) at(a float64) float64 {
	return f.along(basisAt(a))
}

// u is the standard uncertainty of a linear combination of the terms: half of the half-width
// that holds it 19 times in 20. Where little tells how far the curve leaves the stations, that is
// more than the standard deviation.
func (f shapeFit) u(e []float64) float64 {
	mid := f.along(e)
	off, sd := make([]float64, len(f.weight)), make([]float64, len(f.weight))
	hi := 0.0
	for i := range f.weight {
		v := 0.0
		for k, x := range e {
			off[i] += x * f.mean[i][k]
			for l, z := range e {
				v += x * z * f.cov[i].At(k, l)
			}
		}
		off[i] -= mid
		sd[i] = math.Sqrt(max(0, v))
		hi = max(hi, math.Abs(off[i])+4*sd[i])
	}
	lo := 0.0
	for range 40 {
		half, in := (lo+hi)/2, 0.0
		for i, w := range f.weight {
			in += w * (phi((half-off[i])/sd[i]) - phi((-half-off[i])/sd[i]))
		}
		if in < 0.95 {
			lo = half
		} else {
			hi = half
		}
	}
	return hi / part.CoverageK
}

func phi(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// chance is that of terms as large as these where there are none: the chi-square test of their
// squares over their variance (Bevington, "Data Reduction", 11; from memory), averaged over the mixture.
func (f shapeFit) chance(terms ...int) float64 {
	p := 0.0
	n := len(terms)
	for i, w := range f.weight {
		c, m := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
		for a, ta := range terms {
			m.SetVec(a, f.mean[i][ta])
			for b, tb := range terms[:a+1] {
				c.SetSym(a, b, f.cov[i].At(ta, tb))
			}
		}
		var chol mat.Cholesky
		var s mat.VecDense
		if !chol.Factorize(c) || chol.SolveVecTo(&s, m) != nil {
			return math.NaN()
		}
		p += w * distuv.ChiSquared{K: float64(n)}.Survival(mat.Dot(m, &s))
	}
	return p
}

// tell fills in the terms. A term whose uncertainty is beyond what counts as a measurement of a
// step is not told.
func (f shapeFit) tell(s *part.SeamShape, oval bool) {
	if u := f.u(unit(0)); u <= maxUM {
		s.MeanUM, s.UMeanUM, s.ChanceMean = part.Num(f.along(unit(0))), part.Num(u), part.Num(f.chance(0))
	} else {
		s.Undetermined = append(s.Undetermined, part.TermMean)
	}
	w := f.wave(1)
	switch {
	case w.uMost <= maxUM:
		s.Towards0UM, s.UTowards0UM = part.Num(w.c), part.Num(f.u(unit(1)))
		s.Towards90UM, s.UTowards90UM = part.Num(w.s), part.Num(f.u(unit(2)))
		s.ChanceOffCentre = part.Num(f.chance(1, 2))
		if w.seen(*s.ChanceOffCentre) {
			s.OffCentreUM, s.UOffCentreUM, s.TowardsDeg, s.UTowardsDeg = part.Num(w.size), part.Num(w.u), part.Num(w.deg), part.Num(w.uDeg)
		} else {
			s.OffCentreMostUM = part.Num(w.size + part.CoverageK*w.uMost)
		}
	case w.uLeast <= maxUM:
		s.AlongDeg, s.AlongUM, s.UAlongUM = part.Num(w.alongDeg), part.Num(w.along), part.Num(w.uLeast)
		s.Undetermined = append(s.Undetermined, part.TermOffCentre)
	default:
		s.Undetermined = append(s.Undetermined, part.TermOffCentre)
	}
	if !oval {
		s.Undetermined = append(s.Undetermined, part.TermOval)
		return
	}
	w = f.wave(2)
	s.ChanceOval = part.Num(f.chance(3, 4))
	if w.seen(*s.ChanceOval) {
		s.OvalUM, s.UOvalUM, s.OvalDeg = part.Num(w.size), part.Num(w.u), part.Num(w.deg/2)
	} else {
		s.OvalMostUM = part.Num(w.size + part.CoverageK*w.uMost)
	}
}

// wave is one harmonic.
type wave struct {
	c, s     float64 // um
	size, u  float64 // um
	deg      float64 // of the harmonic's own phase, 0..360
	uDeg     float64
	uMost    float64 // standard uncertainty in the direction in which it is least known,
	uLeast   float64 // and in that in which it is best known,
	alongDeg float64 // which is this, 0..180,
	along    float64 // and the size along it
}

func (w wave) seen(chance float64) bool { return w.size >= part.SeenTimes*w.u && chance < localChance }

func (f shapeFit) wave(order int) (w wave) {
	i, k := 2*order-1, 2*order
	dir := func(a float64) []float64 {
		e := make([]float64, shapeTerms)
		e[k], e[i] = math.Sincos(a)
		return e
	}
	w.c, w.s = f.along(unit(i)), f.along(unit(k))
	w.size = math.Hypot(w.c, w.s)
	a := math.Atan2(w.s, w.c)
	w.deg = part.Turn(a * 180 / math.Pi)
	w.u = f.u(dir(a))
	w.uDeg = f.u(dir(a+math.Pi/2)) / w.size * 180 / math.Pi

	var cc, ss, cs float64 // the principal axes of the mixture's covariance
	for m, p := range f.weight {
		dc, ds := f.mean[m][i]-w.c, f.mean[m][k]-w.s
		cc, ss, cs = cc+p*(f.cov[m].At(i, i)+dc*dc), ss+p*(f.cov[m].At(k, k)+ds*ds), cs+p*(f.cov[m].At(i, k)+dc*ds)
	}
	least := math.Atan2(2*cs, cc-ss)/2 + math.Pi/2
	w.uLeast, w.uMost = f.u(dir(least)), f.u(dir(least+math.Pi/2))
	w.alongDeg = math.Mod(least*180/math.Pi+360, 180)
	w.along = f.along(dir(w.alongDeg * math.Pi / 180))
	return w
}

// locals are the stations that stand out from the curve of the others: the set of at most
// localMost of them that chance would bring least often, by the chi-square test of how far they are from
// what the others foretell, times the number of such sets (Bonferroni; Cook and Weisberg,
// "Residuals and Influence in Regression", 1982, 2.2.2; from memory). One more is taken only where
// each of the set stands out by itself.
func (d *shapeData) locals(all shapeFit, oval bool) []int {
	ovalUM := vagueUM
	if !oval {
		ovalUM = otherOvalUM
	}
	n := len(d.y)
	most := min(localMost, n-shapeTerms-1)
	if most < 1 || d.agrees(all) {
		return nil
	}
	far := make([]int, n) // the farthest first: what is local is among them
	for i := range far {
		far[i] = i
	}
	slices.SortStableFunc(far, func(a, b int) int {
		return cmp.Compare(math.Abs(d.y[b]-all.at(d.at[b])), math.Abs(d.y[a]-all.at(d.at[a])))
	})
	far = far[:min(n, 2*localMost)]
	var best []int
	least := localChance
	var try func(set []int, from int)
	try = func(set []int, from int) {
		if len(set) > 0 {
			sets := math.Exp(lnChoose(n, len(set)))
			if p := d.standOut(set, ovalUM) * sets; p < least {
				least, best = p, slices.Clone(set)
			}
		}
		if len(set) == most {
			return
		}
		for i := from; i < len(far); i++ {
			try(append(set, far[i]), i+1)
		}
	}
	try(nil, 0)
	return best
}

func lnChoose(n, k int) float64 {
	a, _ := math.Lgamma(float64(n + 1))
	b, _ := math.Lgamma(float64(k + 1))
	c, _ := math.Lgamma(float64(n - k + 1))
	return a - b - c
}

// agrees says that nothing stands out: all stations lie within what they state of the curve.
func (d *shapeData) agrees(f shapeFit) bool {
	q := 0.0
	for i, y := range d.y {
		r := y - f.at(d.at[i])
		q += r * r / d.own[i]
	}
	return q < distuv.ChiSquared{K: float64(max(1, len(d.y)-shapeTerms))}.Quantile(0.95)
}

// standOut is the chance of a set of stations that stand off the curve as far as this one does; 1
// where not each does by itself, so that none is taken along.
func (d *shapeData) standOut(set []int, ovalUM float64) float64 {
	f := d.mixture(set, ovalUM, coarseSizes)
	var terms []int
	for k := range set {
		terms = append(terms, shapeTerms+k)
		if f.chance(shapeTerms+k)*float64(len(d.y)) > localChance {
			return 1
		}
	}
	return f.chance(terms...)
}
