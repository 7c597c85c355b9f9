package process

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// HintParams say when a hint is given (all common practice, no source).
type HintParams struct {
	P           float64 // chance below which something is more than chance, for each hint. Default 0.01
	EvenP       float64 // chance of the strongest cluster above which findings count as spread all over. Default 0.1
	Enough      int     // least number of findings of a kind. Default 20
	EnoughUnits int     // least number of units with sanding marks, least number of units in a group. Default 8
	SizeSpread  float64 // bubbles whose sizes' middle half scatters less than this share of the median are of one size. Default 0.2
	Direction   float64 // mean length of the marks' directions, 0 none to 1 all alike. Default 0.6
	DriftShare  float64 // least change of the step over the time, in its standard deviations. Default 0.5
	Seed        uint64
}

// DefaultHintParams are the defaults.
func DefaultHintParams() HintParams { return HintParams{0.01, 0.1, 20, 8, 0.2, 0.6, 0.5, 1} }

// Figure is a number that led to a hint.
type Figure struct {
	Name  string // a key: "rank", "p", "units", ...
	Value float64
	Unit  string // "um", "mm", "deg", "share", ""
}

// Hint is what the cause of a pattern may be. It is no finding: a person looks.
type Hint struct {
	Key     string      // "dust_rising", ...
	Kind    part.Kind   // of the findings; "": all, or the step
	Stage   part.Stage  // of the looks; "": of all stages
	Group   string      // the operator, shift ... that stands out; "": the hint is of no group
	Phrase  part.Phrase // one or two sentences, with the numbers
	Figures []Figure
	P       float64 // chance of the pattern without any cause; NaN: not from a test
}

// Hints looks for patterns whose causes are known in the trade. Of each unit the
// first look at each stage counts.
func Hints(units []Unit, prm HintParams) ([]Hint, error) {
	var first []Unit
	for _, u := range FirstLooks(units) {
		if u.Measured() {
			first = append(first, u)
		}
	}
	var out []Hint
	for _, f := range []func([]Unit, HintParams) ([]Hint, error){dustHint, bubbleHint, sandingHint, stepHint, groupHints, clusterHints} {
		h, err := f(first, prm)
		if err != nil {
			return nil, err
		}
		out = append(out, h...)
	}
	return out, nil
}

// atStage are the looks at the stage that has most of a kind; looks without any
// count as well.
func atStage(units []Unit, k part.Kind) []Unit {
	n := map[part.Stage]int{}
	for i := range units {
		n[units[i].Stage] += units[i].Count(k)
	}
	stage := part.Stages[0]
	for _, s := range part.Stages {
		if n[s] > n[stage] {
			stage = s
		}
	}
	return slices.DeleteFunc(slices.Clone(units), func(u Unit) bool { return u.Stage != stage })
}

func dustHint(units []Unit, prm HintParams) ([]Hint, error) {
	looks := atStage(units, part.Dust)
	var counts []float64
	total := 0
	for i := range looks {
		n := looks[i].Count(part.Dust)
		counts, total = append(counts, float64(n)), total+n
	}
	t := TrendOf(counts)
	if total < prm.Enough || !(t.P < prm.P) || t.Rank <= 0 {
		return nil, nil
	}
	lies, where := math.NaN(), "unknown"
	for _, over := range []struct {
		frames []Frame
		what   string
	}{{plateFrames(), "faceplate"}, {[]Frame{ShellFrame}, "shell"}} {
		p, err := spreadOut(looks, part.Dust, over.frames, prm)
		switch {
		case err != nil || p <= prm.EvenP:
			return nil, err // at one place: another hint
		case math.IsNaN(p):
		case math.IsNaN(lies):
			lies, where = p, over.what
		default:
			lies, where = math.Min(lies, p), "both"
		}
	}
	third := len(counts) / 3
	early, _ := meanSD(counts[:third])
	late, _ := meanSD(counts[len(counts)-third:])
	return []Hint{{
		Key: "dust_rising", Kind: part.Dust, Stage: looks[0].Stage, P: t.P,
		Phrase: part.Say("lot.hint.dust_rising", "where", "@lot.hint.dust."+where, "early", digits(2, early), "late", digits(2, late),
			"units", strconv.Itoa(t.N), "p", digits(2, t.P)),
		Figures: []Figure{{"units", float64(t.N), ""}, {"dust", float64(total), ""}, {"per_unit_early", early, ""},
			{"per_unit_late", late, ""},
			{"rank", t.Rank, ""}, {"p", t.P, ""}, {"p_cluster", lies, ""}},
	}}, nil
}

