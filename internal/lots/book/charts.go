package book

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"finishbench/internal/cli"
	"finishbench/internal/lots"
	"finishbench/internal/lots/lotreport"
	"finishbench/internal/lots/process"
	"finishbench/internal/part"
	"finishbench/internal/stats/charts"
)

// lotSeries are lots in order of time, as charts of counts take them.
type lotSeries struct {
	names []string
	units []float64 // measured units of the sample
	bad   []int     // of these, such as did not pass
	found []int     // findings on them
	by    [][]int   // findings by class, gravest first
	worst []float64 // mean size of the units' worst steps, um
}

// seriesOf counts lots from what their events tell of the units.
func seriesOf(all []lots.Lot) lotSeries {
	var s lotSeries
	for i := range all {
		r := all[i].Current()
		n, bad, found, sum, steps := 0, 0, 0, 0.0, 0
		by := make([]int, 4)
		for _, p := range r.Sample {
			u := p.Unit
			if u == nil || !u.Measured() {
				continue
			}
			n++
			if u.Verdict != part.Pass {
				bad++
			}
			for k, sev := range []part.Severity{part.Critical, part.Major, part.Moderate, part.Minor} {
				by[k] += u.Findings[sev]
				found += u.Findings[sev]
			}
			if u.WorstStepUM != nil {
				sum, steps = sum+math.Abs(*u.WorstStepUM), steps+1
			}
		}
		if n == 0 {
			continue // not looked at: no point
		}
		s.names, s.units, s.bad, s.found, s.by = append(s.names, all[i].Name), append(s.units, float64(n)), append(s.bad, bad), append(s.found, found), append(s.by, by)
		s.worst = append(s.worst, sum/float64(steps)) // NaN: no step
	}
	return s
}

// minLots is from how many lots on a chart over lots is drawn.
const minLots = 2

// counted makes a chart of counts: p, np, c, u or demerit.
func (s lotSeries) counted(kind string, o charts.Options) (lotreport.Chart, error) {
	var c charts.Chart
	var err error
	y := ""
	switch kind {
	case "p":
		y = "fraction"
		c, err = charts.Counted(charts.Share, s.bad, s.units, o)
	case "np":
		y = "nonconforming"
		c, err = charts.Counted(charts.Number, s.bad, s.units, o)
	case "c":
		y = "findings"
		for _, n := range s.units {
			if n != s.units[0] {
				return lotreport.Chart{}, cli.Usagef("--kind c is for samples of one size, but they have %g to %g units: use u", slices.Min(s.units), slices.Max(s.units))
			}
		}
		c, err = charts.Counted(charts.Count, s.found, nil, o)
	case "u":
		y = "per_unit"
		c, err = charts.Counted(charts.PerUnit, s.found, s.units, o)
	case "demerit":
		y = "demerits"
		c, err = charts.Demerits(s.by, s.units, charts.DodgeWeights(), o)
	default:
		return lotreport.Chart{}, fmt.Errorf("%q is no chart of counts", kind)
	}
	if err != nil {
		return lotreport.Chart{}, err
	}
	return lotreport.ChartOf(kind, "lots", y, s.names, s.units, c), nil
}

// lotCharts are the charts of a report over the lots up to it.
func lotCharts(all []lots.Lot) ([]lotreport.Chart, error) {
	s := seriesOf(all)
	if len(s.names) < minLots {
		return nil, nil
	}
	rules, err := charts.Rules("")
	if err != nil {
		return nil, err
	}
	var out []lotreport.Chart
	if c, ok, err := worstSteps(s, rules); err != nil {
		return nil, err
	} else if ok {
		out = append(out, c)
	}
	for _, kind := range []string{"p", "u", "demerit"} {
		c, err := s.counted(kind, charts.Options{Rules: rules})
		if err != nil {
			return nil, err
		}
		out = append(out, c)
	}
	return out, nil
}

// worstSteps charts the mean size of the worst steps of each lot as single values:
// lots differ by more than their units do.
func worstSteps(s lotSeries, rules []charts.Rule) (lotreport.Chart, bool, error) {
	measured := 0
	groups := make([][]float64, len(s.worst))
	for i, v := range s.worst {
		groups[i] = []float64{v}
		if !math.IsNaN(v) {
			measured++
		}
	}
	if measured < minLots {
		return lotreport.Chart{}, false, nil
	}
	c, _, err := charts.Measured(charts.Individuals, groups, charts.Options{Rules: rules})
	if err != nil {
		return lotreport.Chart{}, false, err
	}
	out := lotreport.ChartOf("i", "lots", "worst_step", s.names, s.units, c)
	out.Title.Key = "chart.kind.worst"
	return out, true, nil
}

// Subgroup is how many units in a row make a subgroup (common practice, no source).
const Subgroup = 5

// unitsChart charts the mean step around the units of one sample, in subgroups in
// the order of inspection; nil where there are too few.
func unitsChart(units []process.Unit) (*lotreport.Chart, error) {
	q := steps()
	in, _ := q.measured(process.InTime(units))
	if len(in) < 2*Subgroup {
		return nil, nil
	}
	rules, err := charts.Rules("")
	if err != nil {
		return nil, err
	}
	c, err := q.charts("xbar", in, Subgroup, charts.Options{Rules: rules})
	if err != nil {
		return nil, err
	}
	c[0].Title.Key = "chart.kind.within"
	return &c[0], nil
}

