package compare

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"

	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// Plate is a faceplate in one picture.
type Plate struct {
	Image    *part.Image
	Outline  []part.Point // closed, px
	MMPerPX  float64
	Findings []part.Box // px; left out
	// White is what a white card gives under the same light and exposure: linear
	// light of red, green and blue, 0..1. Zero: not known.
	White [3]float64
}

// PlateParams says which part of a faceplate tells its colour.
type PlateParams struct {
	RimMM     float64 // the rounded rim, left out: it mirrors the lamps. Default 0.9 (common practice, no source)
	CellMM    float64 // size of the places that are averaged first. Default 0.25
	Blocks    int     // the faceplate is cut into Blocks x Blocks for the uncertainty. Default 4
	ClipShare float64 // a place with a larger share of pixels at full scale is glare. Default 0.01
	Tail      float64 // share of places at either end of luminance that is not the bulk. Default 0.04
	Widths    float64 // a place farther from the bulk than so many of its widths is glare, or no faceplate. Default 1
	MinShare  float64 // least share of the outline's area that must count. Default 0.15
}

// DefaultPlateParams are the defaults (common practice, no source).
func DefaultPlateParams() PlateParams { return PlateParams{0.9, 0.25, 4, 0.01, 0.04, 1, 0.15} }

// cell is a small place of the faceplate: its mean linear light, and its block.
type cell struct {
	rgb   [3]float64
	block int
}

func (c cell) luminance() float64 {
	return rgbToXYZ[1][0]*c.rgb[0] + rgbToXYZ[1][1]*c.rgb[1] + rgbToXYZ[1][2]*c.rgb[2]
}

func (c cell) lab() Lab { return LabOf(c.rgb[0], c.rgb[1], c.rgb[2]) }

// PlateColour is the mean colour of a faceplate without its rim, its findings
// and its glare: the mean of linear light over its places, as the eye sees it
// from afar. The uncertainty is the scatter of the means of blocks over the square
// root of their number, so that pattern and uneven light are both in it. An error
// says why there is no colour.
func PlateColour(p Plate, prm PlateParams) (part.Colour, error) {
	if err := p.check(); err != nil {
		return part.Colour{}, err
	}
	cells, whole := p.cells(prm)
	cells = withoutGlare(cells, prm.Tail, prm.Widths)
	share := 0.0
	if whole > 0 {
		share = float64(len(cells)) / whole
	}
	if share < prm.MinShare {
		return part.Colour{},
			fmt.Errorf("only %.0f %% of the faceplate is free of rim, findings and glare, %.0f %% are needed; soften the light or turn "+
				"the unit", 100*share, 100*prm.MinShare)
	}
	blocks := blockMeans(cells, prm.Blocks*prm.Blocks)
	u, n := scatter(blocks)
	if n < 2 {
		return part.Colour{},
			fmt.Errorf("what is free of rim, findings and glare lies in one place only; how sure its colour is cannot be told")
	}
	mean := meanOf(cells).lab()
	c := part.Colour{L: mean.L, A: mean.A, B: mean.B, UL: u.L, UA: u.A, UB: u.B, Share: share, White: p.whiteKnown()}
	var off []float64
	for _, k := range cells {
		off = append(off, DeltaE(k.lab(), blocks[k.block].lab()))
	}
	c.Spread = robust.Quantile(off, 0.5)
	return c, nil
}

func (p Plate) whiteKnown() bool { return p.White[0] > 0 && p.White[1] > 0 && p.White[2] > 0 }

func (p Plate) check() error {
	switch err := p.Image.Validate(); {
	case err != nil:
		return err
	case p.Image.C != 3:
		return fmt.Errorf("a grey picture has no colour; photograph the faceplate in colour")
	case len(p.Outline) < 3:
		return fmt.Errorf("the faceplate's outline was not found")
	case !(p.MMPerPX > 0) || math.IsInf(p.MMPerPX, 0):
		return fmt.Errorf("the scale is not known")
	}
	for _, q := range p.Outline {
		if !(math.Abs(q.X) < 1e6 && math.Abs(q.Y) < 1e6) {
			return fmt.Errorf("the faceplate's outline is no place in a picture")
		}
	}
	return nil
}

