package atlas

import (
	"context"
	"math"
	"slices"
	"sync"

	"finishbench/internal/part"
	"finishbench/internal/stripes"
	"finishbench/internal/synth"
	"finishbench/internal/teach"
	"finishbench/internal/teach/book"
)

// withMap puts the map in which a place shows best before the stripes themselves. Where the set cannot be
// measured any more, what is there stays.
func (o *openSample) withMap(of map[part.Light]*part.Image, around []part.Point, name string, box part.Box) {
	x0 := of[part.StripesX0]
	if m, err := book.MirrorMaps(of, around, o.mmPerPX); err == nil {
		o.Images, o.Box = []*part.Image{stripes.MapImage(m, name, x0.W, x0.H), x0}, []part.Box{box, box}
	}
}

// drawnMirror is a fault that is drawn before a screen, and the map that shows it best.
type drawnMirror struct {
	synth.Flaw
	in string
}

// mirrorSamples are drawn before a screen, from just visible to severe (common practice, no source). Of
// orange peel SlopeRad is the root mean square slope.
var mirrorSamples = map[part.Kind][]drawnMirror{
	part.Bubble: {{synth.Flaw{SizeMM: 0.6, SlopeRad: 0.003}, part.SlopeMap}, {synth.Flaw{SizeMM: 1.0, SlopeRad: 0.02}, part.GlossMap}},
	part.Crater: {{synth.Flaw{SizeMM: 0.5, SlopeRad: 0.003}, part.SlopeMap}, {synth.Flaw{SizeMM: 0.8, SlopeRad: 0.02}, part.GlossMap}},
	part.Run:    {{synth.Flaw{SizeMM: 1.5, SlopeRad: 0.003}, part.SlopeMap}, {synth.Flaw{SizeMM: 2.5, SlopeRad: 0.02}, part.GlossMap}},
	part.Missed: {{synth.Flaw{SizeMM: 0.6, SlopeRad: 0.05}, part.GlossMap}, {synth.Flaw{SizeMM: 1.2, SlopeRad: 0.05}, part.GlossMap},
		{synth.Flaw{SizeMM: 2.4, SlopeRad: 0.05}, part.GlossMap}},
	part.Haze: {{synth.Flaw{SizeMM: 1, Lost: 0.15}, part.GlossMap}, {synth.Flaw{SizeMM: 1.6, Lost: 0.3}, part.GlossMap},
		{synth.Flaw{SizeMM: 2.4, Lost: 0.6}, part.GlossMap}},
	part.OrangePeel: {{synth.Flaw{SlopeRad: 0.001}, part.SlopeMap}, {synth.Flaw{SlopeRad: 0.003}, part.SlopeMap},
		{synth.Flaw{SlopeRad: 0.008}, part.GlossMap}},
}

const (
	mirrorMMPerPX = 0.02
	mirrorFaceMM  = 8.0 // radius of the face on which faults lie side by side,
	mirrorRingMM  = 4.4 // so far from its middle
	peelFaceMM    = 4.5 // radius of one with orange peel
	peelWaveMM    = 0.8
)

// mirrorFace is a face drawn before a screen.
type mirrorFace struct {
	of      map[part.Light]*part.Image
	outline []part.Point
	w       int // pixels, square
}

// drawMirrorFace draws a face whose surface is told at x, y mm from its middle, y up.
func drawMirrorFace(radiusMM float64, at func(x, y float64) (sx, sy, gloss float64)) mirrorFace {
	p := synth.DefaultStripes()
	p.MMPerPX, p.RadiusMM = mirrorMMPerPX, radiusMM
	p.W = int(2.1 * radiusMM / p.MMPerPX)
	p.H = p.W
	p.Slope = func(x, y float64) (sx, sy float64) {
		sx, sy, _ = at(x, y)
		return sx, sy
	}
	p.Gloss = func(x, y float64) float64 {
		_, _, gloss := at(x, y)
		return gloss
	}
	of, outline := synth.Stripes(p)
	return mirrorFace{of, outline, p.W}
}

// box is the box of a fault whose middle is at x, y mm.
func (m mirrorFace) box(f synth.Flaw, x, y float64) part.Box {
	hx, hy := f.HalfMM()
	c := float64(m.w-1) / 2
	return part.BoxAround(part.Point{X: c + x/mirrorMMPerPX, Y: c - y/mirrorMMPerPX}, hx/mirrorMMPerPX, hy/mirrorMMPerPX)
}

// sample shows one place of the face.
func (m mirrorFace) sample(in string, box part.Box, others []part.Box) *openSample {
	x0 := m.of[part.StripesX0]
	o := &openSample{Images: []*part.Image{x0}, Box: []part.Box{box}, mmPerPX: mirrorMMPerPX, outline: m.outline, others: others,
		Release: func() {}}
	o.withMap(m.of, m.outline, in, box)
	return o
}

// drawMirrors draws the samples of a kind before a screen: all on one face, or each on its own where it is
// all over it.
func drawMirrors(k part.Kind) []Sample {
	all := slices.Clone(mirrorSamples[k])
	for i := range all {
		all[i].Kind = k
	}
	place := func(i int) (x, y float64) {
		sin, cos := math.Sincos(2 * math.Pi * (float64(i) + 0.25) / float64(len(all)))
		return mirrorRingMM * cos, mirrorRingMM * sin
	}
	one := sync.OnceValue(func() mirrorFace {
		return drawMirrorFace(mirrorFaceMM, func(x, y float64) (sx, sy, gloss float64) {
			gloss = 1
			for i, f := range all {
				cx, cy := place(i)
				tx, ty, g := f.At(x-cx, y-cy)
				sx, sy, gloss = sx+tx, sy+ty, gloss*g
			}
			return sx, sy, gloss
		})
	})
	var out []Sample
	for i, f := range all {
		s := teach.Sample{SizeMM: f.SizeMM, Confirmed: true, Finding: part.Finding{Number: i + 1, Kind: k, Confidence: 1}}
		open := func(context.Context) (*openSample, error) {
			face := one()
			var boxes []part.Box
			for j, g := range all {
				x, y := place(j)
				boxes = append(boxes, face.box(g.Flaw, x, y))
			}
			return face.sample(f.in, boxes[i], boxes), nil
		}
		if k == part.OrangePeel {
			s.SizeMM = 1000 * f.SlopeRad
			open = func(context.Context) (*openSample, error) {
				peel := synth.OrangePeel(peelWaveMM, f.SlopeRad, uint64(i)+1)
				face := drawMirrorFace(peelFaceMM, func(x, y float64) (sx, sy, gloss float64) {
					sx, sy = peel(x, y)
					return sx, sy, 1
				})
				b := part.BoundsOf(face.outline)
				return face.sample(f.in, b, []part.Box{b}), nil
			}
		}
		out = append(out, Sample{s, f.in, open})
	}
	return out
}
