package lotreport

import (
	"fmt"
	"math"
	"slices"

	"finishbench/internal/lots/process"
	"finishbench/internal/part"
	"finishbench/internal/stats/charts"
)

// StepLimits are the steps at which a unit no longer passes, um: recessed below
// Lower, proud above Upper. NaN: none.
type StepLimits struct{ Lower, Upper float64 }

// seed of what process draws by chance: the same report has the same bytes.
const seed = 1

// AddProcess adds what the units of the sample have in common: capability of the
// step, Paretos, hints. units are their last inspections, with places where these
// are known.
func (r *Report) AddProcess(units []process.Unit, lim StepLimits) error {
	if err := r.addCapability(units, lim); err != nil {
		return err
	}
	for _, key := range []process.Key{process.ByKind, process.ByZone, process.ByStage, process.ByOperator, process.ByShift,
		process.ByFaceplate, process.ByResin} {
		p, err := process.ParetoOf(units, key, process.ParetoOptions{Seed: seed})
		if err != nil {
			return fmt.Errorf("lotreport: %w", err)
		}
		// A key under which all fall alike says nothing.
		if p.Findings == 0 || len(p.Rows) < 2 {
			continue
		}
		r.Paretos = append(r.Paretos, paretoOf(p))
	}
	hints, err := process.Hints(units, process.DefaultHintParams())
	if err != nil {
		return fmt.Errorf("lotreport: %w", err)
	}
	for _, h := range hints {
		r.Hints = append(r.Hints, saidOf(h.Phrase))
	}
	return nil
}

// AddYields adds the yields of the stages, of all inspections of the lot's units.
func (r *Report) AddYields(units []process.Unit) error {
	y, err := process.YieldsOf(units, 0.95)
	if err != nil {
		return fmt.Errorf("lotreport: %w", err)
	}
	for _, s := range y.Stages {
		r.Yields = append(r.Yields, Yield{Stage: string(s.Stage), N: s.First.Of, Passed: s.First.Count, Share: part.Num(s.First.Value()),
			Low: part.Num(s.First.Bounds.Lower), High: part.Num(s.First.Bounds.Upper)})
	}
	if len(y.Stages) < 2 {
		return nil // nothing rolls on to, and nothing escapes from, a single stage
	}
	r.Yields = append(r.Yields, Yield{Share: part.Num(y.Rolled.Value), Low: part.Num(y.Rolled.Bounds.Lower),
		High: part.Num(y.Rolled.Bounds.Upper)})
	for i, from := range part.Stages {
		for _, to := range part.Stages[i+1:] {
			e, err := process.EscapesOf(units, from, to, 0.95)
			if err != nil {
				return fmt.Errorf("lotreport: %w", err)
			}
			if e.Share.Of > 0 {
				r.Escapes = append(r.Escapes, Escape{From: string(from), To: string(to), N: e.Share.Of, Found: e.Share.Count,
					Overlooked: e.Real.Count, Share: part.Num(e.Share.Value()), Low: part.Num(e.Share.Bounds.Lower),
					High: part.Num(e.Share.Bounds.Upper)})
			}
		}
	}
	return nil
}

// roundTo rounds to so many leading digits.
func roundTo(v float64, digits int) float64 {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return v
	}
	k := math.Pow(10, float64(digits-1)-math.Floor(math.Log10(math.Abs(v))))
	return math.Round(v*k) / k
}

func paretoOf(p process.Pareto) Pareto {
	out := Pareto{By: string(p.Key), Chi2: part.Num(p.Test.Statistic), DF: p.Test.DOF, P: part.Num(p.Test.P), Method: string(p.Test.Method)}
	for _, x := range p.Rows {
		out.Rows = append(out.Rows, ParetoRow{Name: x.Name, Count: x.Findings, Share: x.Share, Cumulative: x.Cumulative, Of: x.With.Of,
			With: x.With.Count})
	}
	if p.Key.OfFindings() && p.Ahead != nil && !math.IsNaN(p.Ahead.P) {
		out.Chi2, out.DF, out.Method = nil, 0, signTest
		out.P = part.Num(p.Ahead.P)
	}
	return out
}

func (r *Report) addCapability(units []process.Unit, lim StepLimits) error {
	var groups [][]float64
	n := 0
	for i := range units {
		n = max(n, len(units[i].Steps)+units[i].StepsMissing)
	}
	var all []float64
	for i := range units {
		g := make([]float64, n)
		for k := range g {
			g[k] = math.NaN()
		}
		for k, s := range units[i].Steps {
			g[k] = s.StepUM
			all = append(all, s.StepUM)
		}
		groups = append(groups, g)
	}
	if len(all) == 0 {
		return nil
	}
	c := &Capability{N: len(all), LowerUM: part.Num(lim.Lower), UpperUM: part.Num(lim.Upper)}
	r.Steps = c
	h, err := process.Bars(all)
	if err != nil {
		return fmt.Errorf("lotreport: %w", err)
	}
	for i, k := range h.Counts {
		c.Histogram = append(c.Histogram, Bin{h.Edges[i], h.Edges[i+1], k})
	}
	slices.Sort(all)
	c.Quantiles = quantiles(all)
	kind := charts.KindFor(n)
	x, err := process.Capable(groups, kind, process.CapabilityOptions{Lower: lim.Lower, Upper: lim.Upper, Target: math.NaN(), Seed: seed})
	if err != nil {
		c.Notes = append(c.Notes, Said{Key: "cap.none", Text: err.Error()})
		return nil
	}
	c.MeanUM, c.SDUM, c.WithinUM, c.Beyond = part.Num(x.Mean), part.Num(x.SD), part.Num(x.SigmaWithin), part.Num(x.Outside.Value())
	for _, i := range []struct {
		name string
		v    process.Index
	}{{"Cp", x.Cp}, {"Cpk", x.Cpk}, {"Pp", x.Pp}, {"Ppk", x.Ppk}, {"Ppk_percentiles", x.Percentiles.Ppk}} {
		if !math.IsNaN(i.v.Value) {
			c.Indices = append(c.Indices, Index{i.name, part.Num(i.v.Value), part.Num(i.v.Bounds.Lower), part.Num(i.v.Bounds.Upper), 0.95})
		}
	}
	if !math.IsNaN(x.Normality.P) {
		c.Normal = &Normal{part.Num(x.Normality.Adj), part.Num(x.Normality.P)}
	}
	if x.Calls > 0 {
		c.Notes = append(c.Notes, Said{Key: "cap.unstable", Args: []string{"n", count(x.Calls)}})
	}
	return nil
}

