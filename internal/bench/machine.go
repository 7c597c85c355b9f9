package bench

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"finishbench/internal/part"
	"finishbench/internal/scan"
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
	Unit      part.UnitInfo // the unit under way, or to come; at the verdict lot, operator and faceplates of the next
	Follow    string        // how the next serial is found
	Progress  Progress
	Shots     []part.Photo // taken so far, kept while halted
	Problem   *part.Phrase // what went wrong; shown until the next step
	Done      *part.Phrase // what was done: "the last was withdrawn"
	Started   time.Time
	Key       string  // of this going at the unit, for the records: see [part.Inspection]
	Answer    *Answer // phase Answered
	Last      *Answer // the latest answer that may be undone or overruled; nil: none
	Withdrawn *Answer // what was undone last, and may be restored; nil: none
	Count     int     // units answered since the program began, undone ones not counted
	recording bool    // judged, being written
	stopping  bool    // cancelled; waiting for the shooter to end
	scanned   *Scan   // while stopping: the unit that was scanned meanwhile
	busy      bool    // an undo, its taking back or an overrule is being written
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
	// Press is the big button, space bar or pedal. By is who is signed in there: of a unit that it
	// starts the operator; "": whoever is named at the bench.
	Press struct{ By string }
	// Edit takes over what was typed; it is refused while a unit is under way.
	Edit struct {
		Unit   part.UnitInfo
		Follow string
	}
	// Cancel gives the unit up: its shots are dropped.
	Cancel struct{}
	// Retry takes all pictures of the answered unit again. The answer stays on
	// record; the new one comes beside it. By is as in Press.
	Retry struct{ By string }
	// Scan names what is wanted. A unit is at ready the one to come, at the verdict the
	// next. While a unit is under way it is refused, unless the operator was asked and
	// GiveUp is that unit's name. A badge, a lot, a batch of faceplates hold from the next
	// start on. After is from the last scan's Enter to the first key of this one; 0: there was none.
	Scan struct {
		scan.Code
		GiveUp string
		After  time.Duration
	}
	// Say tells what was refused to somebody whose own screen cannot show it.
	Say struct{ part.Phrase }
	// Undo withdraws the last answer and goes back to its unit. ID is the one that the person
	// was asked about.
	Undo struct {
		By string
		ID int64
	}
	// Restore takes an undo back.
	Restore struct {
		By string
		ID int64
	}
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
	// Restored ends a restore.
	Restored struct{ Problem *part.Phrase }
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
func (Say) event()          {}
func (Undo) event()         {}
func (Overruling) event()   {}
func (Progressed) event()   {}
func (ShotsDone) event()    {}
func (Judged) event()       {}
func (Undone) event()       {}
func (Restore) event()      {}
func (Restored) event()     {}
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
	StartRestore  Effect = "restore"  // Restored
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
		return s.press(e, now)
	case Edit:
		return s.edit(e)
	case Cancel:
		return s.cancel()
	case Retry:
		return s.retry(e, now)
	case Scan:
		return s.scan(e)
	case Say:
		s.Problem = &e.Phrase
		return s, nil, nil
	case Undo:
		return s.undo(e)
	case Restore:
		return s.restore(e)
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
	case Restored:
		return s.restored(e)
	case OverruleDone:
		return s.overruleDone(e)
	}
	return s, nil, refuse("wrong.event")
}

func (s State) press(e Press, now time.Time) (State, []Effect, error) {
	switch {
	case s.busy || s.stopping:
		return s, nil, refuse("wrong.wait")
	case s.Phase == Ready:
		serial, side, wrong := scan.Serial(s.Unit.Serial)
		if wrong != "" {
			return s, nil, refuse(wrong)
		}
		s.Unit.Serial = serial
		if side != "" {
			s.Unit.Side = side
		}
		s.Unit.Operator = cmp.Or(e.By, s.Unit.Operator)
		return s.start(now, nil), []Effect{StartShooting}, nil
	case s.Phase == Halted:
		return s.start(s.Started, s.Shots), []Effect{StartShooting}, nil
	case s.Phase == Shooting && s.Progress.Asking != nil:
		s.Progress.Asking = nil
		return s, []Effect{TellPress}, nil
	case s.Phase == Answered:
		return s.goOn(s.next()), nil, nil
	}
	return s, nil, refuse("wrong.wait")
}

