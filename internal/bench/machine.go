package bench

import (
	"slices"
	"time"

	"finishbench/internal/part"
)

// Phase is where the bench stands with a unit.
type Phase string

// The phases.
const (
	Ready    Phase = "ready"    // waiting for the press that starts
	Shooting Phase = "shooting" // pictures are taken
	Halted   Phase = "halted"   // it broke off; the shots so far are kept
	Judging  Phase = "judging"  // all pictures are there
	Answered Phase = "answered" // the verdict is shown, and on record
)

// State is all that the page shows. It is never changed once made; each event
// makes a new one.
type State struct {
	Phase     Phase
	Unit      part.UnitInfo // the unit under way, or to come
	Follow    string        // how the next serial is found
	Progress  Progress
	Shots     []part.Photo // taken so far, kept while halted
	Problem   *part.Phrase // what went wrong; shown until the next step
	Told      *part.Phrase // what was done: "the last was withdrawn"
	Started   time.Time
	Key       string  // of this going at the unit, for the records: see [part.Inspection]
	Answer    *Answer // phase Answered
	Last      *Answer // the latest answer that may be undone or overruled; nil: none
	Count     int     // units answered since the program began, undone ones not counted
	recording bool    // judged, being written
	stopping  bool    // cancelled; waiting for the shooter to end
	scanned   string  // while stopping: the unit that was scanned meanwhile
	busy      bool    // an undo or overrule is being written
}

// Answer is a judged unit on record.
type Answer struct {
	part.Inspection
	Outcome Outcome
	Before  *part.Inspection // the latest inspection of the same side before this one
	Other   *part.Inspection // the latest of the other side
	Unread  bool             // the records could not be asked for the two
}

// Event is something that happened.
type Event interface{ event() }

// The events. The first group comes from people, the second from the work.
type (
	// Press is the big button, space bar or pedal.
	Press struct{}
	// Edit takes over what was typed; it is refused while a unit is under way.
	Edit struct {
		Unit   part.UnitInfo
		Follow string
	}
	// Cancel gives the unit up: its shots are dropped.
	Cancel struct{}
	// Retry takes all pictures of the answered unit again. The answer stays on
	// record; the new one comes beside it.
	Retry struct{}
	// Scan names the unit that is wanted: at ready it is the serial, at the verdict the
	// next unit. While a unit is under way it is refused, unless the operator was
	// asked and GiveUp is that unit's name.
	Scan struct{ Text, GiveUp string }
	// Undo withdraws the last answer and goes back to its unit.
	Undo struct{ By string }
	// Overruling puts a person's call beside the tool's.
	Overruling struct{ part.Overrule }

	// Progressed tells how far the shooting is.
	Progressed struct{ Progress }
	// ShotsDone ends the shooting. Problem nil: all are there.
	ShotsDone struct {
		Shots   []part.Photo
		Problem *part.Phrase
	}
	// Judged ends the judging and the recording.
	Judged struct {
		Answer  *Answer
		Problem *part.Phrase
	}
	// Undone ends an undo.
	Undone struct{ Problem *part.Phrase }
	// OverruleDone ends an overrule.
	OverruleDone struct {
		Overrule part.Overrule
		Problem  *part.Phrase
	}
)

func (Press) event()        {}
func (Edit) event()         {}
func (Cancel) event()       {}
func (Retry) event()        {}
func (Scan) event()         {}
func (Undo) event()         {}
func (Overruling) event()   {}
func (Progressed) event()   {}
func (ShotsDone) event()    {}
func (Judged) event()       {}
func (Undone) event()       {}
func (OverruleDone) event() {}

// Effect is what an event asks for.
type Effect string

// The effects. Each long one ends with an event.
const (
	StartShooting Effect = "shoot"    // ShotsDone
	StartJudging  Effect = "judge"    // Judged
	StopShooting  Effect = "stop"     // ShotsDone, soon
	TellPress     Effect = "press"    // none
	StartUndo     Effect = "undo"     // Undone
	StartOverrule Effect = "overrule" // OverruleDone
	DropShots     Effect = "drop"     // none: hand back the pixels of the old state's shots
)

// refuse is the error of an event that does not fit the state: said to whoever sent it,
// the state stays as it is.
func refuse(key string, args ...string) error {
	return &part.Trouble{Phrase: part.Say(key, args...)}
}

