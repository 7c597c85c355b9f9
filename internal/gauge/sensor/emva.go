package sensor

import "math"

// The relations of EMVA 1288 (release 3.1, sections 2 and 6; from memory, each
// checked against the example that the standard's reference data set comes
// with). DN is a digital number, a step of the raw picture; e- an electron.

// QuantizationVar is the variance that rounding to whole numbers adds, DN^2.
const QuantizationVar = 1. / 12

// QuantumEfficiency is the share of photons that become electrons: responsivity
// (DN a photon) over the system gain (DN an electron).
func QuantumEfficiency(dnPerPhoton, dnPerE float64) float64 { return dnPerPhoton / dnPerE }

// DarkNoiseE is the temporal dark noise in electrons from that in DN, rounding
// taken off; NaN where rounding explains all of it.
func DarkNoiseE(sigmaDarkDN, dnPerE float64) float64 {
	return math.Sqrt(sigmaDarkDN*sigmaDarkDN-QuantizationVar) / dnPerE
}

// SNRMax is the best ratio that a pixel of this capacity can reach.
func SNRMax(saturationE float64) float64 { return math.Sqrt(saturationE) }

// LeastE is the absolute sensitivity threshold, electrons: where signal and
// noise are equal, to a good approximation.
func LeastE(darkNoiseE, dnPerE float64) float64 {
	return math.Sqrt(darkNoiseE*darkNoiseE+QuantizationVar/(dnPerE*dnPerE)) + 0.5
}

// DynamicRange is saturation over threshold, both in electrons or both in
// photons.
func DynamicRange(saturation, least float64) float64 { return saturation / least }

// DB is a ratio of amplitudes in decibels: 20 log10. (The example data set prints
// 20 times the natural logarithm for its SNR and dynamic range, 2.3 times too
// much; see the test.)
func DB(ratio float64) float64 { return 20 * math.Log10(ratio) }
