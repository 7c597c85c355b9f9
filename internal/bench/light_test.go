package bench

import (
	"context"
	"errors"
	"math"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"finishbench/internal/part"
	"finishbench/internal/people"
)

// stripes is a pattern as the bench asks for it.
func stripes(axis string, phaseDeg float64) Pattern {
	return Pattern{Kind: Stripes, Colour: [3]float64{1, 1, 1}, Axis: axis, PeriodMM: 4, PhaseDeg: phaseDeg, Contrast: 0.9}
}

// shownBy begins a Show and returns its answer to come.
func shownBy(s *Screens, p Pattern) <-chan error {
	done := make(chan error, 1)
	go func() { done <- s.Show(context.Background(), p) }()
	synctest.Wait()
	return done
}

// still fails where a Show has answered.
func still(t *testing.T, done <-chan error, when string) {
	t.Helper()
	synctest.Wait()
	select {
	case err := <-done:
		t.Fatalf("Show returned %v %s", err, when)
	default:
	}
}

// onScreens runs a test by a faked clock.
func onScreens(t *testing.T, f func(*testing.T, *Screens)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) { f(t, NewScreens()) })
}

// shines is a page that was started and shows pattern n.
func shines(n int64) screenState { return screenState{lit: true, painted: n, pxPerMM: 5} }

func isKey(err error, key string) bool {
	var told *part.Trouble
	return errors.As(err, &told) && told.Key == key
}

// Only the report of the very pattern from every page ends a Show.
func TestShowWaitsForItsNumber(t *testing.T) {
	onScreens(t, func(t *testing.T, s *Screens) {
		for _, id := range []string{"a", "b"} {
			s.join(id)
			s.tell(id, shines(0))
		}
		for n := int64(1); n <= 3; n++ {
			done := shownBy(s, stripes("x", 90*float64(n)))
			time.Sleep(s.Pace)
			synctest.Wait()
			if a := s.current(); a.Number != n || a.Pattern != stripes("x", 90*float64(n)) {
				t.Fatalf("pattern %d is asked for as %+v", n, a)
			}
			for _, other := range []int64{0, n - 1, n + 1} {
				s.tell("a", shines(other))
				s.tell("b", shines(n))
				s.tell("nobody", shines(n))
				still(t, done, "while one of two pages shows another pattern")
			}
			s.tell("a", shines(n))
			synctest.Wait()
			if err := <-done; err != nil {
				t.Fatal(err)
			}
		}
	})
}

// A page that never tells: an error after the patience, not before.
func TestShowGivesUp(t *testing.T) {
	onScreens(t, func(t *testing.T, s *Screens) {
		s.join("a")
		s.tell("a", shines(0))
		began := time.Now()
		err := s.Show(t.Context(), white)
		if took := time.Since(began); !isKey(err, "screen.problem.late") || !strings.Contains(err.Error(), "in 6 s") || took != s.Patience {
			t.Errorf("%v after %v", err, took)
		}
		// A person who cancels is not kept waiting.
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if err := s.Show(ctx, white); !errors.Is(err, context.DeadlineExceeded) {
			t.Error(err)
		}
		// Nor one that the program ends under.
		done := shownBy(s, white)
		s.hub.close()
		if err := <-done; !isKey(err, "lost_server") {
			t.Error(err)
		}
	})
}

// A grey's light, drawn by the curve that holds, is its level again: all 256 of them.
func TestGreyIsItsLevel(t *testing.T) {
	for _, gamma := range []float64{0, 1.5, 1.8, 2.2, 2.6, 3.2} {
		s := NewScreens()
		s.Gamma = gamma
		for level := range 256 {
			if got := s.Grey(level).wants(0, 0, 1, 1, 1, gamma)[0]; math.Abs(got-float64(level)) > 0.01 {
				t.Errorf("gamma %g: level %d is drawn as %.2f", gamma, level, got)
			}
		}
		if s.current().Gamma != gamma {
			t.Errorf("the pages are told %g for a gamma of %g", s.current().Gamma, gamma)
		}
	}
}

