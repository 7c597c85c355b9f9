package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"finishbench/cmd/inspect/flags"
	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/lots"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// lotTakeOptions are the flags of lot take.
type lotTakeOptions struct {
	*cli.Database
	run  inspection.Options
	why  string
	unit string
}

const lotTakeHelp = `take notes what was seen on the units of LOT's sample.

Without DIR it takes each unit that is still to be looked at from the records: its
latest inspection at the lot's stage that was neither withdrawn nor corrected. What
was overruled, corrected or withdrawn since it was taken is taken again.

With DIR... each folder is looked at as by 'inspect unit', recorded, and taken. A DIR
of folders stands for the folders of the drawn units in it; what was not drawn is
left alone. It may be stopped at any time: the same command goes on where it was, and
looks at no unit twice.

A unit that could not be measured counts neither way: the sample is unfinished until
it is photographed again, or replaced ('inspect lot draw --replace').`

const lotTakeExamples = `  inspect lot take 31 --record bench.db
  inspect lot take 31 pictures/lot31 --out results --station station.yaml --by 'inspector 2'
  inspect lot take 31 --unit u0412-L --why 'wiped and photographed again' --by 'inspector 2' --record bench.db`

func newLotTakeCommand(r *cli.Database) *cobra.Command {
	o := lotTakeOptions{Database: r}
	cmd := &cobra.Command{
		Use:                   "take LOT [DIR... --out OUT]",
		Short:                 "Take the units of the sample from the records, or from pictures",
		Long:                  lotTakeHelp,
		Example:               lotTakeExamples,
		DisableFlagsInUseLine: true,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return cli.Usagef("name the lot (see 'inspect lot take --help')")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			o.run.Station = cli.First(o.run.Station, o.Station)
			o.Station = o.run.Station
			return runLotTake(cmd.Context(), o, args[0], args[1:], cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.run.Record.Operator, "by", "", "who inspects")
	flags.BuiltIn(&o.run.Record, cmd)
	f.StringVar(&o.unit, "unit", "", "this unit only, taken again from its latest inspection")
	f.StringVar(&o.why, "why", "", "why it is taken again")
	flags.Run(&o.run, cmd)
	f.Lookup("stage").Usage = "trim, wet or cured (default: the lot's)"
	f.Lookup("limits").Usage = "file with the limits that the lot was opened with (default: the built-in ones)"
	f.Lookup("json").Usage = "write what was taken, and where the lot stands, as JSON"
	f.Lookup("out").Usage = "folder for the results of units whose pictures are looked at; made where it is missing"
	return cmd
}

// taken is what a run of lot take did.
type taken struct {
	Taken, Before int      // units taken now; before, of those asked for
	Again         []string // taken again, with why
	Missing       []string // drawn, but not found
	Not           []string // found, but not taken: a sentence each
	Unmeasured    []string
}

// runLotTake notes what was seen on the units of a lot's sample.
func runLotTake(ctx context.Context, o lotTakeOptions, name string, dirs []string, stdout, stderr io.Writer) error {
	book, err := openLot(ctx, o.Database, name)
	if err != nil {
		return err
	}
	defer book.store.Close()
	r := book.lot.Current()
	switch {
	case r.Drawing == nil:
		return fmt.Errorf("the sample of lot %s is not drawn yet: draw it with 'inspect lot draw %s'", name, name)
	case r.Decision != nil:
		return fmt.Errorf("lot %s is decided: nothing can be taken any more", name)
	case o.unit != "" && (len(dirs) > 0 || o.why == "" || o.run.Record.Operator == ""):
		return cli.Usagef("--unit takes one unit again from the records: give --why and --by, and no folders")
	case o.why != "" && o.unit == "":
		return cli.Usagef("--why is for --unit")
	}
	t := taken{Before: len(r.Sample) - len(r.Pending())}
	if len(dirs) > 0 {
		err = takeFolders(ctx, &o, book, &t, dirs, stdout, stderr)
	} else {
		err = takeRecords(ctx, &o, book, &t)
	}
	if err != nil && t.Taken == 0 {
		return err
	}
	if told := tellTaken(&o, book, &t, stdout); err == nil {
		err = told
	}
	return err
}

// takeRecords takes units from the records.
func takeRecords(ctx context.Context, o *lotTakeOptions, book *lotBook, t *taken) error {
	from, err := newLotSource(ctx, book.store, &book.lot)
	if err != nil {
		return err
	}
	var units []lots.Unit
	for _, p := range book.lot.Current().Sample {
		if o.unit != "" && p.Name != o.unit {
			continue
		}
		u, err := from.unit(ctx, &p)
		switch {
		case err != nil:
			return err
		case o.unit != "" && u != nil:
			u.Why = o.why
		case u == nil && p.Unit == nil && o.unit == "":
			t.Missing = append(t.Missing, p.Name)
		}
		if u != nil {
			units = append(units, *u)
		}
	}
	if o.unit != "" && len(units) == 0 {
		if book.lot.Current().Look(o.unit) == nil {
			return lotError(book.lot.MayTake(o.unit))
		}
		return fmt.Errorf("the records have no new inspection of %s that could be taken", o.unit)
	}
	return book.takeAll(ctx, units, o.run.Record.Operator, t)
}

// takeAll takes units, many at a time; what is refused is told and left out.
func (b *lotBook) takeAll(ctx context.Context, units []lots.Unit, by string, t *taken) error {
	const atOnce = 500
	for len(units) > 0 {
		n := min(len(units), atOnce)
		if err := b.takeSome(ctx, units[:n], by, t); err != nil {
			return err
		}
		units = units[n:]
	}
	return nil
}

// takeSome takes units with one entry into the records.
func (b *lotBook) takeSome(ctx context.Context, units []lots.Unit, by string, t *taken) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	for try := 1; ; try++ {
		var entries []records.Entry
		this := taken{}
		for i := range units {
			e, err := b.lot.Take(units[i], b.now(), by)
			if err != nil {
				this.Not = append(this.Not, err.Error())
				continue
			}
			if err := b.lot.Apply(e); err != nil {
				return err
			}
			entries = append(entries, lotEntry(e))
			this.note(&units[i])
		}
		err := b.store.Note(ctx, entries...)
		if err == nil {
			t.add(this)
			return nil
		}
		lot, again := foldLot(ctx, b.store, b.lot.Name) // as it is on record
		if again != nil {
			return err
		}
		if b.lot = lot; !errors.Is(err, records.ErrMeanwhile) || try == meanwhileTries {
			return err
		}
	}
}

