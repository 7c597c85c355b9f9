package bench

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"time"

	"finishbench/internal/part"
)

// ServeQuizzes shows the page of tests, without a bench, until ctx ends. ready is told its address.
func (o Serving) ServeQuizzes(ctx context.Context, q Quizzes, where string, stdout, stderr io.Writer, ready func(string)) error {
	access, err := o.Access()
	if err != nil {
		return err
	}
	parts := Parts{Shooter: noShooter{}, Recorder: &Memory{}, Quizzes: q, Now: time.Now,
		Log: slog.NewLogLogger(slog.NewTextHandler(stderr, nil), slog.LevelError).Printf}
	announce := func(url string) {
		fmt.Fprintf(stdout, "Blind tests: %squiz\n", url)
		if ready != nil {
			ready(url + "quiz")
		}
	}
	return o.Serve(ctx, parts, access, part.UnitInfo{Stage: part.Cured}, "", where, stdout, announce)
}

// noShooter is the camera of a machine that has none.
type noShooter struct{}

func (noShooter) Shoot(context.Context, part.UnitInfo, []part.Photo, func(Progress)) ([]part.Photo, error) {
	return nil, errors.New("there is no camera here")
}
func (noShooter) Press() {}
func (noShooter) Live(string) ([]byte, Aid, error) {
	return nil, Aid{}, errors.New("there is no camera here")
}
func (noShooter) Cameras() []CameraState { return nil }
func (noShooter) Release([]part.Photo)   {}
