package label

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/inspection"
	"finishbench/internal/lang"
	"finishbench/internal/learn"
	"finishbench/internal/records"
	"finishbench/internal/teach"
	"finishbench/internal/teach/book"
)

// By says who does something.
type By struct{ Initials, Badge string }

// find finds whoever does something; someone new has no id yet, see [book.KeepPerson].
func (b By) find(ctx context.Context, s *records.Store) (teach.Person, error) {
	known, err := book.KnownPeople(ctx, s)
	if err != nil {
		return teach.Person{}, err
	}
	p, err := teach.Who(b.Initials, b.Badge, known)
	if errors.Is(err, teach.ErrWho) {
		return p, cli.Usagef("say who does this: --by INITIALS, or --badge")
	} else if err != nil {
		return p, cli.UsageError{Err: err}
	}
	return p, nil
}

// person is the id of whoever does something; it adds people who are new.
func (b By) person(ctx context.Context, s *records.Store) (string, error) {
	p, err := b.find(ctx, s)
	if err != nil {
		return "", err
	}
	return book.KeepPerson(ctx, s, p)
}

// RunAccept puts a model into force. tag is the language, see [cli.Language], here and below.
func RunAccept(ctx context.Context, o cli.Database, tag string, by By, name string, stdout io.Writer) error {
	x, err := cli.Language(tag)
	if err != nil {
		return err
	}
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
	_, err = fmt.Fprintln(stdout, x.T("learn.accepted", "where", s.Where(), "name", kept.Name))
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

// RunBack goes back to the model before.
func RunBack(ctx context.Context, o cli.Database, tag string, by By, stdout io.Writer) error {
	x, err := cli.Language(tag)
	if err != nil {
		return err
	}
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
	key := "learn.back.rules"
	if to != "" {
		key = "learn.back.model"
	}
	_, err = fmt.Fprintln(stdout, x.T(key, "where", s.Where(), "name", to))
	return err
}

// RunList lists the models that were kept.
func RunList(ctx context.Context, o cli.Database, tag string, stdout io.Writer) error {
	x, err := cli.Language(tag)
	if err != nil {
		return err
	}
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
		_, err := fmt.Fprintln(stdout, x.T("learn.list.none", "where", s.Where()))
		return err
	}
	who, err := book.PeopleWords(ctx, s)
	if err != nil {
		return err
	}
	rows := [][]string{nil}
	for _, key := range []string{"model", "fitted", "by", "labels", "before", "after", "in_force"} {
		rows[0] = append(rows[0], x.T("learn.list."+key))
	}
	for _, k := range all {
		var m learn.Model
		if err := json.Unmarshal(k.JSON, &m); err != nil {
			return fmt.Errorf("model %s of the records cannot be read: %w", k.Name, err)
		}
		before, after := "", ""
		if t := m.Test; t != nil && t.Labels > 0 {
			before, after = x.ShownShare(float64(t.OldRight)/float64(t.Labels)),
				x.ShownShare(float64(t.NewRight)/float64(t.Labels))
		}
		rows = append(rows, []string{k.Name, k.At.Format(time.DateTime), who(k.By), strconv.Itoa(m.Labels), before, after, uses(x, k, who)})
	}
	cli.Columns(stdout, "", rows)
	if !slices.ContainsFunc(all, func(k records.KeptModel) bool { return k.InForce }) {
		fmt.Fprintln(stdout, "\n"+x.T("learn.list.rules"))
	}
	return nil
}

// uses tells when a model was in force.
func uses(x *lang.Lang, k records.KeptModel, who func(string) string) string {
	var times []string
	for _, u := range k.Uses {
		key := "learn.list.until"
		if u.Until.IsZero() {
			key = "learn.list.since"
		}
		times = append(times, x.T(key, "from", u.From.Format(time.DateTime), "by", who(u.By), "until", u.Until.Format(time.DateTime),
			"left_by", who(u.LeftBy)))
	}
	return cli.Or(strings.Join(times, x.T("join.names")), x.T("learn.list.never"))
}

// RunShow shows a model, the one in force where none is named.
func RunShow(ctx context.Context, o cli.Database, args []string, stdout io.Writer) error {
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
		return cli.Usagef("no model is in force at %s, the rules alone call kinds: name a model ('inspect learn list' lists them)",
			s.Where())
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
