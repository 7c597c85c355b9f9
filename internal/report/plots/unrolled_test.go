package plots

import (
	"fmt"
	"image/color"
	"math"
	"math/rand/v2"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/plot/vg"
)

// square is a shape with an area of its own.
func square() Outline {
	return Outline{Paths: [][][2]float64{{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}}}, Closed: true, Inner: 1,
		Colour: color.NRGBA{0xd5, 0x5e, 0, 0xff}}
}

// body is an invented one: a shell of 50 by 12 mm on which a wedge was not looked at, and marks on both.
func body() Unrolled {
	rng := rand.New(rand.NewPCG(1, 1))
	u := Unrolled{GirthMM: 50, DepthMM: 12, Names: UnrolledNames{Plate: "plate", Shell: "shell", Turn: "turn", Below: "mm below the seam",
		Some: "on some", None: "on none"},
		Kinds: []Kind{{"squares (42)", square()}}, Rings: []Ring{{"9 units on the plate", 3, -2, 1.5}},
		OnShell: []Ring{{"14 units across turn 0", 49.5, 4, 2.5}}}
	for i := range 72 {
		s, c := math.Sincos(float64(i) * math.Pi / 36)
		u.Plate = append(u.Plate, [2]float64{10 * c, 7 * s * (1 - 0.25*c)})
	}
	for j := range 24 {
		row := []byte(strings.Repeat("2", 72))
		for i := range row {
			if i >= 20 && i < 30+j/2 {
				row[i] = "01"[min(j/12, 1)]
			}
		}
		u.Looked = append(u.Looked, string(row))
	}
	for range 20 {
		u.Marks = append(u.Marks, Placed{X: 6 * rng.NormFloat64() / 2, Y: 4 * rng.NormFloat64() / 2, Outline: square()},
			Placed{Shell: true, X: 2 + 46*rng.Float64(), Y: 12 * rng.Float64(), Outline: square()})
	}
	u.Marks = append(u.Marks, Placed{Shell: true, X: 49.9, Y: 4, Outline: square(), Label: "41", Heavy: true},
		Placed{X: 1, Y: 1, WideMM: 4, HighMM: 2, Outline: square(), Label: "42"})
	return u
}

// numbersIn are all numbers of a path.
func numbersIn(d string) []float64 {
	var out []float64
	for _, m := range regexp.MustCompile(`-?[0-9.]+`).FindAllString(d, -1) {
		v, _ := strconv.ParseFloat(m, 64)
		out = append(out, v)
	}
	return out
}

