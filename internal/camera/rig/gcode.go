package rig

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"

	"finishbench/internal/camera/retry"
	"finishbench/internal/camera/trouble"
	"finishbench/internal/part"
)

// LightLines are what switches one light.
type LightLines struct {
	Light string   // diffuse, raking or back
	On    []string // G-code, a line each
	Off   []string
}

// GCodeOptions describe a controller.
type GCodeOptions struct {
	Device string // stable name: /dev/serial/by-id/...
	Baud   int
	Lights []LightLines
	Start  []string      // sent after the line was opened; empty: G90
	Turn   string        // {deg} becomes the angle in degrees
	Rest   string        // answered once the turntable stands still; "": the turn's own ok says that
	Home   []string      // turns to zero and makes it so; empty: zero is where it stands when it is switched on
	Ask    string        // asks for the position; "": it cannot be asked for
	Angle  string        // regular expression whose first group is the angle in what Ask brings
	Wake   time.Duration // many controllers start anew when the line is opened: listened to for so long; 0: 2 s
	Answer time.Duration // for an answer that needs no motion; 0: 2 s
	Motion time.Duration // for one that does; 0: 20 s
	Retry  retry.Waits

	Open func() (io.ReadWriteCloser, error) // nil: the serial line
}

// withDefaults fills in what is empty. Values are common practice, no source.
func (o GCodeOptions) withDefaults() GCodeOptions {
	if o.Turn == "" {
		o.Turn = "G0 A{deg}"
	}
	if len(o.Start) == 0 {
		o.Start = []string{"G90"} // angles count from zero, not from where it stands
	}
	if o.Baud == 0 {
		o.Baud = 115200
	}
	set := func(d *time.Duration, to time.Duration) {
		if *d <= 0 {
			*d = to
		}
	}
	set(&o.Wake, 2*time.Second)
	set(&o.Answer, 2*time.Second)
	set(&o.Motion, 20*time.Second)
	if o.Retry.First <= 0 {
		o.Retry = retry.Default()
	}
	if o.Open == nil {
		o.Open = func() (io.ReadWriteCloser, error) { return openSerial(o.Device, o.Baud) }
	}
	return o
}

// apart is how far an answered position may be from the one asked for, degrees.
// Common practice, no source.
const apart = 0.5

// GCode is a rig behind a G-code controller.
type GCode struct {
	o     GCodeOptions
	angle *regexp.Regexp
	stop  context.CancelFunc
	ended chan struct{}

	one sync.Mutex // one command at a time
	ons []time.Time

	mu      sync.Mutex // all below
	conn    *conn      // nil: lost
	broken  chan error // to the keeper: the line must be opened anew
	state   State
	wasZero bool // a zero has been known since the program began
	shifted bool // the controller has started anew: what it says of its position is worth nothing
	banner  string
}

// NewGCode opens the line to a controller. The error is about the options; a
// line that is not there shows in State.
func NewGCode(o GCodeOptions) (*GCode, error) {
	g := &GCode{o: o.withDefaults(), ended: make(chan struct{})}
	if !strings.Contains(g.o.Turn, "{deg}") {
		return nil, fmt.Errorf("rig: turn %q: write {deg} where the angle goes, as in G0 A{deg}", g.o.Turn)
	}
	if o.Ask != "" {
		re, err := regexp.Compile(o.Angle)
		if err != nil || re.NumSubexp() < 1 {
			return nil, fmt.Errorf("rig: angle %q: give a regular expression with the angle in brackets, as in A:([-0-9.]+)", o.Angle)
		}
		g.angle = re
	}
	ctx, stop := context.WithCancel(context.Background())
	g.stop = stop
	g.state = State{Why: trouble.New(trouble.Starting, "the line is being opened"), Since: time.Now()}
	go func() {
		defer close(g.ended)
		g.o.Retry.Keep(ctx, g.keep, g.lost)
	}()
	return g, nil
}

// Close switches the lights off, where that can be done at once, and closes the
// line.
func (g *GCode) Close() error {
	ctx, cancel := context.WithTimeout(context.Background(), g.o.Answer)
	defer cancel()
	if g.State().Ready {
		_ = g.Light(ctx, Off)
	}
	g.stop()
	<-g.ended
	return nil
}

