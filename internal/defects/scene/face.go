package scene

import (
	"math"
	"slices"

	"finishbench/internal/defects/pattern"
	"finishbench/internal/defects/raster"
	"finishbench/internal/defects/shape"
	"finishbench/internal/defects/surface"
	"finishbench/internal/part"
)

// Face is a scene made ready for the search. Planes are in search pixels over
// the surface's region.
type Face struct {
	Pictures    []Picture
	Params      Params
	Factor      int     // full-resolution pixels in a search pixel, per side
	ShapeFactor int     // full-resolution pixels in a shape pixel, per side
	MMPX        float64 // a search pixel's side
	Surface     *surface.Surface
	Channels    []Channel
	Open        []uint8      // per pixel: bit k is set where picture k of the scene may be searched
	Why         [][]part.Why // per picture and pixel: why it may not; nil where it may everywhere
	Grid        raster.Grid
	Points      []int // an even sample of the face's pixels

	Rim      *Rim          // the unrolled rim; nil: a panel or a shell
	Gain     []*part.Plane // per picture: what makes up for less light on the paint, or more doubt; nil: a panel, or 1 all over a shell
	Peel     Peel          // what mirrored lamps' edges tell
	weak     []*part.Plane // per picture, until its peel is judged: beyondPaint's, where no lamp changes it; nil: where one does
	Apart    bool          // the pictures do not show one surface in one place
	Warnings []part.Phrase // warnings of how they lie and what they show

	LensPX, ULensPX float64 // what the lens blurs by, full-resolution pixels

	SeeThrough bool         // a see-through shell
	OpenInside []uint8      // of a see-through shell: open as it was before parts inside were closed
	normals    [][2]float64 // of a shell, per cell of the grid: see normalsOn
}

