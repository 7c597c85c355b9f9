package outline

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// canvas is a grey or colour picture of one level, to draw on.
func canvas(w, h, c int, level uint8) *part.Image {
	im := &part.Image{W: w, H: h, C: c, Pix8: make([]uint8, w*h*c)}
	for i := range im.Pix8 {
		im.Pix8[i] = level
	}
	return im
}

// paint sets the pixels where cover is positive to a mix of what is there and
// level; cover is 0..1.
func paint(im *part.Image, level float64, cover func(x, y float64) float64) {
	for y := range im.H {
		for x := range im.W {
			a := cover(float64(x), float64(y))
			if a <= 0 {
				continue
			}
			for c := range im.C {
				p := &im.Pix8[(y*im.W+x)*im.C+c]
				*p = uint8(float64(*p)*(1-a) + level*a + 0.5)
			}
		}
	}
}

// ellipse covers softly, about a pixel wide at its edge.
func ellipse(cx, cy, a, b float64) func(x, y float64) float64 {
	return func(x, y float64) float64 {
		u, v := (x-cx)/a, (y-cy)/b
		r := math.Hypot(u, v)
		return min(1, max(0, 0.5+(1-r)*min(a, b)))
	}
}

func rect(x0, y0, x1, y1 float64) func(x, y float64) float64 {
	return func(x, y float64) float64 {
		if x >= x0 && x <= x1 && y >= y0 && y <= y1 {
			return 1
		}
		return 0
	}
}

// noise adds what a camera adds.
func noise(im *part.Image, sigma float64, seed uint64) {
	r := rand.New(rand.NewPCG(seed, 1))
	for i, v := range im.Pix8 {
		im.Pix8[i] = uint8(min(255, max(0, math.Round(float64(v)+sigma*r.NormFloat64()))))
	}
}

// TestEllipse: area within 2 % of pi a b, box within a sample, whatever the
// size of picture, its depth, its colours and which side is the brighter.
func TestEllipse(t *testing.T) {
	for _, c := range []struct {
		w, h, ch   int
		bg, unit   uint8
		a, b       float64
		bits       int
		noiseSigma float64
	}{
		{1600, 1200, 3, 235, 90, 560, 400, 8, 2},
		{1600, 1200, 3, 5, 60, 560, 400, 8, 2},
		{1600, 1200, 1, 8, 200, 300, 260, 8, 3},
		{640, 480, 1, 230, 120, 150, 110, 8, 1},
		{4000, 3000, 3, 10, 120, 1400, 1200, 8, 2},
		{1600, 1200, 3, 10, 120, 400, 500, 16, 2},
		{1200, 1600, 3, 128, 180, 420, 380, 8, 1},
		{300, 300, 1, 220, 40, 60, 50, 8, 0},
	} {
		t.Run(fmt.Sprintf("%dx%dx%d %d on %d", c.w, c.h, c.ch, c.unit, c.bg), func(t *testing.T) {
			im := canvas(c.w, c.h, c.ch, c.bg)
			cx, cy := float64(c.w)/2+3.3, float64(c.h)/2-7.7
			paint(im, float64(c.unit), ellipse(cx, cy, c.a, c.b))
			noise(im, c.noiseSigma, 7)
			if c.bits == 16 {
				im.Pix16 = make([]uint16, len(im.Pix8))
				for i, v := range im.Pix8 {
					im.Pix16[i] = uint16(v) * 257
				}
				im.Pix8 = nil
			}
			s, err := Find(im)
			if err != nil {
				t.Fatal(err)
			}
			want := math.Pi * c.a * c.b
			if r := s.Area / want; math.Abs(r-1) > 0.02 {
				t.Errorf("area %.0f, pi a b %.0f: ratio %.4f", s.Area, want, r)
			}
			step := float64(s.Step)
			for i, w := range [4]float64{cx - c.a, cy - c.b, 2 * c.a, 2 * c.b} {
				if math.Abs(s.Box[i]-w) > 1.5*step {
					t.Errorf("box %v, want side %d at %.1f", s.Box, i, w)
				}
			}
			if s.Bright != (c.bg > c.unit) || s.Pieces != 1 || s.Touches.Any() || s.HasStem {
				t.Errorf("bright %v, pieces %d, touches %+v, stem %v", s.Bright, s.Pieces, s.Touches, s.HasStem)
			}
			// Each boundary point lies on the ellipse, to about half a sample.
			for _, p := range s.Boundary {
				r := math.Hypot((p.X-cx)/c.a, (p.Y-cy)/c.b)
				if d := math.Abs(r-1) * min(c.a, c.b); d > 1.2*step {
					t.Fatalf("boundary point %v is %.1f px off", p, d)
				}
			}
		})
	}
}

