package lotreport

import (
	"cmp"

	"finishbench/internal/part"
	"finishbench/internal/stats/charts"
)

// ChartOf takes a control chart over as a report tells it. kind is its word: xbar,
// s, r, i, mr, p, np, c, u, demerit, ewma.
func ChartOf(kind, x, y string, names []string, sizes []float64, c charts.Chart) Chart {
	out := Chart{Kind: kind, Title: Said{Key: "chart.kind." + kind}, X: x, Y: y, Names: names, Sizes: sizes}
	level := true
	for i, v := range c.Values {
		out.Values = append(out.Values, part.Num(v))
		level = level && same(c.Limits[i], c.Limits[0])
	}
	for _, l := range c.Limits {
		out.Centre, out.Lower, out.Upper = append(out.Centre, part.Num(l.Centre)), append(out.Lower, part.Num(l.Lower)), append(out.Upper, part.Num(l.Upper))
		if level {
			break
		}
	}
	for _, s := range c.Signals {
		out.Signals = append(out.Signals, signalOf(s.Point, s.Rule))
	}
	for _, s := range c.Stretches {
		switch {
		case s.Given != nil:
			out.Notes = append(out.Notes, Said{Key: "chart.given"})
		case s.Used > 0 && s.Baseline > 0:
			out.Notes = append(out.Notes, Said{Key: "chart.baseline", Args: []string{"n", count(s.Used)}})
		case s.Used > 0:
			out.Notes = append(out.Notes, Said{Key: "chart.from", Args: []string{"n", count(s.Used)}})
		}
	}
	return out
}

func signalOf(point int, r charts.Rule) Signal {
	return Signal{Point: point, Rule: r.Name, Number: cmp.Or(r.Number, r.Name)}
}

func same(a, b charts.Limits) bool {
	eq := func(x, y float64) bool { return x == y || x != x && y != y }
	return eq(a.Centre, b.Centre) && eq(a.Lower, b.Lower) && eq(a.Upper, b.Upper)
}

// SumsOf takes a CUSUM chart over, of values in a unit (µm).
func SumsOf(x, y, unit string, names []string, c charts.CUSUM) Chart {
	out := Chart{Kind: "cusum", Title: Said{Key: "chart.kind.cusum"}, X: x, Y: y, Names: names, Upper: []*float64{part.Num(c.Limit)}, Lower: []*float64{}, Centre: []*float64{}}
	for i := range c.High {
		out.Values, out.Low = append(out.Values, part.Num(c.High[i])), append(out.Low, part.Num(c.Low[i]))
	}
	for _, s := range c.Signals {
		out.Signals = append(out.Signals, signalOf(s.Point, s.Rule))
	}
	if n := len(c.Signals); n > 0 {
		s := c.Signals[0]
		name := count(s.Since + 1)
		if s.Since < len(names) {
			name = names[s.Since]
		}
		out.Notes = append(out.Notes, Said{Key: "chart.since", Args: []string{"since", name, "level", part.Decimal(roundTo(s.Level, 3)), "unit", unit}})
	}
	return out
}
