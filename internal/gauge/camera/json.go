package camera

import (
	"path/filepath"

	"finishbench/internal/gauge/sensor"
	"finishbench/internal/lang"
	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// Numbers are the numbers of a look at a camera.
type Numbers struct {
	Camera      string            `json:"camera,omitempty"`
	Rating      string            `json:"rating"` // good, fair, poor or not_measured
	AllMeasured bool              `json:"all_measured"`
	Parts       []cameraPartJSON  `json:"parts"`
	FlatField   *optics.FlatField `json:"flat_field,omitempty"`
	Sharpness   *sharpnessJSON    `json:"sharpness,omitempty"`
	Sensor      *transferJSON     `json:"sensor,omitempty"`
}

type cameraPartJSON struct {
	Part    string   `json:"part"`
	Rating  string   `json:"rating"`
	Reasons []string `json:"reasons"`

	ReasonPhrases []part.Phrase `json:"reason_phrases"` // to be told in any language
}

type sharpnessJSON struct {
	MTF50      *float64   `json:"mtf50_cy_px,omitempty"`
	U          *float64   `json:"u_mtf50_cy_px,omitempty"`
	LinePairs  *float64   `json:"mtf50_lp_mm,omitempty"`
	BlurSigma  *float64   `json:"blur_sigma_px,omitempty"`
	Edges      []edgeJSON `json:"edges"`
	NotFoundIn []string   `json:"not_found_in,omitempty"`
}

type edgeJSON struct {
	Picture  string     `json:"picture"`
	Box      [4]float64 `json:"box_px"`
	MTF50    float64    `json:"mtf50_cy_px"`
	U        *float64   `json:"u_mtf50_cy_px,omitempty"`
	Nyquist  *float64   `json:"contrast_at_nyquist,omitempty"`
	Rise     *float64   `json:"rise_10_90_px,omitempty"`
	Angle    float64    `json:"angle_deg"`
	Contrast float64    `json:"contrast"`
	Noise    *float64   `json:"noise,omitempty"`
	Warnings []string   `json:"warnings,omitempty"`

	WarningPhrases []part.Phrase `json:"warning_phrases,omitempty"`
}

type transferJSON struct {
	Physical          bool             `json:"physical"`
	K                 *float64         `json:"gain_dn_per_e,omitempty"`
	UK                *float64         `json:"u_gain_dn_per_e,omitempty"`
	Slope             *float64         `json:"response_dn_per_ms,omitempty"`
	Responsivity      *float64         `json:"responsivity_dn_per_photon,omitempty"`
	QuantumEfficiency *float64         `json:"quantum_efficiency,omitempty"`
	Dark              *float64         `json:"dark_dn,omitempty"`
	SigmaDark         *float64         `json:"dark_noise_dn,omitempty"`
	ReadNoise         *float64         `json:"read_noise_e,omitempty"`
	ReadNoiseBelow    *float64         `json:"read_noise_below_e,omitempty"`
	DarkCurrent       *float64         `json:"dark_current_e_per_s,omitempty"`
	SaturationDN      *float64         `json:"saturation_dn,omitempty"`
	SaturationE       *float64         `json:"saturation_e,omitempty"`
	SNRMax            *float64         `json:"snr_max,omitempty"`
	SNRMaxDB          *float64         `json:"snr_max_db,omitempty"`
	LeastE            *float64         `json:"threshold_e,omitempty"`
	LeastPhotons      *float64         `json:"threshold_photons,omitempty"`
	SaturationPhotons *float64         `json:"saturation_photons,omitempty"`
	DynamicRange      *float64         `json:"dynamic_range,omitempty"`
	DynamicRangeDB    *float64         `json:"dynamic_range_db,omitempty"`
	DSNU              *float64         `json:"dsnu_e,omitempty"`
	PRNU              *float64         `json:"prnu_pct,omitempty"`
	LinearityMin      *float64         `json:"linearity_min_pct,omitempty"`
	LinearityMax      *float64         `json:"linearity_max_pct,omitempty"`
	Points            []transferAtJSON `json:"exposures"`
	Warnings          []string         `json:"warnings"`

	WarningPhrases []part.Phrase `json:"warning_phrases,omitempty"`
}

type transferAtJSON struct {
	ExposureMS float64  `json:"exposure_ms"`
	Signal     *float64 `json:"signal_dn,omitempty"`
	Var        *float64 `json:"variance_dn2,omitempty"`
	SNR        *float64 `json:"snr,omitempty"`
	Clipped    float64  `json:"clipped_share"`
	InFit      bool     `json:"in_gain_fit"`
	Deviation  *float64 `json:"linearity_pct,omitempty"`
}

func newCameraJSON(o Options, r cameraResult, j cameraJudgement) Numbers {
	out := Numbers{Camera: o.Name, Rating: ratingWord(j.word), AllMeasured: !j.missing, FlatField: r.flat, Parts: []cameraPartJSON{}}
	for _, p := range j.parts {
		q := cameraPartJSON{Part: p.name, Rating: ratingWord(p.word())}
		for _, i := range p.items {
			q.Reasons, q.ReasonPhrases = append(q.Reasons, lang.English().Say(&i.Reason)), append(q.ReasonPhrases, i.Reason)
		}
		out.Parts = append(out.Parts, q)
	}
	if len(r.edges) > 0 {
		out.Sharpness = newSharpnessJSON(o, r)
	}
	if r.transfer != nil {
		out.Sensor = newTransferJSON(r)
	}
	return out
}

func ratingWord(w string) string {
	if w == "" {
		return "not_measured"
	}
	return w
}

func newSharpnessJSON(o Options, r cameraResult) *sharpnessJSON {
	m, u := optics.SharpnessOf(r.allEdges())
	s := &sharpnessJSON{MTF50: part.Num(m), U: part.Num(u), LinePairs: part.Num(optics.LinePairsPerMM(m, o.MmPerPX)),
		BlurSigma: part.Num(optics.SigmaOfMTF50(m)), Edges: []edgeJSON{}}
	for _, p := range r.edges {
		name := filepath.Base(p.file)
		if p.err != nil {
			s.NotFoundIn = append(s.NotFoundIn, name)
		}
		for _, e := range p.found {
			s.Edges = append(s.Edges, edgeJSON{name, e.Box, e.MTF50CyPX, part.Num(e.UMTF50CyPX), part.Num(e.Nyquist),
				part.Num(e.Rise1090PX), e.AngleDeg, e.Contrast, part.Num(e.Noise), lang.English().SayAll(e.Warnings), e.Warnings})
		}
	}
	return s
}

func newTransferJSON(r cameraResult) *transferJSON {
	t := r.transfer
	out := &transferJSON{
		Physical: r.physical, K: part.Num(t.KDNPerE), UK: part.Num(t.UKDNPerE), Slope: part.Num(t.SlopeDNPerMS),
		Responsivity: part.Num(t.DNPerPhoton), QuantumEfficiency: part.Num(t.QuantumEfficiency),
		Dark: part.Num(t.DarkDN), SigmaDark: part.Num(t.SigmaDarkDN), ReadNoise: part.Num(t.ReadNoiseE),
		ReadNoiseBelow: part.Num(t.ReadNoiseBelowE), DarkCurrent: part.Num(t.DarkEs),
		SaturationDN: part.Num(t.SaturationDN), SaturationE: part.Num(t.SaturationE), SNRMax: part.Num(t.SNRMax),
		SNRMaxDB: part.Num(sensor.DB(t.SNRMax)),
		LeastE:   part.Num(t.LeastE), LeastPhotons: part.Num(t.LeastPhotons), SaturationPhotons: part.Num(t.SaturationPhotons),
		DynamicRange: part.Num(t.DynamicRange), DynamicRangeDB: part.Num(sensor.DB(t.DynamicRange)), DSNU: part.Num(t.DSNUE),
		PRNU:         part.Num(t.PRNUPct),
		LinearityMin: part.Num(t.LinearityMinPct), LinearityMax: part.Num(t.LinearityMaxPct),
		Warnings: lang.English().SayAll(t.Warnings), WarningPhrases: t.Warnings,
	}
	for _, p := range t.Points {
		out.Points = append(out.Points, transferAtJSON{p.TimeMS, part.Num(p.SignalDN), part.Num(p.VarDN2), part.Num(p.SNR),
			p.ClippedShare, p.InFit, part.Num(p.DeviationPct)})
	}
	return out
}
