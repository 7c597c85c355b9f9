package stripes

import (
	"math"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// GlossPicture is the gloss as a grey picture of a size that holds the maps: white is what the
// face mirrors where nothing disturbs it, black is nothing.
func (m *Maps) GlossPicture(w, h int) *part.Image {
	bright := max(1, m.best)
	return m.picture(w, h, func(i int) float64 { return float64(m.Gloss.V[i]) / bright * 0.85 })
}

// SlopePicture is the slope as a relief, lit from the upper left: grey is the faceplate's
// own slope. White and black stand for SlopeRange. Where gloss is lost, and no slope can be
// told, it is dark: all of a face that waves (see Waving).
func (m *Maps) SlopePicture(w, h int) *part.Image {
	full := m.SlopeRange()
	return m.picture(w, h, func(i int) float64 {
		if float64(m.Gloss.V[i]) < lostGloss*min(1, m.best) || m.Waving() {
			return 0.12
		}
		x, y := 0.0, 0.0
		for d := range 2 {
			x, y = x+float64(m.Phase[d].V[i])*m.along[d][0], y+float64(m.Phase[d].V[i])*m.along[d][1]
		}
		return 0.56 - 0.44*max(-1, min(1, (x+y)/math.Sqrt2/full))
	})
}

// SlopeRange is the phase, radians, that SlopePicture shows as white or black.
func (m *Maps) SlopeRange() float64 {
	var v []float64
	for i, yes := range m.looked {
		if yes && !m.atRim[i] && i%3 == 0 {
			v = append(v, m.turned(i))
		}
	}
	return max(0.2, min(math.Pi/2, 5*robust.Quantile(v, 0.8)))
}

// SlopeRangeMRad is the same as a slope; ok is false where the screen's place is not known.
func (m *Maps) SlopeRangeMRad() (mrad float64, ok bool) {
	k := m.screen.slopePerRad()
	return 1000 * m.SlopeRange() * (k[0] + k[1]) / 2, m.screen.Known()
}

// picture paints a value 0..1 of each of the maps' pixels; the rest of the picture is dark.
func (m *Maps) picture(w, h int, value func(i int) float64) *part.Image {
	out := &part.Image{W: w, H: h, C: 3, Pix8: make([]uint8, 3*w*h)}
	for i := range out.Pix8 {
		out.Pix8[i] = 24
	}
	for i, d := range m.Depth.V {
		if d <= 0 {
			continue
		}
		v := uint8(math.Round(255 * max(0, min(1, value(i)))))
		x0, y0 := m.X0+i%m.Depth.W*m.Bin, m.Y0+i/m.Depth.W*m.Bin
		for y := y0; y < min(h, y0+m.Bin); y++ {
			for x := x0; x < min(w, x0+m.Bin); x++ {
				k := 3 * (y*w + x)
				out.Pix8[k], out.Pix8[k+1], out.Pix8[k+2] = v, v, v
			}
		}
	}
	return out
}

// Looked says whether the mirror was looked at in a full-resolution pixel.
func (m *Maps) Looked(x, y int) bool {
	x, y = (x-m.X0)/m.Bin, (y-m.Y0)/m.Bin
	return x >= 0 && y >= 0 && x < m.Depth.W && y < m.Depth.H && m.looked[y*m.Depth.W+x]
}