// plateFrames are the frames in which places on the faceplate meet.
func plateFrames() []Frame { return []Frame{UnitFrame, PictureFrame} }

// spreadOut is the chance of the strongest cluster of a kind, in the first of the frames
// in which places are known; NaN where they are in none.
func spreadOut(units []Unit, k part.Kind, frames []Frame, prm HintParams) (p float64, err error) {
	for _, frame := range frames {
		m, err := MapOf(thinned(units, k), MapOptions{Frame: frame, Keep: ofKind(k), Seed: prm.Seed})
		if err != nil {
			return math.NaN(), err
		}
		if len(m.Clusters) > 0 {
			return m.Clusters[0].P, nil
		}
	}
	return math.NaN(), nil
}

func ofKind(k part.Kind) func(Finding) bool {
	return func(f Finding) bool { return k == "" || f.Kind == k }
}

// mostSpots is how many findings a cluster is looked for among; with more, every
// second, third ... unit is taken.
const mostSpots = 2000

func thinned(units []Unit, k part.Kind) []Unit {
	n := 0
	for i := range units {
		n += units[i].Count(k)
	}
	step := (n + mostSpots - 1) / mostSpots
	if step < 2 {
		return units
	}
	var out []Unit
	for i := 0; i < len(units); i += step {
		out = append(out, units[i])
	}
	return out
}

func bubbleHint(units []Unit, prm HintParams) ([]Hint, error) {
	looks := atStage(units, part.Bubble)
	var sizes []float64
	with := 0
	for i := range looks {
		here := 0
		for _, f := range looks[i].Findings {
			if f.Kind == part.Bubble && !math.IsNaN(f.SizeMM) {
				sizes = append(sizes, f.SizeMM)
				here++
			}
		}
		with += min(here, 1)
	}
	if len(sizes) < prm.Enough || with < 3 {
		return nil, nil
	}
	median := robust.Quantile(sizes, 0.5)
	spread := (robust.Quantile(sizes, 0.75) - robust.Quantile(sizes, 0.25)) / 1.349 / median
	if !(spread < prm.SizeSpread) {
		return nil, nil
	}
	return []Hint{{
		Key: "bubbles_one_size", Kind: part.Bubble, Stage: looks[0].Stage, P: math.NaN(),
		Phrase: part.Say("lot.hint.bubbles_one_size", "bubbles", strconv.Itoa(len(sizes)), "units", strconv.Itoa(with), "median_mm",
			digits(2, median), "scatter_percent", whole(100*spread)),
		Figures: []Figure{{"bubbles", float64(len(sizes)), ""}, {"units", float64(with), ""}, {"median", median, "mm"},
			{"scatter", spread, "share"}},
	}}, nil
}

