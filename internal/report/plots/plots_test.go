package plots

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

var nan, inf = math.NaN(), math.Inf(1)

// element is one element of a drawing.
type element struct {
	name, text string
	attr       map[string]string
}

// read parses a plot, and tests what holds for every plot.
func read(t *testing.T, svg []byte, err error) []element {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	var out []element
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		k, err := d.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatalf("not XML: %v", err)
		}
		switch k := k.(type) {
		case xml.StartElement:
			e := element{name: k.Name.Local, attr: map[string]string{}}
			for _, a := range k.Attr {
				e.attr[a.Name.Local] = a.Value
			}
			out = append(out, e)
		case xml.CharData:
			if len(out) > 0 {
				out[len(out)-1].text += strings.TrimSpace(string(k))
			}
		}
	}
	if out[0].name != "svg" || out[0].attr["class"] != "plot" || out[0].attr["viewBox"] == "" || out[0].attr["width"] != "" {
		t.Errorf("begins %+v", out[0])
	}
	for _, e := range out {
		for a, v := range e.attr {
			if a == "id" || a == "href" || strings.Contains(v, "NaN") || strings.Contains(v, "Inf") || strings.Contains(v, "url(") {
				t.Errorf("%s: %s=%q", e.name, a, v)
			}
		}
		if e.name == "style" || e.name == "image" {
			t.Errorf("holds %s", e.name)
		}
	}
	return out
}

func texts(es []element) []string {
	var out []string
	for _, e := range es {
		if e.name == "text" {
			out = append(out, e.text)
		}
	}
	return out
}

func hasTexts(t *testing.T, es []element, want ...string) {
	t.Helper()
	for _, w := range want {
		if !slices.Contains(texts(es), w) {
			t.Errorf("lacks the text %q among %q", w, texts(es))
		}
	}
}

// dots counts paths that are filled circles of the first series' colour.
func dots(es []element) int {
	n := 0
	for _, e := range es {
		if e.name == "path" && strings.Contains(e.attr["d"], "A") && strings.Contains(e.attr["style"], "fill:#0072B2") {
			n++
		}
	}
	return n
}

func TestLines(t *testing.T) {
	svg, err := Lines(Options{X: "frequency / (1/mm)", Y: "contrast <1>"},
		[]Series{{Name: "lens & light", X: []float64{1, 2, 3, 4, inf}, Y: []float64{1, nan, 3, 4, 5}},
			{Name: "none", X: []float64{1}, Y: []float64{nan}}},
		HLine{"limit", 2, true}, HLine{"gone", nan, true})
	es := read(t, svg, err)
	hasTexts(t, es, "frequency / (1/mm)", "contrast <1>", "lens & light", "limit")
	if s := texts(es); slices.Contains(s, "gone") || slices.Contains(s, "none") {
		t.Errorf("names of what is not drawn: %q", s)
	}
	if n := dots(es); n != 3+1 { // one more in the legend
		t.Errorf("%d dots", n)
	}
	// The line breaks at the missing value: 3 joins 4, and 1 joins nothing.
	if n := strings.Count(string(svg), "stroke:#0072B2"); n != 4+1+1 { // dots' edges, legend's line, the one line
		t.Errorf("%d strokes in the series' colour", n)
	}
}

func TestSeriesDifferWithoutColour(t *testing.T) {
	seen := map[string]bool{}
	for i := range 42 {
		k := fmt.Sprint(lineStyle(i).Dashes, glyphStyle(i).Shape, seriesColour(i))
		if seen[k] {
			t.Fatalf("series %d looks like one before", i)
		}
		seen[k] = true
	}
	for i := range 7 {
		for k := range i {
			if fmt.Sprint(lineStyle(i).Dashes) == fmt.Sprint(lineStyle(k).Dashes) || glyphStyle(i).Shape == glyphStyle(k).Shape {
				t.Errorf("in print, series %d looks like %d", i, k)
			}
		}
	}
}

