package main

import (
	"context"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"gocv.io/x/gocv"

	"finishbench/internal/bench"
	"finishbench/internal/bench/station"
	"finishbench/internal/held"
	"finishbench/internal/inspection"
	"finishbench/internal/part"
	"finishbench/internal/records"
)

// A shift of eight hours has 6000 units: one each 4.8 s (issue 4).
const shiftUnits = 6000

// benchHere runs `inspect bench` in this process until the returned function is
// called, and returns its page's address.
func benchHere(t testing.TB, run func(ctx context.Context, ready func(string)) error) (page string, end func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	open, ended := make(chan string, 1), make(chan error, 1)
	go func() { ended <- run(ctx, func(u string) { open <- u }) }()
	end = sync.OnceFunc(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("bench: %v", err)
		}
	})
	t.Cleanup(end)
	select {
	case page = <-open:
	case err := <-ended:
		ended <- err
		t.Fatalf("bench did not start: %v", err)
	}
	return page, end
}

func replayBench(t testing.TB, db, folder string, mmPerPX float64) (page string, end func()) {
	o := station.Options{Replay: folder, Page: bench.Serving{Listen: "127.0.0.1:0"}}
	o.MMPerPX, o.Stage, o.Jobs, o.Record.URL = mmPerPX, "wet", 2, db
	return benchHere(t, func(ctx context.Context, ready func(string)) error {
		return station.Run(ctx, o, nil, io.Discard, os.Stderr, ready)
	})
}

// holds is what the process holds once it has come to rest: connections that are
// being closed take a moment.
func holds(t testing.TB) held.Held {
	t.Helper()
	h, err := held.Now()
	for range 10 {
		if err != nil {
			t.Fatal(err)
		}
		time.Sleep(50 * time.Millisecond)
		was := h
		if h, err = held.Now(); h.Goroutines == was.Goroutines && h.Files == was.Files {
			break
		}
	}
	return h
}

// Small units of three pictures through the whole program, as the page starts and sees
// them: what is held after the first eight is what is held twenty units later. Of the C
// heap every byte is counted, an OpenCV Mat's among them: twenty units leak less than
// 1 MiB, which a Mat of 240x240 grey pixels left open in each of them exceeds.
func TestSoakShort(t *testing.T) {
	if testing.Short() {
		t.Skip("judges 28 units: half a minute")
	}
	page, end := replayBench(t, filepath.Join(t.TempDir(), "bench.db"),
		smallUnits(t, "face_diffuse.jpg", "face_raking.jpg", "edge_000.jpg"), smallMMPerPX)
	operator := openBrowser(t, page, "en", true)
	openBrowser(t, page, "zh-Hans", true)
	n := 0
	judge := func(units int) {
		for range units {
			n++
			operator.answer(t, fmt.Sprintf("u%04d", n))
		}
	}
	judge(8)
	before := holds(t)
	judge(20)
	after := holds(t)
	t.Logf("after 8 units: %v", before)
	t.Logf("after 28 units: %v", after)
	leaks(t, before, after, 20)
	end()
}

// leaks compares what is held with what was held some units earlier.
func leaks(t testing.TB, before, after held.Held, units int) {
	t.Helper()
	const mib = 1 << 20
	if after.Goroutines > before.Goroutines+3 || after.Files > before.Files+3 || after.Children > before.Children {
		t.Errorf("%d units leak goroutines, files or processes:\nbefore %v\nafter  %v", units, before, after)
	}
	if after.CHeap > before.CHeap+mib {
		t.Errorf("%d units leak %.2f MiB of the C heap:\nbefore %v\nafter  %v", units, float64(after.CHeap-before.CHeap)/mib, before, after)
	}
	if after.GoHeap > before.GoHeap+4*mib {
		t.Errorf("%d units leak %.2f MiB of Go's heap:\nbefore %v\nafter  %v", units, float64(after.GoHeap-before.GoHeap)/mib, before,
			after)
	}
}

// The meter of TestSoakShort sees a Mat that was not closed.
func TestMeterSeesAMat(t *testing.T) {
	before := holds(t)
	m := gocv.NewMatWithSize(1200, 1600, gocv.MatTypeCV8UC1)
	with := holds(t)
	if err := m.Close(); err != nil {
		t.Fatal(err)
	}
	after := holds(t)
	const pixels = 1600 * 1200
	if with.CHeap < before.CHeap+pixels*9/10 || after.CHeap > before.CHeap+pixels/10 {
		t.Errorf("before %v\nwith   %v\nafter  %v", before, with, after)
	}
}