// quantity is what charts over units are of.
type quantity struct {
	of                              func(*process.Unit) float64 // NaN: not measured
	why                             func(*process.Unit) string  // not; a language key
	unit, titles                    string                      // µm; how the titles' language keys begin
	mean, single, ranged, sd, moves string                      // language keys of axes
}

// steps is the mean step around a unit.
func steps() quantity {
	return quantity{(*process.Unit).MeanStepUM, func(*process.Unit) string { return "chart.left.step" }, "µm", "chart.kind.", "mean_step", "step_mean_unit", "range_step", "sd_step", "moving_range"}
}

// waviness is that of a unit's faceplate before a screen.
func waviness() quantity {
	return quantity{(*process.Unit).WavinessMRad, noWaviness, "mrad", "chart.waviness.", "mean_waviness", "unit_waviness", "range_waviness", "sd_waviness", "moving_waviness"}
}

// noWaviness is why a unit has no waviness.
func noWaviness(u *process.Unit) string {
	switch m := u.Screen; {
	case m == nil || m.PhaseRad == nil:
		return "chart.left.waviness"
	case m.SlopeMRad == nil:
		return "chart.left.phase"
	}
	return "chart.left.bound"
}

// measured are the units that have the quantity, and sentences of how many have not.
func (q quantity) measured(units []process.Unit) (in []process.Unit, left []lotreport.Said) {
	why := map[string]int{}
	for i := range units {
		if u := &units[i]; math.IsNaN(q.of(u)) {
			why[q.why(u)]++
		} else {
			in = append(in, *u)
		}
	}
	for _, key := range slices.Sorted(maps.Keys(why)) {
		left = append(left, lotreport.Said{Key: key, Args: []string{"n", strconv.Itoa(why[key])}})
	}
	return in, left
}

// pointName is a point's: its first unit, and the batches of resin where they are told.
func pointName(units []process.Unit) string {
	var batches []string
	for i := range units {
		if b := units[i].Resin; b != "" && !slices.Contains(batches, b) {
			batches = append(batches, b)
		}
	}
	name := part.UnitName(units[0].Serial, units[0].Side)
	if len(batches) > 0 {
		name += " (" + strings.Join(batches, ", ") + ")"
	}
	return name
}

// charts are the chart of the level of the units and that of its spread: xbar in
// subgroups of n, i of single units. Units come in order of time, measured all.
func (q quantity) charts(kind string, units []process.Unit, n int, o charts.Options) ([]lotreport.Chart, error) {
	k, x, y, spread, sy := charts.Individuals, "units", q.single, "mr", q.moves
	if kind == "xbar" {
		if k, x, y, spread, sy = charts.KindFor(n), "subgroups", q.mean, "r", q.ranged; k == charts.MeansSDs {
			spread, sy = "s", q.sd
		}
	} else {
		n = 1
	}
	var groups [][]float64
	var names []string
	for i := 0; i+n <= len(units); i += n {
		g := make([]float64, n)
		for j := range g {
			g[j] = q.of(&units[i+j])
		}
		groups, names = append(groups, g), append(names, pointName(units[i:i+n]))
	}
	a, b, err := charts.Measured(k, groups, o)
	if err != nil {
		return nil, err
	}
	out := []lotreport.Chart{lotreport.ChartOf(kind, x, y, names, nil, a), lotreport.ChartOf(spread, x, sy, names, nil, b)}
	for i := range out {
		out[i].Title.Key = q.titles + out[i].Kind
		if n > 1 {
			out[i].Notes = append(out[i].Notes, lotreport.Said{Key: "chart.subgroups", Args: []string{"n", fmt.Sprint(n)}})
		}
	}
	return out, nil
}

// pastValues are the centre and the spread of units' values over a baseline, for
// charts that need them given; the first so many units, all where 0.
func pastValues(v []float64, baseline int) (centre, sigma float64, err error) {
	if baseline > 0 {
		v = v[:min(baseline, len(v))]
	}
	groups := make([][]float64, len(v))
	for i := range v {
		groups[i] = []float64{v[i]}
	}
	c, _, err := charts.Measured(charts.Individuals, groups, charts.Options{})
	if err != nil {
		return 0, 0, err
	}
	return c.Limits[0].Centre, c.Limits[0].Sigma, nil
}

// moving is an EWMA or CUSUM chart of units.
func (q quantity) moving(kind string, units []process.Unit, target *float64, baseline int) (lotreport.Chart, error) {
	var v []float64
	var names []string
	for i := range units {
		v, names = append(v, q.of(&units[i])), append(names, pointName(units[i:i+1]))
	}
	centre, sigma, err := pastValues(v, baseline)
	if err != nil {
		return lotreport.Chart{}, err
	}
	centre = *cmp.Or(target, &centre)
	var out lotreport.Chart
	if kind == "ewma" {
		c, err := charts.EWMA(v, charts.EWMAOptions{Target: centre, Sigma: sigma})
		if err != nil {
			return lotreport.Chart{}, err
		}
		out = lotreport.ChartOf(kind, "units", q.single, names, nil, c)
	} else {
		c, err := charts.NewCUSUM(v, charts.CUSUMOptions{Target: centre, Sigma: sigma})
		if err != nil {
			return lotreport.Chart{}, err
		}
		out = lotreport.SumsOf("units", "sums", q.unit, names, c)
	}
	out.Title.Key = q.titles + kind
	return out, nil
}