func TestNothingToDraw(t *testing.T) {
	o := Options{}
	for name, f := range map[string]func() ([]byte, error){
		"lines": func() ([]byte, error) {
			return Lines(o, []Series{{X: []float64{1}, Y: []float64{nan}}}, HLine{"l", 1, true})
		},
		"lines nil": func() ([]byte, error) { return Lines(o, nil) },
		"log": func() ([]byte, error) {
			return Lines(Options{LogX: true}, []Series{{X: []float64{0, -1}, Y: []float64{1, 1}}})
		},
		"strips":   func() ([]byte, error) { return Strips(o, []string{"a"}, nil) },
		"bars":     func() ([]byte, error) { return Bars(o, []string{"a"}, []Series{{Y: []float64{nan, inf}}}) },
		"bars nil": func() ([]byte, error) { return Bars(o, nil, nil) },
		"control": func() ([]byte, error) {
			return Control(o, Chart{Values: []float64{nan}, Centre: 1, Upper: 2, Lower: 0})
		},
		"curve":     func() ([]byte, error) { return Curve(o, Band{X: []float64{1}, Y: []float64{nan}}) },
		"arrows":    func() ([]byte, error) { return Arrows(o, 10, 10, []Arrow{{nan, 1, 1, 1}}, 1) },
		"intervals": func() ([]byte, error) { return Intervals(o, []string{"a"}, []Interval{{0, nan, 1}}) },
	} {
		if svg, err := f(); !errors.Is(err, ErrNothing) || svg != nil {
			t.Errorf("%s: %v, %d bytes", name, err, len(svg))
		}
	}
}

// fills are the heights and middles of the filled rectangles of a colour.
func fills(es []element, colour string) (heights, low []float64) {
	for _, e := range es {
		if e.name != "path" || !strings.HasPrefix(e.attr["style"], "fill:"+colour) {
			continue
		}
		var ys []float64
		for _, p := range regexp.MustCompile(`[ML]([-\d.e]+),([-\d.e]+)`).FindAllStringSubmatch(e.attr["d"], -1) {
			y, _ := strconv.ParseFloat(p[2], 64)
			ys = append(ys, y)
		}
		heights, low = append(heights, slices.Max(ys)-slices.Min(ys)), append(low, slices.Min(ys))
	}
	return heights, low
}

// Bars are as high as their values, whatever these are: they begin at 0.
func TestBarsAreProportional(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 1))
	for range 40 {
		vs := make([]float64, 1+r.IntN(8))
		for i := range vs {
			vs[i] = 100 + 50*r.Float64() // far from 0: an axis that begins at the least would show
		}
		svg, err := Bars(Options{}, nil, []Series{{Y: vs}})
		heights, low := fills(read(t, svg, err), "#0072B2")
		if len(heights) != len(vs) {
			t.Fatalf("%d bars for %d values", len(heights), len(vs))
		}
		for i := range vs {
			if got, want := heights[i]/heights[0], vs[i]/vs[0]; math.Abs(got-want) > 2e-3 {
				t.Errorf("%v: bar %d is %g times the first, want %g", vs, i, got, want)
			}
			if math.Abs(low[i]-low[0]) > 0.01 {
				t.Errorf("bar %d begins at %g, the first at %g", i, low[i], low[0])
			}
		}
	}
}

func TestBarsLeaveMissingOut(t *testing.T) {
	svg, err := Bars(Options{Y: "share / %"}, []string{"a", "b", "c"}, []Series{{Name: "one", Y: []float64{3, nan, 6}}},
		HLine{"limit", 5, true})
	es := read(t, svg, err)
	if h, _ := fills(es, "#0072B2"); len(h) != 2+1 { // one more in the legend
		t.Errorf("bars: %v", h)
	}
	hasTexts(t, es, "?", "not measured", "a", "b", "c", "one", "limit", "3", "6")
}

