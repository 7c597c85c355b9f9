package defects

import (
	"math"
	"strings"
	"testing"

	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// movedImage is an image as a similarity carries it, bilinear.
func movedImage(im *part.Image, to similarity) *part.Image {
	out := &part.Image{W: im.W, H: im.H, C: im.C, Pix8: make([]uint8, len(im.Pix8))}
	for y := range im.H {
		for x := range im.W {
			q := to.back(part.Point{X: float64(x), Y: float64(y)})
			q.X, q.Y = math.Max(0, math.Min(float64(im.W-2), q.X)), math.Max(0, math.Min(float64(im.H-2), q.Y))
			i, j := int(q.X), int(q.Y)
			u, v := q.X-float64(i), q.Y-float64(j)
			for c := range im.C {
				at := func(i, j int) float64 { return float64(im.Pix8[(j*im.W+i)*im.C+c]) }
				out.Pix8[(y*im.W+x)*im.C+c] = uint8((at(i, j)*(1-u)+at(i+1, j)*u)*(1-v) + (at(i, j+1)*(1-u)+at(i+1, j+1)*u)*v + 0.5)
			}
		}
	}
	return out
}

// A shift, a turn and a growth that were made are told, and findings of the other
// picture come back in its own pixels.
func TestRegister(t *testing.T) {
	scene, _, _ := facePair("marble", 5, nil, nil)
	im := scene[0].Image
	made := similarity{a: 1.008, b: 0.008}
	made.tx, made.ty = 6-0.008*560+0.008*440, -5-0.008*560-0.008*440
	scene[1].Image = movedImage(scene[1].Image, made)
	f := &face{scene: scene}
	if _, err := f.registerFace(); err != nil {
		t.Fatal(err)
	}
	r := scene[1].lies
	if r.told != byDetail || r.apart || len(f.told) > 0 {
		t.Fatalf("%+v, %q", r, f.told)
	}
	worst := 0.0
	for _, p := range []part.Point{{X: 300, Y: 300}, {X: 800, Y: 300}, {X: 300, Y: 600}, {X: 800, Y: 600}} {
		a, b := made.of(p), r.to.of(p)
		worst = math.Max(worst, math.Hypot(a.X-b.X, a.Y-b.Y))
	}
	if worst > 3*math.Max(r.uPX, 0.15) { // three standard uncertainties: common practice, no source
		t.Errorf("off by %.2f px, u %.2f px", worst, r.uPX)
	}
	b := f.boxIn(1, part.Box{400, 400, 10, 20})
	if c := made.of(part.Point{X: 405, Y: 410}); math.Hypot(b.Centre().X-c.X, b.Centre().Y-c.Y) > 1 {
		t.Errorf("box %v, want its middle at %v", b, c)
	}
	// The moved picture, sampled through the registration, is the one before.
	want := Picture{Image: im}.plane(1, 2, 150, 120, 200, 150)
	got := Picture{Image: movedImage(im, made), lies: r}.plane(1, 2, 150, 120, 200, 150)
	sum := 0.0
	for i := range want.V {
		sum += math.Abs(float64(want.V[i] - got.V[i]))
	}
	still := averageDown(movedImage(im, made), 1, 2, 150, 120, 200, 150)
	before := 0.0
	for i := range want.V {
		before += math.Abs(float64(want.V[i] - still.V[i]))
	}
	if sum > before/3 {
		t.Errorf("after registration the planes differ by %.2f of what they did before", sum/before)
	}
}

// A rig on which nothing moved is left alone.
func TestRegisterStill(t *testing.T) {
	for _, pattern := range []string{"plain", "flake", "marble"} {
		scene, _, _ := facePair(pattern, 9, nil, nil)
		f := &face{scene: scene}
		if _, err := f.registerFace(); err != nil {
			t.Fatal(err)
		}
		if r := scene[1].lies; r.moved() || r.apart {
			t.Errorf("%s: %+v", pattern, r)
		}
	}
}

// Two units under one pose are no scene: each light is looked at by itself, and
// the reader is told.
func TestTwoUnitsApart(t *testing.T) {
	a, _, mm := facePair("plain", 9, nil, nil)
	b, _, _ := facePair("plain", 9, func(p *synth.FaceParams) { p.Stretch += 0.12 }, nil)
	res, err := Find([]Picture{a[0], b[1]}, DefaultParams(mm))
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(strings.Join(lang.English().SayAll(res.Warnings), "\n"), "does not lie on") {
		t.Errorf("warnings %q", res.Warnings)
	}
}

// Three lights are taken.
func TestThreeLights(t *testing.T) {
	scene, _, mm := facePair("flake", 9, nil, nil)
	third := scene[1]
	third.Shot.File = "face_third.jpg"
	third.Image = movedImage(third.Image, similarity{a: 1, tx: 4, ty: 3})
	if res, err := Find([]Picture{scene[0], scene[1], third}, DefaultParams(mm)); err != nil || len(res.Unseen) != 3 {
		t.Errorf("three lights: %d pictures, %v", len(res.Unseen), err)
	}
}