// note counts a unit that was taken.
func (t *taken) note(u *lots.Unit) {
	t.Taken++
	if u.Why != "" {
		t.Again = append(t.Again, u.Name+": "+u.Why)
	}
	if !u.Measured() {
		t.Unmeasured = append(t.Unmeasured, u.Name)
	}
}

func (t *taken) add(more taken) {
	t.Taken += more.Taken
	t.Again = append(t.Again, more.Again...)
	t.Not = append(t.Not, more.Not...)
	t.Unmeasured = append(t.Unmeasured, more.Unmeasured...)
}

// lotSource finds the inspections of a lot's units in the records.
type lotSource struct {
	store  *records.Store
	lot    *lots.Lot
	byUnit map[string]*records.Inspection // latest that hold, recorded with the lot's name
	taken  map[int64]*records.Inspection  // those that were taken
}

func newLotSource(ctx context.Context, store *records.Store, l *lots.Lot) (*lotSource, error) {
	s := &lotSource{store: store, lot: l, byUnit: map[string]*records.Inspection{}, taken: map[int64]*records.Inspection{}}
	mine, err := s.store.Briefs(ctx, records.Filter{Lot: l.Name, Stage: l.Current().Opening.Stage})
	if err != nil {
		return nil, err
	}
	for i := range mine {
		in := &mine[i]
		if in.Holds() && s.counts(in) {
			s.byUnit[s.nameOf(in)] = in
		}
	}
	was, err := s.store.BriefsOf(ctx, takenIDs(l.Current()))
	for i := range was {
		s.taken[was[i].ID] = &was[i]
	}
	return s, err
}

// nameOf is what the lot calls an inspection's unit: with its side, unless only the
// serial stands in the lot's list.
func (s *lotSource) nameOf(in *records.Inspection) string {
	if n := part.UnitName(in.Serial, in.Side); s.lot.Current().Has(n) {
		return n
	}
	return in.Serial
}

// counts says whether an inspection is late enough: a lot that is presented again is
// looked at again.
func (s *lotSource) counts(in *records.Inspection) bool {
	r := s.lot.Current()
	return r.Kind != lots.Resubmitted || !in.Ended.Before(r.Opened.At)
}

