package sensor

import (
	"fmt"

	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// PairStats is what two pictures of one exposure tell, in DN of linear light.
type PairStats struct {
	Mean        float64 // DN
	VarTemporal float64 // DN^2, one picture's, from the difference of the two
	VarSpatial  float64 // DN^2, what both share: fixed pattern, without what is smooth over 32 px
	Uneven      float64 // (most - least)/mean of the smooth part
	Clipped     float64 // share of samples at the top
	AtZero      float64 // share of samples at zero
	Pixels      int
}

// pairCell is the side of the cells in which slopes are taken off, px.
const pairCell = 32

// MeasurePair compares two pictures of one exposure in channel c, in their
// middle half each way, where the light is most even. linear says that samples
// are proportional to light; else they are taken as sRGB-coded and turned into
// what a linear camera of the same range would give.
//
// The temporal variance is half the mean squared difference, less half the
// squared difference of the means (EMVA 1288 release 3.1, section 6.6). The
// spatial one is the covariance of the two about planes fitted to cells: the
// noise of two pictures has none.
func MeasurePair(a, b *part.Image, c int, linear bool) (PairStats, error) {
	for _, im := range []*part.Image{a, b} {
		if err := im.Validate(); err != nil {
			return PairStats{}, err
		}
	}
	if a.W != b.W || a.H != b.H || a.C != b.C || a.MaxSample() != b.MaxSample() {
		return PairStats{}, fmt.Errorf("optics: exposure series: two pictures of one exposure have %dx%d pixels with %d channels and "+
			"%dx%d with %d: take both with one setting", a.W, a.H, a.C, b.W, b.H, b.C)
	}
	if c < 0 || c >= a.C {
		return PairStats{}, fmt.Errorf("optics: channel %d of an image with %d", c, a.C)
	}
	x0, y0, x1, y1 := a.W/4, a.H/4, a.W-a.W/4, a.H-a.H/4
	if x1-x0 < 16 || y1-y0 < 16 {
		return PairStats{}, fmt.Errorf("optics: exposure series: pictures of %dx%d pixels are too small, 32 a side are needed", a.W, a.H)
	}
	m := pairSum{a: a, b: b, c: c, t: optics.SamplesToLight(a, linear), top: a.MaxSample()}
	for y := y0; y < y1; y += pairCell {
		for x := x0; x < x1; x += pairCell {
			m.cell(x, y, min(x+pairCell, x1), min(y+pairCell, y1))
		}
	}
	return m.stats(), nil
}

// pairSum adds up over cells.
type pairSum struct {
	a, b *part.Image
	c    int
	t    []float32
	top  int

	n, clipped, zero int
	sum, diff, diff2 float64
	cov              float64
	free             int // degrees of freedom of cov
	least, most      float64
	cells            int
}

func (m *pairSum) cell(x0, y0, x1, y1 int) {
	cx, cy := float64(x0+x1-1)/2, float64(y0+y1-1)/2
	var sa, sb, sab, xa, xb, xx, ya, yb, yy float64
	n := 0
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			i := (y*m.a.W+x)*m.a.C + m.c
			ka, kb := optics.SampleOf(m.a, i), optics.SampleOf(m.b, i)
			for _, k := range [2]int{ka, kb} {
				if k >= m.top {
					m.clipped++
				} else if k == 0 {
					m.zero++
				}
			}
			a, b := float64(m.t[ka])*float64(m.top), float64(m.t[kb])*float64(m.top)
			dx, dy := float64(x)-cx, float64(y)-cy
			sa, sb, sab = sa+a, sb+b, sab+a*b
			xa, xb, xx = xa+dx*a, xb+dx*b, xx+dx*dx
			ya, yb, yy = ya+dy*a, yb+dy*b, yy+dy*dy
			m.diff, m.diff2 = m.diff+a-b, m.diff2+(a-b)*(a-b)
			n++
		}
	}
	m.n += n
	m.sum += sa + sb
	if n < 64 || xx == 0 || yy == 0 {
		return
	}
	m.cov += sab - sa*sb/float64(n) - xa*xb/xx - ya*yb/yy
	m.free += n - 3
	mean := (sa + sb) / float64(2*n)
	if m.cells == 0 || mean < m.least {
		m.least = mean
	}
	m.most = max(m.most, mean)
	m.cells++
}

func (m *pairSum) stats() PairStats {
	n := float64(m.n)
	s := PairStats{Mean: m.sum / (2 * n), Pixels: m.n, Clipped: float64(m.clipped) / (2 * n), AtZero: float64(m.zero) / (2 * n)}
	d := m.diff / n
	s.VarTemporal = max(0, (m.diff2/n-d*d)/2)
	if m.free > 0 {
		s.VarSpatial = m.cov / float64(m.free)
	}
	if s.Mean > 0 {
		s.Uneven = (m.most - m.least) / s.Mean
	}
	return s
}
