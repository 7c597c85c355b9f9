package stripes

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strconv"

	"finishbench/internal/lang"
	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"

	"golang.org/x/sync/errgroup"
)

// Phases is how many pictures there are of each direction: at 0, 90, 180 and 270 degrees. A
// short set has no fourth.
const (
	Phases      = 4
	threePhases = 3
)

// Lights are the lights of the eight pictures, those of x first. A short set has the first three
// of each direction.
var Lights = [2][Phases]part.Light{
	{part.StripesX0, part.StripesX1, part.StripesX2, part.StripesX3},
	{part.StripesY0, part.StripesY1, part.StripesY2, part.StripesY3},
}

// frames are the eight pictures, or a short set's six, in linear light, all colours weighed by how little noise
// they have, taken together by direction and averaged over bin x bin pixels of a part of
// the picture.
type frames struct {
	x0, y0, w, h, bin int // the part begins at x0, y0, full-resolution pixels
	phases            int // Phases or threePhases
	by                [2]buckets
	clipped           []bool         // in any of them
	beyond            []bool         // the screen's image ends near by, or is not there, deeper than a rim is; nil: nowhere
	amp               float64        // middle amplitude of the stripes, and
	soft              [2]*part.Plane // the odd light averaged over some pixels: see consistency
}

// buckets are what four phases I0 to I3 give, or three, each averaged over a bin.
type buckets struct {
	z      *phasor     // (I0 - I2) / 2 and (I3 - I1) / 2; of three, mean - I1
	mean   *part.Plane // of the four; of three, (I0 + I2) / 2
	odd    *part.Plane // (I0 - I1 + I2 - I3) / 4: light that is in no phase; of three, half of what the two directions' means differ by
	energy *part.Plane // |z|^2 of single pixels, what noise adds taken off by the odd light's
}

// phaseNoise is the noise variance of a phasor's real or imaginary part, their mean, over the odd
// light's. A picture's noise of variance v gives the odd light v/4; four phases give v/2 in
// each part, three give v/2 and 3 v/2.
func (f *frames) phaseNoise() float64 {
	if f.phases == threePhases {
		return 4
	}
	return 2
}

// region is the part of a picture that holds an outline, in whole bins.
func region(outline []part.Point, w, h, bin int) (x0, y0, cols, rows int) {
	lox, loy, hix, hiy := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, q := range outline {
		lox, loy, hix, hiy = min(lox, q.X), min(loy, q.Y), max(hix, q.X), max(hiy, q.Y)
	}
	x0, y0 = max(0, int(lox)-2*bin), max(0, int(loy)-2*bin)
	return x0, y0, (min(w, int(hix)+2*bin) - x0) / bin, (min(h, int(hiy)+2*bin) - y0) / bin
}

// phasesOf is how many phases of each direction a set has: a short one has neither fourth.
func phasesOf(images map[part.Light]*part.Image) int {
	if images[part.StripesX3] == nil && images[part.StripesY3] == nil {
		return threePhases
	}
	return Phases
}

