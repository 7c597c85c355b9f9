package stripes

import (
	"math"
	"math/cmplx"
	"slices"

	"finishbench/internal/part"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Waves is how the surface waves: slope variance by wavelength, 0.125 to 4 mm.
type Waves struct {
	Measured   bool          // false: too little of the face mirrors
	AtLeast    bool          // slopes too steep to follow take the gloss, or turn the phase by more than half a period: what is told is a lower bound
	LostShare  float64       // of the face's pixels that mirror less than half of what its best do
	RMSRad     float64       // root mean square of the phase over both directions, noise taken off
	URMSRad    float64       // its standard uncertainty
	SlopeMRad  float64       // root mean square slope, Sdq of ISO 25178-2 over these wavelengths; 0: the screen's place is not known
	USlopeMRad float64       //
	Octaves    []part.Octave // the longest first, in the unit of VarPerOct
	MainMM     float64       // the wavelength around which there is most; 0: none
	WaveMM     []float64     // the curve: wavelengths, the longest first,
	VarPerOct  []float64     // and variance per octave at each: mrad^2, or rad^2 of phase where the screen's place is not known
}

// How waves are told, and what of them is orange peel (common practice, no source).
const (
	shortestMM = 0.125
	longestMM  = 4.0
	perOctave  = 3    // points of the curve
	tileMM     = 4.0  // tiles of which spectra are averaged, half over each other
	tileFull   = 0.8  // of a tile mirrors
	lostGloss  = 0.5  // gloss under this share of the best is lost
	lostMost   = 0.05 // and where more of the face has lost it, slopes are a lower bound
	leastPass  = 0.25 // of a wave's variance that lens and pixels let through; what they let through less of is left as it is
	peelLost   = 0.25 // share of the face that has lost its gloss
	wrapMost   = 1.6  // phase variance of a direction, rad^2, from which on it is a lower bound, too: see below
	peelMRad   = 1.0  // or slopes of so much: limits begin here,
	peelRad    = 0.5  // told in phase where the screen's place is not known,
	peelURms   = 4.0  // and so many times the uncertainty
)

// Of phases that follow a normal law of variance s^2, what lies beyond half a period and comes back from the
// other side leaves pi^2/3 + 4 sum over n of (-1)^n exp(-n^2 s^2/2) / n^2 of the variance: at wrapMost the root
// mean square is 2.6 % too small.

// waves measures the waviness: Welch's average of spectra (Welch 1967, IEEE Trans. Audio
// Electroacoust. 15, 70) with Hann's window. The noise's spectrum is that of the odd
// light, whose noise is the same and whose signal is none.
func (m *Maps) waves(p Params) Waves {
	var out Waves
	n, lost := 0, 0
	for i, yes := range m.looked {
		if yes && !m.atRim[i] {
			n++
			if float64(m.Gloss.V[i]) < lostGloss*m.best {
				lost++
			}
		}
	}
	if n < minPixels {
		return out
	}
	out.LostShare = float64(lost) / float64(n)
	out.AtLeast = out.LostShare > lostMost
	s := m.spectrum(p)
	if len(s.tiles) == 0 {
		return out
	}
	if m.sparkles {
		s.withoutFlakes()
	}
	out.Measured = true
	k := [2]float64{1, 1}
	if p.Screen.Known() {
		k = p.Screen.slopePerRad()
		k[0], k[1] = 1000*k[0], 1000*k[1]
	}
	curve := make([]float64, len(s.waveMM))
	byDirection := [2]float64{}
	all := 0.0
	for b := range curve {
		curve[b] = k[0]*k[0]*s.variance[0][b] + k[1]*k[1]*s.variance[1][b]
		byDirection[0], byDirection[1] = byDirection[0]+s.variance[0][b], byDirection[1]+s.variance[1][b]
		all += curve[b]
	}
	rad := byDirection[0] + byDirection[1]
	out.AtLeast = out.AtLeast || max(byDirection[0], byDirection[1]) > wrapMost
	for b, v := range curve {
		out.WaveMM, out.VarPerOct = append(out.WaveMM, s.waveMM[b]), append(out.VarPerOct, v*perOctave)
		if b%perOctave == 0 {
			from := math.Ldexp(longestMM, -b/perOctave)
			out.Octaves = append(out.Octaves, part.Octave{FromMM: from, ToMM: from / 2})
		}
		o := &out.Octaves[len(out.Octaves)-1]
		o.Variance += v
	}
	for i := range out.Octaves {
		o := &out.Octaves[i]
		o.UVariance = math.Hypot(s.uOctave[i]*k[0]*k[1], 2*p.Screen.URel*o.Variance)
	}
	out.RMSRad, out.URMSRad = part.RootOf(rad, s.uVariance)
	if out.RMSRad > 1.5*peelURms*out.URMSRad {
		out.MainMM = s.waveMM[slices.Index(curve, slices.Max(curve))]
	}
	if p.Screen.Known() {
		out.SlopeMRad, out.USlopeMRad = part.RootOf(all, s.uVariance*k[0]*k[1])
		out.USlopeMRad = math.Hypot(out.USlopeMRad, p.Screen.URel*out.SlopeMRad)
	}
	return out
}

// sparkleWaveMM is the shortest wave that is told over flakes (common practice, no source).
const sparkleWaveMM = 0.5

// withoutFlakes takes off what flakes add: noise that is alike at all frequencies of the plane, whose
// level is that of the shortest octave; and all of what is shorter than sparkleWaveMM.
func (s *spectrum) withoutFlakes() {
	area := func(b int) float64 { return 1 / (s.waveMM[b] * s.waveMM[b]) } // of a band in the plane of frequencies, but for a factor
	for _, of := range s.variance {
		level, all := 0.0, 0.0
		for b := max(0, len(of)-perOctave); b < len(of); b++ {
			level, all = level+of[b], all+area(b)
		}
		for b := range of {
			if of[b] = max(0, of[b]-level/all*area(b)); s.waveMM[b] < sparkleWaveMM {
				of[b] = 0
			}
		}
	}
}

// spectrum is the phase's variance by wavelength, of each direction.
type spectrum struct {
	waveMM    []float64
	variance  [2][]float64
	uVariance float64     // of the sum over all, from the tiles' scatter,
	uOctave   []float64   // and of each octave's
	tiles     [][]float64 // each tile's variance by octave
}

func (m *Maps) spectrum(p Params) spectrum {
	var s spectrum
	for b := 0; ; b++ {
		w := longestMM * math.Pow(2, -(float64(b)+0.5)/perOctave)
		if w < shortestMM {
			break
		}
		s.waveMM = append(s.waveMM, w)
	}
	bins := len(s.waveMM)
	for d := range s.variance {
		s.variance[d] = make([]float64, bins)
	}
	n := 1
	for 2*n <= int(tileMM/m.MMPX+0.5)+n/4 {
		n *= 2
	}
	if n < 2 { // pixels too large for any wave
		return s
	}
	window := make([]float64, n)
	for i := range window {
		window[i] = 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n))
	}
	fft := fourier.NewCmplxFFT(n)
	w, h := m.Depth.W, m.Depth.H
	for y0 := 0; y0+n <= h; y0 += n / 2 {
		for x0 := 0; x0+n <= w; x0 += n / 2 {
			full := 0
			for k := range n * n {
				if i := (y0+k/n)*w + x0 + k%n; m.looked[i] && !m.atRim[i] {
					full++
				}
			}
			if float64(full) < tileFull*float64(n*n) {
				continue
			}
			octaves := make([]float64, bins/perOctave)
			for d := range 2 {
				got, noise := m.tile(m.fine[d], m.odd[d], x0, y0, n, window, fft, p)
				for b := range bins {
					v := got[b] - m.phaseNoise*noise[b]
					s.variance[d][b] += v
					octaves[b/perOctave] += v
				}
			}
			s.tiles = append(s.tiles, octaves)
		}
	}
	if len(s.tiles) == 0 {
		return s
	}
	for d := range s.variance {
		for b := range s.variance[d] {
			s.variance[d][b] = max(0, s.variance[d][b]/float64(len(s.tiles)))
		}
	}
	sums := make([]float64, len(s.tiles))
	for o := range bins / perOctave {
		v := make([]float64, len(s.tiles))
		for i, t := range s.tiles {
			v[i] = t[o]
			sums[i] += t[o]
		}
		s.uOctave = append(s.uOctave, ofMean(v))
	}
	s.uVariance = ofMean(sums)
	return s
}

