package records

import (
	"context"
	"database/sql"
	"fmt"
)

// Person is who an id in journals stands for. The chain cannot forget, so that it
// holds ids only, and what they stand for is kept here, where it can be erased.
type Person struct {
	ID       string // random, so that it tells nothing once the rest is erased
	Initials string // may be empty where there is a badge
	Badge    string // "": none
	Erased   bool   // initials and badge are gone
}

// AddPerson adds a person.
func (s *Store) AddPerson(ctx context.Context, p Person) error {
	for _, w := range []struct{ name, value string }{{"id", p.ID}, {"initials", p.Initials}, {"badge", p.Badge}} {
		if why := badWord(w.value, maxWord); why != "" {
			return fmt.Errorf("records: add a person: %w: %s %s", ErrInvalid, w.name, why)
		}
	}
	if p.ID == "" || p.Initials == "" && p.Badge == "" || p.Erased {
		return fmt.Errorf("records: add a person: %w: an id, and initials or a badge, are wanted", ErrInvalid)
	}
	return s.write(ctx, func(t *tx) error {
		return t.insert(ctx, "people", "id, initials, badge", [][]any{{p.ID, p.Initials, p.Badge}})
	})
}

// People returns all people, by their ids.
func (s *Store) People(ctx context.Context) ([]Person, error) {
	var all []Person
	err := s.snapshot(ctx, func(t *tx) error {
		all = nil
		return t.scanAll(ctx, "SELECT id, initials, badge FROM people ORDER BY id", nil, func(rows *sql.Rows) error {
			var id string
			var initials, badge sql.NullString
			err := rows.Scan(&id, &initials, &badge)
			all = append(all, Person{id, initials.String, badge.String, !initials.Valid})
			return err
		})
	})
	if err != nil {
		return nil, fmt.Errorf("records: read people: %w", err)
	}
	return all, nil
}

// ErasePerson blanks a person's initials and badge. Backups made before still
// have them. Erasing twice does no harm.
func (s *Store) ErasePerson(ctx context.Context, id string) error {
	return s.write(ctx, func(t *tx) error {
		var n int
		if err := t.row(ctx, "SELECT count(*) FROM people WHERE id = ?", id).Scan(&n); err != nil {
			return fmt.Errorf("records: erase a person: %w", err)
		}
		if n == 0 {
			return fmt.Errorf("records: erase a person: %w", ErrNotFound)
		}
		return t.exec(ctx, "UPDATE people SET initials = NULL, badge = NULL WHERE id = ?", id)
	})
}
