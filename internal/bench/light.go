package bench

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strconv"
	"sync"
	"time"

	"finishbench/internal/part"
)

// Pattern is what a screen is asked to show, in linear light. The light at a place
// is Colour times:
//
//   - plain: 1;
//   - stripes: 0.5 + 0.5 Contrast cos(2 pi s/PeriodMM + PhaseDeg), s being the place's
//     mm along Axis from the screen's middle, x to the right, y down;
//   - rings: the same, s being the distance from the middle;
//   - half: 1 on one half of the screen and 0 on the other, cut across Axis in the
//     middle; bright where s >= 0 at a phase of 0, where s < 0 at 180.
type Pattern struct {
	Kind     PatternKind `json:"kind"`
	Colour   [3]float64  `json:"colour"` // red, green, blue, 0 to 1
	Axis     string      `json:"axis"`   // "x" or "y"
	PeriodMM float64     `json:"period_mm"`
	PhaseDeg float64     `json:"phase_deg"`
	Contrast float64     `json:"contrast"` // 0 to 1
}

// PatternKind is one of the kinds of patterns.
type PatternKind string

// The kinds.
const (
	Plain   PatternKind = "plain"
	Half    PatternKind = "half"
	Rings   PatternKind = "rings"
	Stripes PatternKind = "stripes"
)

// white is shown until the bench asks for something.
var white = Pattern{Kind: Plain, Colour: [3]float64{1, 1, 1}}

// check tells what of a pattern no screen can show.
func (p Pattern) check() error {
	wrong := func(what string, v any, want string) error {
		return fmt.Errorf("bench: show %s on a screen: %s is %v: give %s", p.Kind, what, v, want)
	}
	for _, v := range p.Colour {
		if !(v >= 0 && v <= 1) {
			return wrong("the colour", p.Colour, "0 to 1")
		}
	}
	waves := p.Kind == Stripes || p.Kind == Rings
	switch {
	case !waves && p.Kind != Plain && p.Kind != Half:
		return wrong("the kind", strconv.Quote(string(p.Kind)), "plain, half, rings or stripes")
	case p.Kind != Plain && p.Kind != Rings && p.Axis != "x" && p.Axis != "y":
		return wrong("the axis", strconv.Quote(p.Axis), "x or y")
	case waves && !(p.PeriodMM > 0 && p.PeriodMM <= math.MaxFloat32):
		return wrong("the period", p.PeriodMM, "millimetres above 0")
	case waves && !(p.Contrast >= 0 && p.Contrast <= 1):
		return wrong("the contrast", p.Contrast, "0 to 1")
	case waves && (math.IsNaN(p.PhaseDeg) || math.IsInf(p.PhaseDeg, 0)):
		return wrong("the phase", p.PhaseDeg, "degrees")
	case p.Kind == Half && p.PhaseDeg != 0 && p.PhaseDeg != 180:
		return wrong("the phase", p.PhaseDeg, "0 or 180 degrees")
	}
	return nil
}

// Screens are the screens that light the bench, each an open page /light. All show
// the same pattern.
type Screens struct {
	// Settle is the time from a pattern's second frame to its being told as painted:
	// a panel's liquid crystal takes tens of milliseconds (common practice, no source).
	Settle time.Duration
	// Pace is the least time between two changes: fewer than three a second, as
	// WCAG 2.1, 2.3.1 bounds flashes.
	Pace time.Duration
	// Patience is how long a pattern may take until it is told as painted.
	Patience time.Duration
	// Gamma is the power of a level that the screens' light follows, 1 to 10, where it
	// was measured; 0: the curve of IEC 61966-2-1 (sRGB). Set before the first page opens.
	Gamma float64

	hub     hub           // woken by each change
	oneShow chan struct{} // holds one Show
	mu      sync.Mutex
	asked   asked
	changed time.Time // no pattern came onto a screen after this
	open    map[string]*screen
}

// asked is the pattern that is to be seen, with its number: as it goes to the pages.
type asked struct {
	Number   int64   `json:"number"`
	Pattern  Pattern `json:"pattern"`
	SettleMS int64   `json:"settle_ms"`
	PaceMS   int64   `json:"pace_ms"`
	Gamma    float64 `json:"gamma,omitempty"` // see [Screens]
}

// Grey is the plain pattern for which the screens show just this level, 0 to 255.
func (s *Screens) Grey(level int) Pattern {
	v := float64(level) / 255
	switch {
	case s.Gamma > 0:
		v = math.Pow(v, s.Gamma)
	case v <= 0.04045: // IEC 61966-2-1, as package optics has it
		v /= 12.92
	default:
		v = math.Pow((v+0.055)/1.055, 2.4)
	}
	return Pattern{Kind: Plain, Colour: [3]float64{v, v, v}}
}

// screen is one open page.
type screen struct {
	wake     chan struct{} // of the stream that it listens to; another's: the page has come back
	heard    time.Time
	reported bool // it has said how it stands
	screenState
}

// screenState is what a page says of itself.
type screenState struct {
	painted int64   // number of the pattern that it shows; 0: none, or not yet
	lit     bool    // started: it shows patterns, not its own words
	hidden  bool    // asleep, or behind another page
	pxPerMM float64 // device pixels; 0: nobody has told
	doubt   bool    // zoom or window are not as they were then
}

// screenSilence is how long a page may say nothing; it speaks every five seconds.
const screenSilence = 15 * time.Second

// NewScreens returns screens without any page, which show white once one is opened.
func NewScreens() *Screens {
	return &Screens{Settle: 150 * time.Millisecond, Pace: 400 * time.Millisecond, Patience: 6 * time.Second,
		oneShow: make(chan struct{}, 1), open: map[string]*screen{}, asked: asked{Pattern: white}}
}

