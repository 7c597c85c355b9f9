package defects

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"finishbench/internal/body"
	"finishbench/internal/defects/scene"
	"finishbench/internal/defects/search"
	"finishbench/internal/defects/shape"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// What is matt looks alike in both lights, though one picture moved by two pixels; noise does not. Expected: a copy's
// correlation is 1 by its definition; that of 400 independent values has a standard deviation of 1/sqrt(400), so under 0.25.
func TestCorrelationOfMoved(t *testing.T) {
	const w, h = 20, 20
	rng := rand.New(rand.NewPCG(5, 6))
	u, v, other := make([]float64, w*h), make([]float64, w*h), make([]float64, w*h)
	for k := range u {
		u[k], other[k] = rng.NormFloat64(), rng.NormFloat64()
	}
	for k := range v {
		if x := k%w - 2; x >= 0 {
			v[k] = 3*u[k/w*w+x] + 1
		}
	}
	if got := productsOf(u, v, w, h, 2, 0).correlation(); math.Abs(got-1) > 1e-9 {
		t.Errorf("a copy moved by 2: %v, want 1", got)
	}
	if got := productsOf(u, other, w, h, 0, 0).correlation(); math.Abs(got) > 0.25 {
		t.Errorf("noise against noise: %v, want about 0", got)
	}
}

