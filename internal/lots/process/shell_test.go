package process

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// drawnShells makes units whose shells taper and differ in depth (invented numbers). Nothing was looked at in
// half of the turns below 4 mm, at the same place on each unit, nor in a stretch of turns of its own. Each
// has findings placed by place, nil: evenly over what was looked at, by trial and error.
func drawnShells(n, each int, seed uint64, place func(i, j int, rng *rand.Rand) (turn, below float64, ok bool)) []Unit {
	rng := rand.New(rand.NewPCG(seed, 3))
	var units []Unit
	for i := range n {
		m := &part.ShellMap{StepDeg: 10, StepMM: 0.5}
		rows, size, from := 18+rng.IntN(8), 0.9+0.2*rng.Float64(), rng.IntN(36)
		for r := range rows {
			m.RadiusMM = append(m.RadiusMM, size*(9-0.2*float64(r)))
			row := make([]byte, 36)
			for c := range row {
				switch {
				case r >= 8 && c >= 12 && c < 30, (c-from+36)%36 < 4:
					row[c] = '0'
				default:
					row[c] = "12"[rng.IntN(2)]
				}
			}
			m.Rows = append(m.Rows, string(row))
		}
		u := Unit{UnitInfo: part.UnitInfo{Serial: fmt.Sprint(i), Side: "R", Stage: part.Wet}, Verdict: part.Rework, At: day(i), Shell: m}
		for j := range each {
			f := findings(part.Dust)[0]
			f.Place = nil
			if place != nil {
				if turn, below, ok := place(i, j, rng); ok {
					f.OnShell = &ShellPlace{within360(turn), below}
				}
			}
			for f.OnShell == nil {
				turn, below := rng.Float64()*360, rng.Float64()*m.DepthMM()
				// The cell's share of the area, by its girth: the slope is the same all along.
				if r := int(below / 0.5); m.Rows[r][int(turn/10)] != '0' && rng.Float64() < m.RadiusMM[r]/10 {
					f.OnShell = &ShellPlace{turn, below}
				}
			}
			u.Findings = append(u.Findings, f)
		}
		units = append(units, u)
	}
	return units
}