// cells are the places of the faceplate that may count, and how many its whole
// outline has.
func (p Plate) cells(prm PlateParams) (cells []cell, whole float64) {
	px := max(2, int(math.Round(prm.CellMM/p.MMPerPX)))
	rim := prm.RimMM/p.MMPerPX + float64(px)*math.Sqrt2/2
	b := part.BoundsOf(p.Outline)
	light := p.linear()
	var row strip
	for y := max(0, int(b[1])); y+px <= min(p.Image.H, int(b[1]+b[3])+1); y += px {
		cy := float64(y) + float64(px-1)/2
		row.at(p.Outline, cy, rim)
		for x := max(0, int(b[0])); x+px <= min(p.Image.W, int(b[0]+b[2])+1); x += px {
			cx := float64(x) + float64(px-1)/2
			if !row.inside(cx) {
				continue
			}
			whole++
			if row.atBorder(cx) || p.hasFinding(x, y, px) {
				continue
			}
			rgb, clipped := p.meanLight(light, x, y, px)
			if clipped > prm.ClipShare {
				continue
			}
			bx := min(prm.Blocks-1, int(float64(prm.Blocks)*(cx-b[0])/b[2]))
			by := min(prm.Blocks-1, int(float64(prm.Blocks)*(cy-b[1])/b[3]))
			cells = append(cells, cell{rgb, by*prm.Blocks + bx})
		}
	}
	return cells, whole
}

func (p Plate) hasFinding(x, y, px int) bool {
	c := part.Box{float64(x) - 0.5, float64(y) - 0.5, float64(px), float64(px)}
	for _, f := range p.Findings {
		if c.Meets(f) {
			return true
		}
	}
	return false
}

// linear is the way from samples to linear light.
func (p Plate) linear() []float32 {
	if p.Image.Pix16 != nil {
		return optics.Linear16()
	}
	return optics.Linear8()
}

// meanLight is the mean linear light of a square of px pixels, against white
// where that is known, and the share of its pixels at full scale.
func (p Plate) meanLight(light []float32, x, y, px int) (rgb [3]float64, clipped float64) {
	im := p.Image
	for v := y; v < y+px; v++ {
		at := (v*im.W + x) * 3
		if im.Pix8 != nil {
			table := (*[256]float32)(light)
			for s := im.Pix8[at : at+3*px]; len(s) >= 3; s = s[3:] {
				rgb[0], rgb[1], rgb[2] = rgb[0]+float64(table[s[0]]), rgb[1]+float64(table[s[1]]), rgb[2]+float64(table[s[2]])
				if max(s[0], s[1], s[2]) == 255 {
					clipped++
				}
			}
			continue
		}
		for s := im.Pix16[at : at+3*px]; len(s) >= 3; s = s[3:] {
			for c, k := range s[:3] {
				rgb[c] += float64(light[k])
			}
			if max(s[0], s[1], s[2]) == 65535 {
				clipped++
			}
		}
	}
	n := float64(px * px)
	for c := range 3 {
		if rgb[c] /= n; p.whiteKnown() {
			rgb[c] /= p.White[c]
		}
	}
	return rgb, clipped / n
}

// withoutGlare leaves out the few places that lie far from all others in
// luminance: beyond the bulk (all but the tails' shares at either end) by more
// than so many times the bulk's width. A pattern's flecks, however few, are spared
// as long as they are more than a tail. A floor of one part in a hundred keeps an
// even faceplate whole.
func withoutGlare(cells []cell, tail, widths float64) []cell {
	var y []float64
	for _, c := range cells {
		y = append(y, c.luminance())
	}
	lo, hi := robust.Quantile(y, tail), robust.Quantile(y, 1-tail)
	far := widths * math.Max(hi-lo, 0.01*hi)
	var kept []cell
	for i, c := range cells {
		if y[i] >= lo-far && y[i] <= hi+far {
			kept = append(kept, c)
		}
	}
	return kept
}

func meanOf(cells []cell) cell {
	var m cell
	for _, c := range cells {
		for k := range 3 {
			m.rgb[k] += c.rgb[k] / float64(len(cells))
		}
	}
	return m
}

// blockMeans are the means of n blocks. One that has less than a quarter of the
// places of the fullest has block -1: too small to tell of scatter.
func blockMeans(cells []cell, n int) []cell {
	in := make([][]cell, n)
	fullest := 0
	for _, c := range cells {
		in[c.block] = append(in[c.block], c)
		fullest = max(fullest, len(in[c.block]))
	}
	means := make([]cell, n)
	for i := range means {
		means[i] = meanOf(in[i])
		if 4*len(in[i]) < fullest {
			means[i].block = -1
		}
	}
	return means
}

// scatter is the standard uncertainty of the mean of the blocks' colours, and how
// many blocks it is from.
func scatter(blocks []cell) (u Lab, n int) {
	var l, a, b []float64
	for _, k := range blocks {
		if k.block >= 0 {
			c := k.lab()
			l, a, b = append(l, c.L), append(a, c.A), append(b, c.B)
		}
	}
	n = len(l)
	root := math.Sqrt(float64(n))
	return Lab{stat.StdDev(l, nil) / root, stat.StdDev(a, nil) / root, stat.StdDev(b, nil) / root}, n
}