func TestStrips(t *testing.T) {
	svg, err := Strips(Options{X: "part", Y: "step / um"}, []string{"p1", "p2"},
		[]Series{{Name: "A", X: []float64{0, 0, 1, 1}, Y: []float64{1, 2, 3, nan}}, {Name: "B", X: []float64{0, 1}, Y: []float64{2, 2}}})
	es := read(t, svg, err)
	hasTexts(t, es, "part", "step / um", "p1", "p2", "A", "B")
	if n := dots(es); n != 3+1 {
		t.Errorf("%d dots of A", n)
	}
}

// Worked out by hand; the order of the points does not matter.
func TestMeans(t *testing.T) {
	f := newFrame(Options{})
	got := means(f.points([]float64{2, 0, 0, 2, 1}, []float64{5, 1, 3, 7, -1}))
	if fmt.Sprint(got) != "[{0 2} {1 -1} {2 6}]" {
		t.Error(got)
	}
}

func TestControl(t *testing.T) {
	c := Chart{Values: []float64{1, 2, nan, 9}, Out: []bool{false, false, true, true}, Centre: 1.5, Upper: 3.25, Lower: nan}
	svg, err := Control(Options{X: "shift"}, c)
	es := read(t, svg, err)
	hasTexts(t, es, "shift", "centre 1.5", "upper limit 3.25", "out of limits", "?", "not measured", "1", "4")
	if strings.Contains(string(svg), "lower") {
		t.Error("a lower limit that is none")
	}
	if n := strings.Count(string(svg), "stroke:#D55E00"); n != 1+1 { // the point, the legend
		t.Errorf("%d rings: the missing value must have none", n)
	}
	c.Labels = []string{"Monday", "Tuesday", "Wednesday", "Thursday"}
	svg, err = Control(Options{}, c)
	hasTexts(t, read(t, svg, err), "Monday", "Thursday")
}

func TestCurve(t *testing.T) {
	b := Band{Name: "curve", BandName: "95 % band", X: []float64{0, 0.01, 0.1, 1}, Y: []float64{0.1, 0.2, 0.5, 1},
		Lower: []float64{0, 0, nan, 0.9}, Upper: []float64{1, 1, 1, 1},
		Points: []Series{{Name: "found", X: []float64{0.1, 0.1, 0.5}, Y: []float64{1, 1, 1}},
			{Name: "measured", X: []float64{0.2, 0.3}, Y: []float64{0.4, nan}}},
		MarkX: []Mark{{"a50", 0.1}, {"a90", 0.12}, {"a90/95", 0.13}, {"none", nan}}}
	svg, err := Curve(Options{X: "size / mm", Y: "probability", LogX: true}, b, HLine{"90 %", 0.9, true})
	es := read(t, svg, err)
	hasTexts(t, es, "curve", "95 % band", "found", "measured", "a50", "a90", "a90/95", "90 %", "0.01", "0.1", "1")
	if slices.Contains(texts(es), "none") {
		t.Error("a vertical line that is none has a name")
	}
	// Names of lines that are close stand in rows of their own.
	ys := map[string]bool{}
	for _, e := range es {
		if strings.HasPrefix(e.text, "a") && e.name == "text" {
			ys[e.attr["y"]] = true
		}
	}
	if len(ys) != 3 {
		t.Errorf("three names in %d rows", len(ys))
	}
	// Three hits at 1, three in the legend: ticks, no shapes.
	if n := strings.Count(string(svg), "stroke-opacity:0.69"); n != 6 {
		t.Errorf("%d ticks", n)
	}
}

