package body

import (
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"finishbench/internal/lang"

	"finishbench/internal/capture/outline"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// solid is a body by its cross-sections' support function: the distance from the axis of the line that
// touches it at right angles to a direction, which is the turn that brings it to the front.
type solid struct {
	depth   float64                              // mm
	support func(turnDeg, below float64) float64 // mm
}

// ball is a half ball: its sections have the radius sqrt(r^2 - v^2).
func ball(r float64) solid {
	return solid{r, func(_, v float64) float64 { return math.Sqrt(max(0, r*r-v*v)) }}
}

// can is a cylinder.
func can(r, depth float64) solid { return solid{depth, func(_, _ float64) float64 { return r }} }

const (
	viewMM     = 0.02 // per pixel of the views that are made without pixels
	viewAxis   = 500.0
	viewSeam   = 120.0
	viewPlate  = 1.2 // mm of faceplate
	viewRadius = 7.0
)

// in is how a telecentric camera sees it in a turn, leaning to the right by a slope: the right side is
// what touches in the direction 90 degrees before the turn. off is how far the axis is moved, mm.
func (s solid) in(turnDeg, off float64) *View {
	f := &outline.Flanks{Seen: 1}
	for y := viewSeam - viewPlate/viewMM; y <= viewSeam+s.depth/viewMM; y++ {
		v := max(0, (y-viewSeam)*viewMM)
		f.Rows = append(f.Rows, outline.FlankRow{Y: y,
			Left: viewAxis + (off-s.support(turnDeg+90, v))/viewMM, Right: viewAxis + (off+s.support(turnDeg-90, v))/viewMM})
	}
	v := &View{TurnDeg: turnDeg, MMPerPX: viewMM, Flanks: f, SeamY: viewSeam}
	left, right := v.across(viewSeam)
	v.MiddleX, v.HalfPX = (left+right)/2, (right-left)/2
	v.readRows()
	return v
}

func (s solid) turns(deg ...float64) (views []*View) {
	for _, d := range deg {
		views = append(views, s.in(d, 0))
	}
	return views
}

func fitted(t testing.TB, views []*View) *Shape {
	t.Helper()
	s, told, err := Fit(views)
	if err != nil || len(told) > 0 {
		t.Fatalf("%v, %q", err, told)
	}
	return s
}

// apart is an angle between two turns, degrees, 0..180.
func apart(a, b float64) float64 { return math.Abs(math.Remainder(a-b, 360)) }

// TestPlaceOnBall: synth's half ball has a place right of the middle by R w sin(u), its slope's cosine is its
// distance towards the camera over R (TestShellPlace of synth); the fit reads its outline in rows of 0.25 mm
// and takes how it leans over a millimetre to either side, hence the tolerances.
func TestPlaceOnBall(t *testing.T) {
	p := synth.RoundShell()
	p.W, p.H = 20, 20 // the truth is by formula: what is drawn does not matter
	for _, turns := range [][]float64{{90}, {0, 120, 240}} {
		views := ball(p.RadiusMM).turns(turns...)
		shape := fitted(t, views)
		for k, turn := range turns {
			p.MMPerPX, p.TurnDeg, p.AxisXPX, p.SeamYPX = viewMM, turn, viewAxis, viewSeam
			_, _, truth := synth.Shell(p)
			seen := shape.In(views, k)
			for _, right := range []float64{-50, -20, 0, 35, 55} {
				for _, below := range []float64{0.4, 2, 4, 5.5} {
					x, y, slope := truth.Place(turn-right, below)
					if slope > 60 {
						continue
					}
					got, ok := seen.Place(x, y)
					if !ok || apart(got.TurnDeg, turn-right) > 0.2 || math.Abs(got.BelowMM-below) > 1e-6 ||
						math.Abs(got.Slope()-slope) > 2 {
						t.Errorf("turns %g, turn %g: place %g, %g at slope %.1f: %v, %+v at slope %.1f", turns, turn, turn-right, below,
							slope, ok, got, got.Slope())
					}
					// The normal of a ball is its place over its radius: to the right, down, and to the camera.
					w, u := math.Sqrt(p.RadiusMM*p.RadiusMM-below*below), rad(right)
					nx, ny, nz := w*math.Sin(u)/p.RadiusMM, below/p.RadiusMM, w*math.Cos(u)/p.RadiusMM
					if d := math.Acos(min(1, nx*got.NormalX+ny*got.NormalY+nz*got.NormalZ)); d > rad(2) {
						t.Errorf("turn %g: the normal at %g, %g is off by %.2f deg", turn, turn-right, below, d*180/math.Pi)
					}
				}
			}
		}
	}
}

// TestPlaceByTurn: what lies in the picture's middle in one turn lies to the right in a turn of more, and is the
// same place in both.
func TestPlaceByTurn(t *testing.T) {
	views := can(viewRadius, 8).turns(30, 60, 270)
	shape := fitted(t, views)
	first, ok := shape.In(views, 0).Place(viewAxis, viewSeam+100)
	if !ok || apart(first.TurnDeg, 30) > 1e-6 {
		t.Fatalf("in the middle of turn 30 lies %+v", first)
	}
	q, again, ok := shape.In(views, 1).Pixel(first.TurnDeg, first.BelowMM)
	if want := viewAxis + viewRadius*math.Sin(rad(30))/viewMM; !ok || math.Abs(q.X-want) > 0.1 || math.Abs(q.Y-viewSeam-100) > 0.1 {
		t.Errorf("turned by 30 degrees more it lies at %+v, want %.1f right of it all", q, want)
	}
	if apart(again.TurnDeg, 30) > 0.05 || math.Abs(again.Slope()-30) > 0.1 {
		t.Errorf("there lies %+v at slope %.2f, want turn 30 at slope 30", again, again.Slope())
	}
	if _, _, ok := shape.In(views, 2).Pixel(30, 2); ok {
		t.Error("turned by 240 degrees it is on the far side, and is told as seen")
	}
}

// oval is a body whose section is not round: a support function's orders one to three by random amounts,
// shares of its radius, and sides that come together below as a superellipse's.
func oval(rng *rand.Rand, r, off, two, three float64) solid {
	var c [terms]float64
	sd := [terms]float64{0, off / r, off / r, two, two, three, three}
	for convex := false; !convex; { // radii of curvature, p + p'', of at least a fifth of the radius
		for i := range c {
			c[i] = sd[i] * rng.NormFloat64()
		}
		c[0], convex = 1, true
		for deg := range 360 {
			convex = convex && series(c).curve(rad(float64(deg))) > 0.2
		}
	}
	const depth = 8.0
	return solid{depth, func(turnDeg, v float64) float64 {
		w := math.Pow(max(0, 1-math.Pow(v/depth, 2.4)), 1/2.4)
		b, sum := basis(rad(turnDeg)), 0.0
		for i := range c {
			sum += c[i] * b[i]
		}
		return r * w * sum
	}}
}

// normalZ is the normal's share towards the camera at the place whose section's normal lies so far right of the
// line of sight in a turn, and how far right of the axis that place lies, by small steps.
func (s solid) normalZ(turnDeg, rightDeg, below float64) (z, x float64) {
	const e = 1e-3
	at := turnDeg - rightDeg
	p := s.support(at, below)
	dp := -(s.support(at+e, below) - s.support(at-e, below)) / (2 * e * math.Pi / 180)
	sin, cos := math.Sincos(rad(rightDeg))
	fall := (s.support(at, below+e) - s.support(at, below-e)) / (2 * e)
	return cos / math.Sqrt(1+fall*fall), p*sin + dp*cos
}

// honesty counts how often a slope's cosine is told within twice its stated uncertainty, over places up to
// 60 degrees of many ovals.
func honesty(rng *rand.Rand, shells int, two, three float64, noise float64, turns ...float64) (within, all int, rms, u float64) {
	for range shells {
		s := oval(rng, viewRadius, 0.3, two, three)
		start := 360 * rng.Float64()
		var views []*View
		for _, d := range turns {
			v := s.in(part.Turn(start+d), 0)
			for i := range v.rows {
				v.rows[i].left += noise * rng.NormFloat64()
				v.rows[i].right += noise * rng.NormFloat64()
			}
			views = append(views, v)
		}
		shape, _, err := Fit(views)
		if err != nil {
			panic(err)
		}
		for k := range views {
			seen := shape.In(views, k)
			for range 12 {
				right, below := 110*rng.Float64()-55, 0.4+4.5*rng.Float64()
				z, x := s.normalZ(views[k].TurnDeg, right, below)
				if z < 0.5 {
					continue
				}
				px, py := viewAxis+x/viewMM, viewSeam+below/viewMM
				got, ok := seen.Place(px, py)
				if !ok {
					continue
				}
				d, us := got.NormalZ-z, seen.USlope(px, py)
				all++
				rms, u = rms+d*d, u+us*us
				if math.Abs(d) <= 2*us {
					within++
				}
			}
		}
	}
	return within, all, math.Sqrt(rms / float64(all)), math.Sqrt(u / float64(all))
}

// TestUSlope: of drawn ovals whose orders have the standard deviations that the fit takes for usual, as far as they are convex,
// the stated uncertainty holds twice for about 95 % of places (a normal law's share), whatever the number of turns. Places of one
// shell go together, so that the share scatters: by 0.02 over 120 shells (counted with other seeds).
func TestUSlope(t *testing.T) {
	shells := 120
	if os.Getenv("FINISHBENCH_FIGURES") != "" {
		shells = 1500
	}
	last := math.Inf(1)
	for _, turns := range [][]float64{{0}, {0, 90, 180, 270}, {0, 120, 240}} {
		in, all, rms, u := honesty(rand.New(rand.NewPCG(5, 6)), shells, ovalShare, threeShare, 0.02, turns...)
		share := float64(in) / float64(all)
		t.Logf("turns %g: within 2 u %.3f of %d places, rms error %.4f, rms u %.4f", turns, share, all, rms, u)
		if share < 0.92 || share > 0.99 {
			t.Errorf("turns %g: within 2 u %.3f of %d places", turns, share, all)
		}
		if u >= last {
			t.Errorf("turns %g: u %.4f is no less than with fewer directions, %.4f", turns, u, last)
		}
		last = u
	}
}

// TestRoundIsCertain: no turns more make a round shell's slope worse than the outline is told; the error of a
// cosine is that of the limb, 0.02 mm of 7, and of the rows.
func TestRoundIsCertain(t *testing.T) {
	_, all, rms, _ := honesty(rand.New(rand.NewPCG(7, 8)), 20, 0, 0, 0.02, 0, 90, 180, 270)
	if rms > 0.012 {
		t.Errorf("round shells: rms error of the cosine %.4f over %d places", rms, all)
	}
}

// TestMisfits: each way in which a turn does not match the others is said of that turn, and at most of the opposite one besides.
func TestMisfits(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 9))
	unit := oval(rng, viewRadius, 0.1, 0.05, 0.01)
	all := []float64{0, 90, 180, 270}
	for _, c := range []struct {
		name, want string
		change     func(v *View)
	}{
		{"nothing", "", func(*View) {}},
		{"lower in the picture", "seam", func(v *View) { v.SeamY += 0.9 / viewMM }},
		{"deeper", "deep", func(v *View) {
			for range 6 {
				v.rows = append(v.rows, v.rows[len(v.rows)-1])
			}
		}},
		{"nearer to the camera", "outline", func(v *View) {
			for i := range v.rows {
				v.rows[i].left, v.rows[i].right = 1.09*v.rows[i].left, 1.09*v.rows[i].right
			}
		}},
		{"another unit", "outline", func(v *View) { v.rows = can(viewRadius+0.4, 8).in(180, 0).rows }},
	} {
		views := unit.turns(all...)
		c.change(views[2])
		_, told, err := Fit(views)
		if err != nil {
			t.Fatal(err)
		}
		of, others := 0, 0
		for _, s := range lang.English().SayAll(told) {
			switch {
			case strings.Contains(s, "turned by 180 deg") && strings.Contains(s, c.want):
				of++
			case !strings.Contains(s, "turned by 0 deg"): // which shows the same two sides: outlines do not tell which of the two is off
				others++
			}
		}
		if c.want == "" && len(told) > 0 || c.want != "" && of != 1 || others > 0 {
			t.Errorf("%s: %q", c.name, told)
		}
	}
	// Moved to the side, the places of a turn are still told from its own middle.
	still := unit.turns(all...)
	views := unit.turns(all...)
	views[1] = unit.in(90, 0.8)
	shape, told, err := Fit(views)
	if err != nil || len(told) > 0 {
		t.Fatalf("%v, %q", err, told)
	}
	was, _ := fitted(t, still).In(still, 1).Place(viewAxis+100, viewSeam+100)
	at, _ := shape.In(views, 1).Place(viewAxis+100+0.8/viewMM, viewSeam+100)
	if apart(was.TurnDeg, at.TurnDeg) > 0.1 || math.Abs(was.NormalZ-at.NormalZ) > 1e-3 {
		t.Errorf("moved to the side: %+v, before %+v", at, was)
	}
}

// TestFitRefuses: nothing to fit to, and an outline that ends at once.
func TestFitRefuses(t *testing.T) {
	if _, _, err := Fit(nil); err == nil {
		t.Error("a shape of no turns")
	}
	if _, _, err := Fit(can(viewRadius, 0.6).turns(0)); err == nil || !strings.Contains(err.Error(), "mm below the seam") {
		t.Errorf("an outline of 0.6 mm: %v", err)
	}
}
