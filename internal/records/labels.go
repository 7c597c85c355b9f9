package records

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"time"

	"finishbench/internal/part"
)

// Label is what a person says that a finding is: the tool's call confirmed, or
// another. The last one of each person counts.
type Label struct {
	Inspection int64
	Number     int       // of the finding, as in the result
	Kind       part.Kind // one of [LabelKinds]
	By         string    // a person's id, see [Person]
	At         time.Time // now where zero
	Note       string
}

// NoDefect is the label of a finding that is none: dirt, a reflection, the
// faceplate's own pattern.
const NoDefect part.Kind = "none"

// LabelKinds are the kinds that a label may name: those of a surface, and
// [NoDefect].
func LabelKinds() []part.Kind {
	kinds := slices.DeleteFunc(slices.Clone(part.Kinds), part.Kind.AtSeam)
	return append(kinds, NoDefect)
}

const (
	topicLabel    = "label" // the journal's name is the inspection's number
	eventLabelled = "labelled"
)

type labelBody struct {
	Finding int       `json:"finding"`
	Kind    part.Kind `json:"type"`
	Note    string    `json:"note,omitempty"`
}

// Label adds labels, all of them or none. The error wraps [ErrNotFound],
// [ErrWithdrawn] or [ErrInvalid] where so.
func (s *Store) Label(ctx context.Context, labels ...Label) error {
	if len(labels) > maxEntries {
		return fmt.Errorf("records: %w: %d labels at once, of %d at most", ErrInvalid, len(labels), maxEntries)
	}
	for _, l := range labels {
		why := badNote(l.By, l.Note)
		switch {
		case why != "":
		case l.By == "":
			why = "it is not said by whom"
		case !slices.Contains(LabelKinds(), l.Kind):
			why = fmt.Sprintf("%q is no kind of a finding of a surface", l.Kind)
		}
		if why != "" {
			return fmt.Errorf("records: label finding %d of inspection %d: %w: %s", l.Number, l.Inspection, ErrInvalid, why)
		}
	}
	return s.write(ctx, func(t *tx) error {
		for _, l := range labels {
			if err := t.label(ctx, l); err != nil {
				return fmt.Errorf("records: label finding %d of inspection %d: %w", l.Number, l.Inspection, err)
			}
		}
		return nil
	})
}

func (t *tx) label(ctx context.Context, l Label) error {
	if err := t.holds(ctx, l.Inspection); err != nil {
		return err
	}
	var kind string
	err := t.row(ctx, "SELECT kind FROM findings WHERE inspection = ? AND number = ?", l.Inspection, l.Number).Scan(&kind)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return fmt.Errorf("%w: it has no finding of this number", ErrInvalid)
	case err != nil:
		return err
	case part.Kind(kind).AtSeam():
		return fmt.Errorf("%w: it is a %s, which is measured and not told from its look", ErrInvalid, kind)
	}
	return t.noteNext(ctx, part.Entry{Topic: topicLabel, Name: strconv.FormatInt(l.Inspection, 10), Kind: eventLabelled, By: l.By,
		At: l.At}, labelBody{l.Number, l.Kind, l.Note})
}

// noteNext adds an entry to the end of its journal.
func (t *tx) noteNext(ctx context.Context, e part.Entry, body any) error {
	var err error
	if e.Body, err = json.Marshal(body); err != nil {
		return fmt.Errorf("records: journal of %s %q: %w", e.Topic, e.Name, err)
	}
	if err := t.row(ctx, "SELECT coalesce(max(seq), 0) + 1 FROM journal WHERE topic = ? AND name = ?", e.Topic,
		e.Name).Scan(&e.Seq); err != nil {
		return fmt.Errorf("records: journal of %s %s: %w", e.Topic, e.Name, err)
	}
	if err := validateEntry(&e); err != nil {
		return err
	}
	return t.note(ctx, &e)
}

// Labels returns all labels in the order in which they were given; those of
// inspections that were withdrawn or corrected since too.
func (s *Store) Labels(ctx context.Context) ([]Label, error) {
	entries, err := s.Journals(ctx, topicLabel, eventLabelled)
	if err != nil {
		return nil, err
	}
	out := make([]Label, len(entries))
	for i, e := range entries {
		var b labelBody
		id, err := strconv.ParseInt(e.Name, 10, 64)
		if err := errors.Join(err, json.Unmarshal(e.Body, &b)); err != nil {
			return nil, fmt.Errorf("records: a label of inspection %s cannot be read: %w", e.Name, err)
		}
		out[i] = Label{id, b.Finding, b.Kind, e.By, e.At, b.Note}
	}
	return out, nil
}
