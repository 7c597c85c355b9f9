package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/learn"
	"finishbench/internal/records"
	"finishbench/internal/teach"
)

const learnHelp = `learn fits the calling of kinds to what people say that findings are. It changes
nothing by itself: a model that was fitted is kept, and in force only from when
someone accepts it; going back is one command.

  inspect learn label   say what a finding is
  inspect learn fit     fit a model to all labels, and try it on units left out
  inspect learn accept  put a model in force
  inspect learn back    go back to what was in force before
  inspect learn list    all models, and when each was in force
  inspect learn show    one model, as JSON
  inspect learn table   the labelled findings with their features, as CSV

'inspect unit' and 'inspect bench' use the model in force of the records that they
write to, and name it in each result. Whoever gives labels or accepts a model is
told by initials or badge. What a trainer confirmed of a unit for blind tests
('inspect quiz confirm') counts as labels too.`

const learnExit = `EXIT STATUS
  0    done
  3    fit: refused; nothing was kept
  1    it could not be done
  2    wrong usage; nothing was done`

// newLearnCommand is 'inspect learn'.
func newLearnCommand() *cobra.Command {
	var o cli.Database
	cmd := &cobra.Command{
		Use:   "learn",
		Short: "Fit the calling of kinds to what people say",
		Long:  learnHelp + "\n\n" + learnExit,
		Args:  flags.WrongUsage(cobra.NoArgs),
		RunE: func(*cobra.Command, []string) error {
			return cli.Usagef("say what to do: learn label, fit, accept, back, list, show or table (see 'inspect learn --help')")
		},
	}
	f := cmd.PersistentFlags()
	f.StringVar(&o.URL, "record", "", "the database: a SQLite file, or postgres://USER@HOST/DATABASE")
	f.StringVar(&o.Station, "station", "", "station file that names the database")
	cmd.AddCommand(newLearnLabelCommand(&o), newLearnFitCommand(&o), newLearnAcceptCommand(&o), newLearnBackCommand(&o), newLearnListCommand(&o), newLearnShowCommand(&o), newLearnTableCommand(&o))
	return cmd
}

// learnBy says who does something.
type learnBy struct{ initials, badge string }

func learnByFlags(b *learnBy, cmd *cobra.Command) {
	cmd.Flags().StringVar(&b.initials, "by", "", "who does this: initials")
	cmd.Flags().StringVar(&b.badge, "badge", "", "and badge, or the badge alone; - where others have the same initials and you have none")
}

// find finds whoever does something; someone new has no id yet, see [keepPerson].
func (b learnBy) find(ctx context.Context, s *records.Store) (teach.Person, error) {
	known, err := knownPeople(ctx, s)
	if err != nil {
		return teach.Person{}, err
	}
	p, err := teach.Who(b.initials, b.badge, known)
	if errors.Is(err, teach.ErrWho) {
		return p, cli.Usagef("say who does this: --by INITIALS, or --badge")
	} else if err != nil {
		return p, cli.UsageError{Err: err}
	}
	return p, nil
}

// person is the id of whoever does something; it adds people who are new.
func (b learnBy) person(ctx context.Context, s *records.Store) (string, error) {
	p, err := b.find(ctx, s)
	if err != nil {
		return "", err
	}
	return keepPerson(ctx, s, p)
}

func newLearnAcceptCommand(o *cli.Database) *cobra.Command {
	var by learnBy
	cmd := &cobra.Command{
		Use:     "accept MODEL --by INITIALS",
		Short:   "Put a model in force",
		Long:    "accept puts a model that 'inspect learn fit' kept in force, from the next unit on.",
		Example: "  inspect learn accept 2026-03-02-1f6c0a9d --by AK --record bench.db",
		Args:    flags.OneArg("name the model: 'inspect learn list' lists them"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runLearnAccept(cmd.Context(), *o, by, args[0], cmd.OutOrStdout())
		},
	}
	learnByFlags(&by, cmd)
	return cmd
}

// runLearnAccept puts a model into force.
func runLearnAccept(ctx context.Context, o cli.Database, by learnBy, name string, stdout io.Writer) error {
	s, err := o.Open(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	kept, err := findModel(ctx, s, name)
	if err != nil {
		return err
	}
	if _, err := inspection.KeptKindModel(kept); err != nil {
		return err
	}
	id, err := by.person(ctx, s)
	if err != nil {
		return err
	}
	if err := s.AcceptModel(ctx, kept.Name, id); err != nil {
		return err
	}
	_, err = fmt.Fprintf(stdout, "%s: model %s is in force from the next unit on; 'inspect learn back' goes back\n", s.Where(), kept.Name)
	return err
}

// findModel finds a kept model by its name or the beginning of it.
func findModel(ctx context.Context, s *records.Store, name string) (*records.KeptModel, error) {
	all, err := s.Models(ctx)
	if err != nil {
		return nil, err
	}
	var found []records.KeptModel
	for _, m := range all {
		if m.Name == name {
			return &m, nil
		}
		if name != "" && strings.HasPrefix(m.Name, name) {
			found = append(found, m)
		}
	}
	switch len(found) {
	case 1:
		return &found[0], nil
	case 0:
		return nil, cli.Usagef("%s has no model %q: 'inspect learn list' lists them", s.Where(), name)
	}
	return nil, cli.Usagef("%q is the beginning of %d models' names: give more of it", name, len(found))
}

func newLearnBackCommand(o *cli.Database) *cobra.Command {
	var by learnBy
	cmd := &cobra.Command{
		Use:     "back --by INITIALS",
		Short:   "Go back to what was in force before",
		Long:    "back puts in force what was before the model that is: the one before it, or the rules\nalone. Results that were written keep their calls, and name the model that made\nthem.",
		Example: "  inspect learn back --by AK --record bench.db",
		Args:    flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runLearnBack(cmd.Context(), *o, by, cmd.OutOrStdout())
		},
	}
	learnByFlags(&by, cmd)
	return cmd
}

