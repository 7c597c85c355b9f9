package body

import (
	"math"
	"testing"

	"finishbench/internal/part"
)

// TestStretch: on a cylinder a length across the axis is shortened by the slope's cosine and one along it is not; on a ball,
// down its slope by the cosine, across it not at all, and at an angle a to the slope by 1/sqrt(1 + tan^2(slope) cos^2(a)):
// what the picture shows of a plane that leans by so much.
func TestStretch(t *testing.T) {
	for _, deg := range []float64{0, 20, 45, 60} {
		tan := math.Tan(rad(deg))
		for name, p := range map[string]Place{
			"to the right": {NormalX: math.Sin(rad(deg)), NormalZ: math.Cos(rad(deg))},
			"down":         {NormalY: math.Sin(rad(deg)), NormalZ: math.Cos(rad(deg))},
			"down to the right": {NormalX: math.Sin(rad(deg)) * math.Sqrt(0.5), NormalY: math.Sin(rad(deg)) * math.Sqrt(0.5),
				NormalZ: math.Cos(rad(deg))},
		} {
			slopes := map[string]float64{"to the right": 0, "down": 90, "down to the right": -45}[name] // counter-clockwise from the right
			for _, a := range []float64{0, 90, 30, 135} {
				want := 1 / math.Sqrt(1+tan*tan*math.Pow(math.Cos(rad(a)), 2))
				if got := p.Stretch(slopes + a); math.Abs(got-want) > 1e-9 {
					t.Errorf("%g deg %s, %g deg beside it: %.4f, want %.4f", deg, name, a, got, want)
				}
			}
		}
	}
	seen := fitted(t, can(viewRadius, 8).turns(0)).In(can(viewRadius, 8).turns(0), 0)
	p, ok := seen.Place(viewAxis+viewRadius*math.Sin(rad(50))/viewMM, viewSeam+150)
	if !ok || math.Abs(p.Stretch(0)-math.Cos(rad(50))) > 0.002 || math.Abs(p.Stretch(90)-1) > 1e-6 {
		t.Errorf("a cylinder at 50 degrees: %+v, stretch %.4f, %.4f", p, p.Stretch(0), p.Stretch(90))
	}
}

// leaning is a view of a cylinder in a picture that leans, from a camera that looks down: what lies z mm in front of the
// axis and v mm below the seam shows v cos(tilt) + z sin(tilt) below it (rotation about the picture's x axis).
func leaning(roll, tiltDeg float64) (*Shape, []*View) {
	views := can(viewRadius, 8).turns(0)
	v := views[0]
	v.Roll, v.Bow = roll, viewRadius*math.Sin(rad(tiltDeg))/viewMM
	shape, _, err := Fit(views) // the rows are those of the seam's frame
	if err != nil {
		panic(err)
	}
	return shape, views
}

// TestPlaceFromAbove: with the camera looking down and the unit leaning in the picture, a cylinder's places and normals by
// the two rotations. The program takes cos(tilt) for 1.
func TestPlaceFromAbove(t *testing.T) {
	const roll, tilt = 0.03, 4.0
	shape, views := leaning(roll, tilt)
	seen := shape.In(views, 0)
	for _, right := range []float64{-50, 0, 30} {
		for _, v := range []float64{1, 4, 7} {
			x, z := viewRadius*math.Sin(rad(right)), viewRadius*math.Cos(rad(right))
			w := v*math.Cos(rad(tilt)) + z*math.Sin(rad(tilt))
			sin, cos := math.Sincos(math.Atan(roll))
			px, py := viewAxis+(x*cos-w*sin)/viewMM, viewSeam+(x*sin+w*cos)/viewMM
			got, ok := seen.Place(px, py)
			if !ok || apart(got.TurnDeg, -right) > 0.1 || math.Abs(got.BelowMM-v) > 0.02+v*(1-math.Cos(rad(tilt))) {
				t.Errorf("%g deg right, %g below: %v, %+v", right, v, ok, got)
			}
			ny, nz := math.Cos(rad(right))*math.Sin(rad(tilt)), math.Cos(rad(right))*math.Cos(rad(tilt))
			if math.Abs(got.NormalY-ny) > 0.003 || math.Abs(got.NormalZ-nz) > 0.003 {
				t.Errorf("%g deg right, %g below: normal %.4f down, %.4f to the camera, want %.4f, %.4f", right, v, got.NormalY,
					got.NormalZ, ny, nz)
			}
		}
	}
}

