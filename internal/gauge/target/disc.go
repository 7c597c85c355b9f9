package target

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// Limits of discs and pins; common practice, no source.
const (
	leastDisc   = 12.0 // px, diameter or width
	ovalNote    = 0.99 // shortest against longest diameter below which a note is made
	pinLength   = 1.5  // least length of a pin, in its widths
	taperNote   = 0.005
	pinSections = 41
)

// disc finds one disc, or one pin seen from the side, darker or lighter than
// what surrounds it.
func (s *scene) disc() (Found, error) {
	f := Found{View: optics.View{Name: s.name, W: s.p.W, H: s.p.H}, Expected: 1, BlurPX: math.NaN(), DiameterPX: math.NaN(),
		UDiameterPX: math.NaN()}
	k := (max(s.p.W, s.p.H) + searchSide - 1) / searchSide
	small := shrunk(s.p, k)
	level, ok := twoLevels(small)
	if !ok {
		return f, s.problem(part.Say("target.no_contrast"), part.Say("target.do.light_disc"))
	}
	var all []body
	for _, light := range []bool{false, true} {
		all = append(all, bodies(small, level, light)...)
	}
	slices.SortStableFunc(all, func(a, b body) int { return cmp.Compare(b.area, a.area) })
	var discs []body
	for _, b := range all {
		if !b.cut && len(round([]blob{b.blob})) > 0 && b.b > 0.5*b.a && 2*b.b*float64(k) >= leastDisc {
			discs = append(discs, b)
		}
	}
	if len(discs) > 1 && discs[1].area > 0.3*discs[0].area {
		return f, s.problem(part.Say("target.two_discs"), part.Say("target.do.one"))
	}
	if len(discs) > 0 {
		if done, err := s.measureDisc(&f, discs[0], k); done {
			return f, err
		}
	}
	for _, b := range all {
		if b.a > pinLength*b.b && 1.7*b.b*float64(k) >= leastDisc && !ground(small, b.blob) {
			if got, ok := s.pin(f, b, k, level); ok {
				return got, nil
			}
		}
	}
	for _, b := range all {
		if b.cut && !ground(small, b.blob) && 2*b.b*float64(k) >= leastDisc {
			f.Partial = true
			p := s.problem(part.Say("target.disc_cut"), part.Say("target.do.whole_disc"))
			p.Part = true
			return f, p
		}
	}
	return f, s.problem(part.Say("target.no_disc"), part.Say("target.do.one_disc", "least_px", fmt.Sprintf("%g", leastDisc)))
}

// body is a blob of one of two levels.
type body struct {
	blob
	light bool
}

func bodies(p *part.Plane, level float64, light bool) []body {
	mark := make([]bool, len(p.V))
	for i, v := range p.V {
		mark[i] = (float64(v) > level) == light
	}
	var out []body
	for _, b := range components(mark, p.W, p.H) {
		out = append(out, body{b, light})
	}
	return out
}

// ground says whether a blob is what the picture's things lie on: it spans the
// picture both ways.
func ground(p *part.Plane, b blob) bool {
	return b.cut && math.Sqrt(3)*b.a > 0.85*float64(min(p.W, p.H)) && math.Sqrt(3)*b.b > 0.7*float64(min(p.W, p.H))
}

// twoLevels is the light that parts the picture best into a dark and a light
// class: Otsu's threshold (1979, IEEE Trans. SMC 9, 62-66) on sRGB-encoded
// levels. False where the classes differ by less than a quarter.
func twoLevels(p *part.Plane) (float64, bool) {
	var count [256]float64
	for _, v := range encoded(p) {
		count[v]++
	}
	total, sum := float64(len(p.V)), 0.0
	for i, n := range count {
		sum += n * float64(i)
	}
	best, lowMean, highMean := -1.0, 0.0, 0.0
	low, lowSum := 0.0, 0.0
	for i, n := range count {
		low += n
		lowSum += n * float64(i)
		if low == 0 || low == total {
			continue
		}
		a, b := lowSum/low, (sum-lowSum)/(total-low)
		if between := low * (total - low) * (b - a) * (b - a); between > best {
			best, lowMean, highMean = between, a, b
		}
	}
	if best < 0 {
		return 0, false
	}
	dark, light := optics.SRGBToLinear(lowMean/255), optics.SRGBToLinear(highMean/255)
	return (dark + light) / 2, dark < 0.75*light
}

