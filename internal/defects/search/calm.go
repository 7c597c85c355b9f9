package search

import (
	"math"

	"finishbench/internal/defects/raster"
	"finishbench/internal/defects/shape"
	"finishbench/internal/part"
)

// How unevenness over a wide part of the face is told (common practice, no source). A
// patch of sanding marks is narrower than calmWide cells, a fingerprint wider.
const (
	calmMM   = 1.0  // side of the cells
	calmWide = 3    // so many cells wide and high a part has to be,
	calmFrom = 1.25 // each of them so many times as uneven as the face's typical one
	tellFrom = 1.5  // from so many times on it is told
	calmHigh = 0.9  // by the quantile of the responses besides the median
)

// eased is by how much a map of responses was scaled down where the face is more
// uneven than elsewhere; at the finest size.
type eased struct {
	rim  []float32   // per block of the rim; nil: there is none
	lamp []float32   // per band beside lamps' images; nil: there is none
	face *part.Plane // per search pixel; nil: nowhere
}

// ease scales a map of responses down, in place: by what the rim leaves, beside lamps, and where
// a wide part of the face is uneven. The map's pixels are down search pixels wide.
func (f *Face) ease(chi *part.Plane, down int) (eased, error) {
	e := eased{rim: f.tame(chi, down), lamp: f.tameBesideLamps(chi, down)}
	var err error
	e.face, err = f.calm(chi, down)
	return e, err
}

// easedAt is the factor of a search pixel, at most 1.
func (f *Face) easedAt(e eased, i int) float32 {
	k := f.Rim.Factor(e.rim, i) * f.tamedBeside(e.lamp, i)
	if e.face != nil {
		k *= e.face.V[i]
	}
	return k
}

// calm scales a map of responses down, in place, where a wide part of the face is
// more uneven than the rest: a fingerprint, a smear, the print of a cloth. The part's
// least uneven cell says by how much, so that no defect calms itself. It returns the
// factors; nil where there is no such part. The map's pixels are down search pixels wide.
func (f *Face) calm(chi *part.Plane, down int) (*part.Plane, error) {
	if f.Surface.All {
		return nil, nil
	}
	g := raster.NewGrid(chi.W, chi.H, max(4, int(calmMM/f.MMPX/float64(down)+0.5)))
	own, ok := f.unevenness(chi, down, g)
	if !ok {
		return nil, nil
	}
	factor := part.NewPlane(g.NX, g.NY)
	for c := range factor.V {
		factor.V[c] = 1
	}
	calmed := false
	for y := range g.NY - calmWide + 1 {
		for x := range g.NX - calmWide + 1 {
			least, n := float32(math.Inf(1)), 0
			for k := range calmWide * calmWide {
				if v := own.V[(y+k/calmWide)*g.NX+x+k%calmWide]; v > 0 {
					least = min(least, v)
					n++
				}
			}
			if n < calmWide*calmWide*3/4 || least < calmFrom {
				continue
			}
			calmed = true
			for k := range calmWide * calmWide {
				c := (y+k/calmWide)*g.NX + x + k%calmWide
				factor.V[c] = min(factor.V[c], 1/least)
			}
		}
	}
	if !calmed {
		return nil, nil
	}
	if err := raster.Erode(factor, 1); err != nil {
		return nil, err
	}
	full, err := g.Spread(factor, chi.W, chi.H)
	if err != nil {
		return nil, err
	}
	for i := range chi.V {
		chi.V[i] *= full.V[i]
	}
	return full, nil
}

// unevenness is how many times as uneven as the typical cell each cell of a map of
// responses is, by the median and a high quantile, whichever says more; 0 where too little of a cell is looked
// at. ok is false where there are too few cells to say what is typical.
func (f *Face) unevenness(chi *part.Plane, down int, g raster.Grid) (own *part.Plane, ok bool) {
	in := make([][]float32, g.NX*g.NY)
	every := max(1, g.Cell/20)
	room := (g.Cell/every + 1) * (g.Cell/every + 1) // for each cell
	all := make([]float32, len(in)*room)
	for c := range in {
		in[c] = all[c*room : c*room : (c+1)*room]
	}
	for y := 0; y < chi.H; y += every {
		for x := 0; x < chi.W; x += every {
			if v := chi.V[y*chi.W+x]; v != 0 && f.Surface.Dist.V[y*down*f.Surface.W+x*down] > f.RimPX() {
				c := y/g.Cell*g.NX + x/g.Cell
				in[c] = append(in[c], raster.Abs(v))
			}
		}
	}
	enough := g.Cell / every * (g.Cell / every) / 4
	mid, high := make([]float64, len(in)), make([]float64, len(in))
	var mids, highs []float64
	for c, v := range in {
		if len(v) > enough {
			m, h := raster.Quantiles(v, 0.5, calmHigh)
			mid[c], high[c] = float64(m), float64(h)
			mids, highs = append(mids, mid[c]), append(highs, high[c])
		}
	}
	if len(mids) < minCells {
		return nil, false
	}
	m, h := raster.Median(mids)+still, raster.Median(highs)+still
	own = part.NewPlane(g.NX, g.NY)
	for c := range in {
		if high[c] > 0 {
			own.V[c] = float32(max((mid[c]+still)/m, (high[c]+still)/h))
		}
	}
	return own, true
}

// WarnUneven says where a plain face is uneven over a wide part; a pattern is so by
// itself.
func (f *Face) WarnUneven(r *Response) {
	if f.Woven || len(f.Palette.Axes) > 0 {
		return
	}
	var in []int
	for i := range r.Ratio.V {
		for _, l := range r.looks {
			if l.eased.face != nil && l.eased.face.V[i] < 1/tellFrom {
				in = append(in, i)
				break
			}
		}
	}
	if len(in) == 0 {
		return
	}
	s := shape.Of(in, f.Surface.W, 0, 0)
	f.Warnings = append(f.Warnings, part.Say("defects.smear", "width_mm", part.Fixed(float64(s.X1-s.X0+1)*f.MMPX, 0),
		"height_mm", part.Fixed(float64(s.Y1-s.Y0+1)*f.MMPX, 0)).With("place", f.Whereabouts(s)))
}
