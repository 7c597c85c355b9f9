package capture

import (
	"strings"
	"testing"

	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// One lens, one distance: focus is shared by the pictures of a pose, and nothing
// else is.
func TestShareFocus(t *testing.T) {
	p := synth.SmallFace()
	p.Pattern, p.Seed = "flake", 4
	dome, raking, _ := synth.Face(p)
	plain := p
	plain.Pattern = "plain"
	dull, _, _ := synth.Face(plain)
	ok := []*part.Image{dull, dull}
	sharp := func() *part.PictureReport {
		return &part.PictureReport{State: part.PictureOK, SharpnessPX: part.Num(2.5), WidthPX: 100}
	}
	soft := func(more ...part.Problem) *part.PictureReport {
		return &part.PictureReport{State: part.PictureNoOK, SharpnessPX: part.Num(9), WidthPX: 100,
			Problems: append([]part.Problem{{Name: OutOfFocus, Remedy: "focus"}}, more...)}
	}
	a, b := sharp(), soft()
	shareFocus([]*part.PictureReport{a, b}, ok)
	if b.State != part.PictureOK || !b.Problems[0].Warn || !strings.Contains(b.Problems[0].Remedy, "another picture") {
		t.Errorf("beside a sharp one: %+v", b)
	}
	b, c := soft(), soft()
	shareFocus([]*part.PictureReport{b, c}, ok)
	if b.State == part.PictureOK || b.Problems[0].Warn {
		t.Errorf("two soft ones: %+v; neither is fit", b)
	}
	b = soft(part.Problem{Name: TooDark})
	shareFocus([]*part.PictureReport{sharp(), b}, ok)
	if b.State == part.PictureOK || b.Problems[1].Warn {
		t.Errorf("soft and dark beside a sharp one: %+v; dark stays", b)
	}
	b = &part.PictureReport{State: part.PictureNoOK, Problems: []part.Problem{{Name: Unread}}}
	shareFocus([]*part.PictureReport{sharp(), b}, []*part.Image{dull, nil})
	if b.State == part.PictureOK {
		t.Error("a picture that could not be read became fit")
	}

	b = soft()
	shareFocus([]*part.PictureReport{sharp(), b}, []*part.Image{raking, dome})
	if b.State != part.PictureOK {
		t.Error("flakes as sharp as in the other picture, and yet out of focus")
	}
	p.BlurSigmaPX = 3.5
	blurred, _, _ := synth.Face(p)
	b = soft()
	shareFocus([]*part.PictureReport{sharp(), b}, []*part.Image{raking, blurred})
	if b.State == part.PictureOK || b.Problems[0].Warn {
		t.Error("flakes are blurred in this picture only, and yet it is taken as sharp")
	}
}

// Blur is that of the sharpest picture.
func TestBlur(t *testing.T) {
	ok := func(width float64) *part.PictureReport {
		return &part.PictureReport{State: part.PictureOK, SharpnessPX: part.Num(width)}
	}
	// 10-90 % width over standard deviation of a normal distribution: 2.5631; half of
	// (4-2.5631)/2.5631 is the uncertainty
	if s, u, ok := Blur([]*part.PictureReport{ok(4), ok(2.5631)}); !ok || s != 1 || u < 0.28 || u > 0.281 {
		t.Errorf("blur %.3f, u %.3f, %v; want 1 and 0.280", s, u, ok)
	}
	unfit := &part.PictureReport{State: part.PictureNoOK, SharpnessPX: part.Num(4)}
	if _, _, ok := Blur([]*part.PictureReport{unfit, unfit}); ok {
		t.Error("a blur from pictures that are not fit")
	}
}

// A picture that shows nothing for its ground takes the outline from one that does.
func TestShareOutline(t *testing.T) {
	p := synth.SmallFace()
	p.Seed = 4
	dome, raking, _ := synth.Face(p)
	shots := []part.Shot{{View: part.Face, Light: part.Diffuse}, {View: part.Face, Light: part.Raking}}
	lim := DefaultFitLimits()
	lim.MinPixels = 1
	good := Check(dome, shots[0], lim)
	if good.State != part.PictureOK {
		t.Fatalf("%+v", good)
	}
	lost := &part.PictureReport{State: part.PictureNoOK, View: part.Face, Problems: []part.Problem{{Name: NoUnit}}}
	SharePose([]*part.PictureReport{&good, lost}, []*part.Image{dome, raking}, shots, lim)
	if lost.State != part.PictureOK || has(lost, NoUnit) {
		t.Errorf("%+v", lost)
	}
}
