package book

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/grade"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/teach"
)

// QuizOptions are what all of the commands share.
type QuizOptions struct {
	Records  cli.Database
	Language string
}

// open opens the book of tests, and the language; makes says that a database that
// is not there is made.
func (o *QuizOptions) open(ctx context.Context, makes bool) (*Book, *lang.Lang, error) {
	l, err := cli.Language(o.Language)
	if err != nil {
		return nil, nil, err
	}
	var s *records.Store
	if makes {
		url, err := o.Records.Where()
		if err != nil {
			return nil, nil, err
		}
		if s, err = records.Open(ctx, url, time.Now); err != nil {
			return nil, nil, err
		}
	} else if s, err = o.Records.Open(ctx); err != nil {
		return nil, nil, err
	}
	return Open(s, time.Now), l, nil
}

// With runs f with the open book. What is meant for a person is told in the
// language asked for, as wrong usage.
func (o *QuizOptions) With(ctx context.Context, makes bool, f func(*Book, *lang.Lang) error) error {
	b, l, err := o.open(ctx, makes)
	if err != nil {
		return err
	}
	defer b.Store.Close()
	err = f(b, l)
	var p *part.Trouble
	if errors.As(err, &p) {
		return cli.Usagef("%s", strings.TrimSuffix(l.Say(&p.Phrase), "."))
	}
	return err
}

// QuizKindsOf reads kinds of defects.
func QuizKindsOf(words []string) ([]part.Kind, error) {
	var all []part.Kind
	for _, w := range words {
		if !slices.Contains(grade.SurfaceKinds, part.Kind(w)) {
			return nil, cli.Usagef("--kinds %s: the kinds are %s", w, part.JoinKinds(grade.SurfaceKinds))
		}
		all = append(all, part.Kind(w))
	}
	return all, nil
}

var quizDifficulties = map[string]teach.Difficulty{"mixed": teach.AnyDifficulty, "easy": teach.Easy, "middling": teach.Middling, "hard": teach.Hard}

// Difficulty reads how hard a test shall be.
func Difficulty(word string) (teach.Difficulty, error) {
	d, ok := quizDifficulties[word]
	if !ok {
		return 0, cli.Usagef("--difficulty %s: mixed, easy, middling or hard", word)
	}
	return d, nil
}

// DifficultyUse is the help of the flags that say so.
const DifficultyUse = "easy (over 0.5 mm), middling (over 0.2 mm), hard (up to 0.2 mm), or mixed"

// Confirm keeps what a person says of an inspection.
func (b *Book) Confirm(ctx context.Context, id int64, by string, c Confirmation, stdout io.Writer) error {
	in, err := b.Store.Get(ctx, id)
	if errors.Is(err, records.ErrNotFound) {
		return cli.Usagef("there is no inspection %d", id)
	} else if err != nil {
		return err
	}
	if !in.Holds() {
		return cli.Usagef("inspection %d was withdrawn or corrected: it cannot be asked", id)
	}
	body, err := c.Confirmed(in)
	if err != nil {
		return err
	}
	if _, err := RecordItem(ctx, b.Store, in, body, by); err != nil {
		return cli.Usagef("inspection %d cannot be asked in a test: %w", id, err)
	}
	name, what := body.Name(), "faceplate"
	if body.ShellDeg != nil {
		what = body.Pose().String()
	}
	for {
		old, err := b.Store.Journal(ctx, TopicTruth, name)
		if err != nil {
			return err
		}
		data, err := json.Marshal(body)
		if err != nil {
			return err
		}
		err = b.Store.Note(ctx, part.Entry{Topic: TopicTruth, Name: name, Seq: int64(len(old)) + 1, Kind: "confirmed", At: b.now(), By: by, Body: data})
		if errors.Is(err, records.ErrMeanwhile) {
			continue
		}
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(stdout, "inspection %d: %d defects on the %s and the verdict %s are confirmed by %s\n", id, len(body.Known), what, body.Verdict, by)
		return err
	}
}

