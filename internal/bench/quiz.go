package bench

import (
	"context"

	"finishbench/internal/bench/lang"
	"finishbench/internal/part"
	"finishbench/internal/teach"
)

// Quizzes are the blind tests: pictures without marks, which a trainee marks and
// judges. An error that wraps [QuizProblem] is told to the person as it is.
type Quizzes interface {
	// Tests are those that can be taken, newest first.
	Tests(ctx context.Context) ([]QuizTest, error)
	// Begin starts a test, or goes on with one that the same person did not end.
	Begin(ctx context.Context, quiz, initials, badge string) (taking string, err error)
	// Now is the unit to be shown; from here on its time runs.
	Now(ctx context.Context, taking string) (QuizNow, error)
	// Answer answers the unit that is shown. TimeOver in it says that the page's own
	// clock ended it.
	Answer(ctx context.Context, taking string, showing int, a teach.Answer) error
	// Picture is a picture of the unit that is shown.
	Picture(ctx context.Context, taking string, showing, picture int) (b []byte, mime string, err error)
	// Result, Progress and Certificate are pages that stand by themselves.
	Result(ctx context.Context, l *lang.Lang, taking string) ([]byte, error)
	Progress(ctx context.Context, l *lang.Lang, initials, badge string) ([]byte, error)
	Certificate(ctx context.Context, l *lang.Lang, taking string) ([]byte, error)
}

// QuizTest is a test that can be taken.
type QuizTest struct {
	Name, Title string // Title: the trainer's word for it; may be empty
	Made        string // day
	Units       int    // shown
	LimitS      float64
}

// QuizNow is where a trainee stands in a test.
type QuizNow struct {
	Title             string
	Showing, Of       int  // from 0
	Done              bool // all were answered
	Stage             part.Stage
	Lights            []part.Light // of its pictures
	WidthPX, HeightPX int
	MMPerPX           float64
	Kinds             []part.Kind // to choose from
	LimitS, LeftS     float64     // 0: no limit
	Certified         bool        // a certificate was earned
}

// QuizProblem is what a person is told.
type QuizProblem struct{ Phrase }

func (p QuizProblem) Error() string { return p.Key }
