package defects

import (
	"math"
	"slices"

	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// sceneFace is a scene made ready for the search. Planes are in search pixels over
// the surface's region.
type sceneFace struct {
	scene    []Picture
	p        Params
	factor   int     // full-resolution pixels in a search pixel, per side
	shape    int     // full-resolution pixels in a shape pixel, per side
	mmPX     float64 // a search pixel's side
	surf     *surface
	channels []channel
	open     []uint8      // per pixel: bit k is set where picture k of the scene may be searched
	why      [][]part.Why // per picture and pixel: why it may not; nil where it may everywhere
	grid     cellGrid
	points   []int // an even sample of the face's pixels

	rim   *rim          // the unrolled rim; nil: a panel or a shell
	gain  []*part.Plane // per picture: what makes up for less light on the paint, or more doubt; nil: a panel, or 1 all over a shell
	peel  peel          // what mirrored lamps' edges tell
	weak  []*part.Plane // per picture, until its peel is judged: beyondPaint's, where no lamp changes it; nil: where one does
	apart bool          // the pictures do not show one surface in one place
	told  []string      // warnings of how they lie and what they show

	lensPX, uLensPX float64 // what the lens blurs by, full-resolution pixels

	clear      bool         // a see-through shell
	openInside []uint8      // of a see-through shell: open as it was before parts inside were closed
	normals    [][2]float64 // of a shell, per cell of the grid: see normalsOn
}

// prepare makes a face of a scene: registration, surface, channels, what may be
// searched in which picture, base.
func prepare(scene []Picture, p Params, panel bool) (*sceneFace, error) {
	f := &sceneFace{scene: slices.Clone(scene), p: p}
	f.factor, f.shape = p.factors()
	f.mmPX = p.MMPerPX * float64(f.factor)
	f.setLens()
	w, h := scene[0].Image.W/f.factor, scene[0].Image.H/f.factor
	if panel {
		f.registerPanel()
		f.surf = wholeSurface(w, h)
	} else {
		if p.Shell != nil {
			f.p.FalsePerFace /= shellTurns
			var err error
			if f.p.Outline, err = f.shellRegion(); err != nil {
				return nil, err
			}
		}
		outline, err := f.registerFace()
		if err != nil {
			return nil, err
		}
		f.surf = surfaceWithin(outline.points, outline.middle, f.factor, w, h)
	}
	if f.apart {
		return f, nil
	}
	f.grid = newCellGrid(f.surf.w, f.surf.h, max(6, int(p.CellMM/f.mmPX+0.5)))
	if p.Shell != nil {
		f.normals = f.normalsOn(f.grid)
	}
	if err := f.loadChannels(); err != nil {
		return nil, err
	}
	f.points = f.samplePoints(f.surf.dist, f.deep())
	if err := f.levelBase(nil); err != nil {
		return nil, err
	}
	if !panel && p.Shell == nil {
		if err := f.leaveShell(); err != nil {
			return nil, err
		}
	}
	return f, f.openUp()
}

// deep is the depth, in search pixels, from which on the rim plays no part.
func (f *sceneFace) deep() float32 {
	if f.surf.all || f.p.Shell != nil {
		return 0
	}
	return float32(f.p.RimMM / f.mmPX)
}

// levelBase fits each channel's base to what no lamp is mirrored over (nil: no
// lamps are known yet).
func (f *sceneFace) levelBase(lamps []lamp) error {
	for k := range f.channels {
		ch := &f.channels[k]
		dist := f.surf.dist
		if lamps != nil && lamps[ch.pic].any {
			l := &lamps[ch.pic]
			dist = part.NewPlane(dist.W, dist.H)
			for i, d := range f.surf.dist.V {
				if !l.core[i] && !l.edge[i] {
					dist.V[i] = d
				}
			}
		} else if ch.base != nil {
			continue
		}
		var err error
		if ch.base, err = f.grid.newSpread(f.smoothLight(f.grid.medians(ch.smooth, dist, f.deep())), f.surf.w, f.surf.h); err != nil {
			return err
		}
		if f.p.Shell != nil {
			if err := f.levelShell(ch, dist); err != nil {
				return err
			}
		}
	}
	f.learnPaint()
	return nil
}

// samplePoints picks an even sample of the pixels deeper than from.
func (f *sceneFace) samplePoints(dist *part.Plane, from float32) []int {
	const want = 12000
	n := 0
	for _, d := range dist.V {
		if d > from {
			n++
		}
	}
	step := max(1, n/want)
	points := make([]int, 0, n/step+1)
	k := 0
	for i, d := range dist.V {
		if d > from {
			if k%step == 0 {
				points = append(points, i)
			}
			k++
		}
	}
	return points
}

// channelNoise returns a channel's noise and median level. Noise is told from
// each pixel's difference to the mean of four others nearby, whose variance is
// 5/4 of the pixels' own where they are independent.
func (f *sceneFace) channelNoise(ch channel) (noise, level float64) {
	w, s := f.surf.w, ch.smooth
	reach := max(2, int(0.06/f.mmPX+0.5))
	d, v := make([]float64, 0, len(f.points)), make([]float64, 0, len(f.points))
	for _, i := range f.points {
		x, y := i%w, i/w
		if x < reach || y < reach || x >= w-reach || y >= f.surf.h-reach {
			continue
		}
		m := (s.V[i-reach] + s.V[i+reach] + s.V[i-reach*w] + s.V[i+reach*w]) / 4
		d = append(d, math.Abs(float64(s.V[i]-m)))
		v = append(v, float64(s.V[i]))
	}
	level = median(v)
	noise = max(madToSD*median(d)/math.Sqrt(1.25), 0.003*level, 1e-5)
	if im := f.scene[ch.pic].Image; im.Pix8 != nil {
		noise = math.Hypot(noise, quantumShare*quantum(level))
	}
	return noise, level
}

// quantumShare is the standard deviation, in 8-bit levels, of what rounding leaves of a
// level after smoothing: 1/sqrt(12) where neighbours are rounded alike, less where noise
// sets them apart (common practice, no source).
const quantumShare = 0.2

// quantum is an 8-bit level's step in linear light, at a light.
func quantum(light float64) float64 {
	g := optics.LinearToSRGB(light)
	return (optics.SRGBToLinear(g+1.0/255) - optics.SRGBToLinear(max(0, g-1.0/255))) / 2
}

// learn measures each channel's noise and base level and learns the palette.
func (f *searchFace) learn() error {
	f.setRimPixels()
	nc := len(f.channels)
	f.noise = make([]float64, nc)
	for c := range f.channels {
		f.noise[c], f.channels[c].level = f.channelNoise(f.channels[c])
	}
	for c := 0; c+2 < nc; c++ {
		if f.channels[c].pic == f.channels[c+2].pic && (c == 0 || f.channels[c-1].pic != f.channels[c].pic) {
			f.colour = append(f.colour, [3]int{c, c + 1, c + 2})
		}
	}
	some := f.samples(nil)
	f.learnFlakes()
	var lights [][]int
	if f.sparkles {
		for pic := range f.scene {
			lights = append(lights, f.planesOf(pic))
		}
	}
	var err error
	f.pal, err = learnPalette(some, f.noise, f.levels(), f.colour, min(maxPigments, nc/2), lights)
	return err
}

// samples returns the sampled pixels' deviations from base, of those whose
// weight is not 0 (nil: all).
func (f *searchFace) samples(weight *part.Plane) []sample {
	nc := len(f.channels)
	out := make([]sample, 0, len(f.points))
	all := make([]float64, nc*len(f.points))
	for _, i := range f.points {
		if weight != nil && weight.V[i] == 0 {
			continue
		}
		dev := all[len(out)*nc : (len(out)+1)*nc]
		for c, ch := range f.channels {
			dev[c] = float64(ch.smooth.V[i] - ch.base.V[i])
		}
		out = append(out, sample{dev: dev, cell: f.cellOf(i)})
	}
	return out
}

// cellOf is the cell of the grid in which a search pixel lies.
func (f *sceneFace) cellOf(i int) int {
	return i/f.surf.w/f.grid.cell*f.grid.nx + i%f.surf.w/f.grid.cell
}

// levels are the channels' medians over the face.
func (f *searchFace) levels() []float64 {
	b := make([]float64, len(f.channels))
	for c, ch := range f.channels {
		b[c] = ch.level
	}
	return b
}

// valuesAt returns a plane's values at the sampled points.
func (f *sceneFace) valuesAt(p *part.Plane) []float64 {
	v := make([]float64, len(f.points))
	for k, i := range f.points {
		v[k] = float64(p.V[i])
	}
	return v
}

// madToSD turns the median absolute deviation of a normal sample into its
// standard deviation: 1 over the normal quantile of 3/4.
const madToSD = 1.4826

// median returns the middle of v, 0 for none. It reorders v.
func median[T float32 | float64](v []T) T { return quantile(v, 0.5) }

// quantile returns the value below which the share q of v lies, 0 for none. It
// reorders v.
func quantile[T float32 | float64](v []T, q float64) T {
	if len(v) == 0 {
		return 0
	}
	return robust.Nth(v, rank(v, q))
}

// quantiles returns two of them at once, low <= high.
func quantiles[T float32 | float64](v []T, low, high float64) (T, T) {
	if len(v) == 0 {
		return 0, 0
	}
	k := rank(v, high)
	most := robust.Nth(v, k)
	return robust.Nth(v[:k+1], rank(v, low)), most
}

func rank[T any](v []T, q float64) int { return min(len(v)-1, int(q*float64(len(v)))) }
