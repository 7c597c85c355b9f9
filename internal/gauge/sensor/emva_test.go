package sensor

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// TestEMVARelations: the example that the EMVA 1288 reference data set's
// documentation prints (doc/datasets/datasets_results.rst): each figure follows
// from the others. Its dB figures are 20 times the natural logarithm (95.4486 and
// 142.1436); the right ones, 20 log10, were computed with scipy 1.10.1.
func TestEMVARelations(t *testing.T) {
	const (
		r, k                 = 0.126726922819, 0.280769280926
		eta                  = 0.451356082834
		satP, satE           = 30957.0, 13972.6302563
		snr                  = 118.205880802
		sigmaDark, sigmaE    = 3.07341849276, 10.8980275235
		leastP               = 25.3600660517
		dr                   = 1220.69871336
		printedSNR, printedR = 95.4485571343, 142.143573793
	)
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"quantum efficiency", QuantumEfficiency(r, k), eta},
		{"saturation, electrons", eta * satP, satE},
		{"SNR max", SNRMax(satE), snr},
		{"dark noise, electrons", DarkNoiseE(sigmaDark, k), sigmaE},
		{"threshold, photons", LeastE(sigmaE, k) / eta, leastP},
		{"dynamic range", DynamicRange(satP, leastP), dr},
		{"dynamic range by electrons", DynamicRange(satE, LeastE(sigmaE, k)), dr},
		{"SNR max, dB", DB(snr), 41.4528},
		{"dynamic range, dB", DB(dr), 61.7322},
		{"SNR max in natural logarithms, as printed", 20 * math.Log(snr), printedSNR},
		{"dynamic range in natural logarithms, as printed", 20 * math.Log(dr), printedR},
	} {
		if math.Abs(c.got/c.want-1) > 1e-5 {
			t.Errorf("%s: %.8g, want %.8g", c.name, c.got, c.want)
		}
	}
	if !math.IsNaN(DarkNoiseE(0.2, k)) {
		t.Error("dark noise below rounding was given a figure")
	}
}

// sensor is a drawn camera: Poisson electrons, pixel-to-pixel gain and dark
// level, read noise, gain, black level, rounding, clipping.
type sensor struct {
	k, readE, prnu, dsnuE, black, darkEs, qe float64
	full                                     int // largest sample
	bits16                                   bool
	curve                                    float64 // departure from a straight response at full scale
	w, h                                     int
	seed                                     uint64
}

func (s sensor) take(photons, ms float64, shot uint64) *part.Image {
	pattern := rand.New(rand.NewPCG(s.seed, 0))
	rng := rand.New(rand.NewPCG(s.seed, shot))
	im := &part.Image{W: s.w, H: s.h, C: 1}
	for range s.w * s.h {
		gain, dark := 1+s.prnu*pattern.NormFloat64(), s.dsnuE*pattern.NormFloat64()
		mean := photons*s.qe*gain + s.darkEs*ms/1000
		e := 0.0
		if mean > 0 {
			e = distuv.Poisson{Lambda: mean, Src: rng}.Rand()
		}
		v := s.black + s.k*(e+dark+s.readE*rng.NormFloat64())
		v -= s.curve * v * v / float64(s.full)
		d := min(max(int(math.Floor(v+0.5)), 0), s.full)
		if s.bits16 {
			im.Pix16 = append(im.Pix16, uint16(d))
		} else {
			im.Pix8 = append(im.Pix8, uint8(d))
		}
	}
	return im
}

// series takes pairs at n exposures up to a little over saturation.
func (s sensor) series(t *testing.T, n int, photonsPerMS, stopMS float64) []Level {
	t.Helper()
	var levels []Level
	for i := range n {
		ms := stopMS * float64(i+1) / float64(n)
		for _, dark := range []bool{false, true} {
			p := photonsPerMS * ms
			if dark {
				p = 0
			}
			shot := uint64(4*i + 1)
			if dark {
				shot += 2
			}
			pair, err := MeasurePair(s.take(p, ms, shot), s.take(p, ms, shot+1), 0, true)
			if err != nil {
				t.Fatal(err)
			}
			levels = append(levels, Level{TimeMS: ms, Photons: p, Dark: dark, Pair: pair})
		}
	}
	return levels
}

