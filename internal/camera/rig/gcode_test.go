package rig

import (
	"context"
	"errors"
	"io"
	"runtime"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"finishbench/internal/camera/pty"
	"finishbench/internal/camera/retry"
	"finishbench/internal/camera/trouble"
	"finishbench/internal/part"
)

func options(c *controller) GCodeOptions {
	return GCodeOptions{
		Device: c.Link, Rest: "G4 P0", Home: []string{"G28 A0"}, Ask: "M114", Angle: `A:([-0-9.]+)`,
		Lights: []LightLines{{"diffuse", []string{"M8"}, []string{"M9"}}, {"raking", []string{"M3 S255"}, []string{"M5"}}},
		Wake:   100 * time.Millisecond, Answer: 300 * time.Millisecond, Motion: 600 * time.Millisecond,
		Retry: retry.Waits{First: 20 * time.Millisecond, Most: 100 * time.Millisecond, Steady: time.Minute},
	}
}

func opened(t *testing.T, o GCodeOptions) *GCode {
	t.Helper()
	g, err := NewGCode(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { g.Close() })
	ready(t, g)
	return g
}

func ready(t *testing.T, g *GCode) {
	t.Helper()
	for end := time.Now().Add(20 * time.Second); !g.State().Ready; time.Sleep(2 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("not ready: %v", g.State().Why)
		}
	}
}

func told(t *testing.T, err error, key string, lost bool) *part.Trouble {
	t.Helper()
	var why *part.Trouble
	var l *LostError
	if !errors.As(err, &why) || why.Key != key || errors.As(err, &l) != lost {
		t.Fatalf("error %v, want %s, lost %v", err, key, lost)
	}
	return why
}

func TestUnitInOrder(t *testing.T) {
	c := newController(t)
	g := opened(t, options(c))
	if got, want := c.lines(), []string{"G90", "M9", "M5"}; !slices.Equal(got, want) {
		t.Errorf("at the start %q, want %q: absolute, all lights off", got, want)
	}
	ctx := t.Context()
	for _, do := range []func() error{
		func() error { return g.Light(ctx, "diffuse") },
		func() error { return g.Turn(ctx, 0) },
		func() error { return g.Turn(ctx, 30) },
		func() error { return g.Turn(ctx, 30) }, // stands there
		func() error { return g.Light(ctx, "raking") },
		func() error { return g.Light(ctx, "raking") }, // is on
		func() error { return g.Turn(ctx, 22.5) },
		func() error { return g.Light(ctx, Off) },
		func() error { return g.Home(ctx) },
	} {
		if err := do(); err != nil {
			t.Fatal(err)
		}
	}
	want := []string{"M8", "G28 A0", "G4 P0", "G0 A30", "G4 P0", "M114", "M9", "M3 S255", "G0 A22.5", "G4 P0", "M114", "M5", "G28 A0",
		"G4 P0"}
	if got := c.lines(); !slices.Equal(got, want) {
		t.Errorf("sent %q, want %q", got, want)
	}
	if s := g.State(); s.Light != Off || s.AngleDeg == nil || *s.AngleDeg != 0 {
		t.Errorf("state %+v", s)
	}
}

func TestRefusals(t *testing.T) {
	c := newController(t)
	g := opened(t, options(c))
	told(t, g.Light(t.Context(), "back"), trouble.NoLight, false)
	if err := g.Turn(t.Context(), 400); err == nil {
		t.Error("400 degrees were taken")
	}
	c.set(func() {
		c.reply = func(line string) (string, bool) { return "error:9", strings.HasPrefix(line, "G0") }
	})
	why := told(t, g.Turn(t.Context(), 30), trouble.Refused, false)
	if why.Error() != "the controller refused G0 A30: error:9" {
		t.Errorf("%q", why.Error())
	}
	if !g.State().Ready || g.State().AngleDeg != nil {
		t.Errorf("after a refusal: %+v", g.State())
	}
}

// Nothing comes back: told within the time, the line is opened anew, and the turn
// is not sent again before the position was asked for.
func TestNoAnswer(t *testing.T) {
	c := newController(t)
	g := opened(t, options(c))
	if err := g.Turn(t.Context(), 30); err != nil {
		t.Fatal(err)
	}
	c.set(func() {
		c.reply = func(line string) (string, bool) { return "", strings.HasPrefix(line, "G0") }
	})
	began := time.Now()
	why := told(t, g.Turn(t.Context(), 60), trouble.NoAnswer, true)
	if d := time.Since(began); d > 2*time.Second || why.Args["line"] != "G0 A60" {
		t.Errorf("%q after %v", why.Error(), d)
	}
	told(t, g.Turn(t.Context(), 60), trouble.NoAnswer, true) // still lost, told at once
	c.set(func() { c.reply = nil })
	c.lines()
	ready(t, g)
	c.lines()
	if err := g.Turn(t.Context(), 60); err != nil {
		t.Fatal(err)
	}
	if got, want := c.lines(), []string{"M114", "G0 A60", "G4 P0", "M114"}; !slices.Equal(got, want) {
		t.Errorf("sent %q, want %q: the position first", got, want)
	}
}