// sandingHint looks for one direction of sanding marks: Rayleigh's test on doubled
// angles (Mardia and Jupp, "Directional Statistics", 2000; its chance after Wilkie,
// Applied Statistics 32, 1983; from memory). A unit counts once.
func sandingHint(units []Unit, prm HintParams) ([]Hint, error) {
	for _, frame := range plateFrames() {
		c, s, n := 0.0, 0.0, 0
		for i := range units {
			u := &units[i]
			uc, us := 0.0, 0.0
			for _, f := range u.Findings {
				if f.Kind != part.Sanding || math.IsNaN(f.AngleDeg) || frame == UnitFrame && (!u.Plate.HasAxis() || f.Place == nil) {
					continue
				}
				deg := f.AngleDeg
				if frame == UnitFrame {
					deg += u.Plate.TurnDeg // one turns the other way round
				}
				ds, dc := math.Sincos(2 * deg * math.Pi / 180)
				uc, us = uc+dc, us+ds
			}
			if r := math.Hypot(uc, us); r > 1e-9 {
				c, s, n = c+uc/r, s+us/r, n+1
			}
		}
		length := math.Hypot(c, s) / float64(n)
		if p := rayleigh(length, n); n >= prm.EnoughUnits && p < prm.P && length >= prm.Direction {
			deg := math.Mod(math.Atan2(s, c)*90/math.Pi+180, 180)
			return []Hint{{
				Key: "sanding_one_way", Kind: part.Sanding, P: p,
				Phrase: part.Say("lot.hint.sanding_one_way", "units", strconv.Itoa(n), "direction_deg", whole(deg), "from",
					"@lot.hint.from."+string(frame), "agreement", fmt.Sprintf("%.2f", length), "p", digits(2, p)),
				Figures: []Figure{{"units", float64(n), ""}, {"direction", deg, "deg"}, {"agreement", length, ""}, {"p", p, ""},
					{"in_unit_frame", map[Frame]float64{UnitFrame: 1}[frame], ""}},
			}}, nil
		}
	}
	return nil, nil
}

// rayleigh is the chance of a mean length of n directions that are all alike
// likely.
func rayleigh(length float64, n int) float64 {
	k := float64(n)
	return math.Min(1, math.Exp(math.Sqrt(1+4*k+4*k*k*(1-length*length))-(1+2*k)))
}

// stepHint looks for a drift of the mean step around the unit.
func stepHint(units []Unit, prm HintParams) ([]Hint, error) {
	var out []Hint
	for _, stage := range part.Stages {
		var v []float64
		for i := range units {
			if units[i].Stage == stage {
				v = append(v, units[i].MeanStepUM())
			}
		}
		t := TrendOf(v)
		_, sd := meanSD(present(v))
		if t.N < prm.Enough || !(t.P < prm.P) || !(math.Abs(t.Change) >= prm.DriftShare*sd) {
			continue
		}
		way := "out"
		if t.Change < 0 {
			way = "in"
		}
		out = append(out, Hint{
			Key: "step_drifts", Stage: stage, P: t.P,
			Phrase: part.Say("lot.hint.step_drifts", "stage", "@stage."+string(stage), "way", "@lot.hint.way."+way, "change_um",
				digits(3, t.Change), "units", strconv.Itoa(t.N), "times", fmt.Sprintf("%.1f", math.Abs(t.Change)/sd), "p", digits(2, t.P)),
			Figures: []Figure{{"units", float64(t.N), ""}, {"change", t.Change, "um"}, {"sd", sd, "um"},
				{"per_100_units", 100 * t.Slope, "um"}, {"rank", t.Rank, ""}, {"p", t.P, ""}},
		})
	}
	return out, nil
}

// groupHints name the group that stands out, of each key whose groups differ by
// more than chance; the chance is divided among the keys.
func groupHints(units []Unit, prm HintParams) ([]Hint, error) {
	keys := []Key{ByOperator, ByShift, ByFaceplate, ByResin, BySide}
	var out []Hint
	for _, k := range keys {
		p, err := ParetoOf(units, k, ParetoOptions{Seed: prm.Seed})
		if err != nil {
			return nil, err
		}
		if !(p.Test.P < prm.P/float64(len(keys))) {
			continue
		}
		worst := -1
		for i, r := range p.Rows {
			if r.With.Of >= prm.EnoughUnits && r.Residual > 2 && (worst < 0 || r.Residual > p.Rows[worst].Residual) {
				worst = i
			}
		}
		if worst < 0 {
			continue
		}
		r := p.Rows[worst]
		rest, of := -r.With.Count, -r.With.Of
		for _, x := range p.Rows {
			if x.Name != "" {
				rest, of = rest+x.With.Count, of+x.With.Of
			}
		}
		others := float64(rest) / float64(of)
		key := "group_" + string(k)
		out = append(out, Hint{
			Key: key, Group: r.Name, P: p.Test.P,
			Phrase: part.Say("lot.hint."+key, "group", r.Name, "share_percent", whole(100*r.With.Value()), "inspections",
				strconv.Itoa(r.With.Of), "others_percent", whole(100*others), "inspections_others", strconv.Itoa(of), "how",
				"@lot.test."+strings.ReplaceAll(string(p.Test.Method), " ", "_"), "p", digits(2, p.Test.P)),
			Figures: []Figure{{"inspections", float64(r.With.Of), ""}, {"inspections_others", float64(of), ""},
				{"share", r.With.Value(), "share"}, {"share_others", others, "share"}, {"chi_squared", p.Test.Statistic, ""},
				{"dof", float64(p.Test.DOF), ""}, {"residual", r.Residual, ""}, {"p", p.Test.P, ""}},
		})
	}
	return out, nil
}

