package detection

import (
	"context"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/lang"
	"finishbench/internal/report"
	"finishbench/internal/stats/study"
	"finishbench/internal/truth"
)

// Options are what is matched how, and what is drawn.
type Options struct {
	cli.SheetOptions
	Kinds       []string
	By          string
	All         bool
	MinCNR      float64
	Share       float64
	Scale       string
	Bound       string
	Probability float64
	Confidence  float64
	Firth       bool
	Draw        int
	SlopeMRad   float64
	Look        inspection.Options // with --draw: scale and station
	Now         func() time.Time
}

// Run says from which size on defects are found.
func Run(ctx context.Context, o Options, args []string, stdout, stderr io.Writer) error {
	x, err := cli.Language(o.Language)
	if err != nil {
		return err
	}
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
	run := detectionRun{set: set, groups: groups, options: o, study: so, date: o.Now().Format("2006-01-02")}
	sheet, files, err := detectionSheet(x, run)
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
func (o Options) study() (study.DetectionOptions, error) {
	so := study.DefaultDetectionOptions()
	// What is drawn is found above a size, missed below.
	so.Probability, so.Confidence, so.Firth = o.Probability, o.Confidence, o.Firth || o.Draw > 0
	switch o.Scale {
	case "auto":
	case "size":
		so.Scale = study.PlainSize
	case "ln":
		so.Scale = study.LogSize
	default:
		return so, cli.Usagef("--scale %s: use size, ln or auto", o.Scale)
	}
	switch o.Bound {
	case "ratio":
	case "wald":
		so.Bound = study.WaldCurve
	case "delta":
		so.Bound = study.DeltaMethod
	default:
		return so, cli.Usagef("--bound %s: use ratio, wald or delta", o.Bound)
	}
	switch {
	case o.By != "kind" && o.By != "pattern":
		return so, cli.Usagef("--by %s: use kind or pattern", o.By)
	case !(o.Share >= 0 && o.Share <= 1):
		return so, cli.Usagef("--match-share %g: use a share between 0 and 1", o.Share)
	case !(o.MinCNR >= 0 && o.MinCNR <= 1000):
		return so, cli.Usagef("--min-cnr %g: use a ratio between 0 and 1000", o.MinCNR)
	case o.Draw < 0 || o.Draw > maxDraw:
		return so, cli.Usagef("--draw %d: use 1 to %d faults of each kind, 60 or more for a steady curve", o.Draw, maxDraw)
	case !(o.SlopeMRad >= 0.1 && o.SlopeMRad <= 1000):
		return so, cli.Usagef("--slope-mrad %g: use 0.1 to 1000 mrad", o.SlopeMRad)
	case o.Draw > 0 && o.By == "pattern":
		return so, cli.Usagef("--by pattern: with --draw it is not told what faceplates are like; use --by kind")
	case !(o.Probability > 0 && o.Probability < 1):
		return so, cli.Usagef("--probability %g: use a number between 0 and 1, such as 0.9", o.Probability)
	case !(o.Confidence >= 0.5 && o.Confidence < 1):
		return so, cli.Usagef("--confidence %g: use a number from 0.5 to below 1, such as 0.95", o.Confidence)
	}
	return so, nil
}

func (o Options) read(ctx context.Context, args []string, stderr io.Writer) (Set, error) {
	if o.Draw > 0 {
		return drawDetection(ctx, o, args, stderr)
	}
	if len(args) == 2 {
		rule := study.DefaultMatchRule()
		rule.SlackShare = o.Share
		return readDetectionUnits(args[0], args[1], rule, o.MinCNR)
	}
	if info, err := os.Stat(args[0]); err == nil && info.IsDir() {
		return Set{}, cli.Usagef("%s is a folder: name the folder of results too, or a table (CSV)", args[0])
	}
	if o.By == "pattern" {
		return Set{}, cli.Usagef("--by pattern: a table does not say what faceplates are like; use --by kind")
	}
	f, err := cli.OpenTable(args[0])
	if err != nil {
		return Set{}, err
	}
	defer f.Close()
	rows, err := study.ReadTargets(f)
	if err != nil {
		return Set{}, cli.Usagef("%s: %w", args[0], err)
	}
	set := Set{from: args[0]}
	for _, r := range rows {
		set.Targets = append(set.Targets, Target{Kind: r.Kind, Target: r.Target, visible: true})
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
func (g detectionGroup) name(x *lang.Lang) string {
	if g.where != "" {
		return x.T("detection.name_on", "name", plural(x, g.kind), "where", x.T("detection.on."+g.where))
	}
	return plural(x, g.kind)
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
func plural(x *lang.Lang, kind string) string {
	if kind == "" {
		kind = "target"
	}
	if x.Has("detection.kind." + kind) {
		return x.T("detection.kind." + kind)
	}
	return strings.ReplaceAll(kind, "_", " ") + "s" // a table may have kinds of its own
}

// detectionRun is all that a statement is made from.
type detectionRun struct {
	set     Set
	groups  []detectionGroup
	options Options
	study   study.DetectionOptions
	date    string
}

// detectionGroups sorts the targets into groups and says what can be said of
// each.
func detectionGroups(set Set, o Options, so study.DetectionOptions) ([]detectionGroup, error) {
	var kinds []string
	for _, t := range set.Targets {
		if !slices.Contains(kinds, t.Kind) {
			kinds = append(kinds, t.Kind)
		}
	}
	slices.Sort(kinds)
	for _, k := range o.Kinds {
		if !slices.Contains(kinds, k) {
			return nil, cli.Usagef("--kind %s: %s has none of this kind (it has %s)", k, set.from,
				cli.Or(strings.Join(kinds, ", "), "no targets at all"))
		}
	}
	wheres := []string{""}
	if o.By == "pattern" {
		wheres = []string{plainFaces, patternedFaces, truth.OpaqueShell, truth.SeeThroughShell}
	}
	var groups []detectionGroup
	for _, k := range kinds {
		if len(o.Kinds) > 0 && !slices.Contains(o.Kinds, k) {
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
		return nil, cli.Usagef("%s has no targets that can be expected to be seen: nothing can be stated (--all-contrasts counts the "+
			"faint ones)", set.from)
	}
	return groups, nil
}

func newDetectionGroup(set Set, kind, where string, o Options, so study.DetectionOptions) (detectionGroup, bool, error) {
	g := detectionGroup{kind: kind, where: where}
	var stated, all []study.Target
	var right, found, faint, faintFound int
	measures := map[string]bool{}
	for _, t := range set.Targets {
		if t.Kind != kind || where != "" && t.Where() != where {
			continue
		}
		all = append(all, t.Target)
		if !t.visible {
			faint += t.Target.Of
			faintFound += t.Target.Found
			if !o.All {
				continue
			}
		}
		stated = append(stated, t.Target)
		measures[t.measure] = true
		found += t.Target.Found
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
		return g, false, cli.Usagef("%s of %s: %w", plural(lang.English(), kind), set.from, err)
	}
	if len(all) > len(stated) {
		d, err := study.NewDetection(all, so)
		if err != nil {
			return g, false, cli.Usagef("%s of %s: %w", plural(lang.English(), kind), set.from, err)
		}
		g.all = &d
	}
	if g.faint, err = study.NewShare(faintFound, faint, o.Confidence, study.ClopperPearsonExact); err != nil {
		return g, false, err
	}
	if set.Units > 0 {
		if g.right, err = study.NewShare(right, found, o.Confidence, study.ClopperPearsonExact); err != nil {
			return g, false, err
		}
	}
	calls, units := set.falseCalls(kind, where)
	if g.falseCalls, err = study.NewRate(calls, units, o.Confidence); err != nil {
		return g, false, err
	}
	return g, true, nil
}

// statement is what is said of a group, a whole sentence.
func (g detectionGroup) statement(x *lang.Lang) string {
	said := g.stated.Statement(g.name(x))
	s := cli.UpperFirst(x.Say(&said))
	if g.falseCalls.Units > 0 {
		between := "looked.comma"
		if g.stated.Basis == study.ByNone {
			between = "join.signals"
		}
		s += x.T(between) + falseCalls(x, g.falseCalls)
	}
	return s + x.T("page.full_stop")
}

func falseCalls(x *lang.Lang, r study.Rate) string {
	p := study.FalseCalls(r)
	return x.Say(&p)
}

// measureWord is what sizes are.
func measureWord(x *lang.Lang, measure string) string { return x.Named("detection.measure.", measure) }

// rating: good where each group has a size and enough targets; fair where some
// has a size; else not measured.
func (r detectionRun) rating(x *lang.Lang) (report.Rating, string) {
	with, weak := 0, false
	for _, g := range r.groups {
		if g.stated.Basis != study.ByNone {
			with++
		}
		weak = weak || len(g.stated.Warnings()) > 0
	}
	word := x.T("detection.word.some", "n", strconv.Itoa(with), "of", strconv.Itoa(len(r.groups)))
	switch {
	case with == len(r.groups) && !weak:
		return report.Good, x.T("detection.word.all")
	case with > 0:
		return report.Fair, word
	}
	return report.Unrated, x.T("detection.word.none")
}
