package compare

import (
	"math"
	"math/rand/v2"
	"testing"

	"finishbench/internal/part"
)

// faceUnit is an invented unit with an egg-shaped faceplate, moved by m (mm), and
// findings at places on it.
func faceUnit(m Motion, mm float64, findings ...part.Finding) *part.Result {
	r := &part.Result{Stage: part.Wet, Verdict: part.Rework, MMPerPX: mm}
	r.Pictures = []part.PictureReport{
		{File: "face_diffuse.jpg", View: part.Face, Light: part.Diffuse, State: part.PictureOK},
		{File: "face_raking.jpg", View: part.Face, Light: part.Raking, State: part.PictureOK},
	}
	r.Faceplate = &part.Faceplate{Image: "face_diffuse.jpg", Light: part.Diffuse}
	for k := range 120 {
		s, c := math.Sincos(2 * math.Pi * float64(k) / 120)
		p := m.of(part.Point{X: (8 + 0.8*s) * c, Y: 6 * s})
		r.Faceplate.OutlinePX = append(r.Faceplate.OutlinePX, [2]float64{p.X / mm, p.Y / mm})
	}
	for i, f := range findings {
		c := m.of(f.Box.Centre())
		f.Number, f.Image = i+1, "face_raking.jpg"
		f.Box = part.Box{c.X/mm - 5, c.Y/mm - 5, 10, 10}
		r.Findings = append(r.Findings, f)
	}
	return r
}

// spot is a finding at a place of the faceplate, mm.
func spot(k part.Kind, x, y, diameter float64) part.Finding {
	return part.Finding{Kind: k, Zone: part.ZoneFace, Box: part.Box{x, y, 0, 0}, DiameterMM: part.Num(diameter),
		LengthMM: part.Num(diameter), UDiamMM: part.Num(0.01)}
}

// counts are how many findings had each fate.
func counts(changes []Change) map[Fate]int {
	n := map[Fate]int{}
	for _, c := range changes {
		n[c.Fate]++
	}
	return n
}

// motionFound is how the unit was found to have moved; nil where that is not known.
func motionFound(before, after *part.Result) *Motion {
	m := newMatcher(before, after, DefaultReworkParams())
	if m.best(); !m.known {
		return nil
	}
	return &m.fit.Motion
}

func TestReworkMoved(t *testing.T) {
	rng := newRand()
	for range 60 {
		turn := Motion{TurnDeg: 50*rng.Float64() - 25, XMM: 3 * rng.NormFloat64(), YMM: 3 * rng.NormFloat64()}
		at := Motion{0, 14, 10}
		moved := Motion{turn.TurnDeg, 14 + turn.XMM, 10 + turn.YMM}
		before := faceUnit(at, 0.02, spot(part.Bubble, -5, 1, 0.3), spot(part.Dust, 2, 3, 0.2), spot(part.Dust, 4, -2, 0.2),
			spot(part.Crater, 0, -4, 0.4))
		after := faceUnit(moved, 0.016, spot(part.Crater, 0.05, -4, 0.2), spot(part.Bubble, -5, 1.05, 0.3), spot(part.Fibre, -1, 0, 0.5))
		r := ReworkOf(before, after, DefaultReworkParams())
		want := map[Fate]int{StillThere: 1, Smaller: 1, Gone: 2, New: 1}
		for _, f := range Fates {
			if counts(r)[f] != want[f] {
				t.Fatalf("moved by %+v: %v, want %v", turn, counts(r), want)
			}
		}
		if m := motionFound(before, after); m == nil || math.Abs(m.TurnDeg-turn.TurnDeg) > 1.5 {
			t.Fatalf("turned by %v, found %+v", turn.TurnDeg, m)
		}
	}
}

// Put back the other way around, the findings tell.
func TestReworkTurnedRound(t *testing.T) {
	spots := []part.Finding{spot(part.Bubble, -5, 1, 0.3), spot(part.Dust, 2, 3, 0.2), spot(part.Dust, 4, -2, 0.2),
		spot(part.Crater, 0, -4, 0.4)}
	before, after := faceUnit(Motion{0, 14, 10}, 0.02, spots...), faceUnit(Motion{178, 13, 11}, 0.02, spots...)
	r, m := ReworkOf(before, after, DefaultReworkParams()), motionFound(before, after)
	if counts(r)[StillThere] != 4 || math.Abs(math.Abs(m.TurnDeg)-178) > 2 {
		t.Errorf("%v %+v", counts(r), m)
	}
}

