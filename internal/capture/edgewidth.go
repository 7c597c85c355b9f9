package capture

import (
	"math"

	"finishbench/internal/capture/outline"
	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// edgeFit is the edge at one place of the outline.
type edgeFit struct {
	normal   float64 // direction of the outline's normal, radians, from the x axis towards y
	sigma    float64 // of the blurred edge along the normal, px
	contrast float64 // linear light, 0..1, always positive
	residual float64 // rms distance of the fit, as a share of the contrast
}

// places is how many places of the outline are looked at.
const places = 120

// risePerSigma is the 10-90 % width of a Gaussian-blurred edge in sigmas:
// 2 * 1.28155, the 90 % point of the normal distribution (reference tables).
const risePerSigma = 2.5631

// edgeFits fits a blurred edge at places spread along the unit's outline.
// Places next to the frame or the holder are left out, as are those where the
// outline bends too much. soft says that shading may follow right behind the
// edge.
func edgeFits(im *part.Image, s *outline.Silhouette, soft bool) []edgeFit {
	n := len(s.Boundary)
	if n < 40 {
		return nil
	}
	lum := newLuma(im)
	lum.soft = soft
	fits := make([]edgeFit, 0, places)
	reach := 0 // index of the reach that did last
	count := min(places, n)
	arm := max(3, min(8, n/40))
	for k := range count {
		i := k * n / count
		a, p, b := s.Boundary[(i+n-arm)%n], s.Boundary[i], s.Boundary[(i+arm)%n]
		dx, dy := b.X-a.X, b.Y-a.Y
		long := math.Hypot(dx, dy)
		// The middle must lie on the chord, within a seventh of it.
		if long < float64(arm*s.Step)/2 || math.Abs((p.X-a.X)*dy-(p.Y-a.Y)*dx) > long*long/7 {
			continue
		}
		// Walking clockwise the unit is on the right hand: (dx,dy) turned right.
		nx, ny := -dy/long, dx/long
		f, r, ok := lum.fitAt(p, nx, ny, reach)
		if ok {
			fits = append(fits, f)
			reach = max(0, r-1)
		}
	}
	return fits
}

// luma reads a picture's brightness in linear light.
type luma struct {
	im    *part.Image
	table []float32
	soft  bool // shading may follow right behind an edge
}

func newLuma(im *part.Image) luma {
	if im.Pix16 != nil {
		return luma{im: im, table: optics.Linear16(), soft: true}
	}
	return luma{im: im, table: optics.Linear8(), soft: true}
}

// at is the brightness of one pixel. In colour it is linearised after weighing
// the encoded channels (ITU-R BT.601): JPEG keeps that sum at full resolution
// and the colours at half.
func (l luma) at(x, y int) float64 {
	i := (y*l.im.W + x) * l.im.C
	if l.im.C == 1 {
		if l.im.Pix16 != nil {
			return float64(l.table[l.im.Pix16[i]])
		}
		return float64(l.table[l.im.Pix8[i]])
	}
	if l.im.Pix16 != nil {
		p := l.im.Pix16[i : i+3]
		return float64(l.table[(77*uint32(p[0])+150*uint32(p[1])+29*uint32(p[2])+128)>>8])
	}
	// Between two table values, as a sum of three samples has a fraction.
	p := l.im.Pix8[i : i+3]
	v := 77*uint32(p[0]) + 150*uint32(p[1]) + 29*uint32(p[2])
	k, f := v>>8, float32(v&255)/256
	t := l.table[k]
	if k < 255 {
		t += f * (l.table[k+1] - t)
	}
	return float64(t)
}

// reaches are the profiles' half lengths and the steps between their samples,
// px, tried one after the other until the edge fits inside.
var reaches = [3]struct{ half, step int }{{7, 1}, {16, 2}, {maxReach, 4}}

// maxReach is the longest half length: enough for an edge blurred by a sigma of
// about 14.
const maxReach = 36

// fitAt fits the edge near p with the inward normal (nx,ny). Pixels are taken
// along the row or the column, whichever is nearer to the normal, as they are:
// interpolation would blur. Their distance along the normal is shorter by the
// cosine. from is the first reach to try; the one that did is returned.
func (l luma) fitAt(p part.Point, nx, ny float64, from int) (edgeFit, int, bool) {
	cos, sx, sy := nx, 1, 0
	if math.Abs(ny) > math.Abs(nx) {
		cos, sx, sy = ny, 0, 1
	}
	if cos < 0 {
		sx, sy, cos = -sx, -sy, -cos
	}
	x0, y0 := int(math.Round(p.X)), int(math.Round(p.Y))
	const look = 14
	if x0-look < 0 || y0-look < 0 || x0+look >= l.im.W || y0+look >= l.im.H {
		return edgeFit{}, 0, false
	}
	var v [2*maxReach + 1]float64
	for k := -look; k <= look; k++ {
		v[k+look] = l.at(x0+k*sx, y0+k*sy)
	}
	k := firstRise(v[:2*look+1]) - look
	// The whole change about the edge. A short profile over a wide edge sees a
	// bend in a slope; where no shading is expected, that is told by its size.
	whole := math.Abs(v[0] - v[2*look])
	x0, y0 = x0+k*sx, y0+k*sy
	for i := from; i < len(reaches); i++ {
		r, step := reaches[i].half, reaches[i].step
		if x0-r < 0 || y0-r < 0 || x0+r >= l.im.W || y0+r >= l.im.H {
			return edgeFit{}, 0, false
		}
		n := 0
		for k := -r; k <= r; k += step {
			v[n] = l.at(x0+k*sx, y0+k*sy)
			n++
		}
		f, ok := fitEdge(v[:n], cos*float64(step))
		if ok && f.sigma*2.5 <= float64(r)*cos && (l.soft || f.contrast > 0.6*whole || r == maxReach) {
			f.normal = math.Atan2(ny, nx)
			return f, i, true
		}
	}
	return edgeFit{}, 0, false
}

// firstRise finds where a profile from background to unit first changes fast: a
// unit on a dark ground has a faint sharp outline and then, further in, the
// wide shading of its rim. Square roots make the faint one count.
func firstRise(v []float64) int {
	var g [2*maxReach + 1]float64
	most := 0.0
	for i := 1; i+1 < len(v); i++ {
		g[i] = math.Abs(math.Sqrt(v[i+1]) - math.Sqrt(v[i-1]))
		most = max(most, g[i])
	}
	for i := 1; i+1 < len(v); i++ {
		if g[i] >= most/2 && g[i] >= g[i-1] && g[i] >= g[i+1] {
			return i
		}
	}
	return len(v) / 2
}

// fitEdge fits a profile that goes from background (first) to unit (last), with
// samples at step apart along the normal, by a step with a slope behind it,
// blurred by a Gaussian:
//
//	y(t) = b + (a + m t) P(t/s) + m s p(t/s)
//
// P and p are the normal distribution and its density. The slope is the unit's
// shading. For each position and sigma the three levels follow by linear least
// squares; position and sigma by Gauss-Newton with numerical derivatives.
func fitEdge(v []float64, step float64) (edgeFit, bool) {
	n := len(v)
	half := float64(n-1) / 2 * step
	// Start at the steepest place.
	best, at := 0.0, 0
	for i := 1; i < n; i++ {
		if d := math.Abs(v[i] - v[i-1]); d > best {
			best, at = d, i
		}
	}
	t0 := (float64(at)-0.5)*step - half
	s := 1.0
	if rise := math.Abs(v[n-1] - v[0]); best > 0 {
		s = min(max(0.4, rise/best*step/math.Sqrt(2*math.Pi)), half/3)
	}
	m := edgeModel{v: v, step: step, half: half}
	cost, lin := m.solve(t0, s)
	for range 8 {
		const h = 0.02
		r0 := m.residuals(t0, s, lin)
		_, linT := m.solve(t0+h, s)
		rT := m.residuals(t0+h, s, linT)
		_, linS := m.solve(t0, s+h)
		rS := m.residuals(t0, s+h, linS)
		var aa, ab, bb, ga, gb float64
		for i := range n {
			ja, jb := (rT[i]-r0[i])/h, (rS[i]-r0[i])/h
			aa, ab, bb = aa+ja*ja, ab+ja*jb, bb+jb*jb
			ga, gb = ga+ja*r0[i], gb+jb*r0[i]
		}
		det := aa*bb - ab*ab
		if det <= 1e-12*aa*bb || det != det {
			return edgeFit{}, false
		}
		dt, ds := -(ga*bb-gb*ab)/det, -(gb*aa-ga*ab)/det
		dt, ds = min(max(dt, -2), 2), min(max(ds, -s/2), s)
		moved := false
		for range 4 {
			if c, ln := m.solve(t0+dt, s+ds); c < cost {
				t0, s, cost, lin, moved = t0+dt, s+ds, c, ln, true
				break
			}
			dt, ds = dt/2, ds/2
		}
		if !moved || math.Abs(dt)+math.Abs(ds) < 0.002 {
			break
		}
	}
	if s < 0.1 || math.Abs(t0) > half*0.8 {
		return edgeFit{}, false
	}
	c := math.Abs(lin[1])
	if c < 1e-4 {
		return edgeFit{}, false
	}
	return edgeFit{sigma: s, contrast: c, residual: math.Sqrt(cost/float64(n)) / c}, true
}

// edgeModel is a profile with what fitEdge needs again and again.
type edgeModel struct {
	v          []float64
	step, half float64
}

type profile [2*maxReach + 1]float64

// basis gives the two shapes at sample i: the blurred step and the blurred ramp.
func (m *edgeModel) basis(i int, t0, s float64) (float64, float64) {
	t := float64(i)*m.step - m.half - t0
	u := t / s
	switch {
	case u < -5:
		return 0, 0
	case u > 5:
		return 1, t
	}
	x := (u + 5) * normalStep
	k := int(x)
	f := x - float64(k)
	a, b := &normal[k], &normal[k+1]
	p := a[0] + f*(b[0]-a[0])
	return p, t*p + s*(a[1]+f*(b[1]-a[1]))
}

// normalStep is the number of entries of the table per sigma: between them the
// straight line is off by less than 1e-5.
const normalStep = 64

// normal is the normal distribution and its density at -5..5.
var normal = func() (t [10*normalStep + 2][2]float64) {
	for i := range t {
		u := float64(i)/normalStep - 5
		t[i] = [2]float64{math.Erfc(-u/math.Sqrt2) / 2, math.Exp(-u*u/2) / math.Sqrt(2*math.Pi)}
	}
	return t
}()

// solve finds background, step and slope for a position and sigma, and the sum
// of squared residuals.
func (m *edgeModel) solve(t0, s float64) (float64, [3]float64) {
	if s <= 0.05 {
		return math.Inf(1), [3]float64{}
	}
	var n, sp, sr, spp, spr, srr, sy, spy, sry, syy float64
	for i, y := range m.v {
		p, r := m.basis(i, t0, s)
		n, sp, sr, spp, spr, srr = n+1, sp+p, sr+r, spp+p*p, spr+p*r, srr+r*r
		sy, spy, sry, syy = sy+y, spy+p*y, sry+r*y, syy+y*y
	}
	// Cramer's rule on the 3x3 normal equations.
	c00, c01, c02 := spp*srr-spr*spr, spr*sr-sp*srr, sp*spr-spp*sr
	det := n*c00 + sp*c01 + sr*c02
	if math.Abs(det) < 1e-12 {
		return math.Inf(1), [3]float64{}
	}
	c11, c12, c22 := n*srr-sr*sr, sp*sr-n*spr, n*spp-sp*sp
	x := [3]float64{
		(c00*sy + c01*spy + c02*sry) / det,
		(c01*sy + c11*spy + c12*sry) / det,
		(c02*sy + c12*spy + c22*sry) / det,
	}
	return max(0, syy-x[0]*sy-x[1]*spy-x[2]*sry), x
}

func (m *edgeModel) residuals(t0, s float64, x [3]float64) (r profile) {
	for i, y := range m.v {
		p, q := m.basis(i, t0, s)
		r[i] = y - x[0] - x[1]*p - x[2]*q
	}
	return r
}
