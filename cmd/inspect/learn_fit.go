package main

import (
	"context"
	"io"
	"time"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/learn"
	"finishbench/internal/records"
	"finishbench/internal/teach"
)

const learnFitHelp = `fit fits a model to all labels of the records (or to those of a table, --labels),
after it has tried it: the units are dealt into groups, each group's findings are
called by a model that was fitted to the others, and the calls are set beside those
of now. It refuses where there are too few labels, saying how many more of which
kind, and where nothing is gained beyond chance. Labels that contradict each other
are told.

The model starts from the rules: with few labels it calls what they call. It is
kept in the records, and in force only from 'inspect learn accept' on. With --out it
is also written to OUT/model.json, for 'inspect unit --kind-model', beside the page
OUT/learn.html with what would be called differently.`

// learnFitOptions are the labels that a model is fitted to, and how.
type learnFitOptions struct {
	cli.SheetOptions
	learnBy
	labels string
}

func newLearnFitCommand(r *cli.Database) *cobra.Command {
	var o learnFitOptions
	cmd := &cobra.Command{
		Use:   "fit",
		Short: "Fit a model to all labels, and try it on units left out",
		Long:  learnFitHelp + "\n\n" + learnExit,
		Example: `  inspect learn fit --record bench.db --by AK --out learned
  inspect learn fit --labels labels.csv --out learned`,
		DisableFlagsInUseLine: true,
		Args:                  flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runLearnFit(cmd.Context(), *r, o, time.Now(), cmd.OutOrStdout())
		},
	}
	cmd.Flags().StringVar(&o.labels, "labels", "", "table of labelled findings, as 'inspect learn table' writes it (default: the labels of the records)")
	learnByFlags(&o.learnBy, cmd)
	flags.Sheet(&o.SheetOptions, cmd)
	return cmd
}

// runLearnFit fits a model to labels and says what it is worth.
func runLearnFit(ctx context.Context, r cli.Database, o learnFitOptions, now time.Time, stdout io.Writer) (err error) {
	var store *records.Store
	if r.URL != "" || r.Station != "" || o.labels == "" {
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
	q := learn.Request{Examples: set.examples, Params: learn.DefaultParams(), Made: now, From: set.from}
	if old != nil {
		q.Old = old.Model.Caller()
	}
	out, err := learn.Learn(q)
	if err != nil {
		return err
	}
	sheet := learnSheet{set: &set, o: &out, p: q.Params, old: old, now: now}
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

func (o learnFitOptions) examples(ctx context.Context, store *records.Store) (learnSet, error) {
	if o.labels != "" {
		return tableExamples(o.labels)
	}
	return recordedExamples(ctx, store)
}

// keep keeps a fitted model in the records and as a file, where told to.
func (o learnFitOptions) keep(ctx context.Context, store *records.Store, by teach.Person, m *learn.Model) (*inspection.KindModel, error) {
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
	id, err := keepPerson(ctx, store, by)
	if err != nil {
		return nil, err
	}
	err = store.KeepModel(ctx, records.KeptModel{Name: k.Name, SHA256: k.Sum, JSON: file, By: id})
	return k, err
}

// learnJSON is what fit writes with --json.
type learnJSON struct {
	Refused  []string         `json:"refused,omitempty"`
	Name     string           `json:"model,omitempty"`
	SHA256   string           `json:"sha256,omitempty"`
	Labels   int              `json:"labels"`
	Units    int              `json:"units"`
	Counts   []learnCountJSON `json:"counts"`
	Trial    *learnTrialJSON  `json:"trial,omitempty"`
	Disagree int              `json:"contradictory_labels"`
	Alike    int              `json:"alike_but_labelled_otherwise"`
	Warnings []string         `json:"warnings,omitempty"`
}

type learnCountJSON struct {
	learn.KindCount
	Missing string `json:"missing,omitempty"`
}

type learnTrialJSON struct {
	learn.TestSummary
	Kinds   []string          `json:"kinds"`
	Old     [][]int           `json:"old"` // rows: labels; columns: calls
	New     [][]int           `json:"new"`
	Changes []learnChangeJSON `json:"changes"`
}

type learnChangeJSON struct {
	Unit  string  `json:"unit"`
	Place string  `json:"place"`
	Label string  `json:"label"`
	Old   string  `json:"old"`
	New   string  `json:"new"`
	Sure  float64 `json:"confidence"`
}

func newLearnJSON(o *learn.Outcome, k *inspection.KindModel) learnJSON {
	j := learnJSON{Refused: o.Refused, Labels: o.Used, Units: o.Units, Counts: []learnCountJSON{}, Disagree: len(o.Disagree), Alike: len(o.Alike), Warnings: o.Warnings}
	if k != nil {
		j.Name, j.SHA256 = k.Name, k.Sum
	}
	for _, c := range o.Counts {
		j.Counts = append(j.Counts, learnCountJSON{c, c.Missing(learn.DefaultParams())})
	}
	if t := o.Trial; t != nil {
		j.Trial = &learnTrialJSON{TestSummary: t.Summary(), Old: t.Old, New: t.New, Changes: []learnChangeJSON{}}
		for _, k := range t.Kinds {
			j.Trial.Kinds = append(j.Trial.Kinds, string(k))
		}
		for _, c := range t.Changes {
			j.Trial.Changes = append(j.Trial.Changes, learnChangeJSON{c.Example.Unit, c.Example.Place, string(c.Example.Kind), string(c.Old), string(c.New), c.Sure})
		}
	}
	return j
}
