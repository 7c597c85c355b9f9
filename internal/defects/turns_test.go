package defects

import (
	"math"
	"slices"
	"sync"
	"testing"

	"finishbench/internal/body"
	"finishbench/internal/defects/scene"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// roundView is a drawn half ball of 7.6 mm from the side: round, it looks alike in all turns.
var roundView = sync.OnceValues(func() (*body.View, error) {
	p := synth.RoundShell()
	p.W, p.H, p.MMPerPX, p.SeamYPX, p.Ground = 560, 370, 0.034, 85, "dark"
	d, r, _ := synth.Shell(p)
	return body.Look([]*part.Image{d, r}, nil, 0, p.MMPerPX)
})

const (
	roundMM   = 7.6
	roundMMPX = 0.034
)

// roundTurns are turns of it in which nothing is found yet and all of the region was looked at, in two lights.
func roundTurns(t *testing.T, deg ...float64) []Turn {
	t.Helper()
	v, err := roundView()
	if err != nil {
		t.Fatal(err)
	}
	var views []*body.View
	for _, d := range deg {
		turned := *v
		turned.TurnDeg = d
		views = append(views, &turned)
	}
	shape, told, err := body.Fit(views)
	if err != nil || len(told) > 0 {
		t.Fatalf("%v, %q", err, told)
	}
	var out []Turn
	for k := range views {
		seen := shape.In(views, k)
		found := &Result{}
		found.Outline, _ = seen.Region(scene.MostSlopeDeg, 0)
		for range 2 {
			found.Unseen = append(found.Unseen, Unseen{Step: 10, W: 56, H: 37, In: make([]bool, 56*37)})
		}
		out = append(out, Turn{Seen: seen, Found: found})
	}
	return out
}

// puts adds a finding of a size in pixels where a turn shows a place.
func puts(t *testing.T, in Turn, file string, kind part.Kind, turnDeg, below, widthPX, heightPX float64) *part.Finding {
	t.Helper()
	q, _, ok := in.Pixel(turnDeg, below)
	if !ok {
		t.Fatalf("turn %g does not show %g, %g", in.TurnDeg, turnDeg, below)
	}
	in.Found.Findings = append(in.Found.Findings, part.Finding{Image: file, Kind: kind,
		Box: part.Box{q.X - widthPX/2, q.Y - heightPX/2, widthPX, heightPX}})
	return &in.Found.Findings[len(in.Found.Findings)-1]
}

func files(f part.Finding) (out []string) {
	for _, s := range f.AlsoIn {
		out = append(out, s.Image)
	}
	slices.Sort(out)
	return out
}

// TestJoinOneMark: what two and three turns show of one place is one finding, in the turn that shows it most from the front,
// and names the other pictures with the boxes that they show it in.
func TestJoinOneMark(t *testing.T) {
	turns := roundTurns(t, 0, 60, 120)
	puts(t, turns[0], "a", part.Dust, 50, 3, 5, 8)
	puts(t, turns[1], "b", part.Dust, 50, 3, 8, 8).AlsoIn = []part.Sighting{{Image: "b2"}}
	puts(t, turns[0], "a", part.Dust, 30, 5, 8, 8)
	puts(t, turns[2], "c", part.Dust, 75, 1.5, 6, 8)
	puts(t, turns[1], "b", part.Dust, 75, 1.5, 8, 8)
	JoinTurns(turns)
	if a, b, c := turns[0].Found.Findings, turns[1].Found.Findings, turns[2].Found.Findings; len(a) != 1 || len(b) != 2 || len(c) != 0 {
		t.Fatalf("%d, %d and %d findings, want 1, 2 and 0", len(a), len(b), len(c))
	}
	for i, want := range []struct {
		files       []string
		turn, below float64
	}{{[]string{"a", "b2"}, 50, 3}, {[]string{"c"}, 75, 1.5}} {
		f := turns[1].Found.Findings[i]
		if !slices.Equal(files(f), want.files) || math.Abs(*f.TurnDeg-want.turn) > 0.5 || math.Abs(*f.BelowMM-want.below) > 0.05 {
			t.Errorf("%+v in %v at turn %g, %g below; want %+v", f.Box, files(f), *f.TurnDeg, *f.BelowMM, want)
		}
	}
	if f := turns[0].Found.Findings[0]; len(f.AlsoIn) != 0 || math.Abs(*f.TurnDeg-30) > 0.5 {
		t.Errorf("%+v", f)
	}
}

// TestSizesOnTheSlope: a line of one length on the surface is as long whatever the slope that it is seen at, along
// the slope and across it; a spot's area is divided by the cosine and its diameter by the root. Drawn at closed-form lengths: a ball's
// surface shows cos(slope) of what goes down its slope, all of what goes across.
func TestSizesOnTheSlope(t *testing.T) {
	const length = 0.6
	for _, right := range []float64{0, 20, 40, 55} {
		for _, along := range []bool{true, false} {
			turns := roundTurns(t, 0)
			f := puts(t, turns[0], "a", part.Fibre, part.Turn(-right), 0.8, 10, 10)
			slope := math.Acos(math.Sqrt(roundMM*roundMM-0.64) * math.Cos(right*math.Pi/180) / roundMM)
			// the direction of the slope in the picture: the normal's part across the line of sight
			down := math.Atan2(-0.8/roundMM, math.Sqrt(roundMM*roundMM-0.64)*math.Sin(right*math.Pi/180)/roundMM) * 180 / math.Pi
			short := math.Cos(slope)
			if !along {
				down, short = down+90, 1
			}
			f.AngleDeg, f.LengthMM, f.ULengthMM = part.Num(down), part.Num(length*short), part.Num(0.01)
			f.AreaMM2, f.DiameterMM, f.UDiamMM = part.Num(0.5*math.Cos(slope)), part.Num(0.5*math.Sqrt(math.Cos(slope))), part.Num(0.01)
			JoinTurns(turns)
			g := turns[0].Found.Findings[0]
			if math.Abs(*g.LengthMM-length) > 0.03*length || math.Abs(*g.AreaMM2-0.5) > 0.03*0.5 || math.Abs(*g.DiameterMM-0.5) > 0.02*0.5 {
				t.Errorf("slope %.0f, along it %v: %.3f mm long, %.3f mm2, %.3f mm; drawn %g, 0.5, 0.5", slope*180/math.Pi, along,
					*g.LengthMM, *g.AreaMM2, *g.DiameterMM, length)
			}
			// What the slope adds to u: nothing where the length does not depend on it, by the budget's root of squares.
			near := math.Max(0, turns[0].place(t, g)) / leastCameraMM / math.Sqrt(3)
			if !along && math.Abs(*g.ULengthMM-math.Hypot(0.01, length*near)) > 0.002 {
				t.Errorf("slope %.0f, across it: u %.4f mm", slope*180/math.Pi, *g.ULengthMM)
			}
			if along && right >= 40 && *g.ULengthMM < 0.02 {
				t.Errorf("slope %.0f, along it: u %.4f mm says nothing of the slope's own", slope*180/math.Pi, *g.ULengthMM)
			}
		}
	}
}

// place is how far in front of the axis a finding lies.
func (t Turn) place(test *testing.T, f part.Finding) float64 {
	c := f.Box.Centre()
	at, ok := t.Place(c.X, c.Y)
	if !ok {
		test.Fatal("beside the shell")
	}
	return at.FrontMM
}

// TestSeamZone: what reaches nearer to the seam than 0.35 mm is the seam's, what does not is the shell's.
func TestSeamZone(t *testing.T) {
	turns := roundTurns(t, 0)
	for _, below := range []float64{0.3, 0.6} {
		puts(t, turns[0], "a", part.Dust, 0, below, 6, 6).Zone = part.ZoneShell
	}
	JoinTurns(turns)
	if a, b := turns[0].Found.Findings[0].Zone, turns[0].Found.Findings[1].Zone; a != part.ZoneSeam || b != part.ZoneShell {
		t.Errorf("zones %s and %s", a, b)
	}
}

// TestShellMapArea: the unrolled area of a half ball down to a depth h is 2 pi R h (Archimedes). Seen from one turn, the share of the strip
// between two heights that slopes by up to 60 degrees is arccos(cos(60)/w)/180, w being the section's radius over R; four turns
// show each of its places.
func TestShellMapArea(t *testing.T) {
	for _, c := range []struct {
		turns []float64
		seen  func(w float64) float64
	}{
		{[]float64{0}, func(w float64) float64 { return math.Acos(math.Min(1, 0.5/w)) / math.Pi }},
		{[]float64{0, 90, 180, 270}, func(w float64) float64 {
			if math.Acos(0.5/w) > math.Pi/4 {
				return 1
			}
			return 4 * math.Acos(math.Min(1, 0.5/w)) / math.Pi
		}},
	} {
		m := JoinTurns(roundTurns(t, c.turns...))
		area := 0.0
		for row := range m.Rows {
			area += m.AreaMM2(row) * float64(m.Columns())
			below := (float64(row) + 0.5) * m.StepMM
			if below < 0.5 || below > 4 {
				continue
			}
			got := 0.0
			for _, v := range m.Rows[row] {
				if v > '0' {
					got += 1 / float64(m.Columns())
				}
			}
			if want := c.seen(math.Sqrt(1 - below*below/(roundMM*roundMM))); math.Abs(got-want) > 0.025*float64(len(c.turns)) {
				t.Errorf("turns %g, %.2f mm below: %.3f of the strip was looked at, want %.3f", c.turns, below, got, want)
			}
		}
		if want := 2 * math.Pi * roundMM * m.DepthMM(); math.Abs(area-want) > 0.03*want {
			t.Errorf("the map has %.1f mm2 down to %.2f mm, want %.1f", area, m.DepthMM(), want)
		}
	}
}

// TestJoinTurnedTheOtherWay: a unit that was turned to 60 degrees the other way round is not noticed as such, but a mark that both
// pictures show is then
// two, at places 120 degrees apart: it lies 30 degrees left of the middle at 0, and as far right of it in the other picture.
func TestJoinTurnedTheOtherWay(t *testing.T) {
	turns := roundTurns(t, 0, 300)
	puts(t, turns[0], "a", part.Dust, 30, 3, 6, 6)
	puts(t, turns[1], "b", part.Dust, 270, 3, 6, 6)
	JoinTurns(turns)
	a, b := turns[0].Found.Findings, turns[1].Found.Findings
	if len(a) != 1 || len(b) != 1 || math.Abs(*a[0].TurnDeg-*b[0].TurnDeg) < 100 {
		t.Errorf("%+v, %+v", a, b)
	}
}

// TestJoinTwoMarks: two marks 1 mm apart on the surface stay two, each with its own other picture.
func TestJoinTwoMarks(t *testing.T) {
	turns := roundTurns(t, 0, 60, 120)
	apart := 1 / math.Sqrt(roundMM*roundMM-9) * 180 / math.Pi // degrees of turn at 3 mm below
	for k, at := range []float64{30 - apart/2, 30 + apart/2} {
		for i, turn := range turns[:2] {
			puts(t, turn, string(rune('a'+i)), part.Dust, at, 3, float64(6+k), 7)
		}
	}
	JoinTurns(turns)
	var all []part.Finding
	for _, turn := range turns {
		all = append(all, turn.Found.Findings...)
	}
	if len(all) != 2 {
		t.Fatalf("%d findings of two marks: %+v", len(all), all)
	}
	for _, f := range all {
		if len(f.AlsoIn) != 1 || f.AlsoIn[0].Box[2] != f.Box[2] {
			t.Errorf("the mark %g px wide is also seen as %+v", f.Box[2], f.AlsoIn)
		}
	}
}

// TestJoinKeepsSmallBesideLarge: a nib that one turn shows is not a part of the orange peel or of the haze around it that another
// TestJoinPieces: two glints of a run and a piece of a fibre are that run and that fibre, which another turn shows whole, though at a
// steeper slope; dust on the fibre stays dust. By definition; pixels of 0.034 mm.
func TestJoinPieces(t *testing.T) {
	turns := roundTurns(t, 0, 60)
	puts(t, turns[0], "a", part.Run, 45, 3, 8, 60)
	puts(t, turns[1], "b", part.Crater, 45, 2.3, 6, 6)
	puts(t, turns[1], "b", part.Bubble, 45, 3.8, 6, 6)
	puts(t, turns[0], "a", part.Fibre, 20, 2, 40, 10)
	puts(t, turns[1], "b", part.Fibre, 22, 2.05, 6, 4)
	puts(t, turns[1], "b", part.Dust, 18, 1.95, 6, 6)
	JoinTurns(turns)
	a, b := turns[0].Found.Findings, turns[1].Found.Findings
	if len(a) != 2 || a[0].Kind != part.Run || len(a[0].AlsoIn) != 2 || a[1].Kind != part.Fibre || len(a[1].AlsoIn) != 1 {
		t.Errorf("turn 0: %+v", a)
	}
	if len(b) != 1 || b[0].Kind != part.Dust {
		t.Errorf("turn 60: %+v", b)
	}
}

// turn shows.
func TestJoinKeepsSmallBesideLarge(t *testing.T) {
	for _, kind := range []part.Kind{part.OrangePeel, part.Haze} {
		turns := roundTurns(t, 0, 60)
		puts(t, turns[0], "a", kind, 20, 3, 220, 150)
		puts(t, turns[1], "b", part.Dust, 30, 3.5, 6, 6)
		JoinTurns(turns)
		if n := len(turns[1].Found.Findings); n != 1 {
			t.Errorf("%s: the nib that another turn shows is gone", kind)
		}
	}
}