// TestPhotonTransferSimulated: a drawn sensor's figures come back, over ten
// seeds, within the tolerance beside each.
func TestPhotonTransferSimulated(t *testing.T) {
	for _, c := range []sensor{
		{k: 0.28, readE: 11, prnu: 0.01, dsnuE: 4, black: 60, darkEs: 300, qe: 0.45, full: 4095, bits16: true, w: 144, h: 144},
		{k: 0.025, readE: 40, prnu: 0.008, dsnuE: 12, black: 8, darkEs: 0, qe: 0.6, full: 255, w: 144, h: 144},
	} {
		satE := (float64(c.full) - c.black) / c.k
		const seeds = 10
		inside := 0
		for seed := range uint64(seeds) {
			c.seed = seed + 1
			o := DefaultTransferOptions()
			o.TopDN = float64(c.full)
			got, err := PhotonTransfer(c.series(t, 14, satE/c.qe/100, 115), o)
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range []struct {
				name           string
				got, want, tol float64 // tol: share of want
			}{
				{"gain", got.KDNPerE, c.k, 0.03},
				{"read noise", got.ReadNoiseE, c.readE, 0.06},
				{"PRNU", got.PRNUPct, 100 * c.prnu, 0.1},
				{"DSNU", got.DSNUE, c.dsnuE, 0.25}, // three standard deviations, where read noise is three times as large
				{"dark level", got.DarkDN, c.black + 8.2*c.darkEs/1000*c.k, 0.01},
				{"saturation", got.SaturationE, satE,
					0.13}, // exposures 8 % apart, and by its definition where clipping starts to eat noise
				{"SNR max", got.SNRMax, math.Sqrt(satE), 0.07},
				{"quantum efficiency", got.QuantumEfficiency, c.qe, 0.04},
				{"dynamic range", got.DynamicRange, satE / LeastE(c.readE, c.k), 0.16},
			} {
				if !(math.Abs(f.got/f.want-1) <= f.tol) {
					t.Errorf("seed %d, %d bits: %s is %.5g, drawn %.5g", seed, map[bool]int{true: 12, false: 8}[c.bits16], f.name, f.got,
						f.want)
				}
			}
			if c.darkEs > 0 && math.Abs(got.DarkEs/c.darkEs-1) > 0.25 {
				t.Errorf("seed %d: dark current %.4g e-/s, drawn %.4g", seed, got.DarkEs, c.darkEs)
			}
			if got.LinearityPct > 0.3 {
				t.Errorf("seed %d: a straight sensor is off the line by %.2f %%", seed, got.LinearityPct)
			}
			if math.Abs(got.KDNPerE-c.k) <= 2*got.UKDNPerE {
				inside++
			}
		}
		t.Logf("gain within twice its uncertainty %d times in %d", inside, seeds)
		if inside < 8 {
			t.Errorf("gain within twice its uncertainty only %d times in %d", inside, seeds)
		}
	}
}

// TestLinearityError: a response that sags by 5 % at full scale shows it.
func TestLinearityError(t *testing.T) {
	s := sensor{k: 0.28, readE: 11, black: 0.001, qe: 1, full: 4095, bits16: true, curve: 0.05, w: 96, h: 96, seed: 1}
	got, err := PhotonTransfer(s.series(t, 12, 4095/0.28/100, 90), DefaultTransferOptions())
	if err != nil {
		t.Fatal(err)
	}
	// v - 0.05 v^2 between 7.5 and 90 % of full departs from its best line by between 0.5 and 2 % (worked by hand).
	if got.LinearityPct < 0.4 || got.LinearityPct > 2 {
		t.Errorf("linearity error %.2f %% (%.2f to %.2f)", got.LinearityPct, got.LinearityMinPct, got.LinearityMaxPct)
	}
	o := DefaultTransferOptions()
	o.TopDN = 4095
	got, err = PhotonTransfer(s.series(t, 12, 4095/0.28/100, 90), o)
	if err != nil {
		t.Fatal(err)
	}
	if !math.IsNaN(got.SaturationE) || !math.IsNaN(got.SNRMax) || !math.IsNaN(got.DynamicRange) ||
		!strings.Contains(strings.Join(lang.English().SayAll(got.Warnings), ";"), "not saturated") {
		t.Errorf("a series that is not saturated: saturation %g, %q", got.SaturationE, got.Warnings)
	}
}

