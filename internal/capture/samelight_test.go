package capture

import (
	"strings"
	"testing"

	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// A picture of a flat panel given twice is told; two lights are not, nor are they where they are as bright. A third is told
// against the first two, one that is unfit against none. The limit is common practice, no source.
func TestRefuseCopies(t *testing.T) {
	diffuse, raking, _ := synth.Panel(synth.DefaultPanel())
	small, _, _ := synth.Face(synth.SmallFace())
	bright := &part.Image{W: raking.W, H: raking.H, C: raking.C, Pix8: make([]uint8, len(raking.Pix8))}
	for i, v := range raking.Pix8 {
		bright.Pix8[i] = uint8(min(255, 3*int(v)/2))
	}
	for name, c := range map[string]struct {
		a, b *part.Image
		fit  bool
	}{
		"two lights": {diffuse, raking, true}, "as bright": {diffuse, bright, true}, "copy": {diffuse, diffuse, false},
		"other size": {diffuse, small, true},
	} {
		a, b := part.PictureReport{File: "a", State: part.PictureOK}, part.PictureReport{File: "b", State: part.PictureOK}
		RefuseCopies([]*part.PictureReport{&a, &b}, []*part.Image{c.a, c.b})
		if a.State != part.PictureOK || (b.State == part.PictureOK) != c.fit {
			t.Errorf("%s: %s, %s; want fit %v", name, a.State, b.State, c.fit)
		}
		if !c.fit && (len(b.Problems) != 1 || b.Problems[0].Name != SameLight || !strings.Contains(b.Problems[0].Remedy, "the same as a")) {
			t.Errorf("%s: %+v", name, b.Problems)
		}
	}
	names := []*part.PictureReport{{File: "a", State: part.PictureOK}, {File: "b", State: part.PictureOK},
		{File: "c", State: part.PictureOK}, {File: "d", State: part.PictureNoOK}}
	RefuseCopies(names, []*part.Image{diffuse, raking, raking, diffuse})
	if names[0].State != part.PictureOK || names[1].State != part.PictureOK || !has(names[2], SameLight) || has(names[3], SameLight) {
		t.Errorf("%+v %+v %+v %+v", names[0], names[1], names[2], names[3])
	}
}
