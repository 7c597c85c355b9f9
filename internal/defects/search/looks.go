package search

import (
	"math"

	"finishbench/internal/defects/pattern"
	"finishbench/internal/defects/raster"
	"finishbench/internal/part"
)

// look is one way of looking at the face: rows over the channels whose values'
// length is the response.
type look struct {
	rows   [][]float64 // from deviations from base, per channel, to values
	sign   []float32   // per row: only this side counts; 0: both; nil: all both
	ground bool        // only the ground between a pattern's figures counts
	rings  bool        // rings are sought too
	finest bool        // only the finest size is looked at

	planes    []*part.Plane // per row: values, the local mean taken off
	mean      []*part.Plane // per row: that local mean
	spread    []float64     // per row: the noise at the finest size
	threshold float32       // of the length, at the finest size
	eased     eased
}

// glossLooks look for what the lacquer's own faults do: one picture's light gets
// dimmer or brighter, half in the surface's own colour, half in the lamp's.
// rows are a palette's left-over directions.
func (f *Face) glossLooks(rows [][]float64) []look {
	var out []look
	for pic := range f.Pictures {
		row := combineRows(rows, f.glossDirection(pic, rows))
		out = append(out, look{rows: [][]float64{row}, rings: f.Pictures[pic].Shot.Light != part.Raking})
		if d := f.paleDirection(pic, rows); d != nil {
			out = append(out, look{rows: [][]float64{combineRows(rows, d)}})
		}
	}
	return out
}

// paleDirection is the unit vector along which one picture's light loses the
// surface's colour to the lamp's at equal brightness, as over a bubble that
// mirrors the dome; nil where the surface has hardly a colour of its own, and
// under raking light, which is too dim to tell.
func (f *Face) paleDirection(pic int, rows [][]float64) []float64 {
	if f.Pictures[pic].Shot.Light == part.Raking {
		return nil
	}
	mean, n, most := 0.0, 0.0, 0.0
	for _, ch := range f.Channels {
		if ch.Pic == pic {
			mean += ch.Level
			n++
			most = max(most, ch.Level)
		}
	}
	if mean /= n; most < paleFrom*mean {
		return nil
	}
	g := make([]float64, len(f.Channels))
	for c, ch := range f.Channels {
		if ch.Pic == pic {
			g[c] = mean - ch.Level
		}
	}
	d := make([]float64, len(rows))
	for k, row := range rows {
		d[k] = pattern.Dot(row, g)
	}
	return unit(d)
}

// paleFrom is how much brighter than their mean the strongest colour must be for
// a surface to have a colour.
const paleFrom = 1.3

// glossDirection is the unit vector, in the space of rows, along which a change
// of one picture's light moves a pixel.
func (f *Face) glossDirection(pic int, rows [][]float64) []float64 {
	mean, n := 0.0, 0.0
	for _, ch := range f.Channels {
		if ch.Pic == pic {
			mean += ch.Level
			n++
		}
	}
	g := make([]float64, len(f.Channels))
	for c, ch := range f.Channels {
		if ch.Pic == pic {
			g[c] = ch.Level + mean/n
		}
	}
	d := make([]float64, len(rows))
	for k, row := range rows {
		d[k] = pattern.Dot(row, g)
	}
	return unit(d)
}

