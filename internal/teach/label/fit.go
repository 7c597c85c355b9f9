package label

import (
	"context"
	"io"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/lang"
	"finishbench/internal/learn"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/teach"
	"finishbench/internal/teach/book"
)

// FitOptions are the labels that a model is fitted to, and how.
type FitOptions struct {
	cli.SheetOptions
	By
	Labels string
}

// RunFit fits a model to labels and says what it is worth.
func RunFit(ctx context.Context, r cli.Database, o FitOptions, now time.Time, stdout io.Writer) (err error) {
	x, err := cli.Language(o.Language)
	if err != nil {
		return err
	}
	var store *records.Store
	if r.URL != "" || r.Station != "" || o.Labels == "" {
		if store, err = r.Open(ctx); err != nil {
			return err
		}
		defer store.Close()
	} else if o.Out == "" {
		return cli.Usagef("say where the model goes: --out, or --record with a database")
	}
	var by teach.Person
	if store != nil {
		if by, err = o.find(ctx, store); err != nil {
			return err
		}
	}
	set, err := o.examples(ctx, store)
	if err != nil {
		return err
	}
	old, err := inspection.ChooseKindModel(ctx, "", store)
	if err != nil {
		return err
	}
	q := learn.Request{Examples: set.Examples, Params: learn.DefaultParams(), Made: now, From: set.from}
	if old != nil {
		q.Old = old.Model.Caller()
	}
	out, err := learn.Learn(q)
	if err != nil {
		return err
	}
	sheet := learnSheet{x: x, set: &set, o: &out, p: q.Params, old: old, now: now}
	if store != nil {
		sheet.crop = inspection.CropsFrom(ctx, store)
	}
	if out.Model != nil {
		if sheet.fitted, err = o.keep(ctx, store, by, out.Model); err != nil {
			return err
		}
		sheet.inRecords = store != nil
	}
	if err := o.Write("learn", sheet.sheet(), newLearnJSON(&out, sheet.fitted), stdout); err != nil {
		return err
	}
	if out.Model == nil {
		return cli.ExitCode(cli.ExitFails)
	}
	return nil
}

func (o FitOptions) examples(ctx context.Context, store *records.Store) (Set, error) {
	if o.Labels != "" {
		return tableExamples(o.Labels)
	}
	return RecordedExamples(ctx, store)
}

// keep keeps a fitted model in the records and as a file, where told to.
func (o FitOptions) keep(ctx context.Context, store *records.Store, by teach.Person, m *learn.Model) (*inspection.KindModel, error) {
	k, err := inspection.NewKindModel(m)
	if err != nil {
		return nil, err
	}
	file, err := m.Encode()
	if err != nil {
		return nil, err
	}
	if o.Out != "" {
		dir, err := cli.OpenOut(o.Out)
		if err == nil {
			err = dir.ReplaceFile("model.json", file)
		}
		if err != nil {
			return nil, err
		}
	}
	if store == nil {
		return k, nil
	}
	id, err := book.KeepPerson(ctx, store, by)
	if err != nil {
		return nil, err
	}
	err = store.KeepModel(ctx, records.KeptModel{Name: k.Name, SHA256: k.Sum, JSON: file, By: id})
	return k, err
}

// FitJSON is what fit writes with --json.
type FitJSON struct {
	Refused  []string         `json:"refused,omitempty"`
	Why      []part.Phrase    `json:"refused_phrases,omitempty"` // the same, to be told in any language
	Name     string           `json:"model,omitempty"`
	SHA256   string           `json:"sha256,omitempty"`
	Labels   int              `json:"labels"`
	Units    int              `json:"units"`
	Counts   []learnCountJSON `json:"counts"`
	Trial    *learnTrialJSON  `json:"trial,omitempty"`
	Disagree int              `json:"contradictory_labels"`
	Alike    int              `json:"alike_but_labelled_otherwise"`
	Warnings []string         `json:"warnings,omitempty"`
	Phrases  []part.Phrase    `json:"warning_phrases,omitempty"`
}

type learnCountJSON struct {
	learn.KindCount
	Missing string       `json:"missing,omitempty"`
	Phrase  *part.Phrase `json:"missing_phrase,omitempty"`
}

type learnTrialJSON struct {
	learn.TestSummary
	Kinds   []string          `json:"kinds"`
	Old     [][]int           `json:"old"` // rows: labels; columns: calls
	New     [][]int           `json:"new"`
	Changes []learnChangeJSON `json:"changes"`
}

type learnChangeJSON struct {
	Unit       string  `json:"unit"`
	Place      string  `json:"place"`
	Label      string  `json:"label"`
	Old        string  `json:"old"`
	New        string  `json:"new"`
	Confidence float64 `json:"confidence"`
}

func newLearnJSON(o *learn.Outcome, k *inspection.KindModel) FitJSON {
	en := lang.English()
	j := FitJSON{Refused: en.SayAll(o.Refused), Why: o.Refused, Labels: o.Used, Units: o.Units, Counts: []learnCountJSON{},
		Disagree: len(o.Disagree), Alike: len(o.Alike), Warnings: en.SayAll(o.Warnings), Phrases: o.Warnings}
	if k != nil {
		j.Name, j.SHA256 = k.Name, k.Sum
	}
	for _, c := range o.Counts {
		k := learnCountJSON{KindCount: c}
		if p := c.Missing(learn.DefaultParams()); p.Key != "" {
			k.Missing, k.Phrase = en.Say(&p), &p
		}
		j.Counts = append(j.Counts, k)
	}
	if t := o.Trial; t != nil {
		j.Trial = &learnTrialJSON{TestSummary: t.Summary(), Old: t.Old, New: t.New, Changes: []learnChangeJSON{}}
		for _, k := range t.Kinds {
			j.Trial.Kinds = append(j.Trial.Kinds, string(k))
		}
		for _, c := range t.Changes {
			j.Trial.Changes = append(j.Trial.Changes, learnChangeJSON{c.Example.Unit, c.Example.Place, string(c.Example.Kind),
				string(c.Old), string(c.New), c.Confidence})
		}
	}
	return j
}
