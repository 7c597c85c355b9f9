package defects

import (
	"strings"
	"testing"

	"finishbench/internal/lang"

	"finishbench/internal/defects/scene"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// shifted is an image moved by whole pixels, its sides drawn out.
func shifted(im *part.Image, dx, dy int) *part.Image {
	out := &part.Image{W: im.W, H: im.H, C: im.C, Pix8: make([]uint8, len(im.Pix8))}
	for y := range im.H {
		for x := range im.W {
			i, j := max(0, min(im.W-1, x-dx)), max(0, min(im.H-1, y-dy))
			copy(out.Pix8[(y*im.W+x)*im.C:][:im.C], im.Pix8[(j*im.W+i)*im.C:])
		}
	}
	return out
}

// Two units under one pose are no scene: each light is looked at by itself, and
// the reader is told.
func TestTwoUnitsApart(t *testing.T) {
	a, _, mm := facePair("plain", 9, nil, nil)
	b, _, _ := facePair("plain", 9, func(p *synth.FaceParams) { p.Stretch += 0.12 }, nil)
	res, err := Find([]scene.Picture{a[0], b[1]}, scene.DefaultParams(mm))
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(strings.Join(lang.English().SayAll(res.Warnings), "\n"), "does not lie on") {
		t.Errorf("warnings %q", res.Warnings)
	}
}

// Three lights are taken.
func TestThreeLights(t *testing.T) {
	pictures, _, mm := facePair("flake", 9, nil, nil)
	third := pictures[1]
	third.Shot.File = "face_third.jpg"
	third.Image = shifted(third.Image, 4, 3)
	if res, err := Find([]scene.Picture{pictures[0], pictures[1], third}, scene.DefaultParams(mm)); err != nil || len(res.Unseen) != 3 {
		t.Errorf("three lights: %d pictures, %v", len(res.Unseen), err)
	}
}
