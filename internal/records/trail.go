package records

import (
	"bufio"
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
)

// trailLine is one line of an exported trail. Event holds the very bytes that
// were hashed.
type trailLine struct {
	Seq   int64           `json:"seq"`
	Prev  string          `json:"prev"`
	Hash  string          `json:"hash"`
	Event json.RawMessage `json:"event"`
}

// trail writes all events, a line of JSON each.
func (t *tx) trail(ctx context.Context, w io.Writer) error {
	return t.links(ctx, 0, func(l link) error {
		_, err := fmt.Fprintf(w, "{\"seq\":%d,\"prev\":%q,\"hash\":%q,\"event\":%s}\n", l.seq, l.prev, l.hash, l.content)
		return err
	})
}

// TrailReport says what a trail holds.
type TrailReport struct {
	Events, Inspections int
	Head                Head
}

// maxTrailLine is far above an event's size: one of an inspection is about 2 KB.
const maxTrailLine = 16 << 20

// CheckTrail checks an exported trail without the database. The error names the
// first line that does not fit.
func CheckTrail(r io.Reader) (TrailReport, error) {
	var report TrailReport
	var walk chain
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, maxTrailLine)
	for lines.Scan() {
		line := report.Events + 1
		var l trailLine
		d := json.NewDecoder(bytes.NewReader(lines.Bytes()))
		d.DisallowUnknownFields()
		if err := d.Decode(&l); err != nil {
			return report, fmt.Errorf("records: line %d is no line of a trail: %v", line, err)
		}
		if d.More() {
			return report, fmt.Errorf("records: line %d is no line of a trail: something follows its event", line)
		}
		e, err := walk.next(link{l.Seq, l.Prev, l.Hash, l.Event})
		if err != nil {
			return report, fmt.Errorf("records: line %d: %w", line, err)
		}
		report.Events++
		if e.Recorded != nil {
			report.Inspections++
		}
		report.Head.Seq, report.Head.Hash = l.Seq, l.Hash
		if report.Head.At, err = parseStamp(e.At); err != nil {
			return report, fmt.Errorf("records: line %d: %w", line, err)
		}
	}
	if err := lines.Err(); err != nil {
		return report, fmt.Errorf("records: line %d: %w", report.Events+1, err)
	}
	if report.Events == 0 {
		return report, errors.New("records: the trail is empty")
	}
	return report, nil
}

// Compare checks an exported trail, and whether it is the beginning of this
// database's chain. If so, and [Store.Check] finds nothing wrong, nothing that
// the trail tells of was changed since.
func (s *Store) Compare(ctx context.Context, r io.Reader) (TrailReport, error) {
	report, err := CheckTrail(r)
	if err != nil {
		return report, err
	}
	var hash string
	err = s.snapshot(ctx, func(t *tx) error {
		return t.row(ctx, "SELECT hash FROM events WHERE seq = ?", report.Head.Seq).Scan(&hash)
	})
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return report, fmt.Errorf("records: %s ends before event %d, which the trail has: its end was cut off, or it is an older copy",
			s.where, report.Head.Seq)
	case err != nil:
		return report, err
	case hash != report.Head.Hash:
		return report, fmt.Errorf("records: event %d of %s is another than the trail's: the chain was made anew, or they are of two "+
			"databases", report.Head.Seq, s.where)
	}
	return report, nil
}