// On returns the state after an event, and what it asks for. now is when it
// happened.
func (s State) On(e Event, now time.Time) (State, []Effect, error) {
	switch e := e.(type) {
	case Press:
		return s.press(now)
	case Edit:
		return s.edit(e)
	case Cancel:
		return s.cancel()
	case Retry:
		return s.retry(now)
	case Scan:
		return s.scan(e)
	case Undo:
		return s.undo()
	case Overruling:
		return s.overrule(e)
	case Progressed:
		if s.Phase == Shooting && !s.stopping {
			s.Progress = e.Progress
		}
		return s, nil, nil
	case ShotsDone:
		return s.shotsDone(e)
	case Judged:
		return s.judged(e)
	case Undone:
		return s.undone(e)
	case OverruleDone:
		return s.overruleDone(e)
	}
	return s, nil, refuse("wrong.event")
}

func (s State) press(now time.Time) (State, []Effect, error) {
	switch {
	case s.busy || s.stopping:
		return s, nil, refuse("wrong.wait")
	case s.Phase == Ready:
		serial, wrong := cleanSerial(s.Unit.Serial)
		if wrong != "" {
			return s, nil, refuse(wrong)
		}
		s.Unit.Serial = serial
		return s.start(now, nil), []Effect{StartShooting}, nil
	case s.Phase == Halted:
		return s.start(s.Started, s.Shots), []Effect{StartShooting}, nil
	case s.Phase == Shooting && s.Progress.Asking != nil:
		s.Progress.Asking = nil
		return s, []Effect{TellPress}, nil
	case s.Phase == Answered:
		return s.goOn(nextUnit(s.Answer.UnitInfo, s.Follow)), nil, nil
	}
	return s, nil, refuse("wrong.wait")
}

func (s State) start(now time.Time, kept []part.Photo) State {
	s.Phase, s.Started, s.Shots = Shooting, now, kept
	s.Progress = Progress{Done: len(kept)}
	s.Problem, s.Told, s.Answer = nil, nil, nil
	return s
}

// goOn is ready for a unit.
func (s State) goOn(u part.UnitInfo) State {
	s.Phase, s.Unit, s.Answer, s.Shots, s.Key = Ready, u, nil, nil, ""
	s.Progress, s.Problem, s.Told = Progress{}, nil, nil
	return s
}

func (s State) edit(e Edit) (State, []Effect, error) {
	if s.Phase != Ready {
		return s, nil, refuse("wrong.unit_under_way")
	}
	u := e.Unit
	serial, side, wrong := readSerial(u.Serial)
	if wrong != "" && wrong != "wrong.serial_empty" {
		return s, nil, refuse(wrong)
	}
	u.Serial = serial
	if side != "" {
		u.Side = side
	}
	if u.Side != "" && u.Side != "L" && u.Side != "R" {
		return s, nil, refuse("wrong.side")
	}
	if !slices.Contains(part.Stages, u.Stage) {
		return s, nil, refuse("wrong.stage")
	}
	if !slices.Contains(Follows, e.Follow) {
		return s, nil, refuse("wrong.follow")
	}
	u.Lot, u.Operator = cleanText(u.Lot, maxName), cleanText(u.Operator, maxName)
	s.Unit, s.Follow, s.Problem = u, e.Follow, nil
	return s, nil, nil
}

// scan never adds to what stands there, and never does anything to a unit but to
// leave it.
func (s State) scan(e Scan) (State, []Effect, error) {
	serial, side, wrong := readSerial(e.Text)
	switch {
	case wrong != "":
		return s, nil, refuse(wrong)
	case s.busy || s.stopping || s.Phase == Judging:
		return s, nil, refuse("wrong.scan_wait")
	case s.Phase == Ready:
	case s.Phase == Answered:
		next := nextUnit(s.Answer.UnitInfo, s.Follow)
		if s.Follow == FollowPair && serial != s.Answer.UnitInfo.Serial {
			next.Side = "L" // a new pair begins with it
		}
		s = s.goOn(next)
	case e.GiveUp == s.Unit.Name():
		s.scanned = e.Text
		return s.cancel()
	default:
		return s, nil, refuse("wrong.scan_under_way", "serial", serial, "unit", s.Unit.Name())
	}
	s.Unit.Serial, s.Problem = serial, nil
	if side != "" {
		s.Unit.Side = side
	}
	s.Told = &part.Phrase{Key: "told.scanned", Args: map[string]string{"unit": s.Unit.Name()}}
	return s, nil, nil
}

