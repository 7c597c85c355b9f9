package records

import (
	"context"
	"errors"
	"testing"
)

// People are added, read and erased, and in no other way changed.
func TestPeople(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		ctx := context.Background()
		s := open(t, url)
		for _, p := range []Person{{ID: "b", Initials: "AB"}, {ID: "a", Initials: "AB", Badge: "17"}, {ID: "c", Badge: "李"}} {
			if err := s.AddPerson(ctx, p); err != nil {
				t.Fatal(err)
			}
		}
		for _, p := range []Person{{}, {ID: "d"}, {Initials: "AB"}, {ID: "d", Initials: "a\x00b"}, {ID: "d", Initials: "X", Erased: true}} {
			if err := s.AddPerson(ctx, p); !errors.Is(err, ErrInvalid) {
				t.Errorf("%+v: %v", p, err)
			}
		}
		if err := s.AddPerson(ctx, Person{ID: "a", Initials: "XY"}); err == nil {
			t.Error("a person was replaced")
		}
		if err := s.ErasePerson(ctx, "a"); err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(s.ErasePerson(ctx, "a")); err != nil {
			t.Error(err)
		}
		if err := s.ErasePerson(ctx, "x"); !errors.Is(err, ErrNotFound) {
			t.Error(err)
		}
		got, err := open(t, url).People(ctx)
		if err != nil || len(got) != 3 || got[0] != (Person{ID: "a", Erased: true}) || got[1] != (Person{ID: "b", Initials: "AB"}) ||
			got[2].Badge != "李" {
			t.Errorf("%+v %v", got, err)
		}
		for _, q := range []string{"UPDATE people SET initials = 'ZZ' WHERE id = 'b'", "UPDATE people SET id = 'z' WHERE id = 'b'",
			"DELETE FROM people"} {
			if _, err := s.w.ExecContext(ctx, q); err == nil {
				t.Errorf("%s was done", q)
			}
		}
		if r, err := s.Check(ctx); err != nil || !r.OK() {
			t.Errorf("%+v %v", r, err)
		}
	})
}
