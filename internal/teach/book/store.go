package book

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"finishbench/internal/grade"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/teach"
)

// Book keeps blind tests in the records: tests and attempts as journals, and
// people where they can be erased.
type Book struct {
	Store *records.Store
	now   func() time.Time
}

// Open is the book of tests of a database.
func Open(store *records.Store, now func() time.Time) *Book {
	return &Book{store, now}
}

// problem is what a person at the page is told.
func problem(key string, args ...string) error {
	return &part.Trouble{Phrase: part.Say(key, args...)}
}

func (b *Book) note(ctx context.Context, topic, name string, seq int64, kind string, body any) error {
	data, err := json.Marshal(body)
	if err != nil {
		return err
	}
	return b.Store.Note(ctx, part.Entry{Topic: topic, Name: name, Seq: seq, Kind: kind, At: b.now(), Body: data})
}

// draw keeps a drawn test and gives it its name.
func (b *Book) draw(ctx context.Context, t teach.Test) (string, error) {
	for {
		old, err := b.Store.Journals(ctx, teach.TopicQuiz, teach.EventDrawn)
		if err != nil {
			return "", err
		}
		name := "Q" + strconv.Itoa(len(old)+1)
		err = b.note(ctx, teach.TopicQuiz, name, 1, teach.EventDrawn, teach.DrawnBody{Test: t})
		if !errors.Is(err, records.ErrMeanwhile) {
			return name, err
		}
	}
}

// Quiz is the test of a name.
func (b *Book) Quiz(ctx context.Context, name string) (teach.Quiz, error) {
	entries, err := b.Store.Journal(ctx, teach.TopicQuiz, name)
	if err != nil {
		return teach.Quiz{}, err
	}
	q, err := teach.ReadQuiz(entries)
	if errors.Is(err, teach.ErrNoQuiz) {
		return q, problem("quiz.no_test", "name", name)
	}
	return q, err
}

// quizzes are all tests, oldest first.
func (b *Book) quizzes(ctx context.Context) ([]teach.Quiz, error) {
	entries, err := b.Store.Journals(ctx, teach.TopicQuiz)
	if err != nil {
		return nil, err
	}
	var all []teach.Quiz
	for _, e := range entries {
		q, err := teach.ReadQuiz([]part.Entry{e})
		if err != nil {
			return nil, err
		}
		all = append(all, q)
	}
	return all, nil
}

// Tests implements bench.Quizzes.
func (b *Book) Tests(ctx context.Context) ([]teach.QuizTest, error) {
	all, err := b.quizzes(ctx)
	if err != nil {
		return nil, err
	}
	var out []teach.QuizTest
	for _, q := range slices.Backward(all) {
		out = append(out, teach.QuizTest{Name: q.Name, Title: q.Test.Spec.Name, Made: day(q.Made), Units: q.Test.Spec.Showings(), LimitS: q.Test.Spec.LimitS})
	}
	return out, nil
}

func day(t time.Time) string { return t.Local().Format("2006-01-02") }

// Attempt reads an attempt with its test.
func (b *Book) Attempt(ctx context.Context, name string) (teach.Quiz, teach.Attempt, error) {
	entries, err := b.Store.Journal(ctx, teach.TopicAttempt, name)
	if err != nil {
		return teach.Quiz{}, teach.Attempt{}, err
	}
	return b.readAttempt(ctx, name, entries, nil)
}

func (b *Book) readAttempt(ctx context.Context, name string, events []part.Entry, known map[string]teach.Quiz) (teach.Quiz, teach.Attempt, error) {
	var q teach.Quiz
	if len(events) == 0 {
		return q, teach.Attempt{}, problem("quiz.no_taking")
	}
	var begun teach.BegunBody
	if err := json.Unmarshal(events[0].Body, &begun); err != nil {
		return q, teach.Attempt{}, fmt.Errorf("attempt %s: %w", name, err)
	}
	q, ok := known[begun.Quiz]
	if !ok {
		var err error
		if q, err = b.Quiz(ctx, begun.Quiz); err != nil {
			return q, teach.Attempt{}, err
		}
	}
	t, err := teach.ReadAttempt(q, events)
	return q, t, err
}

// quizTaken is an attempt with its test.
type quizTaken struct {
	Of teach.Quiz
	teach.Attempt
}

