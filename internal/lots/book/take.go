package book

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/lang"
	"finishbench/internal/lots"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// TakeOptions are the flags of lot take.
type TakeOptions struct {
	*cli.Database
	Run  inspection.Options
	Why  string
	Unit string
}

// Taken is what a run of lot take did.
type Taken struct {
	Taken, Before int      // units taken now; before, of those asked for
	Again         []string // taken again, with why
	Missing       []string // drawn, but not found
	Not           []string // found, but not taken: a sentence each
	Unmeasured    []string
}

// RunTake notes what was seen on the units of a lot's sample.
func RunTake(ctx context.Context, o TakeOptions, name string, dirs []string, stdout, stderr io.Writer) error {
	l, err := cli.Language(o.Run.Language)
	if err != nil {
		return err
	}
	x := sheetWords{l}
	book, err := openFrom(ctx, o.Database, name)
	if err != nil {
		return err
	}
	defer book.store.Close()
	r := book.Lot.Current()
	switch {
	case r.Drawing == nil:
		return fmt.Errorf("the sample of lot %s is not drawn yet: draw it with 'inspect lot draw %s'", name, name)
	case r.Decision != nil:
		return fmt.Errorf("lot %s is decided: nothing can be taken any more", name)
	case o.Unit != "" && (len(dirs) > 0 || o.Why == "" || o.Run.Record.Operator == ""):
		return cli.Usagef("--unit takes one unit again from the records: give --why and --by, and no folders")
	case o.Why != "" && o.Unit == "":
		return cli.Usagef("--why is for --unit")
	}
	t := Taken{Before: len(r.Sample) - len(r.Pending())}
	if len(dirs) > 0 {
		err = takeFolders(ctx, x, &o, book, &t, dirs, stdout, stderr)
	} else {
		err = takeRecords(ctx, &o, book, &t)
	}
	if err != nil && t.Taken == 0 {
		return err
	}
	if outErr := tellTaken(x, &o, book, &t, stdout); err == nil {
		err = outErr
	}
	return err
}

// takeRecords takes units from the records.
func takeRecords(ctx context.Context, o *TakeOptions, book *Book, t *Taken) error {
	from, err := newLotSource(ctx, book.store, &book.Lot)
	if err != nil {
		return err
	}
	if o.Unit != "" && book.Lot.Current().Look(o.Unit) == nil {
		o.Unit = part.CleanName(o.Unit)
	}
	var units []lots.Unit
	for _, p := range book.Lot.Current().Sample {
		if o.Unit != "" && p.Name != o.Unit {
			continue
		}
		u, err := from.unit(ctx, &p)
		switch {
		case err != nil:
			return err
		case o.Unit != "" && u != nil:
			u.Why = o.Why
		case u == nil && p.Unit == nil && o.Unit == "":
			t.Missing = append(t.Missing, p.Name)
		}
		if u != nil {
			units = append(units, *u)
		}
	}
	if o.Unit != "" && len(units) == 0 {
		if book.Lot.Current().Look(o.Unit) == nil {
			return lotError(book.Lot.MayTake(o.Unit))
		}
		return fmt.Errorf("the records have no new inspection of %s that could be taken", o.Unit)
	}
	return book.takeAll(ctx, units, o.Run.Record.Operator, t)
}

// takeAll takes units, many at a time; what is refused is told and left out.
func (b *Book) takeAll(ctx context.Context, units []lots.Unit, by string, t *Taken) error {
	const atOnce = 500
	for len(units) > 0 {
		n := min(len(units), atOnce)
		if err := b.TakeSome(ctx, units[:n], by, t); err != nil {
			return err
		}
		units = units[n:]
	}
	return nil
}

// TakeSome takes units with one entry into the records.
func (b *Book) TakeSome(ctx context.Context, units []lots.Unit, by string, t *Taken) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	for try := 1; ; try++ {
		var entries []part.Entry
		this := Taken{}
		for i := range units {
			e, err := b.Lot.Take(units[i], b.now(), by)
			if err != nil {
				this.Not = append(this.Not, err.Error())
				continue
			}
			if err := b.Lot.Apply(e); err != nil {
				return err
			}
			entries = append(entries, e)
			this.note(&units[i])
		}
		err := b.store.Note(ctx, entries...)
		if err == nil {
			t.add(this)
			return nil
		}
		lot, again := Fold(ctx, b.store, b.Lot.Name) // as it is on record
		if again != nil {
			return err
		}
		if b.Lot = lot; !errors.Is(err, records.ErrMeanwhile) || try == meanwhileTries {
			return err
		}
	}
}

// note counts a unit that was taken.
func (t *Taken) note(u *lots.Unit) {
	t.Taken++
	if u.Why != "" {
		t.Again = append(t.Again, u.Name+": "+u.Why)
	}
	if !u.Measured() {
		t.Unmeasured = append(t.Unmeasured, u.Name)
	}
}

func (t *Taken) add(more Taken) {
	t.Taken += more.Taken
	t.Again = append(t.Again, more.Again...)
	t.Not = append(t.Not, more.Not...)
	t.Unmeasured = append(t.Unmeasured, more.Unmeasured...)
}

