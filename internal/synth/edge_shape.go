package synth

import (
	"math"

	"finishbench/internal/part"
)

// edgeShape is the unit's outline in pixels, in the unit's own frame: u to the
// right from its axis, v from the seam's middle height down the shell (the
// faceplate has v < 0). All of it is in closed form.
type edgeShape struct {
	px                   float64 // pixels in a millimetre
	half                 float64 // half the shell's width at the seam
	thick, depth, rim    float64
	blend, bulge, taper  float64
	gap, gapDepth        float64
	beadSigma            float64
	step, bead, seamV    [2]float64 // left, right
	atSeam               [2]float64 // the shell's half-width at the seam, left and right
	bow                  float64
	cx, cy               float64 // the picture's middle
	ox, oy               float64 // the frame's origin before the tilt, against the middle
	sin, cos, flip       float64 // flip is -1 with the faceplate down
	stem                 float64 // half the holder's width; 0: none
	lastV                float64 // where the drawing ends along the axis
	mmPerPX, blurSigmaPX float64
	p                    EdgeParams
}

// power shapes the shell's bowl: half-width^2 falls as 1 - (v/depth)^power.
const power = 2.8

func newEdgeShape(p EdgeParams) *edgeShape {
	k := 1 / p.MMPerPX
	um := k / 1000
	s := &edgeShape{
		px: k, half: p.WidthMM / 2 * k, thick: p.ThicknessMM * k, depth: p.DepthMM * k, rim: p.RimMM * k,
		blend: p.BlendMM * k, taper: p.FaceSlope, gap: p.GapMM * k, gapDepth: p.GapDepthUM * um,
		beadSigma: p.BeadSigmaMM * k,
		step:      [2]float64{p.StepLeftUM * um, p.StepRightUM * um},
		bead:      [2]float64{p.BeadLeftUM * um, p.BeadRightUM * um},
		seamV:     [2]float64{-p.SeamTiltPX / 2, p.SeamTiltPX / 2},
		bow:       p.BowPX,
		cx:        float64(p.W-1) / 2, cy: float64(p.H-1) / 2, flip: 1,
		mmPerPX: p.MMPerPX, blurSigmaPX: p.BlurSigmaPX, p: p,
	}
	if p.BeadSigmaMM <= 0 {
		s.beadSigma = 0.1 * k
	}
	s.bulge = p.BulgeSlope * s.depth / (math.Pi * s.half)
	for i, v := range s.seamV {
		b2, _ := s.shell2(v)
		s.atSeam[i] = math.Sqrt(max(b2, 0))
	}
	if p.FaceplateDown {
		s.flip = -1
	}
	s.ox = p.OffsetXPX
	s.oy = p.OffsetYPX - s.flip*(s.depth-s.thick)/2
	s.sin, s.cos = math.Sincos(p.TiltDeg * math.Pi / 180)
	s.lastV = s.depth
	if p.Holder {
		s.stem = 1.6 * k
		s.lastV = s.depth + math.Hypot(float64(p.W), float64(p.H)) + math.Abs(s.oy) + math.Abs(s.ox)
	}
	return s
}

// toUnit turns a place in the picture into the unit's frame.
func (s *edgeShape) toUnit(x, y float64) (u, v float64) {
	dx, dy := x-s.cx, y-s.cy
	return dx*s.cos + dy*s.sin - s.ox, s.flip * (dy*s.cos - dx*s.sin - s.oy)
}

// toPicture is the inverse of toUnit.
func (s *edgeShape) toPicture(u, v float64) (x, y float64) {
	a, b := u+s.ox, s.flip*v+s.oy
	return s.cx + a*s.cos - b*s.sin, s.cy + a*s.sin + b*s.cos
}

func sideOf(u float64) int {
	if u < 0 {
		return 0
	}
	return 1
}

// shell2 is the square of the shell's half-width at height v, and its slope.
// Above 0 the wall goes on straight.
func (s *edgeShape) shell2(v float64) (b2, slope float64) {
	h2 := s.half * s.half
	if v <= 0 {
		b := s.half + s.p.BulgeSlope*v
		return b * b, 2 * b * s.p.BulgeSlope
	}
	t := v / s.depth
	fall := 1 - math.Pow(t, power)
	dfall := -power * math.Pow(t, power-1) / s.depth
	sin, cos := math.Sincos(math.Pi * t)
	g := 1 + s.bulge*sin
	dg := s.bulge * math.Pi / s.depth * cos
	return h2 * fall * g * g, h2 * (dfall*g*g + fall*2*g*dg)
}

// wall is the half-width at height v on side i, where v is not near the
// bowl's bottom.
func (s *edgeShape) wall(i int, v float64) float64 {
	b2, _ := s.shell2(v)
	shell := math.Sqrt(max(b2, 0))
	v -= s.seamV[i]
	face := s.atSeam[i] + s.step[i] + s.taper*min(v, 0)
	var h float64
	switch {
	case s.blend > 0:
		a := smooth(v/s.blend + 0.5)
		h = face*(1-a) + shell*a
	case v < 0:
		h = face
	default:
		h = shell
	}
	if s.bead[i] != 0 {
		h += s.bead[i] * math.Exp(-v*v/(2*s.beadSigma*s.beadSigma))
	}
	if s.gapDepth != 0 && math.Abs(v) < s.gap/2 {
		q := 1 - 4*v*v/(s.gap*s.gap)
		h -= s.gapDepth * q * q
	}
	return h
}

