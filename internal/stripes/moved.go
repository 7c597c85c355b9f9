package stripes

import (
	"math"

	"finishbench/internal/part"
)

// Sharp edges of the paint tell movement: fine, and wide enough to be followed over some pixels
// (common practice, no source).
const (
	edgeFineMM   = 0.06
	edgeWideMM   = 0.2
	movedSectors = 8
	movedLeft    = 0.8 // of what differs between two pictures, squared, movement must explain the rest
	movedUMost   = 0.5 // a larger standard uncertainty, pixels, tells nothing
)

// picture is a direction's k-th again: the mean, of four the odd light, and the phasor's part.
func (f *frames) picture(d, k int) *part.Plane {
	b := &f.by[d]
	odd := float32(1 - 2*(k%2))
	if f.phases == threePhases {
		odd = 0
	}
	out := part.NewPlane(b.mean.W, b.mean.H)
	for i := range out.V {
		p := [Phases]float32{b.z.re.V[i], -b.z.im.V[i], -b.z.re.V[i], b.z.im.V[i]}[k]
		out.V[i] = b.mean.V[i] + odd*b.odd.V[i] + p
	}
	return out
}

// moved is how far apart, in pixels of the pictures, any two of the eight show the unit, and its
// standard uncertainty; NaN where the paint has no edges that tell it. A picture that is moved by d
// differs from the mean M of all by -d grad M, and the stripes' own light, which has no
// edges where the paint has, by nothing on average; least squares over the region, and the
// scatter of sectors for the uncertainty. At the outline the rim mirrors nothing, so that what is mirrored ends
// elsewhere than the paint, which looks like movement by some tenths of a pixel: it tells only what is refused.
func (f *frames) moved(inside []bool, mmPX float64) (px, u float64) {
	band := func(p *part.Plane) *part.Plane {
		fine, wide := gauss(p, edgeFineMM/mmPX), gauss(p, edgeWideMM/mmPX)
		for i := range fine.V {
			fine.V[i] -= wide.V[i]
		}
		return fine
	}
	all := part.NewPlane(f.w, f.h)
	for i := range all.V {
		all.V[i] = (f.by[0].mean.V[i] + f.by[1].mean.V[i]) / 2
	}
	mean := band(all)
	pictures := make([]*part.Plane, 2*f.phases)
	for n := range pictures {
		pictures[n] = band(f.picture(n/f.phases, n%f.phases))
	}
	outer := grown(f.clipped, f.w, 3*edgeWideMM/mmPX) // what is clipped, and around it, tells nothing
	inner := make([]bool, len(outer))
	for i, skip := range outer {
		inner[i] = skip || !inside[i]
	}
	if px, u = f.apart(mean, pictures, inner); !math.IsNaN(px) {
		return px, u
	}
	if px, u = f.apart(mean, pictures, outer); px > movedMost {
		return px, u
	}
	return math.NaN(), math.NaN()
}

// apart is moved's least squares over all pixels that are not to be skipped.
func (f *frames) apart(mean *part.Plane, pictures []*part.Plane, skip []bool) (px, u float64) {
	type shift struct{ x, y float64 }
	got := make([][movedSectors + 1]shift, len(pictures)) // the last: of all
	// Of each sector and of all: the gradient's squares xx, xy, yy, and its products with each picture's rest.
	var squares [movedSectors + 1][3]float64
	var products [movedSectors + 1][2 * Phases][2]float64
	for y := 1; y+1 < f.h; y++ {
		for x := 1; x+1 < f.w; x++ {
			i := y*f.w + x
			if skip[i] {
				continue
			}
			gx, gy := float64(mean.V[i+1]-mean.V[i-1])/2, float64(mean.V[i+f.w]-mean.V[i-f.w])/2
			k := sector(x-f.w/2, y-f.h/2)
			q := &squares[k]
			q[0], q[1], q[2] = q[0]+gx*gx, q[1]+gx*gy, q[2]+gy*gy
			of, m := &products[k], mean.V[i]
			for n, p := range pictures {
				r := float64(p.V[i] - m)
				of[n][0], of[n][1] = of[n][0]-gx*r, of[n][1]-gy*r
			}
		}
	}
	for k := range movedSectors {
		for j, v := range squares[k] {
			squares[movedSectors][j] += v
		}
		for n, v := range products[k][:len(pictures)] {
			products[movedSectors][n][0] += v[0]
			products[movedSectors][n][1] += v[1]
		}
	}
	for k, q := range squares {
		without := products[k]
		if k < movedSectors { // all but this one: the jackknife
			for j, v := range squares[movedSectors] {
				q[j] = v - q[j]
			}
			for n, v := range products[movedSectors] {
				without[n] = [2]float64{v[0] - without[n][0], v[1] - without[n][1]}
			}
		}
		det := q[0]*q[2] - q[1]*q[1]
		if !(det > 1e-3*q[0]*q[2]) {
			return math.NaN(), math.NaN()
		}
		for n, r := range without[:len(pictures)] {
			got[n][k] = shift{(r[0]*q[2] - r[1]*q[1]) / det, (r[1]*q[0] - r[0]*q[1]) / det}
		}
	}
	first, second := 0, 0
	for a := range got {
		for b := range a {
			d := math.Hypot(got[a][movedSectors].x-got[b][movedSectors].x, got[a][movedSectors].y-got[b][movedSectors].y)
			if d < px {
				continue
			}
			px, first, second = d, a, b
			ss := 0.0
			for k := range movedSectors {
				dx := got[a][k].x - got[b][k].x - got[a][movedSectors].x + got[b][movedSectors].x
				dy := got[a][k].y - got[b][k].y - got[a][movedSectors].y + got[b][movedSectors].y
				ss += dx*dx + dy*dy
			}
			u = math.Sqrt(ss * (movedSectors - 1) / movedSectors)
		}
	}
	if px > surely*u { // what differs must be what moving makes of it
		dx, dy := got[first][movedSectors].x-got[second][movedSectors].x, got[first][movedSectors].y-got[second][movedSectors].y
		var differs, left float64
		for i := f.w; i < len(skip)-f.w; i++ {
			if x := i % f.w; x == 0 || x == f.w-1 || skip[i] {
				continue
			}
			r := float64(pictures[first].V[i] - pictures[second].V[i])
			e := r + dx*float64(mean.V[i+1]-mean.V[i-1])/2 + dy*float64(mean.V[i+f.w]-mean.V[i-f.w])/2
			differs, left = differs+r*r, left+e*e
		}
		if left > movedLeft*differs {
			return math.NaN(), math.NaN()
		}
	}
	px, u = px*float64(f.bin), u*float64(f.bin)
	if u > movedUMost && px < surely*u {
		return math.NaN(), math.NaN()
	}
	return px, u
}

// sector is which eighth of a turn a direction lies in, 0 to 7.
func sector(x, y int) int {
	k := 0
	if y < 0 {
		k, x, y = 4, -x, -y
	}
	if x < 0 {
		k, x, y = k+2, y, -x
	}
	if y > x {
		k++
	}
	return k
}
