package stripes

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"finishbench/internal/part"
	"finishbench/internal/robust"
)

// What is held against the stripes' amplitude before pictures are believed (common
// practice, no source).
const (
	oddLimit     = 0.5  // of light in no phase, over what noise makes of it
	betweenLimit = 0.5  // of the two directions' mean light, likewise
	noiseLimit   = 1.2  // noise of a pixel
	evenEnough   = 0.15 // a picture whose light is off by this share of the amplitude everywhere: a lamp or a dimming screen
)

// consistency tells whether the pictures belong together, over the pixels inside.
func (f *frames) consistency(inside []bool) Consistency {
	var out Consistency
	var amp, noise []float64
	var means [2][]float64
	for d := range f.by {
		by := &f.by[d]
		var odd []float64
		for i, in := range inside {
			if in {
				odd = append(odd, float64(by.odd.V[i]))
				amp = append(amp, cmplx.Abs(by.z.at(i)))
				means[d] = append(means[d], float64(by.mean.V[i]))
			}
		}
		mid := robust.Nth(odd, len(odd)/2)
		out.Odd[d] = 4 * math.Abs(mid)
		for i := range odd {
			odd[i] = math.Abs(odd[i] - mid)
		}
		noise = append(noise, 2*1.4826*robust.Nth(odd, len(odd)/2)) // a quarter of the sum of four has half one's deviation
	}
	diff := make([]float64, len(means[0]))
	for i := range diff {
		diff[i] = means[0][i] - means[1][i]
	}
	a := max(robust.Nth(amp, len(amp)/2), 1e-9)
	out.Between = math.Abs(robust.Nth(diff, len(diff)/2)) / a
	for d := range out.Odd {
		out.Odd[d] /= a
	}
	out.Noise = max(noise[0], noise[1]) / a
	return out
}

// check says why pictures cannot be believed; nil where they can.
func (c Consistency) check() error {
	for d, v := range c.Odd {
		if v > evenEnough*4 {
			return fmt.Errorf("stripes: the four pictures along %c do not belong to one screen: their light differs by %.0f %% of the stripes' own; see that no other lamp is switched, that the screen neither dims nor sleeps, and take them again", 'x'+rune(d), 100*v)
		}
	}
	if c.Between > evenEnough*4 {
		return fmt.Errorf("stripes: the pictures along x and along y differ in light by %.0f %% of the stripes' own: a lamp was switched between them, or the screen dimmed; take all again", 100*c.Between)
	}
	if c.Noise > noiseLimit {
		return errors.New("stripes: what is mirrored is lost in the noise, or the four phases are not in order, or something moved between them; see that the screen is seen mirrored in the faceplate, that its pictures are named by their phase, and expose longer")
	}
	return nil
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
	out := slices.Clone(face)
	for _, piece := range pieces(dark, f.w) {
		touches := slices.ContainsFunc(piece, func(i int) bool { return m.Depth.V[i] < 2 })
		if touches && float64(len(piece))*m.MMPX*m.MMPX > partMM2 {
			for _, i := range piece {
				out[i] = false
			}
		}
	}
	return out
}

// A part of the face that mirrors nothing of the screen is no defect where it reaches the
// outline, is larger than this, and mirrors less than this share of what the best does (common
// practice, no source).
const (
	partMM    = 0.25
	partMM2   = 4.0
	darkShare = 0.3
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
