package station

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"
	"text/tabwriter"
	"time"

	"finishbench/internal/bench"
	"finishbench/internal/cli"
	"finishbench/internal/config"
	"finishbench/internal/people"
	"finishbench/internal/scan"
)

// PeopleOptions say which person of which station, and what becomes of it.
type PeopleOptions struct {
	Station string // file; "": the people's file lies here
	Do      string // one of PeopleDo
	Name    string
	Badge   string // of add and badge; "": none
	Role    string // of add and role; of add "": operator
}

// PeopleDo is what can be done with a person.
var PeopleDo = []string{"add", "role", "badge", "pin", "remove"}

// RunPeople changes the list of a station's people; with Do "list" it writes it.
func RunPeople(o PeopleOptions, stdin io.Reader, stdout io.Writer, now time.Time) error {
	file := bench.Serving{StationFile: o.Station}.PeopleFile()
	st, err := config.LoadStation(o.Station)
	if err != nil {
		return cli.UsageError{Err: err}
	}
	list, err := people.Load(file)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return cli.Usagef("%s: %w", file, cli.PlainPath(err))
	}
	if o.Do == "list" {
		return listPeople(list, file, stdout)
	}
	if o.Badge != "" {
		if o.Badge, err = badgeAs(st, o.Badge); err != nil {
			return err
		}
	}
	i := list.Named(o.Name)
	switch {
	case o.Do == "add" && i >= 0 && list[i].Removed == "":
		return cli.Usagef("%s is there already: change role, badge or PIN, or take another name", list[i].Name)
	case o.Do == "add" && i < 0:
		i, list = len(list), append(list, people.Person{Name: o.Name})
	case i < 0 || o.Do != "add" && list[i].Removed != "":
		return cli.Usagef("nobody called %q is among the people of %s: see 'inspect bench people list'", o.Name, file)
	}
	p := &list[i]
	ask := false
	switch o.Do {
	case "add":
		*p = people.Person{Name: p.Name, Role: people.Role(cmp.Or(o.Role, string(people.Operator))), Badge: o.Badge}
		ask = p.Badge == "" || !p.ByBadge()
	case "role":
		p.Role = people.Role(o.Role)
		ask = p.PIN == "" && !p.ByBadge()
	case "badge":
		p.Badge = o.Badge
	case "pin":
		ask = true
	case "remove":
		p.PIN, p.Removed = "", now.Format(time.DateOnly)
	}
	if !slices.Contains(people.Roles, p.Role) {
		return cli.Usagef("there is no role %q: use one of %v", p.Role, people.Roles)
	}
	if ask {
		pin, err := bench.AskSecret(fmt.Sprintf("New PIN of %s, 4 to 12 digits: ", p.Name), stdin, stdout)
		if err != nil {
			return err
		}
		if p.PIN, err = people.HashPIN(pin); err != nil {
			return cli.UsageError{Err: err}
		}
	}
	if err := list.Check(); err != nil {
		return cli.UsageError{Err: err}
	}
	if err := people.Save(file, list); err != nil {
		return fmt.Errorf("%s cannot be written: %w", file, cli.PlainPath(err))
	}
	if p.Removed != "" {
		fmt.Fprintf(stdout, "%s is removed and signed out; the records keep the name\n", p.Name)
		return nil
	}
	fmt.Fprintf(stdout, "%s: %s, %s (%s)\n", p.Name, p.Role, signsBy(*p), file)
	return nil
}

// badgeAs is a badge as a scan gives it.
func badgeAs(st config.Station, text string) (string, error) {
	rules, err := st.Scans.Rules()
	if err != nil {
		return "", cli.UsageError{Err: err}
	}
	if c, err := rules.Read(text, ""); err == nil && c.Kind == scan.Badge {
		return c.Value, nil
	}
	if _, err := scan.Own(scan.Badge, text); err != nil {
		return "", cli.Usagef("--badge: %w", err)
	}
	return text, nil
}

// signsBy tells how a person signs in.
func signsBy(p people.Person) string {
	switch {
	case p.Badge == "":
		return "PIN"
	case p.PIN == "":
		return "badge " + p.Badge
	case p.ByBadge():
		return "badge " + p.Badge + " or PIN"
	}
	return "badge " + p.Badge + " and PIN"
}

func listPeople(list people.List, file string, stdout io.Writer) error {
	if len(list) == 0 {
		fmt.Fprintf(stdout, "nobody yet (%s): whoever is at the bench may do all\n", file)
		return nil
	}
	w := tabwriter.NewWriter(stdout, 0, 0, 2, ' ', 0)
	for _, p := range list {
		how := signsBy(p)
		if p.Removed != "" {
			how = "removed " + p.Removed
		}
		fmt.Fprintf(w, "%s\t%s\t%s\n", p.Name, p.Role, how)
	}
	return w.Flush()
}
