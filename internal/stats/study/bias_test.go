package study

import (
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
)

// linearityExample: AIAG MSA, 4th ed., III-B, example of linearity: five pieces,
// twelve readings each (from memory; the averages, the slope and the other
// printed figures below hold it).
var linearityExample = map[float64]string{
	2:  "2.7 2.5 2.4 2.5 2.7 2.3 2.5 2.5 2.4 2.4 2.6 2.4",
	4:  "5.1 3.9 4.2 5.0 3.8 3.9 3.9 3.9 3.9 4.0 4.1 3.8",
	6:  "5.8 5.7 5.9 5.9 6.0 6.1 6.0 6.1 6.4 6.3 6.0 6.1",
	8:  "7.6 7.7 7.8 7.7 7.8 7.8 7.8 7.7 7.8 7.5 7.6 7.7",
	10: "9.1 9.3 9.5 9.3 9.4 9.5 9.5 9.5 9.6 9.2 9.3 9.4",
}

func pieces(t *testing.T, of map[float64]string, u float64) []PieceReading {
	t.Helper()
	var all []PieceReading
	for ref, text := range of {
		for f := range strings.FieldsSeq(text) {
			v, err := strconv.ParseFloat(f, 64)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, PieceReading{Piece: strconv.FormatFloat(ref, 'g', -1, 64), Reference: ref, UReference: u, Value: v})
		}
	}
	return all
}

func bias(t *testing.T, r []PieceReading, level float64) Bias {
	t.Helper()
	b, err := NewBias(r, level, math.NaN())
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestLinearityExample: the figures that the handbook prints: biases 0.491667,
// 0.125, 0.025, -0.291667, -0.616667; slope -0.131667, intercept 0.736667, s
// 0.23954, R2 71.4 %; t of the slope -12.043 and of the intercept 10.158 (from
// memory). The line of no bias leaves the band.
func TestLinearityExample(t *testing.T) {
	b := bias(t, pieces(t, linearityExample, 0), 0.95)
	for i, want := range []string{"0.491667", "0.125", "0.025", "-0.291667", "-0.616667"} {
		printed(t, "bias at "+b.Pieces[i].Piece, b.Pieces[i].Bias.Value, want)
	}
	l := b.Line
	printed(t, "slope", l.Slope.Value, "-0.131667")
	printed(t, "intercept", l.Intercept.Value, "0.736667")
	printed(t, "s", l.S, "0.23954")
	printed(t, "R2", 100*l.R2, "71.4")
	half := (l.Slope.Upper - l.Slope.Lower) / 2
	printed(t, "t of the slope", l.Slope.Value/(half/tQuantile(0.975, 58)), "-12.043")
	half = (l.Intercept.Upper - l.Intercept.Lower) / 2
	printed(t, "t of the intercept", l.Intercept.Value/(half/tQuantile(0.975, 58)), "10.158")
	if l.PSlope > 1e-10 || l.PIntercept > 1e-10 {
		t.Errorf("p of slope %g and intercept %g, want next to 0", l.PSlope, l.PIntercept)
	}
	if b.ZeroInBand() {
		t.Error("no bias lies within the band")
	}
	if v := b.Verdict(); v.Grade == GoodGauge {
		t.Errorf("grade %q", v.Grade)
	}
	printed(t, "% linearity", l.PercentLinearity(), "13.17")
}

// norris: NIST Statistical Reference Datasets, linear regression, Norris (from
// memory; the certified values below hold it). y, x.
const norris = `0.1 0.2 338.8 337.4 118.1 118.2 888.0 884.6 9.2 10.1 228.1 226.5 668.5 666.3 998.5 996.3 449.1 448.6 778.9 777.0
559.2 558.2 0.3 0.4 0.1 0.6 778.1 775.5 668.8 666.9 339.3 338.0 448.9 447.5 10.8 11.6 557.7 556.0 228.3 228.1
998.0 995.8 888.8 887.6 119.6 120.2 0.3 0.3 0.6 0.3 557.6 556.8 339.3 339.1 888.0 887.2 998.5 999.0 778.9 779.0
10.2 11.1 117.6 118.3 228.9 229.2 668.4 669.1 449.2 448.9 0.2 0.5`

// TestNorris: the certified values: intercept -0.262323073774029 (standard
// deviation 0.232818234301152), slope 1.00211681802045 (0.000429796848199937),
// residual standard deviation 0.884796396144373. The bias' slope is that minus 1.
func TestNorris(t *testing.T) {
	var r []PieceReading
	f := strings.Fields(norris)
	for i := 0; i < len(f); i += 2 {
		y, _ := strconv.ParseFloat(f[i], 64)
		x, _ := strconv.ParseFloat(f[i+1], 64)
		r = append(r, PieceReading{Piece: f[i+1], Reference: x, Value: y})
	}
	if len(r) != 36 {
		t.Fatalf("%d rows, want 36", len(r))
	}
	l := bias(t, r, 0.95).Line
	q := tQuantile(0.975, 34)
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"intercept", l.Intercept.Value, -0.262323073774029},
		{"slope", l.Slope.Value + 1, 1.00211681802045},
		{"intercept's sd", (l.Intercept.Upper - l.Intercept.Value) / q, 0.232818234301152},
		{"slope's sd", (l.Slope.Upper - l.Slope.Value) / q, 0.000429796848199937},
		{"residual sd", l.S, 0.884796396144373},
	} {
		if math.Abs(c.got-c.want) > 1e-9*math.Abs(c.want) {
			t.Errorf("%s = %.12g, want %.12g", c.what, c.got, c.want)
		}
	}
}