// TestTurned: the picture mirrored or turned upside down has the same
// silhouette, mirrored or turned.
func TestTurned(t *testing.T) {
	p := synth.SmallEdge()
	p.Grazing = 0.3
	im, _ := synth.Edge(p)
	s, err := Find(im)
	if err != nil {
		t.Fatal(err)
	}
	p.FaceplateDown = true
	down, _ := synth.Edge(p)
	d, err := Find(down)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(d.Area/s.Area-1) > 0.01 || d.HasStem != s.HasStem || d.Touches.Any() {
		t.Errorf("upright: area %.0f, stem %v; upside down: area %.0f, stem %v, touches %+v", s.Area, s.HasStem, d.Area, d.HasStem,
			d.Touches)
	}
	if d.Holder[1] > 1 || s.Holder[1]+s.Holder[3] < float64(im.H)-3 {
		t.Errorf("holder %v upright, %v upside down", s.Holder, d.Holder)
	}
	m := &part.Image{W: im.W, H: im.H, C: im.C, Pix8: make([]uint8, len(im.Pix8))}
	for y := range im.H {
		for x := range im.W {
			copy(m.Pix8[(y*im.W+x)*im.C:(y*im.W+x+1)*im.C], im.Pix8[(y*im.W+im.W-1-x)*im.C:])
		}
	}
	f, err := Find(m)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(f.Area/s.Area-1) > 0.002 || math.Abs(f.Box[0]+f.Box[2]-(float64(im.W)-1-s.Box[0])) > float64(s.Step) {
		t.Errorf("mirrored: area %.0f against %.0f, box %v against %v", f.Area, s.Area, f.Box, s.Box)
	}
}

// TestSynthEdge: an edge picture's silhouette without its holder has the area
// of the outline it was drawn from, on lit and dark panels, in colour and grey.
func TestSynthEdge(t *testing.T) {
	for name, change := range map[string]func(*synth.EdgeParams){
		"plain":      func(*synth.EdgeParams) {},
		"grazing":    func(p *synth.EdgeParams) { p.Grazing = 0.6 },
		"dark panel": func(p *synth.EdgeParams) { p.DarkPanel = true },
		"grey":       func(p *synth.EdgeParams) { p.Grey = true },
		"16 bit":     func(p *synth.EdgeParams) { p.Bits = 16 },
		"tilted":     func(p *synth.EdgeParams) { p.TiltDeg = 5 },
		"gradient":   func(p *synth.EdgeParams) { p.PanelGradient = 0.4 },
		"white":      func(p *synth.EdgeParams) { p.ShellRGB, p.SameColour = [3]float64{0.8, 0.8, 0.78}, false },
		"blurred":    func(p *synth.EdgeParams) { p.BlurSigmaPX = 3 },
		"no holder":  func(p *synth.EdgeParams) { p.Holder = false },
		"off centre": func(p *synth.EdgeParams) { p.OffsetXPX, p.OffsetYPX = -60, 40 },
		"large":      func(p *synth.EdgeParams) { q := synth.DefaultEdge(); *p = q },
	} {
		t.Run(name, func(t *testing.T) {
			p := synth.SmallEdge()
			change(&p)
			im, truth := synth.Edge(p)
			s, err := Find(im)
			if err != nil {
				t.Fatal(err)
			}
			want := Area(truth.Outline)
			if r := s.Area / want; math.Abs(r-1) > 0.02 {
				t.Errorf("area %.0f, truth %.0f: ratio %.4f (box %v, holder %v)", s.Area, want, r, s.Box, s.Holder)
			}
			if s.Touches.Any() || s.Pieces != 1 || s.HasStem != p.Holder || s.Bright == p.DarkPanel {
				t.Errorf("touches %+v, pieces %d, stem %v, bright %v", s.Touches, s.Pieces, s.HasStem, s.Bright)
			}
		})
	}
}

