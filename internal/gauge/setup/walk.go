package setup

import (
	"math"

	"finishbench/internal/part"
)

// inRow is how many pictures in a row have to agree before a step counts as in
// order, or as out of order again.
const inRow = 2

// Walk leads through the steps as pictures come in. The zero value is of no use:
// [NewWalk].
type Walk struct {
	limits Limits
	steps  []*walkStep
}

// walkStep is how far a step has come.
type walkStep struct {
	name    Name
	done    bool
	in, out int                // pictures in a row inside, outside
	last    map[string]float64 // measures of the last picture that told of the step
	seen    Step               // as the last picture that tells of it shows it
}

// NewWalk begins a walk through the named steps.
func NewWalk(l Limits, names []Name) *Walk {
	w := &Walk{limits: l}
	for _, n := range names {
		w.steps = append(w.steps, &walkStep{name: n, last: map[string]float64{}, seen: l.Judge(n, NewReading(""))})
	}
	return w
}

// View is what a person has to see after a picture.
type View struct {
	File     string
	Step     Step        // the step to work at, as the picture shows it
	Do       part.Phrase // the one thing to do, a sentence without its end; without a key: it is in its zone
	Trend    part.Phrase // against the picture before: "better than before (4.1 px): go on this way"; may have no key
	Notice   []part.Phrase
	Again    bool // in its zone, and one more picture has to agree
	Finished bool // every step is in order
}

// Current is the step to work at; false where all are done.
func (w *Walk) Current() (Name, bool) {
	for _, s := range w.steps {
		if !s.done {
			return s.name, true
		}
	}
	return "", false
}

// Done says whether a step is in order.
func (w *Walk) Done(n Name) bool {
	for _, s := range w.steps {
		if s.name == n {
			return s.done
		}
	}
	return false
}

// Steps are the steps as they were last seen, in their order.
func (w *Walk) Steps() []Step {
	all := make([]Step, len(w.steps))
	for i, s := range w.steps {
		all[i] = s.seen
	}
	return all
}

// See takes a picture's reading. The step to work at is shown as this picture
// has it; steps that are in order already are watched, and come up again when
// two pictures in a row show them outside.
func (w *Walk) See(r Reading) View {
	v := View{File: r.File}
	trend := map[Name]part.Phrase{}
	now := map[Name]Step{}
	for _, s := range w.steps {
		step := w.limits.Judge(s.name, r)
		now[s.name] = step
		trend[s.name] = s.trend(step)
		s.take(step)
		if s.done && s.out >= inRow {
			s.done = false
			v.Notice = append(v.Notice, part.Say("setup.notice.out").With("step", s.name.Title()))
		}
	}
	// One picture may end several steps: each has had its two.
	for _, s := range w.steps {
		if s.done {
			continue
		}
		if s.in < inRow {
			break
		}
		s.done = true
		v.Notice = append(v.Notice, part.Say("setup.notice.in").With("step", s.name.Title()))
	}
	n, more := w.Current()
	if !more {
		v.Finished = true
		v.Step = now[w.steps[len(w.steps)-1].name]
		return v
	}
	v.Step = now[n]
	v.Do, v.Trend = v.Step.Do(), trend[n]
	v.Again = v.Step.State() == Inside
	return v
}

// take notes what a picture shows of the step.
func (s *walkStep) take(step Step) {
	switch step.State() {
	case Inside:
		s.in, s.out = s.in+1, 0
	case Outside:
		s.in, s.out = 0, s.out+1
	default:
		s.in = 0
	}
	if !step.Applies {
		return
	}
	s.seen = step
	for _, m := range step.Measures {
		if !math.IsNaN(m.V) {
			s.last[m.Key] = m.V
		}
	}
}

// still is by how much of itself (or of its zone's end) a value may change from
// picture to picture and count as the same.
const still = 0.03

// trend compares the measure to deal with to the picture before.
func (s *walkStep) trend(step Step) part.Phrase {
	m, ok := step.First()
	before, had := s.last[m.Key]
	if !ok || !had || m.Plain || m.State() == NotMeasured {
		return part.Phrase{}
	}
	then := m
	then.V, then.U = before, math.NaN()
	size := math.Abs(m.V)
	for _, end := range []float64{m.Lo, m.Hi} {
		if !math.IsNaN(end) {
			size = max(size, math.Abs(end))
		}
	}
	switch {
	case math.Abs(m.V-before) <= still*size:
		return part.Say("setup.trend.same").With("before", then.Value())
	case then.away() > m.away():
		return part.Say("setup.trend.better").With("before", then.Value())
	}
	return part.Say("setup.trend.worse").With("before", then.Value())
}
