package records

import (
	"context"
	"encoding/json"
	"errors"
	"strings"
	"testing"

	"finishbench/internal/part"
)

// Labels come back in order, later ones beside earlier ones, and are part of the
// chain; what cannot be labelled is refused as a whole.
func TestLabels(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		ctx := context.Background()
		s := open(t, url)
		in := invented(0)
		in.Result.Findings = append(in.Result.Findings, part.Finding{Number: 3, Kind: part.Step, StepStation: "0 deg, left"})
		a := add(t, s, in)
		b := add(t, s, invented(1))
		for _, l := range []Label{
			{Inspection: a, Number: 1, Kind: part.Run, By: "p1"},
			{Inspection: b, Number: 2, Kind: part.Bubble, By: "p1", Note: "clear, 透明"},
			{Inspection: a, Number: 1, Kind: part.Crater, By: "p2"},
			{Inspection: a, Number: 2, Kind: NoDefect, By: "p1"},
		} {
			if err := s.Label(ctx, l); err != nil {
				t.Fatal(err)
			}
		}
		for _, c := range []struct {
			l    Label
			is   error
			says string
		}{
			{Label{Inspection: 99, Number: 1, Kind: part.Run, By: "p1"}, ErrNotFound, ""},
			{Label{Inspection: a, Number: 9, Kind: part.Run, By: "p1"}, ErrInvalid, "no finding of this number"},
			{Label{Inspection: a, Number: 3, Kind: part.Run, By: "p1"}, ErrInvalid, "measured"},
			{Label{Inspection: a, Number: 1, Kind: part.Step, By: "p1"}, ErrInvalid, "no kind"},
			{Label{Inspection: a, Number: 1, Kind: "splash", By: "p1"}, ErrInvalid, "no kind"},
			{Label{Inspection: a, Number: 1, Kind: part.Run}, ErrInvalid, "by whom"},
		} {
			good := Label{Inspection: b, Number: 1, Kind: part.Run, By: "p1"}
			if err := s.Label(ctx, good, c.l); !errors.Is(err, c.is) || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%+v: %v", c.l, err)
			}
		}
		got, err := open(t, url).Labels(ctx)
		if err != nil || len(got) != 4 {
			t.Fatalf("%+v %v", got, err)
		}
		if l := got[1]; l.Inspection != b || l.Number != 2 || l.Kind != part.Bubble || l.By != "p1" || l.Note != "clear, 透明" || l.At.IsZero() {
			t.Errorf("%+v", l)
		}
		if got[2].Kind != part.Crater || got[3].Kind != NoDefect {
			t.Errorf("%+v", got)
		}
		if err := s.Withdraw(ctx, b, part.Note{}); err != nil {
			t.Fatal(err)
		}
		if err := s.Label(ctx, Label{Inspection: b, Number: 1, Kind: part.Run, By: "p1"}); !errors.Is(err, ErrWithdrawn) {
			t.Errorf("a withdrawn inspection: %v", err)
		}
		if r, err := s.Check(ctx); err != nil || !r.OK() {
			t.Errorf("%v %v", r.Problems, err)
		}
	})
}

func inForce(t *testing.T, s *Store) string {
	t.Helper()
	m, err := s.ModelInForce(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	if m == nil {
		return ""
	}
	return m.Name
}

// A kept model changes nothing until it is accepted; going back goes all the way,
// step by step, and everything stays on record.
func TestModels(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		ctx := context.Background()
		s := open(t, url)
		try := func(err error) {
			t.Helper()
			if err != nil {
				t.Fatal(err)
			}
		}
		try(s.KeepModel(ctx, KeptModel{Name: "A", SHA256: "aa", JSON: json.RawMessage(`{"x":1.5}`), By: "p1"}))
		try(s.KeepModel(ctx, KeptModel{Name: "B", SHA256: "bb", JSON: json.RawMessage(`{}`), By: "p1"}))
		if m := inForce(t, s); m != "" {
			t.Errorf("%s is in force before anyone accepted it", m)
		}
		for name, err := range map[string]error{
			"twice":   s.KeepModel(ctx, KeptModel{Name: "A", JSON: json.RawMessage(`{}`)}),
			"unnamed": s.KeepModel(ctx, KeptModel{JSON: json.RawMessage(`{}`)}),
			"unknown": s.AcceptModel(ctx, "C", "p1"),
		} {
			if !errors.Is(err, ErrInvalid) {
				t.Errorf("%s: %v", name, err)
			}
		}
		if _, err := s.BackModel(ctx, "p1"); !errors.Is(err, ErrInvalid) {
			t.Errorf("back from nothing: %v", err)
		}
		try(s.AcceptModel(ctx, "A", "p1"))
		if err := s.AcceptModel(ctx, "A", "p1"); !errors.Is(err, ErrInvalid) {
			t.Errorf("accepted twice: %v", err)
		}
		try(s.AcceptModel(ctx, "B", "p2"))
		for _, want := range []string{"A", ""} {
			to, err := s.BackModel(ctx, "p3")
			if err != nil || to != want || inForce(t, open(t, url)) != want {
				t.Errorf("back to %q (%v), in force %q; want %q", to, err, inForce(t, s), want)
			}
		}
		try(s.AcceptModel(ctx, "A", "p2"))
		all, err := s.Models(ctx)
		if err != nil || len(all) != 2 {
			t.Fatalf("%+v %v", all, err)
		}
		a, b := all[0], all[1]
		if !a.InForce || b.InForce || len(a.Uses) != 3 || len(b.Uses) != 1 || string(a.JSON) != `{"x":1.5}` || a.SHA256 != "aa" {
			t.Errorf("%+v", all)
		}
		if u := b.Uses[0]; u.By != "p2" || u.LeftBy != "p3" || !u.Until.After(u.From) || !a.Uses[2].Until.IsZero() {
			t.Errorf("%+v", all)
		}
		if r, err := s.Check(ctx); err != nil || !r.OK() {
			t.Errorf("%v %v", r.Problems, err)
		}
	})
}
