package outline

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"finishbench/internal/part"
)

// TestBulging: the faint sides of a shell in which two lamps are mirrored and a part shows, all clearer than these, are followed from its
// faceplate to its holder; beside the unit nothing is found. All is drawn; the sides may lie off by one sample of the thinned picture (2
// px).
func TestBulging(t *testing.T) {
	const w, h, seam, half, depth, mid = 540, 370, 90, 190.0, 190.0, 262.0
	draw := func(unit bool) *part.Image {
		noise := rand.New(rand.NewPCG(1, 2))
		im := &part.Image{W: w, H: h, C: 1, Pix8: make([]uint8, w*h)}
		for y := range h {
			for x := range w {
				dx, below := float64(x)-mid, float64(y-seam)
				v := 40.0
				switch {
				case !unit:
				case below < -40:
				case math.Abs(dx) > 100 && math.Abs(dx) < 130 && below < 110:
					v = 220 // lamps
				case below < 0 && math.Abs(dx) <= half:
					v = 46
				case below >= 0 && below < depth && math.Abs(dx) <= half*math.Sqrt(1-below*below/depth/depth):
					v = 46
					if dx > -60 && dx < 70 && below > 20 && below < 120 {
						v = 110 // a part
					}
				case below >= depth*0.98 && math.Abs(dx) < 30:
					v = 25 // the holder
				}
				im.Pix8[y*w+x] = uint8(v + 2*noise.NormFloat64() + 0.5)
			}
		}
		return im
	}
	f, err := FindBulging([]*part.Image{draw(true)})
	if err != nil {
		t.Fatal(err)
	}
	if first, last := f.Rows[0].Y, f.Rows[len(f.Rows)-1].Y; first > seam-30 || last < seam+0.8*depth {
		t.Errorf("sides from row %.0f to %.0f", first, last)
	}
	for _, r := range f.Rows {
		below := max(0, r.Y-seam)
		if r.Y < seam-30 || below > 0.8*depth {
			continue
		}
		want := half * math.Sqrt(1-below*below/depth/depth)
		if math.Abs(mid-r.Left-want) > 2 || math.Abs(r.Right-mid-want) > 2 {
			t.Errorf("row %.0f: %.1f to %.1f, drawn %.1f to %.1f", r.Y, r.Left, r.Right, mid-want, mid+want)
		}
	}
	if f, err := FindBulging([]*part.Image{draw(false)}); !errors.Is(err, ErrNoFlanks) {
		t.Errorf("nothing but ground: %v, %+v", err, f)
	}
	if _, err := FindBulging([]*part.Image{draw(true), {W: 100, H: 100, C: 1, Pix8: make([]uint8, 10000)}}); err == nil {
		t.Error("pictures of two sizes are one pose")
	}
}
