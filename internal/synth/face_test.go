package synth

import (
	"bytes"
	"math"
	"testing"

	"finishbench/internal/part"
)

// idealFace is a panel without lens, noise or 8-bit steps: what is drawn can be
// weighed.
func idealFace() FaceParams {
	p := DefaultPanel()
	p.W, p.H, p.Bits = 320, 240, 16
	p.BlurSigmaPX, p.NoiseSigma, p.Vignette = 0, 0, 0
	return p
}

// TestDustArea weighs the light that a dust inclusion takes: an opaque shape of
// equivalent diameter d covers pi d^2/4 (closed form), here within 0.5 %.
func TestDustArea(t *testing.T) {
	for seed := range uint64(6) {
		for _, d := range []float64{0.1, 0.3, 0.8} {
			p := idealFace()
			p.Seed = seed
			p.Defects = []Defect{{Kind: part.Dust, DiameterMM: d, XMM: 0.1037, YMM: -0.0521, Colour: [3]float64{0.02, 0.02, 0.02}}}
			a, b, truth := Panel(p)
			for k, im := range []*part.Image{a, b} {
				pl := linear(t, im, 1)
				ground := float64(pl.At(2, 2))
				full := ground - (matt[k]*0.02 + gloss[k])
				sum := 0.0
				box := truth.Defects[0].Box
				for y := range p.H {
					for x := range p.W {
						v := ground - float64(pl.At(x, y))
						if math.Abs(v) < 2e-5 {
							continue
						}
						sum += v / full
						if fx, fy := float64(x), float64(y); fx < box[0]-0.5 || fx > box[0]+box[2]+0.5 || fy < box[1]-0.5 ||
							fy > box[1]+box[3]+0.5 {
							t.Fatalf("dust outside its box %v at %d,%d", box, x, y)
						}
					}
				}
				want := math.Pi * d * d / 4 / p.MMPerPX / p.MMPerPX
				if math.Abs(sum/want-1) > 0.005 {
					t.Errorf("seed %d, %g mm, light %d: %.2f px covered, want %.2f", seed, d, k, sum, want)
				}
			}
		}
	}
}

// TestFibreArea: a line of length l and width w covers l*w, and half a disc at
// each end that the pixels see (closed form).
func TestFibreArea(t *testing.T) {
	p := idealFace()
	p.Defects = []Defect{{Kind: part.Fibre, LengthMM: 2, WidthMM: 0.02, AngleDeg: 30, Colour: [3]float64{0.02, 0.02, 0.02}}}
	a, _, truth := Panel(p)
	pl := linear(t, a, 1)
	ground, sum := float64(pl.At(2, 2)), 0.0
	for _, v := range pl.V {
		if d := ground - float64(v); math.Abs(d) > 2e-5 {
			sum += d / (ground - matt[dome]*0.02 - gloss[dome])
		}
	}
	l, w := 2/p.MMPerPX, 0.02/p.MMPerPX
	want := l*w + math.Pi*w*w/4
	if math.Abs(sum/want-1) > 0.02 {
		t.Errorf("fibre covers %.1f px, want %.1f", sum, want)
	}
	if q := truth.Defects[0]; q.LengthMM != 2 || math.Abs(q.AngleDeg-30) > 1e-9 {
		t.Errorf("truth %+v", q)
	}
}

// TestFaceOutline: the faceplate's area by its light is the area inside the
// truth's outline (shoelace formula).
func TestFaceOutline(t *testing.T) {
	p := SmallFace()
	p.Bits, p.BlurSigmaPX, p.NoiseSigma, p.RimMM, p.RingMM, p.Vignette = 16, 0, 0, 0, 0, 0
	a, _, truth := Face(p)
	pl := linear(t, a, 1)
	out, in, sum := float64(pl.At(0, 0)), float64(pl.At(p.W/2, p.H/2)), 0.0
	for _, v := range pl.V {
		sum += (float64(v) - out) / (in - out)
	}
	if want := math.Abs(polygonArea(truth.Outline)); math.Abs(sum/want-1) > 5e-4 {
		t.Errorf("faceplate covers %.1f px, its outline holds %.1f", sum, want)
	}
}

