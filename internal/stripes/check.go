package stripes

import (
	"fmt"
	"math"
	"slices"
	"sync"

	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// What is held against the stripes' amplitude before pictures are believed (common
// practice, no source).
const (
	noiseLimit = 0.9  // of a pixel's noise; where there are no stripes at all it is 1 / sqrt(ln 2) = 1.2, the median of Rayleigh's law
	oddBlurMM  = 0.1  // light that is in no phase is averaged over this, standard deviation, before it is believed
	biasLimit  = 0.3  // radians that foreign light turns the phase by: more is refused, or left out where it is in places only
	biasWarn   = 0.1  // and from here on it is told
	doubtMM    = 0.15 // around places of such light nothing is looked at
	placesMost = 0.3  // share of the face, and where more is left out the set is refused
	placesWarn = 0.05 // and from here on it is told
	movedMost  = 3.0  // pixels that the unit moved: more is refused
	movedWarn  = 0.5  // and from here on it is told
	surely     = 3.0  // standard uncertainties that a fault is over 0
	swapOdd    = 0.35 // odd light's square over the phasor's: noise alone makes 1/4, two neighbouring phases exchanged 1/2
	swapLine   = 0.5  // of the phasor that then lies on one line through 0
	swapRest   = 0.3  // of three phases: the odd light's square that exchanging two does not explain
)

// order says why the phases cannot be in order, over the pixels inside; nil where they may be. Two
// neighbouring phases exchanged leave half of the phasor, on one line through 0, and put the other half into the
// odd light; two opposite ones turn the direction round, see wrongHand. Of three phases, where
// the odd light is what the directions' means differ by, two neighbouring ones exchanged make the mean of
// one direction follow its phasor.
func (f *frames) order(inside []bool, mmPX float64) error {
	if f.phases == threePhases {
		return f.orderOfThree(inside, mmPX)
	}
	for d := range f.by {
		var oddSq, zSq, line float64
		for i, in := range inside {
			if in && !f.clipped[i] {
				o, re, im := float64(f.by[d].odd.V[i]), float64(f.by[d].z.re.V[i]), float64(f.by[d].z.im.V[i])
				oddSq, zSq, line = oddSq+o*o, zSq+re*re+im*im, line+2*re*im
			}
		}
		if oddSq > swapOdd*zSq && math.Abs(line) > swapLine*zSq {
			return f.exchanged(d)
		}
	}
	return nil
}

func (f *frames) exchanged(d int) error {
	if f.phases == threePhases { // a lamp on bright paint in the first looks the same
		return lang.Error(part.Say("stripes.err.order_three", "along", string('x'+rune(d))))
	}
	return lang.Error(part.Say("stripes.err.order_four", "along", string('x'+rune(d))))
}

// orderOfThree is order for three phases. With phases 0 and 90 degrees exchanged the direction's mean is off by
// half of the sum of the phasor's parts that come out, with 90 and 180 degrees by half of their difference; the odd light
// is half of that again.
func (f *frames) orderOfThree(inside []bool, mmPX float64) error {
	for d := range f.by {
		odd, z := gauss(f.by[d].odd, oddBlurMM/mmPX), f.by[d].z.blurred(oddBlurMM/mmPX)
		var o, first, second []float64
		for i, in := range inside {
			if in && !f.clipped[i] {
				re, im, v := float64(z.re.V[i]), float64(z.im.V[i]), float64(odd.V[i])
				o, first, second = append(o, v), append(first, v-(im+re)/4), append(second, v-(im-re)/4)
			}
		}
		if len(o) > 1 && min(stat.Variance(first, nil), stat.Variance(second, nil)) < swapRest*stat.Variance(o, nil) {
			return f.exchanged(d)
		}
	}
	return nil
}

// consistency tells whether the pictures belong together, over the pixels inside.
func (f *frames) consistency(inside []bool, mmPX float64) Consistency {
	out := Consistency{ThreePhases: f.phases == threePhases}
	var amp, noise, diff []float64
	inside = slices.Clone(inside)
	for i, near := range grown(f.clipped, f.w, clippedBlurs*oddBlurMM/mmPX) {
		inside[i] = inside[i] && !near
	}
	for d := range f.by {
		by := &f.by[d]
		soft := gauss(by.odd, oddBlurMM/mmPX)
		var odd, fine []float64
		for i, in := range inside {
			if !in {
				continue
			}
			o, re, im := float64(by.odd.V[i]), float64(by.z.re.V[i]), float64(by.z.im.V[i])
			odd, fine = append(odd, o), append(fine, math.Abs(o-float64(soft.V[i])))
			amp = append(amp, math.Hypot(re, im))
			if d == 0 {
				diff = append(diff, float64(by.mean.V[i]-f.by[1].mean.V[i]))
			}
		}
		if len(odd) == 0 {
			return Consistency{Noise: math.Inf(1)}
		}
		out.Odd[d] = 4 * math.Abs(robust.Nth(odd, len(odd)/2))
		noise = append(noise, 2*1.4826*robust.Nth(fine, len(fine)/2)) // a quarter of the sum of four has half one's deviation
		f.soft[d] = soft
	}
	a := max(robust.Nth(amp, len(amp)/2), 1e-9)
	f.amp = a
	out.Between = math.Abs(robust.Nth(diff, len(diff)/2)) / a
	for d := range out.Odd {
		if out.Odd[d] /= a; out.ThreePhases {
			out.Odd[d] = 0 // it is Between
		}
	}
	out.Noise = max(noise[0], noise[1]) / a
	var all sync.WaitGroup
	for d := range f.by {
		all.Add(1)
		go func() {
			defer all.Done()
			out.Bias[d], out.UBias[d], out.BiasKnown[d] = f.bias(d, inside, mmPX)
		}()
	}
	out.MovedPX, out.UMovedPX = f.moved(inside, mmPX)
	all.Wait()
	return out
}

// bias is by how much foreign light turns the phase, radians, and its standard uncertainty. Light
// that is not in all four pictures alike, another lamp's or what a dimmed screen lacks, follows the
// paint's, B: the phasor is A exp(i phi) + c B, on a circle that is not around 0,
//
//	|z|^2 = (A^2 - |cB|^2) + 2 Re(conj(c) B z),
//
// linear in c. The phasor is averaged before, for noise in it passes for c where less than a period is
// seen. What gloss changes smoothly over the face is a polynomial beside it. Only a face that mirrors
// enough of a period tells; the uncertainty holds that. Neighbours within a block are taken for one
// value.
func (f *frames) bias(d int, inside []bool, mmPX float64) (rad, u float64, known bool) {
	const terms, step = 8, 3
	soft, mean := f.by[d].z.blurred(oddBlurMM/mmPX), gauss(f.by[d].mean, oddBlurMM/mmPX)
	var rows [][]float64
	var y, light []float64
	half := float64(max(f.w, f.h)) / 2
	amp2 := f.amp * f.amp
	for v := 0; v < f.h; v += step {
		for x := 0; x < f.w; x += step {
			i := v*f.w + x
			z := soft.at(i)
			q := real(z)*real(z) + imag(z)*imag(z)
			if !inside[i] {
				continue
			}
			m := float64(mean.V[i])
			s, t := float64(x)/half-1, float64(v)/half-1
			rows = append(rows, []float64{2 * real(z) * m / amp2, 2 * imag(z) * m / amp2, 1, s, t, s * s, s * t, t * t})
			y, light = append(y, q/amp2), append(light, m)
		}
	}
	if len(y) < 10*terms {
		return 0, 0, false
	}
	fit := fitRobust(rows, y, nil, 1, 6, 0) // defects and glare do not fit
	var c mat.Cholesky
	var inv mat.SymDense
	if !fit.ok || !c.Factorize(fit.normal) || c.InverseTo(&inv) != nil {
		return 0, 0, false
	}
	ss := 0.0
	for i, v := range fit.off {
		ss += fit.trust[i] * v * v
	}
	const together = 25                             // values of a block that are not independent
	k := robust.Nth(light, len(light)*9/10) / f.amp // where the paint is light it counts most
	u = k * math.Sqrt(ss/float64(len(y))*together*max(inv.At(0, 0), inv.At(1, 1)))
	return k * math.Hypot(fit.a[0], fit.a[1]), u, true
}

// grown is a mask and what lies within some pixels of it.
func grown(mask []bool, w int, pixels float64) []bool {
	out := make([]bool, len(mask))
	if !slices.Contains(mask, true) {
		return out
	}
	for i, yes := range mask {
		out[i] = !yes
	}
	for i, d := range depths(out, w).V {
		out[i] = float64(d) <= pixels
	}
	return out
}

// check says why pictures cannot be believed; nil where they can.
func (c Consistency) check() error {
	for d := range c.Odd {
		axis := 'x' + rune(d)
		if v := max(c.Odd[d]/2, c.significantBias(d)); v > biasLimit {
			return lang.Error(part.Say("stripes.err.light", "along", fmt.Sprintf("%c", axis), "percent", fmt.Sprintf("%.0f", 200*v)))
		}
	}
	if c.ThreePhases && c.Between*math.Sqrt2 > biasLimit { // light c in one picture of three turns its phase by up to 1.4 c/2A
		return lang.Error(part.Say("stripes.err.between", "percent", fmt.Sprintf("%.0f", 100*c.Between)))
	}
	if c.MovedPX > movedMost {
		return c.movedError()
	}
	limit := noiseLimit
	if c.ThreePhases { // where no stripes are, three phases make noise look larger, by the root of phaseNoise's ratio
		limit /= math.Sqrt2
	}
	if !(c.Noise <= limit) {
		return lang.Error(part.Say("stripes.err.noise"))
	}
	return nil
}

// hasMoved says whether the unit surely moved.
func (c Consistency) hasMoved() bool {
	return c.MovedPX > movedWarn && c.MovedPX > surely*c.UMovedPX
}

func (c Consistency) movedError() error {
	return lang.Error(part.Say("stripes.err.moved", "apart_px", fmt.Sprintf("%.1f", c.MovedPX)))
}

// significantBias is the bias where it is surely over 0, and 0 where it is not known to be.
func (c Consistency) significantBias(d int) float64 {
	if !c.BiasKnown[d] || c.Bias[d] < surely*c.UBias[d] {
		return 0
	}
	return c.Bias[d]
}

// warnings tell what is amiss, and not enough to refuse the pictures.
func (c Consistency) warnings() []part.Phrase {
	var out []part.Phrase
	for d := range c.Odd {
		if v := max(c.Odd[d]/2, c.significantBias(d)); v > biasWarn {
			out = append(out, part.Say("stripes.warn.light", "along", fmt.Sprintf("%c", 'x'+rune(d)), "percent",
				fmt.Sprintf("%.0f", 200*v)))
		}
	}
	if c.Between > 2*biasWarn {
		out = append(out, part.Say("stripes.warn.between", "percent", fmt.Sprintf("%.0f", 100*c.Between)))
	}
	if c.hasMoved() {
		out = append(out, part.Say("stripes.warn.moved", "apart_px", fmt.Sprintf("%.1f", c.MovedPX)))
	}
	return out
}

// doubtful says where foreign light turns the phase by more than the limit: light that is in
// no phase (a fourth of one picture's, which turns it by half of itself over the amplitude), and edges of the paint
// that moved, which are told on their own as well.
func (f *frames) doubtful(c Consistency, mmPX float64) (all, edges []bool) {
	all, edges = make([]bool, f.w*f.h), make([]bool, f.w*f.h)
	moved := 0.0
	if c.hasMoved() {
		moved = c.MovedPX / float64(f.bin)
	}
	paint := gauss(f.by[0].mean, edgeFineMM/mmPX)
	for y := 1; y+1 < f.h; y++ {
		for x := 1; x+1 < f.w; x++ {
			i := y*f.w + x
			odd := 2 * max(math.Abs(float64(f.soft[0].V[i])), math.Abs(float64(f.soft[1].V[i])))
			edge := moved / 2 * math.Hypot(float64(paint.V[i+1]-paint.V[i-1])/2, float64(paint.V[i+f.w]-paint.V[i-f.w])/2)
			edges[i] = edge > biasLimit*f.amp
			all[i] = edges[i] || odd > biasLimit*f.amp
		}
	}
	return grown(all, f.w, doubtMM/mmPX), grown(edges, f.w, doubtMM/mmPX)
}

// mirrored is the face without wide parts along its outline that mirror nothing of the screen:
// the screen's image ends there, or the outline holds some of the shell.
func (f *frames) mirrored(m *Maps, face []bool) []bool {
	a := part.NewPlane(f.w, f.h)
	for i := range a.V {
		a.V[i] = float32(math.Sqrt(max(0, float64(f.by[0].energy.V[i]+f.by[1].energy.V[i])/2)))
	}
	wide := gauss(a, partMM/m.MMPX)
	inner := m.deeper(innerMM)
	var v []float64
	for i, in := range inner {
		if in {
			v = append(v, float64(wide.V[i]))
		}
	}
	high := float32(robust.Nth(v, len(v)*9/10))
	dark := make([]bool, len(inner))
	for i := range dark {
		dark[i] = m.Depth.V[i] > 0 && wide.V[i] < darkShare*high
	}
	out, deep := slices.Clone(face), make([]bool, len(face))
	for _, piece := range pieces(dark, f.w) {
		touches := slices.ContainsFunc(piece, func(i int) bool { return m.Depth.V[i] < 2 })
		if touches && float64(len(piece))*m.MMPX*m.MMPX > partMM2 {
			reaches := slices.ContainsFunc(piece, func(i int) bool { return float64(m.Depth.V[i])*m.MMPX > partDeepMM })
			for _, i := range piece {
				out[i], deep[i] = false, reaches
			}
		}
	}
	if !slices.Contains(deep, true) {
		return out
	}
	f.beyond = grown(deep, f.w, partEdgeMM/m.MMPX)
	for i, yes := range f.beyond {
		out[i] = out[i] && !yes
	}
	return out
}

// A part of the face that mirrors nothing of the screen is no defect where it reaches the
// outline, is larger than this, and mirrors less than this share of what the best does (common
// practice, no source).
const (
	partMM     = 0.25
	partMM2    = 4.0
	darkShare  = 0.3
	partDeepMM = 1.2 // and where it reaches deeper than a rim does, waves bend the screen's edge:
	partEdgeMM = 0.8 // so much along it is left out
)

// pieces are the sets of neighbouring pixels of a mask, 8 neighbours each.
func pieces(mask []bool, w int) [][]int {
	done := make([]bool, len(mask))
	var out [][]int
	h := len(mask) / w
	for s, yes := range mask {
		if !yes || done[s] {
			continue
		}
		done[s] = true
		piece := []int{s}
		for k := 0; k < len(piece); k++ {
			x, y := piece[k]%w, piece[k]/w
			for dy := -1; dy <= 1; dy++ {
				for dx := -1; dx <= 1; dx++ {
					if u, v := x+dx, y+dy; u >= 0 && v >= 0 && u < w && v < h && mask[v*w+u] && !done[v*w+u] {
						done[v*w+u] = true
						piece = append(piece, v*w+u)
					}
				}
			}
		}
		out = append(out, piece)
	}
	return out
}

// OtherLightLimit is the share of the white screen's light above which other lamps are on
// (common practice, no source).
const OtherLightLimit = 0.3

// OtherLight is how much light a face has before the black screen, against the white one's: 0
// where no other lamp is on and the screen is dark. Both pictures must be of one size.
func OtherLight(black, white *part.Image, outline []part.Point) float64 {
	if black.W != white.W || black.H != white.H || black.C != white.C || len(outline) == 0 {
		return 0
	}
	x0, y0, w, h := region(outline, white.W, white.H, 1)
	var b, all float64
	const grid = 50
	for k := range grid * grid {
		x, y := x0+w*(k%grid)/grid, y0+h*(k/grid)/grid
		if (part.Point{X: float64(x), Y: float64(y)}).Inside(outline) {
			for c := range white.C {
				i := (y*white.W+x)*white.C + c
				b, all = b+linear(black, i), all+linear(white, i)
			}
		}
	}
	if all == 0 {
		return 0
	}
	return b / all
}
