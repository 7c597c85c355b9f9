package defects

import (
	"fmt"
	"math"

	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// channel is one colour of one picture over the region of interest.
type channel struct {
	pic   int         // index into the scene
	light part.Light  //
	plane *part.Plane // linear light, 0..1, working pixels
	base  float64     // the face's median
}

// averageDown returns channel c of an image in linear light, averaged over f x f
// pixels, for the window x0, y0, w, h of the averaged picture.
func averageDown(im *part.Image, c, f, x0, y0, w, h int) *part.Plane {
	p := part.NewPlane(w, h)
	lut8, lut16 := optics.Linear8(), []float32(nil)
	if im.Pix16 != nil {
		lut16 = optics.Linear16()
	}
	for y := range h {
		row := p.V[y*w : (y+1)*w]
		for dy := range f {
			i := (((y0+y)*f+dy)*im.W+x0*f)*im.C + c
			for x := range row {
				for range f {
					if lut16 != nil {
						row[x] += lut16[im.Pix16[i]]
					} else {
						row[x] += lut8[im.Pix8[i]]
					}
					i += im.C
				}
			}
		}
		if f > 1 {
			s := 1 / float32(f*f)
			for x := range row {
				row[x] *= s
			}
		}
	}
	return p
}

// workFactor is how many pixels are averaged into one working pixel, per side.
func workFactor(p Params) int {
	return max(1, int(math.Round(p.WorkMM/p.MMPerPX)))
}

// rimSectors is how many equal angles the rim is looked at in: lamps mirrored
// in it do not go all around.
const rimSectors = 32

// loadChannels turns a scene into planes over the surface.
func loadChannels(scene []Picture, f int, s *surface) ([]channel, error) {
	var out []channel
	for i, p := range scene {
		for c := range p.Image.C {
			out = append(out, channel{pic: i, light: p.Shot.Light, plane: averageDown(p.Image, c, f, s.x0, s.y0, s.w, s.h)})
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("defects: a scene without pictures")
	}
	return out, nil
}