// TestSoak is the long one, `make soak`: many units through the whole program and,
// with pictures and answers from store, a shift of 6000 with all that an operator
// does besides.
//
//	FINISHBENCH_SOAK        set: run; units to judge in earnest (600 in `make soak`)
//	FINISHBENCH_SOAK_SHIFT  units of the shift, 6000 where absent
func TestSoak(t *testing.T) {
	real, err := strconv.Atoi(os.Getenv("FINISHBENCH_SOAK"))
	if err != nil {
		t.Skip("takes many minutes: `make soak` runs it")
	}
	t.Run("judged", func(t *testing.T) { soakJudged(t, real) })
	n := shiftUnits
	if v, err := strconv.Atoi(os.Getenv("FINISHBENCH_SOAK_SHIFT")); err == nil {
		n = v
	}
	t.Run("shift", func(t *testing.T) { soakShift(t, n) })
}

func soakJudged(t *testing.T, units int) {
	if units == 0 {
		t.Skip("none asked for")
	}
	page, _ := replayBench(t, filepath.Join(t.TempDir(), "bench.db"), "../../testdata/images", 0.015)
	operator := openBrowser(t, page, "en", true)
	openBrowser(t, page, "zh-Hans", true)
	var before held.Held
	begin := time.Now()
	for n := 1; n <= units; n++ {
		operator.answer(t, fmt.Sprintf("u%04d", n))
		if n == 20 || n%100 == 0 || n == units {
			h := holds(t)
			fmt.Printf("judged %4d units, %4.0f s: %v\n", n, time.Since(begin).Seconds(), h)
			if n == 20 {
				before = h
			}
		}
	}
	leaks(t, before, holds(t), units-20)
}

// shiftBench is the bench with stored pictures and answers in place of camera and
// judging: its page, its records and its shift sheet are the program's. Its clock
// goes 4.8 s with each unit.
func shiftBench(t *testing.T, db string) (page string, shooter *storedShots, end func()) {
	o := station.Options{Page: bench.Serving{Listen: "127.0.0.1:0"}}
	o.MMPerPX, o.Stage, o.Jobs, o.Record.URL, o.Out = 0.015, "wet", 2, db, "."
	set, err := o.Settings()
	if err != nil {
		t.Fatal(err)
	}
	real, err := station.NewReplay("../../testdata/images", set.Fit, 2)
	if err != nil {
		t.Fatal(err)
	}
	judge := &station.Inspector{Settings: set, Slots: inspection.NewSlots(2), Now: time.Now}
	s := &storedShots{Replay: real, begun: time.Now().Add(-12 * time.Hour)}
	answers := &storedAnswers{}
	for range real.Units {
		shots, err := real.Shoot(t.Context(), part.UnitInfo{}, nil, func(bench.Progress) {})
		if err != nil {
			t.Fatal(err)
		}
		o, err := judge.Inspect(t.Context(), part.UnitInfo{Serial: "stored", Stage: part.Wet}, shots)
		if err != nil {
			t.Fatal(err)
		}
		answers.all = append(answers.all, o)
		real.Release(shots)
		for i := range shots {
			shots[i].Image = nil // of the file a beginning is enough: 6000 units are not to fill the disk
			shots[i].Raw = shots[i].Raw[:1000]
		}
		s.units = append(s.units, shots)
	}
	parts := bench.Parts{Shooter: s, Inspector: answers, PairLimits: set.Limits.Pair, Now: s.now, Log: t.Logf}
	notices := &station.Notices{Settings: set}
	parts.Notices = notices
	access, err := o.Page.Access()
	if err != nil {
		t.Fatal(err)
	}
	where, done, err := o.OpenRecords(t.Context(), set, &parts, notices)
	if err != nil {
		t.Fatal(err)
	}
	page, end = benchHere(t, func(ctx context.Context, ready func(string)) error {
		defer done()
		return o.Serve(ctx, parts, set, access, where, io.Discard, ready)
	})
	return page, s, end
}

// storedShots gives the pictures of stored units, each time a little different, so
// that each is on record by itself.
type storedShots struct {
	*station.Replay
	units [][]part.Photo
	begun time.Time
	n     atomic.Int64
}

func (s *storedShots) now() time.Time {
	return s.begun.Add(time.Duration(s.n.Load()) * 4800 * time.Millisecond)
}

