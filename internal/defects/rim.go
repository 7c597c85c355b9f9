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
	most := sorted[rimSectors*9/10] // a defect near the rim reaches deep in a sector or two; a rim does not
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
	bins := make([][]float64, rimSectors*n)
	rows := f.pal.left
	for y := range f.surf.h {
		for x := range f.surf.w {
			d := f.surf.dist.V[y*f.surf.w+x]
			if d <= 0 || int(d) >= n {
				continue
			}
			chi := 0.0
			for _, row := range rows {
				v := f.rowAt(row, x, y)
				chi += v * v
			}
			k := f.sectorOf(x, y)*n + int(d)
			bins[k] = append(bins[k], chi)
		}
	}
	flat := make([]float32, rimSectors)
	for s := range flat {
		flat[s] = rimEnd(bins[s*n:(s+1)*n], deep)
	}
	return flat
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
	q := make([]float64, len(bins))
	for i, b := range bins {
		q[i] = math.NaN()
		if len(b) >= 10 {
			q[i] = quantile(b, 0.75)
		}
	}
	far := slices.DeleteFunc(slices.Clone(q[deep:]), math.IsNaN)
	if len(far) == 0 {
		return float32(deep)
	}
	limit := 1.6 * median(far)
	for i := deep - 1; i >= 0; i-- {
		if math.IsNaN(q[i]) || q[i] > limit {
			return float32(i + 1)
		}
	}
	return 0
}