// TestPhotonTransferParts: what is not there is not measured, and said.
func TestPhotonTransferParts(t *testing.T) {
	s := sensor{k: 0.28, readE: 11, black: 60, qe: 0.45, full: 4095, bits16: true, w: 96, h: 96, seed: 3}
	all := s.series(t, 14, 4035/0.28/0.45/100, 115)
	var light []Level
	for _, l := range all {
		if !l.Dark {
			l.Photons = math.NaN()
			light = append(light, l)
		}
	}
	o := DefaultTransferOptions()
	o.TopDN = 4095
	got, err := PhotonTransfer(light, o)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(got.KDNPerE/0.28-1) > 0.06 {
		t.Errorf("gain without dark %.4f, drawn 0.28", got.KDNPerE)
	}
	for name, v := range map[string]float64{"read noise": got.ReadNoiseE, "DSNU": got.DSNUE, "PRNU": got.PRNUPct,
		"dynamic range": got.DynamicRange, "quantum efficiency": got.QuantumEfficiency, "responsivity": got.DNPerPhoton} {
		if !math.IsNaN(v) {
			t.Errorf("%s is %g without what it needs", name, v)
		}
	}
	quiet := sensor{k: 0.02, readE: 5, black: 8, qe: 1, full: 255, w: 96, h: 96, seed: 3}
	o.TopDN = 255
	got, err = PhotonTransfer(quiet.series(t, 12, 247/0.02/100, 115), o)
	if err != nil {
		t.Fatal(err)
	}
	if !math.IsNaN(got.ReadNoiseE) || !(got.ReadNoiseBelowE > 5) || !strings.Contains(strings.Join(lang.English().SayAll(got.Warnings),
		";"), "hidden by rounding") {
		t.Errorf("noise under rounding: %g, below %g, %q", got.ReadNoiseE, got.ReadNoiseBelowE, got.Warnings)
	}
	var same []Level // two pictures of each exposure the same: no noise at all
	for i := range 5 {
		same = append(same, Level{TimeMS: float64(i + 1), Photons: math.NaN(), Pair: PairStats{Mean: 40 * float64(i+1), Pixels: 1000}})
	}
	got, err = PhotonTransfer(same, o)
	if err != nil {
		t.Fatal(err)
	}
	if !math.IsNaN(got.KDNPerE) || got.LinearityPct > 1e-9 || math.IsNaN(got.LinearityPct) {
		t.Errorf("without noise: gain %g, linearity %g", got.KDNPerE, got.LinearityPct)
	}
}

func TestPhotonTransferRefusals(t *testing.T) {
	at := func(ms, mean, clipped float64) Level {
		return Level{TimeMS: ms, Photons: math.NaN(), Pair: PairStats{Mean: mean, VarTemporal: 1, Clipped: clipped, Pixels: 1000}}
	}
	for _, c := range []struct {
		name   string
		levels []Level
		say    string
	}{
		{"none", nil, "two at least"},
		{"one", []Level{at(1, 50, 0)}, "two at least"},
		{"all clipped", []Level{at(1, 255, 1), at(2, 255, 1)}, "every exposure is clipped"},
		{"all but one clipped", []Level{at(1, 25, 0), at(2, 255, 1)}, "but one"},
		{"constant", []Level{at(1, 50, 0), at(2, 50, 0), at(3, 50, 0)}, "does not rise"},
		{"black", []Level{at(1, 0.1, 0), at(2, 0.2, 0)}, "black"},
		{"the same twice", []Level{at(1, 50, 0), at(1, 51, 0)}, "same exposure"},
		{"zero", []Level{at(0, 50, 0), at(1, 51, 0)}, "above 0"},
		{"no number", []Level{at(math.NaN(), 50, 0), at(1, 51, 0)}, "above 0"},
	} {
		if _, err := PhotonTransfer(c.levels, DefaultTransferOptions()); err == nil || !strings.Contains(err.Error(), c.say) {
			t.Errorf("%s: %v, want %q", c.name, err, c.say)
		}
	}
	im := func(w, h, c int) *part.Image { return &part.Image{W: w, H: h, C: c, Pix8: make([]uint8, w*h*c)} }
	for _, c := range []struct {
		name string
		a, b *part.Image
		ch   int
	}{{"two sizes", im(64, 64, 1), im(64, 32, 1), 0}, {"tiny", im(16, 16, 1), im(16, 16, 1), 0}, {"channel 2 of grey", im(64, 64, 1),
		im(64, 64, 1), 2}} {
		if _, err := MeasurePair(c.a, c.b, c.ch, true); err == nil {
			t.Errorf("%s: taken", c.name)
		}
	}
}
