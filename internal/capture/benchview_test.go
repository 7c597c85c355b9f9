package capture

import (
	"math"
	"strings"
	"testing"

	"finishbench/internal/part"
	"finishbench/internal/synth"
)

func bench(t *testing.T, p synth.EdgeParams) BenchView {
	t.Helper()
	im, _ := synth.Edge(p)
	v, err := LookAtBench(im, edgeShot, DefaultFitLimits())
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// An empty panel tells of itself, and of nothing else. Truth is what was drawn.
func TestBenchEmptyPanel(t *testing.T) {
	p := synth.SmallEdge()
	p.NoUnit, p.Holder, p.Vignette, p.PanelLevel = true, false, 0, 0.5
	v := bench(t, p)
	if v.Unit || v.Bright || math.Abs(v.PanelLevel-0.5) > 0.02 || v.PanelUneven > 0.06 || v.PanelDirt > 0.0005 {
		t.Errorf("even panel of 0.5: %+v", v)
	}
	if !math.IsNaN(v.UnitClipped) || !math.IsNaN(v.UnitLevel) || !math.IsNaN(v.EdgeWidthPX) || !math.IsNaN(v.MotionPX) {
		t.Errorf("an empty panel tells of a unit: %+v", v)
	}

	// Light that falls by 40 % to the left.
	p.PanelGradient = 0.5
	v = bench(t, p)
	if v.PanelUneven < 0.3 || v.PanelUneven > 0.5 || !strings.Contains(v.PanelDark.Key, "left") && !strings.Contains(v.PanelDark.Key,
		"right") {
		t.Errorf("gradient: %.2f, darkest at %q", v.PanelUneven, v.PanelDark)
	}
	p.PanelGradient = -p.PanelGradient
	if other := bench(t, p); other.PanelDark.Key == v.PanelDark.Key {
		t.Errorf("darkest at %q both ways", v.PanelDark)
	}

	p.PanelGradient, p.PanelDirt = 0, 20
	if d := bench(t, p); d.Unit || d.PanelDirt < 0.002 {
		t.Errorf("20 specks: %+v", d)
	}
	p.PanelDirt, p.DarkPanel = 0, true
	if d := bench(t, p); d.Unit || d.PanelLevel > 0.05 {
		t.Errorf("panel off: %+v", d)
	}
}

// The numbers are those that Check judges: where it tells of a fault, the value
// is over its limit here, and else it is not.
func TestBenchAgreesWithCheck(t *testing.T) {
	lim := DefaultFitLimits()
	lim.Warn = 1 // only what is over the limit
	for _, c := range []struct {
		name   string
		change func(*synth.EdgeParams)
	}{
		{"sharp", func(*synth.EdgeParams) {}},
		{"soft", func(p *synth.EdgeParams) { p.BlurSigmaPX = 1.8 }},
		{"softer", func(p *synth.EdgeParams) { p.BlurSigmaPX = 2.1 }},
		{"moved", func(p *synth.EdgeParams) { p.MotionPX, p.MotionDeg = 9, 30 }},
		{"bright", func(p *synth.EdgeParams) { p.Exposure = 3 }},
		{"dark", func(p *synth.EdgeParams) { p.Exposure = 0.05 }},
		{"gradient", func(p *synth.EdgeParams) { p.PanelGradient = 0.9 }},
		{"dirt", func(p *synth.EdgeParams) { p.PanelDirt = 60 }},
	} {
		p := synth.SmallEdge()
		c.change(&p)
		im, _ := synth.Edge(p)
		r := Check(im, edgeShot, lim)
		v, err := LookAtBench(im, edgeShot, lim)
		if err != nil {
			t.Fatal(err)
		}
		if !v.Unit || !v.Bright {
			t.Fatalf("%s: %+v", c.name, v)
		}
		over := func(problem string, is bool, value float64) {
			told := false
			for _, q := range r.Problems {
				told = told || q.Name == problem && !q.Warn
			}
			if told != is {
				t.Errorf("%s: %s told %v, but %g here says %v", c.name, problem, told, value, is)
			}
		}
		over(OutOfFocus, v.EdgeWidthPX > v.EdgeMostPX, v.EdgeWidthPX)
		over(Moved, v.Moved, v.MotionPX)
		over(TooBright, v.UnitClipped > v.ClippedMost, v.UnitClipped)
		over(TooDark, v.PanelLevel < lim.MinPanel, v.PanelLevel)
		over(PanelUneven, v.PanelUneven > lim.PanelUneven, v.PanelUneven)
		if v.PanelDirt < lim.PanelDirt {
			over(PanelDirty, false, v.PanelDirt)
		}
	}
}

// Blur drawn is blur read: 2.5631 sqrt(sigma^2 + 1/12), as package optics has it
// for a Gaussian and a square pixel.
func TestBenchEdgeWidth(t *testing.T) {
	for _, sigma := range []float64{0.8, 1.2, 2} {
		p := synth.SmallEdge()
		p.BlurSigmaPX = sigma
		v, want := bench(t, p), risePerSigma*math.Sqrt(sigma*sigma+1.0/12)
		if math.Abs(v.EdgeWidthPX-want) > 0.12*want {
			t.Errorf("sigma %g: %.2f px, want %.2f", sigma, v.EdgeWidthPX, want)
		}
	}
}

func TestBenchTooSmallForAUnit(t *testing.T) {
	p := synth.SmallEdge()
	p.WidthMM, p.DepthMM, p.ThicknessMM, p.Holder = 2.5, 1.5, 0.5, false // 100 px of 25 um
	v := bench(t, p)
	if v.Unit || v.UnitPX < 80 || v.PanelDirt < 0.005 {
		t.Errorf("%+v", v)
	}
}

func TestBenchSurface(t *testing.T) {
	p := synth.DefaultTarget()
	p.Map = synth.Flat(0.05, part.Point{X: 200, Y: 200}, 0)
	im := synth.Chessboard(p, 6, 5, 3)
	v, err := LookAtSurface(im, DefaultFitLimits())
	if err != nil || v.UnitClipped != 0 || math.Abs(v.UnitLevel-0.7) > 0.03 || v.Unit || !math.IsNaN(v.PanelLevel) {
		t.Errorf("%+v, %v", v, err)
	}
	if _, err := LookAtBench(&part.Image{}, edgeShot, DefaultFitLimits()); err == nil {
		t.Error("no error for an empty image")
	}
}
