package station

import (
	"fmt"
	"strconv"
	"strings"

	"finishbench/internal/bench"
	"finishbench/internal/cli"
	"finishbench/internal/compare"
	"finishbench/internal/grade"
	"finishbench/internal/part"
)

// comparer sets inspections beside each other for the bench's page.
type comparer struct {
	pair   compare.PairLimits
	rework compare.ReworkParams
}

// NewComparer compares units; a pair by these limits.
func NewComparer(p grade.Pair) comparer {
	return comparer{compare.PairLimits(p), compare.DefaultReworkParams()}
}

// Rework is [bench.Comparer]. What is within limits both times is not told.
func (c comparer) Rework(before, after *part.Inspection) []bench.Change {
	var out []bench.Change
	for _, ch := range compare.ReworkOf(&before.Result, &after.Result, c.rework).Changes {
		if hasSeverity(ch.Before) || hasSeverity(ch.After) {
			out = append(out, bench.Change{State: string(ch.Fate), Before: ch.Before, After: ch.After})
		}
	}
	return out
}

func hasSeverity(f *part.Finding) bool { return f != nil && f.Severity != part.None }

// Pair is [bench.Comparer]: the mean step, the faceplates' colours, and the
// findings by kind. Differences are left less right, as elsewhere on the page.
func (c comparer) Pair(left, right *part.Inspection) []bench.PairRow {
	p := compare.PairOf(&left.Result, &right.Result, c.pair)
	rows := []bench.PairRow{meanRow(p.Mean), colourRow(p.Colour)}
	if p.Colour.Diff != nil && !p.Colour.White {
		rows = append(rows, bench.PairRow{Key: "camera_colour", Word: "same_light"})
	}
	for _, k := range p.Kinds {
		rows = append(rows, bench.PairRow{Key: "kind." + string(k.Kind), Left: strconv.Itoa(k.First), Right: strconv.Itoa(k.Second), Difference: cli.Signed(float64(k.First-k.Second), 0)})
	}
	return rows
}

func meanRow(d compare.Difference) bench.PairRow {
	r := bench.PairRow{Key: "mean_step", Left: number(d.First, 0), Right: number(d.Second, 0)}
	if d.Diff == nil {
		r.Word = "not_measured"
		return r
	}
	r.Difference = cli.Signed(-*d.Diff, 0)
	if d.U != nil {
		r.Difference += fmt.Sprintf(" ± %.0f", part.CoverageK**d.U)
	}
	r.Word = "same"
	if d.State == compare.Differ {
		r.Word = "over"
	}
	return r
}

// seenWords is the word of how a colour difference looks.
var seenWords = map[compare.See]string{compare.SeeNone: "unseen", compare.SeeClose: "close", compare.SeeGlance: "glance", compare.SeeOther: "other"}

func colourRow(c compare.ColourDifference) bench.PairRow {
	r := bench.PairRow{Key: "colour", Left: colour(c.Colours[0]), Right: colour(c.Colours[1])}
	if c.Patterned {
		r.Key = "colour_mean"
	}
	if c.Diff == nil {
		r.Word = map[string]string{compare.WhyLight: "light", compare.WhyWhite: "white"}[c.Why]
		if r.Word == "" {
			r.Word = "no_colour"
		}
		return r
	}
	r.Difference, r.Word = fmt.Sprintf("%.1f", *c.Diff), seenWords[c.See]
	if c.U != nil {
		r.Difference += fmt.Sprintf(" ± %.1f", part.CoverageK**c.U)
	}
	return r
}

// colour is a colour as L, a, b.
func colour(c *part.Colour) string {
	if c == nil {
		return ""
	}
	return strings.ReplaceAll(fmt.Sprintf("L %.1f, a %.1f, b %.1f", c.L, c.A, c.B), "-", "−")
}

// number is a number to read; "" where there is none.
func number(v *float64, decimals int) string {
	if v == nil {
		return ""
	}
	return cli.Signed(*v, decimals)
}
