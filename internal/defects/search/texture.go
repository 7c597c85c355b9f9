package search

import (
	"math"

	"finishbench/internal/defects/raster"
	"finishbench/internal/defects/scene"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// A panel in one light, brushed, ground or rolled perhaps: no second light tells
// what is the surface's own. Its own texture is strong along its grain, and
// stronger in one place than in another; a defect stands out against the texture
// around it, at the defect's own size and direction. So the light is averaged over
// spots of several sizes and over lines in several directions, and each average is
// held against its own spread there: along the grain that is wide, across it
// narrow. Light and dark are told apart, as many textures have one long tail.

// Sizes in millimetres, and shares (common practice, no source).
const (
	textureStepMM  = 0.05 // pixels are averaged up to about this size
	textureEvenMM  = 0.2  // detail finer than this tells how strong the texture is
	textureMeanMM  = 4.0  // the light's level is that of a square of this side
	lineLengthMM   = 1.0
	lineSigmaMM    = 0.04 // a Gaussian across a line
	lineSidesMM    = 0.12 // of what is around a line, taken off
	lineDirections = 12
	spreadCells    = 4    // spread is told from so many cells to each side,
	spreadIn       = 0.9  // by this quantile in a cell
	spreadAmong    = 0.7  // and this one of the cells: a defect may fill fewer than the rest
	spreadLeast    = 0.35 // of the picture's median: a flat spot is no better known than this
	textureFalse   = 0.05 // chance of a false place on a panel from its texture, all averages together
	textureTail    = 1.25 // exponent: tails lie between the exponential's (1) and the normal's (2)
	darkSpotMM     = 0.5  // a dark spot of this size
	darkShare      = 0.5  // that takes less than this share of the light should be found, or it is said
)

// spotSigmasMM are the spots' Gaussians: of a disc as wide as four of them, 1 -
// exp(-2) = 0.86 of its contrast is left.
var spotSigmasMM = []float64{0.06, darkSpotMM / 4, 0.24, 0.48}

// evenTexture returns what evens a texture's strength: 1 where it is as strong as
// in the middle of all places or weaker, less where it is stronger.
func (f *Face) evenTexture() (*part.Plane, error) {
	w, h := f.Surface.W, f.Surface.H
	light, soft := part.NewPlane(w, h), part.NewPlane(w, h)
	for _, ch := range f.Channels {
		for i, v := range ch.Light.V {
			light.V[i] += v
		}
	}
	if err := raster.Gauss(soft, light, textureEvenMM/f.MMPX); err != nil {
		return nil, err
	}
	for i, v := range soft.V {
		light.V[i] = raster.Abs(light.V[i] - v)
	}
	even, err := f.localSpread(light, 1)
	if err != nil {
		return nil, err
	}
	mid := float32(raster.Median(f.ValuesAt(even)))
	for i, v := range even.V {
		even.V[i] = min(1, mid/v)
	}
	return even, nil
}

// localSpread is how far a plane's values (>= 0) reach from place to place. A
// defect that fills some cells does not move it.
func (f *Face) localSpread(p *part.Plane, down int) (*part.Plane, error) {
	g := raster.NewGrid(p.W, p.H, max(4, f.Grid.Cell/down))
	cells, around := part.NewPlane(g.NX, g.NY), part.NewPlane(g.NX, g.NY)
	step := max(1, g.Cell/12)
	var v, all []float64
	for c := range cells.V {
		v = v[:0]
		for y := c / g.NX * g.Cell; y < min(p.H, (c/g.NX+1)*g.Cell); y += step {
			for x := c % g.NX * g.Cell; x < min(p.W, (c%g.NX+1)*g.Cell); x += step {
				v = append(v, float64(p.V[y*p.W+x]))
			}
		}
		cells.V[c] = float32(raster.Quantile(v, spreadIn))
	}
	for c := range around.V {
		v = v[:0]
		for y := max(0, c/g.NX-spreadCells); y <= min(g.NY-1, c/g.NX+spreadCells); y++ {
			for x := max(0, c%g.NX-spreadCells); x <= min(g.NX-1, c%g.NX+spreadCells); x++ {
				v = append(v, float64(cells.V[y*g.NX+x]))
			}
		}
		around.V[c] = float32(raster.Quantile(v, spreadAmong))
		all = append(all, float64(around.V[c]))
	}
	least := float32(max(spreadLeast*raster.Median(all), 1e-9))
	for c, s := range around.V {
		around.V[c] = max(s, least)
	}
	return g.Spread(around, p.W, p.H)
}

// respondTexture raises the map where spots or lines stand out from the texture
// around them.
func (f *Face) respondTexture(r *Response) error {
	relative := make([]float64, len(f.Channels))
	for c, ch := range f.Channels {
		relative[c] = 1 / max(ch.Level, 1e-6) / float64(len(f.Channels))
	}
	down := max(1, int(textureStepMM/f.MMPX+0.5))
	mm := f.MMPX * float64(down)
	light := averageOver(f.project([][]float64{relative})[0], nil, down)
	if err := f.levelTexture(light, down); err != nil {
		return err
	}
	fine := part.NewPlane(light.W, light.H)
	if err := raster.Gauss(fine, light, lineSidesMM/mm); err != nil {
		return err
	}
	for i, v := range light.V {
		fine.V[i] = v - fine.V[i]
	}
	most, mean := part.NewPlane(light.W, light.H), part.NewPlane(light.W, light.H)
	for _, s := range spotSigmasMM {
		if err := raster.SpotMean(mean, light, s/mm); err != nil {
			return err
		}
		dark, err := f.takeTexture(most, mean, down)
		if err != nil {
			return err
		}
		if dark /= 1 - math.Exp(-2); 4*s == darkSpotMM && dark > darkShare {
			f.Warnings = append(f.Warnings, scene.OfFile(f.Pictures[0].Shot.File, part.Say("defects.texture",
				"spot_mm", part.Fixed(darkSpotMM, 1), "light_share", part.Fixed(min(100, 100*dark), 0))))
		}
	}
	for k := range lineDirections {
		if err := raster.LineMean(mean, fine, lineSigmaMM/mm, lineLengthMM/mm, math.Pi*float64(k)/lineDirections); err != nil {
			return err
		}
		if _, err := f.takeTexture(most, mean, down); err != nil {
			return err
		}
	}
	return f.raise(r, most, part.NewPlane(light.W, light.H), down)
}

// levelTexture takes the local mean off a plane, what stands out counted as little
// more than the texture.
func (f *Face) levelTexture(p *part.Plane, down int) error {
	kept, mean := part.NewPlane(p.W, p.H), part.NewPlane(p.W, p.H)
	for i, v := range p.V {
		kept.V[i] = raster.Abs(v)
	}
	s, err := f.localSpread(kept, down)
	if err != nil {
		return err
	}
	for i, v := range p.V {
		kept.V[i] = max(-1.5*s.V[i], min(1.5*s.V[i], v))
	}
	if err := raster.Mean(mean, kept, int(textureMeanMM/2/f.MMPX/float64(down)+0.5)); err != nil {
		return err
	}
	for i, m := range mean.V {
		p.V[i] -= m
	}
	return nil
}

// takeTexture raises a map to an average over its limit, for each side of 0, and
// returns how dark something must be to reach it in a middling place.
func (f *Face) takeTexture(most, mean *part.Plane, down int) (dark float64, err error) {
	side := part.NewPlane(mean.W, mean.H)
	averages := float64(2 * (len(spotSigmasMM) + lineDirections))
	for _, sign := range []float32{1, -1} {
		for i, v := range mean.V {
			side.V[i] = max(0, v*sign)
		}
		s, err := f.localSpread(side, down)
		if err != nil {
			return 0, err
		}
		var spread []float64
		for i := range side.V {
			side.V[i] /= s.V[i]
			if i%101 == 0 {
				spread = append(spread, float64(s.V[i]))
			}
		}
		limit := f.Params.MinResponse * 1.5
		if m := f.cellMaxima(side, down); len(m) >= minCells {
			for k, v := range m {
				m[k] = math.Pow(v, textureTail)
			}
			limit = math.Pow(float64(float32(robust.GumbelLimit(m, textureFalse/averages, true))), 1/textureTail)
		}
		for i, v := range side.V {
			most.V[i] = max(most.V[i], v/float32(limit))
		}
		dark = limit * raster.Median(spread)
	}
	return dark, nil
}