func TestArrows(t *testing.T) {
	svg, err := Arrows(Options{X: "x / px", Y: "y / px"}, 1600, 1200, []Arrow{{100, 100, 0.5, 0}, {800, 600, 0, 0}, {nan, 1, 1, 1}}, 200)
	es := read(t, svg, err)
	// The axis down the side is positive.
	hasTexts(t, es, "x / px", "y / px", "0", "1000")
	for _, s := range texts(es) {
		if strings.HasPrefix(s, "−") {
			t.Errorf("a negative label %q", s)
		}
	}
	key := regexp.MustCompile(`^= ([\d.]+) px \(drawn 200 times as long\)$`)
	i := slices.IndexFunc(es, func(e element) bool { return key.MatchString(e.text) })
	if i < 0 {
		t.Fatalf("no key among %q", texts(es))
	}
	// The key is as long as the arrow of 0.5 px times their ratio.
	px, _ := strconv.ParseFloat(key.FindStringSubmatch(es[i].text)[1], 64)
	var long []float64
	for _, e := range es {
		if e.name == "path" && strings.Contains(e.attr["style"], "stroke:#0072B2") {
			var x0, y0, x1, y1 float64
			if _, err := fmt.Sscanf(e.attr["d"], "M%g,%gL%g,%g", &x0, &y0, &x1, &y1); err != nil {
				t.Fatal(err)
			}
			long = append(long, math.Hypot(x1-x0, y1-y0))
		}
	}
	if len(long) != 2 || math.Abs(long[1]/long[0]-px/0.5) > 0.02 {
		t.Errorf("arrow and key of %g px: %v", px, long)
	}
	// Without a factor one is chosen.
	svg, err = Arrows(Options{}, 640, 480, []Arrow{{1, 1, 0.3, 0.4}}, nan)
	hasTexts(t, read(t, svg, err), "0")
}

func TestIntervals(t *testing.T) {
	svg, err := Intervals(Options{Y: "kappa"}, []string{"A", "B", "C"}, []Interval{{0.1, 0.5, 0.9}, {nan, 0.5, inf}, {0, nan, 1}},
		HLine{"chance", 0, false})
	es := read(t, svg, err)
	hasTexts(t, es, "A", "B", "C", "kappa", "chance", "?", "not measured")
	if n := dots(es); n != 2 {
		t.Errorf("%d middles", n)
	}
}

// One number, the same number again and again, numbers far apart and close
// together: each is drawn, or refused in words.
func TestOddRanges(t *testing.T) {
	for _, vs := range [][]float64{{0}, {5, 5, 5}, {-1e-9, 1e-9}, {1e9, 1e9 + 1}, {1e15, 1e15 + 0.1}, {-3}, {1e-300, 2e-300},
		{1e200, -1e200}, {0, math.SmallestNonzeroFloat64}} {
		xs := make([]float64, len(vs))
		for i := range xs {
			xs[i] = float64(i + 1)
		}
		for _, log := range []bool{false, true} {
			svg, err := Lines(Options{LogX: log}, []Series{{X: xs, Y: vs}})
			read(t, svg, err)
			svg, err = Curve(Options{LogX: log}, Band{X: xs, Y: vs, MarkX: []Mark{{"m", 1e-3}}})
			read(t, svg, err)
		}
		svg, err := Bars(Options{}, nil, []Series{{Y: vs}})
		read(t, svg, err)
		svg, err = Control(Options{}, Chart{Values: vs, Centre: nan, Lower: nan, Upper: nan})
		read(t, svg, err)
	}
	if _, err := Lines(Options{}, []Series{{X: []float64{1, 2}, Y: []float64{-math.MaxFloat64, math.MaxFloat64}}}); !errors.Is(err,
		errTooFar) {
		t.Error(err)
	}
}

func TestOddNames(t *testing.T) {
	long := strings.Repeat("a very long name ", 30)
	odd := []string{long, "a<b>&\"c\"", "tab\tnew\nline\x00\x1b[31m", string([]byte{0xff, 'x'}), "\ue000\ue001", ""}
	for _, s := range odd {
		svg, err := Strips(Options{X: s, Y: s}, odd, []Series{{Name: s, X: []float64{0, 1}, Y: []float64{1, 2}},
			{Name: s, X: []float64{2, 40}, Y: []float64{1, 2}}}, HLine{s, 1, true})
		read(t, svg, err)
		svg, err = Curve(Options{X: s}, Band{Name: s, BandName: s, X: []float64{1, 2}, Y: []float64{1, 2}, MarkX: []Mark{{s, 1.9}, {s, 2}}})
		read(t, svg, err)
	}
}

