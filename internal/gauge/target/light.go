package target

import (
	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// Weights of red, green and blue in brightness, ITU-R BT.709 (from memory).
var brightness = [3]float32{0.2126, 0.7152, 0.0722}

// grey is the picture's brightness in linear light, 0..1.
func grey(im *part.Image) (*part.Plane, error) {
	if err := im.Validate(); err != nil {
		return nil, err
	}
	table, at := optics.Linear8(), func(i int) int { return int(im.Pix8[i]) }
	if im.Pix16 != nil {
		table, at = optics.Linear16(), func(i int) int { return int(im.Pix16[i]) }
	}
	p := part.NewPlane(im.W, im.H)
	if im.C == 1 {
		for i := range p.V {
			p.V[i] = table[at(i)]
		}
		return p, nil
	}
	for i := range p.V {
		p.V[i] = brightness[0]*table[at(3*i)] + brightness[1]*table[at(3*i+1)] + brightness[2]*table[at(3*i+2)]
	}
	return p, nil
}

// Limits of a picture's light as a whole, linear light; common practice, no source.
const (
	blackLight = 0.004 // 8-bit level 13
	whiteLight = 0.99
)

// exposureFault says what makes the whole picture useless, if anything does.
// Noise is averaged out over blocks first.
func exposureFault(p *part.Plane) part.Phrase {
	blocks := shrunk(p, 4)
	dark, clipped := 0, 0
	for _, v := range blocks.V {
		if v < blackLight {
			dark++
		} else if v > whiteLight {
			clipped++
		}
	}
	switch n := len(blocks.V); {
	case dark >= n*995/1000:
		return part.Say("target.do.black")
	case clipped >= n*995/1000:
		return part.Say("target.do.white")
	}
	return part.Phrase{}
}

// shrunk is the plane averaged over blocks of k x k pixels.
func shrunk(p *part.Plane, k int) *part.Plane {
	if k <= 1 {
		return p
	}
	out := part.NewPlane(p.W/k, p.H/k)
	scale := 1 / float32(k*k)
	for y := range out.H {
		line := out.V[y*out.W : (y+1)*out.W]
		for j := range k {
			src := p.V[(y*k+j)*p.W:]
			for x := range line {
				s := float32(0)
				for i := range k {
					s += src[x*k+i]
				}
				line[x] += s
			}
		}
		for x := range line {
			line[x] *= scale
		}
	}
	return out
}

// unshrink is the place in the full picture of a place in one shrunk by k.
func unshrink(v float64, k int) float64 { return v*float64(k) + float64(k-1)/2 }

// bilinear is the light between pixels; ok is false outside the picture.
func bilinear(p *part.Plane, x, y float64) (float64, bool) {
	if !(x >= 0 && y >= 0 && x <= float64(p.W-1) && y <= float64(p.H-1)) || p.W < 2 || p.H < 2 {
		return 0, false
	}
	x0, y0 := min(int(x), p.W-2), min(int(y), p.H-2)
	fx, fy := x-float64(x0), y-float64(y0)
	v := p.V[y0*p.W+x0:]
	a, b, c, d := float64(v[0]), float64(v[1]), float64(v[p.W]), float64(v[p.W+1])
	return a*(1-fx)*(1-fy) + b*fx*(1-fy) + c*(1-fx)*fy + d*fx*fy, true
}

// encoded is the plane as an 8-bit sRGB picture, for OpenCV's searches.
func encoded(p *part.Plane) []byte {
	const steps = 4096
	var table [steps + 1]byte
	for i := range table {
		table[i] = byte(optics.LinearToSRGB(float64(i)/steps)*255 + 0.5)
	}
	out := make([]byte, len(p.V))
	for i, v := range p.V {
		out[i] = table[int(min(max(v, 0), 1)*steps+0.5)]
	}
	return out
}