// ofMean is the standard uncertainty of the mean of tiles' variances, from their scatter.
func ofMean(tiles []float64) float64 {
	mean, ss := 0.0, 0.0
	for _, v := range tiles {
		mean += v / float64(len(tiles))
	}
	for _, v := range tiles {
		ss += (v - mean) * (v - mean)
	}
	tilesApart := float64(len(tiles)) / 2 // tiles lie half over each other
	return math.Sqrt(ss/max(1, float64(len(tiles)-1))/max(1, tilesApart)) + 0.02*math.Abs(mean)
}

// tile is one tile's variance by wavelength, of two planes: they are transformed as real and
// imaginary part of one, and told apart by symmetry.
func (m *Maps) tile(p, q *part.Plane, x0, y0, n int, window []float64, fft *fourier.CmplxFFT, par Params) (ofP, ofQ []float64) {
	data := make([]complex128, n*n)
	meanP, meanQ, weight := 0.0, 0.0, 0.0
	ok := func(i int) bool {
		return m.looked[i] && !m.atRim[i] && float64(m.Gloss.V[i]) >= lostGloss*m.best
	}
	for k := range n * n {
		if i := (y0+k/n)*m.Depth.W + x0 + k%n; ok(i) {
			w := window[k/n] * window[k%n]
			meanP, meanQ = meanP+w*float64(p.V[i]), meanQ+w*float64(q.V[i])
			weight += w
		}
	}
	meanP, meanQ = meanP/max(weight, 1e-9), meanQ/max(weight, 1e-9)
	power := 0.0
	for k := range n * n {
		if i := (y0+k/n)*m.Depth.W + x0 + k%n; ok(i) {
			w := window[k/n] * window[k%n]
			data[k] = complex(w*(float64(p.V[i])-meanP), w*(float64(q.V[i])-meanQ))
			power += w * w
		}
	}
	line := make([]complex128, n)
	for r := range n {
		copy(data[r*n:], fft.Coefficients(line, data[r*n:(r+1)*n]))
	}
	for c := range n {
		for r := range n {
			line[r] = data[r*n+c]
		}
		got := fft.Coefficients(nil, line)
		for r := range n {
			data[r*n+c] = got[r]
		}
	}
	bins := int(math.Round(math.Log2(longestMM/shortestMM) * perOctave))
	ofP, ofQ = make([]float64, bins), make([]float64, bins)
	signed := func(k int) float64 {
		if k > n/2 {
			k -= n
		}
		return float64(k) / (float64(n) * m.MMPX) // per mm
	}
	for k, v := range data {
		fx, fy := signed(k%n), signed(k/n)
		f := math.Hypot(fx, fy)
		if f == 0 {
			continue
		}
		b := int(math.Floor(math.Log2(longestMM*f) * perOctave))
		if b < 0 || b >= bins {
			continue
		}
		u := cmplx.Conj(data[(n-k/n)%n*n+(n-k%n)%n])
		share := 1 / (4 * float64(n*n) * max(power, 1e-9)) / max(m.passes(fx, fy, par), leastPass)
		a, c := v+u, v-u
		ofP[b] += (real(a)*real(a) + imag(a)*imag(a)) * share
		ofQ[b] += (real(c)*real(c) + imag(c)*imag(c)) * share
	}
	return ofP, ofQ
}

