package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/configs"
	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/inspection"
	"finishbench/internal/lots"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// lotPlanOptions are the flags of lot plan.
type lotPlanOptions struct {
	*cli.Database
	cli.SheetOptions
	size              int
	level, product    string
	stage, limits     string
	aqls, modes       []string
	by, why           string
	resume, irregular string
	anew, again       bool
	signed            bool // the plan goes on record
}

const lotPlanHelp = `plan tells how many units of a lot are looked at, from how many bad ones on it is
refused, and what that lets through. With the name of a LOT it opens the lot with
that plan. Which mode is due (normal, tightened, reduced) follows from the decided
lots of the same product; a person who sets another one signs for it.

A plan of a lot that is not decided yet starts anew with --anew: for other limits,
another level. What was seen so far then no longer counts. A refused lot that was
screened is presented again with --again.`

const lotPlanExamples = `  inspect lot plan --size 500
  inspect lot plan --size 500 --level S-4 --aql major=0.65 --out plan
  inspect lot plan 31 --size 500 --record bench.db --by 'inspector 2'
  inspect lot plan 31 --anew --limits limits.yaml --why 'dust from 0.2 mm' --by 'inspector 2' --record bench.db`

func newLotPlanCommand(r *cli.Database) *cobra.Command {
	o := lotPlanOptions{Database: r}
	cmd := &cobra.Command{
		Use:                   "plan [LOT] --size N",
		Short:                 "What is looked at, what is accepted, what that lets through; opens a lot",
		Long:                  lotPlanHelp,
		Example:               lotPlanExamples,
		DisableFlagsInUseLine: true,
		Args:                  flags.WrongUsage(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runLotPlan(cmd.Context(), o, args, cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.IntVar(&o.size, "size", 0, "units in the lot, 2 or more")
	f.StringVar(&o.level, "level", "", "inspection level: S-1 to S-4, I, II, III (default: the station file's)")
	f.StringArrayVar(&o.aqls, "aql", nil, "another AQL for a class: CLASS=AQL, as in major=0.65")
	f.StringArrayVar(&o.modes, "mode", nil, "normal, tightened or reduced in place of what is due; CLASS=MODE for one class")
	f.StringVar(&o.product, "product", "", "product that the lot is of (default: the station file's)")
	f.StringVar(&o.stage, "stage", "", "trim, wet or cured (default: the station file's)")
	f.StringVar(&o.limits, "limits", "", "file with the limits that units are judged by (default: the built-in ones)")
	f.StringVar(&o.by, "by", "", "who opens the lot")
	f.StringVar(&o.why, "why", "", "why another mode is set, or why the plan starts anew")
	f.StringVar(&o.resume, "resume", "", "what was put right, where inspection was discontinued")
	f.StringVar(&o.irregular, "irregular", "", "why production is not steady: ends reduced inspection")
	f.BoolVar(&o.anew, "anew", false, "start the plan of LOT anew")
	f.BoolVar(&o.again, "again", false, "present the refused and screened LOT again")
	flags.Sheet(&o.SheetOptions, cmd)
	return cmd
}

// runLotPlan shows what a plan does, or opens a lot with it.
func runLotPlan(ctx context.Context, o lotPlanOptions, args []string, stdout io.Writer) error {
	name := ""
	if len(args) == 1 {
		name = args[0]
	}
	if name == "" && (o.anew || o.again) {
		return cli.Usagef("--anew and --again are for a lot: name it")
	}
	if o.anew && o.again {
		return cli.Usagef("--anew is for a lot that is not decided, --again for a refused one: give one of them")
	}
	st, err := config.LoadStation(o.Station)
	if err != nil {
		return cli.UsageError{Err: err}
	}
	store, err := o.openFor(ctx, name, st)
	if err != nil {
		return err
	}
	var history []lots.Event
	if store != nil {
		defer store.Close()
		if history, err = lotHistory(ctx, store); err != nil {
			return err
		}
	}
	var book *lotBook
	if name != "" {
		if book, err = openLotBook(ctx, store, name); err != nil {
			return err
		}
		o.signed = true
		o.inherit(&book.lot)
	}
	opening, said, err := o.opening(st.Lots, history)
	if err != nil {
		return err
	}
	if book != nil {
		if err := o.write(ctx, book, opening); err != nil {
			return err
		}
	}
	p := lotPlan{name: name, opening: opening, said: said, written: book != nil}
	return o.SheetOptions.Write("lot-plan", p.sheet(), p.numbers(), stdout)
}

// openFor opens the records: with a lot's name they are needed, and made where
// they are missing; else they only tell which mode is due, and may be absent.
func (o *lotPlanOptions) openFor(ctx context.Context, name string, st config.Station) (*records.Store, error) {
	url := o.URL
	if url == "" {
		url = st.Records
	}
	switch {
	case name != "" && (url == "" || url == inspection.NoRecords):
		return nil, cli.Usagef("say where lot %s is kept: --record, or a --station file whose key records names a database", name)
	case name != "":
		return records.Open(ctx, url, time.Now)
	case o.URL == "" || url == inspection.NoRecords:
		return nil, nil
	}
	return records.OpenExisting(ctx, url, time.Now)
}

// inherit takes over from a lot that is there what its new plan does not say.
func (o *lotPlanOptions) inherit(l *lots.Lot) {
	r := l.Current()
	if r == nil || !o.anew && !o.again {
		return
	}
	if o.size == 0 {
		o.size = r.Opening.Size
		if o.again && r.Disposal != nil {
			o.size -= r.Disposal.Removed
		}
	}
	for _, w := range []struct{ to, from *string }{{&o.level, (*string)(&r.Opening.Level)}, {&o.product, &r.Opening.Product}, {&o.stage, (*string)(&r.Opening.Stage)}} {
		if *w.to == "" {
			*w.to = *w.from
		}
	}
}

func (o *lotPlanOptions) write(ctx context.Context, book *lotBook, opening lots.Opening) error {
	return book.step(ctx, func(l *lots.Lot, now time.Time) (lots.Event, error) {
		switch {
		case o.anew:
			return l.Replan(opening, now, o.by)
		case o.again:
			return l.Resubmit(opening, now, o.by)
		}
		return l.Open(opening, now, o.by)
	})
}

// opening makes the plan of a lot from the settings, and from what the decided lots
// before it say. said is what happened to switching at the last lot, a sentence
// each.
func (o *lotPlanOptions) opening(set config.Lots, history []lots.Event) (lots.Opening, []string, error) {
	out := lots.Opening{Size: o.size, Product: cli.First(o.product, set.Product), Stage: part.Stage(cli.First(o.stage, set.Stage)), Level: lots.Level(cli.First(o.level, set.Level)),
		Standard: lots.Standard(set.Standard), Edition: lots.Edition, Why: o.why, Resume: o.resume, Irregular: o.irregular, Rules: lotRules(set)}
	if _, err := part.ParseStage(string(out.Stage)); err != nil {
		return out, nil, cli.Usagef("--%w", err)
	}
	_, err := lots.Letter(out.Size, out.Level)
	if err != nil {
		return out, nil, lotError(err)
	}
	if out.Limits, out.LimitsName, err = limitsInForce(o.limits); err != nil {
		return out, nil, err
	}
	classes, err := o.classes(set)
	if err != nil {
		return out, nil, err
	}
	states, said, err := dueStates(history, out, classes)
	if err != nil {
		return out, nil, lotError(err)
	}
	modes, chosen, err := o.chosenModes(states, classes)
	if err != nil {
		return out, nil, err
	}
	plans, err := lots.PlanLot(out.Size, out.Level, classes, modes)
	if err != nil {
		return out, nil, lotError(err)
	}
	for _, p := range plans {
		planned := lots.Planned{ClassPlan: p, Switching: states[p.Severity]}
		if chosen[p.Severity] {
			planned.ChosenBy = o.by
		}
		out.Classes = append(out.Classes, planned)
	}
	return out, said, nil
}

// dueStates is the state of switching of each class at the opening of a lot.
func dueStates(history []lots.Event, o lots.Opening, classes []lots.Class) (map[part.Severity]lots.Switching, []string, error) {
	states := map[part.Severity]lots.Switching{}
	var said []string
	for _, c := range classes {
		if c.Zero { // never switched
			states[c.Severity] = lots.Switching{Rules: o.Rules, Mode: lots.Normal}
			continue
		}
		s, told, err := lots.History(history, o.Product, c.Severity, o.Rules)
		if err != nil {
			return nil, nil, err
		}
		var words []string
		if o.Resume != "" && s.Discontinued {
			if s, words, err = s.Resume(o.Resume); err != nil {
				return nil, nil, err
			}
		} else if o.Irregular != "" && s.Mode == lots.Reduced {
			if s, words, err = s.ToNormal(o.Irregular); err != nil {
				return nil, nil, err
			}
		} else if n := len(told); n > 0 && s.Mode != lots.Normal {
			words = []string{fmt.Sprintf("%s (lot %s)", told[n-1].Text, told[n-1].Lot)}
		}
		for _, w := range words {
			said = append(said, fmt.Sprintf("%s: %s", c.Severity, w))
		}
		states[c.Severity] = s
	}
	return states, said, nil
}

// chosenModes is the mode of each class: what is due, unless a person sets another.
func (o *lotPlanOptions) chosenModes(due map[part.Severity]lots.Switching, classes []lots.Class) (map[part.Severity]lots.Mode, map[part.Severity]bool, error) {
	modes, chosen := map[part.Severity]lots.Mode{}, map[part.Severity]bool{}
	for class, s := range due {
		modes[class] = s.Mode
		if o.again && s.Mode == lots.Reduced {
			modes[class] = lots.Normal // a lot is not presented again on reduced inspection
		}
	}
	for _, m := range o.modes {
		class, mode, one := strings.Cut(m, "=")
		if !one {
			class, mode = "", m
		}
		if !slices.Contains(lots.Modes, lots.Mode(mode)) {
			return nil, nil, cli.Usagef("--mode %s: use normal, tightened or reduced, or CLASS=MODE", m)
		}
		if _, ok := modes[part.Severity(class)]; one && !ok {
			return nil, nil, cli.Usagef("--mode %s: there is no class %s", m, class)
		}
		for _, k := range classes {
			c := k.Severity
			switch {
			case one && string(c) != class || !one && k.Zero:
			case k.Zero:
				return nil, nil, cli.Usagef("--mode %s: the class %s accepts none, and is not switched", m, c)
			default:
				chosen[c] = modes[c] != lots.Mode(mode)
				modes[c] = lots.Mode(mode)
			}
		}
	}
	if o.signed && slices.Contains(slices.Collect(maps.Values(chosen)), true) && (o.by == "" || o.why == "") {
		return nil, nil, cli.Usagef("another mode than the one that is due is set by a person, with a reason: --by NAME --why WHY")
	}
	return modes, chosen, nil
}

// classes are the station's classes with the command line's AQLs.
func (o *lotPlanOptions) classes(set config.Lots) ([]lots.Class, error) {
	classes := lotClasses(set)
	for _, a := range o.aqls {
		class, number, ok := strings.Cut(a, "=")
		aql, err := strconv.ParseFloat(number, 64)
		if !ok || err != nil {
			return nil, cli.Usagef("--aql %s: write CLASS=AQL, as in major=0.65", a)
		}
		i := slices.IndexFunc(classes, func(c lots.Class) bool { return string(c.Severity) == class })
		if i < 0 {
			return nil, cli.Usagef("--aql %s: there is no class %s", a, class)
		}
		classes[i].AQL, classes[i].Zero, classes[i].Limit, classes[i].Risk = aql, false, 0, 0
	}
	return classes, nil
}

func lotClasses(set config.Lots) []lots.Class {
	var out []lots.Class
	for _, c := range set.Classes {
		k := lots.Class{Severity: part.Severity(c.Severity), AQL: c.AQL, PerHundred: c.Count == "findings", Zero: c.Accept == "none", Limit: c.LimitPercent / 100, Risk: c.Risk}
		for _, s := range c.Covers {
			k.Covers = append(k.Covers, part.Severity(s))
		}
		out = append(out, k)
	}
	return out
}

func lotRules(set config.Lots) lots.Rules {
	r := lots.Rules{Standard: lots.Standard(set.Standard), ReducedAgreed: set.Reduced != "no", LimitWaived: set.Reduced == "agreed-without-limit-number"}
	if set.LimitNumber >= 0 {
		r.LimitNumber = &set.LimitNumber
	}
	return r
}

// limitsInForce is the SHA-256 and the name of a limits file, as inspections
// record it; with the path "" of the built-in limits.
func limitsInForce(path string) (sum, name string, err error) {
	if _, err := config.LoadLimits(path); err != nil {
		return "", "", cli.UsageError{Err: err}
	}
	t, err := inspection.SettingsText(path, "limits.yaml (shipped)", configs.LimitsYAML)
	if err != nil {
		return "", "", err
	}
	h := sha256.Sum256(t.Bytes)
	return hex.EncodeToString(h[:]), t.Name, nil
}
