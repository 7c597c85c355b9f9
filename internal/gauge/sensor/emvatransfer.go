package sensor

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// Level is one exposure of a series.
type Level struct {
	TimeMS  float64 // exposure time, ms
	Photons float64 // a pixel, from the light's measured irradiance; NaN: not known
	Dark    bool    // lens covered
	Pair    PairStats
}

// TransferOptions are the ranges of [PhotonTransfer]. Start from
// [DefaultTransferOptions].
type TransferOptions struct {
	TopDN    float64 // largest sample, DN
	Physical bool    // samples are proportional to light, so that electrons can be told
	FitTo    float64 // the gain is fitted up to this share of saturation
	From, To float64 // linearity is told between these shares of saturation
}

// DefaultTransferOptions has the ranges of EMVA 1288 (70 %, 5 to 95 %).
func DefaultTransferOptions() TransferOptions {
	return TransferOptions{TopDN: 255, Physical: true, FitTo: 0.7, From: 0.05, To: 0.95}
}

// Transfer is what an exposure series tells of a camera, in the quantities of
// EMVA 1288. NaN: not measured; Warnings say why.
type Transfer struct {
	KDNPerE, UKDNPerE  float64 // system gain and its standard uncertainty
	SlopeDNPerMS       float64 // response to exposure time
	DNPerPhoton        float64 // responsivity
	QuantumEfficiency  float64 // 0..1
	DarkDN             float64 // mean dark level at the shortest exposure
	SigmaDarkDN        float64 // temporal dark noise
	ReadNoiseE         float64 // the same in electrons, rounding taken off
	ReadNoiseBelowE    float64 // upper bound where rounding hides the noise; else NaN
	DarkDNPerS, DarkEs float64 // dark current, DN and electrons a second
	SaturationDN       float64 // mean level of the largest temporal variance, dark taken off
	SaturationE        float64
	SNRMax             float64
	LeastE             float64 // absolute sensitivity threshold
	LeastPhotons       float64
	SaturationPhotons  float64
	DynamicRange       float64
	DSNUE              float64 // scatter of the dark level between pixels, electrons
	PRNUPct            float64 // scatter of the response between pixels, %
	LinearityPct       float64 // largest departure from the line, %, always positive
	LinearityMinPct    float64
	LinearityMaxPct    float64

	Points   []TransferPoint
	Warnings []part.Phrase
}

// TransferPoint is one light level with what was made of it.
type TransferPoint struct {
	TimeMS       float64
	SignalDN     float64 // dark taken off, where it is known
	VarDN2       float64 // temporal variance, the dark one taken off, where it is known
	SNR          float64
	ClippedShare float64
	InFit        bool    // counted for the gain
	DeviationPct float64 // from the line; NaN: outside the range
}

// PhotonTransfer makes the figures of EMVA 1288 from an exposure series of light
// levels and dark ones.
//
// The gain K is the slope of the temporal variance over the mean, both without
// dark, fitted by least squares through the origin, each level weighted by the
// inverse square of its variance (the variance of a variance goes with its
// square); without dark levels the line is free. Linearity is the departure from
// the line that makes the relative departures least. Saturation is the level of
// the largest variance, where a higher one has less.
//
// Errors: fewer than two light levels, levels that do not rise with exposure, all
// clipped, all dark, bad numbers.
func PhotonTransfer(levels []Level, o TransferOptions) (*Transfer, error) {
	light, dark, err := sortLevels(levels)
	if err != nil {
		return nil, err
	}
	t := notMeasured()
	s := series{t: t, o: o, light: light, dark: dark}
	s.darkFigures()
	if err := s.look(); err != nil {
		return nil, err
	}
	s.saturation()
	s.gain()
	s.linearity()
	s.derived()
	return t, nil
}

// notMeasured is a Transfer of which nothing is known yet.
func notMeasured() *Transfer {
	t := &Transfer{}
	for _, v := range []*float64{
		&t.KDNPerE, &t.UKDNPerE, &t.SlopeDNPerMS, &t.DNPerPhoton, &t.QuantumEfficiency, &t.DarkDN, &t.SigmaDarkDN, &t.ReadNoiseE,
		&t.ReadNoiseBelowE,
		&t.DarkDNPerS, &t.DarkEs, &t.SaturationDN, &t.SaturationE, &t.SNRMax, &t.LeastE, &t.LeastPhotons, &t.SaturationPhotons,
		&t.DynamicRange,
		&t.DSNUE, &t.PRNUPct, &t.LinearityPct, &t.LinearityMinPct, &t.LinearityMaxPct,
	} {
		*v = math.NaN()
	}
	return t
}