// State says how the rig does.
func (g *GCode) State() State {
	g.mu.Lock()
	defer g.mu.Unlock()
	s := g.state
	if s.AngleDeg != nil {
		deg := *s.AngleDeg
		s.AngleDeg = &deg
	}
	return s
}

// keep holds one line until it is lost.
func (g *GCode) keep(ctx context.Context) error {
	g.mu.Lock()
	g.state.NextTry = time.Time{}
	g.mu.Unlock()
	port, err := g.o.Open()
	if err != nil {
		return err
	}
	c := newConn(port, g.o.Device)
	defer c.close()
	if err := g.greet(ctx, c); err != nil {
		return err
	}
	broken := make(chan error, 1)
	g.mu.Lock()
	g.conn, g.broken = c, broken
	g.state = State{Ready: true, Since: time.Now(), Light: Off}
	g.mu.Unlock()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-c.gone:
		return c.unplugged()
	case err := <-broken:
		return err
	}
}

// greet waits until the controller has started, sends the start lines and puts
// all lights out. Answers to lines of an earlier connection, however late, are
// swallowed: the controller gives them before it answers the first new line, so
// that the last of ours comes while nothing is asked any more.
func (g *GCode) greet(ctx context.Context, c *conn) error {
	first, err := g.listenForStart(ctx, c)
	if err != nil {
		return err
	}
	g.mu.Lock()
	if first != "" && c.read(first) == nonsense && g.banner == "" {
		g.banner = first
	}
	c.banner = g.banner
	g.shifted = g.shifted || g.wasZero && (first == g.banner && first != "" || c.read(orSpace(first)) == starts)
	g.mu.Unlock()
	lines := append([]string{}, g.o.Start...)
	for _, l := range g.o.Lights {
		lines = append(lines, l.Off...)
	}
	for i, line := range lines {
		patience := g.o.Answer
		if i == 0 {
			patience = g.o.Motion // it may still be turning
		}
		if _, err := c.send(ctx, line, patience, true); err != nil {
			return err
		}
	}
	_, err = c.quiet(ctx, g.o.Wake/10)
	return err
}

func orSpace(s string) string {
	if s == "" {
		return " "
	}
	return s
}

// listenForStart gives a controller that starts the time to do so, and returns
// its first line.
func (g *GCode) listenForStart(ctx context.Context, c *conn) (string, error) {
	t := time.NewTimer(g.o.Wake)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return "", ctx.Err()
	case <-c.gone:
		return "", c.unplugged()
	case <-t.C:
		return "", nil // it was running already, and is silent
	case first := <-c.lines:
		_, err := c.quiet(ctx, g.o.Wake/10)
		return first, err
	}
}

// lost notes why the line was lost and when it is opened again.
func (g *GCode) lost(err error, next time.Time) {
	g.mu.Lock()
	defer g.mu.Unlock()
	var why *part.Trouble
	if !errors.As(err, &why) {
		why = trouble.Newf(trouble.Other, "%v", err)
	}
	since := g.state.Since
	if g.state.Ready || g.state.Why.Key == trouble.Starting {
		since = time.Now()
	}
	g.shifted = g.shifted || why.Key == trouble.Restarted
	g.conn = nil
	g.state = State{Why: why, Since: since, NextTry: next}
}

// line is the open line, or why there is none.
func (g *GCode) line() (*conn, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.conn == nil {
		return nil, &LostError{Why: g.state.Why, NextTry: g.state.NextTry}
	}
	return g.conn, nil
}

// send sends lines one after the other. After any error but a refusal or the
// caller's own end the line is opened anew.
func (g *GCode) send(ctx context.Context, patience time.Duration, position bool, lines ...string) ([]string, error) {
	c, err := g.line()
	if err != nil {
		return nil, err
	}
	var all []string
	for _, line := range lines {
		said, err := c.send(ctx, line, patience, position)
		all = append(all, said...)
		if err == nil {
			continue
		}
		if refused(err) || err == ctx.Err() {
			return all, err
		}
		return all, g.breakOff(c, err)
	}
	return all, nil
}

