package records

import (
	"context"
	"reflect"
	"testing"
	"time"

	"finishbench/internal/part"
)

// Of the units of a shift, those that were looked at before it; what was taken
// back or corrected then does not count, and units of other shifts do not either.
func TestEarlier(t *testing.T) {
	onBoth(t, func(t *testing.T, url string) {
		ctx := context.Background()
		s := open(t, url)
		noon := time.Date(2031, 3, 4, 12, 0, 0, 0, time.UTC)
		put := func(serial, side, bench string, stage part.Stage, at time.Time) int64 {
			in := invented(0)
			in.Serial, in.Side, in.Bench, in.Stage, in.Started, in.Ended = serial, side, bench, stage, at, at.Add(time.Second)
			return add(t, s, in)
		}
		before, after := noon.Add(-time.Hour), noon.Add(time.Hour)
		put("a", "L", "bench 1", part.Wet, after)
		put("a", "L", "bench 2", part.Trim, before) // counts
		put("a", "L", "bench 2", part.Trim, before) // the same once more
		put("a", "R", "bench 1", part.Wet, before)  // the other side
		put("b", "", "bench 1", part.Wet, after)
		taken := put("b", "", "bench 1", part.Wet, before)
		put("c", "", "bench 1", part.Wet, before) // not in the shift
		put("d", "", "bench 1", part.Wet, after)
		old := put("d", "", "bench 1", part.Trim, before)
		better := invented(0)
		better.Serial, better.Side, better.Stage, better.Started, better.Ended, better.Corrects = "d", "", part.Wet, before,
			before.Add(time.Second), old
		add(t, s, better) // counts in the place of the one that it corrects
		put("e", "", "bench 2", part.Wet, after)
		put("e", "", "bench 1", part.Wet, before) // in the shift, but at another bench
		again := put("f", "", "bench 1", part.Trim, before)
		put("f", "", "bench 1", part.Wet, after)
		for _, err := range []error{s.Withdraw(ctx, taken, part.Note{}), s.Withdraw(ctx, again, part.Note{}),
			s.Restore(ctx, again, part.Note{})} {
			if err != nil {
				t.Fatal(err)
			}
		}
		got, err := s.Earlier(ctx, Filter{From: noon, Bench: "bench 1"})
		want := []part.Look{{Serial: "a", Side: "L", Stage: part.Trim}, {Serial: "d", Stage: part.Wet}, {Serial: "f", Stage: part.Trim}}
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%v, %v, want %v", got, err, want)
		}
		if got, err := s.Earlier(ctx, Filter{}); err != nil || got != nil {
			t.Errorf("without a beginning: %v, %v", got, err)
		}
	})
}