// sortLevels parts light from dark and orders both by exposure.
func sortLevels(levels []Level) (light, dark []Level, err error) {
	for _, l := range levels {
		if !(l.TimeMS > 0) || math.IsInf(l.TimeMS, 0) {
			return nil, nil, lang.Error(part.Say("camera.err.ms", "ms", fmt.Sprintf("%g", l.TimeMS)))
		}
		if l.Dark {
			dark = append(dark, l)
		} else {
			light = append(light, l)
		}
	}
	byTime := func(a, b Level) int { return cmp.Compare(a.TimeMS, b.TimeMS) }
	slices.SortStableFunc(light, byTime)
	slices.SortStableFunc(dark, byTime)
	for _, v := range [][]Level{light, dark} {
		for i := 1; i < len(v); i++ {
			if v[i].TimeMS == v[i-1].TimeMS {
				return nil, nil, lang.Error(part.Say("camera.err.same_ms", "ms", fmt.Sprintf("%g", v[i].TimeMS)))
			}
		}
	}
	if len(light) < 2 {
		return nil, nil, lang.Error(part.Say("camera.err.few", "n", strconv.Itoa(len(light))))
	}
	return light, dark, nil
}

// series is an exposure series on its way to a Transfer.
type series struct {
	t           *Transfer
	o           TransferOptions
	light, dark []Level
	sat         float64 // saturation for the ranges, DN, dark taken off
	offset      float64 // of the dark level at no exposure; 0 where not known
	perMS       float64 // dark current, DN/ms
	darkVar     float64
}

func (s *series) warn(p part.Phrase) {
	s.t.Warnings = append(s.t.Warnings, p)
}

// clippedShare is the share of clipped samples from which a level counts as
// clipped. Common practice, no source.
const clippedShare = 0.01

// look refuses a series that tells nothing.
func (s *series) look() error {
	usable := 0
	if s.light[len(s.light)-1].Pair.Mean < 1 {
		return lang.Error(part.Say("camera.err.black"))
	}
	top, full := s.loudest() // beyond it pixels are full, and nothing rises
	if !full {
		top = len(s.light) - 1
	}
	for i, l := range s.light {
		if l.Pair.Clipped < clippedShare {
			usable++
		}
		if i > 0 && i <= top && !s.rises(s.light[i-1], l) && s.light[i-1].Pair.Clipped < clippedShare && l.Pair.Clipped < clippedShare {
			return lang.Error(part.Say("camera.err.falls", "dn_a", fmt.Sprintf("%.4g", s.light[i-1].Pair.Mean), "ms_a",
				fmt.Sprintf("%g", s.light[i-1].TimeMS), "dn_b", fmt.Sprintf("%.4g", l.Pair.Mean), "ms_b", fmt.Sprintf("%g", l.TimeMS)))
		}
	}
	switch {
	case usable == 0:
		return lang.Error(part.Say("camera.err.clipped"))
	case usable < 2:
		return lang.Error(part.Say("camera.err.clipped_but_one"))
	}
	for _, l := range s.light {
		if l.Pair.Uneven > 0.06 && l.Pair.Clipped < clippedShare {
			s.warn(part.Say("camera.uneven_middle", "percent", fmt.Sprintf("%.0f", 100*l.Pair.Uneven)))
			break
		}
	}
	if len(s.light) < 10 {
		s.warn(part.Say("camera.few_exposures", "n", strconv.Itoa(len(s.light))))
	}
	return nil
}

// rises says whether the mean goes up from a to b by five standard errors, and
// by a tenth of what the exposures say, where the dark level is known. Common
// practice, no source.
func (s *series) rises(a, b Level) bool {
	rise := b.Pair.Mean - a.Pair.Mean
	least := 5 * math.Sqrt((a.Pair.VarTemporal+b.Pair.VarTemporal)/float64(2*max(1, a.Pair.Pixels)))
	if len(s.dark) > 0 {
		least = max(least, 0.1*(b.TimeMS/a.TimeMS-1)*(a.Pair.Mean-s.darkAt(a.TimeMS)))
	}
	return rise > least
}

// darkFigures sets what the dark pictures tell.
func (s *series) darkFigures() {
	if len(s.dark) == 0 {
		s.warn(part.Say("camera.no_dark"))
		s.darkVar = math.NaN()
		return
	}
	d := s.dark[0].Pair
	s.darkVar = d.VarTemporal
	s.t.DarkDN, s.t.SigmaDarkDN = d.Mean, math.Sqrt(d.VarTemporal)
	s.offset = d.Mean
	if len(s.dark) >= 3 {
		x, y := make([]float64, len(s.dark)), make([]float64, len(s.dark))
		w := make([]float64, len(s.dark))
		for i, l := range s.dark {
			x[i], y[i], w[i] = l.TimeMS, l.Pair.Mean, 1
		}
		a, b := weightedLine(x, y, w)
		if u := slopeU(x, y, a, b); math.Abs(b) > 3*u {
			s.offset, s.perMS, s.t.DarkDNPerS = a, b, 1000*b
		} else {
			s.warn(part.Say("camera.dark_current", "most_dn", fmt.Sprintf("%.2g", 1000*(math.Abs(b)+2*u))))
		}
	}
	if d.AtZero > 0.05 {
		s.warn(part.Say("camera.dark_zero", "percent", fmt.Sprintf("%.0f", 100*d.AtZero)))
	}
}

