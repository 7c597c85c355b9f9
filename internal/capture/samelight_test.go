package capture

import (
	"math"
	"strings"
	"testing"

	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// brighter is a picture with its linear light times k.
func brighter(im *part.Image, k float64) *part.Image {
	out := &part.Image{W: im.W, H: im.H, C: im.C, Pix8: make([]uint8, len(im.Pix8))}
	var table [256]uint8
	for level, light := range optics.Linear8() {
		v := math.Min(1, k*float64(light))
		if v = v * 12.92; v > 0.04045 { // IEC 61966-2-1, from memory
			v = 1.055*math.Pow(v/12.92, 1/2.4) - 0.055
		}
		table[level] = uint8(255*v + 0.5)
	}
	for i, v := range im.Pix8 {
		out.Pix8[i] = table[v]
	}
	return out
}

// One light that goes by two names is told, be it written anew, taken anew, or
// exposed otherwise, and so is a plate that mirrors one window in both; two lights
// are not, nor are they on a plain panel, where any two look alike. The limits are
// common practice, no source.
func TestRefuseSame(t *testing.T) {
	p := synth.SmallFace()
	p.Pattern = "flake"
	d, r, _ := synth.Face(p)
	p.NoiseSigma = 2
	again, _, _ := synth.Face(p)
	p.Glare = false
	dull, dullRaking, _ := synth.Face(p)
	p.JPEGQuality = 70
	compressed, _, _ := synth.Face(p)
	mirror := synth.Unfit("mirror", synth.SmallFace())
	panel, panelRaking, _ := synth.Panel(synth.DefaultPanel())
	for _, c := range []struct {
		name          string
		a, b          *part.Image
		same          func(a, b *part.Image) (float64, bool)
		first, second bool // stays fit
	}{
		{"two lights", d, r, samePose, true, true},
		{"two lights, no lamps mirrored", dull, dullRaking, samePose, true, true},
		{"two lights, as bright", brighter(d, 0.5), brighter(r, 2), samePose, true, true},
		{"copy", d, d, samePose, true, false},
		{"taken anew", d, again, samePose, true, false},
		{"compressed anew", dull, compressed, samePose, true, false},
		{"exposed half as long", d, brighter(d, 0.5), samePose, false, false},
		{"mirror", mirror["face_diffuse"], mirror["face_raking"], samePose, false, false},
		{"mirror, its window clipped", brighter(mirror["face_diffuse"], 1.5), mirror["face_raking"], samePose, false, false},
		{"panel", panel, panelRaking, copied, true, true},
		{"panel, as bright", brighter(panel, 0.5), brighter(panelRaking, 2), copied, true, true},
		{"panel, copy", panel, panel, copied, true, false},
		{"other size", d, panel, samePose, true, true},
	} {
		a, b := part.PictureReport{File: "a", State: part.PictureOK}, part.PictureReport{File: "b", State: part.PictureOK}
		refuseSame([]*part.PictureReport{&a, &b}, []*part.Image{c.a, c.b}, c.same)
		if a.State == part.PictureOK != c.first || b.State == part.PictureOK != c.second {
			t.Errorf("%s: %s %+v, %s %+v; want fit %v, %v", c.name, a.State, a.Problems, b.State, b.Problems, c.first, c.second)
		}
		if !c.second && (len(b.Problems) != 1 || b.Problems[0].Name != SameLight || !strings.Contains(b.Problems[0].Remedy, "the same as a")) {
			t.Errorf("%s: %+v", c.name, b.Problems)
		}
	}

	// A third picture is told against the first two, one that is unfit against none.
	names := []*part.PictureReport{{File: "a", State: part.PictureOK}, {File: "b", State: part.PictureOK}, {File: "c", State: part.PictureOK}, {File: "d", State: part.PictureNoOK}}
	refuseSame(names, []*part.Image{d, r, r, d}, samePose)
	if names[0].State != part.PictureOK || names[1].State != part.PictureOK || !has(names[2], SameLight) || has(names[3], SameLight) {
		t.Errorf("%+v %+v %+v %+v", names[0], names[1], names[2], names[3])
	}
}