// TestTwoLights: what two lights share and what they do not. Pigment keeps its
// ratio to the ground; a crater shows both a lighter and a darker side under
// raking light only; a bubble has glints brighter than the ground under raking
// light.
func TestTwoLights(t *testing.T) {
	p := idealFace()
	p.Defects = []Defect{
		{Kind: part.Crater, DiameterMM: 0.8, XMM: -1.2},
		{Kind: part.Bubble, DiameterMM: 0.4},
		{Kind: part.Sanding, LengthMM: 1.4, WidthMM: 0.5, Lines: 7, XMM: 1.3, AngleDeg: 45},
	}
	a, b, truth := Panel(p)
	extent := func(im *part.Image, box part.Box) (lo, hi float64) {
		pl := linear(t, im, 1)
		ground := float64(pl.At(2, 2))
		lo, hi = 1, 1
		for y := int(box[1]); y <= int(box[1]+box[3]); y++ {
			for x := int(box[0]); x <= int(box[0]+box[2]); x++ {
				r := float64(pl.At(x, y)) / ground
				lo, hi = min(lo, r), max(hi, r)
			}
		}
		return lo, hi
	}
	crater, bubble, sanding := truth.Defects[0].Box, truth.Defects[1].Box, truth.Defects[2].Box
	if lo, hi := extent(b, crater); lo > 0.9 || hi < 1.1 {
		t.Errorf("crater under raking light: %.3f to %.3f of the ground", lo, hi)
	}
	if lo, hi := extent(a, crater); hi > 1.001 || lo > 0.98 || lo < 0.9 {
		t.Errorf("crater under the dome: %.3f to %.3f of the ground", lo, hi)
	}
	if _, hi := extent(b, bubble); hi < 1.05 {
		t.Errorf("bubble without glints: at most %.3f of the ground", hi)
	}
	la, ha := extent(a, sanding)
	if _, hb := extent(b, sanding); hb-1 < 2*max(1-la, ha-1) {
		t.Errorf("sanding marks: %.3f under raking light, %.3f to %.3f under the dome", hb, la, ha)
	}
}

// TestFaceSeed: same seed, same bytes, JPEG and patterns included.
func TestFaceSeed(t *testing.T) {
	p := SmallFace()
	p.Pattern, p.JPEGQuality = "granite", 90
	p.Defects = RandomDefects(p, map[part.Kind]int{part.Bubble: 2, part.Dust: 2, part.Fibre: 1, part.Sanding: 1}, 5)
	if len(p.Defects) != 6 {
		t.Errorf("%d defects placed, want 6", len(p.Defects))
	}
	a, b, ta := Face(p)
	c, d, tc := Face(p)
	if !bytes.Equal(a.Pix8, c.Pix8) || !bytes.Equal(b.Pix8, d.Pix8) {
		t.Error("same seed gave two pictures")
	}
	if bytes.Equal(a.Pix8, b.Pix8) {
		t.Error("both lights are alike")
	}
	for i := range ta.Defects {
		if ta.Defects[i] != tc.Defects[i] {
			t.Errorf("defect %d: %+v and %+v", i, ta.Defects[i], tc.Defects[i])
		}
	}
	if err := a.Validate(); err != nil {
		t.Error(err)
	}
}

// TestContrast compares the truth's contrast with the definition, worked out
// here from a picture and its twin without the defect.
func TestContrast(t *testing.T) {
	p := idealFace()
	p.BlurSigmaPX = 0.8
	twin, _, _ := Panel(p)
	p.Defects = []Defect{{Kind: part.Dust, DiameterMM: 0.2, Colour: [3]float64{0.1, 0.1, 0.1}}}
	with, _, _ := Panel(p)
	p.NoiseSigma = 1.3
	_, _, truth := Panel(p)
	a, b := linear(t, twin, 1), linear(t, with, 1)
	read, shot := sensor{noise: 1.3}.variance()
	worst := 0.0
	for y := 1; y < p.H-1; y++ {
		for x := 1; x < p.W-1; x++ {
			s := 0.0
			for v := -1; v <= 1; v++ {
				for u := -1; u <= 1; u++ {
					s += float64(b.At(x+u, y+v) - a.At(x+u, y+v))
				}
			}
			worst = max(worst, math.Abs(s/9)/(math.Sqrt(read+shot*float64(a.At(x, y)))/3))
		}
	}
	// Blue is a little darker than green here, and less noisy.
	if got := truth.Defects[0].CNRDiffuse; math.Abs(got/worst-1) > 0.05 {
		t.Errorf("contrast %.1f, worked out %.1f", got, worst)
	}
}

// TestFaceGrey: a grey camera has one channel, with and without JPEG.
func TestFaceGrey(t *testing.T) {
	p := SmallFace()
	p.Grey, p.Background = true, "bright"
	for _, q := range []int{0, 80} {
		p.JPEGQuality = q
		a, b, _ := Face(p)
		if a.C != 1 || b.C != 1 || a.Validate() != nil || b.Validate() != nil {
			t.Errorf("quality %d: %d channels", q, a.C)
		}
		if a.Pix8[0] < 150 {
			t.Error("bright background is dark")
		}
	}
}