// passes is the share of a wave's variance that averaging over a map's pixel and the lens's blur
// let through.
func (m *Maps) passes(fx, fy float64, p Params) float64 {
	sinc := func(v float64) float64 {
		if v == 0 {
			return 1
		}
		return math.Sin(math.Pi*v) / (math.Pi * v)
	}
	t := sinc(fx*m.MMPX) * sinc(fy*m.MMPX) * math.Exp(-2*math.Pi*math.Pi*p.LensMM*p.LensMM*(fx*fx+fy*fy))
	return t * t
}

// peel says whether the whole face waves.
func (m *Maps) peel(w Waves, p Params) (part.Finding, bool) {
	steep := w.LostShare >= peelLost
	waves := w.Measured && w.RMSRad > peelRad && w.RMSRad > peelURms*w.URMSRad
	if p.Screen.Known() {
		waves = w.Measured && w.SlopeMRad > peelMRad && w.SlopeMRad > peelURms*w.USlopeMRad
	}
	if !steep && !waves {
		return part.Finding{}, false
	}
	var all []int
	for i, yes := range m.looked {
		if yes {
			all = append(all, i)
		}
	}
	area := float64(len(all)) * m.MMPX * m.MMPX
	features := map[string]float64{"gloss_lost_share": math.Round(1000*w.LostShare) / 1000, "main_wave_mm": math.Round(1000*w.MainMM) / 1000}
	if p.Screen.Known() {
		name := "slope_mrad"
		if w.AtLeast {
			name = "slope_mrad_at_least"
		}
		features[name], features["u_"+name] = math.Round(100*w.SlopeMRad)/100, math.Round(1000*w.USlopeMRad)/1000
	}
	return part.Finding{Kind: part.OrangePeel, Box: m.box(boundsOf(all, m.Depth.W)), Zone: part.ZoneFace, Confidence: 0.9, AreaMM2: part.Num(math.Round(100*area) / 100), Features: features}, true
}
