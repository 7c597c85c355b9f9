package synth

import (
	"math"
	"math/rand/v2"
)

// sky is what stands around a unit in one light, as radiance by direction: a white matt surface
// under an even sky of 1 sends 1 to the camera. Levels, sizes and places of lamps are common
// practice, no source.
type sky struct {
	all    float64 // the room, or the dome
	ground float64 // what lies behind the unit
	hole   bool    // the dome's hole around the camera
	ring   bool    // a ring light around the lens
	lamps  []lamp
	matt   []float64 // what a white matt surface sends, by its normal's x and height
	dull   []float64 // what a dull one mirrors
}

// lamp is an even area between two pairs of angles: as longitude and latitude about the
// upright axis, or, for a lamp around the camera's axis, as angle about it and angle from it.
type lamp struct {
	about            bool
	a0, a1, b0, b1   float64 // radians
	light            float64
	cross, softening float64 // a window's bar, half width; its edge
}

const deg = math.Pi / 180

func (l lamp) at(r vec) float64 {
	var a, b float64
	if l.about {
		a, b = math.Atan2(r[2], r[0]), math.Acos(min(max(r[1], -1), 1))
		a = l.a0 + math.Mod(a-l.a0+4*math.Pi, 2*math.Pi)
		if a > (l.a0+l.a1)/2+math.Pi {
			a -= 2 * math.Pi
		}
	} else {
		a, b = math.Atan2(r[0], r[1]), math.Asin(min(max(r[2], -1), 1))
	}
	in := min(a-l.a0, l.a1-a, b-l.b0, l.b1-b)
	if l.cross > 0 {
		in = min(in, max(math.Abs(a-(l.a0+l.a1)/2), 0)-l.cross, math.Abs(b-(l.b0+l.b1)/2)-l.cross)
	}
	return l.light * smooth(in/l.softening+0.5)
}

// radiance is the light that comes from a direction.
func (s *sky) radiance(r vec) float64 {
	v := s.all
	if r[1] < 0.1 {
		// Behind the unit the ground, not the room.
		f := smooth((r[1] + 0.4) / 0.5)
		v = s.ground + (v-s.ground)*f
	}
	if s.hole && r[1] > 0.98 {
		v *= 1 - 0.9*smooth((r[1]-math.Cos(7.3*deg))/(math.Cos(6.7*deg)-math.Cos(7.3*deg)))
	}
	if s.ring && r[1] > 0.96 {
		a := math.Acos(min(r[1], 1)) / deg
		v += 12 * smooth((a-9)/0.4+0.5) * smooth((12-a)/0.4+0.5)
	}
	for _, l := range s.lamps {
		v += l.at(r)
	}
	return v
}

// newSkies are the diffuse and the raking light.
func newSkies(p ShellParams, ground [2]float64) [2]*sky {
	rng := rand.New(rand.NewPCG(p.Seed, 0x511e5))
	d := &sky{ground: ground[dome]}
	panel := func(a0, a1, b0, b1, light, cross float64) lamp {
		return lamp{a0: a0 * deg, a1: a1 * deg, b0: b0 * deg, b1: b1 * deg, light: light, cross: cross * deg, softening: 0.6 * deg}
	}
	switch p.Rig {
	case "", "dome":
		d.all, d.hole = 0.5, true
	case "ring":
		d.all, d.ring = 0.22, true
	case "panels":
		d.all = 0.12
		d.lamps = []lamp{panel(-62, -38, -25, 50, 2.2, 0), panel(34, 60, -25, 45, 2, 0)}
	case "window":
		d.all = 0.16
		d.lamps = []lamp{panel(-66, -34, -32, 24, 3, 1.5)}
	}
	r := &sky{all: 0.035, ground: ground[rake]}
	for i := range p.Lamps {
		a := (45 + 360/float64(p.Lamps)*float64(i) + 30*(rng.Float64()-0.5)) * deg
		half := (10 + 6*rng.Float64()) * deg
		from := (68 + 8*rng.Float64()) * deg
		r.lamps = append(r.lamps, lamp{about: true, a0: a - half, a1: a + half, b0: from, b1: from + (10+5*rng.Float64())*deg,
			light: 5 + 2*rng.Float64(), softening: 0.6 * deg})
	}
	out := [2]*sky{d, r}
	for _, s := range out {
		s.tabulate()
	}
	return out
}

