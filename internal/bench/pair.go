package bench

import (
	"fmt"
	"strings"

	"finishbench/internal/compare"
	"finishbench/internal/part"
)

// This file sets two inspections beside each other: before and after, left and right.

// changes tell what became of the findings. Not told is what is within limits both times, and
// what is there now where nobody could see before: that is no change, and stands among the findings.
func (x words) changes(before, after *part.Result) []changeView {
	var out []changeView
	for _, c := range compare.ReworkOf(before, after, compare.DefaultReworkParams()) {
		if !hasSeverity(c.Before) && !hasSeverity(c.After) || c.Fate == compare.Unmeasured && c.Before == nil {
			continue
		}
		f := c.After
		if f == nil {
			f = c.Before
		}
		out = append(out, changeView{c.Fate, x.finding(*f)})
	}
	return out
}

func hasSeverity(f *part.Finding) bool { return f != nil && f.Severity != part.None }

// pair compares the two sides, a row each. Differences are left less right.
func (x words) pair(one, other *part.Inspection, lim part.PairLimits) []pairView {
	left, right := one, other
	if one.Side == "R" {
		left, right = other, one
	}
	word := func(in *part.Inspection) string { return x.T("verdict_short." + string(in.Verdict())) }
	p := compare.PairOf(&left.Result, &right.Result, lim)
	rows := []pairView{
		{Name: x.T("pair.verdict"), Left: word(left), Right: word(right)},
		x.pairRow("worst_step", p.Worst, lim.StepUM),
		x.pairRow("mean_step", p.Mean, lim.MeanUM),
		x.pairRow("score", p.Demerits, lim.Demerits),
		x.pairColour(p.Colour),
	}
	if p.Colour.Diff != nil && !p.Colour.White {
		rows = append(rows, pairView{Name: x.T("pair.camera_colour"), Word: x.T("pair.word.same_light")})
	}
	var all compare.KindCount
	for _, k := range p.Kinds {
		all.First, all.Second = all.First+k.First, all.Second+k.Second
	}
	rows = append(rows, x.pairCount("findings", all))
	for _, k := range p.Kinds {
		rows = append(rows, x.pairCount("kind."+string(k.Kind), k))
	}
	return rows
}

// pairRow is a number of the two sides. Where there is no limit, nothing is alike or too far apart.
func (x words) pairRow(key string, d compare.Difference, limit float64) pairView {
	v := pairView{Name: x.T("pair." + key), Left: x.Number(part.OrNaN(d.First), 0), Right: x.Number(part.OrNaN(d.Second), 0)}
	switch {
	case d.Diff == nil:
		v.Word = x.T("pair.word.not_measured")
		return v
	case d.State == compare.Differ:
		v.Word = x.T("pair.word.over")
	case limit > 0:
		v.Word = x.T("pair.word.same")
	}
	v.Difference = x.apart(-*d.Diff, d.U, 0)
	return v
}

// apart is a difference with its uncertainty, as far as that is known.
func (x words) apart(d float64, u *float64, decimals int) string {
	s := x.Number(d, decimals)
	if u != nil {
		s += " ± " + x.Number(part.CoverageK**u, decimals)
	}
	return s
}

func (x words) pairCount(key string, k compare.KindCount) pairView {
	number := func(n int) string { return x.Number(float64(n), 0) }
	return pairView{Name: x.T("pair." + key), Left: number(k.First), Right: number(k.Second), Difference: number(k.First - k.Second)}
}

func (x words) pairColour(c compare.ColourDifference) pairView {
	key := "pair.colour"
	if c.Patterned {
		key = "pair.colour_mean"
	}
	v := pairView{Name: x.T(key), Left: colour(c.Colours[0]), Right: colour(c.Colours[1])}
	if c.Diff == nil {
		v.Word = x.T("pair.word." + string(c.Why))
		return v
	}
	v.Word = x.T("pair.word." + string(c.See))
	if c.State == compare.Differ {
		v.Word += x.T("looked.comma") + x.T("pair.word.over")
	}
	v.Difference = x.apart(*c.Diff, c.U, 1)
	return v
}

// colour is a colour as L, a, b.
func colour(c *part.Colour) string {
	if c == nil {
		return ""
	}
	return strings.ReplaceAll(fmt.Sprintf("L %.1f, a %.1f, b %.1f", c.L, c.A, c.B), "-", "−")
}
