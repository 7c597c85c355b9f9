package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/report"
	"finishbench/internal/study"
)

const detectionHelp = `detection says from which size on defects are found, and how often something is
called that is not there.

TRUTH holds a folder a unit with truth.json, which says what is on its faceplate,
and on its shell in each turn (a defect counts in each turn that shows it);
RESULTS what 'inspect unit' wrote of the same units. Each known defect has at
most one finding and each finding tells of at most one defect; a finding of the
wrong kind counts as found, and is told. Defects too faint to be seen (a
contrast-to-noise ratio under 5 in all pictures; Rose 1948) are left out and
counted apart, unless --all-contrasts is given.

In place of the two, a table DATA.csv of targets found and missed will do: the
columns size and found (1 or 0, yes or no), and kind where there are several; or
size, found and of where a line is about several targets of one size.

With --draw N, name folders with clean faces photographed before a screen. N faults of
each kind that a mirror shows (bulging bubbles, craters, runs, missed places,
haze), of known shape and of sizes from too small to large, are drawn into those
pictures: the stripes are bent and dulled as the fault would. Then they are looked
for as in any unit. Scale and station are told as for 'inspect unit'; the station
must say how the screen stands.

The size is the diameter of bubbles, dust and craters, and the length of fibres
and sanding marks, in mm. The curve is a logistic regression over the size or its
logarithm; a90/95 is the upper 95 % bound of the size found 9 times in 10, by the
likelihood ratio. Where no such curve exists, what can be said by count is said.`

type detectionOptions struct {
	cli.SheetOptions
	kinds       []string
	by          string
	all         bool
	minCNR      float64
	share       float64
	scale       string
	bound       string
	probability float64
	confidence  float64
	firth       bool
	draw        int
	slopeMRad   float64
	look        inspection.Options // with --draw: scale and station
	now         func() time.Time
}

