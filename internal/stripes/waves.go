package stripes

import (
	"math"

	"finishbench/internal/part"
)

// Waves is how the surface waves: slope variance by wavelength. Not measured where there
// is too little of a face that mirrors.
type Waves struct {
	Measured   bool
	AtLeast    bool      // gloss is lost to slopes too steep to follow: what is told is a lower bound
	LostShare  float64   // of the face's pixels where it is
	RMSRad     float64   // root mean square of the phase of both directions, noise taken off: 0.125 to 4 mm
	URMSRad    float64   // its standard uncertainty
	SlopeMRad  float64   // the surface's root mean square slope, Sdq of ISO 25178-2 over these wavelengths, mrad; 0: the screen's place is not known
	USlopeMRad float64   //
	WaveMM     []float64 // wavelengths, falling
	RadPerOct  []float64 // and phase variance per octave at each, rad^2
	MainMM     float64   // the wavelength with most of it
}

// What is orange peel (common practice, no source).
const (
	peelLost    = 0.25 // share of the face that has lost its gloss
	peelRad     = 0.5  // or this much phase,
	peelURms    = 4    // so many times its uncertainty,
	peelCells   = 0.5  // in this share of the cells
	lostGloss   = 0.5  // gloss under this is lost
	peelMRad    = 2.0  // slope, where it is told
	peelCellMM  = 1.0
	leastMirror = 0.3
)

// waves measures the waviness.
func (m *Maps) waves(p Params) Waves {
	inside := m.deeper(innerMM)
	n, lost := 0, 0
	var sum float64
	for i, in := range inside {
		if !in || !m.looked[i] {
			continue
		}
		n++
		if float64(m.Gloss.V[i]) < lostGloss*m.best {
			lost++
			continue
		}
		a, b := float64(m.fine[0].V[i]), float64(m.fine[1].V[i])
		sum += a*a + b*b
	}
	if n < fewPixels {
		return Waves{}
	}
	out := Waves{Measured: true, LostShare: float64(lost) / float64(n)}
	mean := sum / float64(max(1, n-lost))
	noise := 2 * m.NoiseRad * m.NoiseRad
	out.RMSRad = math.Sqrt(max(0, mean-noise))
	out.URMSRad = math.Sqrt(2*noise/float64(max(1, n-lost)) + 0.01*noise)
	out.AtLeast = out.LostShare > 0.05
	return out
}

// peel says whether the whole face waves.
func (m *Maps) peel(w Waves, p Params) (part.Finding, bool) {
	if !w.Measured || w.LostShare < peelLost {
		return part.Finding{}, false
	}
	x0, y0, x1, y1 := m.Depth.W, m.Depth.H, -1, -1
	area := 0.0
	for i, yes := range m.looked {
		if yes {
			x, y := i%m.Depth.W, i/m.Depth.W
			x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), max(y1, y)
			area += m.MMPX * m.MMPX
		}
	}
	return part.Finding{Kind: part.OrangePeel, Box: m.box(x0, y0, x1, y1), Zone: part.ZoneFace, Confidence: 0.9, AreaMM2: part.Num(math.Round(100*area) / 100),
		Features: map[string]float64{"gloss_lost_share": math.Round(1000*w.LostShare) / 1000}}, true
}
