package bench

import (
	"context"

	"finishbench/internal/lang"
	"finishbench/internal/teach"
)

// Quizzes are the blind tests: pictures without marks, which a trainee marks and
// judges. An error that wraps [part.Trouble] is told to the person as it is.
type Quizzes interface {
	// Tests are those that can be taken, newest first.
	Tests(ctx context.Context) ([]teach.QuizTest, error)
	// Begin starts a test, or goes on with one that the same person did not end.
	Begin(ctx context.Context, quiz, initials, badge string) (attempt string, err error)
	// Now is the unit to be shown; from here on its time runs.
	Now(ctx context.Context, attempt string) (teach.QuizNow, error)
	// Answer answers the unit that is shown. TimeOver in it says that the page's own
	// clock ended it.
	Answer(ctx context.Context, attempt string, trial int, a teach.Answer) error
	// Picture is a picture of the unit that is shown.
	Picture(ctx context.Context, attempt string, trial, picture int) (b []byte, mime string, err error)
	// Result, Progress and Certificate are pages that stand by themselves.
	Result(ctx context.Context, l *lang.Lang, attempt string) ([]byte, error)
	Progress(ctx context.Context, l *lang.Lang, initials, badge string) ([]byte, error)
	Certificate(ctx context.Context, l *lang.Lang, attempt string) ([]byte, error)
}
