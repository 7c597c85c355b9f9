package teach

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"finishbench/internal/part"
)

// Topics of the journals in which tests are kept. A test's journal has one entry;
// an attempt's grows with each unit that is shown and answered.
const (
	TopicQuiz    = "quiz"
	TopicAttempt = "quiz-taking"
)

// Kinds of entries.
const (
	EventDrawn     = "drawn"     // of a quiz: DrawnBody
	EventBegun     = "begun"     // of an attempt: BegunBody; the other ones too
	EventShown     = "shown"     // ShownBody
	EventAnswered  = "answered"  // AnsweredBody
	EventGone      = "gone"      // ShownBody: its picture was not there any more
	EventFinished  = "finished"  // no body
	EventCertified = "certified" // CertifiedBody
)

// The bodies of events.
type (
	DrawnBody struct {
		Test
	}
	BegunBody struct {
		Quiz   string `json:"quiz"`
		Person string `json:"person"` // id
	}
	ShownBody struct {
		Trial int    `json:"showing"` // from 0
		Item  string `json:"item"`    // key
	}
	AnsweredBody struct {
		Trial int    `json:"showing"`
		Item  string `json:"item"`
		Answer
	}
	CertifiedBody struct {
		Certificate
	}
)

// Quiz is a drawn test as kept.
type Quiz struct {
	Name string
	Made time.Time
	Test Test
}

// ReadQuiz reads a test out of the entries of its journal.
func ReadQuiz(events []part.Entry) (Quiz, error) {
	if len(events) == 0 {
		return Quiz{}, ErrNoQuiz
	}
	e := events[0]
	if e.Kind != EventDrawn {
		return Quiz{}, fmt.Errorf("quiz %s: its journal begins with %q, not with its drawing", e.Name, e.Kind)
	}
	var b DrawnBody
	if err := json.Unmarshal(e.Body, &b); err != nil {
		return Quiz{}, fmt.Errorf("quiz %s cannot be read: %w", e.Name, err)
	}
	return Quiz{e.Name, e.At, b.Test}, nil
}

// What callers tell apart.
var (
	ErrNoQuiz    = errors.New("there is no test of this name")
	ErrNoAttempt = errors.New("there is no attempt of this name")
)

// Attempt is one person's way through a test.
type Attempt struct {
	Name, Quiz, Person string
	Begun, Finished    time.Time // Finished zero: not yet
	Last               time.Time // when anything was last done
	Entries            int64     // in its journal
	Shown              []Shown   // answered, or gone
	Open               *Open     // the unit before the trainee; nil: none yet
	Certificate        *Certificate
}

// Open is a unit that is shown and not answered.
type Open struct {
	Item  int
	Since time.Time // when it was shown first: a time limit counts from here, also after a break
}

// ReadAttempt reads an attempt out of the entries of its journal. Each answer must be
// of the unit that was shown; what does not fit tells that the journal is not whole.
func ReadAttempt(q Quiz, events []part.Entry) (Attempt, error) {
	if len(events) == 0 {
		return Attempt{}, ErrNoAttempt
	}
	t := Attempt{Name: events[0].Name, Quiz: q.Name, Entries: int64(len(events))}
	for i, e := range events {
		if err := t.take(q.Test, i, e); err != nil {
			return t, fmt.Errorf("attempt %s, entry %d (%s): %w", t.Name, i+1, e.Kind, err)
		}
		t.Last = e.At
	}
	return t, nil
}

func (t *Attempt) take(q Test, i int, e part.Entry) error {
	item := func(key string) (int, error) {
		n := slices.IndexFunc(q.Pool, func(it Item) bool { return it.Key == key })
		if n < 0 {
			return 0, fmt.Errorf("the test has no unit %q", key)
		}
		return n, nil
	}
	if (i == 0) != (e.Kind == EventBegun) {
		return errors.New("an attempt begins once, with its first entry")
	}
	if !t.Finished.IsZero() && e.Kind != EventCertified {
		return errors.New("the attempt was over")
	}
	switch e.Kind {
	case EventBegun:
		var b BegunBody
		if err := json.Unmarshal(e.Body, &b); err != nil {
			return err
		}
		t.Person, t.Begun = b.Person, e.At
	case EventShown:
		var b ShownBody
		if err := json.Unmarshal(e.Body, &b); err != nil {
			return err
		}
		n, err := item(b.Item)
		if err != nil {
			return err
		}
		if b.Trial != len(t.Shown) || t.Open != nil {
			return fmt.Errorf("unit %d was shown where unit %d was open", b.Trial+1, len(t.Shown)+1)
		}
		t.Open = &Open{n, e.At}
	case EventAnswered:
		var b AnsweredBody
		if err := json.Unmarshal(e.Body, &b); err != nil {
			return err
		}
		return t.close(item, b.Trial, b.Item, Shown{Answer: b.Answer})
	case EventGone:
		var b ShownBody
		if err := json.Unmarshal(e.Body, &b); err != nil {
			return err
		}
		return t.close(item, b.Trial, b.Item, Shown{Gone: true})
	case EventFinished:
		if t.Open != nil {
			return errors.New("a unit was still open")
		}
		t.Finished = e.At
	case EventCertified:
		var b CertifiedBody
		if err := json.Unmarshal(e.Body, &b); err != nil {
			return err
		}
		t.Certificate = &b.Certificate
	default:
		return errors.New("this program does not know it: a newer one wrote it")
	}
	return nil
}

func (t *Attempt) close(item func(string) (int, error), trial int, key string, s Shown) error {
	n, err := item(key)
	if err != nil {
		return err
	}
	if t.Open == nil || t.Open.Item != n || trial != len(t.Shown) {
		return fmt.Errorf("unit %d (%s) was not the one that was shown", trial+1, key)
	}
	s.Item, t.Open = n, nil
	t.Shown = append(t.Shown, s)
	return nil
}