// distance is the signed distance from the outline to (u,v), inside positive,
// right to first order near the outline, with its unit normal pointing inside.
func (s *edgeShape) distance(u, v float64) (d, nu, nv float64) {
	i := sideOf(u)
	sign := 1.0
	if i == 0 {
		sign = -1
	}
	au := sign * u
	top := -s.thick
	switch {
	case v < top+s.rim:
		// rounded rim; the wall's taper over its height is left out
		edge := s.atSeam[i] + s.step[i] + s.taper*(top+s.rim-s.seamV[i])
		cu, cv := edge-s.rim, top+s.rim
		if au <= cu {
			return v - top, 0, 1
		}
		ru, rv := au-cu, v-cv
		r := math.Hypot(ru, rv)
		if r == 0 {
			return s.rim, 0, 1
		}
		return s.rim - r, -sign * ru / r, -rv / r
	case v > s.depth/3:
		b2, sl := s.shell2(v)
		gu, gv := -au, sl/2
		g := math.Hypot(gu, gv)
		return (b2 - au*au) / (2 * g), sign * gu / g, gv / g
	}
	const e = 1e-3
	h := s.wall(i, v)
	slope := (s.wall(i, v+e) - s.wall(i, v-e)) / (2 * e)
	g := math.Sqrt(1 + slope*slope)
	return (h - au) / g, -sign / g, slope / g
}

// seamAt is the seam's height at u. It bows between the limbs, as half of a flat
// ring does that is seen from above, and may run askew.
func (s *edgeShape) seamAt(u float64) float64 {
	t := min(max(u/s.half, -1.05), 1.05)
	return s.seamV[0] + (s.seamV[1]-s.seamV[0])*(t+1)/2 + s.bow*math.Sqrt(max(0, 1-t*t))
}

// extent is the block of pixels that the unit can touch, with room for blur.
func (s *edgeShape) extent() area {
	const room = 40
	h := s.half*(1+s.bulge) + max(s.step[0], s.step[1], 0) + max(s.bead[0], s.bead[1], 0) + room
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, u := range []float64{-h, h} {
		for _, v := range []float64{-s.thick - room, s.lastV + room} {
			if v > s.depth+room { // the stem is narrower, but a wider block does no harm
				v = s.lastV
			}
			x, y := s.toPicture(u, v)
			x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), max(y1, y)
		}
	}
	lim := func(v float64) int { return int(min(max(v, -1e6), 1e6)) }
	return area{lim(x0), lim(y0), lim(x1) + 1, lim(y1) + 1}.clip(s.p.W, s.p.H)
}

func (s *edgeShape) truth() EdgeTruth {
	t := EdgeTruth{BlurSigmaPX: s.blurSigmaPX}
	st := func(i int, sign float64) EdgeStation {
		x, y := s.toPicture(sign*(s.atSeam[i]+s.step[i]/2), s.seamV[i])
		e := EdgeStation{StepUM: s.step[i] * s.mmPerPX * 1000, XPX: x, YPX: y, BeadUM: s.bead[i] * s.mmPerPX * 1000}
		if s.gap > 0 {
			e.GapUM = s.gapDepth * s.mmPerPX * 1000
		}
		return e
	}
	t.Left, t.Right = st(0, -1), st(1, 1)
	for k := range 33 {
		u := s.half * (float64(k)/16 - 1)
		x, y := s.toPicture(u, s.seamAt(u))
		t.Seam = append(t.Seam, part.Point{X: x, Y: y})
	}
	t.SeamY = func(x float64) float64 {
		u := 0.0
		for range 30 { // the seam is nearly level: this settles at once
			px, _ := s.toPicture(u, s.seamAt(u))
			u += (x - px) / s.cos
		}
		if math.Abs(u) > s.half+max(s.step[0], s.step[1], 0) {
			return math.NaN()
		}
		_, y := s.toPicture(u, s.seamAt(u))
		return y
	}
	t.Outline = s.outline()
	return t
}

// outline walks the silhouette clockwise in the unit's frame from the top's
// middle.
func (s *edgeShape) outline() []part.Point {
	var right, left []part.Point
	add := func(i int, u, v float64) {
		if i == 0 {
			u = -u
		}
		x, y := s.toPicture(u, v)
		if i == 0 {
			left = append(left, part.Point{X: x, Y: y})
		} else {
			right = append(right, part.Point{X: x, Y: y})
		}
	}
	for i := range 2 {
		edge := s.atSeam[i] + s.step[i] + s.taper*(-s.thick+s.rim-s.seamV[i])
		for a := 0.0; a < edge-s.rim; a++ {
			add(i, a, -s.thick)
		}
		for k := range 9 {
			sin, cos := math.Sincos(float64(k) * math.Pi / 16)
			add(i, edge-s.rim+s.rim*sin, -s.thick+s.rim-s.rim*cos)
		}
		v := -s.thick + s.rim + 0.5
		for ; v < s.depth*0.9; v += 0.5 {
			add(i, s.wall(i, v), v)
		}
		n := 400
		for k := range n { // down to the tip in steps that shorten towards it
			q := 1 - float64(k)/float64(n)
			vv := s.depth - 0.1*s.depth*q*q
			b2, _ := s.shell2(vv)
			add(i, math.Sqrt(max(b2, 0)), vv)
		}
	}
	for k := len(left) - 1; k > 0; k-- {
		right = append(right, left[k])
	}
	return right
}