// darkAt is the dark level at an exposure, DN: measured there, or from the line.
func (s *series) darkAt(ms float64) float64 {
	for _, l := range s.dark {
		if l.TimeMS == ms {
			return l.Pair.Mean
		}
	}
	return s.offset + s.perMS*ms
}

// loudest is the light level with the largest temporal variance, and whether a
// higher one has clearly less: then pixels are full, or the samples clipped. It
// is the last level where no noise is seen.
func (s *series) loudest() (int, bool) {
	last := len(s.light) - 1
	at := last
	for i, l := range s.light {
		if l.Pair.VarTemporal > s.light[at].Pair.VarTemporal {
			at = i
		}
	}
	return at, s.light[at].Pair.VarTemporal > 1.2*s.light[last].Pair.VarTemporal
}

// saturation is where the temporal variance is largest.
func (s *series) saturation() {
	at, full := s.loudest()
	last := s.light[len(s.light)-1]
	if full {
		s.sat = s.light[at].Pair.Mean - s.darkAt(s.light[at].TimeMS)
		s.t.SaturationDN = s.sat
	} else {
		s.sat = s.o.TopDN - s.darkAt(last.TimeMS)
		s.warn(part.Say("camera.unsaturated", "at_dn", fmt.Sprintf("%.0f", last.Pair.Mean), "of_dn", fmt.Sprintf("%.0f", s.o.TopDN)))
	}
}

// gain fits K, and fills the points.
func (s *series) gain() {
	var x, y, w []float64
	pixels := 0
	base := 0.0
	if !math.IsNaN(s.darkVar) {
		base = s.darkVar
	}
	for _, l := range s.light {
		p := TransferPoint{TimeMS: l.TimeMS, SignalDN: l.Pair.Mean - s.darkAt(l.TimeMS), VarDN2: l.Pair.VarTemporal - base,
			ClippedShare: l.Pair.Clipped, DeviationPct: math.NaN()}
		p.SNR = p.SignalDN / math.Sqrt(l.Pair.VarTemporal)
		if l.Pair.VarTemporal == 0 {
			p.SNR = math.NaN()
		}
		p.InFit = p.SignalDN > 0 && p.SignalDN <= s.o.FitTo*s.sat && l.Pair.Clipped < 0.001 && l.Pair.VarTemporal > 0
		if p.InFit {
			v := l.Pair.VarTemporal
			x, y, w = append(x, p.SignalDN), append(y, p.VarDN2), append(w, 1/(v*v+base*base))
			pixels = l.Pair.Pixels
		}
		s.t.Points = append(s.t.Points, p)
	}
	need := 2
	if len(s.dark) == 0 {
		need = 3
	}
	if len(x) < need {
		s.warn(part.Say("camera.few_gain", "n", strconv.Itoa(len(x)), "below_percent", fmt.Sprintf("%.0f", 100*s.o.FitTo)))
		return
	}
	slope, ss, sxx := 0.0, 0.0, 0.0
	if len(s.dark) > 0 {
		var sxy float64
		for i := range x {
			sxx, sxy = sxx+w[i]*x[i]*x[i], sxy+w[i]*x[i]*y[i]
		}
		slope = sxy / sxx
		for i := range x {
			ss += w[i] * math.Pow(y[i]-slope*x[i], 2)
		}
	} else {
		var b float64
		b, slope = weightedLine(x, y, w)
		var sw, sx float64
		for i := range x {
			sw, sx = sw+w[i], sx+w[i]*x[i]
		}
		for i := range x {
			sxx += w[i] * math.Pow(x[i]-sx/sw, 2)
			ss += w[i] * math.Pow(y[i]-b-slope*x[i], 2)
		}
	}
	if !(slope > 0) {
		s.warn(part.Say("camera.no_gain"))
		return
	}
	s.t.KDNPerE = slope
	// By the levels' scatter about the line, but no less than counting pixels
	// allows: a variance from n differences has a relative variance of 2/n.
	free := float64(len(x) - need + 1)
	s.t.UKDNPerE = math.Sqrt(max(ss/free, 2/float64(pixels)) / sxx)
}

