package records

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"

	"finishbench/internal/part"
)

func lotEntry(name string, seq int64, kind, body string) part.Entry {
	return part.Entry{Topic: "lot", Name: name, Seq: seq, Kind: kind, By: "李 A", Body: json.RawMessage(body)}
}

func note(t *testing.T, s *Store, es ...part.Entry) {
	t.Helper()
	if err := s.Note(context.Background(), es...); err != nil {
		t.Fatal(err)
	}
}

// What was noted is read back as it was, by another opening too, and is part of
// the chain, the trail and the export.
func TestJournal(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		ctx := context.Background()
		s := open(t, url)
		at := time.Date(2031, 3, 4, 6, 0, 0, 123456789, time.UTC)
		first := lotEntry("A", 1, "opened", `{"size":500,"product":"ear 耳"}`)
		first.At = at
		note(t, s, first, lotEntry("A", 2, "drawn", `{"seed":7}`))
		note(t, s, lotEntry("B", 1, "opened", `{}`))
		add(t, s, invented(0))
		note(t, s, lotEntry("A", 3, "decided", ""))
		got, err := open(t, url).Journal(ctx, "lot", "A")
		if err != nil || len(got) != 3 {
			t.Fatalf("%+v %v", got, err)
		}
		if !reflect.DeepEqual(got[0], first) {
			t.Errorf("got  %+v\nwant %+v", got[0], first)
		}
		if got[1].At.IsZero() || string(got[1].Body) != `{"seed":7}` || got[2].Body != nil {
			t.Errorf("%+v", got[1:])
		}
		all, err := s.Journals(ctx, "lot", "opened", "decided")
		if err != nil || len(all) != 3 || all[0].Name != "A" || all[1].Name != "B" || all[2].Kind != "decided" {
			t.Errorf("%+v %v", all, err)
		}
		if none, err := s.Journal(ctx, "lot", "C"); err != nil || none != nil {
			t.Errorf("%+v %v", none, err)
		}
		if none, err := s.Journals(ctx, "quiz"); err != nil || none != nil {
			t.Errorf("%+v %v", none, err)
		}
		r, err := s.Check(ctx)
		if err != nil || !r.OK() || r.Events != 5 || r.Entries != 4 || r.Inspections != 1 {
			t.Errorf("%+v %v", r, err)
		}
		// The decision came last: its hash is the chain's end.
		if h, err := s.LastHash(ctx, "lot", "A", "decided"); err != nil || h != r.Head.Hash || h == "" {
			t.Errorf("%q, %v; the chain ends with %q", h, err, r.Head.Hash)
		}
		if h, err := s.LastHash(ctx, "lot", "B", "decided"); err != nil || h != "" {
			t.Errorf("of a lot that is not decided: %q, %v", h, err)
		}
		var trail, lines bytes.Buffer
		if err := errors.Join(s.Export(ctx, &trail, FormatTrail), s.Export(ctx, &lines, FormatJournal)); err != nil {
			t.Fatal(err)
		}
		if tr, err := CheckTrail(&trail); err != nil || tr.Events != 5 {
			t.Errorf("%+v %v", tr, err)
		}
		if n := strings.Count(lines.String(), "\n"); n != 4 || !strings.HasPrefix(lines.String(),
			`{"topic":"lot","name":"A","seq":1,"kind":"opened","at":"2031-03-04T06:00:00.123456789Z","by":"李 A","body":{"size":500,`) {
			t.Errorf("%s", lines.String())
		}
	})
}

// The next one, whatever there is; who said so is not in the chain.
func TestNoteNext(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		ctx := context.Background()
		s := open(t, url)
		for range 2 {
			if err := s.NoteNext(ctx, part.Entry{Topic: "atlas", Name: "atlas", Kind: "pin", By: "Badge-Q9"},
				map[string]int{"number": 3}); err != nil {
				t.Fatal(err)
			}
		}
		next, err := s.Journal(ctx, "atlas", "atlas")
		if err != nil || len(next) != 2 || next[1].Seq != 2 || string(next[1].Body) != `{"number":3}` || next[0].By != next[1].By ||
			!strings.HasPrefix(next[0].By, aliasPrefix) {
			t.Errorf("%+v, %v", next, err)
		}
		if err := s.NoteNext(ctx, part.Entry{Topic: "atlas", Name: "atlas", Kind: "pin", By: "a\x00"}, nil); !errors.Is(err, ErrInvalid) {
			t.Errorf("a name that is none: %v", err)
		}
	})
}