// groundLooks look at the ground between a pattern's figures, flakes for
// instance, as at a plain faceplate: there even a faint dimming under one light
// shows. A figure too faint to be left out is told by its side: figures are
// brighter than the ground, or darker, not both. A pattern that leaves no ground
// gives no look.
func (f *Face) groundLooks(r *Response) ([]look, error) {
	if len(r.pattern) == 0 {
		return nil, nil
	}
	side := figureSide(f.ValuesAt(r.pattern[0]))
	weight, err := f.findGround(r.pattern)
	if err != nil || weight == nil || side == 0 {
		return nil, err
	}
	pal, err := pattern.Learn(f.samples(weight), f.Noise, f.levels(), f.colour, 0, nil)
	if err != nil {
		return nil, nil // too little ground
	}
	r.ground = weight
	g := make([][]float64, len(f.Pictures))
	gain := make([]float64, len(f.Pictures))
	var out []look
	for pic := range f.Pictures {
		g[pic] = f.glossDirection(pic, pal.Left)
		for _, o := range g[:pic] {
			g[pic] = besides(g[pic], o)
		}
		row := combineRows(pal.Left, g[pic])
		gain[pic] = f.patternGain(row) * side
		sign := float32(-1)
		if gain[pic] < 0 {
			sign = 1
		}
		out = append(out, look{rows: [][]float64{row}, sign: []float32{sign}, ground: true,
			rings: f.Pictures[pic].Shot.Light != part.Raking})
	}
	own := out[:len(f.Pictures):len(f.Pictures)]
	for pic := range f.Pictures {
		if d := f.paleDirection(pic, pal.Left); d != nil && !f.Sparkles { // a faint flake is pale in its own light
			d = besides(d, f.patternDirection(pal.Left)) // faint figures are pale too
			out = append(out, look{rows: [][]float64{combineRows(pal.Left, d)}, ground: true})
		}
	}
	if len(g) >= 2 && !f.Sparkles { // it shines in one light
		n := math.Hypot(gain[0], gain[1])
		across := combineRows([][]float64{own[0].rows[0], own[1].rows[0]}, []float64{-gain[1] / n, gain[0] / n})
		out = append(out, look{rows: [][]float64{across}, ground: true})
	}
	return out, nil
}

// How the ground is told, in noise units and millimetres (common practice, no
// source): the widest spread that still counts as one ground; the spreads within
// which a pixel belongs to it; how far around a figure its light still falls.
const (
	groundNoise   = 5.0
	groundWidth   = 8.0
	groundReachMM = 0.03
)

// findGround returns 1 where a pixel is ground, 0 elsewhere; nil where a pattern
// leaves none.
func (f *Face) findGround(pattern []*part.Plane) (*part.Plane, error) {
	weight := part.NewPlane(f.Surface.W, f.Surface.H)
	for i, d := range f.Surface.Dist.V {
		if d > 0 {
			weight.V[i] = 1
		}
	}
	for _, ch := range f.Channels {
		for i := range weight.V {
			if ch.Gain != nil && ch.Gain.V[i] < 1 { // in a lamp's image figures are as faint as the ground's edge is outside
				weight.V[i] = 0
			}
		}
	}
	for _, p := range pattern {
		mid, s := raster.Median(f.ValuesAt(p)), f.Wideness(p)
		if s > groundNoise {
			return nil, nil
		}
		m, g := float32(mid), float32(groundWidth*s)
		for i, x := range p.V {
			if d := x - m; d > g || d < -g {
				weight.V[i] = 0
			}
		}
	}
	return weight, raster.Erode(weight, max(1, int(groundReachMM/f.MMPX+0.5)))
}

// figureSide says on which side of the ground a pattern's figures lie along its
// direction: 1 or -1, the longer tail's; 0 where both tails are long.
func figureSide(v []float64) float64 {
	mid := raster.Median(v)
	up, down := raster.Quantile(v, .99)-mid, mid-raster.Quantile(v, .01)
	switch {
	case up > 3*down:
		return 1
	case down > 3*up:
		return -1
	}
	return 0
}

// patternGain is how far a step along the pattern's first direction moves a row.
func (f *Face) patternGain(row []float64) float64 {
	s := 0.0
	for c := range row {
		s += row[c] * f.Palette.Directions[0][c] * f.Noise[c]
	}
	return s
}

// patternDirection is the unit vector, in the space of rows, along which the
// pattern's first direction moves a pixel.
func (f *Face) patternDirection(rows [][]float64) []float64 {
	d := make([]float64, len(rows))
	for k, row := range rows {
		d[k] = f.patternGain(row)
	}
	return unit(d)
}

// besides is the unit vector along what of d is at right angles to the unit
// vector u.
func besides(d, u []float64) []float64 {
	s := pattern.Dot(d, u)
	out := make([]float64, len(d))
	for k := range d {
		out[k] = d[k] - s*u[k]
	}
	return unit(out)
}

// combineRows returns the sum of rows, each times its weight.
func combineRows(rows [][]float64, weight []float64) []float64 {
	out := make([]float64, len(rows[0]))
	for k, r := range rows {
		for c := range out {
			out[c] += weight[k] * r[c]
		}
	}
	return out
}

// unit returns v over its length.
func unit(v []float64) []float64 {
	n := pattern.Norm(v)
	out := make([]float64, len(v))
	for i := range v {
		if n > 0 {
			out[i] = v[i] / n
		}
	}
	return out
}