func (s *storedShots) Shoot(_ context.Context, _ part.UnitInfo, _ []part.Photo, say func(bench.Progress)) ([]part.Photo, error) {
	n := s.n.Add(1)
	of := s.units[int(n)%len(s.units)]
	shots := make([]part.Photo, len(of))
	for i, x := range of {
		x.Raw = fmt.Appendf(x.Raw[:len(x.Raw):len(x.Raw)], " %d", n)
		shots[i] = x
		say(bench.Progress{Done: i + 1, Total: len(of), View: x.View, Light: x.Light, AngleDeg: x.AngleDeg})
	}
	return shots, nil
}

func (s *storedShots) Release([]part.Photo) {}

type storedAnswers struct {
	all []bench.Outcome
	n   atomic.Int64
}

func (a *storedAnswers) Inspect(_ context.Context, u part.UnitInfo, _ []part.Photo) (bench.Outcome, error) {
	o := a.all[int(a.n.Add(1))%len(a.all)]
	r := *o.Result
	r.Unit, r.Stage = u.Name(), u.Stage
	o.Result = &r
	return o, nil
}

func soakShift(t *testing.T, units int) {
	db := filepath.Join(t.TempDir(), "bench.db")
	page, clock, end := shiftBench(t, db)
	operator := openBrowser(t, page, "en", true)
	openBrowser(t, page, "zh-Hans", true)
	var before held.Held
	begin := time.Now()
	extra := 0
	for n := 1; n <= units; n++ {
		operator.answer(t, fmt.Sprintf("u%04d", n))
		if n%50 == 0 {
			extra += besides(t, operator, n)
		}
		if n == 600 || n%1000 == 0 || n == units {
			h := holds(t)
			fmt.Printf("shift %4d units, %4.0f s, %3.1f h simulated: %v\n", n, time.Since(begin).Seconds(),
				clock.now().Sub(clock.begun).Hours(), h)
			if n == 600 {
				before = h
			}
		}
	}
	after := holds(t)
	leaks(t, before, after, units-600)
	if after.Resident > before.Resident+32<<20 {
		t.Errorf("resident memory grows:\nbefore %v\nafter  %v", before, after)
	}
	sheet := time.Now()
	if _, err := operator.get(t.Context(),
		"/shift?from="+clock.begun.Add(-time.Hour).Local().Format("2006-01-02T15:04")+
			"&to="+clock.now().Add(time.Hour).Local().Format("2006-01-02T15:04"), "text/html"); err != nil {
		t.Error(err)
	}
	fmt.Printf("shift: its sheet took %.0f ms; then %v\n", ms(time.Since(sheet)), holds(t))
	end()
	store, err := records.OpenExisting(t.Context(), db, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	r, err := store.Check(t.Context())
	if err != nil || !r.OK() || r.Inspections != units+extra {
		t.Errorf("%d units, %d more: %d inspections on record, %q, %v", units, extra, r.Inspections, r.Problems, err)
	}
	fmt.Printf("shift: %d inspections on record, %d events, %d problems\n", r.Inspections, r.Events, len(r.Problems))
}

// besides is what an operator does now and then: a unit again and undone, one
// overruled, one looked up. It returns how many inspections that makes.
func besides(t *testing.T, b *benchBrowser, n int) int {
	b.start(t, fmt.Sprintf("u%04d", n)) // before and after
	e := b.phase(t, bench.Answered)
	call := part.Pass
	if overrulable(e) == part.Pass {
		call = part.Reject
	}
	b.do(t, "overrule", url.Values{"verdict": {string(call)}, "reason": {"reflection"}})
	b.until(t, "the overruling", func(e benchEvent) bool { return overrulable(e) == call })
	b.do(t, "undo", url.Values{"id": {undoOnPage.FindStringSubmatch(b.phase(t, bench.Answered).HTML)[1]}})
	b.phase(t, bench.Ready)
	if _, err := b.get(t.Context(), fmt.Sprintf("/look?serial=u%04d", n), "text/html"); err != nil {
		t.Fatal(err)
	}
	return 1
}

// undoOnPage is the inspection that the page would withdraw.
var undoOnPage = regexp.MustCompile(`data-do="undo" data-id="(\d+)"`)

// overrulable is the verdict that an answer shows.
func overrulable(e benchEvent) part.Verdict {
	if m := verdictOnPage.FindStringSubmatch(e.HTML); m != nil {
		return part.Verdict(m[1])
	}
	return ""
}

var verdictOnPage = regexp.MustCompile(`data-phase="answered"[^>]* data-verdict="([^"]+)"`)