// given is ready after a unit was given up: for what was scanned meanwhile, or for
// the same unit.
func (s State) given() State {
	text := s.scanned
	s = s.goOn(s.Unit)
	s.scanned, s.Told = "", &part.Phrase{Key: "told.cancelled"}
	if text != "" {
		s, _, _ = s.scan(Scan{Text: text}) // it was looked at before
	}
	return s
}

func (s State) cancel() (State, []Effect, error) {
	switch {
	case s.Phase == Shooting && !s.stopping:
		s.stopping = true
		return s, []Effect{StopShooting}, nil
	case s.Phase == Halted:
		return s.given(), []Effect{DropShots}, nil
	}
	return s, nil, refuse("wrong.nothing_to_cancel")
}

func (s State) retry(now time.Time) (State, []Effect, error) {
	if s.Phase != Answered || s.busy {
		return s, nil, refuse("wrong.wait")
	}
	s.Unit, s.Key = s.Answer.UnitInfo, ""
	return s.start(now, nil), []Effect{StartShooting}, nil
}

func (s State) undo() (State, []Effect, error) {
	switch {
	case s.Phase != Ready && s.Phase != Answered || s.busy:
		return s, nil, refuse("wrong.wait")
	case s.Last == nil:
		return s, nil, refuse("wrong.nothing_to_undo")
	}
	s.busy = true
	return s, []Effect{StartUndo}, nil
}

func (s State) undone(e Undone) (State, []Effect, error) {
	if !s.busy {
		return s, nil, refuse("wrong.event")
	}
	s.busy = false
	if e.Problem != nil {
		s.Problem = e.Problem
		return s, nil, nil
	}
	last := s.Last
	s = s.goOn(last.UnitInfo)
	s.Last, s.Count = nil, max(0, s.Count-1)
	s.Told = &part.Phrase{Key: "told.undone", Args: map[string]string{"unit": last.UnitInfo.Name()}}
	return s, nil, nil
}

func (s State) overrule(e Overruling) (State, []Effect, error) {
	switch {
	case s.Phase != Answered || s.busy:
		return s, nil, refuse("wrong.wait")
	case !slices.Contains(Reasons, e.Reason):
		return s, nil, refuse("wrong.reason")
	case !slices.Contains([]part.Verdict{part.Pass, part.Rework, part.Reject}, e.Verdict):
		return s, nil, refuse("wrong.verdict")
	case e.Reason == ReasonOther && e.Note == "":
		return s, nil, refuse("wrong.note")
	case e.Verdict == s.Answer.Verdict():
		return s, nil, refuse("wrong.same_verdict")
	}
	s.busy = true
	return s, []Effect{StartOverrule}, nil
}

func (s State) overruleDone(e OverruleDone) (State, []Effect, error) {
	if !s.busy || s.Answer == nil {
		return s, nil, refuse("wrong.event")
	}
	s.busy = false
	if s.Problem = e.Problem; e.Problem != nil {
		return s, nil, nil
	}
	a := *s.Answer
	o := e.Overrule
	a.Overruled = &o
	s.Answer, s.Last = &a, &a
	s.Told = &part.Phrase{Key: "told.overruled"}
	return s, nil, nil
}

func (s State) shotsDone(e ShotsDone) (State, []Effect, error) {
	if s.Phase != Shooting {
		return s, nil, refuse("wrong.event")
	}
	s.Shots = e.Shots
	switch {
	case s.stopping:
		s.stopping = false
		shots := s.Shots
		s = s.given()
		s.Shots = shots // dropped by the effect
		return s, []Effect{DropShots}, nil
	case e.Problem != nil:
		s.Phase, s.Problem = Halted, e.Problem
		s.Progress.Done, s.Progress.Asking, s.Progress.Problem = len(e.Shots), nil, nil
		return s, nil, nil
	}
	s.Phase, s.recording = Judging, true
	s.Progress.Asking, s.Progress.Problem = nil, nil
	return s, []Effect{StartJudging}, nil
}

func (s State) judged(e Judged) (State, []Effect, error) {
	if s.Phase != Judging {
		return s, nil, refuse("wrong.event")
	}
	s.recording = false
	if e.Problem != nil {
		s.Phase, s.Problem = Halted, e.Problem
		return s, nil, nil
	}
	s.Phase, s.Answer, s.Last = Answered, e.Answer, e.Answer
	s.Count++
	return s, []Effect{DropShots}, nil
}
