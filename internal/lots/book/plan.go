package book

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/inspection"
	"finishbench/internal/lots"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// PlanOptions are the flags of lot plan.
type PlanOptions struct {
	*cli.Database
	cli.SheetOptions
	Size              int
	Level, Product    string
	Stage, Limits     string
	AQLs, Modes       []string
	By, Why           string
	Resume, Irregular string
	Anew, Again       bool
	signed            bool // the plan goes on record
}

// RunPlan shows what a plan does, or opens a lot with it.
func RunPlan(ctx context.Context, o PlanOptions, args []string, stdout io.Writer) error {
	l, err := cli.Language(o.Language)
	if err != nil {
		return err
	}
	name := ""
	if len(args) == 1 {
		name = args[0]
	}
	if name == "" && (o.Anew || o.Again) {
		return cli.Usagef("--anew and --again are for a lot: name it")
	}
	if o.Anew && o.Again {
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
	var history []part.Entry
	if store != nil {
		defer store.Close()
		if history, err = History(ctx, store); err != nil {
			return err
		}
	}
	var book *Book
	if name != "" {
		if book, err = Open(ctx, store, name); err != nil {
			return err
		}
		o.signed = true
		o.inherit(&book.Lot)
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
	return o.SheetOptions.Write("lot-plan", p.sheet(sheetWords{l}), p.numbers(), stdout)
}

// openFor opens the records: with a lot's name they are needed, and made where
// they are missing; else they only tell which mode is due, and may be absent.
func (o *PlanOptions) openFor(ctx context.Context, name string, st config.Station) (*records.Store, error) {
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
func (o *PlanOptions) inherit(l *lots.Lot) {
	r := l.Current()
	if r == nil || !o.Anew && !o.Again {
		return
	}
	if o.Size == 0 {
		o.Size = r.Opening.Size
		if o.Again {
			o.Size -= r.LeftOut()
		}
	}
	for _, w := range []struct{ to, from *string }{{&o.Level, (*string)(&r.Opening.Level)}, {&o.Product, &r.Opening.Product},
		{&o.Stage, (*string)(&r.Opening.Stage)}} {
		if *w.to == "" {
			*w.to = *w.from
		}
	}
}

func (o *PlanOptions) write(ctx context.Context, book *Book, opening lots.Opening) error {
	return book.Step(ctx, func(l *lots.Lot, now time.Time) (part.Entry, error) {
		switch {
		case o.Anew:
			return l.Replan(opening, now, o.By)
		case o.Again:
			return l.Resubmit(opening, now, o.By)
		}
		return l.Open(opening, now, o.By)
	})
}

// opening makes the plan of a lot from the settings, and from what the decided lots
// before it say. said is what happened to switching at the last lot, a sentence
// each.
func (o *PlanOptions) opening(set config.Lots, history []part.Entry) (lots.Opening, []part.Phrase, error) {
	out := lots.Opening{Size: o.Size, Product: cli.First(o.Product, set.Product), Stage: part.Stage(cli.First(o.Stage, set.Stage)),
		Level:    lots.Level(cli.First(o.Level, set.Level)),
		Standard: lots.Standard(set.Standard), Edition: lots.Edition, Why: o.Why, Resume: o.Resume, Irregular: o.Irregular,
		Rules:      lotRules(set),
		NotPassing: part.Severity(set.NotPassing)}
	if _, err := part.ParseStage(string(out.Stage)); err != nil {
		return out, nil, cli.Usagef("--%w", err)
	}
	_, err := lots.Letter(out.Size, out.Level)
	if err != nil {
		return out, nil, lotError(err)
	}
	if out.Limits, out.LimitsName, err = limitsInForce(o.Limits); err != nil {
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
			planned.ChosenBy = o.By
		}
		out.Classes = append(out.Classes, planned)
	}
	return out, said, nil
}

// dueStates is the state of switching of each class at the opening of a lot.
func dueStates(history []part.Entry, o lots.Opening, classes []lots.Class) (map[part.Severity]lots.Switching, []part.Phrase, error) {
	states := map[part.Severity]lots.Switching{}
	var said []part.Phrase
	for _, c := range classes {
		if c.Zero { // never switched
			states[c.Severity] = lots.Switching{Rules: o.Rules, Mode: lots.Normal}
			continue
		}
		s, notes, err := lots.History(history, o.Product, c.Severity, o.Rules)
		if err != nil {
			return nil, nil, err
		}
		var words []part.Phrase
		if o.Resume != "" && s.Discontinued {
			if s, words, err = s.Resume(o.Resume); err != nil {
				return nil, nil, err
			}
		} else if o.Irregular != "" && s.Mode == lots.Reduced {
			if s, words, err = s.ToNormal(o.Irregular); err != nil {
				return nil, nil, err
			}
		} else if n := len(notes); n > 0 && s.Mode != lots.Normal {
			words = []part.Phrase{ofLot(notes[n-1])}
		}
		for _, w := range words {
			said = append(said, part.Say("lot.switch.told", "severity", "@severity."+string(c.Severity)).With("told", w))
		}
		states[c.Severity] = s
	}
	return states, said, nil
}

// ofLot is what switching did, with the lot at which it did.
func ofLot(s lots.Said) part.Phrase {
	return part.Say("lot.switch.of_lot", "lot", s.Lot).With("told", s.Phrase)
}

// chosenModes is the mode of each class: what is due, unless a person sets another.
func (o *PlanOptions) chosenModes(due map[part.Severity]lots.Switching, classes []lots.Class) (map[part.Severity]lots.Mode,
	map[part.Severity]bool, error) {
	modes, chosen := map[part.Severity]lots.Mode{}, map[part.Severity]bool{}
	for class, s := range due {
		modes[class] = s.Mode
		if o.Again && s.Mode == lots.Reduced {
			modes[class] = lots.Normal // a lot is not presented again on reduced inspection
		}
	}
	for _, m := range o.Modes {
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
	if o.signed && slices.Contains(slices.Collect(maps.Values(chosen)), true) && (o.By == "" || o.Why == "") {
		return nil, nil, cli.Usagef("another mode than the one that is due is set by a person, with a reason: --by NAME --why WHY")
	}
	return modes, chosen, nil
}

// classes are the station's classes with the command line's AQLs.
func (o *PlanOptions) classes(set config.Lots) ([]lots.Class, error) {
	classes := Classes(set)
	for _, a := range o.AQLs {
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

// Classes are the classes of defects that a station file sets, in its order.
func Classes(set config.Lots) []lots.Class {
	var out []lots.Class
	for _, c := range set.Classes {
		k := lots.Class{Severity: part.Severity(c.Severity), AQL: c.AQL, PerHundred: c.Count == "findings", Zero: c.Accept == "none",
			Limit: c.LimitPercent / 100, Risk: c.Risk}
		for _, s := range c.Covers {
			k.Covers = append(k.Covers, part.Severity(s))
		}
		out = append(out, k)
	}
	return out
}

func lotRules(set config.Lots) lots.Rules {
	r := lots.Rules{Standard: lots.Standard(set.Standard), ReducedAgreed: set.Reduced != "no",
		LimitWaived: set.Reduced == "agreed-without-limit-number"}
	if set.LimitNumber >= 0 {
		r.LimitNumber = &set.LimitNumber
	}
	return r
}

// limitsInForce is the SHA-256 and the name of a limits file, as inspections
// record it; with the path "" of the built-in limits.
func limitsInForce(path string) (sum, name string, err error) {
	_, t, err := config.ReadLimits(path)
	if err != nil {
		return "", "", cli.UsageError{Err: err}
	}
	h := sha256.Sum256(t.Bytes)
	return hex.EncodeToString(h[:]), t.Name, nil
}
