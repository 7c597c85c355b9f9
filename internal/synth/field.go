package synth

import "math"

// field is smooth random ground: values about -1..1 that change over sx and sy
// pixels, with some octaves of finer detail. It is value noise: random numbers
// on a lattice, smoothly blended.
type field struct {
	seed    uint64
	sx, sy  float64
	octaves int
}

func newField(seed uint64, sx, sy float64, octaves int) *field {
	return &field{seed: seed, sx: max(sx, 1e-3), sy: max(sy, 1e-3), octaves: octaves}
}

func (f *field) at(x, y float64) float64 {
	sum, amp, norm := 0.0, 1.0, 0.0
	fx, fy := x/f.sx, y/f.sy
	for o := range f.octaves {
		sum += amp * lattice(f.seed+uint64(o)*0x9e3779b97f4a7c15, fx, fy)
		norm += amp
		amp /= 2
		// Twice as fine and turned, so that the lattice does not show.
		fx, fy = 1.6*fx+1.2*fy+17.3, 1.6*fy-1.2*fx-5.1
	}
	return sum / norm
}

// lattice blends the random numbers at the four corners of a cell.
func lattice(seed uint64, x, y float64) float64 {
	x0, y0 := math.Floor(x), math.Floor(y)
	ax, ay := smooth(x-x0), smooth(y-y0)
	i, j := int64(x0), int64(y0)
	top := cell(seed, i, j)*(1-ax) + cell(seed, i+1, j)*ax
	bottom := cell(seed, i, j+1)*(1-ax) + cell(seed, i+1, j+1)*ax
	return top*(1-ay) + bottom*ay
}

// cell is a number -1..1 that belongs to a lattice point: a hash by repeated
// xor-shift and multiplication.
func cell(seed uint64, i, j int64) float64 {
	return 2*cell01(seed, i, j) - 1
}

func cell01(seed uint64, i, j int64) float64 {
	h := seed ^ uint64(i)*0x8da6b343d8163841 ^ uint64(j)*0xd8163841cb1ab31f
	h ^= h >> 31
	h *= 0x7fb5d329728ea185
	h ^= h >> 27
	h *= 0x81dadef4bc2dd44d
	h ^= h >> 33
	return float64(h>>11) / (1 << 53)
}
