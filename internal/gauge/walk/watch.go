package walk

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path/filepath"

	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/gauge/setup"
	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// setupScreen shows a person how far the bench is.
type setupScreen interface {
	begin(where string)
	view(v setup.View)
	note(text string) // of a picture that could not be used, of a folder out of reach
}

// arrivals are pictures as they come: a [capture.Watch].
type arrivals interface {
	Next(ctx context.Context) (capture.Frame, error)
}

// setupWatch follows pictures as they come until all steps are in order.
func setupWatch(ctx context.Context, x *lang.Lang, from arrivals, b *setupBench, names []setup.Name, o Options, stdout,
	stderr io.Writer) error {
	w := setup.NewWalk(b.limits, names)
	screen := newSetupScreen(x, w, names, o.JSON, stdout)
	screen.begin(o.Watch)
	err := watchUntilDone(ctx, x, from, b, w, screen)
	stopped := errors.Is(err, context.Canceled)
	if err != nil && !stopped {
		return err
	}
	if o.Out != "" {
		// Written without its text: the screen has said it all.
		page := cli.SheetOptions{Out: o.Out}
		if err := page.Write("setup", setupResult{x: x, names: names, steps: w.Steps()}.sheet(), nil, io.Discard); err != nil {
			return err
		}
		if !o.JSON {
			fmt.Fprintf(stdout, "The page: %s\n", filepath.Join(o.Out, "setup.html"))
		}
	}
	if stopped {
		done := 0
		for _, n := range names {
			if w.Done(n) {
				done++
			}
		}
		fmt.Fprintf(stderr, "inspect: stopped: %d of %d steps are in order\n", done, len(names))
		return cli.ExitCode(cli.ExitInterrupted)
	}
	return nil
}

func watchUntilDone(ctx context.Context, x *lang.Lang, from arrivals, b *setupBench, w *setup.Walk, screen setupScreen) error {
	for {
		step, more := w.Current()
		if !more {
			return nil
		}
		f, err := from.Next(ctx)
		var bad capture.PictureError
		switch {
		case errors.As(err, &bad):
			screen.note(x.T("setup.unused", "file", filepath.Base(bad.Path), "why", setupSentence(x, cli.Why(bad))))
			continue
		case errors.Is(err, capture.ErrAway):
			screen.note(x.T("setup.away", "why", cli.UpperFirst(cli.Plain(err))))
			continue
		case err != nil:
			return err
		}
		r := b.live(f, step)
		capture.Release(f.Image)
		screen.view(w.See(r))
		if r.Framing.Key != "" {
			screen.note(setupSentence(x, r.Framing))
		}
	}
}

// setupLineJSON is what --watch --json writes for each picture, one line each.
type setupLineJSON struct {
	Picture  string        `json:"picture"`
	Step     setupStepJSON `json:"step"`
	Trend    string        `json:"trend,omitempty"`
	Notice   []string      `json:"notice,omitempty"`
	Done     []string      `json:"done"`
	Finished bool          `json:"finished"`

	TrendPhrase *part.Phrase `json:"trend_phrase,omitempty"` // to be told in any language
}

// jsonScreen writes a line of JSON for each picture.
type jsonScreen struct {
	walk  *setup.Walk
	names []setup.Name
	to    *json.Encoder
}

func (s jsonScreen) begin(string) {}

func (s jsonScreen) view(v setup.View) {
	line := setupLineJSON{Picture: v.File, Step: stepJSON(v.Step), Trend: inEnglish(v.Trend), TrendPhrase: orNil(v.Trend),
		Notice: lang.English().SayAll(v.Notice), Done: []string{}, Finished: v.Finished}
	for _, n := range s.names {
		if s.walk.Done(n) {
			line.Done = append(line.Done, string(n))
		}
	}
	_ = s.to.Encode(line) // a reader that went away ends the program by its signal
}

func (s jsonScreen) note(text string) {
	_ = s.to.Encode(struct {
		Note string `json:"note"`
	}{text})
}