func shellMap(t testing.TB, units []Unit, o MapOptions) DefectMap {
	t.Helper()
	o.Frame = ShellFrame
	m, err := MapOf(units, o)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// TestShellEven: findings that fall anywhere alike on what was looked at give a chance that is even over 0..1,
// though half of the shells' lower part was never looked at. The bounds are those that a binomial of 200
// and 0.1, or 0.5, leaves on either side one time in 2,000.
func TestShellEven(t *testing.T) {
	const runs = 200
	tenth, half := 0, 0
	for i := range runs {
		m := shellMap(t, drawnShells(15, 2+i%3, uint64(i), nil), MapOptions{Draws: 99, Seed: uint64(i)})
		if m.Units != 15 || m.Unplaced != 0 || len(m.Clusters) < 1 {
			t.Fatalf("%d units, %d unplaced, %d clusters", m.Units, m.Unplaced, len(m.Clusters))
		}
		if m.Clusters[0].P <= 0.1 {
			tenth++
		}
		if m.Clusters[0].P <= 0.5 {
			half++
		}
	}
	t.Logf("%d of %d at most 0.1, %d at most 0.5", tenth, runs, half)
	for _, c := range []struct {
		n int
		p float64
	}{{tenth, 0.1}, {half, 0.5}} {
		if tail(c.n, runs, c.p) < 0.0005 || tail(runs-c.n, runs, 1-c.p) < 0.0005 {
			t.Errorf("%d of %d chances are at most %g", c.n, runs, c.p)
		}
	}
}

// TestShellUnseen: findings all over the sixth of the turns that was looked at are no cluster; over maps that say that
// all was looked at, the same findings are one.
func TestShellUnseen(t *testing.T) {
	units := drawnShells(25, 4, 7, func(_, _ int, rng *rand.Rand) (float64, float64, bool) {
		return 60 + 60*rng.Float64(), 9 * rng.Float64(), true
	})
	for _, c := range []struct {
		rest    string
		cluster bool
	}{{"0", false}, {"2", true}} {
		for i := range units {
			m := *units[i].Shell
			m.Rows = slices.Repeat([]string{strings.Repeat(c.rest, 6) + "222222" + strings.Repeat(c.rest, 24)}, 18)
			m.RadiusMM = slices.Repeat([]float64{8}, 18)
			units[i].Shell = &m
		}
		if p := shellMap(t, units, MapOptions{Seed: 1}).Clusters[0].P; p < 0.01 != c.cluster || p < 0.05 != c.cluster {
			t.Errorf("elsewhere %s: chance %g", c.rest, p)
		}
	}
}

// tail is the chance of at most k of n, each with chance p.
func tail(k, n int, p float64) float64 {
	sum := 0.0
	for i := range k + 1 {
		a, _ := math.Lgamma(float64(n + 1))
		b, _ := math.Lgamma(float64(i + 1))
		c, _ := math.Lgamma(float64(n - i + 1))
		sum += math.Exp(a - b - c + float64(i)*math.Log(p) + float64(n-i)*math.Log(1-p))
	}
	return sum
}

// TestShellCluster: a place that comes again on the shell is found where it is, also across turn 0; one bad unit
// is no pattern, and the faceplate's map has nothing of it.
func TestShellCluster(t *testing.T) {
	for _, turn := range []float64{70, 0, 359} {
		units := drawnShells(40, 2, 5, func(i, j int, rng *rand.Rand) (float64, float64, bool) {
			return turn + 4*rng.NormFloat64(), 2.5 + 0.3*rng.NormFloat64(), j == 0 && i%4 == 0
		})
		m := shellMap(t, units, MapOptions{Seed: 1})
		c := m.Clusters[0]
		off := math.Remainder(c.X-turn/360*m.GirthMM, m.GirthMM)
		if !(c.P < 0.01) || math.Hypot(off, c.Y-2.5) > 1.2 || c.Units < 10 || c.Expected > 5 || c.Findings < c.Units {
			t.Errorf("at %g degrees: %+v, %g mm off", turn, c, off)
		}
		for _, frame := range []Frame{UnitFrame, PictureFrame} {
			if p, _ := MapOf(units, MapOptions{Frame: frame}); p.Unplaced != 80 || len(p.Spots) != 0 || p.Shell != nil {
				t.Errorf("%s: %d unplaced, %d spots", frame, p.Unplaced, len(p.Spots))
			}
		}
	}
	// Five units on either side of turn 0, 2.2 mm apart: one cluster of ten.
	across := drawnShells(40, 1, 6, func(i, _ int, rng *rand.Rand) (float64, float64, bool) {
		return 353 + 14*float64(i%8/4), 3, i%4 == 0
	})
	if c := shellMap(t, across, MapOptions{Seed: 1}).Clusters[0]; c.Units < 10 || !(c.P < 0.01) {
		t.Errorf("across turn 0: %+v", c)
	}
	one := drawnShells(40, 1, 7, nil)
	for range 30 {
		one[3].Findings = append(one[3].Findings, one[3].Findings[0])
	}
	if c := shellMap(t, one, MapOptions{Seed: 1}).Clusters[0]; c.P < 0.05 {
		t.Errorf("one unit with many findings at one place: %+v", c)
	}
}

// TestShellMirror: turned over, a left unit's turns run the other way round; findings without a place or a shell
// are counted, and laid over each other the shells tell where all, some and none looked.
func TestShellMirror(t *testing.T) {
	units := drawnShells(2, 1, 1, func(i, _ int, _ *rand.Rand) (float64, float64, bool) { return 30 + 300*float64(i), 3, true })
	units[1].Side = "L"
	m := shellMap(t, units, MapOptions{Mirror: true})
	near(t, "the left one's turn", m.Spots[1].X, m.Spots[0].X, 1e-9)
	near(t, "mm of turn", m.Spots[0].X, m.GirthMM/12, 1e-9)
	m = shellMap(t, units, MapOptions{})
	if near(t, "as laid", m.Spots[1].X/m.Spots[0].X, 11, 1e-9); m.Ends != "" || m.Outline != nil {
		t.Errorf("%+v", m)
	}
	for i, row := range m.Shell.Rows {
		for c, d := range []byte(row) {
			turn, below := (float64(c)+0.5)*meanStepDeg, (float64(i)+0.5)*meanStepMM
			want, n := byte('0'), 0
			for _, u := range units {
				if u.Shell.At(turn, below) != '0' {
					n++
				}
			}
			if want += byte(n); d != want {
				t.Fatalf("at %g degrees, %g mm: %c, %d of 2 looked", turn, below, d, n)
			}
		}
	}
	units[0].Findings[0].OnShell, units[1].Shell = nil, &part.ShellMap{StepDeg: 90, StepMM: 1, RadiusMM: []float64{5},
		Rows: []string{"0000"}}
	if m := shellMap(t, units, MapOptions{}); m.Units != 1 || m.Unplaced != 2 || len(m.Spots) != 0 {
		t.Errorf("%d units, %d unplaced, %d spots", m.Units, m.Unplaced, len(m.Spots))
	}
	if m := shellMap(t, nil, MapOptions{}); m.Units != 0 || m.Shell != nil {
		t.Errorf("nothing: %+v", m)
	}
}

// TestShellUnitOf: a finding with turn and height lies on the shell, be its picture whatever.
func TestShellUnitOf(t *testing.T) {
	turn, below := 370.0, 2.5
	r := &part.Result{Shell: &part.ShellMap{}, Findings: []part.Finding{{Kind: part.Run, Zone: part.ZoneShell, TurnDeg: &turn,
		BelowMM: &below}, {Kind: part.Run, Zone: part.ZoneShell, TurnDeg: &turn}}}
	u := UnitOf(&part.Inspection{Result: *r})
	if p := u.Findings[0].OnShell; u.Shell != r.Shell || p == nil || *p != (ShellPlace{10, 2.5}) || u.Findings[1].OnShell != nil {
		t.Errorf("%+v", u)
	}
}

// TestShellHints: a place that comes again on the shell is told with turn and height, dust that rises all over it as
// such, and even findings not at all.
func TestShellHints(t *testing.T) {
	if k := hintKeys(t, drawnShells(60, 1, 11, nil)); len(k) != 0 {
		t.Errorf("hints where there is nothing: %v", k)
	}
	units := drawnShells(60, 2, 12, func(i, j int, rng *rand.Rand) (float64, float64, bool) {
		return 357 + 4*rng.NormFloat64(), 2.5 + 0.3*rng.NormFloat64(), j == 0 && i%3 == 0
	})
	h, err := Hints(units, DefaultHintParams())
	if err != nil || len(h) != 1 || h[0].Key != "cluster_shell" || h[0].Kind != part.Dust {
		t.Fatalf("%+v, %v", h, err)
	}
	t.Log(lang.English().Say(&h[0].Phrase))
	figures := map[string]float64{}
	for _, f := range h[0].Figures {
		figures[f.Name] = f.Value
	}
	near(t, "turn", math.Remainder(figures["turn"]-357, 360), 0, 8)
	near(t, "below", figures["below"], 2.5, 1)
	rising := drawnShells(120, 3, 13, nil)
	for i := range rising {
		rising[i].Findings = rising[i].Findings[:min(3, i/30)]
	}
	h, err = Hints(rising, DefaultHintParams())
	if err != nil || len(h) != 1 || h[0].Key != "dust_rising" ||
		!strings.HasPrefix(lang.English().Say(&h[0].Phrase), "Dust lies all over the shell and rises") {
		t.Errorf("%+v, %v", h, err)
	}
}

// BenchmarkShellMap is a map of 2,000 findings with a true cluster, so that all draws are made.
func BenchmarkShellMap(b *testing.B) {
	units := drawnShells(1000, 2, 5, func(i, j int, rng *rand.Rand) (float64, float64, bool) {
		return 70 + 4*rng.NormFloat64(), 2.5, j == 0 && i%4 == 0
	})
	for b.Loop() {
		shellMap(b, units, MapOptions{})
	}
}