// TestPixelIsPlacesInverse on a ball, an oval and a leaning cylinder seen from above.
func TestPixelIsPlacesInverse(t *testing.T) {
	tilted, itsViews := leaning(-0.03, 4)
	round := ball(viewRadius).turns(0, 120, 240)
	for name, seen := range map[string]Seen{
		"ball": fitted(t, round).In(round, 1), "from above": tilted.In(itsViews, 0),
	} {
		n := 0
		for x := viewAxis - 280; x <= viewAxis+280; x += 70 {
			for y := viewSeam + 20; y <= viewSeam+260; y += 60 {
				p, ok := seen.Place(x, y)
				if !ok || p.BelowMM < 0.1 || p.Slope() > 75 {
					continue
				}
				n++
				q, again, ok := seen.Pixel(p.TurnDeg, p.BelowMM)
				if !ok || math.Hypot(q.X-x, q.Y-y) > 0.5 || apart(again.TurnDeg, p.TurnDeg) > 0.2 {
					t.Errorf("%s: %g, %g shows %+v, which lies at %+v", name, x, y, p, q)
				}
			}
		}
		if n < 20 {
			t.Errorf("%s: %d places tried", name, n)
		}
	}
}

// areaPX is a closed curve's area (the shoelace formula).
func areaPX(c []part.Point) float64 {
	sum := 0.0
	for i, p := range c {
		q := c[(i+1)%len(c)]
		sum += p.X*q.Y - q.X*p.Y
	}
	return math.Abs(sum) / 2
}

// TestRegion: a cylinder's is as wide as 2 R sin(60) and reaches from where it begins to its end; a ball's keeps to slopes of
// 60 degrees and ends where, by the law of mirrors, the axis' line shows the holder: at a slope s, R cos(s) sin(2s)/-cos(2s)
// below, which is holderLongMM.
func TestRegion(t *testing.T) {
	const from = 0.4
	flat := can(viewRadius, 8).turns(0)
	curve, middle := fitted(t, flat).In(flat, 0).Region(60, from)
	if want := 2 * viewRadius * math.Sin(rad(60)) * (8 - from) / (viewMM * viewMM); math.Abs(areaPX(curve)-want) > 0.02*want {
		t.Errorf("a cylinder's region has %.0f px, want %.0f", areaPX(curve), want)
	}
	if !middle.Inside(curve) {
		t.Errorf("the middle %+v lies beside its region", middle)
	}
	round := ball(viewRadius).turns(0)
	seen := fitted(t, round).In(round, 0)
	curve, middle = seen.Region(60, from)
	steepest, lowest := 0.0, 0.0
	for _, q := range curve {
		q = part.Point{X: middle.X + 0.995*(q.X-middle.X), Y: middle.Y + 0.995*(q.Y-middle.Y)}
		p, ok := seen.Place(q.X, q.Y)
		x, v := (q.X-viewAxis)*viewMM, (q.Y-viewSeam)*viewMM
		slope := math.Acos(math.Sqrt(viewRadius*viewRadius-x*x-v*v)/viewRadius) * 180 / math.Pi // the ball's own
		if !ok || v < from-0.01 || slope > 61 || p.Slope() > 60.5 {
			t.Errorf("%+v: %.2f mm below, slope %.1f by the ball, %.1f told", q, v, slope, p.Slope())
		}
		steepest, lowest = max(steepest, slope), max(lowest, v)
	}
	if steepest < 59 {
		t.Errorf("the region ends at a slope of %.1f already", steepest)
	}
	s := 46.0
	for viewRadius*math.Cos(rad(s))*math.Sin(rad(2*s))/-math.Cos(rad(2*s)) > holderLongMM {
		s += 0.05
	}
	if want := viewRadius * math.Sin(rad(s)); math.Abs(lowest-want) > 0.12 {
		t.Errorf("the region ends %.2f mm below the seam, the holder is mirrored from %.2f on", lowest, want)
	}
}
