package process

import (
	"testing"
	"time"
)

func TestNameShifts(t *testing.T) {
	place := time.FixedZone("there", 2*3600)
	at := func(h, m int) time.Time { return time.Date(2026, 3, 2, h, m, 0, 0, place).UTC() }
	units := []Unit{{At: at(6, 0)}, {At: at(13, 59)}, {At: at(14, 0)}, {At: at(21, 30)}, {At: at(22, 5)}, {At: at(2, 0)}, {At: at(5, 59)},
		{}}
	if err := NameShifts(units, []string{"06:00", "14:00", "22:00"}, place); err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"06:00-14:00", "06:00-14:00", "14:00-22:00", "14:00-22:00", "22:00-06:00", "22:00-06:00", "22:00-06:00",
		""} {
		if units[i].Shift != want {
			t.Errorf("%v: %q, want %q", units[i].At, units[i].Shift, want)
		}
	}
	for _, bad := range [][]string{{"06:00", "6 in the evening"}, {"14:00", "06:00"}, {"06:00", "06:00"}} {
		if NameShifts(units, bad, place) == nil {
			t.Errorf("%q is taken", bad)
		}
	}
	one := []Unit{{At: at(6, 0)}}
	if err := NameShifts(one, []string{"06:00"}, place); err != nil || one[0].Shift != "" {
		t.Errorf("one shift: %v, %q; there is nothing to compare", err, one[0].Shift)
	}
}
