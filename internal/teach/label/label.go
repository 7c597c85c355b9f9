package label

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"finishbench/internal/cli"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// LabelOptions are the labels, one or a table of them.
type LabelOptions struct {
	By
	Inspection int64
	Note       string
	Csv        string
}

// labelLine is a label as told by a person.
type labelLine struct {
	serial, finding, kind, inspection, note string
	where                                   string // "line 3, ", where there are several
}

// RunLabel notes what findings are, in a person's word.
func RunLabel(ctx context.Context, r cli.Database, o LabelOptions, args []string, stdout io.Writer) error {
	var lines []labelLine
	if o.Csv != "" {
		var err error
		if lines, err = readLabelLines(o.Csv); err != nil {
			return err
		}
	} else {
		l := labelLine{serial: args[0], finding: args[1], kind: args[2], note: o.Note}
		if o.Inspection != 0 {
			l.inspection = strconv.FormatInt(o.Inspection, 10)
		}
		lines = []labelLine{l}
	}
	s, err := r.Open(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	var labels []records.Label
	for _, l := range lines {
		x, err := l.label(ctx, s)
		if err != nil {
			return err
		}
		labels = append(labels, x)
	}
	id, err := o.person(ctx, s)
	if err != nil {
		return err
	}
	for i := range labels {
		labels[i].By = id
	}
	if err := s.Label(ctx, labels...); errors.Is(err, records.ErrInvalid) || errors.Is(err, records.ErrWithdrawn) ||
		errors.Is(err, records.ErrNotFound) {
		return cli.UsageError{Err: err}
	} else if err != nil {
		return err
	}
	if len(labels) == 1 {
		l := labels[0]
		_, err = fmt.Fprintf(stdout, "%s: finding %d of inspection %d is %s\n", s.Where(), l.Number, l.Inspection, orNoDefect(l.Kind))
		return err
	}
	_, err = fmt.Fprintf(stdout, "%s: %d labels\n", s.Where(), len(labels))
	return err
}

func orNoDefect(k part.Kind) string {
	if k == records.NoDefect {
		return "no defect"
	}
	return string(k)
}

// readLabelLines reads a table of labels.
func readLabelLines(path string) ([]labelLine, error) {
	f, err := cli.OpenTable(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	c := csv.NewReader(f)
	head, err := c.Read()
	if errors.Is(err, io.EOF) {
		return nil, cli.Usagef("%s: the table is empty", path)
	} else if err != nil {
		return nil, cli.Usagef("%s: it has no heading: %w", path, err)
	}
	head[0] = strings.TrimPrefix(head[0], "\ufeff")
	for i := range head {
		head[i] = strings.TrimSpace(head[i])
		if slices.Contains(head[:i], head[i]) && head[i] != "" {
			return nil, cli.Usagef("%s: line 1: the column %q is there twice", path, head[i])
		}
	}
	for _, need := range []string{"serial", "finding", "type"} {
		if !slices.Contains(head, need) {
			return nil, cli.Usagef("%s: line 1: the column %q is missing", path, need)
		}
	}
	var lines []labelLine
	for {
		row, err := c.Read()
		if errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, cli.Usagef("%s: %w", path, err)
		}
		n, _ := c.FieldPos(0)
		cell := func(name string) string {
			if i := slices.Index(head, name); i >= 0 {
				return strings.TrimSpace(row[i])
			}
			return ""
		}
		lines = append(lines, labelLine{cell("serial"), cell("finding"), cell("type"), cell("inspection"), cell("note"),
			fmt.Sprintf("%s: line %d: ", path, n)})
	}
	if len(lines) == 0 {
		return nil, cli.Usagef("%s: it has no line under its heading", path)
	}
	return lines, nil
}

// label looks up the inspection.
func (l labelLine) label(ctx context.Context, s *records.Store) (records.Label, error) {
	out := records.Label{Kind: part.Kind(l.kind), Note: l.note}
	var err error
	if out.Number, err = strconv.Atoi(l.finding); err != nil || out.Number < 1 {
		return out, cli.Usagef("%sfinding %q: give its number, as drawn in the pictures", l.where, l.finding)
	}
	if !slices.Contains(records.LabelKinds(), out.Kind) {
		return out, cli.Usagef("%skind %q: use one of %s", l.where, l.kind, part.JoinKinds(records.LabelKinds()))
	}
	if l.inspection != "" {
		if out.Inspection, err = strconv.ParseInt(l.inspection, 10, 64); err != nil || out.Inspection < 1 {
			return out, cli.Usagef("%sinspection %q: give its number", l.where, l.inspection)
		}
		in, err := s.Get(ctx, out.Inspection)
		if errors.Is(err, records.ErrNotFound) {
			return out, cli.Usagef("%s%s has no inspection %d", l.where, s.Where(), out.Inspection)
		} else if err != nil {
			return out, err
		}
		if name := part.UnitName(in.Serial, in.Side); l.serial != "" && part.CleanName(l.serial) != name && l.serial != in.Serial {
			return out, cli.Usagef("%sinspection %d is of %s, not of %s", l.where, in.ID, name, l.serial)
		}
		return out, nil
	}
	serial, side := part.SerialAndSide(l.serial, "")
	for _, f := range []records.Filter{{Serial: serial, Side: side, NewestFirst: true}, {Serial: l.serial, NewestFirst: true}} {
		all, err := s.Briefs(ctx, f)
		if err != nil {
			return out, err
		}
		for _, in := range all {
			if in.Holds() && in.Side != f.Side {
				return out, cli.Usagef("%s%s knows %s by its sides: say %s-L or %s-R", l.where, s.Where(), l.serial, l.serial, l.serial)
			} else if in.Holds() {
				out.Inspection = in.ID
				return out, nil
			}
		}
	}
	return out, cli.Usagef("%s%s has no inspection of %q that holds", l.where, s.Where(), l.serial)
}
