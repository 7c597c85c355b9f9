package synth

import (
	"bytes"
	"math"
	"testing"

	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// ideal is a small edge picture without shading, blur, noise or 8-bit steps.
func ideal() EdgeParams {
	p := SmallEdge()
	p.Flat, p.Bits, p.Grey = true, 16, true
	p.BlurSigmaPX, p.NoiseSigma, p.Vignette = 0, 0, 0
	p.Holder, p.WitnessMarks, p.Highlights = false, 0, 0
	p.PanelLevel = 0.9
	return p
}

func linear(t *testing.T, im *part.Image, c int) *part.Plane {
	t.Helper()
	pl, err := optics.Linear(im, c)
	if err != nil {
		t.Fatal(err)
	}
	return pl
}

// covered is the unit's width in row y, in pixels, between columns x0 and x1:
// the sum of what the black unit takes from the even panel.
func covered(pl *part.Plane, y, x0, x1 int, level float64) float64 {
	s := 0.0
	for x := x0; x < x1; x++ {
		s += 1 - float64(pl.At(x, y))/level
	}
	return s
}

// TestEdgeStepByArea measures the step without any of this package's geometry:
// by how much light each row misses, left and right of the middle, carried to
// the seam by straight lines. Expected: the step that was asked for (closed
// form).
func TestEdgeStepByArea(t *testing.T) {
	for _, c := range []struct {
		tilt float64
		down bool
	}{{0, false}, {3, false}, {-4.5, true}} {
		tilt := c.tilt
		p := ideal()
		p.FaceplateDown = c.down
		p.StepLeftUM, p.StepRightUM = 57, -31
		p.BulgeSlope, p.TiltDeg = 0, tilt
		// A very deep shell has straight walls; the seam stays in the middle.
		p.DepthMM, p.ThicknessMM = 60, 3
		p.OffsetYPX = (p.DepthMM - p.ThicknessMM) / 2 / p.MMPerPX
		if c.down {
			p.OffsetYPX = -p.OffsetYPX
		}
		im, truth := Edge(p)
		pl := linear(t, im, 0)
		sin, cos := math.Sincos(tilt * math.Pi / 180)
		for _, side := range []struct {
			st   EdgeStation
			sign float64
			want float64
		}{{truth.Left, -1, 57}, {truth.Right, 1, -31}} {
			// Edge column by row, above and below the seam, a few pixels off.
			fit := func(r0, r1 int) (a, b float64) {
				var sx, sy, sxx, sxy, n float64
				for r := r0; r <= r1; r++ {
					y := int(math.Round(side.st.YPX)) + r
					var x float64
					if side.sign < 0 {
						x = float64(p.W/2) - 0.5 - covered(pl, y, 0, p.W/2, p.PanelLevel)
					} else {
						x = float64(p.W/2) - 0.5 + covered(pl, y, p.W/2, p.W, p.PanelLevel)
					}
					// along and across the unit's axis
					dx, dy := x-side.st.XPX, float64(y)-side.st.YPX
					u, v := dx*cos+dy*sin, dy*cos-dx*sin
					sx, sy, sxx, sxy, n = sx+v, sy+u, sxx+v*v, sxy+u*v, n+1
				}
				b = (n*sxy - sx*sy) / (n*sxx - sx*sx)
				return (sy - b*sx) / n, b
			}
			face, slope := fit(-30, -6)
			shell, other := fit(6, 30)
			if c.down {
				face, slope, shell = shell, other, face
			}
			step := side.sign * (face - shell) * p.MMPerPX * 1000
			// Within 0.01 px, which is 0.25 um here.
			if math.Abs(step-side.want) > 0.01*p.MMPerPX*1000 {
				t.Errorf("tilt %g, side %+g: step by area %.3f um, want %g", tilt, side.sign, step, side.want)
			}
			if math.Abs(slope) > 1e-3 {
				t.Errorf("tilt %g: faceplate's wall leans by %g against the unit's axis", tilt, slope)
			}
		}
	}
}

// TestHalfPlaneArea checks the partial area against counting fine dots.
func TestHalfPlaneArea(t *testing.T) {
	for _, deg := range []float64{0, 7, 30, 45, 80, 90} {
		ny, nx := math.Sincos(deg * math.Pi / 180)
		for _, d := range []float64{-0.8, -0.5, -0.2, 0, 0.1, 0.45, 0.69} {
			const n = 400
			in := 0.0
			for j := range n {
				for i := range n {
					x, y := (float64(i)+0.5)/n-0.5, (float64(j)+0.5)/n-0.5
					if x*nx+y*ny+d > 0 {
						in++
					}
				}
			}
			got := halfPlaneArea(d, nx, ny, 1)
			if math.Abs(got-in/(n*n)) > 0.004 {
				t.Errorf("%g deg, d %g: %.4f, counted %.4f", deg, d, got, in/(n*n))
			}
		}
	}
}

// TestEdgeArea compares the light the unit takes with the area of the truth's
// outline by the shoelace formula (closed form).
func TestEdgeArea(t *testing.T) {
	p := ideal()
	p.StepLeftUM, p.BeadRightUM, p.GapMM, p.GapDepthUM, p.TiltDeg = 80, 120, 0.1, 60, 4
	im, truth := Edge(p)
	pl := linear(t, im, 0)
	got := 0.0
	for y := range p.H {
		got += covered(pl, y, 0, p.W, p.PanelLevel)
	}
	want := math.Abs(polygonArea(truth.Outline))
	if math.Abs(got/want-1) > 5e-4 {
		t.Errorf("unit covers %.1f px, its outline holds %.1f", got, want)
	}
}

func polygonArea(p []part.Point) float64 {
	s := 0.0
	for i, a := range p {
		b := p[(i+1)%len(p)]
		s += a.X*b.Y - b.X*a.Y
	}
	return s / 2
}

// TestEdgeWidth: the 10-90 % width of an edge blurred by a Gaussian is 2.5631
// sigma (closed form: twice the 90 % point of the normal distribution).
// The pixel's own box adds to it, as sigma^2 + 1/12.
func TestEdgeWidth(t *testing.T) {
	for _, sigma := range []float64{1.5, 2.5} {
		p := ideal()
		p.BlurSigmaPX, p.BulgeSlope = sigma, 0
		im, truth := Edge(p)
		pl := linear(t, im, 0)
		y := int(truth.Left.YPX) - 15
		at := func(level float64) float64 {
			for x := 1; x < p.W/2; x++ {
				a, b := float64(pl.At(x-1, y))/p.PanelLevel, float64(pl.At(x, y))/p.PanelLevel
				if a >= level && b < level {
					return float64(x-1) + (a-level)/(a-b)
				}
			}
			t.Fatal("no edge")
			return 0
		}
		got, want := at(0.1)-at(0.9), 2.5631*math.Sqrt(sigma*sigma+1.0/12)
		if math.Abs(got/want-1) > 0.02 {
			t.Errorf("sigma %g: width %.3f px, want %.3f", sigma, got, want)
		}
	}
}

// TestEdgeMotion: movement by L pixels across an edge makes it 0.8 L wide from
// 10 to 90 % (closed form: an even ramp), and leaves edges along it as they are.
func TestEdgeMotion(t *testing.T) {
	p := ideal()
	p.MotionPX, p.BulgeSlope = 10, 0
	im, truth := Edge(p)
	pl := linear(t, im, 0)
	y, n := int(truth.Left.YPX)-15, 0
	for x := range p.W / 2 {
		if v := float64(pl.At(x, y)) / p.PanelLevel; v > 0.1 && v < 0.9 {
			n++
		}
	}
	if n < 7 || n > 9 {
		t.Errorf("%d pixels between 10 and 90 %%, want 8", n)
	}
	top := 0
	for y := range p.H {
		if v := float64(pl.At(p.W/2, y)) / p.PanelLevel; v > 0.1 && v < 0.9 {
			top++
		}
	}
	if top > 2 {
		t.Errorf("movement along x blurs the faceplate's top over %d rows", top)
	}
}

// TestMoreUnits: an empty panel is even, and a second unit doubles what the
// first one covers.
func TestMoreUnits(t *testing.T) {
	cover := func(p EdgeParams) float64 {
		im, _ := Edge(p)
		pl := linear(t, im, 0)
		s := 0.0
		for y := range p.H {
			s += covered(pl, y, 0, p.W, p.PanelLevel)
		}
		return s
	}
	p := ideal()
	p.WidthMM, p.DepthMM = 6, 4
	one := cover(p)
	p.AlsoAt = []part.Point{{X: 270, Y: 20}}
	if two := cover(p); math.Abs(two/one-2) > 1e-3 {
		t.Errorf("two units cover %.4f times what one does", two/one)
	}
	p.NoUnit, p.AlsoAt = true, nil
	if none := cover(p); math.Abs(none) > 1e-3*one {
		t.Errorf("an empty panel is covered by %.1f px", none)
	}
}

// TestEdgeMirror: mirrored parameters give the mirrored picture, sample by
// sample but for rounding.
func TestEdgeMirror(t *testing.T) {
	p := SmallEdge()
	p.NoiseSigma, p.WitnessMarks, p.Highlights = 0, 0, 0
	p.StepLeftUM, p.StepRightUM, p.BeadLeftUM = 40, -25, 90
	p.TiltDeg, p.OffsetXPX, p.BowPX, p.SeamTiltPX, p.PanelGradient = 2.5, 12, 4, 3, 0.1
	q := p
	q.StepLeftUM, q.StepRightUM, q.BeadLeftUM, q.BeadRightUM = -25, 40, 0, 90
	q.TiltDeg, q.OffsetXPX, q.SeamTiltPX, q.PanelGradient = -2.5, -12, -3, -0.1
	a, ta := Edge(p)
	b, tb := Edge(q)
	worst := 0
	for y := range p.H {
		for x := range p.W {
			for k := range 3 {
				d := int(a.Pix8[(y*p.W+x)*3+k]) - int(b.Pix8[(y*p.W+p.W-1-x)*3+k])
				worst = max(worst, d, -d)
			}
		}
	}
	if worst > 1 {
		t.Errorf("mirrored picture differs by %d levels", worst)
	}
	if math.Abs(ta.Left.XPX-(float64(p.W-1)-tb.Right.XPX)) > 1e-9 || math.Abs(ta.Left.YPX-tb.Right.YPX) > 1e-9 ||
		ta.Left.StepUM != tb.Right.StepUM || ta.Left.BeadUM != tb.Right.BeadUM {
		t.Errorf("truth is not mirrored: %+v and %+v", ta.Left, tb.Right)
	}
}

// TestEdgeFlip: the faceplate below is the picture upside down, where there is
// no tilt.
func TestEdgeFlip(t *testing.T) {
	p := SmallEdge()
	p.NoiseSigma, p.WitnessMarks, p.Highlights, p.StepLeftUM = 0, 0, 0, 50
	q := p
	q.FaceplateDown = true
	a, _ := Edge(p)
	b, _ := Edge(q)
	worst := 0
	for y := range p.H {
		for x := range p.W * 3 {
			d := int(a.Pix8[y*p.W*3+x]) - int(b.Pix8[(p.H-1-y)*p.W*3+x])
			worst = max(worst, d, -d)
		}
	}
	if worst > 1 {
		t.Errorf("upside-down picture differs by %d levels", worst)
	}
}

// TestEdgeSeam: the truth's seam is where the picture's colour changes.
func TestEdgeSeam(t *testing.T) {
	p := SmallEdge()
	p.NoiseSigma, p.WitnessMarks, p.Highlights, p.GlueLine = 0, 0, 0, false
	p.BowPX, p.TiltDeg, p.SeamTiltPX = 8, -3, 4
	im, truth := Edge(p)
	for _, x := range []int{200, 400, 550} {
		y := truth.SeamY(float64(x))
		// Green is 10 times stronger on the faceplate: half-way in linear light.
		g := linear(t, im, 1)
		found := false
		hi, lo := float64(g.At(x, int(y)-6)), float64(g.At(x, int(y)+6))
		for yy := int(y) - 6; yy < int(y)+6; yy++ {
			a, b := float64(g.At(x, yy)), float64(g.At(x, yy+1))
			if mid := (hi + lo) / 2; a >= mid && b < mid {
				found = true
				at := float64(yy) + (a-mid)/(a-b)
				if math.Abs(at-y) > 0.15 {
					t.Errorf("column %d: colours change at %.2f, truth says %.2f", x, at, y)
				}
			}
		}
		if !found {
			t.Errorf("column %d: no change of colour near %.2f", x, y)
		}
	}
	if !math.IsNaN(truth.SeamY(5)) {
		t.Error("a seam beside the unit")
	}
}

// TestEdgeSeed: same seed, same bytes; another seed, others.
func TestEdgeSeed(t *testing.T) {
	p := SmallEdge()
	p.Grain, p.PanelDirt = true, 3
	a, _ := Edge(p)
	b, _ := Edge(p)
	if !bytes.Equal(a.Pix8, b.Pix8) {
		t.Error("same seed gave two pictures")
	}
	p.Seed++
	c, _ := Edge(p)
	if bytes.Equal(a.Pix8, c.Pix8) {
		t.Error("the seed changes nothing")
	}
}

// TestNoiseLevel: the noise at mid-grey is what was asked for, in 8-bit levels.
func TestNoiseLevel(t *testing.T) {
	p := ideal()
	p.NoUnit, p.NoiseSigma, p.PanelLevel = true, 2, midGrey
	im, _ := Edge(p)
	var s, q float64
	for _, v := range im.Pix16 {
		d := float64(v)/257 - 128
		s, q = s+d, q+d*d
	}
	n := float64(len(im.Pix16))
	if sd := math.Sqrt(q/n - s*s/n/n); math.Abs(sd-2) > 0.02 || math.Abs(s/n) > 0.05 {
		t.Errorf("noise %.3f levels around %+.3f, want 2 around 0", sd, s/n)
	}
}
