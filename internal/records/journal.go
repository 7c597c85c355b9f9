package records

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"finishbench/internal/part"
)

// ErrMeanwhile says that someone else added to the same journal first: read it
// again, and see whether what was to be added still holds.
var ErrMeanwhile = errors.New("someone else wrote to it meanwhile")

// Bounds of an entry, against slips.
const (
	maxBody    = 8 << 20 // below maxTrailLine
	maxEntries = 20000   // of one call
)

// entryJSON is an entry as a link of the chain holds it.
type entryJSON struct {
	Topic string          `json:"topic"`
	Name  string          `json:"name"`
	Seq   int64           `json:"seq"`
	Kind  string          `json:"kind"`
	At    string          `json:"at"`
	By    string          `json:"by,omitempty"`
	Body  json.RawMessage `json:"body,omitempty"`
}

const journalColumns = "topic, name, seq, kind, event"

func (e *entryJSON) row(event int64) []any {
	return []any{e.Topic, e.Name, e.Seq, e.Kind, event}
}

func (e *entryJSON) entry() (part.Entry, error) {
	at, err := parseStamp(e.At)
	return part.Entry{Topic: e.Topic, Name: e.Name, Seq: e.Seq, Kind: e.Kind, At: at, By: e.By, Body: e.Body}, err
}

// Note adds entries to journals, all of them or none. Each must carry the Seq that
// follows the last one of its journal: where that is taken, the error wraps
// [ErrMeanwhile].
func (s *Store) Note(ctx context.Context, entries ...part.Entry) error {
	if len(entries) > maxEntries {
		return fmt.Errorf("records: %w: %d entries at once, of %d at most", ErrInvalid, len(entries), maxEntries)
	}
	for i := range entries {
		if err := validateEntry(&entries[i]); err != nil {
			return err
		}
	}
	return s.write(ctx, func(t *tx) error {
		for i := range entries {
			if err := t.note(ctx, &entries[i]); err != nil {
				return err
			}
		}
		return nil
	})
}

func validateEntry(e *part.Entry) error {
	why := ""
	for _, w := range []struct{ name, value string }{{"topic", e.Topic}, {"name", e.Name}, {"kind", e.Kind}, {"author", e.By}} {
		if bad := badWord(w.value, maxWord); bad != "" {
			why = w.name + " " + bad
		} else if w.value == "" && w.name != "author" {
			why = w.name + " is empty"
		}
	}
	switch {
	case why != "":
	case e.Seq < 1:
		why = fmt.Sprintf("number is %d", e.Seq)
	case len(e.Body) > maxBody:
		why = fmt.Sprintf("body has %d bytes, of %d at most", len(e.Body), maxBody)
	case len(e.Body) > 0 && !json.Valid(e.Body):
		why = "body is not JSON"
	case bytes.Contains(e.Body, []byte(`\u0000`)):
		why = "body holds a zero character"
	}
	if why != "" {
		return fmt.Errorf("records: journal of %s %q: %w: its %s", e.Topic, e.Name, ErrInvalid, why)
	}
	return nil
}

func (t *tx) note(ctx context.Context, e *part.Entry) error {
	var last int64
	if err := t.row(ctx, "SELECT coalesce(max(seq), 0) FROM journal WHERE topic = ? AND name = ?", e.Topic,
		e.Name).Scan(&last); err != nil {
		return fmt.Errorf("records: journal of %s %s: %w", e.Topic, e.Name, err)
	}
	if last != e.Seq-1 {
		return fmt.Errorf("records: journal of %s %s: %w", e.Topic, e.Name, ErrMeanwhile)
	}
	j := &entryJSON{e.Topic, e.Name, e.Seq, e.Kind, t.at(e.At), e.By, e.Body}
	link := &event{Kind: eventNoted, Entry: j}
	if err := t.append(ctx, link); err != nil {
		return err
	}
	return t.insert(ctx, "journal", journalColumns, [][]any{j.row(link.Seq)})
}

// NoteNext adds an entry after the last one of its journal, for entries that depend
// on none before; its Seq does not count. By is what a person is called, and is kept
// apart from the chain. body becomes the entry's body.
func (s *Store) NoteNext(ctx context.Context, e part.Entry, body any) error {
	if why := badWord(e.By, maxWord); why != "" {
		return fmt.Errorf("records: journal of %s %s: %w: the name %s", e.Topic, e.Name, ErrInvalid, why)
	}
	return s.write(ctx, func(t *tx) (err error) {
		if e.By, err = t.aliasOf(ctx, e.By); err != nil {
			return err
		}
		return t.noteNext(ctx, e, body)
	})
}

// Journal returns the entries of one journal, in order; none where there is none
// of this name.
func (s *Store) Journal(ctx context.Context, topic, name string) ([]part.Entry, error) {
	return s.journal(ctx, "j.topic = ? AND j.name = ? ORDER BY j.seq", topic, name)
}