// screenTrouble is why a pattern is not on the screens.
func screenTrouble(p part.Phrase, text string) error {
	return &part.Trouble{Phrase: p, Err: errors.New(text)}
}

var (
	errNoScreen = screenTrouble(part.Say("screen.problem.none"), "no light page is open: open /light on the tablet or spare monitor, and press its start button")
	errHidden   = screenTrouble(part.Say("screen.problem.hidden"), "a light page is hidden or its screen asleep: wake it and bring the page to the front, or close the page")
	errUnlit    = screenTrouble(part.Say("screen.problem.unlit"), "a light page is not started: press its start button, or close the page")
)

// Show puts a pattern on all screens. It returns once each has told that just this
// pattern is painted, or with an error that says what to do. One that follows
// the last too fast waits.
func (s *Screens) Show(ctx context.Context, p Pattern) error {
	if err := p.check(); err != nil {
		return err
	}
	select {
	case s.oneShow <- struct{}{}:
		defer func() { <-s.oneShow }()
	case <-ctx.Done():
		return ctx.Err()
	}
	wake, ok := s.hub.join()
	if !ok {
		return errEnded
	}
	defer s.hub.leave(wake)
	if err := s.able(); err != nil {
		return err
	}
	rest := time.NewTimer(s.rest())
	defer rest.Stop()
	select {
	case <-rest.C:
	case <-ctx.Done():
		return ctx.Err()
	}
	s.ask(p)
	patience := time.NewTimer(s.Patience)
	defer patience.Stop()
	for {
		if done, err := s.done(); done || err != nil {
			return err
		}
		select {
		case _, ok := <-wake:
			if !ok {
				return errEnded
			}
		case <-patience.C:
			return s.late()
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// able says why no pattern could be shown now. The caller does not hold the lock.
func (s *Screens) able() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.drop()
	if len(s.open) == 0 {
		return errNoScreen
	}
	return s.dark()
}

// drop forgets pages that have not been heard of.
func (s *Screens) drop() {
	for id, x := range s.open {
		if time.Since(x.heard) > screenSilence {
			delete(s.open, id)
		}
	}
}

// dark is the error of a page that is open and shows no pattern.
func (s *Screens) dark() error {
	for _, x := range s.open {
		switch {
		case !x.reported: // it has just come
		case x.hidden:
			return errHidden
		case !x.lit:
			return errUnlit
		}
	}
	return nil
}

// rest is the time until the next change.
func (s *Screens) rest() time.Duration {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.Pace - time.Since(s.changed)
}

func (s *Screens) ask(p Pattern) {
	s.mu.Lock()
	s.asked.Number++
	s.asked.Pattern = p
	s.changed = time.Now()
	s.mu.Unlock()
	s.hub.wake()
}

// done says whether all screens show what is asked for. A page that is away for the
// moment is waited for.
func (s *Screens) done() (bool, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.dark(); err != nil {
		return false, err
	}
	for _, x := range s.open {
		if x.painted != s.asked.Number {
			return false, nil
		}
	}
	if len(s.open) == 0 {
		return false, nil
	}
	// It was painted before it settled.
	if at := time.Now().Add(-s.Settle); at.After(s.changed) {
		s.changed = at
	}
	return true, nil
}

// late is the error of a pattern that was not painted in time.
func (s *Screens) late() error {
	if err := s.able(); err != nil {
		return err
	}
	n := strconv.FormatFloat(s.Patience.Seconds(), 'f', -1, 64)
	return screenTrouble(part.Say("screen.problem.late", "s", n),
		"no word in "+n+" s that it is painted: look whether the screen has lost its network, and load /light there again")
}

// current is what the pages are to show.
func (s *Screens) current() asked {
	s.mu.Lock()
	defer s.mu.Unlock()
	a := s.asked
	a.Gamma = s.Gamma
	a.SettleMS, a.PaceMS = s.Settle.Milliseconds(), s.Pace.Milliseconds()
	return a
}

// join adds a page, or takes one again that has lost its stream. wake is woken at
// each change.
func (s *Screens) join(id string) (wake chan struct{}, ok bool) {
	if wake, ok = s.hub.join(); !ok {
		return nil, false
	}
	s.mu.Lock()
	s.open[id] = &screen{wake: wake, heard: time.Now()}
	s.mu.Unlock()
	return wake, true
}

func (s *Screens) leave(id string, wake chan struct{}) {
	s.hub.leave(wake)
	s.mu.Lock()
	if x := s.open[id]; x != nil && x.wake == wake {
		delete(s.open, id)
	}
	s.mu.Unlock()
	s.hub.wake()
}

// tell takes what a page says of itself.
func (s *Screens) tell(id string, st screenState) {
	s.mu.Lock()
	if x := s.open[id]; x != nil {
		x.heard, x.reported, x.screenState = time.Now(), true, st
	}
	s.mu.Unlock()
	s.hub.wake()
}

// notices are what the bench's page says of the screens that give light.
func (s *Screens) notices() []part.Phrase {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.drop()
	unknown, doubt := false, false
	for _, x := range s.open {
		unknown = unknown || x.lit && x.pxPerMM == 0
		doubt = doubt || x.lit && x.pxPerMM > 0 && x.doubt
	}
	var out []part.Phrase
	if unknown {
		out = append(out, part.Phrase{Key: "screen.notice.untold"})
	}
	if doubt {
		out = append(out, part.Phrase{Key: "screen.notice.doubt"})
	}
	return out
}