// On the shell a finding is the same where its turn and height are, in whichever turn's picture it shows best;
// without these, only in pictures of one turn. Worked by hand: at 5 mm from the axis, 4 degrees are
// 0.35 mm, 30 degrees 2.6 mm. What lies where the other inspection did not look is not gone.
func TestReworkShell(t *testing.T) {
	on := func(image string, turn, below float64) part.Finding {
		return part.Finding{Kind: part.Dust, Zone: part.ZoneShell, Image: image, Box: part.Box{100, 100, 10, 10}, DiameterMM: part.Num(0.3),
			UDiamMM: part.Num(0.01), TurnDeg: part.Num(turn), BelowMM: part.Num(below)}
	}
	unit := func(rows []string, fs ...part.Finding) *part.Result {
		r := &part.Result{Stage: part.Wet, Verdict: part.Rework, MMPerPX: 0.02, Findings: fs}
		for _, turn := range []float64{0, 90} {
			r.Pictures = append(r.Pictures, part.PictureReport{File: map[float64]string{0: "a.png", 90: "b.png"}[turn], View: part.Shell,
				Light: part.Diffuse, AngleDeg: turn, State: part.PictureOK})
		}
		if rows != nil {
			r.Shell = &part.ShellMap{StepDeg: 90, StepMM: 2, RadiusMM: []float64{5, 5}, Rows: rows}
		}
		return r
	}
	all := []string{"2222", "2222"}
	for _, c := range []struct {
		what          string
		before, after *part.Result
		want          Fate
	}{
		{"in another turn's picture", unit(all, on("a.png", 358, 1)), unit(all, on("b.png", 2, 1)), StillThere},
		{"elsewhere", unit(all, on("a.png", 0, 1)), unit(all, on("a.png", 30, 1)), Gone},
		{"lower", unit(all, on("a.png", 0, 0.5)), unit(all, on("a.png", 0, 3.5)), Gone},
		{"gone where it was looked at", unit(all, on("a.png", 100, 1)), unit([]string{"0100", "0000"}), Gone},
		{"not looked at there", unit(all, on("a.png", 100, 1)), unit([]string{"2022", "2222"}), Unmeasured},
		{"another turn, places not known", unit(nil, on("a.png", 0, 1)), unit(nil, on("b.png", 0, 1)), Gone},
		{"the same turn, places not known", unit(nil, on("a.png", 0, 1)), unit(nil, on("a.png", 0, 1)), StillThere},
	} {
		if r := ReworkOf(c.before, c.after, DefaultReworkParams()); counts(r)[c.want] != 1 {
			t.Errorf("%s: %v, want one %v", c.what, counts(r), c.want)
		}
	}
	after := unit(nil)
	after.Pictures[1].State = part.PictureNoOK
	if r := ReworkOf(unit(nil, on("b.png", 90, 1)), after, DefaultReworkParams()); counts(r)[Unmeasured] != 1 {
		t.Errorf("its turn was not fit: %v", counts(r))
	}
}

func TestReworkClean(t *testing.T) {
	before := faceUnit(Motion{0, 14, 10}, 0.02, spot(part.Bubble, -5, 1, 0.3))
	r := ReworkOf(before, faceUnit(Motion{5, 14, 10}, 0.02), DefaultReworkParams())
	if len(r) != 1 || r[0].Fate != Gone {
		t.Errorf("%v", counts(r))
	}
}

// A place that was not seen again is not gone, and one not seen before not new.
func TestReworkNotSeen(t *testing.T) {
	one := faceUnit(Motion{0, 14, 10}, 0.02, spot(part.Bubble, -5, 1, 0.3))
	blind := faceUnit(Motion{0, 14, 10}, 0.02)
	blind.Pictures[1].State = part.PictureNoOK // raking, where it shows best
	for _, r := range [][]Change{ReworkOf(one, blind, DefaultReworkParams()), ReworkOf(blind, one, DefaultReworkParams())} {
		if counts(r)[Unmeasured] != 1 || counts(r)[Gone]+counts(r)[New] != 0 {
			t.Errorf("%v", counts(r))
		}
	}
	also := one.Findings[0]
	also.AlsoIn = []part.Sighting{{Image: "face_diffuse.jpg"}}
	one.Findings[0] = also
	if r := ReworkOf(one, blind, DefaultReworkParams()); counts(r)[Gone] != 1 {
		t.Errorf("it showed in diffuse light too, which was fit: %v", counts(r))
	}
}

