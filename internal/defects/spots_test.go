package defects

import (
	"math"
	"testing"

	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// TestNewSpots: of what is drawn, all by closed form, a disc stands out by its own contrast, on even ground, on an edge and beside a
// corner, bright or dark; the edge, the corner and a wire do not.
func TestNewSpots(t *testing.T) {
	const w, h, radius, step = 160, 120, 4.0, 0.2
	p := part.NewPlane(w, h)
	discs := [][3]float64{{30, 30, 0.3}, {80, 60, 0.3}, {100, 22, -0.1}} // on the ground, on the edge, within the corner
	for i := range p.V {
		x, y := float64(i%w), float64(i/w)
		v := 0.2
		if x >= 80 && y >= 14 {
			v += step // an edge down, one across, and their corner
		}
		if math.Abs((x-20)*math.Sin(0.5)-(y-80)*math.Cos(0.5)) < 3 && x < 70 && x > 10 {
			v = 0.5 // a wire with two ends
		}
		for _, d := range discs {
			if math.Hypot(x-d[0], y-d[1]) <= radius {
				v += d[2]
			}
		}
		p.V[i] = float32(v)
	}
	out, err := newSpots(p, 19)
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range out.V {
		x, y := float64(i%w), float64(i/w)
		want := 0.0
		for _, d := range discs {
			if math.Hypot(x-d[0], y-d[1]) <= radius {
				want = d[2]
			}
		}
		// A line along a rounded or slanting border lies a pixel off, and an edge's disc is bright by its height over either side.
		near := false
		for _, d := range discs {
			near = near || math.Abs(math.Hypot(x-d[0], y-d[1])-radius) < 3
		}
		if near || math.Abs((x-20)*math.Sin(0.5)-(y-80)*math.Cos(0.5)) < 5 && math.Abs((x-20)*math.Sin(0.5)-(y-80)*math.Cos(0.5)) > 1 {
			continue
		}
		if math.Abs(float64(v)-want) > 0.02 && !(want > 0 && x < 80 && x > 70) {
			t.Errorf("at %g, %g: %.3f, want %.3f", x, y, v, want)
		}
	}
}

// TestIsEnd: over even ground a wire's end has the wire beside it, a spot has nothing; beside an edge there is as much to either side.
func TestIsEnd(t *testing.T) {
	ring := func(share, light float64) []float64 {
		out := make([]float64, 40)
		for i := range out {
			out[i] = 0.2
			if float64(i) < share*40 {
				out[i] = light
			}
		}
		return out
	}
	for _, c := range []struct {
		what string
		ring []float64
		own  float64
		want bool
	}{
		{"a bright wire's end", ring(0.2, 0.5), 0.3, true},
		{"a dark wire's end", ring(0.2, 0.05), -0.15, true},
		{"a spot on even ground", ring(0, 0), 0.3, false},
		{"a bright spot, a dark wire beside it", ring(0.2, 0.05), 0.3, false},
		{"a spot on an edge", append(ring(0.6, 0.1), ring(0.6, 0.4)...), 0.3, false},
	} {
		if got := isEnd(c.ring, c.own); got != c.want {
			t.Errorf("%s: %v", c.what, got)
		}
	}
}

// TestDustBeforePart: dust in front of the upright edge of a part inside a drawn see-through shell is found. The edge is the clearest one
// of the boxes, the size common practice.
func TestDustBeforePart(t *testing.T) {
	p := seeThrough(shellParams(2), true)
	p.Rig, p.Ground, p.TurnDeg = "panels", "grey", 70
	d, _, truth := synth.Shell(p)
	best, atX, atY := 0.0, 0, 0
	for _, o := range truth.Inside[:p.Boxes] {
		for y := int(o.Box[1]) + 30; y < int(o.Box[1]+o.Box[3])-40; y++ {
			for x := int(o.Box[0]) + 10; x < int(o.Box[0]+o.Box[2])-10; x++ {
				step := 0.0 // over several rows, so that it is an edge's and upright
				for k := -6; k <= 6; k++ {
					i := (y+k)*d.W + x
					step += float64(d.Pix8[(i+3)*3+1]) - float64(d.Pix8[(i-3)*3+1])
				}
				if step = math.Abs(step); step > best && step < 13*12 {
					best, atX, atY = step, x, y
				}
			}
		}
	}
	turn, below := placeOf(truth, float64(atX), float64(atY))
	p.Marks = []synth.ShellMark{{TurnDeg: turn, BelowMM: below,
		Defect: synth.Defect{Kind: part.Dust, DiameterMM: 0.25, Colour: [3]float64{0.02, 0.02, 0.02}}}}
	s, err := turned(p, p.TurnDeg)
	if err != nil {
		t.Fatal(err)
	}
	m := s.truth[0].Marks[0]
	if math.Hypot(m.XPX-float64(atX), m.YPX-float64(atY)) > 2 {
		t.Fatalf("drawn at %.1f, %.1f, meant at %d, %d", m.XPX, m.YPX, atX, atY)
	}
	if len(of(m, s.before[0])) != 1 {
		t.Errorf("dust at %d, %d on an edge of %.0f levels: found %d times of %d findings", atX, atY, best/13, len(of(m, s.before[0])),
			len(s.before[0]))
	}
}

// placeOf is the place on the shell that is drawn at a pixel, by steps towards it.
func placeOf(truth synth.ShellTruth, x, y float64) (turnDeg, belowMM float64) {
	turnDeg, belowMM = 70, 3
	off := func(turn, below float64) float64 {
		px, py, slope := truth.Place(turn, below)
		if slope > 80 {
			return math.Inf(1)
		}
		return math.Hypot(px-x, py-y)
	}
	for step := 8.0; step > 0.01; step /= 2 {
		for range 20 {
			for _, d := range [][2]float64{{step, 0}, {-step, 0}, {0, step / 8}, {0, -step / 8}} {
				if off(turnDeg+d[0], belowMM+d[1]) < off(turnDeg, belowMM) {
					turnDeg, belowMM = turnDeg+d[0], belowMM+d[1]
				}
			}
		}
	}
	return turnDeg, belowMM
}
