package people

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"finishbench/internal/scan"
)

// Role is what a person does at the station.
type Role string

// The roles.
const (
	Operator      Role = "operator"      // has units inspected
	Inspector     Role = "inspector"     // overrules, and signs lots
	Trainer       Role = "trainer"       // looks after tests and the atlas
	Administrator Role = "administrator" // looks after the station
)

// Roles lists them.
var Roles = []Role{Operator, Inspector, Trainer, Administrator}

// Person is one of a station's people.
type Person struct {
	Name    string `json:"name"`
	Badge   string `json:"badge,omitempty"` // as a scan gives it; "": none
	Role    Role   `json:"role"`
	PIN     string `json:"pin,omitempty"`     // its hash; "": none
	Removed string `json:"removed,omitempty"` // the day, 2006-01-02; "": is there
}

// ByBadge says whether the badge alone signs this person in. A badge can be copied, so that
// whoever may change what others found gives a PIN as well.
func (p Person) ByBadge() bool { return p.Role == Operator }

// List is all people of a station, in the order they came. Those who were removed stay in it: the
// records name them.
type List []Person

// MostPeople bounds a list.
const MostPeople = 1000

// Named is the place of a name in the list, removed ones too; -1: none. Large and small letters count alike.
func (l List) Named(name string) int {
	return slices.IndexFunc(l, func(p Person) bool { return strings.EqualFold(p.Name, name) })
}

// Badged is the place of a badge, of those who are there if it is one of theirs; -1: none.
func (l List) Badged(badge string) int {
	had := -1
	for i, p := range l {
		if badge != "" && p.Badge == badge {
			if had = i; p.Removed == "" {
				break
			}
		}
	}
	return had
}

// Check says what is wrong with a list.
func (l List) Check() error {
	if len(l) > MostPeople {
		return fmt.Errorf("there are %d people, at most %d wanted", len(l), MostPeople)
	}
	for i, p := range l {
		odd := func(r rune) bool { return unicode.IsControl(r) || r == '\u2028' || r == '\u2029' }
		switch n := len([]rune(p.Name)); {
		case n == 0 || n > scan.MostName || p.Name != strings.TrimSpace(p.Name) || strings.ContainsFunc(p.Name, odd):
			return fmt.Errorf("%q is no name: up to %d letters in one line, without blanks around it", p.Name, scan.MostName)
		case !slices.Contains(Roles, p.Role):
			return fmt.Errorf("%s: there is no role %q: use one of %v", p.Name, p.Role, Roles)
		case l.Named(p.Name) != i:
			return fmt.Errorf("two people are called %s: add something that tells them apart", p.Name)
		case p.Removed != "":
			continue
		case p.Badge != "" && l.Badged(p.Badge) != i:
			return fmt.Errorf("%s and %s have the same badge %s", l[l.Badged(p.Badge)].Name, p.Name, p.Badge)
		case p.Badge == "" && p.PIN == "":
			return fmt.Errorf("%s has neither badge nor PIN", p.Name)
		case p.PIN == "" && !p.ByBadge():
			return fmt.Errorf("%s is %s and has no PIN: a badge alone does for operators only", p.Name, p.Role)
		}
		if len([]rune(p.Badge)) > scan.MostName || strings.ContainsFunc(p.Badge, odd) {
			return fmt.Errorf("%s: %.80q is no badge: up to %d letters", p.Name, p.Badge, scan.MostName)
		}
		if p.PIN != "" {
			if _, err := ParseHash(p.PIN); err != nil {
				return fmt.Errorf("%s: PIN: %w", p.Name, err)
			}
		}
	}
	return nil
}