// digits is a number with so many that count, whole one without decimals.
func digits(n int, v float64) string { return strconv.FormatFloat(v, 'g', n, 64) }
func whole(v float64) string         { return strconv.FormatFloat(v, 'f', 0, 64) }

// clusterHints tell of places where findings crowd: of each kind of which there
// are enough, and of all together where no single kind does. A place on the faceplate is
// told of the frame in which more units meet than chance would bring. The chance is divided
// among the maps.
func clusterHints(units []Unit, prm HintParams) ([]Hint, error) {
	var kinds []part.Kind
	for _, k := range part.Kinds {
		n := 0
		for i := range units {
			n += units[i].Count(k)
		}
		if n >= prm.Enough {
			kinds = append(kinds, k)
		}
	}
	surfaces := [][]Frame{plateFrames()}
	maps := 2
	if slices.ContainsFunc(units, func(u Unit) bool { return u.Shell != nil }) {
		surfaces, maps = append(surfaces, []Frame{ShellFrame}), 3
	}
	chance := prm.P / float64(maps*(len(kinds)+1))
	var out []Hint
	of := func(k part.Kind) error {
		for _, frames := range surfaces {
			h, err := clusterHint(units, k, frames, prm, chance)
			if err != nil {
				return err
			}
			out = append(out, h...)
		}
		return nil
	}
	for _, k := range kinds {
		if err := of(k); err != nil {
			return nil, err
		}
	}
	if len(out) > 0 {
		return out, nil
	}
	err := of("")
	return out, err
}

// clusterHint looks in some frames at findings of one kind, "" all.
func clusterHint(units []Unit, k part.Kind, frames []Frame, prm HintParams, chance float64) ([]Hint, error) {
	var out []Hint
	excess := 0.0
	looks := thinned(units, k)
	for _, frame := range frames {
		m, err := MapOf(looks, MapOptions{Frame: frame, Keep: ofKind(k), Draws: int(math.Ceil(2 / chance)), Seed: prm.Seed})
		if err != nil {
			return nil, err
		}
		if len(m.Clusters) == 0 {
			continue
		}
		if c := m.Clusters[0]; c.P < chance && c.Units >= prm.EnoughUnits && float64(c.Units)-c.Expected > excess {
			excess = float64(c.Units) - c.Expected
			out = []Hint{clusterText(m, c, k)}
		}
	}
	return out, nil
}

func clusterText(m DefectMap, c Cluster, k part.Kind) Hint {
	what := "@lot.hint.findings"
	if k != "" {
		what = "@noun." + string(k)
	}
	args := []string{"units", strconv.Itoa(c.Units), "kind", what, "radius_mm", digits(2, c.R), "expected", fmt.Sprintf("%.1f", c.Expected),
		"p", digits(2, c.P)}
	figures := []Figure{{"units", float64(c.Units), ""}, {"expected", c.Expected, ""}, {"findings", float64(c.Findings), ""},
		{"x", c.X, "mm"}, {"y", c.Y, "mm"}, {"radius", c.R, "mm"}, {"p", c.P, ""}}
	if m.Frame == ShellFrame {
		turn := 360 * c.X / m.GirthMM
		figures = append(figures, Figure{"turn", turn, "deg"}, Figure{"below", c.Y, "mm"})
		args = append(args, "turn_deg", whole(turn), "below_mm", fmt.Sprintf("%.1f", c.Y))
	}
	key := "cluster_" + string(m.Frame)
	return Hint{Key: key, P: c.P, Kind: k, Figures: figures, Phrase: part.Say("lot.hint."+key, args...)}
}