// Prepare makes a face of a scene: registration, surface, channels, what may be
// searched in which picture, base.
func Prepare(pictures []Picture, p Params, panel bool) (*Face, error) {
	f := &Face{Pictures: slices.Clone(pictures), Params: p}
	f.Factor, f.ShapeFactor = p.factors()
	f.MMPX = p.MMPerPX * float64(f.Factor)
	f.setLens()
	w, h := pictures[0].Image.W/f.Factor, pictures[0].Image.H/f.Factor
	if panel {
		f.registerPanel()
		f.Surface = surface.Whole(w, h)
	} else {
		if p.Shell != nil {
			f.Params.FalsePerFace /= shellTurns
			var err error
			if f.Params.Outline, err = f.shellRegion(); err != nil {
				return nil, err
			}
		}
		outline, err := f.registerFace()
		if err != nil {
			return nil, err
		}
		f.Surface = surface.Within(outline.points, outline.middle, f.Factor, w, h)
	}
	if f.Apart {
		return f, nil
	}
	f.Grid = raster.NewGrid(f.Surface.W, f.Surface.H, max(6, int(p.CellMM/f.MMPX+0.5)))
	if p.Shell != nil {
		f.normals = f.normalsOn(f.Grid)
	}
	if err := f.loadChannels(); err != nil {
		return nil, err
	}
	f.Points = f.SamplePoints(f.Surface.Dist, f.RimPX())
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

// RimPX is the depth, in search pixels, from which on the rim plays no part.
func (f *Face) RimPX() float32 {
	if f.Surface.All || f.Params.Shell != nil {
		return 0
	}
	return float32(f.Params.RimMM / f.MMPX)
}

// levelBase fits each channel's base to what no lamp is mirrored over (nil: no
// lamps are known yet).
func (f *Face) levelBase(lamps []lamp) error {
	for k := range f.Channels {
		ch := &f.Channels[k]
		dist := f.Surface.Dist
		if lamps != nil && lamps[ch.Pic].any {
			l := &lamps[ch.Pic]
			dist = part.NewPlane(dist.W, dist.H)
			for i, d := range f.Surface.Dist.V {
				if !l.core[i] && !l.edge[i] {
					dist.V[i] = d
				}
			}
		} else if ch.Base != nil {
			continue
		}
		var err error
		if ch.Base, err = f.Grid.Spread(f.smoothLight(f.Grid.Medians(ch.Light, dist, f.RimPX())), f.Surface.W, f.Surface.H); err != nil {
			return err
		}
		if f.Params.Shell != nil {
			if err := f.levelShell(ch, dist); err != nil {
				return err
			}
		}
	}
	f.learnPaint()
	return nil
}

// SamplePoints picks an even sample of the pixels deeper than from.
func (f *Face) SamplePoints(dist *part.Plane, from float32) []int {
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

// ChannelNoise returns a channel's noise and median level. Noise is told from
// each pixel's difference to the mean of four others nearby, whose variance is
// 5/4 of the pixels' own where they are independent.
func (f *Face) ChannelNoise(ch Channel) (noise, level float64) {
	w, s := f.Surface.W, ch.Light
	reach := max(2, int(0.06/f.MMPX+0.5))
	d, v := make([]float64, 0, len(f.Points)), make([]float64, 0, len(f.Points))
	for _, i := range f.Points {
		x, y := i%w, i/w
		if x < reach || y < reach || x >= w-reach || y >= f.Surface.H-reach {
			continue
		}
		m := (s.V[i-reach] + s.V[i+reach] + s.V[i-reach*w] + s.V[i+reach*w]) / 4
		d = append(d, math.Abs(float64(s.V[i]-m)))
		v = append(v, float64(s.V[i]))
	}
	level = raster.Median(v)
	noise = max(raster.MADToSD*raster.Median(d)/math.Sqrt(1.25), 0.003*level, 1e-5)
	if im := f.Pictures[ch.Pic].Image; im.Pix8 != nil {
		noise = math.Hypot(noise, pattern.QuantumShare*pattern.Quantum(level))
	}
	return noise, level
}

// CellOf is the cell of the grid in which a search pixel lies.
func (f *Face) CellOf(i int) int {
	return i/f.Surface.W/f.Grid.Cell*f.Grid.NX + i%f.Surface.W/f.Grid.Cell
}

// ValuesAt returns a plane's values at the sampled points.
func (f *Face) ValuesAt(p *part.Plane) []float64 {
	v := make([]float64, len(f.Points))
	for k, i := range f.Points {
		v[k] = float64(p.V[i])
	}
	return v
}

// offMedian is how far a plane lies off its median at the sampled points.
func (f *Face) offMedian(p *part.Plane) []float64 {
	v := f.ValuesAt(p)
	mid := raster.Median(v)
	for i := range v {
		v[i] = math.Abs(v[i] - mid)
	}
	return v
}

// Wideness is the spread of a pattern's coordinate over the face, in noise units:
// the scaled median distance from its median.
func (f *Face) Wideness(p *part.Plane) float64 { return raster.MADToSD * raster.Median(f.offMedian(p)) }

// LeastViewMM2 is the least area that is searched by itself.
const LeastViewMM2 = 0.05

// InsideRow is the range of columns outside which row y has no face.
func (f *Face) InsideRow(y int) (x0, x1 int) {
	row := f.Surface.Dist.V[y*f.Surface.W : (y+1)*f.Surface.W]
	x1 = len(row)
	for x0 < x1 && row[x0] <= 0 {
		x0++
	}
	for x1 > x0 && row[x1-1] <= 0 {
		x1--
	}
	return x0, x1
}

// Name is the key of what the surface is called.
func (f *Face) Name() string {
	if f.Params.Shell != nil {
		return "@defects.shell"
	}
	return "@defects.faceplate"
}

// Whereabouts is where the middle of a shape's bounds lies, seen from the surface's.
func (f *Face) Whereabouts(s shape.Shape) part.Phrase {
	x, y := (float64(s.X0+s.X1)/2-f.Surface.CX)*f.MMPX, (float64(s.Y0+s.Y1)/2-f.Surface.CY)*f.MMPX
	var off []part.Phrase
	side := func(v float64, less, more string) {
		switch {
		case v <= -0.5:
			off = append(off, part.Say(less, "off_mm", part.Fixed(-v, 0)))
		case v >= 0.5:
			off = append(off, part.Say(more, "off_mm", part.Fixed(v, 0)))
		}
	}
	side(x, "place.left", "place.right")
	side(y, "place.above", "place.below")
	if len(off) == 0 {
		return part.Say("place.middle")
	}
	return part.Say("place.off").With("off", off...)
}

// OfFile is what was said of one picture.
func OfFile(file string, what part.Phrase) part.Phrase {
	return part.Say("file.says", "file", file).With("what", what)
}