// next is the unit after the one whose verdict is shown.
func (s State) next() part.UnitInfo {
	u := nextUnit(s.Answer.UnitInfo, s.Follow)
	u.Lot, u.Operator, u.Faceplate = s.Unit.Lot, s.Unit.Operator, s.Unit.Faceplate
	return u
}

func (s State) start(now time.Time, kept []part.Photo) State {
	s.Phase, s.Started, s.Shots = Shooting, now, kept
	s.Progress = Progress{Done: len(kept)}
	s.Problem, s.Done, s.Answer = nil, nil, nil
	return s
}

// goOn is ready for a unit.
func (s State) goOn(u part.UnitInfo) State {
	s.Phase, s.Unit, s.Answer, s.Shots, s.Key = Ready, u, nil, nil, ""
	s.Progress, s.Problem, s.Done = Progress{}, nil, nil
	return s
}

func (s State) edit(e Edit) (State, []Effect, error) {
	if s.Phase != Ready {
		return s, nil, refuse("wrong.unit_under_way")
	}
	u := e.Unit
	serial, side, wrong := scan.Serial(u.Serial)
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
	u.Lot, u.Operator, u.Faceplate = cleanText(u.Lot, scan.MostName), cleanText(u.Operator, scan.MostName),
		cleanText(u.Faceplate, scan.MostName)
	s.Unit, s.Follow, s.Problem = u, e.Follow, nil
	return s, nil, nil
}

// together is how soon after a scan's Enter the next one's first key tells of two readers at once,
// whose keys are mixed: the longest gap between a reader's keys (40 ms; they leave 5 to 30, usual, no
// source), and a little.
const together = 45 * time.Millisecond

// scan never adds to what stands there, and never does anything to a unit but to
// leave it.
func (s State) scan(e Scan) (State, []Effect, error) {
	name := e.Name()
	done := part.Say("told.scanned", "kind", "@scan.kind."+string(e.Kind), "code", name)
	if e.OtherKeys {
		done = done.With("also", part.Say("told.scanned_keys"))
	}
	under := s.Unit.Name()
	switch {
	case s.busy || s.stopping || s.Phase == Judging:
		return s, nil, refuse("wrong.scan_wait", "code", name)
	case s.Phase == Ready || s.Phase == Answered:
	case e.Kind != scan.Unit:
		return s, nil, refuse("wrong.scan_later", "kind", "@scan.kind."+string(e.Kind), "code", name, "unit", under)
	case names(e.Code, s.Unit):
		return s, nil, refuse("wrong.scan_same", "unit", under)
	case e.GiveUp == under:
		s.scanned = &e
		return s.cancel()
	default:
		return s, nil, asking{&part.Trouble{Phrase: part.Say("wrong.scan_under_way", "code", name, "unit", under)}, under, name}
	}
	if e.Kind != scan.Unit {
		switch e.Kind {
		case scan.Badge:
			s.Unit.Operator = e.Value
		case scan.Lot:
			s.Unit.Lot = e.Value
		case scan.Faceplate:
			s.Unit.Faceplate = e.Value
		}
		if s.Phase == Answered && e.Kind != scan.Badge {
			done = done.With("also", part.Say("told.scanned_next"))
		}
		s.Done, s.Problem = &done, nil
		return s, nil, nil
	}
	if s.Phase == Ready && e.After > 0 && e.After <= together && !names(e.Code, s.Unit) && s.wasScanned() {
		p := part.Say("problem.two_scans", "one", s.Unit.Name(), "other", name)
		s.Unit.Serial, s.Done, s.Problem = "", nil, &p
		return s, nil, nil
	}
	if s.Phase == Answered {
		next := s.next()
		if s.Follow == FollowPair && e.Value != s.Answer.Serial {
			next.Side = "L" // a new pair begins with it
		}
		s = s.goOn(next)
	}
	s.Unit.Serial, s.Problem = e.Value, nil
	if e.Side != "" {
		s.Unit.Side = e.Side
	}
	if e.Lot != "" {
		s.Unit.Lot = e.Lot
		done = done.With("also", part.Say("told.scanned_lot", "lot", e.Lot))
	}
	done.Args["code"] = s.Unit.Name()
	s.Done = &done
	return s, nil, nil
}

