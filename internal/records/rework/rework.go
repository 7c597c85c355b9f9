// Package rework prints the rework ticket of a unit on record.
package rework

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/grade"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/report/ticket"
)

// Options say where the ticket goes, and in which language.
type Options struct {
	Out      string // file; it must not be there yet
	Language string // tag; "": the environment's
}

// Run writes the ticket of a unit's latest inspection that holds. name is its serial, with its
// side where there are two: "A-1001-R".
func Run(ctx context.Context, where cli.Database, o Options, name string, stdout io.Writer) error {
	if o.Out == "" {
		return cli.Usagef("name the file to write: --out ticket.pdf")
	}
	l, err := cli.Language(o.Language)
	if err != nil {
		return err
	}
	s, err := where.Open(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	in, err := latest(ctx, s, name)
	if err != nil {
		return err
	}
	if in.Result.Plan == nil { // of an earlier program
		if err := replan(in); err != nil {
			return err
		}
	}
	f, err := os.OpenFile(o.Out, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if errors.Is(err, fs.ErrExist) {
		return cli.Usagef("--out %s is there already: choose another name", o.Out)
	}
	if err != nil {
		return fmt.Errorf("--out %s cannot be written: %w", o.Out, cli.PlainPath(err))
	}
	err = errors.Join(ticket.Write(f, ticket.Ticket{Inspection: *in, Zone: time.Local, Program: cli.Version}, l), f.Close())
	if err != nil {
		_ = os.Remove(o.Out)
		if errors.Is(err, ticket.ErrNothing) {
			return fmt.Errorf("%s, record %d: %w", in.Name(), in.ID, ticket.ErrNothing)
		}
		return err
	}
	_, err = fmt.Fprintf(stdout, "%s: %s, record %d, %s\n", o.Out, in.Name(), in.ID, in.Verdict())
	return err
}

// latest is the unit's latest inspection that holds.
func latest(ctx context.Context, s *records.Store, name string) (*part.Inspection, error) {
	serial, side := part.SerialAndSide(name, "")
	all, err := s.History(ctx, serial, side)
	if err == nil && len(all) == 0 { // a serial that ends like a side
		all, err = s.History(ctx, name, "")
	}
	if err != nil {
		return nil, err
	}
	var last *part.Inspection
	for i := range all {
		if !all[i].Holds() {
			continue
		}
		if last != nil && last.Side != all[i].Side {
			return nil, cli.Usagef("%s is on record with both sides: say which, %s or %s", serial, part.UnitName(serial, last.Side),
				part.UnitName(serial, all[i].Side))
		}
		last = &all[i]
	}
	if last == nil {
		return nil, fmt.Errorf("there is no inspection of %s on record in %s: capital letters count", name, s.Where())
	}
	in, err := s.Get(ctx, last.ID) // with the limits that were in force
	return &in, err
}

// replan makes the plan that the record has not, by the limits that were in force.
func replan(in *part.Inspection) error {
	limits := grade.DefaultLimits()
	if len(in.Limits.Bytes) > 0 {
		var err error
		if limits, err = config.ParseLimits(in.Limits.Name, in.Limits.Bytes); err != nil {
			return fmt.Errorf("record %d has no plan, and none can be made by its limits: %w", in.ID, err)
		}
	}
	p, ok := grade.PlanFor(&in.Result, limits)
	if !ok && in.Overruled == nil {
		return fmt.Errorf("record %d has no plan, and this program would not call the unit %q by its limits: inspect it again", in.ID,
			in.Result.Verdict)
	}
	in.Result.Plan = p
	return nil
}