// Without a page that gives light there is an error at once, that says what to do.
func TestShowWithoutLight(t *testing.T) {
	onScreens(t, func(t *testing.T, s *Screens) {
		atOnce := func(key, what string) {
			t.Helper()
			began := time.Now()
			err := s.Show(t.Context(), white)
			if !isKey(err, key) || time.Since(began) != 0 {
				t.Errorf("%s: %v after %v", what, err, time.Since(began))
			}
			if s.current().Number != 0 {
				t.Errorf("%s: a pattern was asked for", what)
			}
		}
		atOnce("screen.problem.none", "no page")
		wake, _ := s.join("a")
		s.tell("a", screenState{})
		atOnce("screen.problem.unlit", "a page that waits for its start")
		s.tell("a", screenState{lit: true, hidden: true})
		atOnce("screen.problem.hidden", "a screen asleep")
		s.join("b")
		s.tell("b", shines(0))
		atOnce("screen.problem.hidden", "one of two screens asleep")
		s.tell("a", shines(0))
		time.Sleep(screenSilence + time.Second)
		atOnce("screen.problem.none", "pages not heard of")
		s.leave("a", wake)
	})
}

// A screen that falls asleep meanwhile is told at once.
func TestShowTellsOfSleep(t *testing.T) {
	onScreens(t, func(t *testing.T, s *Screens) {
		s.join("a")
		s.tell("a", shines(0))
		done := shownBy(s, white)
		s.tell("a", screenState{lit: true, hidden: true})
		synctest.Wait()
		if err := <-done; !isKey(err, "screen.problem.hidden") {
			t.Error(err)
		}
	})
}

// A page that loses its stream and comes back is waited for; its old stream's end
// takes nothing away.
func TestShowOverALostStream(t *testing.T) {
	onScreens(t, func(t *testing.T, s *Screens) {
		old, _ := s.join("a")
		s.tell("a", shines(0))
		done := shownBy(s, white)
		s.leave("a", old)
		still(t, done, "while the page is away")
		again, _ := s.join("a")
		s.leave("a", old)
		still(t, done, "before the page that came back has told")
		s.tell("a", shines(1))
		synctest.Wait()
		if err := <-done; err != nil {
			t.Error(err)
		}
		s.leave("a", again)
		if len(s.open) != 0 || s.hub.watchers() != 0 {
			t.Errorf("%d pages and %d streams are left", len(s.open), s.hub.watchers())
		}
	})
}

// However fast the pages are and however many ask, fewer than three changes come in
// any second (WCAG 2.1, 2.3.1: no more than three flashes in a second).
func TestShowIsNoStrobe(t *testing.T) {
	onScreens(t, func(t *testing.T, s *Screens) {
		wake, _ := s.join("a")
		s.tell("a", shines(0))
		var changes []time.Time
		go func() { // a page that paints within 20 ms
			for shown := int64(0); ; {
				if _, ok := <-wake; !ok {
					return
				}
				if a := s.current(); a.Number != shown {
					shown = a.Number
					time.Sleep(20 * time.Millisecond)
					changes = append(changes, time.Now())
					time.Sleep(s.Settle)
					s.tell("a", shines(shown))
				}
			}
		}()
		const each = 20
		all := make(chan error)
		for range 2 {
			go func() {
				var errs []error
				for i := range each {
					errs = append(errs, s.Show(context.Background(), stripes("y", float64(i%4)*90)))
				}
				all <- errors.Join(errs...)
			}()
		}
		for range 2 {
			if err := <-all; err != nil {
				t.Fatal(err)
			}
		}
		s.hub.close()
		synctest.Wait()
		if len(changes) != 2*each {
			t.Fatalf("%d changes for %d patterns", len(changes), 2*each)
		}
		for i := 3; i < len(changes); i++ {
			if d := changes[i].Sub(changes[i-3]); d <= time.Second {
				t.Errorf("four changes within %v", d)
			}
			// And no slower than the pace by more than the painting: by the drawing.
			if d := changes[i].Sub(changes[i-1]); d <= time.Second/3 || d > 450*time.Millisecond {
				t.Errorf("%v between two changes", d)
			}
		}
	})
}

