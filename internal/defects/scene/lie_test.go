package scene

import (
	"math"
	"testing"

	"finishbench/internal/defects/align"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// movedImage is an image as a similarity carries it, bilinear.
func movedImage(im *part.Image, to align.Similarity) *part.Image {
	out := &part.Image{W: im.W, H: im.H, C: im.C, Pix8: make([]uint8, len(im.Pix8))}
	for y := range im.H {
		for x := range im.W {
			q := to.Back(part.Point{X: float64(x), Y: float64(y)})
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

// drawnPair draws a faceplate of 11 mm under two lights, 15 um per pixel.
func drawnPair(pattern string, seed uint64) []Picture {
	p := synth.DefaultFace()
	p.W, p.H, p.SizeMM = 1120, 880, 11
	p.Pattern, p.Seed, p.JPEGQuality = pattern, seed, 95
	d, r, _ := synth.Face(p)
	return []Picture{
		{Shot: part.Shot{File: "face_diffuse.jpg", View: part.Face, Light: part.Diffuse}, Image: d},
		{Shot: part.Shot{File: "face_raking.jpg", View: part.Face, Light: part.Raking}, Image: r},
	}
}

// A shift, a turn and a growth that were made are told, and findings of the other
// picture come back in its own pixels.
func TestRegister(t *testing.T) {
	pictures := drawnPair("marble", 5)
	im := pictures[0].Image
	made := align.Similarity{A: 1.008, B: 0.008}
	made.TX, made.TY = 6-0.008*560+0.008*440, -5-0.008*560-0.008*440
	pictures[1].Image = movedImage(pictures[1].Image, made)
	f := &Face{Pictures: pictures}
	if _, err := f.registerFace(); err != nil {
		t.Fatal(err)
	}
	r := pictures[1].Registration
	if r.By != align.ByDetail || r.Apart || len(f.Warnings) > 0 {
		t.Fatalf("%+v, %q", r, f.Warnings)
	}
	worst := 0.0
	for _, p := range []part.Point{{X: 300, Y: 300}, {X: 800, Y: 300}, {X: 300, Y: 600}, {X: 800, Y: 600}} {
		a, b := made.Of(p), r.To.Of(p)
		worst = math.Max(worst, math.Hypot(a.X-b.X, a.Y-b.Y))
	}
	if worst > 3*math.Max(r.UPX, 0.15) { // three standard uncertainties: common practice, no source
		t.Errorf("off by %.2f px, u %.2f px", worst, r.UPX)
	}
	b := f.BoxIn(1, part.Box{400, 400, 10, 20})
	if c := made.Of(part.Point{X: 405, Y: 410}); math.Hypot(b.Centre().X-c.X, b.Centre().Y-c.Y) > 1 {
		t.Errorf("box %v, want its middle at %v", b, c)
	}
	// The moved picture, sampled through the registration, is the one before.
	want := Picture{Image: im}.Plane(1, 2, 150, 120, 200, 150)
	got := Picture{Image: movedImage(im, made), Registration: r}.Plane(1, 2, 150, 120, 200, 150)
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
		pictures := drawnPair(pattern, 9)
		f := &Face{Pictures: pictures}
		if _, err := f.registerFace(); err != nil {
			t.Fatal(err)
		}
		if r := pictures[1].Registration; r.Moved() || r.Apart {
			t.Errorf("%s: %+v", pattern, r)
		}
	}
}