// unit is what is to be taken of a place: nil where there is nothing, or nothing new.
func (s *lotSource) unit(ctx context.Context, p *lots.Place) (*lots.Unit, error) {
	in, err := s.latest(ctx, p.Name)
	if err != nil {
		return nil, err
	}
	why := ""
	if p.Unit != nil && p.Unit.Inspection != 0 {
		was := s.taken[p.Unit.Inspection]
		why = s.changed(p, was)
		switch {
		case why == "" && (p.Unit.Measured() || in == nil || in.ID <= p.Unit.Inspection):
			return nil, nil
		case why != "" && in == nil:
			return &lots.Unit{Name: p.Name, Stage: p.Unit.Stage, Verdict: part.NotMeasured, Limits: p.Unit.Limits, Seen: p.Unit.Seen, Why: why}, nil
		}
	}
	if in == nil {
		return nil, nil
	}
	u := lotUnit(p.Name, in)
	u.Why = why
	return &u, nil
}

// changed says what was done to an inspection since it was taken; "" for nothing
// that changes what counts.
func (s *lotSource) changed(p *lots.Place, was *records.Inspection) string {
	switch now := lotUnit(p.Name, was); {
	case was.Withdrawn != nil:
		return fmt.Sprintf("inspection %d was withdrawn%s", was.ID, byWords(was.Withdrawn.By))
	case was.CorrectedBy != 0:
		return fmt.Sprintf("inspection %d was corrected by %d", was.ID, was.CorrectedBy)
	case now.Verdict != p.Unit.Verdict && was.Overruled != nil:
		return fmt.Sprintf("inspection %d was overruled%s", was.ID, byWords(was.Overruled.By))
	}
	return ""
}

// latest is the latest inspection that a unit can be taken from; nil for none. One
// recorded without a lot counts as the lot's own.
func (s *lotSource) latest(ctx context.Context, name string) (*records.Inspection, error) {
	if in := s.byUnit[name]; in != nil {
		return in, nil
	}
	serial, side := part.SerialAndSide(name, "")
	found, err := s.store.Briefs(ctx, records.Filter{Serial: serial, Side: side, Stage: s.lot.Current().Opening.Stage, NewestFirst: true, Limit: 20})
	if err != nil {
		return nil, err
	}
	for i := range found {
		if in := &found[i]; in.Holds() && s.counts(in) && s.nameOf(in) == name {
			return in, nil // of another lot: refused with a sentence when it is taken
		}
	}
	return nil, nil
}

// tellTaken tells what was taken and where the lot stands.
func tellTaken(o *lotTakeOptions, book *lotBook, t *taken, stdout io.Writer) error {
	v := newLotView(&book.lot)
	if o.run.JSON {
		if err := cli.WriteJSON(stdout, lotTakeJSON{t.Taken, t.Before, orEmpty(t.Again), orEmpty(t.Missing), orEmpty(t.Not), orEmpty(t.Unmeasured), v.json()}); err != nil {
			return err
		}
	} else {
		fmt.Fprintf(stdout, "taken: %s, %d before\n", cli.Counted(t.Taken, "unit", "units"), t.Before)
		for _, l := range []struct {
			what string
			list []string
		}{{"taken again", t.Again}, {"not taken", t.Not}, {"could not be measured", t.Unmeasured}, {"not found", t.Missing}} {
			tellList(stdout, l.what, l.list)
		}
		v.text(stdout)
	}
	switch {
	case len(t.Not) > 0:
		return cli.ExitCode(cli.ExitOther)
	case len(t.Unmeasured) > 0:
		return cli.ExitCode(cli.ExitUnmeasured)
	}
	return nil
}

func orEmpty(s []string) []string {
	if s == nil {
		return []string{}
	}
	return s
}

// tellList writes the first entries of a list, a line each, or, where they are
// names, in one line.
func tellList(w io.Writer, what string, list []string) {
	const most = 10
	if len(list) == 0 {
		return
	}
	short := list[:min(most, len(list))]
	more := ""
	if len(list) > most {
		more = fmt.Sprintf(" and %d more", len(list)-most)
	}
	if slices.ContainsFunc(list, func(s string) bool { return strings.Contains(s, " ") }) {
		for _, s := range short {
			fmt.Fprintf(w, "%s: %s\n", what, s)
		}
		if more != "" {
			fmt.Fprintf(w, "%s:%s\n", what, more)
		}
		return
	}
	fmt.Fprintf(w, "%s: %s%s\n", what, strings.Join(short, ", "), more)
}

// lotTakeJSON is what was taken, as JSON.
type lotTakeJSON struct {
	Taken      int         `json:"taken"`
	Before     int         `json:"before"`
	Again      []string    `json:"taken_again"`
	Missing    []string    `json:"not_found"`
	Not        []string    `json:"not_taken"`
	Unmeasured []string    `json:"not_measured"`
	Lot        lotViewJSON `json:"lot"`
}