func newDetectionCommand() *cobra.Command {
	o := detectionOptions{now: time.Now}
	cmd := &cobra.Command{
		Use:   "detection TRUTH RESULTS | DATA.csv | --draw N CLEAN...",
		Short: "From which size on defects are found",
		Long:  detectionHelp,
		Example: `  inspect study detection units results --out study
  inspect study detection units results --kind bubble,dust --all-contrasts
  inspect study detection targets.csv --scale ln --bound wald
  inspect study detection --draw 60 clean1 clean2 --mm-per-px 0.016 --station station.yaml --out study`,
		DisableFlagsInUseLine: true,
		Args: wrongUsage(func(cmd *cobra.Command, args []string) error {
			if o.draw > 0 {
				return cobra.MinimumNArgs(1)(cmd, args)
			}
			return cobra.RangeArgs(1, 2)(cmd, args)
		}),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runDetection(cmd.Context(), o, args, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringSliceVar(&o.kinds, "kind", nil, "kinds of defects to look at (default: all that are known to be there)")
	f.StringVar(&o.by, "by", "kind", "kind, or pattern: each kind apart on plain and patterned faceplates, opaque and see-through shells")
	f.BoolVar(&o.all, "all-contrasts", false, "count faint defects too")
	f.Float64Var(&o.minCNR, "min-cnr", 5, "contrast-to-noise ratio from which on a defect can be expected to be seen")
	f.Float64Var(&o.share, "match-share", study.DefaultMatchRule().SlackShare, "how far outside a defect's box a finding may lie, as a share of the box")
	f.StringVar(&o.scale, "scale", "auto", "what the curve is over: size, ln, or auto: the one that fits better")
	f.StringVar(&o.bound, "bound", "ratio", "how the bound is found: ratio (likelihood ratio), wald (on the curve) or delta")
	f.Float64Var(&o.probability, "probability", 0.9, "how often a size must be found to be stated")
	f.Float64Var(&o.confidence, "confidence", 0.95, "confidence of the bounds")
	f.BoolVar(&o.firth, "firth", false, "where found and missed ones do not overlap in size, fit Firth's penalised likelihood")
	f.IntVar(&o.draw, "draw", 0, "draw so many faults of each kind into clean sets before a screen, and look for them")
	f.Float64Var(&o.slopeMRad, "slope-mrad", 10, "steepest slope of the faults that are drawn, mrad")
	f.Float64Var(&o.look.MMPerPX, "mm-per-px", 0, "with --draw: scale of the pictures, millimetres per pixel")
	f.StringVar(&o.look.Station, "station", "", "with --draw: file that describes the station: screen, scale")
	sheetFlags(&o.SheetOptions, cmd)
	return cmd
}

func runDetection(ctx context.Context, o detectionOptions, args []string, stdout, stderr io.Writer) error {
	so, err := o.study()
	if err != nil {
		return err
	}
	set, err := o.read(ctx, args, stderr)
	if err != nil {
		return err
	}
	groups, err := detectionGroups(set, o, so)
	if err != nil {
		return err
	}
	run := detectionRun{set: set, groups: groups, options: o, study: so, date: o.now().Format("2006-01-02")}
	sheet, files, err := detectionSheet(run)
	if err != nil {
		return err
	}
	if o.Out != "" {
		dir, err := cli.OpenOut(o.Out)
		if err != nil {
			return err
		}
		for _, f := range files {
			if err := dir.ReplaceFile(f.name, f.data); err != nil {
				return err
			}
		}
	}
	return o.Write("detection", sheet, newDetectionJSON(run), stdout)
}

// study checks the flags and turns them into options.
func (o detectionOptions) study() (study.DetectionOptions, error) {
	so := study.DefaultDetectionOptions()
	so.Probability, so.Confidence, so.Firth = o.probability, o.confidence, o.firth || o.draw > 0 // what is drawn is found above a size, missed below
	switch o.scale {
	case "auto":
	case "size":
		so.Scale = study.PlainSize
	case "ln":
		so.Scale = study.LogSize
	default:
		return so, cli.Usagef("--scale %s: use size, ln or auto", o.scale)
	}
	switch o.bound {
	case "ratio":
	case "wald":
		so.Bound = study.WaldCurve
	case "delta":
		so.Bound = study.DeltaMethod
	default:
		return so, cli.Usagef("--bound %s: use ratio, wald or delta", o.bound)
	}
	switch {
	case o.by != "kind" && o.by != "pattern":
		return so, cli.Usagef("--by %s: use kind or pattern", o.by)
	case !(o.share >= 0 && o.share <= 1):
		return so, cli.Usagef("--match-share %g: use a share between 0 and 1", o.share)
	case !(o.minCNR >= 0 && o.minCNR <= 1000):
		return so, cli.Usagef("--min-cnr %g: use a ratio between 0 and 1000", o.minCNR)
	case o.draw < 0 || o.draw > maxDraw:
		return so, cli.Usagef("--draw %d: use 1 to %d faults of each kind, 60 or more for a steady curve", o.draw, maxDraw)
	case !(o.slopeMRad >= 0.1 && o.slopeMRad <= 1000):
		return so, cli.Usagef("--slope-mrad %g: use 0.1 to 1000 mrad", o.slopeMRad)
	case o.draw > 0 && o.by == "pattern":
		return so, cli.Usagef("--by pattern: with --draw it is not told what faceplates are like; use --by kind")
	case !(o.probability > 0 && o.probability < 1):
		return so, cli.Usagef("--probability %g: use a number between 0 and 1, such as 0.9", o.probability)
	case !(o.confidence >= 0.5 && o.confidence < 1):
		return so, cli.Usagef("--confidence %g: use a number from 0.5 to below 1, such as 0.95", o.confidence)
	}
	return so, nil
}

func (o detectionOptions) read(ctx context.Context, args []string, stderr io.Writer) (detectionSet, error) {
	if o.draw > 0 {
		return drawDetection(ctx, o, args, stderr)
	}
	if len(args) == 2 {
		rule := study.DefaultMatchRule()
		rule.SlackShare = o.share
		return readDetectionUnits(args[0], args[1], rule, o.minCNR)
	}
	if info, err := os.Stat(args[0]); err == nil && info.IsDir() {
		return detectionSet{}, cli.Usagef("%s is a folder: name the folder of results too, or a table (CSV)", args[0])
	}
	if o.by == "pattern" {
		return detectionSet{}, cli.Usagef("--by pattern: a table does not say what faceplates are like; use --by kind")
	}
	f, err := cli.OpenTable(args[0])
	if err != nil {
		return detectionSet{}, err
	}
	defer f.Close()
	rows, err := study.ReadTargets(f)
	if err != nil {
		return detectionSet{}, cli.Usagef("%s: %w", args[0], err)
	}
	set := detectionSet{from: args[0]}
	for _, r := range rows {
		set.targets = append(set.targets, knownTarget{kind: r.Kind, target: r.Target, visible: true})
	}
	return set, nil
}

// detectionGroup is what is stated together: a kind, or a kind on one sort of
// surfaces.
type detectionGroup struct {
	kind, where string // where: as whereOf has it, or empty
	stated      study.Detection
	all         *study.Detection // with the faint ones; nil: there are none
	faint       study.Share      // faint ones found
	right       study.Share      // of the found ones, those called by their kind
	shared      int              // missed because their only finding tells of a neighbour
	falseCalls  study.Rate
	measure     string // diameter, length, size
}

// name is what the group's defects are called.
func (g detectionGroup) name() string {
	n := plural(g.kind)
	if g.where != "" {
		n += " on " + surfacesOf(g.where)
	}
	return n
}

func surfacesOf(where string) string {
	if strings.HasSuffix(where, "shell") {
		return where + "s"
	}
	return where + " faceplates"
}

// slug is the group in a file's name.
func (g detectionGroup) slug() string {
	s := g.kind
	if s == "" {
		s = "targets"
	}
	if g.where != "" {
		s += "-" + g.where
	}
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_' {
			return r
		}
		return '_'
	}, s)
}