// linearity fits signal over exposure.
func (s *series) linearity() {
	var x, y, w []float64
	var at []int
	for i, p := range s.t.Points {
		if p.SignalDN >= s.o.From*s.sat && p.SignalDN <= s.o.To*s.sat && p.ClippedShare < clippedShare {
			x, y, w, at = append(x, p.TimeMS), append(y, p.SignalDN), append(w, 1/(p.SignalDN*p.SignalDN)), append(at, i)
		}
	}
	if len(x) < 3 {
		s.warn(part.Say("camera.few_linear", "n", strconv.Itoa(len(x)), "from_percent", fmt.Sprintf("%.0f", 100*s.o.From), "to_percent",
			fmt.Sprintf("%.0f", 100*s.o.To)))
		return
	}
	a, b := weightedLine(x, y, w)
	s.t.SlopeDNPerMS = b
	low, high := math.Inf(1), math.Inf(-1)
	for k, i := range at {
		d := 100 * (y[k] - a - b*x[k]) / (a + b*x[k])
		s.t.Points[i].DeviationPct = d
		low, high = min(low, d), max(high, d)
	}
	s.t.LinearityMinPct, s.t.LinearityMaxPct, s.t.LinearityPct = low, high, max(-low, high)
	s.responsivity()
}

// responsivity needs photons: the slope of signal over them, as for linearity.
func (s *series) responsivity() {
	var x, y, w []float64
	for i, p := range s.t.Points {
		if !math.IsNaN(s.light[i].Photons) && s.light[i].Photons > 0 && p.InFit {
			x, y, w = append(x, s.light[i].Photons), append(y, p.SignalDN), append(w, 1/(p.SignalDN*p.SignalDN))
		}
	}
	if len(x) < 2 {
		return
	}
	_, s.t.DNPerPhoton = weightedLine(x, y, w)
}

// derived sets what follows from gain, dark and saturation.
func (s *series) derived() {
	t := s.t
	if !s.o.Physical {
		s.warn(part.Say("camera.srgb"))
	}
	k := t.KDNPerE
	t.SaturationE, t.SNRMax = t.SaturationDN/k, SNRMax(t.SaturationDN/k)
	t.DarkEs = t.DarkDNPerS / k
	t.QuantumEfficiency = QuantumEfficiency(t.DNPerPhoton, k)
	if t.SigmaDarkDN*t.SigmaDarkDN < 0.24 { // EMVA 1288 release 3.1, section 6.6 (from memory)
		t.ReadNoiseBelowE = 0.4 / k
		s.warn(part.Say("camera.dark_rounded", "sd_dn", fmt.Sprintf("%.2f", t.SigmaDarkDN)))
	} else {
		t.ReadNoiseE = DarkNoiseE(t.SigmaDarkDN, k)
		t.LeastE = LeastE(t.ReadNoiseE, k)
		t.DynamicRange = DynamicRange(t.SaturationE, t.LeastE)
		t.LeastPhotons = t.LeastE / t.QuantumEfficiency
	}
	t.SaturationPhotons = t.SaturationE / t.QuantumEfficiency
	s.pattern()
}

// pattern sets DSNU and PRNU, the latter at the level nearest to half of
// saturation.
func (s *series) pattern() {
	if len(s.dark) == 0 {
		return
	}
	t := s.t
	dark := s.dark[0].Pair.VarSpatial
	t.DSNUE = math.Sqrt(max(0, dark)) / t.KDNPerE
	near, off := -1, math.Inf(1)
	for i, p := range t.Points {
		if d := math.Abs(p.SignalDN - s.sat/2); d < off && p.ClippedShare < 0.001 {
			near, off = i, d
		}
	}
	if near < 0 || off > 0.25*s.sat {
		s.warn(part.Say("camera.no_half"))
		return
	}
	t.PRNUPct = 100 * math.Sqrt(max(0, s.light[near].Pair.VarSpatial-dark)) / t.Points[near].SignalDN
}

// slopeU is the standard uncertainty of the slope of y = a + b x, from the
// residuals of equally weighted points.
func slopeU(x, y []float64, a, b float64) float64 {
	n := float64(len(x))
	mean, sxx, ss := 0.0, 0.0, 0.0
	for _, v := range x {
		mean += v / n
	}
	for i, v := range x {
		sxx += (v - mean) * (v - mean)
		ss += math.Pow(y[i]-a-b*v, 2)
	}
	return math.Sqrt(ss / (n - 2) / sxx)
}

// weightedLine fits y = a + b x by weighted least squares.
func weightedLine(x, y, w []float64) (a, b float64) {
	var sw, sx, sy, sxx, sxy float64
	for i := range x {
		sw, sx, sy = sw+w[i], sx+w[i]*x[i], sy+w[i]*y[i]
	}
	for i := range x {
		dx := x[i] - sx/sw
		sxx, sxy = sxx+w[i]*dx*dx, sxy+w[i]*dx*y[i]
	}
	b = sxy / sxx
	return sy/sw - b*sx/sw, b
}
