package defects

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// drawnEdge is the mirrored light of a disc whose edge wanders by amp mm in waves of wave mm,
// with noise, in pixels of 0.03 mm.
func drawnEdge(radius, amp, wave, noise float64) lampEdges {
	const w, h, mm = 400, 400, 0.03
	rng := rand.New(rand.NewPCG(5, 6))
	m := lampEdges{light: part.NewPlane(w, h), blurPX: 2, judged: func(int) bool { return true }}
	m.onMM = func(x, y float64) (float64, float64) { return x * mm, y * mm }
	n := math.Round(2 * math.Pi * radius / wave)
	for i := range m.light.V {
		dx, dy := float64(i%w-w/2)*mm, float64(i/w-h/2)*mm
		edge := radius + amp*math.Sin(n*math.Atan2(dy, dx))
		d := (edge - math.Hypot(dx, dy)) / mm
		m.light.V[i] = float32(1 + math.Erf(d/(2*math.Sqrt2)) + noise*rng.NormFloat64())
	}
	return m
}

// TestEdgeWaves: a disc's edge is 2 pi r long and does not bend back; one that wanders in n waves
// bends back twice a wave, and strays by amp^2/2 in its wave's octave, times what the filters pass
// between them: (1 + x) exp(-x), x = 1.678 (cutoff/wave)^2 (closed forms).
func TestEdgeWaves(t *testing.T) {
	e := drawnEdge(4, 0, 1, 0.02).edges()
	if math.Abs(e.lengthMM-8*math.Pi) > 0.2 || e.bends != 0 || e.waves() {
		t.Errorf("a smooth edge: %.2f mm, %d bends", e.lengthMM, e.bends)
	}
	const amp, wave = 0.06, 0.7071
	e = drawnEdge(4, amp, wave, 0.02).edges()
	n := 8 * math.Pi / wave
	if math.Abs(float64(e.bends)-2*n) > 4 || !e.waves() {
		t.Errorf("a wavy edge: %d bends, want %.0f", e.bends, 2*n)
	}
	rms, main := e.rmsMM()
	if main < 0.5 || main > 1 {
		t.Errorf("waves of %.2f mm were told as of %.2f", wave, main)
	}
	let := func(cutoff float64) float64 {
		x := 1.678 * cutoff * cutoff / wave / wave
		return (1 + x) * math.Exp(-x)
	}
	pass := let(0.5) - let(1)
	if v := e.octaves[2].variance; math.Abs(v-amp*amp/2*pass*pass) > 0.25*amp*amp/2*pass*pass || rms < math.Sqrt(v) {
		t.Errorf("octave of 1 to 0.5 mm: %.6f mm2, want %.6f", v, amp*amp/2*pass*pass)
	}
}

// TestContours: two discs are two closed lines, and a stripe across the plane is two open ones.
func TestContours(t *testing.T) {
	p := part.NewPlane(60, 40)
	for i := range p.V {
		x, y := float64(i%60), float64(i/60)
		p.V[i] = float32(max(6-math.Hypot(x-15, y-20), 8-math.Hypot(x-40, y-20)))
	}
	closed := 0
	for _, c := range contoursOf(p, 0) {
		if c.closed {
			closed++
		}
		for _, q := range c.at {
			if d := max(6-math.Hypot(q.X-15, q.Y-20), 8-math.Hypot(q.X-40, q.Y-20)); math.Abs(d) > 0.05 {
				t.Fatalf("the line passes %v, %.3f px off", q, d)
			}
		}
	}
	if closed != 2 {
		t.Errorf("%d closed lines round two discs", closed)
	}
	for i := range p.V {
		p.V[i] = float32(5 - math.Abs(float64(i%60)-30.3))
	}
	if c := contoursOf(p, 0); len(c) != 2 || c[0].closed || len(c[0].at) != 40 {
		t.Errorf("a stripe has %d lines", len(c))
	}
}

// lampFace is a drawn faceplate with a lamp's image in its dome picture.
func lampFace(pattern string, seed uint64, slope, waveMM float64) []Picture {
	p := synth.SmallFace()
	p.Pattern, p.Seed, p.PeelSlope, p.PeelMM = pattern, seed, slope, waveMM
	p.LampMM = part.Box{-1.5, -2.2, 2.2, 3.8}
	p.Defects = synth.RandomDefects(p, map[part.Kind]int{part.Dust: 3, part.Bubble: 3, part.Crater: 1, part.Fibre: 1}, seed)
	d, r, _ := synth.Face(p)
	return []Picture{
		{Shot: part.Shot{File: "face_diffuse.png", View: part.Face, Light: part.Diffuse}, Image: d},
		{Shot: part.Shot{File: "face_raking.png", View: part.Face, Light: part.Raking}, Image: r},
	}
}

func isPeel(f part.Finding) bool { return f.Kind == part.OrangePeel }

// TestOrangePeel: told where a lamp's edge is mirrored, over the common wavelengths; not on smooth faces; and where no edge is
// mirrored it is said that it was not
// looked for.
func TestOrangePeel(t *testing.T) {
	found, faces := 0, 0
	for i, pattern := range []string{"plain", "plain", "plain", "granite", "marble"} {
		for _, tc := range []struct{ slope, wave float64 }{{0, 0}, {0.01, 0.4}, {0.03, 0.8}} {
			if pattern != "plain" && tc.slope > 0 {
				continue // on a small face with veins too little is told of the lamp
			}
			res, err := Find(lampFace(pattern, uint64(43+i), tc.slope, tc.wave), DefaultParams(0.015))
			if err != nil {
				t.Fatal(err)
			}
			k := slices.IndexFunc(res.Findings, isPeel)
			switch {
			case tc.slope > 0:
				faces++
				if k >= 0 {
					found++
					f := res.Findings[k]
					t.Logf("%s, slope %g, wave %g: %v mm2, %v; %d other findings", pattern, tc.slope, tc.wave, *f.AreaMM2, f.Features, len(res.Findings)-1)
				}
			case k >= 0:
				t.Errorf("orange peel on a smooth %s face: %v", pattern, res.Findings[k].Features)
			}
		}
	}
	if found < faces*8/10 {
		t.Errorf("orange peel told on %d of %d faces", found, faces)
	}
	res, err := Find(func() []Picture { s, _, _ := facePair("plain", 3, nil, nil); return s }(), DefaultParams(0.015))
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(res.Warnings, func(w string) bool { return strings.Contains(w, "orange peel was not looked for") }) {
		t.Errorf("nothing is said of orange peel on a face without a lamp's edge: %v", res.Warnings)
	}
}