// load reads the pictures; jobs at a time.
func load(images map[part.Light]*part.Image, outline []part.Point, bin, jobs int) (*frames, error) {
	f := &frames{bin: bin, phases: phasesOf(images)}
	var first *part.Image
	for _, of := range Lights {
		for _, l := range of[:f.phases] {
			im := images[l]
			if im == nil {
				return nil, lang.Error(part.Say("stripes.err.missing", "light", string(l)))
			}
			if err := im.Validate(); err != nil {
				return nil, fmt.Errorf("stripes: %s: %w", l, err)
			}
			if first == nil {
				first = im
			} else if im.W != first.W || im.H != first.H || im.C != first.C {
				return nil, lang.Error(part.Say("stripes.err.sizes", "light", string(l), "width_px", strconv.Itoa(im.W), "height_px",
					strconv.Itoa(im.H), "colours", strconv.Itoa(im.C), "other_width_px", strconv.Itoa(first.W), "other_height_px", strconv.Itoa(first.H), "other_colours", strconv.Itoa(first.C)))
			}
		}
	}
	for i := range 2 * f.phases {
		for k := range i {
			a, b := Lights[k/f.phases][k%f.phases], Lights[i/f.phases][i%f.phases]
			if slices.Equal(images[a].Pix8, images[b].Pix8) && slices.Equal(images[a].Pix16, images[b].Pix16) {
				return nil, lang.Error(part.Say("stripes.err.same", "a", string(a), "b", string(b)))
			}
		}
	}
	for _, q := range outline {
		if !(math.Abs(q.X) < 1e6 && math.Abs(q.Y) < 1e6) {
			return nil, lang.Error(part.Say("stripes.err.point", "x", fmt.Sprint(q.X), "y", fmt.Sprint(q.Y)))
		}
	}
	if len(outline) < 3 {
		return nil, lang.Error(part.Say("stripes.err.few_points", "n", strconv.Itoa(len(outline))))
	}
	f.x0, f.y0, f.w, f.h = region(outline, first.W, first.H, bin)
	if f.w < 16 || f.h < 16 {
		return nil, lang.Error(part.Say("stripes.err.small"))
	}
	f.clipped = make([]bool, f.w*f.h)
	weight := f.weights(images)
	var all errgroup.Group
	all.SetLimit(max(1, jobs))
	for d, of := range Lights {
		b := &f.by[d]
		*b = buckets{z: newPhasor(f.w, f.h), mean: part.NewPlane(f.w, f.h), odd: part.NewPlane(f.w, f.h), energy: part.NewPlane(f.w, f.h)}
		var own, other []*part.Image
		for k, l := range of[:f.phases] {
			own, other = append(own, images[l]), append(other, images[Lights[1-d][k]])
		}
		clipped := make([]bool, f.w*f.h)
		all.Go(func() error { f.fill(b, own, other, weight, clipped); return nil })
		defer func() {
			for i, v := range clipped {
				f.clipped[i] = f.clipped[i] || v
			}
		}()
	}
	return f, all.Wait()
}

// weights are the shares of the colours, by one over the variance of the odd light, which
// holds noise alone.
func (f *frames) weights(images map[part.Light]*part.Image) []float64 {
	type signed struct {
		im   *part.Image
		sign float64
	}
	var odd []signed
	if f.phases == threePhases {
		for d, of := range Lights {
			odd = append(odd, signed{images[of[0]], float64(1 - 2*d)}, signed{images[of[2]], float64(1 - 2*d)})
		}
	} else {
		for k, l := range Lights[0] {
			odd = append(odd, signed{images[l], float64(1 - 2*(k%2))})
		}
	}
	first := odd[0].im
	w := make([]float64, first.C)
	sum := 0.0
	for c := range w {
		var d []float64
		for y := 0; y < f.h*f.bin; y += 5 {
			for x := 0; x < f.w*f.bin; x += 5 {
				i := ((f.y0+y)*first.W+f.x0+x)*first.C + c
				s := 0.0
				for _, o := range odd {
					s += o.sign * linear(o.im, i)
				}
				d = append(d, math.Abs(s))
			}
		}
		sd := robust.Nth(d, len(d)/2) + 1e-4
		w[c] = 1 / (sd * sd)
		sum += w[c]
	}
	for c := range w {
		w[c] /= sum
	}
	return w
}

func linear(im *part.Image, i int) float64 {
	if im.Pix16 != nil {
		return float64(optics.Linear16()[im.Pix16[i]])
	}
	return float64(optics.Linear8()[im.Pix8[i]])
}