// breakOff has the line opened anew.
func (g *GCode) breakOff(c *conn, err error) error {
	var why *part.Trouble
	if !errors.As(err, &why) {
		why = trouble.Newf(trouble.Other, "%v", err)
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.conn == c {
		g.conn = nil
		g.state = State{Why: why, Since: time.Now()}
		g.shifted = g.shifted || why.Key == trouble.Restarted
		g.broken <- err
	}
	return &LostError{Why: why}
}

// Home turns the unit to zero; see [Rig].
func (g *GCode) Home(ctx context.Context) error {
	g.one.Lock()
	defer g.one.Unlock()
	return g.home(ctx)
}

func (g *GCode) home(ctx context.Context) error {
	if len(g.o.Home) == 0 {
		return g.turn(ctx, 0)
	}
	g.stands(nil)
	if _, err := g.send(ctx, g.o.Motion, true, g.o.Home...); err != nil {
		return err
	}
	if err := g.rest(ctx); err != nil {
		return err
	}
	zero := 0.0
	g.stands(&zero)
	return nil
}

// Zero says that the unit has been turned to zero by hand.
func (g *GCode) Zero(ctx context.Context) error {
	g.one.Lock()
	defer g.one.Unlock()
	if _, err := g.send(ctx, g.o.Answer, false, "G92 A0"); err != nil {
		return err
	}
	zero := 0.0
	g.stands(&zero)
	return nil
}

// stands notes where the unit stands; nil: not known.
func (g *GCode) stands(deg *float64) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.state.AngleDeg = deg
	if deg != nil {
		g.wasZero, g.shifted = true, false
	}
}

func (g *GCode) rest(ctx context.Context) error {
	if g.o.Rest == "" {
		return nil
	}
	_, err := g.send(ctx, g.o.Motion, false, g.o.Rest)
	return err
}

// Turn turns the unit; see [Rig].
func (g *GCode) Turn(ctx context.Context, deg float64) error {
	if math.IsNaN(deg) || math.Abs(deg) > 360 {
		return fmt.Errorf("rig: turn to %g degrees; give -360 to 360", deg)
	}
	g.one.Lock()
	defer g.one.Unlock()
	return g.turn(ctx, deg)
}

func (g *GCode) turn(ctx context.Context, deg float64) error {
	at, err := g.where(ctx)
	if err != nil || at == deg {
		return err
	}
	g.stands(nil)
	if _, err := g.send(ctx, g.o.Motion, false, strings.ReplaceAll(g.o.Turn, "{deg}", strconv.FormatFloat(deg, 'f', -1, 64))); err != nil {
		return err
	}
	if err := g.rest(ctx); err != nil {
		return err
	}
	if g.angle != nil {
		if at, err = g.ask(ctx); err != nil {
			return err
		}
		if math.Abs(at-deg) > apart {
			return trouble.New(trouble.NoPosition,
				fmt.Sprintf("the turntable stands at %g degrees instead of %g: see whether something holds it", at, deg))
		}
	}
	g.stands(&deg)
	return nil
}

// where finds out where the unit stands before it is turned.
func (g *GCode) where(ctx context.Context) (float64, error) {
	if _, err := g.line(); err != nil {
		return 0, err
	}
	g.mu.Lock()
	at, wasZero, shifted := g.state.AngleDeg, g.wasZero, g.shifted
	g.mu.Unlock()
	switch {
	case at != nil:
		return *at, nil
	case len(g.o.Home) > 0 && (shifted || !wasZero || g.angle == nil):
		return 0, g.home(ctx)
	case g.angle != nil && !shifted:
		deg, err := g.ask(ctx)
		if err == nil {
			g.stands(&deg)
		}
		return deg, err
	case !wasZero: // zero is where it was switched on
		zero := 0.0
		g.stands(&zero)
		return 0, nil
	}
	return 0, trouble.New(trouble.NoPosition, "it is not known where the turntable stands: turn it to zero by hand")
}

// ask asks for the angle.
func (g *GCode) ask(ctx context.Context) (float64, error) {
	said, err := g.send(ctx, g.o.Answer, true, g.o.Ask)
	if err != nil {
		return 0, err
	}
	for _, s := range said {
		if m := g.angle.FindStringSubmatch(s); m != nil {
			if deg, err := strconv.ParseFloat(m[1], 64); err == nil && !math.IsNaN(deg) && !math.IsInf(deg, 0) {
				return deg, nil
			}
		}
	}
	return 0, trouble.New(trouble.Garbage, "the controller's answer to "+g.o.Ask+" holds no angle: "+strings.Join(said, " "), "line",
		g.o.Ask, "detail", strings.Join(said, " "))
}
