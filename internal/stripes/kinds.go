package stripes

import (
	"math"

	"finishbench/internal/part"
)

// Limits between kinds (common practice, no source; what each does to a mirror is
// physics): a slope turns the mirrored stripes aside and, where it changes within the lens's
// blur, wipes them out; haze scatters a share of them and leaves the rest where it is; a place
// that the lacquer missed slopes all around and mirrors again in its middle.
const (
	hazeMost     = 0.85 // haze loses no more than this share of the gloss anywhere,
	hazeDim      = 0.12 // takes this share of single pixels' light
	hazeSwingRad = 0.6  // turns what is left by no more than this,
	hazeLeastMM  = 0.5  // and is at least this wide
	missedBack   = 0.45 // a missed place mirrors this share in its middle, or has
	missedHole   = 0.12 // this share of it enclosed,
	missedMM     = 0.8  // and is at least this long
	runMM        = 1.0  // a run is at least this long,
	runSlender   = 1.7  // and this many times longer than wide
	rimMM        = 0.9  // the rim ends within this distance of the outline
)

// kindOf calls a place, and says how sure that is, 0..1.
func (pl *place) kindOf() (part.Kind, float64) {
	confidence := min(0.95, 0.5+0.25*(pl.overThreshold-1))
	switch {
	case pl.dim > hazeDim && pl.deepest < hazeMost && pl.swings < hazeSwingRad && pl.across >= hazeLeastMM:
		return part.Haze, confidence
	case pl.deepest > followLoss && pl.long >= missedMM && (pl.back >= missedBack || pl.hole >= missedHole) && pl.long < 2.5*pl.across:
		return part.Missed, confidence
	case pl.long >= runMM && pl.long >= runSlender*pl.across:
		return part.Run, confidence
	}
	return part.Crater, confidence
}

// finding turns a place into a finding.
func (m *Maps) finding(pl *place, p Params) part.Finding {
	kind, confidence := pl.kindOf()
	if h, u, ok := m.height(pl, [2]float64{1, 1}); ok && kind == part.Crater && h > 2*u {
		kind = part.Bubble // it bulges
	}
	round := func(v float64) *float64 { return part.Num(math.Round(1000*v) / 1000) }
	d := math.Sqrt(4 * pl.area / math.Pi)
	u := math.Hypot(2*m.MMPX, 0.1*d) // the edge's pixel at both ends, and where a slope begins to show
	out := part.Finding{Kind: kind, Box: m.box(pl.bounds), Zone: m.zone(pl), Confidence: math.Round(100*confidence) / 100,
		LengthMM: round(pl.long), WidthMM: round(pl.across), ULengthMM: round(u), UWidthMM: round(u), AreaMM2: part.Num(math.Round(1e4*pl.area) / 1e4), AngleDeg: part.Num(math.Round(10*pl.angleDeg) / 10),
		Features: map[string]float64{"gloss_lost": *round(pl.loss), "gloss_lost_most": *round(pl.deepest), "gloss_in_middle": *round(pl.back), "enclosed": *round(pl.hole), "light_lost": *round(pl.dim), "phase_rad": *round(pl.slope), "over_threshold": *round(pl.overThreshold)},
	}
	if depth, u, ok := m.depthUM(pl, p); ok && kind != part.Haze {
		out.Features["depth_um"], out.Features["u_depth_um"] = *round(depth), *round(u)
	} else if least, ok := m.deeperThanUM(pl, p); ok && kind == part.Crater {
		out.Features["depth_um_at_least"] = *round(least)
	}
	if kind == part.Crater || kind == part.Haze || kind == part.Bubble {
		out.DiameterMM, out.UDiamMM = round(d), round(u)
	}
	return out
}

// box is bounds of pixels of the maps, in full-resolution pixels.
func (m *Maps) box(b bounds) part.Box {
	k := float64(m.Bin)
	return part.Box{float64(m.X0) + float64(b.x0)*k - 0.5, float64(m.Y0) + float64(b.y0)*k - 0.5, float64(b.x1-b.x0+1) * k, float64(b.y1-b.y0+1) * k}
}

func (m *Maps) zone(pl *place) part.Zone {
	for _, i := range pl.pixels {
		if float64(m.Depth.V[i])*m.MMPX > rimMM {
			return part.ZoneFace
		}
	}
	return part.ZoneRim
}