// Journals returns the entries of the given kinds (none given: all kinds) of all
// journals of a topic, in the order in which they were written.
func (s *Store) Journals(ctx context.Context, topic string, kinds ...string) ([]part.Entry, error) {
	where, args := "j.topic = ?", []any{topic}
	if len(kinds) > 0 {
		where += " AND j.kind IN (?" + strings.Repeat(", ?", len(kinds)-1) + ")"
		for _, k := range kinds {
			args = append(args, k)
		}
	}
	return s.journal(ctx, where+" ORDER BY j.event", args...)
}

func (s *Store) journal(ctx context.Context, where string, args ...any) (all []part.Entry, err error) {
	err = s.snapshot(ctx, func(t *tx) (err error) {
		all, err = t.journal(ctx, where, args...)
		return err
	})
	return all, err
}

func (t *tx) journal(ctx context.Context, where string, args ...any) ([]part.Entry, error) {
	var all []part.Entry
	err := t.scanAll(ctx, "SELECT e.content FROM journal j JOIN events e ON e.seq = j.event WHERE "+where, args,
		func(rows *sql.Rows) error {
			var content []byte
			if err := rows.Scan(&content); err != nil {
				return err
			}
			e, err := entryIn(content)
			all = append(all, e)
			return err
		})
	if err != nil {
		return nil, fmt.Errorf("records: read a journal: %w", err)
	}
	return all, nil
}

// LastHash is the hash that the chain has for the last entry of a kind in a journal;
// "" where there is none. Whoever keeps it can show later that the entry was not
// changed.
func (s *Store) LastHash(ctx context.Context, topic, name, kind string) (hash string, err error) {
	err = s.snapshot(ctx, func(t *tx) error {
		return t.row(ctx, "SELECT e.hash FROM journal j JOIN events e ON e.seq = j.event WHERE j.topic = ? AND j.name = ? AND j.kind = ? "+
			"ORDER BY j.seq DESC LIMIT 1", topic, name, kind).Scan(&hash)
	})
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	if err != nil {
		return "", fmt.Errorf("records: read a journal: %w", err)
	}
	return hash, nil
}

// entryIn reads the entry out of a link's content.
func entryIn(content []byte) (part.Entry, error) {
	var e struct {
		Entry *entryJSON `json:"entry"`
	}
	if err := json.Unmarshal(content, &e); err != nil || e.Entry == nil {
		return part.Entry{}, errors.Join(errors.New("an entry is damaged: run 'inspect records check'"), err)
	}
	return e.Entry.entry()
}

// journal compares the table by which entries are found with the chain.
func (c *checker) journal(ctx context.Context, t *tx) error {
	if c.form < formJournal {
		return nil
	}
	entries := 0
	err := t.scanAll(ctx,
		"SELECT e.seq, e.content, coalesce(j.topic, ''), coalesce(j.name, ''), coalesce(j.seq, 0), coalesce(j.kind, '') FROM events e "+
			"LEFT JOIN journal j ON j.event = e.seq WHERE e.kind = ? ORDER BY e.seq",
		[]any{eventNoted}, func(rows *sql.Rows) error {
			var seq int64
			var content []byte
			var got entryJSON
			if err := rows.Scan(&seq, &content, &got.Topic, &got.Name, &got.Seq, &got.Kind); err != nil {
				return err
			}
			entries++
			want, err := entryIn(content)
			if err != nil {
				c.r.addf("event %d: %v", seq, err)
			} else if (got.Topic == "" || got.Topic != want.Topic) || got.Name != want.Name || got.Seq != want.Seq ||
				got.Kind != want.Kind {
				c.r.addf("the journal's row of event %d (%s %s, number %d) is gone or was changed", seq, want.Topic, want.Name, want.Seq)
			}
			return nil
		})
	if err != nil {
		return fmt.Errorf("records: check the journals: %w", err)
	}
	c.r.Entries = entries
	var rows int
	if err := t.row(ctx, "SELECT count(*) FROM journal").Scan(&rows); err != nil {
		return fmt.Errorf("records: check the journals: %w", err)
	}
	if rows != entries {
		c.r.addf("the journals have %d rows, the chain %d: rows are missing or were put in from outside", rows, entries)
	}
	return nil
}

// exportJournal writes all entries in the order in which they were written, a line
// of JSON each.
func (t *tx) exportJournal(ctx context.Context, w io.Writer) error {
	return t.scanAll(ctx, "SELECT content FROM events WHERE kind = ? ORDER BY seq", []any{eventNoted}, func(rows *sql.Rows) error {
		var content []byte
		if err := rows.Scan(&content); err != nil {
			return err
		}
		e, err := entryIn(content)
		if err != nil {
			return err
		}
		line, err := json.Marshal(entryJSON{e.Topic, e.Name, e.Seq, e.Kind, rfc3339(e.At), e.By, e.Body})
		if err == nil {
			_, err = w.Write(append(line, '\n'))
		}
		return err
	})
}
