package records

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
)

// The kinds of events.
const (
	eventRecorded  = "recorded"
	eventWithdrawn = "withdrawn"
	eventRestored  = "restored" // a withdrawal taken back
	eventOverruled = "overruled"
	eventForgotten = "forgotten"
	eventNoted     = "noted" // a [part.Entry]
)

// event is a link of the chain. Its JSON, as marshalled when it was made, is what
// is hashed; fields are only ever added, and left out where empty.
type event struct {
	Seq        int64      `json:"seq"`
	At         string     `json:"at"`
	Kind       string     `json:"kind"`
	Inspection int64      `json:"inspection,omitempty"`
	Recorded   *recorded  `json:"recorded,omitempty"`
	Withdrawn  *withdrawn `json:"withdrawn,omitempty"`
	Restored   *withdrawn `json:"restored,omitempty"`
	Overruled  *overruled `json:"overruled,omitempty"`
	Forgotten  *forgotten `json:"forgotten,omitempty"`
	Entry      *entryJSON `json:"entry,omitempty"`
}

// recorded is what identifies an inspection and all that belongs to it.
type recorded struct {
	Serial       string            `json:"serial"`
	Side         string            `json:"side,omitempty"`
	Lot          string            `json:"lot,omitempty"`
	Bench        string            `json:"bench,omitempty"`
	Operator     string            `json:"operator,omitempty"`
	Faceplate    string            `json:"faceplate,omitempty"`
	Resin        string            `json:"resin,omitempty"`
	Stage        string            `json:"stage"`
	Started      string            `json:"started"`
	Ended        string            `json:"ended"`
	Verdict      string            `json:"verdict"`
	Score        *float64          `json:"score,omitempty"`
	WorstStepUM  *float64          `json:"worst_step_um,omitempty"`
	Program      string            `json:"program,omitempty"`
	Libraries    string            `json:"libraries,omitempty"`
	Corrects     int64             `json:"corrects,omitempty"`
	Key          string            `json:"key,omitempty"`
	ResultSHA256 string            `json:"result_sha256"`
	Pictures     []recordedPicture `json:"pictures,omitempty"`
	Texts        []recordedText    `json:"texts,omitempty"`
}

type recordedPicture struct {
	File     string  `json:"file"`
	View     string  `json:"view,omitempty"`
	Light    string  `json:"light,omitempty"`
	AngleDeg float64 `json:"angle_deg"`
	SHA256   string  `json:"sha256"`
	Numbers  bool    `json:"numbers_only,omitempty"` // its bytes were not kept
}

type recordedText struct {
	Role   string `json:"role"`
	Name   string `json:"name"`
	SHA256 string `json:"sha256"`
}

// withdrawn is who took an inspection back, or took that back.
type withdrawn struct {
	At  string `json:"at"`
	By  string `json:"by,omitempty"`
	Why string `json:"why,omitempty"`
}

type overruled struct {
	At      string `json:"at"`
	By      string `json:"by,omitempty"`
	Verdict string `json:"verdict"`
	Reason  string `json:"reason"`
	Note    string `json:"note,omitempty"`
}

// forgotten names pictures whose bytes were let go.
type forgotten struct {
	Before   string   `json:"before"`
	Pictures []string `json:"pictures"`
}

func hashOf(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

// linkHash is an event's hash: see the package's documentation.
func linkHash(prev string, content []byte) string {
	h := sha256.New()
	h.Write([]byte(prev + "\n"))
	h.Write(content)
	return hex.EncodeToString(h.Sum(nil))
}

// append adds an event to the chain's end, and gives it its number and time. The
// transaction must hold the write lock.
func (t *tx) append(ctx context.Context, e *event) error {
	var seq int64
	var prev string
	err := t.row(ctx, "SELECT seq, hash FROM events ORDER BY seq DESC LIMIT 1").Scan(&seq, &prev)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("records: read the chain's end: %w", err)
	}
	e.Seq, e.At = seq+1, stamp(t.now)
	content, err := json.Marshal(e)
	if err != nil {
		return fmt.Errorf("records: event: %w", err)
	}
	var inspection any
	if e.Inspection != 0 {
		inspection = e.Inspection
	}
	return t.insert(ctx, "events", "seq, at, kind, inspection, content, prev, hash",
		[][]any{{e.Seq, e.At, e.Kind, inspection, string(content), prev, linkHash(prev, content)}})
}

// link is an event as stored.
type link struct {
	seq        int64
	prev, hash string
	content    []byte
}

// chain walks along links and says where they do not hold together.
type chain struct {
	seq  int64  // of the last link seen
	hash string // of the same
}

// next checks one link, and returns its event.
func (c *chain) next(l link) (event, error) {
	var e event
	was := *c
	c.seq, c.hash = l.seq, l.hash
	switch {
	case l.seq != was.seq+1:
		return e, fmt.Errorf("event %d follows event %d: some are missing or out of order", l.seq, was.seq)
	case l.prev != was.hash:
		return e, fmt.Errorf("event %d does not carry the hash of the one before: the chain was cut and joined here", l.seq)
	case l.hash != linkHash(l.prev, l.content):
		return e, fmt.Errorf("event %d was changed: its hash is not that of its content", l.seq)
	}
	if err := json.Unmarshal(l.content, &e); err != nil {
		return e, fmt.Errorf("event %d cannot be read: %v", l.seq, err)
	}
	if e.Seq != l.seq {
		return e, fmt.Errorf("event %d says inside that it is %d", l.seq, e.Seq)
	}
	return e, nil
}

// eventsPerPage bounds what is in memory: an event is about 2 KB.
const eventsPerPage = 500

// links calls f for each link after the given number, in order.
func (t *tx) links(ctx context.Context, after int64, f func(link) error) error {
	for {
		page, err := t.linksPage(ctx, after)
		if err != nil {
			return err
		}
		for _, l := range page {
			if err := f(l); err != nil {
				return err
			}
			after = l.seq
		}
		if len(page) < eventsPerPage {
			return nil
		}
	}
}

func (t *tx) linksPage(ctx context.Context, after int64) ([]link, error) {
	rows, err := t.query(ctx, "SELECT seq, prev, hash, content FROM events WHERE seq > ? ORDER BY seq LIMIT ?", after, eventsPerPage)
	if err != nil {
		return nil, fmt.Errorf("records: read events: %w", err)
	}
	defer rows.Close()
	var page []link
	for rows.Next() {
		var l link
		var content string
		if err := rows.Scan(&l.seq, &l.prev, &l.hash, &content); err != nil {
			return nil, fmt.Errorf("records: read events: %w", err)
		}
		l.content = []byte(content)
		page = append(page, l)
	}
	return page, rows.Err()
}
