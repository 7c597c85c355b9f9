// Package pattern learns what a faceplate's own pattern looks like: the directions in which it varies, in the space of all channels.
// Paint and stone look alike in both lights, and partly covered pixels mix linearly, so a two-colour pattern is a line in that space. What
// lies off that line is no pattern; the directions left over, whitened by noise, are those in which a defect shows. Values are in linear
// light. Pure Go.
package pattern

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"finishbench/internal/lang"
	"finishbench/internal/optics"
	"finishbench/internal/part"

	"gonum.org/v1/gonum/mat"
)

// QuantumShare is the standard deviation, in 8-bit levels, of what rounding leaves of a
// level after smoothing: 1/sqrt(12) where neighbours are rounded alike, less where noise
// sets them apart (common practice, no source).
const QuantumShare = 0.2

// Quantum is an 8-bit level's step in linear light, at a light.
func Quantum(light float64) float64 {
	g := optics.LinearToSRGB(light)
	return (optics.SRGBToLinear(g+1.0/255) - optics.SRGBToLinear(max(0, g-1.0/255))) / 2
}

// Palette is what the faceplate itself looks like in the space of all channels:
// its noise, the directions of its own pattern, and the directions left over in
// which a defect shows.
type Palette struct {
	noise      []float64   // per channel: standard deviation of the smoothed noise
	Directions [][]float64 // orthonormal directions of the pattern, in units of noise
	Left       [][]float64 // rows: from (value - base) per channel to unit-noise response
	Coding     [][]float64 // how a JPEG's quantising moves the channels, linear light
	Axes       [][]float64 // rows: from (value - base) per channel to the pattern's coordinate
}

// FarNorm is how many noise units off a pixel must be to count as pattern;
// activeShare of a cell's pixels off make it active, and a pattern is what is
// active in activeCells of the cells. A defect is somewhere, a pattern is all over.
const (
	FarNorm        = 12.0
	activeShare    = 0.01
	activeCells    = 0.35
	capNorm        = 30.0
	MostDirections = 3
)

// Sample is one pixel's deviation from base in all channels, and its cell.
type Sample struct {
	Dev  []float64
	Cell int
}

// Learn learns from samples of the face. noise is per channel, base the
// face's level per channel (linear light), colourOf groups channels by picture, most is how many directions a pattern may
// take. lights are the channels of each picture where a pattern shines in one of
// them at a time, and each of its directions is of one picture; nil where it looks alike in all.
func Learn(samples []Sample, noise, base []float64, colourOf [][3]int, most int, lights [][]int) (*Palette, error) {
	nc := len(noise)
	if len(samples) < 50*nc {
		return nil, lang.Error(part.Say("defects.few_pixels", "n", strconv.Itoa(len(samples))))
	}
	p := &Palette{noise: noise}
	z := make([][]float64, len(samples))
	all := make([]float64, nc*len(samples))
	for i, s := range samples {
		z[i] = all[i*nc : (i+1)*nc]
		for c := range nc {
			z[i][c] = s.Dev[c] / noise[c]
		}
	}
	for range most {
		if !isPattern(z, samples) {
			break
		}
		v, err := mainDirection(z, lights)
		if err != nil {
			return nil, err
		}
		p.Directions = append(p.Directions, v)
		for i := range z {
			d := Dot(z[i], v)
			for c := range z[i] {
				z[i][c] -= d * v[c]
			}
		}
	}
	for _, v := range p.Directions {
		row := make([]float64, nc)
		for c := range nc {
			row[c] = v[c] / noise[c]
		}
		p.Axes = append(p.Axes, row)
	}
	return p, p.whiten(z, base, colourOf)
}

// isPattern says whether what is far from base is spread all over the face.
func isPattern(z [][]float64, samples []Sample) bool {
	all, far := map[int]int{}, map[int]int{}
	for i := range z {
		all[samples[i].Cell]++
		if Norm(z[i]) > FarNorm {
			far[samples[i].Cell]++
		}
	}
	cells, active := 0, 0
	for c, n := range all {
		if n < 20 {
			continue
		}
		cells++
		if float64(far[c]) > activeShare*float64(n) {
			active++
		}
	}
	return cells > 0 && float64(active) > activeCells*float64(cells)
}