// Names under the places fit, are broken, slant, or are thinned; they are never
// on each other.
func TestCategories(t *testing.T) {
	many := make([]string, 90)
	for i := range many {
		many[i] = strconv.Itoa(i + 1)
	}
	dates := make([]string, 30)
	for i := range dates {
		dates[i] = fmt.Sprintf("2031-02-%02d", i+1)
	}
	for _, c := range []struct {
		names []string
		slant bool
		every bool // all are shown
	}{
		{[]string{"a", "b"}, false, true},
		{[]string{"the gauge itself", "from part to part", "from one appraiser to another", "both together"}, false, true},
		{many, false, false},
		{dates, true, false},
	} {
		f := newFrame(Options{})
		f.categories(c.names, 0)
		f.placeCategories(680)
		ticks := f.X.Tick.Marker.Ticks(-0.5, 100)
		if (f.X.Tick.Label.Rotation != 0) != c.slant || (len(ticks) == len(c.names)) != c.every {
			t.Errorf("%q...: slant %v, %d of %d", c.names[0], f.X.Tick.Label.Rotation, len(ticks), len(c.names))
		}
	}
}

func TestTicks(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	for range 3000 {
		lo := r.NormFloat64() * math.Pow(10, float64(r.IntN(8)-4))
		hi := lo + math.Pow(10, float64(r.IntN(8)-4))*(0.1+r.Float64())
		n := 3 + r.IntN(9)
		ticks := roundTicks{n}.Ticks(lo, hi)
		if len(ticks) > n+1 || len(ticks) < 1 {
			t.Fatalf("%g to %g, at most %d parts: %d ticks", lo, hi, n, len(ticks))
		}
		step := roundStep(hi-lo, n)
		for i, k := range ticks {
			if k.Value < lo-step*1e-6 || k.Value > hi+step*1e-6 || i > 0 && ticks[i-1].Label == k.Label {
				t.Fatalf("%g to %g: %v", lo, hi, ticks)
			}
			if v, err := strconv.ParseFloat(strings.Replace(k.Label, "−", "-", 1), 64); err != nil || math.Abs(v-k.Value) > step*1e-3 {
				t.Fatalf("%g is labelled %q", k.Value, k.Label)
			}
		}
	}
	for _, c := range []struct{ lo, hi float64 }{{0.03, 0.3}, {0.08, 0.12}, {1, 1e6}, {0.5, 2}} {
		ticks := logTicks{9}.Ticks(c.lo, c.hi)
		if len(ticks) < 2 || len(ticks) > 10 {
			t.Errorf("%g to %g: %v", c.lo, c.hi, ticks)
		}
	}
}

func TestStandalone(t *testing.T) {
	svg, err := Lines(Options{}, []Series{{X: []float64{1, 2}, Y: []float64{1, 2}}})
	if err != nil {
		t.Fatal(err)
	}
	file := string(Standalone(svg))
	if !strings.HasPrefix(file, "<?xml") || !strings.Contains(file, `width="680"`) || !strings.Contains(file, "xmlns=") ||
		!strings.Contains(file, "#ffffff") {
		t.Errorf("%.300s", file)
	}
	for d := xml.NewDecoder(strings.NewReader(file)); ; {
		if _, err := d.Token(); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
	if Standalone([]byte("<p>")) != nil {
		t.Error("made a file of what is no plot")
	}
}

// Names of vertical lines at the right end stay in the drawing, right of their
// lines.
func TestNamesOfLinesStayInside(t *testing.T) {
	for _, name := range []string{"a", "a90/95 0.21 mm", "found nine times in ten, upper bound"} {
		svg, err := Curve(Options{}, Band{X: []float64{0, 1}, Y: []float64{0, 1}, MarkX: []Mark{{name, 1}, {name, 0.9}}})
		for _, e := range read(t, svg, err) {
			if e.text != name {
				continue
			}
			x, err := strconv.ParseFloat(e.attr["x"], 64)
			if err != nil || e.attr["text-anchor"] != "" || x+float64(textWidth(name, tickSize)) > 680 {
				t.Errorf("%q at %q, aligned %q", name, e.attr["x"], e.attr["text-anchor"])
			}
		}
	}
}
