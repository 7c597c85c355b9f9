package search

import (
	"math"

	"finishbench/internal/defects/pattern"
	"finishbench/internal/defects/scene"
	"finishbench/internal/part"
)

// Face is a face as some pictures of its scene show it, with what the search learns of it.
type Face struct {
	scene.Face
	Lone     bool      // a panel in one light
	sliver   bool      // what is searched is small: nothing large is sought there
	colour   [][3]int  // the channels of each colour picture
	Noise    []float64 // per channel
	Palette  *pattern.Palette
	Woven    bool        // what looks like noise is a pattern
	filled   bool        // the pattern leaves no ground
	Sparkles bool        // some of the pattern shines in one light alone, each flake in its own
	FlakeMM  float64     // and nearly all of those flakes are no longer than this
	beside   *part.Plane // of a shell: how far off the nearest edge of a lamp's image lies, search pixels; nil: there is none

	FlakesMeet bool              // so many flakes that some of one light lie on one of the other
	rimPixels  map[int][][]int32 // by the width of a map's pixels: those of each block of the rim
}

// learn measures each channel's noise and base level and learns the palette.
func (f *Face) learn() error {
	f.setRimPixels()
	nc := len(f.Channels)
	f.Noise = make([]float64, nc)
	for c := range f.Channels {
		f.Noise[c], f.Channels[c].Level = f.ChannelNoise(f.Channels[c])
	}
	for c := 0; c+2 < nc; c++ {
		if f.Channels[c].Pic == f.Channels[c+2].Pic && (c == 0 || f.Channels[c-1].Pic != f.Channels[c].Pic) {
			f.colour = append(f.colour, [3]int{c, c + 1, c + 2})
		}
	}
	some := f.samples(nil)
	f.learnFlakes()
	var lights [][]int
	if f.Sparkles {
		for pic := range f.Pictures {
			lights = append(lights, f.ChannelsOf(pic))
		}
	}
	var err error
	f.Palette, err = pattern.Learn(some, f.Noise, f.levels(), f.colour, min(pattern.MostDirections, nc/2), lights)
	return err
}

// samples returns the sampled pixels' deviations from base, of those whose
// weight is not 0 (nil: all).
func (f *Face) samples(weight *part.Plane) []pattern.Sample {
	nc := len(f.Channels)
	out := make([]pattern.Sample, 0, len(f.Points))
	all := make([]float64, nc*len(f.Points))
	for _, i := range f.Points {
		if weight != nil && weight.V[i] == 0 {
			continue
		}
		dev := all[len(out)*nc : (len(out)+1)*nc]
		for c, ch := range f.Channels {
			dev[c] = float64(ch.Light.V[i] - ch.Base.V[i])
		}
		out = append(out, pattern.Sample{Dev: dev, Cell: f.CellOf(i)})
	}
	return out
}

// levels are the channels' medians over the face.
func (f *Face) levels() []float64 {
	b := make([]float64, len(f.Channels))
	for c, ch := range f.Channels {
		b[c] = ch.Level
	}
	return b
}

// LightChange fills in each picture's relative change of light at search pixel i and
// returns how far off the face's light all channels are, in noise units.
func (f *Face) LightChange(i int, change []float64) float64 {
	z := 0.0
	clear(change)
	for c, ch := range f.Channels {
		d := float64(ch.Light.V[i] - ch.Base.V[i])
		z += d * d / (f.Noise[c] * f.Noise[c])
		change[ch.Pic] += d / max(ch.Level, scene.PaintAtLeast)
	}
	return math.Sqrt(z)
}