// What no screen can show is refused, in words.
func TestPatternsThatAreNone(t *testing.T) {
	good := stripes("x", 0)
	for want, change := range map[string]func(*Pattern){
		"kind":     func(p *Pattern) { p.Kind = "dots" },
		"axis":     func(p *Pattern) { p.Axis = "z" },
		"period":   func(p *Pattern) { p.PeriodMM = 0 },
		"contrast": func(p *Pattern) { p.Contrast = 1.1 },
		"colour":   func(p *Pattern) { p.Colour[1] = math.NaN() },
		"phase":    func(p *Pattern) { p.PhaseDeg = math.Inf(1) },
		"0 or 180": func(p *Pattern) { p.Kind, p.PhaseDeg = Half, 90 },
	} {
		p := good
		change(&p)
		if err := NewScreens().Show(t.Context(), p); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", want, err)
		}
	}
	if err := good.check(); err != nil {
		t.Error(err)
	}
}

// The light page is let in as the bench's other pages are, and what it tells of
// itself carries the session's token.
func TestLightAccess(t *testing.T) {
	r := rig(t, Options{Passphrase: &people.Hash{}})
	p := r.person(t)
	if code, body, _ := p.get("/light"); code != http.StatusOK || !strings.Contains(body, `type="password"`) {
		t.Errorf("the page without the passphrase: %d", code)
	}
	if code, _, _ := p.get("/light/events?screen=x"); code != http.StatusOK || len(r.Screens.open) != 0 { // the page that asks for it
		t.Errorf("its events without the passphrase: %d, %d pages", code, len(r.Screens.open))
	}
	if code, _ := p.post("/light/state", url.Values{}); code != http.StatusForbidden {
		t.Errorf("telling without the passphrase: %d", code)
	}

	r = rig(t, Options{})
	p = r.person(t)
	code, body, _ := p.get("/light")
	m := regexp.MustCompile(`data-screen="([^"]+)"`).FindStringSubmatch(body)
	if code != http.StatusOK || m == nil {
		t.Fatalf("%d: %s", code, body)
	}
	r.Screens.join(m[1])
	state := url.Values{"screen": {m[1]}, "painted": {"7"}, "lit": {"1"}, "hidden": {"0"}, "px_per_mm": {"0"}, "doubt": {"0"}}
	token := p.token
	p.token = "wrong"
	if code, _ := p.post("/light/state", state); code != http.StatusForbidden {
		t.Errorf("another page's telling: %d", code)
	}
	p.token = token
	if code, _ := p.post("/light/state", url.Values{"screen": {m[1]}, "painted": {"x"}}); code != http.StatusBadRequest {
		t.Errorf("half a state: %d", code)
	}
	if code, _ := p.post("/light/state", state); code != http.StatusNoContent ||
		r.Screens.open[m[1]].screenState != (screenState{painted: 7, lit: true}) {
		t.Errorf("a state: %d, %+v", code, r.Screens.open[m[1]])
	}
	// The bench's page says what is in doubt about the light.
	for _, c := range []struct{ mm, doubt, want string }{{"0", "0", "is not measured"}, {"5", "1", "is not full, or its zoom"},
		{"5", "0", ""}} {
		state.Set("px_per_mm", c.mm)
		state.Set("doubt", c.doubt)
		p.post("/light/state", state)
		html, err := r.benchPart(words{languages(t).All()[0]}, r.Snapshot(), viewer{})
		if said := regexp.MustCompile(`The screen that gives light [^<]*`).FindString(string(html)); err != nil ||
			c.want == "" && said != "" || !strings.Contains(said, c.want) {
			t.Errorf("%s px per mm, in doubt %s: the bench says %q, %v", c.mm, c.doubt, said, err)
		}
	}
	for _, screen := range []string{"", strings.Repeat("x", maxScreenName+1)} {
		if code, _, _ := p.get("/light/events?screen=" + screen); code != http.StatusBadRequest {
			t.Errorf("events for a name of %s letters: %d", strconv.Itoa(len(screen)), code)
		}
	}
}
