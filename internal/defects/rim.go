package defects

import (
	"math"
	"slices"
)

// rimSectors is how many equal angles the rim is looked at in: lamps mirrored
// in it do not go all around.
const rimSectors = 32

// endOfRim finds, for each sector, the distance from the outline from which on
// the left-over response is that of the face, and turns dist into the depth
// beyond it: the flat face is where dist > 0. The rim's shading and the lamps
// mirrored in it lie off the pattern's directions, so the pattern does not
// matter here.
func (f *face) endOfRim(deep float32) {
	n := int(deep) + int(deep)/2 + 1
	flat := f.rimEnds(int(deep), n)
	sorted := slices.Clone(flat)
	slices.Sort(sorted)
	most := sorted[rimSectors*17/20] // a defect near the rim reaches deep in a sector or two; a rim does not
	margin := float32(max(1, f.p.MarginMM/f.mmPX))
	for y := range f.surf.h {
		for x := range f.surf.w {
			i := y*f.surf.w + x
			if f.surf.dist.V[i] > deep+margin {
				continue
			}
			s := f.sectorOf(x, y)
			f.surf.dist.V[i] -= min(most, max(flat[s], flat[(s+1)%rimSectors], flat[(s+rimSectors-1)%rimSectors])) + margin
		}
	}
}

// rimEnds returns the rim's end per sector, in pixels from the outline.
func (f *face) rimEnds(deep, n int) []float32 {
	chi := make([][]float64, rimSectors*n)
	along := make([][]float64, rimSectors*n)
	patterned := len(f.pal.axis) > 0
	for y := range f.surf.h {
		for x := y % 2; x < f.surf.w; x += 2 {
			d := f.surf.dist.V[y*f.surf.w+x]
			if d <= 0 || int(d) >= n {
				continue
			}
			k := f.sectorOf(x, y)*n + int(d)
			s := 0.0
			for _, row := range f.pal.left {
				v := f.rowAt(row, x, y)
				s += v * v
			}
			chi[k] = append(chi[k], s)
			if patterned {
				along[k] = append(along[k], f.rowAt(f.pal.axis[0], x, y))
			}
		}
	}
	flat := make([]float32, rimSectors)
	for s := range flat {
		flat[s] = rimEnd(chi[s*n:(s+1)*n], deep)
		if patterned {
			flat[s] = max(flat[s], shadeEnd(along[s*n:(s+1)*n], deep))
		}
	}
	return flat
}

// shadeEnd is the distance from which on the medians of the pattern's coordinate
// stay near those beyond deep: shading moves the middle of what is there, also
// where it moves it along the pattern.
func shadeEnd(bins [][]float64, deep int) float32 {
	var far []float64
	for _, b := range bins[deep:] {
		far = append(far, b...)
	}
	if len(far) == 0 {
		return float32(deep)
	}
	mid := median(far)
	limit := max(1.5, 0.3*(quantile(far, .75)-quantile(far, .25)))
	for i := deep - 1; i >= 0; i-- {
		if b := three(bins, i); len(b) >= 10 && math.Abs(median(b)-mid) > limit {
			return float32(i + 1)
		}
	}
	return 0
}

// three are the values of a bin and its neighbours.
func three(bins [][]float64, i int) []float64 {
	var out []float64
	for k := max(0, i-1); k <= min(len(bins)-1, i+1); k++ {
		out = append(out, bins[k]...)
	}
	return out
}

// sectorOf is the sector of a pixel as seen from the region's middle.
func (f *face) sectorOf(x, y int) int {
	a := math.Atan2(float64(y)-float64(f.surf.h)/2, float64(x)-float64(f.surf.w)/2)
	return int((a+math.Pi)/(2*math.Pi)*rimSectors) % rimSectors
}

// rowAt applies a row to one pixel's deviation from base.
func (f *face) rowAt(row []float64, x, y int) float64 {
	s := 0.0
	for c, ch := range f.channels {
		s += row[c] * float64(ch.smooth.V[y*ch.smooth.W+x]-ch.base.V[y*ch.base.W+x])
	}
	return s
}

// rimEnd is the distance from which on the bins' third quartiles stay near those
// beyond deep: a lamp's image may fill only part of a sector.
func rimEnd(bins [][]float64, deep int) float32 {
	var far []float64
	for i := deep; i < len(bins); i++ {
		if b := three(bins, i); len(b) >= 10 {
			far = append(far, quantile(b, 0.75))
		}
	}
	if len(far) == 0 {
		return float32(deep)
	}
	limit := 1.6 * median(far)
	for i := deep - 1; i >= 0; i-- {
		if b := three(bins, i); len(b) < 10 || quantile(b, 0.75) > limit {
			return float32(i + 1)
		}
	}
	return 0
}
