package shoot

import (
	"time"

	"finishbench/internal/camera/sources"
	"finishbench/internal/part"
)

// Times are what is known of how long the devices of a plan take.
type Times struct {
	Picture map[string]time.Duration // from asking a camera to having its picture, by the camera's name; absent: not known
	Show    time.Duration            // from asking the screen for a light to its being seen
	Hold    time.Duration            // the least from its being seen to asking for the next
}

// Stopped estimates how long a unit stands still for its pictures, from the press to the
// last one. least says that it will be longer: what a camera, a turntable or a person
// takes is not known. Switching lamps counts as nothing, and so does a picture that has
// to be taken again. It is 0 and least where a replay has no steps of its own.
func (p *Plan) Stopped(t Times) (d time.Duration, least bool) {
	var last *Step
	shown, held := part.NoLight, time.Duration(0) // held: since the last light was seen
	for i := range p.Steps {
		s := &p.Steps[i]
		took, known := t.Picture[s.Camera]
		_, drops := p.Cameras[s.Camera].(sources.Dropper)
		least = least || !known || drops || p.moves(last, *s)
		if want := p.screenFor(*s, p.Steps); want != part.NoLight && want != shown {
			if shown != part.NoLight {
				d += max(0, t.Hold-held)
			}
			d, shown, held = d+t.Show, want, 0
		}
		d, held = d+s.Settle+took, held+s.Settle+took
		last = s
	}
	return d, least || len(p.Steps) == 0
}

// Turns is how often the plan turns the unit, and how often it had to: once for each turn of
// a view, with all lights of a turn in a row. Lights are switched faster.
func (p *Plan) Turns() (n, least int) {
	seen := map[part.Pose]bool{}
	var last part.Pose
	for _, s := range p.Steps {
		pose := s.Shot().Pose()
		if !turns(s, p.Steps) {
			continue
		}
		if !seen[pose] {
			least++
		}
		if pose != last {
			n++
		}
		seen[pose], last = true, pose
	}
	return n, least
}

// moves says whether the unit, or a person's hand, moves before a step.
func (p *Plan) moves(last *Step, s Step) bool {
	switch {
	case p.Rig == nil:
		return last != nil && between(last, s) != "" // the press says that it is placed for the first
	case s.Place && last != nil && last.View != s.View:
		return true
	}
	return turns(s, p.Steps) && (last == nil || !samePose(*last, s))
}