// DrawOptions are the flags of draw.
type DrawOptions struct {
	Spec                      teach.Spec
	Kinds, Stages             []string
	Difficulty, Stage, Limits string
	Initials, Badge           string // whose earlier misses weigh
	Recorded                  bool
	Criteria                  teach.Criteria
}

// Drawn draws a test and says what it is.
func (b *Book) Drawn(ctx context.Context, d DrawOptions, dirs []string, stdout io.Writer) error {
	var err error
	if d.Spec.Kinds, err = QuizKindsOf(d.Kinds); err != nil {
		return err
	}
	if d.Spec.Difficulty, err = Difficulty(d.Difficulty); err != nil {
		return err
	}
	for _, w := range d.Stages {
		st, err := part.ParseStage(w)
		if err != nil {
			return cli.UsageError{Err: err}
		}
		d.Spec.Stages = append(d.Spec.Stages, st)
	}
	stage, err := part.ParseStage(d.Stage)
	if err != nil {
		return cli.UsageError{Err: err}
	}
	limits, err := config.LoadLimits(d.Limits)
	if err != nil {
		return cli.UsageError{Err: err}
	}
	if d.Spec.Prior, err = b.prior(ctx, d); err != nil {
		return err
	}
	d.Spec.Criteria = &d.Criteria
	folders := dirs[:0:0]
	for _, dir := range dirs {
		if st, err := os.Stat(dir); err == nil && !st.IsDir() { // of a shell's *
			fmt.Fprintf(stdout, "%s is no folder: left out\n", dir)
			continue
		}
		folders = append(folders, dir)
	}
	pool, err := PoolUnits(folders, stage, limits)
	if err != nil {
		return err
	}
	gone := 0
	if d.Recorded {
		recorded, n, err := PoolRecords(ctx, b.Store)
		if err != nil {
			return err
		}
		pool, gone = append(pool, recorded...), n
	}
	if len(pool) == 0 {
		what := "there are no units to ask: name folders with a truth.json (inspect quiz paint draws such), or confirm recorded units (inspect quiz confirm)"
		if gone > 0 {
			what = fmt.Sprintf("the pictures of all %d confirmed units were taken off the records; %s", gone, what)
		}
		return cli.Usagef("%s", what)
	}
	t, err := teach.NewTest(d.Spec, pool)
	if err != nil {
		return cli.UsageError{Err: err}
	}
	name, err := b.draw(ctx, t)
	if err != nil {
		return err
	}
	if gone > 0 {
		fmt.Fprintf(stdout, "%d confirmed units are left out: their pictures were taken off the records, or cannot be shown\n", gone)
	}
	_, err = fmt.Fprintf(stdout, "test %s is drawn: %d units shown, of %d that may be asked\n", name, d.Spec.Showings(), len(t.Pool))
	return err
}

// prior are what a person missed in earlier tests.
func (b *Book) prior(ctx context.Context, d DrawOptions) ([]teach.KindCount, error) {
	if d.Initials == "" && d.Badge == "" {
		return nil, nil
	}
	if !d.Spec.Adapt {
		return nil, cli.Usagef("--initials and --badge go with --adapt")
	}
	p, err := b.Known(ctx, d.Initials, d.Badge)
	if err != nil {
		return nil, err
	}
	all, err := b.ofPerson(ctx, p.ID)
	if err != nil {
		return nil, err
	}
	sum := map[part.Kind]teach.KindCount{}
	for _, t := range all {
		for _, k := range t.Score.Missed() {
			s := sum[k.Kind]
			sum[k.Kind] = teach.KindCount{Kind: k.Kind, Asked: s.Asked + k.Asked, Missed: s.Missed + k.Missed}
		}
	}
	var out []teach.KindCount
	for _, k := range part.Kinds {
		if s, ok := sum[k]; ok {
			out = append(out, s)
		}
	}
	return out, nil
}