// attempts are all attempts, in the order in which they were begun.
func (b *Book) attempts(ctx context.Context) ([]quizTaken, error) {
	quizzes, err := b.quizzes(ctx)
	if err != nil {
		return nil, err
	}
	known := map[string]teach.Quiz{}
	for _, q := range quizzes {
		known[q.Name] = q
	}
	entries, err := b.Store.Journals(ctx, teach.TopicAttempt)
	if err != nil {
		return nil, err
	}
	by := map[string][]part.Entry{}
	var names []string
	for _, e := range entries {
		if by[e.Name] == nil {
			names = append(names, e.Name)
		}
		by[e.Name] = append(by[e.Name], e)
	}
	var all []quizTaken
	for _, n := range names {
		q, t, err := b.readAttempt(ctx, n, by[n], known)
		if err != nil {
			return nil, err
		}
		all = append(all, quizTaken{q, t})
	}
	return all, nil
}

// who finds a person; what does not tell one is told to the person.
func (b *Book) who(ctx context.Context, initials, badge string) (teach.Person, error) {
	known, err := KnownPeople(ctx, b.Store)
	if err != nil {
		return teach.Person{}, err
	}
	p, err := teach.Who(initials, badge, known)
	var several teach.AmbiguousError
	var wrong teach.BadgeError
	switch {
	case errors.As(err, &several):
		var badges []string
		for _, w := range several.Badges {
			if w == "" {
				w = teach.NoBadge
			}
			badges = append(badges, w)
		}
		return p, problem("quiz.which", "n", strconv.Itoa(len(badges)), "initials", several.Initials, "badges", strings.Join(badges, ", "))
	case errors.As(err, &wrong):
		return p, problem("quiz.badge_wrong", "badge", wrong.Badge)
	case errors.Is(err, teach.ErrWho):
		return p, problem("quiz.who_missing")
	case err != nil:
		return p, problem("quiz.who_bad")
	}
	return p, nil
}

// Known is who, where the person must have taken a test.
func (b *Book) Known(ctx context.Context, initials, badge string) (teach.Person, error) {
	p, err := b.who(ctx, initials, badge)
	if err == nil && p.ID == "" {
		err = problem("quiz.nobody", "who", p.Word())
	}
	return p, err
}

// words are what people are called, by their ids; those erased are not in it.
func (b *Book) words(ctx context.Context) (map[string]string, error) {
	people, err := KnownPeople(ctx, b.Store)
	words := map[string]string{}
	for _, p := range people {
		words[p.ID] = p.Word()
	}
	return words, err
}

// randomName names what nobody shall guess.
func randomName() string {
	b := make([]byte, 10)
	rand.Read(b)
	return hex.EncodeToString(b)
}

// Begin implements bench.Quizzes.
func (b *Book) Begin(ctx context.Context, quiz, initials, badge string) (string, error) {
	if _, err := b.Quiz(ctx, quiz); err != nil {
		return "", err
	}
	p, err := b.who(ctx, initials, badge)
	if err != nil {
		return "", err
	}
	if p.ID != "" {
		all, err := b.attempts(ctx)
		if err != nil {
			return "", err
		}
		for _, t := range slices.Backward(all) {
			if t.Person == p.ID && t.Quiz == quiz && t.Finished.IsZero() {
				return t.Name, nil
			}
		}
	}
	person, err := KeepPerson(ctx, b.Store, p)
	if err != nil {
		return "", err
	}
	name := randomName()
	return name, b.note(ctx, teach.TopicAttempt, name, 1, teach.EventBegun, teach.BegunBody{Quiz: quiz, Person: person})
}

// Now implements bench.Quizzes.
func (b *Book) Now(ctx context.Context, attempt string) (teach.QuizNow, error) {
	for {
		q, t, err := b.Attempt(ctx, attempt)
		if err != nil {
			return teach.QuizNow{}, err
		}
		s := q.Test.Spec
		n := teach.QuizNow{Title: s.Name, Trial: len(t.Shown), Of: s.Showings(), LimitS: s.LimitS, Kinds: grade.SurfaceKinds, Certified: t.Certificate != nil}
		if n.Title == "" {
			n.Title = q.Name
		}
		if !t.Finished.IsZero() {
			n.Done = true
			return n, nil
		}
		if t.Open != nil {
			it := q.Test.Pool[t.Open.Item]
			n.Stage, n.WidthPX, n.HeightPX, n.MMPerPX = it.Stage, it.WidthPX, it.HeightPX, it.MMPerPX
			for _, p := range it.Pictures {
				n.Lights = append(n.Lights, p.Light)
			}
			if s.LimitS > 0 {
				n.LeftS = max(0, s.LimitS-b.now().Sub(t.Open.Since).Seconds())
			}
			return n, nil
		}
		if err := b.next(ctx, q, t); err != nil && !errors.Is(err, records.ErrMeanwhile) {
			return n, err
		}
	}
}