// mainDirection is the first principal direction of the deviations, each capped
// in length so that few far ones do not decide; with lights, within the channels of
// one of them.
func mainDirection(z [][]float64, lights [][]int) ([]float64, error) {
	nc := len(z[0])
	c := mat.NewSymDense(nc, nil)
	for _, v := range z {
		n := Norm(v)
		w := 1.0
		if n > capNorm {
			w = capNorm / n
		}
		addOuter(c, v, w*w)
	}
	if lights == nil {
		all := make([]int, nc)
		for k := range all {
			all[k] = k
		}
		lights = [][]int{all}
	}
	out, most := make([]float64, nc), -1.0
	for _, l := range lights {
		own := mat.NewSymDense(len(l), nil)
		for i := range l {
			for j := i; j < len(l); j++ {
				own.SetSym(i, j, c.At(l[i], l[j]))
			}
		}
		val, vec, err := eigen(own)
		if err != nil {
			return nil, err
		}
		if top := len(l) - 1; val[top] > most {
			most = val[top]
			clear(out)
			for i, k := range l {
				out[k] = vec.At(i, top)
			}
		}
	}
	return out, nil
}

// whiten fills left from the quiet samples' covariance after the pattern is
// taken off, with a floor: the colour differences of a JPEG come in steps of
// about one level, and what looks like no noise at all is only not resolved.
func (p *Palette) whiten(z [][]float64, base []float64, colourOf [][3]int) error {
	nc := len(p.noise)
	norms := make([]float64, len(z))
	for i := range z {
		norms[i] = Norm(z[i])
	}
	sorted := slices.Clone(norms)
	slices.Sort(sorted)
	quiet := sorted[len(sorted)*9/10]
	c := mat.NewSymDense(nc, nil)
	n := 0
	for i := range z {
		if norms[i] <= quiet {
			addOuter(c, z[i], 1)
			n++
		}
	}
	c.ScaleSym(1/float64(n), c)
	p.Coding = codingNoise(base, colourOf)
	for k, linear := range p.Coding {
		if k%3 == 0 {
			continue // light has noise of its own
		}
		f := make([]float64, nc)
		for k := range f {
			f[k] = linear[k] / p.noise[k]
		}
		for _, v := range p.Directions {
			d := Dot(f, v)
			for k := range f {
				f[k] -= d * v[k]
			}
		}
		addOuter(c, f, 1)
	}
	val, vec, err := eigen(c)
	if err != nil {
		return err
	}
	for k := nc - 1; k >= len(p.Directions); k-- { // the smallest ones are the pattern's own directions
		if val[k] < 1e-6*val[nc-1] {
			continue
		}
		row := make([]float64, nc)
		for i := range nc {
			row[i] = vec.At(i, k) / math.Sqrt(val[k]) / p.noise[i]
		}
		p.Left = append(p.Left, row)
	}
	return nil
}

// codingSteps are the standard deviations, in 8-bit levels, of what a JPEG's
// quantising alone leaves in its light and its two colour differences (common
// practice, no source). Colour steps come in patches of 8 to 16 pixels, here and
// there, so that most of a face looks as if it had none.
var codingSteps = [3]float64{0.12, 0.4, 0.4}

// codingNoise returns, for each colour picture, how quantising its light and
// its two colour differences moves the channels, in linear light, one standard
// deviation each. Coefficients: ITU-R BT.601 full range (JFIF 1.02).
func codingNoise(base []float64, colourOf [][3]int) [][]float64 {
	var out [][]float64
	for _, ch := range colourOf {
		for k, d := range [3][3]float64{{1, 1, 1}, {0, -0.344, 1.772}, {1.402, -0.714, 0}} {
			f := make([]float64, len(base))
			for i, c := range ch {
				f[c] = d[i] * codingSteps[k] * Quantum(base[c])
			}
			out = append(out, f)
		}
	}
	return out
}

// CodingFloor is the standard deviation that a row's value has from quantising
// the light and the colours, and what of each a size lets through.
func CodingFloor(row []float64, coding [][]float64, light, colour float64) float64 {
	s := 0.0
	for k, f := range coding {
		d := Dot(row, f) * colour
		if k%3 == 0 {
			d = Dot(row, f) * light
		}
		s += d * d
	}
	return math.Sqrt(s)
}

func eigen(c *mat.SymDense) ([]float64, *mat.Dense, error) {
	var e mat.EigenSym
	if !e.Factorize(c, true) {
		return nil, nil, fmt.Errorf("defects: the face's colours have no principal directions")
	}
	var vec mat.Dense
	e.VectorsTo(&vec)
	return e.Values(nil), &vec, nil
}

func addOuter(c *mat.SymDense, v []float64, w float64) {
	for i := range v {
		for j := i; j < len(v); j++ {
			c.SetSym(i, j, c.At(i, j)+w*v[i]*v[j])
		}
	}
}

// Dot is the scalar product of two vectors of one length.
func Dot(a, b []float64) float64 {
	s := 0.0
	for i := range a {
		s += a[i] * b[i]
	}
	return s
}

// Norm is a vector's length.
func Norm(a []float64) float64 { return math.Sqrt(Dot(a, a)) }