// measureDisc measures a disc; done is false where it is none.
func (s *scene) measureDisc(f *Found, b body, k int) (done bool, err error) {
	o := b.oval()
	o = oval{unshrink(o.x, k), unshrink(o.y, k), o.p * float64(k), o.q * float64(k), o.r * float64(k)}
	e, misfit, ok := rim(s.p, o, o.p+o.r, mostSamples)
	if !ok || misfit > mostMisfit || s.outside(e) {
		return false, nil
	}
	f.Ellipses = []Ellipse{e}
	f.View.Marks = []optics.Mark{{XPX: e.XPX, YPX: e.YPX, UPX: e.UPX}}
	f.DiameterPX, f.UDiameterPX, f.BlurPX = e.DiameterPX(), e.UDiameterPX, e.BlurPX
	if q := e.SemiMinorPX / e.SemiMajorPX; q < ovalNote {
		f.Notes = append(f.Notes, part.Say("target.oval", "percent", fmt.Sprintf("%.1f", 100*(1-q))))
	}
	return true, nil
}

// pin measures a bar with two straight edges, away from its ends; false where
// the body is none.
func (s *scene) pin(f Found, b body, k int, level float64) (Found, bool) {
	x0, y0 := unshrink(b.x, k), unshrink(b.y, k)
	half := 0.6 * math.Sqrt(3) / 2 * b.a * float64(k) // 60 % of the length of a bar with these moments
	sin, cos := math.Sincos(b.angle)
	bar := barFrame{p: s.p, x: x0, y: y0, cos: cos, sin: sin, half: half}
	left, right, ok := bar.crossings(level, b.light)
	if !ok {
		return f, false
	}
	lo, ok1 := bar.edge(left, b.light, -1)
	hi, ok2 := bar.edge(right, b.light, 1)
	if !ok1 || !ok2 {
		return f, false
	}
	width := (hi.at - lo.at) / math.Hypot(1, (hi.slope+lo.slope)/2)
	f.Pin = true
	f.DiameterPX, f.UDiameterPX = width, math.Hypot(lo.u, hi.u)
	f.BlurPX = (lo.blur + hi.blur) / 2
	mid := (lo.at + hi.at) / 2
	f.View.Marks = []optics.Mark{{XPX: x0 - mid*sin, YPX: y0 + mid*cos, UPX: f.UDiameterPX / 2}}
	if taper := math.Abs(hi.slope-lo.slope) * 2 * half; taper > taperNote*width && taper > 4*f.UDiameterPX {
		f.Notes = append(f.Notes, part.Say("target.taper", "percent", fmt.Sprintf("%.1f", 100*taper/width)))
	}
	return f, true
}

// barFrame has coordinates along and across a bar.
type barFrame struct {
	p        *part.Plane
	x, y     float64
	cos, sin float64
	half     float64 // length used, each way from the middle
}

// crossings walks outwards from the bar's middle line in many sections and gives
// where the light crosses the level on both sides: place and slope along the bar.
func (b *barFrame) crossings(level float64, light bool) (left, right [2]float64, ok bool) {
	var along []float64
	var sides [2][]float64
	for i := range pinSections {
		a := b.half * (2*float64(i)/(pinSections-1) - 1)
		var at [2]float64
		good := true
		for k, sign := range [2]float64{-1, 1} {
			c := 0.0
			for {
				v, inside := bilinear(b.p, b.x+a*b.cos-c*b.sin, b.y+a*b.sin+c*b.cos)
				if !inside {
					good = false
					break
				}
				if (v > level) != light {
					break
				}
				c += sign * 0.5
			}
			at[k] = c
		}
		if good && at[0] != 0 && at[1] != 0 {
			along = append(along, a)
			sides[0], sides[1] = append(sides[0], at[0]), append(sides[1], at[1])
		}
	}
	if len(along) < pinSections/2 {
		return left, right, false
	}
	return straight(along, sides[0]), straight(along, sides[1]), true
}

// straight is the line through points, by the medians of the slopes and places
// (Theil 1950, Sen 1968).
func straight(x, y []float64) [2]float64 {
	var slopes []float64
	for i := range x {
		for j := i + 4; j < len(x); j++ {
			slopes = append(slopes, (y[j]-y[i])/(x[j]-x[i]))
		}
	}
	m := robust.Quantile(slopes, 0.5)
	var at []float64
	for i := range x {
		at = append(at, y[i]-m*x[i])
	}
	return [2]float64{robust.Quantile(at, 0.5), m}
}