// A number that is taken, or that leaves a gap, is told; and then nothing of the
// whole call was written.
func TestNoteMeanwhile(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		ctx := context.Background()
		s := open(t, url)
		note(t, s, lotEntry("A", 1, "opened", `{}`))
		for _, seq := range []int64{1, 3} {
			if err := s.Note(ctx, lotEntry("B", 1, "opened", `{}`), lotEntry("A", seq, "drawn", `{}`)); !errors.Is(err, ErrMeanwhile) {
				t.Errorf("%d: %v", seq, err)
			}
		}
		if b, err := s.Journal(ctx, "lot", "B"); err != nil || b != nil {
			t.Errorf("half a call was written: %+v %v", b, err)
		}
		// Many at once: each number once.
		var all sync.WaitGroup
		done := make([]int, 4)
		for i := range done {
			all.Go(func() {
				for seq := int64(2); seq <= 6; seq++ {
					switch err := s.Note(ctx, lotEntry("A", seq, "taken", `{}`)); {
					case err == nil:
						done[i]++
					case !errors.Is(err, ErrMeanwhile):
						t.Error(err)
					}
				}
			})
		}
		all.Wait()
		if n := done[0] + done[1] + done[2] + done[3]; n != 5 {
			t.Errorf("%v: %d entries, of five", done, n)
		}
	})
}

func TestNoteRefuses(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		s := open(t, url)
		for _, e := range []part.Entry{
			{}, lotEntry("", 1, "opened", `{}`), lotEntry("A", 0, "opened", `{}`), lotEntry("A", 1, "", `{}`),
			lotEntry("A\n", 1, "opened", `{}`),
			lotEntry("A", 1, "opened", `{`), lotEntry("A", 1, "opened", `"\u0000"`), lotEntry(strings.Repeat("A", 201), 1, "opened", `{}`),
		} {
			if err := s.Note(context.Background(), e); !errors.Is(err, ErrInvalid) || strings.Contains(err.Error(), "\n") {
				t.Errorf("%+v: %v", e, err)
			}
		}
	})
}

// Entries cannot be changed; and where triggers are put away, it shows.
func TestCheckSeesJournal(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		for i, c := range []struct{ change, want string }{
			{"UPDATE journal SET name = 'B' WHERE seq = 2", "row of event 2"},
			{"UPDATE journal SET kind = 'decided' WHERE seq = 2", "row of event 2"},
			{"DELETE FROM journal WHERE seq = 2", "row of event 2"},
			{"UPDATE events SET content = replace(content, 'taken', 'drawn') WHERE seq = 2", "event 2 was changed"},
		} {
			url := url
			if i > 0 && strings.HasPrefix(url, "postgres") {
				url = cluster.url(t)
			} else if i > 0 {
				url += fmt.Sprint(i)
			}
			s := open(t, url)
			note(t, s, lotEntry("A", 1, "opened", `{}`), lotEntry("A", 2, "taken", `{}`))
			if _, err := s.w.Exec(c.change); err == nil {
				t.Errorf("%s: not refused", c.change)
			}
			withTriggersOff(t, s, c.change)
			r, err := s.Check(context.Background())
			if err != nil || r.OK() || !strings.Contains(strings.Join(r.Problems, "\n"), c.want) {
				t.Errorf("%s: %q %v", c.change, r.Problems, err)
			}
		}
	})
}

// The brief form says the same as the whole one, as far as it goes.
func TestBriefs(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		ctx := context.Background()
		s := open(t, url)
		for n := range 4 {
			add(t, s, invented(n))
		}
		if err := s.Overrule(ctx, 2, part.Overrule{By: "B", Verdict: "pass", Reason: "reflection"}); err != nil {
			t.Fatal(err)
		}
		if err := s.Withdraw(ctx, 3, part.Note{By: "B"}); err != nil {
			t.Fatal(err)
		}
		again := invented(3)
		again.Corrects = 4
		add(t, s, again)
		whole, err := s.Find(ctx, Filter{Lot: "lot 7"})
		if err != nil {
			t.Fatal(err)
		}
		brief, err := s.Briefs(ctx, Filter{Lot: "lot 7"})
		if err != nil || len(brief) != 5 {
			t.Fatalf("%d %v", len(brief), err)
		}
		for i := range whole {
			w, b := whole[i], brief[i]
			w.Pictures, w.Station, w.Scales, w.Libraries, w.Corrects, w.Brief = nil, part.SettingsFile{}, nil, "", 0, true
			r := &w.Result
			r.Schema, r.Reasons, r.MMPerPX, r.Pictures, r.Warnings, r.Unit = 0, nil, 0, nil, nil, w.Name()
			if !reflect.DeepEqual(w, b) {
				t.Errorf("got  %+v\nwant %+v", b, w)
			}
		}
		some, err := s.BriefsOf(ctx, []int64{4, 1, 4})
		if err != nil || some[0].ID != 4 || some[1].ID != 1 || some[2].ID != 4 || some[0].CorrectedBy != 5 {
			t.Errorf("%+v %v", some, err)
		}
		if _, err := s.BriefsOf(ctx, []int64{1, 99}); !errors.Is(err, ErrNotFound) {
			t.Error(err)
		}
		if none, err := s.BriefsOf(ctx, nil); err != nil || len(none) != 0 {
			t.Errorf("%+v %v", none, err)
		}
	})
}
