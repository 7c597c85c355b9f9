package process

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// TestGroups: expected figures by hand from the definitions; the exact test is
// Fisher's tea-tasting table (3 of 4 against 1 of 4: 34/70, R. A. Fisher, "The
// Design of Experiments", 1935).
func TestTestGroups(t *testing.T) {
	x, res, err := TestGroups([]int{30, 10}, []int{100, 100}, 1)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "chi-squared", x.Statistic, 12.5, 1e-12) // 4 x 10^2 / (20 or 80): 5 + 5 + 1.25 + 1.25
	near(t, "V", x.Strength, 0.25, 1e-12)
	near(t, "P", x.P, math.Erfc(math.Sqrt(12.5/2)), 1e-9) // one degree of freedom
	near(t, "residual", res[0], math.Sqrt(12.5), 1e-12)
	near(t, "residual of the other", res[1], -math.Sqrt(12.5), 1e-12)
	if x.Method != ChiSquaredTest || x.DOF != 1 || x.LeastExpected != 20 {
		t.Errorf("%+v", x)
	}
	x, _, _ = TestGroups([]int{3, 1}, []int{4, 4}, 1)
	near(t, "tea", x.P, 34./70, 1e-12)
	if x.Method != FisherTest {
		t.Errorf("%+v", x)
	}
	// Three groups with little in them: drawn tables come near the exact chance, by
	// going through all tables here.
	hits, sizes := []int{4, 1, 0}, []int{6, 5, 7}
	x, _, _ = TestGroups(hits, sizes, 3)
	exact := 0.0
	for a := 0; a <= 5; a++ {
		for b := 0; a+b <= 5; b++ {
			if h := []int{a, b, 5 - a - b}; a <= 6 && b <= 5 && groupsChi(h, sizes, 5./18) >= x.Statistic*(1-1e-12) {
				exact += math.Exp(choose(6, a) + choose(5, b) + choose(7, 5-a-b) - choose(18, 5))
			}
		}
	}
	near(t, "drawn", x.P, exact, 4*math.Sqrt(exact/9999))
	if x.Method != DrawnTest || x.Draws != 9999 || x.Seed != 3 {
		t.Errorf("%+v", x)
	}
	y, _, _ := TestGroups(hits, sizes, 3)
	if y != x {
		t.Error("the same seed gives another chance")
	}
	// Many hits are dealt by their complement: the same chance.
	z, _, _ := TestGroups([]int{2, 4, 7}, sizes, 3)
	near(t, "complement", z.P, exact, 4*math.Sqrt(exact/9999))
	for name, c := range map[string][2][]int{"one group": {{1}, {2}}, "none has any": {{0, 0}, {2, 2}}, "all have": {{2, 2}, {2, 2}},
		"one is empty": {{1, 0}, {2, 0}}} {
		if x, _, err := TestGroups(c[0], c[1], 1); err != nil || !math.IsNaN(x.P) {
			t.Errorf("%s: %+v %v", name, x, err)
		}
	}
	for name, c := range map[string][2][]int{"negative": {{-1, 1}, {2, 2}}, "more than all": {{3, 1}, {2, 2}},
		"sizes missing": {{1, 1}, {2}}} {
		if _, _, err := TestGroups(c[0], c[1], 1); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// TestShares: Mendel's peas, 315, 101, 108, 32 against 9:3:3:1: chi-squared 0.470,
// three degrees of freedom, chance 0.925 (any text; from memory).
func TestTestShares(t *testing.T) {
	x, err := TestShares([]int{315, 101, 108, 32}, []float64{9, 3, 3, 1}, 1)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "peas", x.Statistic, 0.470, 5e-4)
	near(t, "chance", x.P, 0.925, 5e-4)
	// 3, 0 against equal shares: chance 2 x 1/8.
	x, err = TestShares([]int{3, 0}, nil, 1)
	if err != nil || x.Method != DrawnTest {
		t.Fatal(x, err)
	}
	near(t, "drawn", x.P, 0.25, 0.02)
	if _, err := TestShares([]int{1, 2}, []float64{1, 0}, 1); err == nil {
		t.Error("a share of 0: no error")
	}
	near(t, "sign test, 1 of 5", signTest(1, 4), 12./32, 1e-12)
	near(t, "sign test, even", signTest(3, 3), 1, 0)
}

func day(i int) time.Time {
	return time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC).Add(time.Duration(i) * time.Minute)
}