// runLearnBack goes back to the model before.
func runLearnBack(ctx context.Context, o cli.Database, by learnBy, stdout io.Writer) error {
	s, err := o.Open(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	id, err := by.person(ctx, s)
	if err != nil {
		return err
	}
	to, err := s.BackModel(ctx, id)
	if err != nil {
		return err
	}
	what := "the rules alone call kinds"
	if to != "" {
		what = "model " + to + " is in force"
	}
	_, err = fmt.Fprintf(stdout, "%s: %s from the next unit on\n", s.Where(), what)
	return err
}

func newLearnListCommand(o *cli.Database) *cobra.Command {
	return &cobra.Command{
		Use:     "list",
		Short:   "All models, and when each was in force",
		Long:    "list lists all models that were fitted, and when each was in force.",
		Example: "  inspect learn list --record bench.db",
		Args:    flags.WrongUsage(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runLearnList(cmd.Context(), *o, cmd.OutOrStdout())
		},
	}
}

// runLearnList lists the models that were kept.
func runLearnList(ctx context.Context, o cli.Database, stdout io.Writer) error {
	s, err := o.Open(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	all, err := s.Models(ctx)
	if err != nil {
		return err
	}
	if len(all) == 0 {
		_, err := fmt.Fprintf(stdout, "%s has no model: the rules alone call kinds\n", s.Where())
		return err
	}
	who, err := peopleWords(ctx, s)
	if err != nil {
		return err
	}
	w := tabwriter.NewWriter(stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "model\tfitted (UTC)\tby\tlabels\tright before\tafter\tin force")
	for _, k := range all {
		var m learn.Model
		if err := json.Unmarshal(k.JSON, &m); err != nil {
			return fmt.Errorf("model %s of the records cannot be read: %w", k.Name, err)
		}
		before, after := "", ""
		if t := m.Test; t != nil && t.Labels > 0 {
			before, after = cli.ShownShare(float64(t.OldRight)/float64(t.Labels)), cli.ShownShare(float64(t.NewRight)/float64(t.Labels))
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%d\t%s\t%s\t%s\n", k.Name, k.At.Format(time.DateTime), who(k.By), m.Labels, before, after, usesText(k, who))
	}
	if !slices.ContainsFunc(all, func(k records.KeptModel) bool { return k.InForce }) {
		fmt.Fprintln(w, "\nThe rules alone call kinds: no model is in force.")
	}
	return w.Flush()
}

func usesText(k records.KeptModel, who func(string) string) string {
	var times []string
	for _, u := range k.Uses {
		if u.Until.IsZero() {
			times = append(times, fmt.Sprintf("since %s (%s)", u.From.Format(time.DateTime), who(u.By)))
			continue
		}
		times = append(times, fmt.Sprintf("%s (%s) to %s (%s)", u.From.Format(time.DateTime), who(u.By), u.Until.Format(time.DateTime), who(u.LeftBy)))
	}
	return cli.Or(strings.Join(times, ", "), "never")
}

func newLearnShowCommand(o *cli.Database) *cobra.Command {
	return &cobra.Command{
		Use:   "show [MODEL]",
		Short: "One model, as JSON",
		Long: `show writes a model as JSON: what it was fitted to, its test, and each weight. Without
MODEL it is the one in force. 'inspect unit --kind-model FILE' uses such a file
where there are no records.`,
		Example: "  inspect learn show --record bench.db > model.json",
		Args:    flags.WrongUsage(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runLearnShow(cmd.Context(), *o, args, cmd.OutOrStdout())
		},
	}
}

// runLearnShow shows a model, the one in force where none is named.
func runLearnShow(ctx context.Context, o cli.Database, args []string, stdout io.Writer) error {
	s, err := o.Open(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	var kept *records.KeptModel
	if len(args) == 1 {
		kept, err = findModel(ctx, s, args[0])
	} else {
		kept, err = s.ModelInForce(ctx)
	}
	if err != nil {
		return err
	}
	if kept == nil {
		return cli.Usagef("no model is in force at %s, the rules alone call kinds: name a model ('inspect learn list' lists them)", s.Where())
	}
	m, err := learn.Decode(kept.JSON)
	if err != nil {
		var raw bytes.Buffer // of another form: it is shown all the same
		if json.Indent(&raw, kept.JSON, "", "  ") != nil {
			return err
		}
		_, err = fmt.Fprintln(stdout, raw.String())
		return err
	}
	b, err := m.Encode()
	if err != nil {
		return err
	}
	_, err = stdout.Write(b)
	return err
}
