package target

import (
	"math"
	"strings"
	"testing"

	"finishbench/internal/lang"
	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/synth"
)

// Discs and pins of known size: the diameter within 0.1 % or three times the
// stated uncertainty, whichever is more, never off by more than 0.03 px.
// Expected values: the drawing's own.
func TestDiscAndPin(t *testing.T) {
	for _, negative := range []bool{false, true} {
		for _, d := range []float64{1.2, 5, 30} {
			p := synth.DefaultTarget()
			p.W, p.H, p.Negative = 900, 700, negative
			p.Map = synth.Flat(0.05, part.Point{X: 450.3, Y: 350.2}, 10)
			f, err := Find(synth.Disc(p, d), optics.Target{Kind: optics.Disc, DiameterMM: d}, "disc")
			if err != nil || f.Pin {
				t.Errorf("disc of %g mm, negative %v: pin %v, %v", d, negative, f.Pin, err)
				continue
			}
			checkDiameter(t, f, d/0.05)
			if m := f.View.Marks[0]; math.Hypot(m.XPX-450.3, m.YPX-350.2) > 0.02 {
				t.Errorf("disc of %g mm: middle at %.3f, %.3f", d, m.XPX, m.YPX)
			}
			for _, long := range []float64{30, 100} { // inside the picture, and through it
				f, err := Find(synth.Bar(p, 0.6*d, long), optics.Target{Kind: optics.Disc, DiameterMM: 0.6 * d}, "pin")
				if err != nil || !f.Pin {
					t.Errorf("pin of %g x %g mm, negative %v: pin %v, %v", 0.6*d, long, negative, f.Pin, err)
					continue
				}
				checkDiameter(t, f, 0.6*d/0.05)
			}
		}
	}
}

func checkDiameter(t *testing.T, f Found, want float64) {
	t.Helper()
	if !(f.UDiameterPX > 0) || f.UDiameterPX > 0.02 {
		t.Errorf("%s: uncertainty %g px", f.View.Name, f.UDiameterPX)
	}
	if e := math.Abs(f.DiameterPX - want); e > max(0.001*want, 3*f.UDiameterPX) || e > 0.03 {
		t.Errorf("%s of %.1f px: %.4f, off by %.4f with a stated uncertainty of %.4f", f.View.Name, want, f.DiameterPX, f.DiameterPX-want,
			f.UDiameterPX)
	}
}

func TestDiscProblems(t *testing.T) {
	disc := optics.Target{Kind: optics.Disc, DiameterMM: 5}
	p := synth.DefaultTarget()
	p.Map = synth.Flat(0.05, part.Point{X: 300, Y: 300}, 0)
	f, err := Find(synth.Dots(p, optics.Target{Kind: optics.Dots, Cols: 2, Rows: 1, PitchMM: 9, DiameterMM: 5}, nil), disc, "a.png")
	checkProblem(t, "two", f, err, "two discs are seen; show one", "", 0)
	p.Map = synth.Flat(0.05, part.Point{X: 30, Y: 300}, 0)
	f, err = Find(synth.Disc(p, 5), disc, "a.png")
	checkProblem(t, "cut", f, err, "cut by the picture's border", "", 0)
	p.Map = synth.Flat(0.05, part.Point{X: -900, Y: 300}, 0)
	f, err = Find(synth.Disc(p, 5), disc, "a.png")
	checkProblem(t, "nothing", f, err, "not found: nothing stands out", "", 0)
	if !math.IsNaN(f.DiameterPX) {
		t.Errorf("nothing: diameter %g", f.DiameterPX)
	}
	p.Map = synth.Tilted(optics.Lens{FX: 900, FY: 900, CX: 400, CY: 300}, synth.Placement{DistanceMM: 45, AboutXDeg: 20})
	f, err = Find(synth.Disc(p, 5), disc, "a.png")
	checkProblem(t, "tilted", f, err, "", "the disc looks oval: its shortest diameter is 6.", 1) // cos 20 degrees is 0.940
	p.Map = func(x, y float64) part.Point { return part.Point{X: 400 + 20*x*(1+0.01*y), Y: 300 + 20*y} }
	f, err = Find(synth.Bar(p, 6, 20), disc, "a.png")
	if err != nil || !f.Pin || !strings.Contains(strings.Join(lang.English().SayAll(f.Notes), "|"), "not parallel") {
		t.Errorf("tapered: pin %v, %q, %v", f.Pin, f.Notes, err)
	}
}
