package teach

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// Person is a trainee: initials, a badge, or both. Names are not asked for.
type Person struct {
	ID       string // in the records; tells nothing by itself
	Initials string
	Badge    string
}

// Word is what a person is called on pages.
func (p Person) Word() string {
	switch {
	case p.Badge == "":
		return p.Initials
	case p.Initials == "":
		return p.Badge
	}
	return p.Initials + " " + p.Badge
}

// NoBadge is what is given as a badge by someone whose initials others have too,
// and who has none.
const NoBadge = "-"

// ErrWho says that neither initials nor badge were given.
var ErrWho = errors.New("say who takes the test: initials or badge")

// maxWho bounds initials and badge, letters.
const maxWho = 20

// AmbiguousError says that the initials are those of several people, or that they
// are known and it is not said whether this is the same person.
type AmbiguousError struct {
	Initials string
	Badges   []string // of those who go by these initials; "" for one without
}

func (e AmbiguousError) Error() string {
	var all []string
	for _, b := range e.Badges {
		if b == "" {
			b = NoBadge + " (none)"
		}
		all = append(all, b)
	}
	return fmt.Sprintf("%d people go by the initials %s: give the badge too, one of %s", len(e.Badges), e.Initials, strings.Join(all, ", "))
}

// BadgeError says that a badge is someone else's.
type BadgeError struct{ Badge, Initials string }

func (e BadgeError) Error() string {
	return fmt.Sprintf("badge %s goes with other initials: check both", e.Badge)
}

// Who finds a person among those known, or returns a new one without an ID. Case
// does not matter. A badge is one person's; initials may be those of several, and
// then the badge must tell which.
func Who(initials, badge string, known []Person) (Person, error) {
	p := Person{Initials: strings.ToUpper(strings.TrimSpace(initials)), Badge: strings.ToUpper(strings.TrimSpace(badge))}
	none := p.Badge == NoBadge
	if none {
		p.Badge = ""
	}
	if p.Initials == "" && p.Badge == "" {
		return p, ErrWho
	}
	for _, w := range []string{p.Initials, p.Badge} {
		if len([]rune(w)) > maxWho {
			return p, fmt.Errorf("%.30q is too long for initials or a badge: at most %d letters", w, maxWho)
		}
		if strings.ContainsFunc(w, func(r rune) bool { return r < ' ' || r == 0x7f }) {
			return p, fmt.Errorf("%q is no initials and no badge", w)
		}
	}
	if p.Badge != "" {
		i := slices.IndexFunc(known, func(k Person) bool { return k.Badge == p.Badge })
		switch {
		case i < 0:
			return p, nil
		case p.Initials != "" && known[i].Initials != "" && known[i].Initials != p.Initials:
			return p, BadgeError{p.Badge, p.Initials}
		}
		return known[i], nil
	}
	var same []Person
	for _, k := range known {
		if k.Initials == p.Initials && (!none || k.Badge == "") {
			same = append(same, k)
		}
	}
	switch len(same) {
	case 0:
		return p, nil
	case 1:
		return same[0], nil
	}
	e := AmbiguousError{Initials: p.Initials}
	for _, k := range same {
		e.Badges = append(e.Badges, k.Badge)
	}
	slices.Sort(e.Badges)
	return p, e
}