// TestFraming: what is cut off by the frame, what is a holder, and what is two.
func TestFraming(t *testing.T) {
	const w, h = 800, 600
	type drawing func(im *part.Image)
	unit := func(cx, cy float64) drawing {
		return func(im *part.Image) { paint(im, 100, ellipse(cx, cy, 180, 140)) }
	}
	for _, c := range []struct {
		name    string
		draw    []drawing
		touches Sides
		stem    bool
		pieces  int
	}{
		{"in the middle", []drawing{unit(400, 300)}, Sides{}, false, 1},
		{"cut at the left", []drawing{unit(100, 300)}, Sides{Left: true}, false, 1},
		{"just cut at the left", []drawing{unit(170, 300)}, Sides{Left: true}, false, 1},
		{"cut at the right", []drawing{unit(720, 300)}, Sides{Right: true}, false, 1},
		{"cut at the top", []drawing{unit(400, 90)}, Sides{Top: true}, false, 1},
		{"cut at the bottom", []drawing{unit(400, 560)}, Sides{Bottom: true}, false, 1},
		{"stem below", []drawing{unit(400, 300), func(im *part.Image) { paint(im, 30, rect(370, 430, 430, 600)) }}, Sides{}, true, 1},
		{"stem above", []drawing{unit(400, 300), func(im *part.Image) { paint(im, 30, rect(370, 0, 430, 170)) }}, Sides{}, true, 1},
		{"stem at the right", []drawing{unit(400, 300), func(im *part.Image) { paint(im, 30, rect(570, 270, 800, 330)) }}, Sides{}, true,
			1},
		{"stem below, cut at the left", []drawing{unit(120, 300), func(im *part.Image) { paint(im, 30, rect(100, 430, 160, 600)) }},
			Sides{Left: true}, true, 1},
		{"table", []drawing{unit(400, 300), func(im *part.Image) { paint(im, 30, rect(0, 436, 800, 600)) }}, Sides{}, true, 1},
		{"two", []drawing{unit(200, 300), unit(600, 300)}, Sides{}, false, 2},
		{"two on stems", []drawing{unit(200, 300), unit(600, 300), func(im *part.Image) {
			paint(im, 30, rect(180, 430, 220, 600))
			paint(im, 30, rect(580, 430, 620, 600))
		}}, Sides{}, true, 2},
		{"one and a speck", []drawing{unit(400, 300), func(im *part.Image) { paint(im, 90, ellipse(80, 80, 15, 15)) }}, Sides{}, false, 1},
		{"one and a faint blotch", []drawing{unit(400, 300), func(im *part.Image) { paint(im, 215, ellipse(120, 120, 110, 100)) }}, Sides{},
			false, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			im := canvas(w, h, 3, 235)
			for _, d := range c.draw {
				d(im)
			}
			noise(im, 1.5, 3)
			s, err := Find(im)
			if err != nil {
				t.Fatal(err)
			}
			if s.Touches != c.touches || s.HasStem != c.stem || s.Pieces != c.pieces {
				t.Errorf("touches %+v, stem %v, pieces %d; want %+v, %v, %d", s.Touches, s.HasStem, s.Pieces, c.touches, c.stem, c.pieces)
			}
		})
	}
}

// TestNoUnit: an empty panel, or one with only a holder or dust on it.
func TestNoUnit(t *testing.T) {
	holder := canvas(800, 600, 3, 235)
	paint(holder, 30, rect(370, 400, 430, 600))
	specks := canvas(800, 600, 1, 235)
	paint(specks, 30, ellipse(300, 300, 6, 6))
	p := synth.SmallEdge()
	p.NoUnit = true
	panel, _ := synth.Edge(p)
	for name, im := range map[string]*part.Image{"bright": canvas(800, 600, 3, 235), "dark": canvas(800, 600, 1, 6), "holder": holder,
		"specks": specks, "drawn panel": panel} {
		if name != "drawn panel" {
			noise(im, 1.5, 5)
		}
		if _, err := Find(im); !errors.Is(err, ErrNoUnit) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Find(&part.Image{W: 20, H: 20, C: 1}); err == nil || errors.Is(err, ErrNoUnit) {
		t.Errorf("an image without pixels: %v", err)
	}
	if _, err := Find(canvas(10, 10, 1, 0)); err == nil || errors.Is(err, ErrNoUnit) {
		t.Errorf("a picture of 10 x 10: %v", err)
	}
}

// FuzzFind: any pixels of any size give an answer or an error.
func FuzzFind(f *testing.F) {
	f.Add(uint8(20), uint8(30), true, []byte{1, 2, 3, 200, 9})
	f.Add(uint8(16), uint8(200), false, []byte{0, 255})
	f.Fuzz(func(t *testing.T, w, h uint8, colour bool, data []byte) {
		if len(data) == 0 || w == 0 || h == 0 {
			return
		}
		im := canvas(int(w), int(h), 1, 0)
		if colour {
			im = canvas(int(w), int(h), 3, 0)
		}
		for i := range im.Pix8 {
			im.Pix8[i] = data[i%len(data)]
		}
		s, err := Find(im)
		if err == nil && (math.IsNaN(s.Area) || len(s.Boundary) < 4) {
			t.Errorf("area %v, %d points", s.Area, len(s.Boundary))
		}
	})
}

func BenchmarkFind(b *testing.B) {
	im, _ := synth.Edge(synth.DefaultEdge())
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Find(im); err != nil {
			b.Fatal(err)
		}
	}
}
