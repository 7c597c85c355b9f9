package lampedge

import (
	"math"
	"math/rand/v2"
	"testing"

	"finishbench/internal/part"
)

// drawnEdge is the mirrored light of a disc whose edge wanders by amp mm in waves of wave mm,
// with noise, in pixels of 0.03 mm.
func drawnEdge(radius, amp, wave, noise float64) Mirrored {
	const w, h, mm = 400, 400, 0.03
	rng := rand.New(rand.NewPCG(5, 6))
	m := Mirrored{Light: part.NewPlane(w, h), BlurPX: 2, Judged: func(int) bool { return true }}
	m.OnMM = func(x, y float64) (float64, float64) { return x * mm, y * mm }
	n := math.Round(2 * math.Pi * radius / wave)
	for i := range m.Light.V {
		dx, dy := float64(i%w-w/2)*mm, float64(i/w-h/2)*mm
		edge := radius + amp*math.Sin(n*math.Atan2(dy, dx))
		d := (edge - math.Hypot(dx, dy)) / mm
		m.Light.V[i] = float32(1 + math.Erf(d/(2*math.Sqrt2)) + noise*rng.NormFloat64())
	}
	return m
}

// TestEdgeWaves: a disc's edge is 2 pi r long and does not bend back; one that wanders in n waves
// bends back twice a wave, and strays by amp^2/2 in its wave's octave, times what the filters pass
// between them: (1 + x) exp(-x), x = 1.678 (cutoff/wave)^2 (closed forms).
func TestEdgeWaves(t *testing.T) {
	e := drawnEdge(4, 0, 1, 0.02).Waves()
	if math.Abs(e.LengthMM-8*math.Pi) > 0.2 || e.Bends != 0 || e.OrangePeel() {
		t.Errorf("a smooth edge: %.2f mm, %d bends", e.LengthMM, e.Bends)
	}
	const amp, wave = 0.06, 0.7071
	e = drawnEdge(4, amp, wave, 0.02).Waves()
	n := 8 * math.Pi / wave
	if math.Abs(float64(e.Bends)-2*n) > 4 || !e.OrangePeel() {
		t.Errorf("a wavy edge: %d bends, want %.0f", e.Bends, 2*n)
	}
	rms, main := e.RMSMM()
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
