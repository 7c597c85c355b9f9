package search

import (
	"finishbench/internal/defects/raster"
	"finishbench/internal/part"
)

// RangeEnds is where a pattern's own range ends along one direction: half is the
// largest coordinate of the typical cell, limit what no cell should reach.
type RangeEnds struct {
	mid, lowHalf, lowLimit, highHalf, highLimit float32
	eased                                       eased
}

// Beyond is 1 at the limit and a half where the typical cell's largest lies.
func (e RangeEnds) Beyond(t float32) float32 {
	half := func(v, half, limit float32) float32 { return 0.5 + 0.5*(v-half)/max(limit-half, 1e-3) }
	return max(0, half(t-e.mid, e.highHalf, e.highLimit), half(e.mid-t, e.lowHalf, e.lowLimit))
}

// detailBand is a band of fine detail of a pattern's coordinate: what a Gaussian
// of one standard deviation takes off what another left.
type detailBand struct {
	sigmaMM   float64
	spread    float64
	threshold float32
}

// takePattern raises the map where a pattern's coordinate is not the pattern's:
// beyond its ends, or in detail finer than its own (a thin fibre on stone, whose
// grain is soft). Where the pattern itself is sharp, its own detail sets the
// threshold, and nothing is raised.
func (f *Face) takePattern(r *Response, p *part.Plane) error {
	e := f.endsOf(p)
	off := part.NewPlane(p.W, p.H)
	for i, d := range f.Surface.Dist.V {
		if d > 0 {
			off.V[i] = p.V[i] - e.mid
		}
	}
	var err error
	if e.eased, err = f.ease(off, 1); err != nil {
		return err
	}
	r.Ends = append(r.Ends, e)
	for i, d := range f.Surface.Dist.V {
		if d > 0 {
			r.Ratio.V[i] = max(r.Ratio.V[i], e.Beyond(e.mid+off.V[i]))
		}
	}
	inside := part.NewPlane(p.W, p.H)
	for i, d := range f.Surface.Dist.V {
		if d > 0 {
			inside.V[i] = 1
		}
	}
	var bands []detailBand
	fine := p
	for _, mm := range detailMM {
		soft, err := newSoft(fine, inside, mm/f.MMPX)
		if err != nil {
			return err
		}
		d := part.NewPlane(p.W, p.H)
		for i := range d.V {
			d.V[i] = fine.V[i] - soft.V[i]
		}
		band := detailBand{sigmaMM: mm, spread: f.spreadOf(d, nil, 1)}
		ratio, t, err := f.ratioAt([]*part.Plane{d}, nil, &look{}, scale{down: 1})
		if err != nil {
			return err
		}
		band.threshold = t
		f.raiseTo(r.Ratio, ratio)
		bands = append(bands, band)
		fine = soft
	}
	r.detail = append(r.detail, bands)
	return nil
}

// newSoft blurs a plane, counting only pixels inside.
func newSoft(p, inside *part.Plane, sigmaPX float64) (*part.Plane, error) {
	soft, share := part.NewPlane(p.W, p.H), part.NewPlane(p.W, p.H)
	if err := raster.Gauss(soft, p, sigmaPX); err != nil {
		return nil, err
	}
	if err := raster.Gauss(share, inside, sigmaPX); err != nil {
		return nil, err
	}
	for i, in := range inside.V {
		if in > 0 {
			soft.V[i] /= share.V[i]
		} else {
			soft.V[i] = 0
		}
	}
	return soft, nil
}

// endsOf tells a pattern's range along one direction.
func (f *Face) endsOf(p *part.Plane) RangeEnds {
	mid := float32(raster.Median(f.ValuesAt(p)))
	e := RangeEnds{mid: mid}
	up, down := part.NewPlane(p.W, p.H), part.NewPlane(p.W, p.H)
	for i, v := range p.V {
		up.V[i], down.V[i] = v-mid, mid-v
	}
	e.highHalf, e.highLimit = f.endOf(up)
	e.lowHalf, e.lowLimit = f.endOf(down)
	return e
}

// endOf tells one end of a range of distances from the middle: from the cells'
// extremes, or from the tail of all pixels where that is nearer. Defects widen
// the tail, and a pattern that differs from cell to cell widens the extremes;
// neither reaches less far than the pattern. The tail's end is its outer quantile
// carried on by three times the distance from an inner one: 4.8 standard
// deviations for a normal tail.
func (f *Face) endOf(d *part.Plane) (half, limit float32) {
	half, limit = f.extremes(d, 1)
	v := f.ValuesAt(d)
	outer, inner := raster.Quantile(v, .997), raster.Quantile(v, .98)
	if tail := float32(max(inner+4*(outer-inner), f.Params.MinResponse)); tail < limit {
		return float32(inner + 2*(outer-inner)), tail
	}
	return half, limit
}
