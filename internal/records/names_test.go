package records

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"testing"

	"finishbench/internal/part"
)

// What was built in comes back, as a whole and in brief; what is not told is "".
func TestBuiltIn(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		ctx := context.Background()
		s := open(t, url)
		in := invented(1)
		in.Faceplate, in.Resin = "oak 2", "B-77"
		id := add(t, s, in)
		none := add(t, s, invented(2))
		for _, want := range []part.Inspection{{ID: id, UnitInfo: part.UnitInfo{Faceplate: "oak 2", Resin: "B-77"}}, {ID: none}} {
			got, err := s.Get(ctx, want.ID)
			if err != nil || got.Faceplate != want.Faceplate || got.Resin != want.Resin {
				t.Errorf("%q, %q, %v", got.Faceplate, got.Resin, err)
			}
			brief, err := s.BriefsOf(ctx, []int64{want.ID})
			if err != nil || brief[0].Faceplate != want.Faceplate || brief[0].Resin != want.Resin {
				t.Errorf("in brief: %+v, %v", brief, err)
			}
		}
		var csv, lines bytes.Buffer
		if err := errors.Join(s.Export(ctx, &csv, "csv"), s.Export(ctx, &lines, "jsonl")); err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(csv.String(), "oak 2,B-77") || !strings.Contains(lines.String(), `"faceplate":"oak 2","resin":"B-77"`) {
			t.Error("an export lacks what was built in")
		}
		if r, err := s.Check(ctx); err != nil || !r.OK() {
			t.Errorf("check: %q, %v", r.Problems, err)
		}
	})
}

// What people are called can be erased, everywhere: it is not in the chain. Their
// inspections stay, and can be told from those of others.
func TestNamesCanBeErased(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		ctx := context.Background()
		s := open(t, url)
		const name, other = "Badge-Q7", "B2"
		var ids []int64
		for i, op := range []string{name, name, other, ""} {
			in := invented(i)
			in.Operator = op
			id, err := s.Add(ctx, in)
			if err != nil {
				t.Fatal(err)
			}
			ids = append(ids, id)
		}
		if err := s.Overrule(ctx, ids[2], part.Overrule{By: name, Verdict: part.Pass, Reason: "pattern"}); err != nil {
			t.Fatal(err)
		}
		if err := s.Withdraw(ctx, ids[3], part.Note{By: name}); err != nil {
			t.Fatal(err)
		}
		named := func(what string) (n int) {
			t.Helper()
			found, err := s.Find(ctx, Filter{Operator: what})
			if err != nil {
				t.Fatal(err)
			}
			briefs, err := s.Briefs(ctx, Filter{Operator: what})
			if err != nil || len(briefs) != len(found) {
				t.Fatalf("%d in brief, %d as a whole, %v", len(briefs), len(found), err)
			}
			for i := range found {
				if found[i].Operator != what || briefs[i].Operator != what {
					t.Errorf("asked for %q, got %q and %q", what, found[i].Operator, briefs[i].Operator)
				}
			}
			return len(found)
		}
		if n := named(name); n != 2 {
			t.Errorf("%d inspections of %s, want 2", n, name)
		}
		in, err := s.Get(ctx, ids[2])
		if err != nil || in.Operator != other || in.Overruled.By != name {
			t.Errorf("%q, overruled by %v, %v", in.Operator, in.Overruled, err)
		}

		if n, kept, err := s.EraseName(ctx, name); err != nil || n != 1 || kept != 0 {
			t.Fatalf("%d erased, %d kept, %v", n, kept, err)
		}
		if n := named(name); n != 0 {
			t.Errorf("%d inspections by a name that was erased", n)
		}
		a, err1 := s.Get(ctx, ids[0])
		b, err2 := s.Get(ctx, ids[1])
		if err := errors.Join(err1, err2); err != nil || a.Operator != b.Operator || !strings.HasPrefix(a.Operator, aliasPrefix) {
			t.Errorf("%q and %q, %v: want one alias", a.Operator, b.Operator, err)
		}
		var out bytes.Buffer
		for _, format := range []string{"csv", "jsonl", "trail"} {
			if err := s.Export(ctx, &out, format); err != nil {
				t.Fatal(err)
			}
		}
		if strings.Contains(out.String(), name) {
			t.Error("an export holds the name that was erased")
		}
		if !strings.Contains(out.String(), other) {
			t.Error("no export holds the other's name")
		}
		if r, err := s.Check(ctx); err != nil || !r.OK() {
			t.Errorf("check: %q, %v", r.Problems, err)
		}
		// Whoever is called so later is another person.
		again := invented(9)
		again.Operator = name
		id, err := s.Add(ctx, again)
		if err != nil {
			t.Fatal(err)
		}
		if in, err := s.Get(ctx, id); err != nil || in.Operator != name {
			t.Errorf("%q, %v", in.Operator, err)
		}
		if n := named(name); n != 1 {
			t.Errorf("%d inspections of the new %s, want 1", n, name)
		}
	})
}
