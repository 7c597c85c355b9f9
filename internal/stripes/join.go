package stripes

import (
	"slices"

	"finishbench/internal/part"
)

// Join puts together what the paint shows under the white screen and what the mirror
// shows: one place is one finding. What hides the paint, as dust and fibres do, keeps its
// name where the mirror shows nothing much larger: it stands out of the lacquer and
// bends it. Orange peel is the face's, and grooves join with sanding marks alone. Otherwise the mirror knows best, and the paint's picture
// is where it also shows.
func (r *Result) Join(paint []part.Finding, whitePicture string) []part.Finding {
	mirror := r.Findings
	gone := make([]bool, len(paint))
	var kept []part.Finding
	for _, m := range mirror {
		if m.Kind == part.OrangePeel {
			kept = append(kept, m)
			continue
		}
		if m.Kind == part.Sanding { // what lies in or on the grooves is no part of them
			for i, p := range paint {
				if p.Kind == part.Sanding && same(p.Box, m.Box) {
					gone[i], m.Lines = true, max(m.Lines, p.Lines)
					m.AlsoIn = append(slices.Clone(m.AlsoIn), part.Sighting{Image: whitePicture, Box: p.Box})
				}
			}
			kept = append(kept, m)
			continue
		}
		standsOut := false
		var of []int
		for i, p := range paint {
			if !same(p.Box, m.Box) {
				continue
			}
			if (p.Kind == part.Dust || p.Kind == part.Fibre) && p.AreaMM2 != nil && m.AreaMM2 != nil && *m.AreaMM2 < 4**p.AreaMM2 {
				standsOut = true
				break
			}
			of = append(of, i)
		}
		if standsOut {
			continue
		}
		for _, i := range of {
			gone[i] = true
		}
		if len(of) > 0 {
			m.AlsoIn = append(slices.Clone(m.AlsoIn), part.Sighting{Image: whitePicture, Box: m.Box})
		}
		kept = append(kept, m)
	}
	var out []part.Finding
	for i, p := range paint {
		if !gone[i] {
			r.Maps.renamed(&p)
			out = append(out, p)
		}
	}
	return append(out, kept...)
}

// Merge is what two searches of the paint found, one place one finding: the first's, and
// of the second's what is nowhere near.
func Merge(first, second []part.Finding) []part.Finding {
	out := slices.Clone(first)
	for _, f := range second {
		at := slices.IndexFunc(first, func(g part.Finding) bool { return same(f.Box, g.Box) })
		if at < 0 {
			out = append(out, f)
			continue
		}
		out[at].AlsoIn = append(slices.Clone(out[at].AlsoIn), part.Sighting{Image: f.Image, Box: f.Box})
	}
	return out
}

// renamed gives a place that the paint shows its name by what is mirrored there: where the
// face's own waves hide it from a search, a place that is known is still told.
func (m *Maps) renamed(p *part.Finding) {
	if p.LengthMM == nil || p.Kind == part.Dust && p.Features["opacity"] > surelyOpaque {
		return
	}
	size := *p.LengthMM
	if p.DiameterMM != nil {
		size = *p.DiameterMM
	}
	lost, deviations := m.lostAt(p.Box, size)
	if deviations < surelyLost {
		return
	}
	switch {
	case *p.LengthMM >= runMM && (p.Kind == part.Fibre || p.Kind == part.Run):
		p.Kind = part.Run
	case p.Kind == part.Fibre || p.Kind == part.Sanding:
	case lost < craterLoss && size >= hazeLeastMM:
		p.Kind = part.Haze
	default:
		p.Kind = part.Crater
	}
}

// What is mirrored at a place that the paint shows (common practice, no source).
const (
	surelyLost   = 3.0  // standard deviations of the face's own unevenness by which its light is less
	surelyOpaque = 1.5  // what is so opaque in the paint is no slope
	craterLoss   = 0.45 // share of the light that haze does not take
	lossOfSize   = 3.0  // sizes at which it is sought are no more than the place's over this
)

// lostAt is the most of the mirrored light that is lost in a box: a share of the face's own at the widest size that
// fits a place, and standard deviations of the face's unevenness at the size at which it stands out most.
func (m *Maps) lostAt(b part.Box, sizeMM float64) (lost, deviations float64) {
	bin := float64(m.Bin)
	for k, s := range lossScales {
		if s.sigmaMM == 0 || k > 1 && s.sigmaMM > sizeMM/lossOfSize {
			continue
		}
		l, most := m.losses[k], 0.0
		for y := max(0, int((b[1]-float64(m.Y0))/bin)); y < min(l.H, int((b[1]+b[3]-float64(m.Y0))/bin)+1); y++ {
			for x := max(0, int((b[0]-float64(m.X0))/bin)); x < min(l.W, int((b[0]+b[2]-float64(m.X0))/bin)+1); x++ {
				if i := y*l.W + x; m.looked[i] {
					most = max(most, float64(l.V[i]))
				}
			}
		}
		lost, deviations = most, max(deviations, most/m.usual[k])
	}
	return lost, deviations
}

// same says whether the middle of one box lies in the other, a little widened.
func same(a, b part.Box) bool {
	in := func(q part.Point, b part.Box) bool {
		return q.X >= b[0] && q.X <= b[0]+b[2] && q.Y >= b[1] && q.Y <= b[1]+b[3]
	}
	return in(a.Centre(), b.Grow(3)) || in(b.Centre(), a.Grow(3))
}
