package seam

import (
	"math"
	"math/rand/v2"
	"testing"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// oval is a seam in space seen by a pinhole camera, drawn point by point: a plane
// closed curve, pitched, rolled and lifted, and each place divided by its distance (Hartley
// and Zisserman 2004, 6.1). Lengths in mm, angles in degrees; x to the right, y away from the camera, z up.
type oval struct {
	radius, second, third float64 // mean radius and the shares of its harmonics
	turn                  float64 // of the section
	pitch, roll, dz       float64
	distance              float64 // +Inf: telecentric
	mm                    float64 // per pixel at the axis
}

// pictured is the half facing the camera in pixels about the lens's axis, from its left limb to its right.
func (o oval) pictured() []part.Point {
	const n = 20000
	var all []part.Point
	left, right := 0, 0
	sp, cp := math.Sincos(o.pitch * math.Pi / 180)
	sr, cr := math.Sincos(o.roll * math.Pi / 180)
	for i := range n {
		t := 2 * math.Pi * float64(i) / n
		r := o.radius * (1 + o.second*math.Cos(2*(t-o.turn)) + o.third*math.Cos(3*(t-2*o.turn)))
		x, y := r*math.Cos(t), r*math.Sin(t) // y away from the camera
		y, z := y*cp, y*sp                   // tipped towards it: what is near sinks
		x, z = x*cr+z*sr, z*cr-x*sr          // clockwise as seen
		k := 1.0
		if !math.IsInf(o.distance, 1) {
			k = o.distance / (o.distance + y)
		}
		all = append(all, part.Point{X: x * k / o.mm, Y: -(z + o.dz) * k / o.mm})
	}
	along := func(p part.Point) float64 { return p.X*cr + p.Y*sr }
	for i, p := range all {
		if along(p) < along(all[left]) {
			left = i
		}
		if along(p) > along(all[right]) {
			right = i
		}
	}
	var half []part.Point
	for i := left; i != right; i = (i + 1) % n { // counter-clockwise from the left: the near side, y < 0
		half = append(half, all[i])
	}
	return append(half, all[right])
}

// columnsOn are places on a pictured seam as refine takes them, with the noise of each.
func columnsOn(half []part.Point, noise func() float64) []part.Point {
	var at []part.Point
	a, b := half[0], half[len(half)-1]
	j := 0
	for i := range followColumns {
		x := (a.X+b.X)/2 + (b.X-a.X)/2*math.Sin(math.Asin(seenTo)*(2*float64(i)/(followColumns-1)-1))
		for half[j+1].X < x {
			j++
		}
		f := (x - half[j].X) / (half[j+1].X - half[j].X)
		at = append(at, part.Point{X: x, Y: half[j].Y + f*(half[j+1].Y-half[j].Y) + noise()})
	}
	return at
}

// fitted is the closed curve through places of a pictured seam whose limbs lie where they do.
func fitted(t testing.TB, half, at []part.Point, mm float64) *closedCurve {
	t.Helper()
	k := &closedCurve{}
	if !k.chord([2]part.Point{half[0], half[len(half)-1]}) || !k.fit(at, mm) {
		t.Fatal("the curve was not fitted")
	}
	return k
}

func none() float64 { return 0 }

// A round or elliptical seam from afar is an ellipse, whose half this curve is: nothing is
// left over, and pose and limbs come out as drawn. Near the camera and as an oval it is one nearly.
func TestClosedCurve(t *testing.T) {
	for _, c := range []struct {
		name     string
		o        oval
		limb     float64 // how far the limbs' rows may be off, px
		shareOff float64 // of the slant
	}{
		{"round, from afar", oval{radius: 7.3, pitch: 1.5, roll: 3, distance: math.Inf(1), mm: 0.02}, 0.01, 0.01},
		{"round, level, high", oval{radius: 7.3, dz: 3, roll: -4, distance: 140, mm: 0.02}, 0.15, 0.08},
		{"round, low and tipped", oval{radius: 7.3, dz: -3, pitch: 1.5, distance: 140, mm: 0.02}, 0.3, 0.08},
		{"oval", oval{radius: 7.3, second: 0.12, third: 0.03, turn: 0.5, dz: 2, pitch: -1, roll: 2, distance: 200, mm: 0.02}, 0.5, 0.2},
	} {
		half := c.o.pictured()
		k := fitted(t, half, columnsOn(half, none), c.o.mm)
		for i, sign := range []float64{-1, 1} {
			if d := k.c[0] + sign*k.c[1]; math.Abs(d) > c.limb {
				t.Errorf("%s: limb %d is %.3f px off, more than %.2f", c.name, i, d, c.limb)
			}
			if d := k.c[0] + sign*k.c[1]; math.Abs(d) > 3*k.uRow(i) {
				t.Errorf("%s: limb %d is %.3f px off, u %.3f", c.name, i, d, k.uRow(i))
			}
		}
		p := k.stance(1, 1, Params{MMPerPX: c.o.mm, Camera: Camera{DistanceMM: c.o.distance, Axis: &part.Point{}}})
		slant := c.o.pitch - deg(math.Atan(c.o.dz/c.o.distance))
		near(t, c.name+": slant", p.SlantDeg, slant, c.shareOff*math.Abs(slant)+0.01)
		near(t, c.name+": roll", p.RollDeg, c.o.roll, 0.01+2*p.URollDeg)
		near(t, c.name+": height", p.HeightMM, c.o.dz, 0.02)
		near(t, c.name+": pitch", p.PitchDeg, c.o.pitch, 0.02+2*p.UPitchDeg)
	}
}

// The propagation of distributions (JCGM 101:2008, 7): columns err at random, sections, poses and
// distances are drawn from what is taken to be usual; how the limbs' rows scatter is held against
// the linear uncertainty (JCGM 100:2008, 5.1.2). 95 % must lie within 2 u, and the root mean square
// of error over u near 1; beyond one sixth of it the linear one would mislead.
func TestRowMonteCarlo(t *testing.T) {
	rng := rand.New(rand.NewPCG(2008, 101))
	const trials = 400
	within, n, square := 0, 0, 0.0
	for range trials {
		o := oval{radius: 6.8 + rng.Float64(), second: 0.16 * rng.Float64(), third: 0.05 * rng.Float64(), turn: 2 * math.Pi * rng.Float64(),
			pitch: 3*rng.Float64() - 1.5, roll: 8*rng.Float64() - 4, dz: 6*rng.Float64() - 3, distance: 140 + 160*rng.Float64(), mm: 0.02}
		half := o.pictured()
		// what all columns have in common: where between two colours the seam is
		k0 := closedCurve{uMiddle: 0.3}
		common := rng.NormFloat64() * math.Hypot(k0.uMiddle, seamFloorPX)
		k := fitted(t, half, columnsOn(half, func() float64 { return common + 0.4*rng.NormFloat64() }), o.mm)
		k.uMiddle = k0.uMiddle
		for i, sign := range []float64{-1, 1} {
			z := (k.c[0] + sign*k.c[1]) / k.uRow(i)
			n++
			square += z * z
			if math.Abs(z) <= 2 {
				within++
			}
		}
	}
	share, rms := float64(within)/float64(n), math.Sqrt(square/float64(n))
	t.Logf("within 2u at %.1f %%, root mean square of error over u %.2f", 100*share, rms)
	if share < 0.92 || share > 0.985 || math.Abs(rms-1) > 1.0/6 {
		t.Errorf("the linear uncertainty misleads: within 2u at %.1f %%, root mean square of error over u %.2f", 100*share, rms)
	}
}

// A limb's own scale: the line of sight touches a round body of radius r seen from D at
// r^2/D before its axis (elementary geometry), where lengths are pictured larger by that share of D.
func TestLimbScale(t *testing.T) {
	f, u := Camera{DistanceMM: 140}.limbScale(7)
	near(t, "scale", f, 1-0.0025, 1e-12)
	if !(u > 0.005 && u < 0.015) { // a fifth of 7 mm in 140
		t.Errorf("u %.4f", u)
	}
	if f, u := (Camera{DistanceMM: math.Inf(1)}).limbScale(7); f != 1 || u != 0 {
		t.Errorf("telecentric: %g, u %g", f, u)
	}
	if _, all := (Camera{}).limbScale(7); !(all > 0) {
		t.Error("a distance that is not known costs nothing")
	}
}

// What a person is told to do makes the seam straighter.
func TestDoubt(t *testing.T) {
	high := Stance{SlantDeg: -1.2, HeightMM: 3, PitchDeg: 0}
	tipped := Stance{SlantDeg: 1.6, HeightMM: 0.2, PitchDeg: 1.6}
	unknown := Stance{SlantDeg: 1.6, HeightMM: -2, PitchDeg: math.NaN()}
	for _, c := range []struct {
		p    Stance
		want string
	}{
		{high, "the unit is 3.0 mm above the lens's axis: raise the camera or lower the unit (u is 3.0 um here and would be 2.0)"},
		{tipped, "the unit is tipped by 1.6 deg towards the camera: set it upright (u is 3.0 um here and would be 2.0)"},
		{unknown, "the seam is seen from above, by 1.6 deg: lower the camera, or tip the unit away from it, until it looks straight (u is 3.0 um here and would be 2.0)"},
		{Stance{SlantDeg: 0.5, PitchDeg: 0.5}, ""},
		{noStance(), ""},
	} {
		doubt := c.p.doubt(3, 2)
		if doubt.Key == "" && c.want == "" {
			continue
		}
		if got := lang.English().Say(&doubt); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
	if d := high.doubt(2.2, 2); d.Key != "" {
		t.Errorf("told where it hardly matters: %q", d)
	}
}
