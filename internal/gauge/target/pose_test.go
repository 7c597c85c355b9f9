package target

import (
	"math"
	"math/rand/v2"
	"testing"

	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// Grids of any size in any pose up to 50 degrees about both axes, dots small and
// large, dark and light, through JPEG, with stray discs beside the grid: all of
// the grid is found, each mark within 0.4 px of where it was drawn (or of where
// half a turn puts it).
func TestDotsInAnyPose(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 2))
	for n := range 10 {
		spec := dotGrid(5+rng.IntN(12), 4+rng.IntN(9))
		if n%3 == 0 {
			spec = asymGrid(3+rng.IntN(4), 5+rng.IntN(8))
		}
		spec.DiameterMM = spec.PitchMM * (0.2 + 0.25*rng.Float64())
		p := synth.DefaultTarget()
		p.W, p.H, p.Seed, p.JPEGQuality = 1000, 800, uint64(n), 85
		p.Gradient, p.BlurSigmaPX, p.NoiseSigma = 0.6*rng.Float64(), 0.5+1.2*rng.Float64(), 3*rng.Float64()
		p.Negative = n%4 == 3
		w, h := synth.DotPlace(spec, spec.Cols-1, spec.Rows-1)
		lens := optics.Lens{FX: 1100, FY: 1100, CX: 500, CY: 400, K1: -0.3 * rng.Float64(), K2: 0.05}
		p.Map = synth.Tilted(lens, synth.Placement{XMM: w / 2, YMM: h / 2, DistanceMM: 1.9 * math.Hypot(w, h),
			AboutXDeg: 100 * (rng.Float64() - 0.5), AboutYDeg: 100 * (rng.Float64() - 0.5), AboutDeg: 360 * rng.Float64()})
		im := synth.Dots(p, spec, nil)
		for range 12 {
			stray(im, part.Point{X: rng.Float64() * 1000, Y: rng.Float64() * 800}, 3+10*rng.Float64(), spec, p.Map)
		}
		f, err := Find(im, spec, "any")
		if err != nil || len(f.View.Marks) != spec.Cols*spec.Rows {
			t.Errorf("%d: %s %d x %d: %d marks, %q, %v", n, spec.Kind, spec.Cols, spec.Rows, len(f.View.Marks), f.Notes, err)
			continue
		}
		straight, turned := 0.0, 0.0
		for i, m := range f.View.Marks {
			o := f.View.Marks[len(f.View.Marks)-1-i]
			a, b := p.Map(m.XMM, m.YMM), p.Map(o.XMM, o.YMM)
			straight = max(straight, math.Hypot(m.XPX-a.X, m.YPX-a.Y))
			turned = max(turned, math.Hypot(m.XPX-b.X, m.YPX-b.Y))
		}
		if min(straight, turned) > 0.4 {
			t.Errorf("%d: %s %d x %d: a mark is off by %.2f px", n, spec.Kind, spec.Cols, spec.Rows, min(straight, turned))
		}
	}
}

// stray paints a grey disc where it stays clear of the grid.
func stray(im *part.Image, at part.Point, r float64, spec optics.Target, place func(x, y float64) part.Point) {
	for col := range spec.Cols {
		for row := range spec.Rows {
			if q := place(synth.DotPlace(spec, col, row)); math.Hypot(q.X-at.X, q.Y-at.Y) < r+25 {
				return
			}
		}
	}
	for y := max(0, int(at.Y-r)); y < min(im.H, int(at.Y+r)); y++ {
		for x := max(0, int(at.X-r)); x < min(im.W, int(at.X+r)); x++ {
			if math.Hypot(float64(x)-at.X, float64(y)-at.Y) < r {
				im.Pix8[y*im.W+x] = 90
			}
		}
	}
}