// An answer that comes after the time was up is not taken for that of a later
// line.
func TestLateAnswer(t *testing.T) {
	c := newController(t)
	g := opened(t, options(c))
	if err := g.Turn(t.Context(), 30); err != nil {
		t.Fatal(err)
	}
	c.set(func() { c.moving = 800 * time.Millisecond }) // Motion is 600
	told(t, g.Turn(t.Context(), 90), trouble.NoAnswer, true)
	c.set(func() { c.moving = 300 * time.Millisecond })
	ready(t, g)
	began := time.Now()
	if err := g.Turn(t.Context(), 120); err != nil {
		t.Fatal(err)
	}
	if d := time.Since(began); d < 300*time.Millisecond {
		t.Errorf("said to stand still after %v; the turn takes 300 ms", d)
	}
}

func TestNonsense(t *testing.T) {
	c := newController(t)
	g := opened(t, options(c))
	for _, answer := range []string{"okay", "\x80\xfe\x00?", "resend 5"} {
		c.set(func() { c.reply = func(line string) (string, bool) { return answer, line == "M8" } })
		told(t, g.Light(t.Context(), "diffuse"), trouble.Garbage, true)
		c.set(func() { c.reply = nil })
		ready(t, g)
		if err := g.Light(t.Context(), "diffuse"); err != nil {
			t.Errorf("after %q: %v", answer, err)
		}
		_ = g.Light(t.Context(), Off)
	}
}

// Information between the lines, and a controller that says it needs longer.
func TestSmallTalk(t *testing.T) {
	c := newController(t)
	g := opened(t, options(c))
	c.set(func() {
		c.reply = func(line string) (string, bool) {
			if line != "M8" {
				return "", false
			}
			c.Say("[MSG: lamp warms up]")
			for range 4 {
				time.Sleep(150 * time.Millisecond) // together longer than Answer
				c.Say("echo:busy: processing")
			}
			return "ok", true
		}
	})
	if err := g.Light(t.Context(), "diffuse"); err != nil {
		t.Error(err)
	}
}

// Unplugged in the middle of a unit: told at once; plugged in again it comes back
// under its stable name, homes, as it has started anew, and goes on.
func TestUnplugged(t *testing.T) {
	c := newController(t)
	c.set(func() { c.banner = "Controller 1.0 ready" })
	g := opened(t, options(c))
	if err := g.Turn(t.Context(), 30); err != nil {
		t.Fatal(err)
	}
	c.Unplug()
	for end := time.Now().Add(5 * time.Second); g.State().Ready; time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("the loss was not noticed")
		}
	}
	var lost *LostError
	if err := g.Turn(t.Context(), 60); !errors.As(err, &lost) {
		t.Fatalf("%v", err)
	}
	time.Sleep(50 * time.Millisecond)
	if why := g.State().Why; why.Key != trouble.NoDevice && why.Key != trouble.Unplugged {
		t.Errorf("%+v", why)
	}
	c.plug()
	ready(t, g)
	c.lines()
	if err := g.Turn(t.Context(), 60); err != nil {
		t.Fatal(err)
	}
	if s := g.State(); *s.AngleDeg != 60 {
		t.Errorf("state %+v", s)
	}
}

// A controller that starts anew in the middle has lost its zero: it is homed
// before the next turn, even though it would tell a position.
func TestRestarted(t *testing.T) {
	c := newController(t)
	c.set(func() { c.banner = "Controller 1.0 ready" })
	c.Unplug()
	c.plug()
	g := opened(t, options(c))
	if err := g.Turn(t.Context(), 30); err != nil {
		t.Fatal(err)
	}
	c.set(func() {
		c.reply = func(line string) (string, bool) { return c.banner, strings.HasPrefix(line, "G0") }
	})
	told(t, g.Turn(t.Context(), 60), trouble.Restarted, true)
	c.set(func() { c.reply = nil })
	ready(t, g)
	c.lines()
	if err := g.Turn(t.Context(), 60); err != nil {
		t.Fatal(err)
	}
	if got, want := c.lines(), []string{"G28 A0", "G4 P0", "G0 A60", "G4 P0", "M114"}; !slices.Equal(got, want) {
		t.Errorf("sent %q, want %q: home first", got, want)
	}
}