// names says whether a code is this unit's, as far as it tells.
func names(c scan.Code, u part.UnitInfo) bool {
	return c.Kind == scan.Unit && c.Value == u.Serial && (c.Side == "" || c.Side == u.Side)
}

// wasScanned says that the unit to come was scanned last, or that two were at once.
func (s State) wasScanned() bool {
	return s.Done != nil && s.Done.Key == "told.scanned" && s.Done.Args["kind"] == "@scan.kind.unit" ||
		s.Problem != nil && s.Problem.Key == "problem.two_scans"
}

// asking is a scan that the operator is asked about: under is given up for it, or not.
type asking struct {
	*part.Trouble
	under, scanned string
}

// given is ready after a unit was given up: for what was scanned meanwhile, or for
// the same unit.
func (s State) given() State {
	e := s.scanned
	s = s.goOn(s.Unit)
	s.scanned, s.Done = nil, &part.Phrase{Key: "told.cancelled"}
	if e != nil {
		s, _, _ = s.scan(Scan{Code: e.Code})
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

func (s State) retry(e Retry, now time.Time) (State, []Effect, error) {
	if s.Phase != Answered || s.busy {
		return s, nil, refuse("wrong.wait")
	}
	by := cmp.Or(e.By, s.Unit.Operator) // who is there now
	s.Unit, s.Key = s.Answer.UnitInfo, ""
	s.Unit.Operator = by
	return s.start(now, nil), []Effect{StartShooting}, nil
}

func (s State) undo(e Undo) (State, []Effect, error) {
	switch {
	case s.Phase != Ready && s.Phase != Answered || s.busy:
		return s, nil, refuse("wrong.wait")
	case s.Last == nil:
		return s, nil, refuse("wrong.nothing_to_undo")
	case e.ID != s.Last.ID:
		return s, nil, refuse("wrong.stale")
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
	last, by := s.Last, s.Unit.Operator
	s = s.goOn(last.UnitInfo)
	s.Unit.Operator = by // who is there now
	s.Last, s.Withdrawn, s.Count = nil, last, max(0, s.Count-1)
	s.Done = &part.Phrase{Key: "told.undone", Args: map[string]string{"unit": last.Name()}}
	return s, nil, nil
}

func (s State) restore(e Restore) (State, []Effect, error) {
	switch {
	case s.Phase != Ready || s.busy:
		return s, nil, refuse("wrong.wait")
	case s.Withdrawn == nil:
		return s, nil, refuse("wrong.nothing_to_restore")
	case e.ID != s.Withdrawn.ID:
		return s, nil, refuse("wrong.stale")
	}
	s.busy = true
	return s, []Effect{StartRestore}, nil
}

// restored shows the verdict again, unless another unit came since.
func (s State) restored(e Restored) (State, []Effect, error) {
	if !s.busy || s.Withdrawn == nil {
		return s, nil, refuse("wrong.event")
	}
	s.busy = false
	if s.Problem = e.Problem; e.Problem != nil {
		return s, nil, nil
	}
	a := s.Withdrawn
	s.Withdrawn, s.Count = nil, s.Count+1
	s.Done = &part.Phrase{Key: "told.restored", Args: map[string]string{"unit": a.Name()}}
	if s.Last == nil {
		by := s.Unit.Operator
		s.Phase, s.Unit, s.Answer, s.Last = Answered, a.UnitInfo, a, a
		s.Unit.Operator = by
	}
	return s, nil, nil
}

func (s State) overrule(e Overruling) (State, []Effect, error) {
	switch {
	case s.Phase != Answered || s.busy:
		return s, nil, refuse("wrong.wait")
	case strings.TrimSpace(e.By) == "": // a call is somebody's
		return s, nil, refuse("wrong.by")
	case !slices.Contains(part.OverruleReasons(), e.Reason):
		return s, nil, refuse("wrong.reason")
	case !slices.Contains([]part.Verdict{part.Pass, part.Rework, part.Reject}, e.Verdict):
		return s, nil, refuse("wrong.verdict")
	case e.Reason == part.OverruleOther && e.Note == "":
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
	s.Done = &part.Phrase{Key: "told.overruled"}
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
