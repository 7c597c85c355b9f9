package lots

import (
	"encoding/json"
	"fmt"

	"finishbench/internal/part"
)

// Fold makes a lot of its events, which must be all of one lot, in order. An
// error says that they are no history of a lot: damaged, or of a newer program.
func Fold(events []part.Entry) (Lot, error) {
	var l Lot
	for i := range events {
		if err := l.Apply(events[i]); err != nil {
			return l, err
		}
	}
	return l, nil
}

// Apply takes one more event in.
func (l *Lot) Apply(e part.Entry) error {
	if l.Seq == 0 && l.Name == "" {
		l.Name = e.Name
	}
	fail := func(err error) error {
		return fmt.Errorf("lots: lot %s: event %d (%s): %w", e.Name, e.Seq, e.Kind, err)
	}
	if e.Name != l.Name || e.Seq != l.Seq+1 {
		return fail(fmt.Errorf("event %d of lot %s was expected", l.Seq+1, l.Name))
	}
	r := l.Current()
	if err := l.take(r, e); err != nil {
		return fail(err)
	}
	l.Seq = e.Seq
	return nil
}

func (l *Lot) take(r *Round, e part.Entry) error {
	by := Signed{e.At, e.By}
	switch {
	case r == nil && e.Kind != Opened:
		return fmt.Errorf("the lot was not opened")
	case r != nil && e.Kind == Opened:
		return fmt.Errorf("the lot was opened before")
	}
	switch e.Kind {
	case Opened, Replanned, Resubmitted:
		n := Round{Kind: e.Kind, Opened: by}
		if err := json.Unmarshal(e.Body, &n.Opening); err != nil {
			return err
		}
		n.Opening.supposeClass()
		l.Rounds = append(l.Rounds, n)
		return nil
	case Drawn:
		r.Drawn = by
		return r.draw(e.Body)
	case Taken:
		var u Unit
		if err := json.Unmarshal(e.Body, &u); err != nil {
			return err
		}
		return r.saw(&u, by)
	case Replaced:
		s := Swap{Signed: by}
		if err := json.Unmarshal(e.Body, &s.Replacement); err != nil {
			return err
		}
		return r.swap(s)
	case UnitDisposed:
		s := Settled{Signed: by}
		if err := json.Unmarshal(e.Body, &s.Disposition); err != nil {
			return err
		}
		r.Dispositions = append(r.Dispositions, s)
		return nil
	case Decided:
		r.Decided, r.Decision = by, &Decision{}
		return json.Unmarshal(e.Body, r.Decision)
	case Disposed:
		r.Done, r.Disposal = by, &Disposal{}
		return json.Unmarshal(e.Body, r.Disposal)
	}
	return fmt.Errorf("this program does not know such an event: use the newer one")
}

// supposeClass names the class in which units count that do not pass, where a lot was
// opened before that was told: the major one, or else the worst that there is.
func (o *Opening) supposeClass() {
	if o.NotPassing != "" {
		return
	}
	for _, c := range o.Classes {
		for _, s := range c.Covers {
			if s == part.Major {
				o.NotPassing = s
				return
			}
			if s.Rank() > o.NotPassing.Rank() {
				o.NotPassing = s
			}
		}
	}
}

func (r *Round) draw(body json.RawMessage) error {
	d := &Drawing{}
	if err := json.Unmarshal(body, d); err != nil {
		return err
	}
	r.Drawing, r.Sample = d, make([]Place, len(d.Units))
	r.place, r.lot = make(map[string]int, len(d.Units)), make(map[string]bool, len(d.Serials))
	for _, s := range d.Serials {
		r.lot[s] = true
	}
	for i, u := range d.Units {
		r.Sample[i].Name, r.place[u] = u, i
	}
	return nil
}

// saw takes in what was seen on a unit; what was seen before stays beside it.
func (r *Round) saw(u *Unit, by Signed) error {
	p := r.Look(u.Name)
	if p == nil {
		return fmt.Errorf("%s is not in the sample", u.Name)
	}
	if p.Unit != nil {
		p.Was = append(p.Was, *p.Unit)
	}
	p.Unit, p.Signed = u, by
	return nil
}

func (r *Round) swap(s Swap) error {
	i, ok := r.place[s.Unit]
	if !ok {
		return fmt.Errorf("%s is not in the sample", s.Unit)
	}
	r.Swaps = append(r.Swaps, s)
	r.Sample[i] = Place{Name: s.With}
	delete(r.place, s.Unit)
	r.place[s.With] = i
	return nil
}