// Without home and position, a lost answer leaves it to the operator.
func TestZeroByHand(t *testing.T) {
	c := newController(t)
	o := options(c)
	o.Home, o.Ask, o.Angle = nil, "", ""
	g := opened(t, o)
	if err := g.Turn(t.Context(), 30); err != nil { // zero is where it was switched on
		t.Fatal(err)
	}
	c.set(func() { c.reply = func(line string) (string, bool) { return "", strings.HasPrefix(line, "G0") } })
	told(t, g.Turn(t.Context(), 60), trouble.NoAnswer, true)
	c.set(func() { c.reply = nil })
	ready(t, g)
	told(t, g.Turn(t.Context(), 60), trouble.NoPosition, false)
	if err := g.Zero(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := g.Turn(t.Context(), 60); err != nil {
		t.Error(err)
	}
}

// Given up in the middle of a turn: its answer, which comes later, is not taken
// for that of the lights going out.
func TestGivenUp(t *testing.T) {
	c := newController(t)
	g := opened(t, options(c))
	if err := g.Light(t.Context(), "diffuse"); err != nil {
		t.Fatal(err)
	}
	if err := g.Turn(t.Context(), 30); err != nil {
		t.Fatal(err)
	}
	c.set(func() { c.moving = 200 * time.Millisecond })
	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	if err := g.Turn(ctx, 90); !errors.Is(err, context.DeadlineExceeded) {
		t.Fatalf("%v", err)
	}
	c.set(func() { c.reply = func(line string) (string, bool) { return "error:1", line == "M9" } })
	told(t, g.Light(t.Context(), Off), trouble.Refused, false)
}

func TestTableHeld(t *testing.T) {
	c := newController(t)
	g := opened(t, options(c))
	if err := g.Turn(t.Context(), 0); err != nil {
		t.Fatal(err)
	}
	c.set(func() {
		c.reply = func(line string) (string, bool) { return "ok", strings.HasPrefix(line, "G0") } // says ok and does not move
	})
	why := told(t, g.Turn(t.Context(), 30), trouble.NoPosition, false)
	if !strings.Contains(why.Error(), "at 0 degrees instead of 30") {
		t.Errorf("%q", why.Error())
	}
}

// quickPort answers ok to each line at once.
type quickPort struct {
	r *io.PipeReader
	w *io.PipeWriter
}

func (p quickPort) Read(b []byte) (int, error) { return p.r.Read(b) }
func (p quickPort) Write(b []byte) (int, error) {
	go func() { _, _ = p.w.Write([]byte("ok\n")) }()
	return len(b), nil
}
func (p quickPort) Close() error { return p.w.Close() }

// However fast lights are asked for, they do not flash: WCAG 2.2, 2.3.1 allows
// three flashes in any second.
func TestNoStrobe(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := options(&controller{Device: &pty.Device{}})
		o.Open = func() (io.ReadWriteCloser, error) { r, w := io.Pipe(); return quickPort{r, w}, nil }
		g, err := NewGCode(o)
		if err != nil {
			t.Fatal(err)
		}
		defer g.Close()
		time.Sleep(time.Second)
		var ons []time.Time
		for i := range 20 {
			if err := g.Light(t.Context(), []string{"diffuse", "raking"}[i%2]); err != nil {
				t.Fatal(err)
			}
			ons = append(ons, time.Now())
		}
		for i := range ons {
			if i >= 2 && ons[i].Sub(ons[i-2]) < time.Second {
				t.Errorf("three lights within %v", ons[i].Sub(ons[i-2]))
			}
		}
		if d := ons[19].Sub(ons[0]); d != 9*time.Second { // two a second
			t.Errorf("20 switches took %v, want 9 s", d)
		}
	})
}

func TestOptionsRefused(t *testing.T) {
	for _, o := range []GCodeOptions{{Turn: "G0 A30"}, {Ask: "M114", Angle: "A:"}, {Ask: "M114", Angle: "("}} {
		if g, err := NewGCode(o); err == nil {
			g.Close()
			t.Errorf("%+v was taken", o)
		}
	}
}

func TestNoGoroutineLeft(t *testing.T) {
	c := newController(t)
	before := runtime.NumGoroutine()
	for range 3 {
		g := opened(t, options(c))
		_ = g.Light(t.Context(), "diffuse")
		g.Close()
	}
	time.Sleep(100 * time.Millisecond)
	if now := runtime.NumGoroutine(); now > before {
		t.Errorf("%d goroutines before, %d after", before, now)
	}
}