// Two glints are in one run's column where it is no wider than a run and they are no further apart than its drop is long: 1 mm each,
// runMostMM, at 0.03 mm a pixel.
func TestInColumn(t *testing.T) {
	f := &face{Face: search.Face{Face: scene.Face{ShapeFactor: 1,
		Params: scene.Params{MMPerPX: 0.03, Shell: &body.Seen{View: &body.View{}}}}}}
	at := func(x0, y0, x1, y1 int) *place {
		p := &place{win: &search.Window{W: 100, H: 100}}
		for y := y0; y <= y1; y++ {
			for x := x0; x <= x1; x++ {
				p.body = append(p.body, y*100+x)
			}
		}
		p.all = shape.Of(p.body, 100, 0, 0)
		return p
	}
	streak := at(10, 0, 12, 20)
	for _, c := range []struct {
		name string
		b    *place
		want bool
	}{{"0.6 mm below", at(11, 40, 13, 42), true}, {"1.5 mm aside", at(60, 10, 62, 12), false},
		{"1.8 mm below", at(11, 80, 13, 82), false}} {
		if got := f.inColumn(streak, c.b); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// A run's tail is told by its line: drawn 1.5 mm long it is that long; noise alone has none, nor has the edge of something wide.
func TestTailIn(t *testing.T) {
	wide, half := int(tailFarMM/tailStepMM), int(runMostMM/2/tailStepMM)
	for _, c := range []struct{ drawn, beyond, want float64 }{{0, 0, 0}, {1.5, 0, 1.5}, {1.5, 0.15, 0}} { // mm; light to one side; mm
		rng := rand.New(rand.NewPCG(7, 8))
		rows := make([][]float64, int(2*tailLeastMM/tailStepMM))
		for k := range rows {
			rows[k] = make([]float64, 2*wide+1)
			for j := range rows[k] {
				rows[k][j] = 0.02 * rng.NormFloat64()
				if float64(k)*tailStepMM < c.drawn && (j == wide+3 || j == wide+4) {
					rows[k][j] += 0.2
				}
				if j > wide+4 {
					rows[k][j] += c.beyond
				}
			}
		}
		if got := tailIn(rows, wide, half, 0); math.Abs(got-c.want) > tailFadesMM {
			t.Errorf("a line of %v mm, %v beyond it: %v, want %v", c.drawn, c.beyond, got, c.want)
		}
	}
}

// A lamp mirrored along a dull place's edge goes, the dull place stays.
func TestWithoutGlints(t *testing.T) {
	const w, h = 80, 80
	v := make([]float64, w*h)
	for k := range v {
		switch x, y := k%w, k/w; {
		case x >= 19 && x < 22:
			v[k] = 3 // a glint 3 pixels wide
		case math.Hypot(float64(x-55), float64(y-40)) < 15:
			v[k] = 0.1
		}
	}
	out := withoutGlints(v, w, h, 2)
	if got := out[40*w+20]; got != 0 {
		t.Errorf("on the glint: %v, want 0", got)
	}
	if got := out[40*w+55]; got != 0.1 {
		t.Errorf("on the dull place: %v, want 0.1", got)
	}
}

// TestShellSurfaceKinds: on a drawn shell before a window, what belongs to its surface gets its name: a run by its tail, haze by
// its soft edge, a missed place by its sharp one.
func TestShellSurfaceKinds(t *testing.T) {
	p := randomShell(5003)
	p.Marks = synth.RandomMarks(p, map[part.Kind]int{part.Dust: 3, part.Bubble: 3, part.Fibre: 2, part.Sanding: 1, part.Crater: 3,
		part.Run: 3, part.Missed: 3, part.Haze: 3}, 5080)
	s, err := turned(p, 120)
	if err != nil {
		t.Fatal(err)
	}
	for _, kind := range []part.Kind{part.Run, part.Haze, part.Missed} {
		named := 0
		for _, m := range s.truth[0].Marks {
			if m.Kind == kind && shows(m) && slices.ContainsFunc(of(m, s.before[0]), func(f part.Finding) bool { return f.Kind == kind }) {
				named++
			}
		}
		if named == 0 {
			t.Errorf("no %s is called one", kind)
		}
	}
}

// TestShowsAgain: on drawn shells before each rig, none of which mattAgain was chosen on, what is matt shows again in the other light by
// more than that, and what mirrors lamps does not. Four in five of each is common practice, no source: marks meet lamps' images and each
// other.
func TestShowsAgain(t *testing.T) {
	all, right := map[bool]int{}, map[bool]int{}
	for seed := range uint64(4) {
		p := randomShell(6100 + seed)
		p.Marks = synth.RandomMarks(p, map[part.Kind]int{part.Dust: 10, part.Fibre: 6, part.Crater: 8, part.Run: 6}, 6180+seed)
		s, err := turned(p, 60)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range s.truth[0].Marks {
			for _, f := range of(m, s.before[0]) {
				again, told := f.Features["shows_again"]
				if !told || !shows(m) {
					continue
				}
				matt := m.Kind == part.Dust || m.Kind == part.Fibre
				all[matt]++
				if matt == (again >= mattAgain) {
					right[matt]++
				}
			}
		}
	}
	for _, matt := range []bool{true, false} {
		if all[matt] < 10 || 5*right[matt] < 4*all[matt] {
			t.Errorf("matt %v: %d of %d on the right side of %.2f", matt, right[matt], all[matt], mattAgain)
		}
	}
}

// TestOwnColour: pale dust hides the ground of a red shell and sends white light; a bubble keeps the ground's hue. Expected by its
// definition: what is clear has 0, what covers all of the ground 1, of which the limit is a tenth.
// One of the bubbles may be told wrongly: the outermost mirrors a lamp in one light faintly.
func TestOwnColour(t *testing.T) {
	p := shellParams(6200)
	for k, turn := range []float64{30, 60, 90} {
		below := 2.5 + float64(k)
		p.Marks = append(p.Marks,
			synth.ShellMark{TurnDeg: turn, BelowMM: below,
				Defect: synth.Defect{Kind: part.Dust, DiameterMM: 0.25, Colour: [3]float64{0.6, 0.6, 0.58}}},
			synth.ShellMark{TurnDeg: turn + 12, BelowMM: below, Defect: synth.Defect{Kind: part.Bubble, DiameterMM: 0.25}})
	}
	s, err := turned(p, 60)
	if err != nil {
		t.Fatal(err)
	}
	seen, wrong := map[part.Kind]int{}, map[part.Kind]int{}
	for _, m := range s.truth[0].Marks {
		for _, f := range of(m, s.before[0]) {
			own, told := f.Features["own_colour"]
			if !told {
				continue
			}
			seen[m.Kind]++
			if (m.Kind == part.Dust) != (own >= ownColourLeast) {
				wrong[m.Kind]++
				t.Logf("%s of %.2f mm at turn %g: own colour %.3f, called %s", m.Kind, m.DiameterMM, m.TurnDeg, own, f.Kind)
			}
		}
	}
	if seen[part.Dust] < 2 || seen[part.Bubble] < 2 || wrong[part.Dust] > 0 || wrong[part.Bubble] > 1 {
		t.Errorf("told of %v, wrongly of %v: want two of each at least, and one bubble wrong at most", seen, wrong)
	}
}
