package optics

import (
	"math"
	"testing"

	"finishbench/internal/part"
)

// Expected values: IEC 61966-2-1:1999's two pieces worked by hand (from memory):
// 0.04045 is where they meet, at 0.04045/12.92; the ends stay; middle grey 0.5 is
// ((0.5+0.055)/1.055)^2.4.
func TestSRGB(t *testing.T) {
	for _, c := range []struct{ encoded, linear float64 }{
		{0, 0}, {1, 1}, {0.04045, 0.04045 / 12.92}, {0.5, 0.2140411}, {0.02, 0.02 / 12.92},
	} {
		if got := SRGBToLinear(c.encoded); math.Abs(got-c.linear) > 1e-6 {
			t.Errorf("sRGB %v is linear %v, want %v", c.encoded, got, c.linear)
		}
	}
	for i := range 1001 {
		v := float64(i) / 1000
		if back := LinearToSRGB(SRGBToLinear(v)); math.Abs(back-v) > 1e-4 { // the two pieces meet to four digits
			t.Fatalf("there and back, %v is %v", v, back)
		}
	}
}

func TestLinearPlanes(t *testing.T) {
	im8 := &part.Image{W: 2, H: 1, C: 3, Pix8: []uint8{0, 128, 255, 255, 0, 128}}
	im16 := &part.Image{W: 2, H: 1, C: 3, Pix16: []uint16{0, 128 * 257, 65535, 65535, 0, 128 * 257}}
	for c := range 3 {
		a, err := Linear(im8, c)
		if err != nil {
			t.Fatal(err)
		}
		b, err := Linear(im16, c)
		if err != nil {
			t.Fatal(err)
		}
		for i := range a.V {
			want := SRGBToLinear(float64(im8.Pix8[3*i+c]) / 255)
			if math.Abs(float64(a.V[i])-want) > 1e-6 || math.Abs(float64(b.V[i])-want) > 1e-6 {
				t.Errorf("channel %d, pixel %d: 8 bit %v, 16 bit %v, want %v", c, i, a.V[i], b.V[i], want)
			}
		}
	}
	if _, err := Linear(im8, 3); err == nil {
		t.Error("a fourth channel of three was given")
	}
	if _, err := Linear(&part.Image{W: 2, H: 2, C: 1, Pix8: []uint8{1}}, 0); err == nil {
		t.Error("an image with missing pixels was taken")
	}
}
