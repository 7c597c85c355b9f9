package records

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"finishbench/internal/part"
)

// Withdraw takes an inspection back (the operator's undo): it stays, but no
// longer counts. The error wraps [ErrNotFound] or [ErrWithdrawn] where so.
func (s *Store) Withdraw(ctx context.Context, id int64, n part.Note) error {
	if why := badNote(n.By, n.Why); why != "" {
		return fmt.Errorf("records: withdraw inspection %d: %w: %s", id, ErrInvalid, why)
	}
	return s.write(ctx, func(t *tx) error {
		if err := t.holds(ctx, id); err != nil {
			return fmt.Errorf("records: withdraw inspection %d: %w", id, err)
		}
		by, err := t.aliasOf(ctx, n.By)
		if err != nil {
			return err
		}
		return t.append(ctx, &event{Kind: eventWithdrawn, Inspection: id, Withdrawn: &withdrawn{t.at(n.At), by, n.Why}})
	})
}

// Restore takes the last withdrawal of an inspection back: it counts again, and both stay on record.
// The error wraps [ErrNotFound], or [ErrHolds] where it counts.
func (s *Store) Restore(ctx context.Context, id int64, n part.Note) error {
	if why := badNote(n.By, n.Why); why != "" {
		return fmt.Errorf("records: restore inspection %d: %w: %s", id, ErrInvalid, why)
	}
	return s.write(ctx, func(t *tx) error {
		err := t.holds(ctx, id)
		if err == nil {
			err = ErrHolds
		}
		if !errors.Is(err, ErrWithdrawn) {
			return fmt.Errorf("records: restore inspection %d: %w", id, err)
		}
		by, err := t.aliasOf(ctx, n.By)
		if err != nil {
			return err
		}
		return t.append(ctx, &event{Kind: eventRestored, Inspection: id, Restored: &withdrawn{t.at(n.At), by, n.Why}})
	})
}

// Overrule puts a person's call beside the tool's, made now where At is zero; a later one takes the place
// of an earlier one. The error wraps [ErrNotFound] or [ErrWithdrawn] where so.
func (s *Store) Overrule(ctx context.Context, id int64, o part.Overrule) error {
	why := badNote(o.By, o.Note)
	switch {
	case why != "":
	case !isVerdict(o.Verdict):
		why = fmt.Sprintf("%q is no verdict", o.Verdict)
	case !slices.Contains(part.OverruleReasons(), o.Reason):
		why = fmt.Sprintf("%q is none of the reasons: %s", o.Reason, strings.Join(part.OverruleReasons(), ", "))
	case o.Reason == part.OverruleOther && strings.TrimSpace(o.Note) == "":
		why = "say in a note what the other reason is"
	}
	if why != "" {
		return fmt.Errorf("records: overrule inspection %d: %w: %s", id, ErrInvalid, why)
	}
	return s.write(ctx, func(t *tx) error {
		if err := t.holds(ctx, id); err != nil {
			return fmt.Errorf("records: overrule inspection %d: %w", id, err)
		}
		by, err := t.aliasOf(ctx, o.By)
		if err != nil {
			return err
		}
		return t.append(ctx, &event{Kind: eventOverruled, Inspection: id,
			Overruled: &overruled{t.at(o.At), by, string(o.Verdict), o.Reason, o.Note}})
	})
}

// at is when a person said something: now, unless told.
func (t *tx) at(when time.Time) string {
	if !storable(when) {
		when = t.now
	}
	return stamp(when)
}

func badNote(by, note string) string {
	if why := badWord(by, maxWord); why != "" {
		return "the name " + why
	}
	if len(note) > maxNote || clean(note) != note {
		return fmt.Sprintf("the note is longer than %d bytes, or no text", maxNote)
	}
	return ""
}

// isWithdrawn is whether the last word on an inspection is that it was taken back, as SQL.
func isWithdrawn(id string) string {
	return "(SELECT e.kind FROM events e WHERE e.inspection = " + id + " AND e.kind IN ('" + eventWithdrawn + "', '" + eventRestored +
		"') ORDER BY e.seq DESC LIMIT 1) = '" + eventWithdrawn + "'"
}

// holds says whether an inspection is there and was not withdrawn.
func (t *tx) holds(ctx context.Context, id int64) error {
	var there, withdrawn int
	err := t.row(ctx, "SELECT (SELECT count(*) FROM inspections WHERE id = ?), "+
		"(SELECT count(*) FROM inspections i WHERE id = ? AND "+isWithdrawn("i.id")+")", id, id).Scan(&there, &withdrawn)
	switch {
	case err != nil:
		return err
	case there == 0:
		return ErrNotFound
	case withdrawn > 0:
		return ErrWithdrawn
	}
	return nil
}