func findings(kinds ...part.Kind) []Finding {
	var f []Finding
	for _, k := range kinds {
		f = append(f, Finding{Kind: k, Zone: part.ZoneFace, Severity: part.Moderate, SizeMM: nan, AngleDeg: nan})
	}
	return f
}

func TestPareto(t *testing.T) {
	var units []Unit
	for i := range 100 {
		u := Unit{UnitInfo: part.UnitInfo{Serial: fmt.Sprint(i), Operator: "ab"[i%2 : i%2+1]}, Verdict: part.Pass, At: day(i)}
		if i%2 == 0 && i < 60 {
			u.Findings, u.Verdict = findings(part.Dust, part.Dust), part.Rework
		}
		if i%10 == 1 {
			u.Findings = findings(part.Bubble)
		}
		if i >= 96 {
			u.Operator = ""
		}
		if i == 99 {
			u.Verdict = part.NotMeasured
		}
		units = append(units, u)
	}
	p, err := ParetoOf(units, ByKind, ParetoOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Rows) != 2 || p.Rows[0].Name != "dust" || p.Rows[0].Findings != 60 || p.Rows[0].With.Count != 30 || p.Rows[0].With.Of != 99 ||
		p.NotMeasured != 1 || p.Findings != 70 {
		t.Fatalf("%+v", p)
	}
	near(t, "cumulative", p.Rows[1].Cumulative, 1, 0)
	near(t, "first's share", p.Rows[0].Share, 6./7, 1e-12)
	near(t, "ahead", p.Ahead.P, signTest(30, 10), 0)
	near(t, "chi-squared of 60 and 10", p.Test.Statistic, 2*25*25/35., 1e-12)
	p, err = ParetoOf(units, ByOperator, ParetoOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if p.Rows[0].Name != "a" || p.Rows[0].With.Of != 48 || p.Unnamed != 3 || p.Ahead != nil {
		t.Fatalf("%+v", p)
	}
	x, _, _ := TestGroups([]int{30, 10}, []int{48, 48}, 0)
	if p.Test.P != x.P || !(p.Rows[0].Residual > 3) || !(p.Rows[1].Residual < -3) {
		t.Errorf("test %+v, rows %+v", p.Test, p.Rows)
	}
	p, _ = ParetoOf(units, ByOperator, ParetoOptions{Kind: part.Bubble})
	if p.Rows[0].Name != "b" || p.Findings != 10 {
		t.Errorf("bubbles only: %+v", p)
	}
	if p, err := ParetoOf(nil, ByZone, ParetoOptions{}); err != nil || len(p.Rows) != 0 {
		t.Errorf("nothing: %+v %v", p, err)
	}
	if _, err := ParetoOf(units, "moon", ParetoOptions{}); err == nil || !strings.Contains(err.Error(), "operator") {
		t.Errorf("an unknown key: %v", err)
	}
}

// TestYields: 10 units; trim 8 pass at once and 10 in the end, wet 9 of 9
// measured, cured 5 of 10.
func TestYields(t *testing.T) {
	var units []Unit
	add := func(i int, s part.Stage, minute int, v part.Verdict, kinds ...part.Kind) {
		units = append(units, Unit{UnitInfo: part.UnitInfo{Serial: fmt.Sprint(i), Side: "R", Stage: s}, At: day(minute), Verdict: v,
			Findings: findings(kinds...)})
	}
	for i := range 10 {
		v, w, c, k := part.Pass, part.Pass, part.Pass, []part.Kind(nil)
		if i < 2 {
			v = part.Rework
			add(i, part.Trim, 50+i, part.Pass) // after rework, given first
		}
		if i == 9 {
			w = part.NotMeasured
		}
		if i >= 5 {
			c, k = part.Reject, []part.Kind{part.Dust, part.OrangePeel}
		}
		if i == 5 {
			k = []part.Kind{part.OrangePeel}
		}
		add(i, part.Trim, i, v)
		add(i, part.Wet, 100+i, w)
		add(i, part.Cured, 200+i, c, k...)
	}
	y, err := YieldsOf(units, 0)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, s := range y.Stages {
		got = append(got, fmt.Sprintf("%s %d/%d %d/%d %d", s.Stage, s.First.Count, s.First.Of, s.Last.Count, s.Last.Of, s.NotMeasured))
	}
	if s := strings.Join(got, ", "); s != "trim 8/10 10/10 0, wet 9/9 9/9 1, cured 5/10 5/10 0" {
		t.Error(s)
	}
	near(t, "rolled", y.Rolled.Value, 0.8*1*0.5, 1e-12)
	if !(y.Rolled.Bounds.Lower < 0.2 && y.Rolled.Bounds.Lower > 0.02 && y.Rolled.Bounds.Upper > 0.7) {
		t.Errorf("bounds %+v", y.Rolled.Bounds)
	}
	if y.PassedAll.Count != 3 || y.PassedAll.Of != 9 { // units 2, 3 and 4; unit 9 was not measured at wet
		t.Errorf("through %+v", y.PassedAll)
	}
	e, err := EscapesOf(units, part.Wet, part.Cured, 0)
	if err != nil {
		t.Fatal(err)
	}
	if len(e.All) != 4 || e.Share.Of != 9 || e.Real.Count != 3 || len(e.Kinds) != 1 || e.Kinds[0] != (KindCount{part.Dust, 3}) ||
		e.Waiting != 0 {
		t.Errorf("escapes %+v %+v %v", e.Share, e.Real, e.Kinds)
	}
	// One that passed wet again after it was found cured is waiting for its next look.
	units = append(units, Unit{UnitInfo: part.UnitInfo{Serial: "8", Side: "R", Stage: part.Wet}, At: day(500), Verdict: part.Pass})
	e, _ = EscapesOf(units, part.Wet, part.Cured, 0)
	if e.Waiting != 1 || len(e.All) != 3 {
		t.Errorf("after rework: %d waiting, %d escapes", e.Waiting, len(e.All))
	}
	if _, err := EscapesOf(units, part.Cured, part.Wet, 0); err == nil {
		t.Error("backwards: no error")
	}
	if y, err := YieldsOf(nil, 0); err != nil || !math.IsNaN(y.Rolled.Value) {
		t.Errorf("nothing: %+v %v", y, err)
	}
}

func TestTrend(t *testing.T) {
	var v []float64
	for i := range 30 {
		v = append(v, 2*float64(i))
	}
	v[4] = nan
	x := TrendOf(v)
	near(t, "rank", x.Rank, 1, 1e-12)
	near(t, "slope", x.Slope, 2, 1e-12)
	near(t, "change", x.Change, 58, 1e-9)
	if x.N != 29 || !(x.P < 1e-20) {
		t.Errorf("%+v", x)
	}
	if x := TrendOf(v[:9]); !math.IsNaN(x.P) {
		t.Errorf("few: %+v", x)
	}
	if x := TrendOf(make([]float64, 30)); !math.IsNaN(x.P) || x.Slope != 0 {
		t.Errorf("all equal: %+v", x)
	}
	if r := ranks([]float64{3, 1, 3, 2}); !slices.Equal(r, []float64{3.5, 1, 3.5, 2}) {
		t.Errorf("ranks %v", r)
	}
	// The chance is even for what has no trend.
	rng, below := rand.New(rand.NewPCG(2, 2)), 0
	for range 2000 {
		y := make([]float64, 20)
		for i := range y {
			y[i] = float64(rng.IntN(4))
		}
		if TrendOf(y).P < 0.1 {
			below++
		}
	}
	near(t, "share below 0.1", float64(below)/2000, 0.1, 0.02)
}

// egg is an outline longer than wide, one end fuller, turned by deg clockwise;
// its long axis points to the pointed end, at 0.
func egg(deg, a, b float64) []part.Point {
	s, c := math.Sincos(deg * math.Pi / 180)
	var out []part.Point
	for i := range 120 {
		ss, cc := math.Sincos(float64(i) * 3 * math.Pi / 180)
		x, y := a*cc, b*ss*(1-0.25*cc)
		out = append(out, part.Point{X: 500 + c*x - s*y, Y: 400 + s*x + c*y})
	}
	return out
}

// onEgg is a place of the egg in the picture.
func onEgg(deg, x, y float64) part.Point {
	s, c := math.Sincos(deg * math.Pi / 180)
	return part.Point{X: 500 + c*x - s*y, Y: 400 + s*x + c*y}
}

func TestPlate(t *testing.T) {
	ref := NewPlate(egg(0, 200, 140), 0.05)
	if ref == nil || !ref.HasAxis() || ref.Skew < leastSkew {
		t.Fatalf("%+v", ref)
	}
	near(t, "turn", math.Cos(ref.TurnDeg*math.Pi/180), 1, 1e-6)
	want := ref.Place(onEgg(0, 120, 40))
	for _, deg := range []float64{17, 95, 180, 263, 341} {
		for _, size := range []float64{0.5, 1, 1.7} {
			p := NewPlate(egg(deg, 200*size, 140*size), 0.05)
			got := p.Place(onEgg(deg, 120*size, 40*size))
			flip, ok := laid{ends: EndsByShape}.flipDeg(p)
			if !ok {
				t.Fatal("its ends are not told apart")
			}
			near(t, "direction", within360(got.ThetaDeg+flip), want.ThetaDeg, 0.2)
			near(t, "out", got.Out, want.Out, 0.005)
			near(t, "size", p.radius(within360(50+flip))/ref.radius(50), size, 0.01)
		}
	}
	if p := ref.Place(part.Point{X: 500 + 260, Y: 400}); p != nil {
		t.Errorf("a place beside the faceplate: %+v", p)
	}
	var disc []part.Point
	for i := range 60 {
		s, c := math.Sincos(float64(i) * 6 * math.Pi / 180)
		disc = append(disc, part.Point{X: 100 * c, Y: 100 * s})
	}
	if p := NewPlate(disc, 0.05); p == nil || p.HasAxis() {
		t.Errorf("a disc: %+v", p)
	}
	for name, c := range map[string]struct {
		o  []part.Point
		mm float64
	}{"two points": {egg(0, 9, 9)[:2], 1}, "a line": {[]part.Point{{X: 0}, {X: 1}, {X: 2}}, 1}, "no scale": {egg(0, 9, 9), 0},
		"nothing": {nil, 1}} {
		if NewPlate(c.o, c.mm) != nil {
			t.Errorf("%s: a plate", name)
		}
	}
	// The exact skewness of a triangle (0,0) (3,0) (0,h), h small: along x the density
	// falls as 3-x: mean 1, variance 1/2, third moment 1/5.
	m, ok := momentsOf([]part.Point{{X: 0, Y: 0}, {X: 3, Y: 0}, {X: 0, Y: 1e-4}})
	if !ok {
		t.Fatal("no moments")
	}
	near(t, "skewness", m.skew, 0.2/math.Pow(0.5, 1.5), 1e-6)
}

// TestEnds: units in a holder lie about alike, though the farther end of some is
// on the other side; units turned at random go by their shape.
func TestEnds(t *testing.T) {
	var units []Unit
	for i, deg := range []float64{88, 92, 85, 95, 90, 87, -86, 91} {
		p := NewPlate(egg(deg, 200, 140), 0.05)
		if i == 2 { // shaped the other way round, lying as the others
			p = NewPlate(egg(deg+180, 200, 140), 0.05)
		}
		f := findings(part.Dust)[0]
		f.Place = p.Place(onEgg(90, 150, 0)) // the same side of the picture
		units = append(units, Unit{UnitInfo: part.UnitInfo{Serial: fmt.Sprint(i)}, Plate: p, Findings: []Finding{f}})
	}
	m, err := MapOf(units, MapOptions{})
	if err != nil || m.Ends != EndsAsLaid || m.Units != 8 {
		t.Fatalf("%v %+v", err, m)
	}
	for i, s := range m.Spots {
		if math.Abs(s.X-m.Spots[0].X) > 1 || math.Abs(s.Y-m.Spots[0].Y) > 2 {
			t.Errorf("unit %d at %.1f, %.1f; the first at %.1f, %.1f", i, s.X, s.Y, m.Spots[0].X, m.Spots[0].Y)
		}
	}
	m, _ = MapOf(lot(20, 1, 3, nil), MapOptions{})
	if m.Ends != EndsByShape || m.Units != 20 {
		t.Errorf("at random: %s, %d units", m.Ends, m.Units)
	}
}

// lot makes units whose faceplates differ in size and lie turned at random, each
// with a number of findings placed by place (mm on an egg of 10 by 7), nil: evenly.
func lot(n, each int, seed uint64, place func(i, j int, rng *rand.Rand, deg float64) (x, y float64, ok bool)) []Unit {
	rng := rand.New(rand.NewPCG(seed, 1))
	var units []Unit
	for i := range n {
		deg, size := rng.Float64()*360, 0.8+0.4*rng.Float64()
		u := Unit{UnitInfo: part.UnitInfo{Serial: fmt.Sprint(i), Side: "R", Stage: part.Wet}, Verdict: part.Rework, At: day(i),
			Plate: NewPlate(egg(deg, 200*size, 140*size), 0.05)}
		for j := range each {
			f := findings(part.Dust)[0]
			for f.Place == nil {
				x, y := 10*(2*rng.Float64()-1), 10*(2*rng.Float64()-1)
				if place != nil {
					if px, py, ok := place(i, j, rng, deg); ok {
						x, y = px, py
					}
				}
				f.Place = u.Plate.Place(onEgg(deg, x*20*size, y*20*size))
				if f.Place != nil && f.Place.Out >= 1 {
					f.Place = nil
				}
			}
			u.Findings = append(u.Findings, f)
		}
		units = append(units, u)
	}
	return units
}

// TestMapEven: findings that fall anywhere alike give a chance that is even over
// 0..1: one lot in ten is below 0.1.
func TestMapEven(t *testing.T) {
	below, runs := 0, 120
	for i := range runs {
		m, err := MapOf(lot(30, 3, uint64(i), nil), MapOptions{Draws: 199, Seed: uint64(i)})
		if err != nil {
			t.Fatal(err)
		}
		if m.Units != 30 || len(m.Spots) != 90 || m.Unplaced != 0 || len(m.Clusters) != 1 {
			t.Fatalf("%d units, %d spots, %d clusters", m.Units, len(m.Spots), len(m.Clusters))
		}
		if m.Clusters[0].P <= 0.1 {
			below++
		}
	}
	near(t, "share below 0.1", float64(below)/float64(runs), 0.1, 0.082) // three standard errors
}

// TestMapCluster: a place that comes again on the faceplate shows in the unit's
// frame and not in the picture's, and the other way round.
func TestMapCluster(t *testing.T) {
	onUnit := lot(60, 2, 5, func(i, j int, rng *rand.Rand, _ float64) (float64, float64, bool) {
		return 5 + 0.5*rng.NormFloat64(), -2 + 0.5*rng.NormFloat64(), j == 0 && i%3 == 0
	})
	m, err := MapOf(onUnit, MapOptions{Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	c := m.Clusters[0]
	if !(c.P <= 0.002) || math.Hypot(c.X-5, c.Y+2) > 1.2 || c.Units < 18 || c.Expected > 10 {
		t.Errorf("in the unit's frame: %+v", c)
	}
	p, _ := MapOf(onUnit, MapOptions{Frame: PictureFrame, Seed: 1})
	if p.Clusters[0].P < 0.02 {
		t.Errorf("in the picture's frame too: %+v", p.Clusters[0])
	}
	inPicture := lot(60, 2, 6, func(i, j int, rng *rand.Rand, deg float64) (float64, float64, bool) {
		s, c := math.Sincos(deg * math.Pi / 180) // 3 mm right and 3 mm below the middle of the picture
		x, y := 3+0.4*rng.NormFloat64(), 3+0.4*rng.NormFloat64()
		return c*x + s*y, -s*x + c*y, j == 0 && i%3 == 0
	})
	p, _ = MapOf(inPicture, MapOptions{Frame: PictureFrame, Seed: 1})
	if c := p.Clusters[0]; !(c.P <= 0.01) || math.Hypot(c.X-3, c.Y-3) > 1.5 {
		t.Errorf("in the picture's frame: %+v", c)
	}
	// One bad unit is no pattern.
	one := lot(60, 1, 7, nil)
	for range 30 {
		one[3].Findings = append(one[3].Findings, one[3].Findings[0])
	}
	m, _ = MapOf(one, MapOptions{Seed: 1})
	if m.Clusters[0].P < 0.05 {
		t.Errorf("one unit with many findings at one place: %+v", m.Clusters[0])
	}
}

func TestMapMirror(t *testing.T) {
	units := lot(2, 1, 1, func(int, int, *rand.Rand, float64) (float64, float64, bool) { return 4, 3, true })
	units[0].Side = "L"
	m, _ := MapOf(units, MapOptions{Mirror: true})
	if m.Ends != EndsByShape {
		t.Fatal("the two units lie alike; choose another seed")
	}
	near(t, "x of the left one", m.Spots[0].X, m.Spots[1].X, 0.1)
	near(t, "y of the left one", m.Spots[0].Y, -m.Spots[1].Y, 0.1)
	// In the picture, a mark right of the middle comes to lie left of it.
	units[0].Plate, units[1].Plate = NewPlate(egg(0, 200, 140), .05), NewPlate(egg(0, 200, 140), .05)
	m, _ = MapOf(units, MapOptions{Mirror: true, Frame: PictureFrame})
	near(t, "x in the picture", m.Spots[0].X, -m.Spots[1].X, 0.3)
	near(t, "y in the picture", m.Spots[0].Y, m.Spots[1].Y, 0.3)
	units[0].Plate = nil
	m, _ = MapOf(units, MapOptions{})
	if m.Unplaced != 1 || len(m.Spots) != 1 || m.Units != 1 {
		t.Errorf("without an outline: %+v", m)
	}
	if _, err := MapOf(units, MapOptions{Frame: "moon"}); err == nil {
		t.Error("an unknown frame: no error")
	}
	if m, err := MapOf(nil, MapOptions{}); err != nil || m.Units != 0 {
		t.Errorf("nothing: %+v %v", m, err)
	}
}

func hintKeys(t *testing.T, units []Unit) []string {
	t.Helper()
	h, err := Hints(units, DefaultHintParams())
	if err != nil {
		t.Fatal(err)
	}
	var keys []string
	for _, x := range h {
		text := lang.English().Say(&x.Phrase)
		if strings.Contains(text, "NaN") || strings.Contains(text, "lot.") || strings.Contains(text, "noun.") || len(x.Figures) == 0 {
			t.Errorf("%s: %s", x.Key, text)
		}
		t.Log(text)
		keys = append(keys, x.Key)
	}
	return keys
}

// TestHints: each pattern is named, and a lot without any has no hint.
func TestHints(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	quiet := lot(120, 1, 9, nil)
	for i := range quiet {
		quiet[i].Operator, quiet[i].Resin = "abc"[rng.IntN(3):][:1], "xy"[rng.IntN(2):][:1]
		quiet[i].Steps = []Step{{StepUM: 5 * rng.NormFloat64()}, {StepUM: 5 * rng.NormFloat64()}}
		quiet[i].Findings[0].SizeMM = 0.1 + 0.3*rng.Float64()
		if rng.IntN(3) == 0 {
			quiet[i].Findings = nil
		}
	}
	if k := hintKeys(t, quiet); len(k) != 0 {
		t.Errorf("hints where there is nothing: %v", k)
	}
	change := func(f func(i int, u *Unit)) []Unit {
		units := slices.Clone(quiet)
		for i := range units {
			units[i].Findings = slices.Clone(units[i].Findings)
			units[i].Steps = slices.Clone(units[i].Steps)
			f(i, &units[i])
		}
		return units
	}
	extra := lot(120, 3, 10, nil)
	for _, c := range []struct {
		want  string
		units []Unit
	}{
		{"dust_rising", change(func(i int, u *Unit) {
			u.Plate = extra[i].Plate
			u.Findings = extra[i].Findings[:min(3, i/30)]
		})},
		{"bubbles_one_size", change(func(i int, u *Unit) {
			if i%3 == 0 {
				f := findings(part.Bubble)[0]
				f.SizeMM = 0.3 + 0.02*rng.NormFloat64()
				u.Findings = append(u.Findings, f)
			}
		})},
		{"sanding_one_way", change(func(i int, u *Unit) {
			if i%5 == 0 { // at 30 degrees from the long axis, counter-clockwise
				f := findings(part.Sanding)[0]
				f.AngleDeg = math.Mod(30-u.Plate.TurnDeg+8*rng.NormFloat64()+720, 180)
				f.Place = &Place{rng.Float64() * 360, math.Sqrt(rng.Float64())}
				u.Findings = append(u.Findings, f)
			}
		})},
		{"step_drifts", change(func(i int, u *Unit) {
			for j := range u.Steps {
				u.Steps[j].StepUM += float64(i) / 10
			}
		})},
		{"group_operator", change(func(i int, u *Unit) {
			if u.Operator != "b" && i%3 > 0 {
				u.Findings = nil
			}
		})},
		{"cluster_unit", change(func(i int, u *Unit) {
			if i%4 == 0 {
				f := findings(part.Crater)[0]
				f.Place = &Place{math.Mod(40+8*rng.NormFloat64()+360, 360), 0.6 + 0.05*rng.NormFloat64()}
				u.Findings = append(u.Findings, f)
			}
		})},
	} {
		if k := hintKeys(t, c.units); !slices.Equal(k, []string{c.want}) {
			t.Errorf("%v, want %s", k, c.want)
		}
	}
}

// TestUnitOf: what was not measured is NaN, and places come from face
// pictures only.
func TestUnitOf(t *testing.T) {
	v := 0.2
	step := 12.
	r := &part.Result{
		Stage: part.Wet, Verdict: part.Rework, MMPerPX: 0.05,
		Pictures:  []part.PictureReport{{File: "f.jpg", View: part.Face}, {File: "e.jpg", View: part.Edge}},
		Faceplate: &part.Faceplate{Image: "f.jpg"},
		Seam:      part.Seam{Stations: []part.StepStation{{StepUM: &step, AngleDeg: 30, Side: part.Left}, {}}},
		Findings: []part.Finding{
			{Kind: part.Dust, Image: "f.jpg", Zone: part.ZoneFace, Severity: part.Minor, DiameterMM: &v, Box: part.Box{498, 398, 4, 4}},
			{Kind: part.Fibre, Image: "e.jpg", Zone: part.ZoneRim, Severity: part.Critical, LengthMM: &v},
		},
	}
	for _, p := range egg(0, 200, 140) {
		r.Faceplate.OutlinePX = append(r.Faceplate.OutlinePX, [2]float64{p.X, p.Y})
	}
	u := UnitOf(&part.Inspection{Result: *r})
	if u.Plate == nil || u.Findings[0].Place == nil || u.Findings[1].Place != nil || u.StepsMissing != 1 || len(u.Steps) != 1 ||
		u.Findings[1].SizeMM != 0.2 || !math.IsNaN(u.Score) || !math.IsNaN(u.Steps[0].UUM) {
		t.Fatalf("%+v", u)
	}
	if s := fmt.Sprint(u.BySeverity()); s != "[1 0 0 1]" {
		t.Errorf("by severity %s", s)
	}
	near(t, "worst step", u.WorstStepUM(), 12, 0)
	none := UnitOf(&part.Inspection{})
	if !math.IsNaN(none.WorstStepUM()) || !math.IsNaN(none.MeanStepUM()) || none.Measured() {
		t.Errorf("%+v", none)
	}
}

// TestWaviness: a slope that was measured is the waviness; a phase without a slope,
// a lower bound and no screen are none, not 0. Values are invented.
func TestWaviness(t *testing.T) {
	slope, phase := 1.25, 0.3
	for name, c := range map[string]struct {
		screen *part.Mirror
		want   float64
	}{
		"slope":       {&part.Mirror{PhaseRad: &phase, SlopeMRad: &slope}, 1.25},
		"phase only":  {&part.Mirror{PhaseRad: &phase}, math.NaN()},
		"lower bound": {&part.Mirror{PhaseRad: &phase, SlopeMRad: &slope, AtLeast: true}, math.NaN()},
		"gloss only":  {&part.Mirror{LostGloss: 1}, math.NaN()},
		"no screen":   {nil, math.NaN()},
	} {
		u := UnitOf(&part.Inspection{Result: part.Result{Screen: c.screen}})
		if got := u.WavinessMRad(); got != c.want && !(math.IsNaN(got) && math.IsNaN(c.want)) {
			t.Errorf("%s: %g mrad, want %g", name, got, c.want)
		}
	}
}

// BenchmarkMap is a map of 2,000 findings with a true cluster, so that all draws
// are made.
func BenchmarkMap(b *testing.B) {
	units := lot(1000, 2, 5, func(i, j int, rng *rand.Rand, _ float64) (float64, float64, bool) {
		return 5 + 0.5*rng.NormFloat64(), -2 + 0.5*rng.NormFloat64(), j == 0 && i%3 == 0
	})
	for b.Loop() {
		if _, err := MapOf(units, MapOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkHints is all hints of 10,000 units.
func BenchmarkHints(b *testing.B) {
	units := lot(10_000, 2, 5, nil)
	for b.Loop() {
		if _, err := Hints(units, DefaultHintParams()); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkCapability is that of 100,000 single values.
func BenchmarkCapability(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	v := make([]float64, 100_000)
	for i := range v {
		v[i] = rng.NormFloat64()
	}
	g := singles(v)
	for b.Loop() {
		if _, err := Capable(g, "individuals", CapabilityOptions{Lower: -4, Upper: 4, Target: 0}); err != nil {
			b.Fatal(err)
		}
	}
}