// plural is what several defects of a kind are called.
func plural(kind string) string {
	switch kind {
	case "":
		return "targets"
	case "dust":
		return "dust inclusions"
	case "sanding":
		return "sanding marks"
	case "haze", "orange_peel":
		return "places with " + strings.ReplaceAll(kind, "_", " ")
	}
	return strings.ReplaceAll(kind, "_", " ") + "s"
}

// detectionRun is all that a statement is made from.
type detectionRun struct {
	set     detectionSet
	groups  []detectionGroup
	options detectionOptions
	study   study.DetectionOptions
	date    string
}

// detectionGroups sorts the targets into groups and says what can be said of
// each.
func detectionGroups(set detectionSet, o detectionOptions, so study.DetectionOptions) ([]detectionGroup, error) {
	var kinds []string
	for _, t := range set.targets {
		if !slices.Contains(kinds, t.kind) {
			kinds = append(kinds, t.kind)
		}
	}
	slices.Sort(kinds)
	for _, k := range o.kinds {
		if !slices.Contains(kinds, k) {
			return nil, cli.Usagef("--kind %s: %s has none of this kind (it has %s)", k, set.from, cli.Or(strings.Join(kinds, ", "), "no targets at all"))
		}
	}
	wheres := []string{""}
	if o.by == "pattern" {
		wheres = []string{plainFaces, patternedFaces, opaqueShell, seeThroughShell}
	}
	var groups []detectionGroup
	for _, k := range kinds {
		if len(o.kinds) > 0 && !slices.Contains(o.kinds, k) {
			continue
		}
		for _, w := range wheres {
			g, ok, err := newDetectionGroup(set, k, w, o, so)
			if err != nil {
				return nil, err
			}
			if ok {
				groups = append(groups, g)
			}
		}
	}
	if len(groups) == 0 {
		return nil, cli.Usagef("%s has no targets that can be expected to be seen: nothing can be stated (--all-contrasts counts the faint ones)", set.from)
	}
	return groups, nil
}

func newDetectionGroup(set detectionSet, kind, where string, o detectionOptions, so study.DetectionOptions) (detectionGroup, bool, error) {
	g := detectionGroup{kind: kind, where: where}
	var stated, all []study.Target
	var right, found, faint, faintFound int
	measures := map[string]bool{}
	for _, t := range set.targets {
		if t.kind != kind || where != "" && t.where() != where {
			continue
		}
		all = append(all, t.target)
		if !t.visible {
			faint += t.target.Of
			faintFound += t.target.Found
			if !o.all {
				continue
			}
		}
		stated = append(stated, t.target)
		measures[t.measure] = true
		found += t.target.Found
		if t.rightKind {
			right++
		}
		if t.shared {
			g.shared++
		}
	}
	if len(stated) == 0 {
		return g, false, nil
	}
	g.measure = "size"
	if len(measures) == 1 {
		for m := range measures {
			g.measure = cli.Or(m, "size")
		}
	}
	var err error
	if g.stated, err = study.NewDetection(stated, so); err != nil {
		return g, false, cli.Usagef("%s of %s: %w", plural(kind), set.from, err)
	}
	if len(all) > len(stated) {
		d, err := study.NewDetection(all, so)
		if err != nil {
			return g, false, cli.Usagef("%s of %s: %w", plural(kind), set.from, err)
		}
		g.all = &d
	}
	if g.faint, err = study.NewShare(faintFound, faint, o.confidence, study.ClopperPearsonExact); err != nil {
		return g, false, err
	}
	if set.units > 0 {
		if g.right, err = study.NewShare(right, found, o.confidence, study.ClopperPearsonExact); err != nil {
			return g, false, err
		}
	}
	calls, units := set.falseCalls(kind, where)
	if g.falseCalls, err = study.NewRate(calls, units, o.confidence); err != nil {
		return g, false, err
	}
	return g, true, nil
}

// statement is what is said of a group, a whole sentence.
func (g detectionGroup) statement() string {
	s := cli.UpperFirst(g.stated.Statement(g.name()))
	if g.falseCalls.Units == 0 {
		return s + "."
	}
	if g.stated.Basis == study.ByNone {
		return s + "; " + study.FalseCalls(g.falseCalls) + "."
	}
	return s + ", " + study.FalseCalls(g.falseCalls) + "."
}

// rating: good where each group has a size and enough targets; fair where some
// has a size; else not measured.
func (r detectionRun) rating() (report.Rating, string) {
	with, weak := 0, false
	for _, g := range r.groups {
		if g.stated.Basis != study.ByNone {
			with++
		}
		weak = weak || len(g.stated.Warnings()) > 0
	}
	word := fmt.Sprintf("stated for %d of %d", with, len(r.groups))
	switch {
	case with == len(r.groups) && !weak:
		return report.Good, "stated"
	case with > 0:
		return report.Fair, word
	}
	return report.Unrated, "not stated"
}
