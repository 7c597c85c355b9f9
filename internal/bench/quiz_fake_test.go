package bench

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"

	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/teach"
)

// quizRoom keeps tests in memory, by the same engine as the records do.
type quizRoom struct {
	mu       sync.Mutex
	test     teach.Test
	attempts map[string]*quizTaker
	limit    float64
}

type quizTaker struct {
	who   string
	shown []teach.Shown
	done  bool
}

// quizItem is a grey unit of 400x300 px at 20 um with dark spots.
func quizItem(key string, verdict part.Verdict, known ...teach.KnownDefect) teach.Item {
	return teach.Item{Key: key, Unit: key, Stage: part.Cured, Provenance: teach.Drawn, MMPerPX: 0.02, WidthPX: 400, HeightPX: 300, Known: known, Verdict: verdict,
		Pictures: []teach.ItemPicture{{Light: part.Diffuse, Ref: key}, {Light: part.Raking, Ref: key}}}
}

func spot(kind part.Kind, x, y float64) teach.KnownDefect {
	return teach.KnownDefect{Kind: kind, Box: part.Box{x - 10, y - 10, 20, 20}, SizeMM: 0.4, Measure: "diameter", CNR: 40}
}

func newQuizRoom(t testing.TB, s teach.Spec) *quizRoom {
	t.Helper()
	test, err := teach.NewTest(s, []teach.Item{
		quizItem("c1", part.Pass), quizItem("c2", part.Pass), quizItem("b1", part.Rework, spot(part.Bubble, 120, 90)), quizItem("d1", part.Reject, spot(part.Dust, 300, 210)),
		quizItem("bd", part.Rework, spot(part.Bubble, 80, 220), spot(part.Dust, 330, 60)),
	})
	if err != nil {
		t.Fatal(err)
	}
	return &quizRoom{test: test, attempts: map[string]*quizTaker{}, limit: s.LimitS}
}

func (q *quizRoom) Tests(context.Context) ([]teach.QuizTest, error) {
	return []teach.QuizTest{{Name: "Q1", Title: "Spots", Made: "2031-01-02", Units: q.test.Spec.Showings(), LimitS: q.limit}}, nil
}

func (q *quizRoom) Begin(_ context.Context, _, initials, badge string) (string, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if initials == "AB" && badge == "" {
		return "", &part.Trouble{Phrase: part.Phrase{Key: "quiz.which", Args: map[string]string{"n": "2", "initials": "AB", "badges": "17, 23"}}}
	}
	who := initials + badge
	for name, t := range q.attempts {
		if t.who == who && !t.done {
			return name, nil
		}
	}
	name := fmt.Sprintf("t%d", len(q.attempts)+1)
	q.attempts[name] = &quizTaker{who: who}
	return name, nil
}

func (q *quizRoom) Now(_ context.Context, attempt string) (teach.QuizNow, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	t := q.attempts[attempt]
	if t == nil {
		return teach.QuizNow{}, &part.Trouble{Phrase: part.Phrase{Key: "quiz.no_taking"}}
	}
	n := teach.QuizNow{Title: "Spots", Trial: len(t.shown), Of: q.test.Spec.Showings(), LimitS: q.limit, LeftS: q.limit, Kinds: []part.Kind{part.Bubble, part.Dust, part.Fibre}}
	i, ok := q.test.Next(t.shown)
	if !ok {
		t.done, n.Done = true, true
		return n, nil
	}
	it := q.test.Pool[i]
	n.Stage, n.WidthPX, n.HeightPX, n.MMPerPX, n.Lights = it.Stage, it.WidthPX, it.HeightPX, it.MMPerPX, []part.Light{part.Diffuse, part.Raking}
	return n, nil
}

// open is the item before a taker.
func (q *quizRoom) open(t testing.TB, attempt string) teach.Item {
	t.Helper()
	q.mu.Lock()
	defer q.mu.Unlock()
	i, ok := q.test.Next(q.attempts[attempt].shown)
	if !ok {
		t.Fatal("no unit is open")
	}
	return q.test.Pool[i]
}

func (q *quizRoom) shown(attempt string) []teach.Shown {
	q.mu.Lock()
	defer q.mu.Unlock()
	return append([]teach.Shown(nil), q.attempts[attempt].shown...)
}

func (q *quizRoom) Answer(_ context.Context, attempt string, trial int, a teach.Answer) error {
	q.mu.Lock()
	defer q.mu.Unlock()
	t := q.attempts[attempt]
	i, ok := q.test.Next(t.shown)
	if !ok || trial != len(t.shown) {
		return &part.Trouble{Phrase: part.Phrase{Key: "quiz.answered_already"}}
	}
	if err := a.Check(q.test.Pool[i]); err != nil {
		return &part.Trouble{Phrase: part.Phrase{Key: "quiz.answer_bad"}}
	}
	t.shown = append(t.shown, teach.Shown{Item: i, Answer: a})
	return nil
}

func (q *quizRoom) Picture(_ context.Context, attempt string, trial, _ int) ([]byte, string, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	t := q.attempts[attempt]
	i, ok := q.test.Next(t.shown)
	if !ok || trial != len(t.shown) {
		return nil, "", &part.Trouble{Phrase: part.Phrase{Key: "wrong.not_found"}}
	}
	im := image.NewGray(image.Rect(0, 0, 400, 300))
	for p := range im.Pix {
		im.Pix[p] = 150
	}
	for _, k := range q.test.Pool[i].Known {
		for y := int(k.Box[1]); y < int(k.Box[1]+k.Box[3]); y++ {
			for x := int(k.Box[0]); x < int(k.Box[0]+k.Box[2]); x++ {
				im.SetGray(x, y, color.Gray{90})
			}
		}
	}
	var b bytes.Buffer
	err := png.Encode(&b, im)
	return b.Bytes(), "image/png", err
}

func (q *quizRoom) Result(_ context.Context, _ *lang.Lang, attempt string) ([]byte, error) {
	s, err := teach.NewScore(q.test, q.shown(attempt), teach.DefaultScoreOptions())
	return fmt.Appendf(nil, "<!doctype html><title>r</title><p>%d mistakes, %d units", len(s.Mistakes), s.Units), err
}

func (q *quizRoom) Progress(context.Context, *lang.Lang, string, string) ([]byte, error) {
	return nil, &part.Trouble{Phrase: part.Phrase{Key: "quiz.nobody", Args: map[string]string{"who": "XY"}}}
}

func (q *quizRoom) Certificate(context.Context, *lang.Lang, string) ([]byte, error) {
	return nil, &part.Trouble{Phrase: part.Phrase{Key: "quiz.no_certificate"}}
}

// quizRig is a server with tests.
func quizRig(t testing.TB, room *quizRoom, o Options) *rigged {
	t.Helper()
	r := &rigged{shooter: newFakeShooter(), memory: &memory{}}
	r.Station = NewStation(Parts{Shooter: r.shooter, Inspector: &fakeInspector{next: []Outcome{passing()}}, Recorder: r.memory, Quizzes: room, Log: t.Logf}, part.UnitInfo{Stage: part.Wet}, "")
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { r.Station.Run(ctx); close(done) }()
	o.Languages = languages(t)
	r.server = NewServer(r.Station, o)
	r.web = httptest.NewServer(http.Handler(r.server))
	t.Cleanup(func() { cancel(); <-done; r.web.Close() })
	return r
}