// Without outlines the unit is taken to lie as before.
func TestReworkWithoutOutline(t *testing.T) {
	before, after := faceUnit(Motion{0, 14, 10}, 0.02, spot(part.Bubble, -5, 1, 0.3)), faceUnit(Motion{0, 14.4, 10.4}, 0.02,
		spot(part.Bubble, -5, 1, 0.3))
	before.Faceplate = nil
	r := ReworkOf(before, after, DefaultReworkParams())
	if m := motionFound(before, after); counts(r)[StillThere] != 1 || m != nil {
		t.Errorf("%v %+v", counts(r), m)
	}
	far := faceUnit(Motion{0, 18, 10}, 0.02, spot(part.Bubble, -5, 1, 0.3))
	if r := ReworkOf(before, far, DefaultReworkParams()); counts(r)[Gone] != 1 || counts(r)[New] != 1 {
		t.Errorf("4 mm away: %v", counts(r))
	}
	before.MMPerPX = 0
	if r := ReworkOf(before, after, DefaultReworkParams()); counts(r)[StillThere] != 0 {
		t.Errorf("no scale: %v", counts(r))
	}
}

func TestReworkSeam(t *testing.T) {
	step := func(v float64) *part.Result {
		r := unitWith(part.Rework, 50, v, 3)
		r.Findings = []part.Finding{{Kind: part.Step, StepStation: "0 deg, left", ValueUM: part.Num(v)}}
		return r
	}
	ok := unitWith(part.Pass, 0, 12, 3)
	lost := unitWith(part.NotMeasured, 0, math.NaN(), 3)
	for _, c := range []struct {
		after *part.Result
		want  Fate
	}{{step(88), StillThere}, {step(60), Smaller}, {step(120), Larger}, {ok, Gone}, {lost, Unmeasured}} { // each step has u = 2 um
		r := ReworkOf(step(90), c.after, DefaultReworkParams())
		if counts(r)[c.want] != 1 || len(r) != 1 {
			t.Errorf("want %s: %v", c.want, counts(r))
		}
	}
}

// Each finding has one fate, whatever there is.
func FuzzRework(f *testing.F) {
	f.Add(uint64(1), 3, 4, 10.0, 0.02)
	f.Add(uint64(2), 0, 0, 170.0, 0.0)
	f.Fuzz(func(t *testing.T, seed uint64, n, m int, turn, mm float64) {
		if n < 0 || m < 0 || n > 12 || m > 12 || math.IsNaN(turn) || math.IsInf(turn, 0) {
			t.Skip()
		}
		rng := rand.New(rand.NewPCG(seed, 1))
		some := func(n int) (fs []part.Finding) {
			for range n {
				k := part.Kinds[rng.IntN(len(part.Kinds))]
				g := spot(k, 10*rng.Float64()-5, 8*rng.Float64()-4, rng.Float64())
				if g.Kind.AtSeam() {
					g.StepStation = "30 deg, left"
				}
				fs = append(fs, g)
			}
			return fs
		}
		r := ReworkOf(faceUnit(Motion{0, 14, 10}, mm, some(n)...), faceUnit(Motion{turn, 14, 10}, mm, some(m)...), DefaultReworkParams())
		b, a, sum := 0, 0, 0
		for _, c := range r {
			if c.Before != nil {
				b++
			}
			if c.After != nil {
				a++
			}
		}
		for _, k := range counts(r) {
			sum += k
		}
		if b != n || a != m || sum != len(r) {
			t.Errorf("%d and %d findings, %d and %d told; %v", n, m, b, a, counts(r))
		}
	})
}

func BenchmarkRework(b *testing.B) {
	spots := []part.Finding{spot(part.Bubble, -5, 1, 0.3), spot(part.Dust, 2, 3, 0.2)}
	x, y := faceUnit(Motion{0, 14, 10}, 0.02, spots...), faceUnit(Motion{10, 13, 11}, 0.02, spots...)
	for b.Loop() {
		ReworkOf(x, y, DefaultReworkParams())
	}
}
