package synth

import (
	"os"
	"path/filepath"
	"testing"

	"finishbench/internal/part"
)

// TestUnfit: each set shows what its name says. With -alter it writes them too,
// to DIR/bad/<name>/.
func TestUnfit(t *testing.T) {
	p := DefaultFace()
	p.JPEGQuality, p.Seed = 95, *alterSeed
	if *alterTo == "" {
		p.W, p.H, p.MMPerPX = 400, 300, 0.06 // coarse, to be quick
	}
	e := newEgg(p)
	for _, name := range UnfitSets {
		set := Unfit(name, p)
		d, r := set["face_diffuse"], set["face_raking"]
		share := func(im *part.Image, from, to uint8) float64 { // of the plate's inner half
			n, all := 0.0, 0.0
			for y := int(e.cy - 0.5*e.least); y < int(e.cy+0.5*e.least); y += 3 {
				for x := int(e.cx - 0.5*e.least); x < int(e.cx+0.5*e.least); x += 3 {
					if v := im.Pix8[3*(y*im.W+x)+1]; v >= from && v <= to {
						n++
					}
					all++
				}
			}
			return n / all
		}
		differ := 0
		for i := range d.Pix8 {
			if d.Pix8[i] != r.Pix8[i] {
				differ = max(differ, int(d.Pix8[i])-int(r.Pix8[i]), int(r.Pix8[i])-int(d.Pix8[i]))
			}
		}
		corner := func(im *part.Image) int { return int(im.Pix8[3*(10*im.W+10)+1]) }
		middle := func(im *part.Image) int { return int(im.Pix8[3*(im.H/2*im.W+im.W/2)+1]) }
		ok := true
		switch name {
		case "lamp":
			clipped := share(d, 254, 255)
			ok = share(d, 200, 255) > 0.99 && clipped > 0.05 && clipped < 0.9 && share(r, 200, 255) == 0
		case "cropped":
			ok = corner(d) > 60 && corner(r) > 40
		case "mirror":
			ok = share(d, 230, 255) > 0.1 && share(d, 0, 190) > 0.3 && share(r, 230, 255) == 0
		case "white":
			ok = max(corner(d), middle(d))-min(corner(d), middle(d)) < 15 && corner(d) > 150
		case "twice":
			ok = differ == 0
		case "almost_twice":
			ok = differ > 0 && differ < 40
		case "three_lights":
			b := set["face_back"]
			ok = len(set) == 3 && corner(b) > 200 && middle(b) < 60
		}
		if !ok {
			t.Errorf("%s: not what it says: corner %d and %d, middle %d, apart by %d", name, corner(d), corner(r), middle(d), differ)
		}
		if *alterTo == "" {
			continue
		}
		to := filepath.Join(*alterTo, "bad", name)
		if err := os.MkdirAll(to, 0o777); err != nil {
			t.Fatal(err)
		}
		for file, im := range set {
			writeJPEG(t, filepath.Join(to, file+".jpg"), im)
		}
	}
}
