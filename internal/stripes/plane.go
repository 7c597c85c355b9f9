package stripes

import (
	"math"
	"slices"

	"finishbench/internal/part"
)

// gauss is a plane blurred by a Gaussian of a standard deviation in pixels; outside,
// the nearest pixel's value holds.
func gauss(p *part.Plane, sigma float64) *part.Plane {
	if sigma <= 0 {
		return &part.Plane{W: p.W, H: p.H, V: append([]float32(nil), p.V...)}
	}
	if sigma > wideBlur {
		return widened(gauss(shrunk(p), math.Sqrt(sigma*sigma-shrinkBlurs)/shrinks), p.W, p.H)
	}
	k := gaussWeights(sigma)
	r := len(k) - 1
	across, out := part.NewPlane(p.W, p.H), part.NewPlane(p.W, p.H)
	row := make([]float32, p.W+2*r)
	lines := make([][]float32, 2*r+1)
	for y := range p.H {
		copy(row[r:], p.V[y*p.W:(y+1)*p.W])
		for i := range r {
			row[i], row[r+p.W+i] = row[r], row[r+p.W-1]
		}
		for i := range lines {
			lines[i] = row[i : i+p.W]
		}
		addPairs(across.V[y*p.W:(y+1)*p.W], lines, k)
	}
	for y := range p.H {
		for i := range lines {
			from := max(0, min(p.H-1, y+i-r)) * p.W
			lines[i] = across.V[from : from+p.W]
		}
		addPairs(out.V[y*p.W:(y+1)*p.W], lines, k)
	}
	return out
}

// gaussWeights are a Gaussian's from its middle outwards; with both sides they add up to 1.
func gaussWeights(sigma float64) []float32 {
	k := make([]float32, max(1, int(3.5*sigma+0.5))+1)
	sum := -1.0
	for i := range k {
		sum += 2 * math.Exp(-float64(i*i)/(2*sigma*sigma))
	}
	for i := range k {
		k[i] = float32(math.Exp(-float64(i*i)/(2*sigma*sigma)) / sum)
	}
	return k
}

// addPairs fills to with the lines weighed by k from the middle one outwards, two pairs at a
// time.
func addPairs(to []float32, lines [][]float32, k []float32) {
	r := len(k) - 1
	for x, v := range lines[r][:len(to)] {
		to[x] = k[0] * v
	}
	i := 1
	for ; i+1 <= r; i += 2 {
		a, b, c, d := lines[r-i][:len(to)], lines[r+i][:len(to)], lines[r-i-1][:len(to)], lines[r+i+1][:len(to)]
		near, far := k[i], k[i+1]
		for x := range to {
			to[x] += near*(a[x]+b[x]) + far*(c[x]+d[x])
		}
	}
	if i <= r {
		a, b, w := lines[r-i][:len(to)], lines[r+i][:len(to)], k[i]
		for x := range to {
			to[x] += w * (a[x] + b[x])
		}
	}
}

// A blur wider than wideBlur pixels is done on a plane averaged down by shrinks. The means
// over squares blur by a variance of (n^2 - 1)/12 themselves, and straight lines between them by n^2/6.
const (
	wideBlur    = 5.0
	shrinks     = 4
	shrinkBlurs = (shrinks*shrinks-1)/12.0 + shrinks*shrinks/6.0
)

// shrunk averages a plane over squares of shrinks pixels; what is beyond its border counts
// as the nearest.
func shrunk(p *part.Plane) *part.Plane {
	out := part.NewPlane((p.W+shrinks-1)/shrinks, (p.H+shrinks-1)/shrinks)
	for y := range out.H {
		for x := range out.W {
			s := float32(0)
			for k := range shrinks * shrinks {
				s += p.V[min(p.H-1, y*shrinks+k/shrinks)*p.W+min(p.W-1, x*shrinks+k%shrinks)]
			}
			out.V[y*out.W+x] = s / (shrinks * shrinks)
		}
	}
	return out
}

// widened is shrunk's opposite, by straight lines between the squares' middles.
func widened(p *part.Plane, w, h int) *part.Plane {
	out := part.NewPlane(w, h)
	at := func(v, n int) (i, j int, u float32) {
		f := max(0, min(float32(n-1), (float32(v)+0.5)/shrinks-0.5))
		i = int(f)
		return i, min(n-1, i+1), f - float32(i)
	}
	for y := range h {
		j0, j1, v := at(y, p.H)
		for x := range w {
			i0, i1, u := at(x, p.W)
			a := p.V[j0*p.W+i0]*(1-u) + p.V[j0*p.W+i1]*u
			b := p.V[j1*p.W+i0]*(1-u) + p.V[j1*p.W+i1]*u
			out.V[y*w+x] = a*(1-v) + b*v
		}
	}
	return out
}

// inside says which pixels lie in a closed outline.
func inside(outline []part.Point, w, h int) []bool {
	in := make([]bool, w*h)
	for y := range h {
		var at []float64
		for i, a := range outline {
			b := outline[(i+1)%len(outline)]
			if (a.Y > float64(y)) != (b.Y > float64(y)) {
				at = append(at, a.X+(float64(y)-a.Y)/(b.Y-a.Y)*(b.X-a.X))
			}
		}
		slices.Sort(at)
		for i := 0; i+1 < len(at); i += 2 {
			for x := max(0, int(math.Ceil(at[i]))); x <= min(w-1, int(at[i+1])); x++ {
				in[y*w+x] = true
			}
		}
	}
	return in
}

// depths is how deep each pixel lies inside a mask, in pixels: the distance to the next
// one outside; 0 outside (Felzenszwalb & Huttenlocher 2012, Theory of Computing 8, 415).
func depths(in []bool, w int) *part.Plane {
	const far = 1e12
	h := len(in) / w
	d := make([]float64, w*h)
	for i, yes := range in {
		if yes {
			d[i] = far
		}
	}
	n := max(w, h)
	f, v, z, row := make([]float64, n), make([]int, n), make([]float64, n+1), make([]float64, n)
	for x := range w {
		for y := range h {
			f[y] = d[y*w+x]
		}
		nearest(f[:h], row, v, z)
		for y := range h {
			d[y*w+x] = row[y]
		}
	}
	for y := range h {
		copy(f, d[y*w:(y+1)*w])
		nearest(f[:w], row, v, z)
		copy(d[y*w:(y+1)*w], row[:w])
	}
	out := part.NewPlane(w, h)
	for i := range out.V {
		out.V[i] = float32(math.Sqrt(d[i]))
	}
	return out
}

// nearest fills to with the least of f[q] + (p-q)^2 over all q, for each p.
func nearest(f, to []float64, v []int, z []float64) {
	k := 0
	v[0], z[0], z[1] = 0, math.Inf(-1), math.Inf(1)
	for q := 1; q < len(f); q++ {
		s := cross(f, q, v[k])
		for s <= z[k] {
			k--
			s = cross(f, q, v[k])
		}
		k++
		v[k], z[k], z[k+1] = q, s, math.Inf(1)
	}
	k = 0
	for p := range f {
		for z[k+1] < float64(p) {
			k++
		}
		to[p] = float64((p-v[k])*(p-v[k])) + f[v[k]]
	}
}

// cross is where the parabolas over q and v meet.
func cross(f []float64, q, v int) float64 {
	return (f[q] + float64(q*q) - f[v] - float64(v*v)) / float64(2*q-2*v)
}