// quantiles are those that a report tells: the middle, and the ends that three
// standard deviations of a normal distribution would reach.
func quantiles(sorted []float64) []Quantile {
	var out []Quantile
	for _, p := range []float64{0.00135, 0.05, 0.5, 0.95, 0.99865} {
		at := p * float64(len(sorted)-1)
		i := int(at)
		v := sorted[i]
		if i+1 < len(sorted) {
			v += (at - float64(i)) * (sorted[i+1] - sorted[i])
		}
		out = append(out, Quantile{p, part.Num(v)})
	}
	return out
}

// AddMap lays the findings of units over one outline, and those on the shell over one
// unrolled shell. of is how many of the sample's units were read for it.
func (r *Report) AddMap(units []process.Unit, of int) error {
	m, err := process.MapOf(units, process.MapOptions{Seed: seed})
	if err != nil {
		return fmt.Errorf("lotreport: %w", err)
	}
	if len(m.Spots) == 0 && m.Frame == process.UnitFrame {
		p, err := process.MapOf(units, process.MapOptions{Frame: process.PictureFrame, Seed: seed})
		if err != nil {
			return fmt.Errorf("lotreport: %w", err)
		}
		if len(p.Spots) > 0 {
			m = p
		}
	}
	shell, err := process.MapOf(units, process.MapOptions{Frame: process.ShellFrame, Seed: seed})
	if err != nil {
		return fmt.Errorf("lotreport: %w", err)
	}
	left := m.Unplaced - len(shell.Spots)
	r.addPlateMap(m, left, of)
	r.addShellMap(shell, left, of)
	return nil
}

// addPlateMap takes the faceplate's map over; left is how many findings are on neither.
func (r *Report) addPlateMap(m process.DefectMap, left, of int) {
	if len(m.Outline) < 3 || m.Units == 0 {
		return
	}
	lox, hix, loy, hiy := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, p := range m.Outline {
		lox, hix, loy, hiy = math.Min(lox, p[0]), math.Max(hix, p[0]), math.Min(loy, p[1]), math.Max(hiy, p[1])
	}
	k := 1 / math.Max(hix-lox, hiy-loy)
	at := func(x, y float64) Point { return Point{roundTo((x-lox)*k, 6), roundTo((y-loy)*k, 6)} }
	out := &Map{Left: left, Units: m.Units, MMWide: part.Num(1 / k), Frame: string(m.Frame)}
	for _, p := range m.Outline {
		out.Outline = append(out.Outline, at(p[0], p[1]))
	}
	for _, s := range m.Spots {
		p := at(s.X, s.Y)
		out.Findings = append(out.Findings, MapPoint{p.X, p.Y, s.Kind, s.Severity})
	}
	for _, c := range m.Clusters {
		if c.P < 0.05 {
			p := at(c.X, c.Y)
			out.Circles = append(out.Circles, MapCircle{p.X, p.Y, c.R * k, c.Units, c.Expected, part.Num(c.P)})
		}
	}
	if of > m.Units {
		out.Notes = append(out.Notes, Said{Key: "map.of", Args: []string{"n", count(m.Units), "of", count(of)}})
	}
	r.Map = out
}

// addShellMap takes the shell's map over.
func (r *Report) addShellMap(m process.DefectMap, left, of int) {
	if m.Units == 0 {
		return
	}
	turn := func(x float64) float64 { return roundTo(360*x/m.GirthMM, 6) }
	out := &ShellMap{GirthMM: roundTo(m.GirthMM, 6), DepthMM: m.Shell.DepthMM(), LookedAt: roundTo(m.Shell.LookedAt, 3), Rows: m.Shell.Rows,
		Units: m.Units, Findings: []ShellPoint{}}
	if r.Map == nil {
		out.Left = left
	}
	for _, s := range m.Spots {
		out.Findings = append(out.Findings, ShellPoint{turn(s.X), roundTo(s.Y, 6), s.Kind, s.Severity})
	}
	for _, c := range m.Clusters {
		if c.P < 0.05 {
			out.Circles = append(out.Circles, ShellCircle{turn(c.X), roundTo(c.Y, 6), roundTo(c.R, 6), c.Units, c.Expected, part.Num(c.P)})
		}
	}
	if of > m.Units {
		out.Notes = append(out.Notes, Said{Key: "map.shell_of", Args: []string{"n", count(m.Units), "of", count(of)}})
	}
	r.Shell = out
}