// sideLine is a straight edge in a bar's frame.
type sideLine struct{ at, slope, u, blur float64 }

// Parameters of a straight edge's fit.
const (
	sideAt = iota
	sideSlope
	sideBlur
	sideIn
	sideInAlong
	sideOut
	sideOutAlong
	sideSize
)

// edge fits one straight edge to the pixels around it; sign is the way out.
func (b *barFrame) edge(start [2]float64, light bool, sign float64) (sideLine, bool) {
	par := make([]float64, sideSize)
	par[sideAt], par[sideSlope], par[sideBlur] = start[0], start[1], startBlur
	for round := range 2 {
		band := 5*par[sideBlur] + 2
		pixels := b.pixels(par[sideAt], par[sideSlope], band)
		if len(pixels) < 4*sideSize {
			return sideLine{}, false
		}
		var in, out []float64
		for _, q := range pixels {
			if d := sign * (q.c - par[sideAt] - par[sideSlope]*q.a); d < -2 {
				in = append(in, q.v)
			} else if d > 2 {
				out = append(out, q.v)
			}
		}
		if round == 0 {
			par[sideIn], par[sideOut] = robust.Quantile(in, 0.5), robust.Quantile(out, 0.5)
		}
		m := &model{n: len(pixels), m: sideSize, least: map[int]float64{sideBlur: pixelWidth}}
		m.valid = func(p []float64) bool { return p[sideBlur] <= mostBlur }
		m.row = func(p []float64, i int, slope []float64) float64 {
			q := &pixels[i]
			w := p[sideBlur]
			tilt := math.Hypot(1, p[sideSlope])
			d := sign * (q.c - p[sideAt] - p[sideSlope]*q.a) / tilt
			g, density := below(-d/w), bell(d/w)/w
			l := q.a / b.half
			in, out := p[sideIn]+p[sideInAlong]*l, p[sideOut]+p[sideOutAlong]*l
			byD := -(in - out) * density
			slope[sideAt] = -byD * sign / tilt
			slope[sideSlope] = byD * (-sign*q.a/tilt - d*p[sideSlope]/(tilt*tilt))
			slope[sideBlur] = -byD * d / w
			slope[sideIn], slope[sideInAlong] = g, g*l
			slope[sideOut], slope[sideOutAlong] = 1-g, (1-g)*l
			return out + (in-out)*g - q.v
		}
		f, ok := m.solve(par, fitRounds, round == 1)
		if !ok {
			return sideLine{}, false
		}
		par = f.p
		if round == 1 {
			contrast := par[sideIn] - par[sideOut]
			line := sideLine{at: par[sideAt], slope: par[sideSlope], u: math.Sqrt(f.cov.At(sideAt, sideAt)), blur: par[sideBlur]}
			return line, (contrast > 0) == light && f.sigma < mostMisfit*math.Abs(contrast)
		}
	}
	return sideLine{}, false
}

// barPixel is a pixel in a bar's frame.
type barPixel struct{ a, c, v float64 }

// pixels picks those within band of the line c = at + slope a, at most
// mostSamples of them, evenly.
func (b *barFrame) pixels(at, slope, band float64) []barPixel {
	reach := b.half + math.Abs(at) + band
	x0, x1 := max(0, int(b.x-reach)), min(b.p.W-1, int(b.x+reach)+1)
	y0, y1 := max(0, int(b.y-reach)), min(b.p.H-1, int(b.y+reach)+1)
	var all []barPixel
	for y := y0; y <= y1; y++ {
		for x := x0; x <= x1; x++ {
			dx, dy := float64(x)-b.x, float64(y)-b.y
			a, c := dx*b.cos+dy*b.sin, -dx*b.sin+dy*b.cos
			if math.Abs(a) <= b.half && math.Abs(c-at-slope*a) <= band {
				all = append(all, barPixel{a, c, float64(b.p.At(x, y))})
			}
		}
	}
	if n := (len(all) + mostSamples - 1) / mostSamples; n > 1 {
		kept := all[:0]
		for i := n / 2; i < len(all); i += n {
			kept = append(kept, all[i])
		}
		all = kept
	}
	return all
}