// List tells of the tests and of who took them.
func (b *Book) List(ctx context.Context, stdout io.Writer) error {
	quizzes, err := b.quizzes(ctx)
	if err != nil {
		return err
	}
	if len(quizzes) == 0 {
		_, err := fmt.Fprintln(stdout, "no test was drawn yet")
		return err
	}
	attempts, err := b.attempts(ctx)
	if err != nil {
		return err
	}
	words, err := b.words(ctx)
	if err != nil {
		return err
	}
	for _, q := range quizzes {
		s := q.Test.Spec
		fmt.Fprintf(stdout, "%s  %s  %d units, seed %d  %s\n", q.Name, day(q.Made), s.Showings(), s.Seed, s.Name)
		for _, t := range attempts {
			if t.Quiz != q.Name {
				continue
			}
			state := fmt.Sprintf("%d of %d answered", len(t.Shown), s.Showings())
			if !t.Finished.IsZero() {
				state = "ended"
			}
			if t.Certificate != nil {
				state += ", certificate until " + day(t.Certificate.Expires)
			}
			fmt.Fprintf(stdout, "    %s  %s  %s  %s\n", t.Name, day(t.Last), cli.Or(words[t.Person], "(erased)"), state)
		}
	}
	return nil
}

// Find finds an attempt by the beginning of its name.
func (b *Book) Find(ctx context.Context, name string) (quizTaken, error) {
	all, err := b.attempts(ctx)
	if err != nil {
		return quizTaken{}, err
	}
	var found []quizTaken
	for _, t := range all {
		if name != "" && strings.HasPrefix(t.Name, name) {
			found = append(found, t)
		}
	}
	switch len(found) {
	case 0:
		return quizTaken{}, cli.Usagef("no test was taken under the name %q: 'inspect quiz list' names them", name)
	case 1:
		return found[0], nil
	}
	return quizTaken{}, cli.Usagef("%d attempts begin with %q: give more letters", len(found), name)
}

// Unanswered is why an attempt has no score: nothing to score is wrong usage.
func Unanswered(t quizTaken, err error) error {
	if errors.Is(err, teach.ErrNoAnswer) {
		return cli.Usagef("attempt %s: no unit was answered yet", t.Name)
	}
	return err
}

// WhyNot says why there is no certificate.
func (b *Book) WhyNot(t quizTaken, l *lang.Lang) error {
	s, err := teach.NewScore(t.Of.Test, t.Shown, teach.DefaultScoreOptions())
	if err != nil {
		return Unanswered(t, err)
	}
	all, _ := t.Of.Test.Spec.Asked().Weigh(s, !t.Finished.IsZero())
	return fmt.Errorf("%s %s", l.T("quiz.no_certificate"), strings.TrimSuffix(unmet(l, all), "."))
}

// Export writes all that was answered.
func (b *Book) Export(ctx context.Context, l *lang.Lang, initials, badge string, stdout io.Writer) error {
	p, err := b.Known(ctx, initials, badge)
	if err != nil {
		return err
	}
	all, err := b.ofPerson(ctx, p.ID)
	if err != nil {
		return err
	}
	out := Exported{ID: p.ID, Initials: p.Initials, Badge: p.Badge, Attempts: []exportedTaken{}}
	for _, t := range all {
		e := exportedTaken{Answers: []exportedAnswer{}, QuizNumbers: QuizNumbers{Attempt: t.Name, Quiz: t.Quiz, Who: p.Word()}}
		if t.Err == nil {
			e.QuizNumbers = QuizSheet{L: l, Who: p.Word(), Quiz: t.Of, Attempt: t.Attempt, Score: t.Score}.Numbers()
		}
		for _, s := range t.Shown {
			e.Answers = append(e.Answers, exportedAnswer{t.Of.Test.Pool[s.Item].Unit, s.Gone, s.Answer})
		}
		out.Attempts = append(out.Attempts, e)
	}
	return cli.WriteJSON(stdout, out)
}