// lotSource finds the inspections of a lot's units in the records.
type lotSource struct {
	store  *records.Store
	lot    *lots.Lot
	byUnit map[string]*part.Inspection // latest that hold, recorded with the lot's name
	taken  map[int64]*part.Inspection  // those that were taken
}

func newLotSource(ctx context.Context, store *records.Store, l *lots.Lot) (*lotSource, error) {
	s := &lotSource{store: store, lot: l, byUnit: map[string]*part.Inspection{}, taken: map[int64]*part.Inspection{}}
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
func (s *lotSource) nameOf(in *part.Inspection) string {
	if n := in.Name(); s.lot.Current().Has(n) {
		return n
	}
	return in.Serial
}

// counts says whether an inspection is late enough: a lot that is presented again is
// looked at again.
func (s *lotSource) counts(in *part.Inspection) bool {
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
		if changed := s.changed(p, was); changed != nil {
			why = lang.English().Say(changed)
		}
		switch {
		case why == "" && (p.Unit.Measured() || in == nil || in.ID <= p.Unit.Inspection):
			return nil, nil
		case why != "" && in == nil:
			return &lots.Unit{Name: p.Name, Stage: p.Unit.Stage, Verdict: part.NotMeasured, Limits: p.Unit.Limits, Seen: p.Unit.Seen,
				Why: why}, nil
		}
	}
	if in == nil {
		return nil, nil
	}
	u := lots.UnitOf(p.Name, in)
	u.Why = why
	return &u, nil
}

// changed says what was done to an inspection since it was taken; nil for nothing
// that changes what counts.
func (s *lotSource) changed(p *lots.Place, was *part.Inspection) *part.Phrase {
	tell := func(what, by string) *part.Phrase {
		say := part.Say("lot.show."+what, "inspection", strconv.FormatInt(was.ID, 10))
		if by != "" {
			say = say.With("by", part.Say("lot.sheet.by", "by", by))
		}
		return &say
	}
	switch now := lots.UnitOf(p.Name, was); {
	case was.Withdrawn != nil:
		return tell("withdrawn", was.Withdrawn.By)
	case was.CorrectedBy != 0:
		say := part.Say("lot.show.corrected", "inspection", strconv.FormatInt(was.ID, 10), "by", strconv.FormatInt(was.CorrectedBy, 10))
		return &say
	case now.Verdict != p.Unit.Verdict && was.Overruled != nil:
		return tell("overruled", was.Overruled.By)
	}
	return nil
}

// latest is the latest inspection that a unit can be taken from; nil for none. One
// recorded without a lot counts as the lot's own.
func (s *lotSource) latest(ctx context.Context, name string) (*part.Inspection, error) {
	if in := s.byUnit[name]; in != nil {
		return in, nil
	}
	serial, side := part.SerialAndSide(name, "")
	found, err := s.store.Briefs(ctx, records.Filter{Serial: serial, Side: side, Stage: s.lot.Current().Opening.Stage, NewestFirst: true,
		Limit: 20})
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
func tellTaken(x sheetWords, o *TakeOptions, book *Book, t *Taken, stdout io.Writer) error {
	if o.Run.JSON {
		if err := cli.WriteJSON(stdout, TakeJSON{t.Taken, t.Before, orEmpty(t.Again), orEmpty(t.Missing), orEmpty(t.Not),
			orEmpty(t.Unmeasured), viewJSON(&book.Lot)}); err != nil {
			return err
		}
	} else {
		fmt.Fprintln(stdout, x.show("taken", "n", strconv.Itoa(t.Taken), "before", strconv.Itoa(t.Before)))
		for _, l := range []struct {
			what string
			list []string
		}{{"again", t.Again}, {"not_taken", t.Not}, {"unmeasured", t.Unmeasured}, {"missing", t.Missing}} {
			x.list(stdout, "", x.show(l.what), l.list)
		}
		lotView{x, stdout, &book.Lot}.text()
	}
	switch {
	case len(t.Not) > 0:
		return cli.ExitCode(cli.ExitOther)
	case len(t.Unmeasured) > 0:
		return cli.ExitCode(cli.ExitUnmeasured)
	}
	return nil
}

// orEmpty is a list that JSON writes as one, also where it is nil.
func orEmpty[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}

// list writes the first entries of a list, a line each, or, where they are
// names, in one line.
func (x sheetWords) list(w io.Writer, indent, what string, list []string) {
	const most = 10
	if len(list) == 0 {
		return
	}
	lines := slices.Clone(list[:min(most, len(list))])
	if len(list) > most {
		lines = append(lines, x.show("more", "n", strconv.Itoa(len(list)-most)))
	}
	if !slices.ContainsFunc(list, func(s string) bool { return strings.Contains(s, " ") }) {
		lines = []string{strings.Join(lines, x.T("join.names"))}
	}
	for _, s := range lines {
		fmt.Fprintln(w, indent+x.show("entry", "what", what, "list", s))
	}
}

// TakeJSON is what was taken, as JSON.
type TakeJSON struct {
	Taken      int      `json:"taken"`
	Before     int      `json:"before"`
	Again      []string `json:"taken_again"`
	Missing    []string `json:"not_found"`
	Not        []string `json:"not_taken"`
	Unmeasured []string `json:"not_measured"`
	Lot        ViewJSON `json:"lot"`
}
