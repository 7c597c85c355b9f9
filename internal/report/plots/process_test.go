package plots

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// shares is a chart of shares with varying sizes, and signs.
func shares(n int, seed uint64) TimeChart {
	rng := rand.New(rand.NewPCG(seed, 2))
	t := TimeChart{Centre: []float64{0.1}}
	for i := range n {
		size := 40 + 60*rng.Float64()
		sd := math.Sqrt(0.09 / size)
		v := 0.1 + sd*rng.NormFloat64()
		if i == n/2 {
			v = 0.35
		}
		t.Values = append(t.Values, max(v, 0))
		t.Upper = append(t.Upper, 0.1+3*sd)
		t.Lower = append(t.Lower, max(0, 0.1-3*sd))
		if v > 0.1+3*sd {
			t.Signs = append(t.Signs, Sign{i, "N1", "a point beyond three standard deviations"})
		}
	}
	return t
}

// marked counts the rings of points that stand out.
func marked(svg []byte) int { return strings.Count(string(svg), "stroke:#D55E00;stroke-width:2.6") }

func TestTimes(t *testing.T) {
	c := shares(40, 1)
	c.Signs = append(c.Signs, Sign{20, "N5", "two of three"}, Sign{99, "N2", "not on this chart"}, Sign{-1, "N2", "nor this"})
	c.Phases = []Mark{{"new filter", 30}}
	c.Values[3] = nan
	svg, err := Times(Options{Y: "share"}, c)
	es := read(t, svg, err)
	hasTexts(t, es, "share", "N1", "N5", "N1 N5", "two of three", "new filter", "centre 0.1", "?", "not measured")
	if slices.Contains(texts(es), "N2") {
		t.Error("a rule of no point is named")
	}
	if n := dots(es); n != 39 {
		t.Errorf("%d dots, want 39", n)
	}
	// The limit is drawn in steps, two corners a point.
	if !strings.Contains(string(svg), "stroke-dasharray:9,6") && !strings.Contains(string(svg), "stroke-dasharray: 9") {
		t.Error("no dashed limit")
	}
	hasTexts(t, es, "upper limit") // without a number: each sample has its own
	for name, v := range map[string][]float64{"nothing": nil, "no number": {nan, inf}} {
		if _, err := Times(Options{}, TimeChart{Values: v, Centre: []float64{1}}); err != ErrNothing {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestTimesHidesNothing: of 100,000 points each one that stands out has its
// cross, and in its rule's row a tick at its place.
func TestTimesHidesNothing(t *testing.T) {
	n := 100_000
	c := TimeChart{Values: make([]float64, n), Centre: []float64{0}, Upper: []float64{3}, Lower: []float64{-3}}
	rng := rand.New(rand.NewPCG(9, 9))
	var at []int
	for i := range n {
		c.Values[i] = max(-2.9, min(2.9, rng.NormFloat64()))
	}
	for k := range 40 { // of all heights, some in between the others, some side by side
		i := 1000 + k*2411
		at = append(at, i)
		c.Values[i] = []float64{5, -4, 0.2, 2}[k%4]
		c.Signs = append(c.Signs, Sign{i, []string{"N1", "N2"}[k%2], "rule"})
	}
	svg, err := Times(Options{}, c)
	es := read(t, svg, err)
	if got := marked(svg); got != 40 {
		t.Errorf("%d rings, want 40", got)
	}
	// Ticks of the rows: upright lines of 12 in vermilion.
	upright := regexp.MustCompile(`M([\d.]+),([\d.]+)L([\d.]+),([\d.]+)$`)
	ticks := 0
	for _, e := range es {
		m := upright.FindStringSubmatch(strings.TrimSpace(e.attr["d"]))
		if m == nil || !strings.Contains(e.attr["style"], "#D55E00") {
			continue
		}
		y0, _ := strconv.ParseFloat(m[2], 64)
		y1, _ := strconv.ParseFloat(m[4], 64)
		if m[1] == m[3] && math.Abs(math.Abs(y1-y0)-12) < 0.01 {
			ticks++
		}
	}
	if ticks != 40 {
		t.Errorf("%d ticks, want 40", ticks)
	}
	if len(svg) > 400_000 {
		t.Errorf("%d bytes", len(svg))
	}
	// A point amid thousands keeps its height: the highest of all is drawn.
	x, y := newFrame(Options{}).thinned(c.Values)
	for _, i := range at {
		if v := c.Values[i]; math.Abs(v) > 3 && !slices.Contains(y, v) {
			t.Errorf("point %d of %g is thinned away", i, v)
		}
	}
	if len(x) > 4000 || !slices.IsSorted(x) {
		t.Errorf("%d points, in order %v", len(x), slices.IsSorted(x))
	}
	c.Values[500] = nan
	if _, y := newFrame(Options{}).thinned(c.Values); !slices.ContainsFunc(y, math.IsNaN) {
		t.Error("a gap is thinned away")
	}
}

func TestCUSUMPlot(t *testing.T) {
	svg, err := CUSUM(Options{Y: "sum"}, Sums{High: []float64{0, 1, nan, 6}, Low: []float64{2, 0, nan, 0}, Limit: 5,
		Signs: []Sign{{3, "C+", "too high"}}})
	es := read(t, svg, err)
	hasTexts(t, es, "C+", "too high", "limit 5", "limit −5", "?", "sum above the target")
	if n := marked(svg); n != 1 {
		t.Errorf("%d rings, want 1", n)
	}
	if _, err := CUSUM(Options{}, Sums{Limit: 1}); err != ErrNothing {
		t.Errorf("nothing: %v", err)
	}
}

func TestHistogramPlot(t *testing.T) {
	svg, err := Histogram(Options{X: "step / um"}, Counted{Edges: []float64{0, 1, 2, 3}, Counts: []float64{3, 0, 2},
		Curves: []Series{{"normal", []float64{0, 1, 2, 3}, []float64{1, 3, 2, 1}}}, Marks: []Mark{{"upper limit", 5}}})
	es := read(t, svg, err)
	hasTexts(t, es, "step / um", "normal", "upper limit")
	if n := strings.Count(string(svg), "fill:#55B3E8"); n != 2 { // the band's colour as the library writes it
		t.Errorf("%d bars, want 2: an empty one is none", n)
	}
	for name, h := range map[string]Counted{"nothing": {}, "a curve alone": {Curves: []Series{{"c", []float64{0, 1}, []float64{0, 1}}}},
		"no numbers": {Edges: []float64{nan, 1}, Counts: []float64{1}}} {
		if _, err := Histogram(Options{}, h); err != ErrNothing {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestParetoPlot(t *testing.T) {
	svg, err := Pareto(Options{Y: "%"}, Ordered{Categories: []string{"dust", "bubble", "run"}, Shares: []float64{0.6, 0.3, 0.1},
		Texts: []string{"60", "30", "10"}, Bars: "share", Line: "sum"})
	hasTexts(t, read(t, svg, err), "dust", "bubble", "run", "60", "30", "10", "share", "sum", "100")
	if _, err := Pareto(Options{}, Ordered{Categories: []string{"x"}, Shares: []float64{nan}}); err != ErrNothing {
		t.Errorf("no number: %v", err)
	}
}

// TestProcessStories writes plots to be looked at into the folder that
// FINISHBENCH_STORIES names.
func TestProcessStories(t *testing.T) {
	dir := os.Getenv("FINISHBENCH_STORIES")
	if dir == "" {
		t.Skip("FINISHBENCH_STORIES names no folder to write into")
	}
	rng := rand.New(rand.NewPCG(1, 1))
	c := shares(40, 1)
	c.Signs = append(c.Signs, Sign{20, "N5", "two of three points beyond two standard deviations on one side"},
		Sign{33, "N2", "nine points in a row on one side of the centre"})
	c.Phases, c.Values[12] = []Mark{{"baseline", 0}, {"new filter", 25}}, nan
	many := shares(100_000, 3)
	for i := 5; i < 100_000; i += 900 + rng.IntN(400) {
		many.Signs = append(many.Signs, Sign{i, []string{"N2", "N3", "N5", "N7"}[rng.IntN(4)], "another rule, whose words are here"})
	}
	var days []string
	for i := range 300 {
		days = append(days, fmt.Sprintf("%02d.%02d.", i%28+1, i/28+1))
	}
	mid := shares(300, 8)
	mid.Labels = days
	var high, low []float64
	h, l := 0.0, 0.0
	for i := range 60 {
		x := rng.NormFloat64() - 0.8
		if i < 30 {
			x += 0.8
		}
		h, l = max(0, h+x-.5), max(0, l-x-.5)
		high, low = append(high, h), append(low, l)
	}
	sums := Sums{High: high, Low: low, Limit: 5}
	for i, v := range low {
		if v > 5 {
			sums.Signs = append(sums.Signs, Sign{i, "C−", "the sum of what lies below the target is beyond its limit"})
		}
	}
	hist := Counted{Marks: []Mark{{"lower limit −20", -20}, {"target 0", 0}, {"mean 3.1", 3.1}, {"upper limit 20", 20}},
		Curves: []Series{{Name: "normal distribution"}, {Name: "fitted"}}}
	for i := range 17 {
		hist.Edges = append(hist.Edges, float64(i)*2-14)
		z := (float64(i)*2 - 13 - 3) / 5
		if i < 16 {
			hist.Counts = append(hist.Counts, math.Round(40*math.Exp(-z*z/2)+3*rng.Float64()))
		}
	}
	for x := -25.; x <= 25; x += 0.5 {
		z := (x - 3) / 5
		hist.Curves[0].X, hist.Curves[0].Y = append(hist.Curves[0].X, x), append(hist.Curves[0].Y, 40*math.Exp(-z*z/2))
		hist.Curves[1].X, hist.Curves[1].Y = append(hist.Curves[1].X, x), append(hist.Curves[1].Y, 38*math.Exp(-math.Abs(z*z*z)/3))
	}
	for name, f := range map[string]func() ([]byte, error){
		"times":     func() ([]byte, error) { return Times(Options{X: "lot", Y: "share of units with a finding"}, c) },
		"times300":  func() ([]byte, error) { return Times(Options{X: "day", Y: "share"}, mid) },
		"timesmany": func() ([]byte, error) { return Times(Options{X: "sample", Y: "share"}, many) },
		"cusum":     func() ([]byte, error) { return CUSUM(Options{X: "unit", Y: "sum / um"}, sums) },
		"histogram": func() ([]byte, error) { return Histogram(Options{X: "step / um", Y: "units"}, hist) },
		"pareto": func() ([]byte, error) {
			return Pareto(Options{Y: "share of findings / %"}, Ordered{Categories: []string{"dust", "bubble", "fibre", "sanding marks",
				"missed place", "run"}, Shares: []float64{.42, .23, .17, .1, .05, .03}, Texts: []string{"84", "46", "34", "20", "10", "6"},
				Bars: "kind", Line: "with all before"})
		},
		"unrolled": func() ([]byte, error) { return Unroll(body()) },
	} {
		svg, err := f()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if err := os.WriteFile(filepath.Join(dir, name+".svg"), Standalone(svg), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// BenchmarkTimes draws 100,000 points with varying limits and some 700 signals.
func BenchmarkTimes(b *testing.B) {
	c := shares(100_000, 3)
	for b.Loop() {
		svg, err := Times(Options{}, c)
		if err != nil || bytes.Count(svg, []byte("<path")) < 10 {
			b.Fatal(err)
		}
	}
}
