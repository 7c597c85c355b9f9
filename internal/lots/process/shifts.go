package process

import (
	"fmt"
	"slices"
	"time"
)

// NameShifts says of each unit in which shift it was looked at: "06:00-14:00". starts
// are the times of day at which shifts begin, in order, as "15:04"; the last one
// goes on to the first. Fewer than two name nothing.
func NameShifts(units []Unit, starts []string, place *time.Location) error {
	if len(starts) < 2 {
		return nil
	}
	var minutes []int
	for _, s := range starts {
		t, err := time.Parse("15:04", s)
		if err != nil {
			return fmt.Errorf("process: a shift cannot begin at %q: write it as 06:00", s)
		}
		minutes = append(minutes, 60*t.Hour()+t.Minute())
	}
	if !slices.IsSorted(minutes) || len(slices.Compact(slices.Clone(minutes))) < len(minutes) {
		return fmt.Errorf("process: shifts begin at %q: write them in the order of the day, each once", starts)
	}
	for i := range units {
		if units[i].At.IsZero() {
			continue
		}
		at := units[i].At.In(place)
		k := len(minutes) - 1 // before the first begins, the last goes on
		for j, m := range minutes {
			if 60*at.Hour()+at.Minute() >= m {
				k = j
			}
		}
		units[i].Shift = starts[k] + "-" + starts[(k+1)%len(starts)]
	}
	return nil
}