// next opens the next unit, or ends the attempt.
func (b *Book) next(ctx context.Context, q teach.Quiz, t teach.Attempt) error {
	i, ok := q.Test.Next(t.Shown)
	if !ok {
		return b.finish(ctx, q, t)
	}
	it := q.Test.Pool[i]
	body := teach.ShownBody{Trial: len(t.Shown), Item: it.Key}
	if err := b.note(ctx, teach.TopicAttempt, t.Name, t.Entries+1, teach.EventShown, body); err != nil {
		return err
	}
	for _, p := range it.Pictures {
		if err := IsThere(ctx, b.Store, p); errors.Is(err, errGone) {
			return b.note(ctx, teach.TopicAttempt, t.Name, t.Entries+2, teach.EventGone, body)
		} else if err != nil {
			return err
		}
	}
	return nil
}

// finish ends an attempt; a certificate is given where it was earned.
func (b *Book) finish(ctx context.Context, q teach.Quiz, t teach.Attempt) error {
	seq := t.Entries + 1
	if err := b.note(ctx, teach.TopicAttempt, t.Name, seq, teach.EventFinished, struct{}{}); err != nil {
		return err
	}
	s, err := teach.NewScore(q.Test, t.Shown, teach.DefaultScoreOptions())
	if errors.Is(err, teach.ErrNoAnswer) {
		return nil
	} else if err != nil {
		return err
	}
	if c := q.Test.Spec.Asked(); met(c, s) {
		return b.note(ctx, teach.TopicAttempt, t.Name, seq+1, teach.EventCertified, teach.CertifiedBody{Certificate: c.Certify(b.now())})
	}
	return nil
}

func met(c teach.Criteria, s teach.Score) bool {
	_, ok := c.Weigh(s, true)
	return ok
}

// graceS is how long after the time limit an answer may still be on its way.
const graceS = 5

// Answer implements bench.Quizzes.
func (b *Book) Answer(ctx context.Context, attempt string, trial int, a teach.Answer) error {
	q, t, err := b.Attempt(ctx, attempt)
	if err != nil {
		return err
	}
	if t.Open == nil || trial != len(t.Shown) {
		return problem("quiz.answered_already")
	}
	elapsed := b.now().Sub(t.Open.Since).Seconds()
	if !(a.TookS >= 0 && a.TookS <= elapsed) {
		a.TookS = max(0, elapsed) // the page's own clock stands still over a break, and may do no more
	}
	limit := q.Test.Spec.LimitS
	a.TimeOver = limit > 0 && (a.TimeOver || elapsed > limit)
	if a.TimeOver && elapsed > limit+graceS {
		a.Marks, a.Verdict = nil, "" // after a break, or a page that went on
	}
	if limit > 0 {
		a.TookS = min(a.TookS, limit)
	}
	a.TookS = math.Round(a.TookS*1000) / 1000
	it := q.Test.Pool[t.Open.Item]
	if err := a.Check(it); err != nil {
		return problem("quiz.answer_bad")
	}
	err = b.note(ctx, teach.TopicAttempt, attempt, t.Entries+1, teach.EventAnswered, teach.AnsweredBody{Trial: trial, Item: it.Key, Answer: a})
	if errors.Is(err, records.ErrMeanwhile) {
		return problem("quiz.answered_already")
	}
	return err
}

// Picture implements bench.Quizzes.
func (b *Book) Picture(ctx context.Context, attempt string, trial, picture int) ([]byte, string, error) {
	q, t, err := b.Attempt(ctx, attempt)
	if err != nil {
		return nil, "", err
	}
	if t.Open == nil || trial != len(t.Shown) {
		return nil, "", problem("quiz.answered_already")
	}
	all := q.Test.Pool[t.Open.Item].Pictures
	if picture < 0 || picture >= len(all) {
		return nil, "", problem("wrong.not_found")
	}
	raw, err := QuizPicture(ctx, b.Store, all[picture])
	if errors.Is(err, errGone) {
		return nil, "", problem("wrong.not_found")
	} else if err != nil {
		return nil, "", err
	}
	mime, _, _, err := pictureKind(raw)
	return raw, mime, err
}