// fill takes the pictures of a direction together; with I_k = B + A cos(phi + k 90
// degrees), I0 - I2 = 2 A cos(phi) and I3 - I1 = 2 A sin(phi) (the four-bucket method,
// Bruning et al. 1974, Applied Optics 13, 2693); without I3, B = (I0 + I2)/2 and B - I1 = A sin(phi), and the other
// direction's pictures tell B as well. Noise in |z|^2 has the mean of both parts' variances: see phaseNoise.
func (f *frames) fill(b *buckets, of, other []*part.Image, weight []float64, clipped []bool) {
	share := make([]float32, len(weight))
	for c, w := range weight {
		share[c] = float32(w)
	}
	inv := 1 / float32(f.bin*f.bin)
	three := f.phases == threePhases
	if three {
		of = []*part.Image{of[0], of[1], of[2], other[0], other[2]}
	}
	rows := make([][]float32, len(of))
	full := make([]bool, f.w*f.bin)
	for k := range rows {
		rows[k] = make([]float32, f.w*f.bin)
	}
	noise := float32(2 * f.phaseNoise())
	for y := range f.h * f.bin {
		clear(full)
		for k, im := range of {
			lightRow(rows[k], full, im, f.x0, f.y0+y, share)
		}
		at := y / f.bin * f.w
		for x, i0 := range rows[0] {
			i1, i2, i3 := rows[1][x], rows[2][x], rows[3][x]
			re, im, odd, mean := (i0-i2)/2, (i3-i1)/2, (i0-i1+i2-i3)/4, (i0+i1+i2+i3)/4
			if three {
				mean = (i0 + i2) / 2
				im, odd = mean-i1, (mean-(i3+rows[4][x])/2)/2
			}
			j := at + x/f.bin
			b.z.re.V[j] += re * inv
			b.z.im.V[j] += im * inv
			b.odd.V[j] += odd * inv
			b.mean.V[j] += mean * inv
			b.energy.V[j] += (re*re + im*im - noise*odd*odd) * inv
			clipped[j] = clipped[j] || full[x]
		}
	}
}

// lightRow fills a row with the light of one of a picture's, from column x0 on, and marks
// what is at full scale.
func lightRow(to []float32, full []bool, im *part.Image, x0, y int, share []float32) {
	at := (y*im.W + x0) * im.C
	if im.Pix16 != nil {
		t := optics.Linear16()
		for x := range to {
			s := float32(0)
			for c, k := range share {
				v := im.Pix16[at+c]
				s += k * t[v]
				full[x] = full[x] || v >= 65000 && k > 0.1
			}
			to[x], at = s, at+im.C
		}
		return
	}
	t := optics.Linear8()
	if im.C == 3 {
		a, b, d := share[0], share[1], share[2]
		for x := range to {
			p := im.Pix8[at : at+3 : at+3]
			to[x], at = a*t[p[0]]+b*t[p[1]]+d*t[p[2]], at+3
			if p[0] >= 254 && a > 0.1 || p[1] >= 254 && b > 0.1 || p[2] >= 254 && d > 0.1 {
				full[x] = true
			}
		}
		return
	}
	for x := range to {
		v := im.Pix8[at+x]
		to[x], full[x] = t[v], full[x] || v >= 254
	}
}

// Consistency is whether eight pictures belong together. What a fault adds is told
// against the amplitude of the stripes.
type Consistency struct {
	ThreePhases bool       // three phases of each direction, not four
	Odd         [2]float64 // light that is in no one phase: |I0 - I1 + I2 - I3| over the amplitude, median; 0 but for noise, and of three phases
	Between     float64    // |mean over x - mean over y| over the amplitude, median
	Noise       float64    // of one picture's pixel, standard deviation, over the amplitude
	Bias        [2]float64 // of the phase by light that is not in all four pictures alike, radians,
	UBias       [2]float64 // its standard uncertainty,
	BiasKnown   [2]bool    // and whether they could be measured
	MovedPX     float64    // farthest that any two pictures show the unit apart, full-resolution pixels, NaN: not measured
	UMovedPX    float64
}

// amplitude is the middle amplitude of the stripes where in holds.
func (b *buckets) amplitude(in []bool) float64 {
	var v []float64
	for i, yes := range in {
		if yes && i%3 == 0 {
			v = append(v, cmplx.Abs(b.z.at(i)))
		}
	}
	return robust.Quantile(v, 0.5)
}