// TestPieceBias: one piece. Bias 0.0067 and t 0.12
// are those of AIAG MSA's example of bias (15 readings of a piece of 6.0; from
// memory); the reference's uncertainty widens it.
func TestPieceBias(t *testing.T) {
	const text = "5.8 5.7 5.9 5.9 6.0 6.1 6.0 6.1 6.4 6.3 6.0 6.1 6.2 5.6 6.0"
	b := bias(t, pieces(t, map[float64]string{6: text}, 0), 0.95)
	p := b.Pieces[0]
	printed(t, "bias", p.Bias.Value, "0.0067")
	printed(t, "t", p.T, "0.12")
	if p.Biased() || b.Line != nil {
		t.Errorf("biased %v, line %v", p.Biased(), b.Line)
	}
	if math.Abs(p.Bias.Upper-p.Bias.Value-tQuantile(0.975, 14)*p.SD/math.Sqrt(15)) > 1e-12 {
		t.Errorf("interval %v", p.Bias)
	}
	wide := bias(t, pieces(t, map[float64]string{6: text}, 0.2), 0.95).Pieces[0]
	if want := math.Hypot(p.U, 0.2); math.Abs(wide.U-want) > 1e-12 {
		t.Errorf("with the reference's uncertainty %g, want %g", wide.U, want)
	}
	if !(wide.DF > 14) {
		t.Errorf("%g degrees of freedom, want more than the repeats' 14", wide.DF)
	}
}

// TestBiasCoverage: readings drawn with a known line and certified values that
// are off by their uncertainty: slope and the band at the range's end hold the
// truth about 95 times in 100 (three standard errors of 600: 2.7).
func TestBiasCoverage(t *testing.T) {
	const n, slope, intercept, u, repeat = 600, 0.02, -1.5, 0.4, 0.5
	inSlope, inBand := 0, 0
	for seed := range uint64(n) {
		rng := rand.New(rand.NewPCG(seed, 42))
		var r []PieceReading
		for i := range 6 {
			certified := float64(10 * i)
			truth := certified + u*rng.NormFloat64()
			for range 5 {
				r = append(r, PieceReading{strconv.Itoa(i), certified, u, truth*(1+slope) + intercept + repeat*rng.NormFloat64(), 0})
			}
		}
		l := bias(t, r, 0.95).Line
		if l.Slope.Lower <= slope && slope <= l.Slope.Upper {
			inSlope++
		}
		if b, want := l.Band(50), intercept+slope*50; b.Lower <= want && want <= b.Upper {
			inBand++
		}
	}
	for what, k := range map[string]int{"slope": inSlope, "band": inBand} {
		if share := float64(k) / n; share < 0.92 || share > 0.995 {
			t.Errorf("%s: the interval holds the truth in %.1f %% of %d", what, 100*share, n)
		}
	}
}

func TestBiasWords(t *testing.T) {
	flat := map[float64]string{1: "1.1 0.9 1.0 1.05 0.95", 5: "5.1 4.9 5 4.95 5.05", 9: "9.1 8.9 9 9.05 8.95"}
	if v := bias(t, pieces(t, flat, 0.01), 0.95).Verdict(); v.Grade != GoodGauge {
		t.Errorf("no bias: %+v", v)
	}
	bent := map[float64]string{1: "1.1 1.2 1.1 1.2", 5: "4.9 4.8 4.9 4.8", 9: "9.1 9.2 9.1 9.2"}
	if v := bias(t, pieces(t, bent, 0), 0.95).Verdict(); v.Grade != NotGood {
		t.Errorf("a bias that bends: %+v", v)
	}
	once := map[float64]string{1: "1.1"}
	if v := bias(t, pieces(t, once, 0), 0.95).Verdict(); v.Grade != Undecided {
		t.Errorf("one reading: %+v", v)
	}
	same := map[float64]string{1: "1 1 1", 2: "2 2 2", 3: "3 3 3"}
	if v := bias(t, pieces(t, same, 0), 0.95).Verdict(); v.Grade != GoodGauge {
		t.Errorf("readings that are all right: %+v", v)
	}
}

func TestReadPieces(t *testing.T) {
	r, err := ReadPieces(strings.NewReader("Piece;Certified;U;Value\nG1;10.0;0.1;10.2\nG1;10.0;0.1;\n"))
	if err != nil || len(r) != 2 || r[0] != (PieceReading{"G1", 10, 0.1, 10.2, 2}) || !math.IsNaN(r[1].Value) {
		t.Errorf("%+v, %v", r, err)
	}
	for _, c := range []struct{ name, text, want string }{
		{"no reference", "value\n1\n", "no column is called reference"},
		{"empty reference", "reference,value\n,1\n", "line 2, column reference"},
		{"negative u", "reference,value,u\n1,1,-2\n", "line 2, column u"},
		{"text", "reference,value\n1,x\n", `line 2, column value: "x"`},
		{"two values", "piece,reference,value\na,1,1\na,2,2\n", "line 3: piece a"},
		{"nothing", "reference,value\n1,\n", "nothing was measured"},
	} {
		r, err := ReadPieces(strings.NewReader(c.text))
		if err == nil {
			_, err = NewBias(r, 0.95, math.NaN())
		}
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}