const skySteps = 16 // cells of the tables by a normal's x and height

// tabulate sums what a matt and what a dull surface gather, for normals that face the camera.
func (s *sky) tabulate() {
	const n = 5000
	var from []vec
	var light []float64
	golden := math.Pi * (3 - math.Sqrt(5))
	for i := range n {
		h := 1 - (2*float64(i)+1)/n
		sin, cos := math.Sincos(golden * float64(i))
		q := math.Sqrt(1 - h*h)
		r := vec{q * cos, h, q * sin}
		from, light = append(from, r), append(light, s.radiance(r))
	}
	const m = skySteps + 1
	s.matt, s.dull = make([]float64, m*m), make([]float64, m*m)
	rows(0, m, func(j int) {
		for i := range m {
			x, z := 2*float64(i)/skySteps-1, 2*float64(j)/skySteps-1
			if q := x*x + z*z; q > 1 {
				x, z = x/math.Sqrt(q), z/math.Sqrt(q)
			}
			nn := vec{x, math.Sqrt(max(0, 1-x*x-z*z)), z}
			r := mirror(nn)
			sum, dull, weight := 0.0, 0.0, 0.0
			for k, f := range from {
				if c := nn.dot(f); c > 0 {
					sum += c * light[k]
				}
				if c := r.dot(f); c > 0.8 {
					// A lobe of about 15 degrees: c^64.
					c *= c
					c *= c
					c *= c
					c *= c
					c *= c
					c *= c
					dull += c * light[k]
					weight += c
				}
			}
			s.matt[j*m+i] = sum * 4 / n
			s.dull[j*m+i] = dull / weight
		}
	})
}

// mirror is where the camera's line of sight goes from a surface with normal n.
func mirror(n vec) vec {
	k := 2 * n[1]
	return vec{k * n[0], k*n[1] - 1, k * n[2]}
}

// byNormal reads one of the tables.
func byNormal(t []float64, n vec) float64 {
	const m = skySteps + 1
	x, z := (n[0]+1)/2*skySteps, (n[2]+1)/2*skySteps
	i, j := min(max(int(x), 0), skySteps-1), min(max(int(z), 0), skySteps-1)
	fx, fz := x-float64(i), z-float64(j)
	k := j*m + i
	return (t[k]*(1-fx)+t[k+1]*fx)*(1-fz) + (t[k+m]*(1-fx)+t[k+m+1]*fx)*fz
}

// fresnel is the share mirrored by lacquer of index 1.5 at an angle whose cosine is c
// (Schlick's form of Fresnel's law, from memory).
func fresnel(c float64) float64 {
	c = 1 - clamp01(c)
	c2 := c * c
	return 0.04 + 0.96*c2*c2*c
}

// waves is a random smooth surface over space: plane waves of about one length in all directions.
type waves struct {
	k []vec
	f []float64
	a float64 // each one's slope along its own direction
}

// newWaves has the given rms slope on any plane through it: waves of all directions show a plane 2/3 of
// their slopes' squares (the mean of the squared sine to its normal).
func newWaves(seed uint64, slope, waveMM float64) *waves {
	if slope <= 0 || waveMM <= 0 {
		return nil
	}
	rng := rand.New(rand.NewPCG(seed, 0x9ee1))
	const n = 48
	w := &waves{a: slope * math.Sqrt(3.0/n)}
	for range n {
		z := 2*rng.Float64() - 1
		sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
		q := math.Sqrt(1 - z*z)
		k := 2 * math.Pi / (waveMM * math.Exp(0.25*(2*rng.Float64()-1)))
		w.k = append(w.k, vec{q * cos * k, q * sin * k, z * k})
		w.f = append(w.f, 2*math.Pi*rng.Float64())
	}
	return w
}

// gradient is the height's gradient in space.
func (w *waves) gradient(at vec) vec {
	var g vec
	for i, k := range w.k {
		c := w.a * math.Cos(k.dot(at)+w.f[i]) / k.length()
		g[0] += c * k[0]
		g[1] += c * k[1]
		g[2] += c * k[2]
	}
	return g
}
