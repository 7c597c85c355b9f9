package plots

import (
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot"
)

// roundTicks puts at most n labelled ticks at round numbers (1, 2 or 5 times a
// power of ten apart).
type roundTicks struct{ n int }

// Ticks are the ticks from lo to hi.
func (t roundTicks) Ticks(lo, hi float64) []plot.Tick {
	step := roundStep(hi-lo, t.n)
	var out []plot.Tick
	for k := math.Ceil(lo/step - 1e-9); k*step <= hi+step*1e-9 && len(out) < 100; k++ {
		out = append(out, plot.Tick{Value: k * step, Label: tickLabel(k*step, step)})
	}
	return out
}

// roundStep is the smallest round step that cuts span into at most n parts.
func roundStep(span float64, n int) float64 {
	raw := span / float64(max(n, 1))
	p := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, m := range []float64{1, 2, 5} {
		if m*p >= raw*(1-1e-9) {
			return m * p
		}
	}
	return 10 * p
}

// tickLabel writes a number to the decimals that its neighbours need.
func tickLabel(v, step float64) string {
	if math.Abs(v) < step/2 {
		return "0"
	}
	if math.Abs(v) >= 1e6 || step < 1e-5 {
		digits := int(math.Floor(math.Log10(math.Abs(v)))-math.Floor(math.Log10(step)+1e-9)) + 1
		return minus(strconv.FormatFloat(v, 'g', min(max(digits, 1), 17), 64))
	}
	return minus(strconv.FormatFloat(v, 'f', max(0, int(math.Ceil(-math.Log10(step)-1e-9))), 64))
}

// number is a value with three significant digits, or whole where it is larger.
func number(v float64) string {
	a := math.Abs(v)
	if a >= 1e6 || a > 0 && a < 1e-4 {
		return minus(strconv.FormatFloat(v, 'g', 3, 64))
	}
	d := 0
	if a > 0 {
		d = min(max(2-int(math.Floor(math.Log10(a))), 0), 6)
	}
	s := strconv.FormatFloat(v, 'f', d, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return minus(s)
}

// minus puts a true minus sign in front of a negative number.
func minus(s string) string {
	if strings.HasPrefix(s, "-") {
		return "−" + s[1:]
	}
	return s
}

// logTicks puts ticks at round numbers of a logarithmic axis.
type logTicks struct{ n int }

// Ticks are the ticks from lo to hi, both above 0.
func (t logTicks) Ticks(lo, hi float64) []plot.Tick {
	var best []plot.Tick
	for _, heads := range [][]float64{{1}, {1, 3}, {1, 2, 5}, {1, 1.5, 2, 3, 4, 5, 7}} {
		ticks := decadeTicks(lo, hi, heads)
		if len(ticks) > t.n && best != nil {
			break
		}
		best = ticks
	}
	if len(best) < 3 { // less than a third of a decade
		return roundTicks(t).Ticks(lo, hi)
	}
	for len(best) > t.n && t.n > 1 { // many decades: every other one
		var half []plot.Tick
		for i := 0; i < len(best); i += 2 {
			half = append(half, best[i])
		}
		best = half
	}
	return best
}

// decadeTicks are heads times each power of ten between lo and hi.
func decadeTicks(lo, hi float64, heads []float64) []plot.Tick {
	var out []plot.Tick
	for e := math.Floor(math.Log10(lo)); e <= math.Ceil(math.Log10(hi)); e++ {
		for _, h := range heads {
			if v := h * math.Pow(10, e); v >= lo*(1-1e-9) && v <= hi*(1+1e-9) {
				out = append(out, plot.Tick{Value: v, Label: number(v)})
			}
		}
	}
	return out
}
