package scene

import (
	"testing"

	"finishbench/internal/lang"

	"finishbench/internal/defects/shape"
	"finishbench/internal/defects/surface"
)

// Where a place lies is said in whole millimetres from the middle.
func TestWhereabouts(t *testing.T) {
	f := &Face{MMPX: 0.5, Surface: &surface.Surface{CX: 10, CY: 10}}
	for want, s := range map[string]shape.Shape{
		"in the middle":                          {X0: 9, X1: 11, Y0: 9, Y1: 11},
		"3 mm left of and 2 mm below the middle": {X0: 3, X1: 5, Y0: 13, Y1: 15},
		"2 mm above the middle":                  {X0: 10, X1: 10, Y0: 6, Y1: 6},
	} {
		if at := f.Whereabouts(s); lang.English().Say(&at) != want {
			t.Errorf("%+v, want %q", at, want)
		}
	}
}
