package optics

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// startLens is Zhang's closed form for a lens without skew or distortion from
// the homographies of several views (Zhang 2000, "A flexible new technique for
// camera calibration", IEEE PAMI 22(11), section 3.1, DOI 10.1109/34.888718).
// False: the views do not say, or say nonsense.
func startLens(hs []homography, w, h int) (Lens, bool) {
	// Pixels are shifted and scaled to about 1, for the numbers' sake.
	cx, cy, scale := float64(w-1)/2, float64(h-1)/2, math.Hypot(float64(w), float64(h))/2
	shift := [9]float64{1 / scale, 0, -cx / scale, 0, 1 / scale, -cy / scale, 0, 0, 1}
	a := mat.NewSymDense(5, nil)
	for _, m := range hs {
		g := product(shift, m)
		n := 0.0
		for _, v := range g {
			n = math.Hypot(n, v)
		}
		for i := range g {
			g[i] /= n
		}
		both, first, second := conicRow(g, 0, 1), conicRow(g, 0, 0), conicRow(g, 1, 1)
		for i := range first {
			first[i] -= second[i]
		}
		a.SymRankOne(a, 1, mat.NewVecDense(5, both[:]))
		a.SymRankOne(a, 1, mat.NewVecDense(5, first[:]))
	}
	var e mat.EigenSym
	if !e.Factorize(a, true) || !(e.Values(nil)[1] > 1e-12*e.Values(nil)[4]) {
		return Lens{}, false
	}
	var vectors mat.Dense
	e.VectorsTo(&vectors)
	b := [5]float64{} // b11, b22, b13, b23, b33
	for i := range b {
		b[i] = vectors.At(i, 0)
	}
	px, py := -b[2]/b[0], -b[3]/b[1]
	lambda := b[4] + px*b[2] + py*b[3]
	l := Lens{FX: scale * math.Sqrt(lambda/b[0]), FY: scale * math.Sqrt(lambda/b[1]), CX: cx + scale*px, CY: cy + scale*py}
	sane := l.FX > 0.2*scale && l.FY > 0.2*scale && l.FX < 200*scale && l.FY < 200*scale && math.Hypot(px, py) < 2
	return l, sane
}

// conicRow is Zhang's v_ij for a conic without its b12 term (no skew).
func conicRow(h [9]float64, i, j int) [5]float64 {
	return [5]float64{
		h[i] * h[j], h[3+i] * h[3+j],
		h[6+i]*h[j] + h[i]*h[6+j], h[6+i]*h[3+j] + h[3+i]*h[6+j], h[6+i] * h[6+j],
	}
}

// searchLens looks for the focal length with which poses explain the views best,
// the axis at the picture's middle.
func searchLens(views []View, hs []homography) Lens {
	w, h := float64(views[0].W), float64(views[0].H)
	diagonal := math.Hypot(w, h)
	best, least := Lens{}, math.Inf(1)
	for f := 0.3 * diagonal; f < 60*diagonal; f *= 1.15 {
		l := Lens{FX: f, FY: f, CX: (w - 1) / 2, CY: (h - 1) / 2}
		sum := 0.0
		for i := range views {
			p, ok := hs[i].placement(&l)
			if !ok {
				sum = math.Inf(1)
				break
			}
			sum += viewCost(&l, &p, views[i].Marks)
		}
		if sum < least || best.FX == 0 {
			best, least = l, sum
		}
	}
	return best
}

// viewCost is the sum of squared residuals of a view, px^2; infinite where a
// mark would be behind the lens.
func viewCost(l *Lens, p *Placement, marks []Mark) float64 {
	sum := 0.0
	for _, m := range marks {
		c := p.at(m.XMM, m.YMM)
		if !(c[2] > 0) {
			return math.Inf(1)
		}
		x, y := l.distort(c[0]/c[2], c[1]/c[2])
		dx, dy := l.FX*x+l.CX-m.XPX, l.FY*y+l.CY-m.YPX
		sum += dx*dx + dy*dy
	}
	return sum
}