// TestUnroll: words, ticks and names are there, each mark once and one across turn 0 at both ends, cells by
// their digits, and only what has a place.
func TestUnroll(t *testing.T) {
	u := body()
	svg, err := Unroll(u)
	es := read(t, svg, err)
	hasTexts(t, es, "plate", "shell", "turn", "mm below the seam", "0°", "90°", "180°", "270°", "360°", "5 mm", "on some", "on none",
		"squares (42)", "41", "42", "9 units on the plate", "14 units across turn 0")
	bright := func(svg []byte) int { return strings.Count(string(svg), "stroke:#D55E00") }
	if n := bright(svg); n != 42+1+1 { // one more in the legend, one more across turn 0
		t.Errorf("%d marks", n)
	}
	u.Marks = append(u.Marks, Placed{X: nan, Outline: square(), Label: "gone"},
		Placed{Shell: true, X: 1, Y: inf, Outline: square(), Label: "gone"})
	u.Rings = append(u.Rings, Ring{"", nan, 0, 1})
	svg, err = Unroll(u)
	if es = read(t, svg, err); bright(svg) != 44 || slices.Contains(texts(es), "gone") {
		t.Errorf("%d marks with some that have no place", bright(svg))
	}
	u = body()
	u.Plate, u.Rings = nil, nil
	svg, err = Unroll(u)
	if es = read(t, svg, err); slices.Contains(texts(es), "plate") || slices.Contains(texts(es), "42") {
		t.Error("a plate that there is not is drawn")
	}
	u = body()
	u.GirthMM = nan
	svg, err = Unroll(u)
	if es = read(t, svg, err); slices.Contains(texts(es), "90°") || slices.Contains(texts(es), "41") ||
		slices.Contains(texts(es), "on none") {
		t.Error("a shell that there is not is drawn")
	}
	for name, u := range map[string]Unrolled{"nothing": {}, "marks alone": {Marks: body().Marks},
		"a line": {Plate: [][2]float64{{0, 0}, {1, 0}, {2, 0}}}, "no number": {Plate: [][2]float64{{0, nan}, {1, 0}, {2, 1}}}} {
		if _, err := Unroll(u); err != ErrNothing {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestUnrollCells: the tones cover just the cells of their digit, and their lines lie on these cells.
func TestUnrollCells(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	u := Unrolled{GirthMM: 36, DepthMM: 9}
	share := map[byte]float64{}
	for range 18 {
		row := make([]byte, 72)
		for i := range row {
			row[i] = "0122"[rng.IntN(4)]
			share[row[i]] += 1. / (18 * 72)
		}
		u.Looked = append(u.Looked, string(row))
	}
	svg, err := Unroll(u)
	read(t, svg, err)
	k := (unrolledWide - bodyLeft - bodyRight) / 36
	// What the library writes is upside down.
	high, _ := strconv.ParseFloat(regexp.MustCompile(`viewBox="0 0 900 (\d+)"`).FindStringSubmatch(string(svg))[1], 64)
	top := high - (8 + lineHeight + 24)
	at := func(x, y float64) byte {
		return u.Looked[min(17, max(0, int((top-y)/k*2)))][min(71, max(0, int((x-bodyLeft)/k*2)))]
	}
	for digit, tone := range map[byte]string{'0': "#E3DBCB", '1': "#F7F1E4"} {
		area, n := 0.0, 0
		for _, m := range regexp.MustCompile(`<path d="([^"]*)" style="fill:`+tone).FindAllStringSubmatch(string(svg), -1) {
			v := numbersIn(m[1])
			x0, x1, y0, y1 := min(v[0], v[4]), max(v[0], v[4]), min(v[1], v[5]), max(v[1], v[5])
			area += (x1 - x0) * (y1 - y0) / (36 * 9 * k * k)
			n++
			if d := at((x0+x1)/2, (y0+y1)/2); d != digit {
				t.Fatalf("the tone of %c at a cell of %c", digit, d)
			}
		}
		if math.Abs(area-share[digit]) > 1e-3 {
			t.Errorf("%d tones of %c cover %.4f, not %.4f", n, digit, area, share[digit])
		}
	}
	lines := 0
	for digit, clr := range map[byte]string{'0': "#8A8376", '1': "#A8A092"} {
		for _, m := range regexp.MustCompile(`<path d="(M[^"]*)" style="fill:none;stroke:`+clr+`[;"]`).FindAllStringSubmatch(string(svg),
			-1) {
			v := numbersIn(m[1])
			if len(v) != 4 || math.Abs(v[0]-v[2]) < 0.5 {
				continue
			}
			lines++
			for s := 0.02; s < 1; s += 0.12 {
				if d := at(v[0]+s*(v[2]-v[0]), v[1]+s*(v[3]-v[1])); d != digit {
					t.Fatalf("a line of %c crosses a cell of %c: %v", digit, d, v)
				}
			}
		}
	}
	if lines < 300 {
		t.Errorf("only %d lines", lines)
	}
}

// TestBetween: a line's parts within two ends, cut where it crosses them.
func TestBetween(t *testing.T) {
	p := func(xy ...vg.Length) (out []vg.Point) {
		for i := 0; i < len(xy); i += 2 {
			out = append(out, vg.Point{X: xy[i], Y: xy[i+1]})
		}
		return out
	}
	for _, c := range []struct {
		line []vg.Point
		want [][]vg.Point
	}{
		{p(1, 1, 2, 2, 3, 1), [][]vg.Point{p(1, 1, 2, 2, 3, 1)}},
		{p(-2, 0, 2, 4), [][]vg.Point{p(0, 2, 2, 4)}},
		{p(8, 0, 12, 4, 12, 6, 8, 10), [][]vg.Point{p(8, 0, 10, 2), p(10, 8, 8, 10)}},
		{p(-1, 0, 11, 12), [][]vg.Point{p(0, 1, 10, 11)}},
		{p(11, 0, 12, 3), nil},
	} {
		if got := between(c.line, 0, 10); fmt.Sprint(got) != fmt.Sprint(c.want) {
			t.Errorf("%v: %v, want %v", c.line, got, c.want)
		}
	}
}
