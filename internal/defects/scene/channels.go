package scene

import (
	"math"

	"finishbench/internal/defects/raster"
	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// Channel is one colour of one picture over the surface's region.
type Channel struct {
	Pic    int         // index into the scene
	Colour int         // colour within the picture
	Light  *part.Plane // linear light 0..1, smoothed
	Base   *part.Plane // base level
	Level  float64     // the face's median
	uneven float64     // of a shell: by which share its light is off a smooth surface's over a seventh of it
	Gain   *part.Plane // what makes up for less light on the rim; nil: 1 everywhere
	twin   *Channel    // the same colour in another picture; nil: there is none
	paint  paint       // how its paint changes with its twin's
}

// Change is the relative change of light at a search pixel.
func (ch *Channel) Change(i int) float64 {
	return float64((ch.Light.V[i] - ch.Base.V[i]) / max(ch.Base.V[i], PaintAtLeast))
}

// Plane is channel c of a picture, averaged as by averageDown, evened by the
// picture's flat field, and as it lies in the scene's first picture.
func (p Picture) Plane(c, f, x0, y0, w, h int) *part.Plane {
	if p.Registration.Moved() {
		return p.movedPlane(c, f, x0, y0, w, h)
	}
	pl := averageDown(p.Image, c, f, x0, y0, w, h)
	if p.Flat == nil {
		return pl
	}
	dark := float32(0)
	if c < len(p.Flat.Dark) {
		dark = float32(p.Flat.Dark[c])
	}
	gain := make([]float32, p.Flat.WidthPX)
	for y := range h {
		p.Flat.GainRow(c, (y0+y)*f+f/2, gain) // the field is smooth: a cell's middle stands for it
		row := pl.V[y*w : (y+1)*w]
		for x := range row {
			row[x] = (row[x] - dark) * gain[(x0+x)*f+f/2]
		}
	}
	return pl
}

// averageDown returns channel c of an image in linear light, averaged over f x f
// pixels, for the window x0, y0, w, h of the averaged picture, which must lie
// inside.
func averageDown(im *part.Image, c, f, x0, y0, w, h int) *part.Plane {
	p := part.NewPlane(w, h)
	if im.Pix16 != nil {
		addRows(p, im.Pix16, optics.Linear16(), im.W, im.C, c, f, x0, y0)
	} else {
		addRows(p, im.Pix8, optics.Linear8(), im.W, im.C, c, f, x0, y0)
	}
	if f > 1 {
		s := 1 / float32(f*f)
		for i := range p.V {
			p.V[i] *= s
		}
	}
	return p
}

func addRows[T uint8 | uint16](p *part.Plane, pix []T, lut []float32, width, step, c, f, x0, y0 int) {
	for y := range p.H {
		row := p.V[y*p.W : (y+1)*p.W]
		for dy := range f {
			in := pix[(((y0+y)*f+dy)*width+x0*f)*step+c:]
			i := 0
			for x := range row {
				s := row[x]
				for range f {
					s += lut[in[i]]
					i += step
				}
				row[x] = s
			}
		}
	}
}

// movedPlane is plane for a picture that was shifted against the first one. Each
// working pixel is the mean over f x f pixels around its place there, pixels at
// the sides by the part that is covered: as if every pixel were bilinear. Turn and scale are so small that
// within a working pixel they do not show.
func (p Picture) movedPlane(c, f, x0, y0, w, h int) *part.Plane {
	if p.Image.Pix16 != nil {
		return movedRows(p, p.Image.Pix16, optics.Linear16(), c, f, x0, y0, w, h)
	}
	return movedRows(p, p.Image.Pix8, optics.Linear8(), c, f, x0, y0, w, h)
}

func movedRows[T uint8 | uint16](p Picture, pix []T, lut []float32, c, f, x0, y0, w, h int) *part.Plane {
	out := part.NewPlane(w, h)
	im, half := p.Image, float64(f-1)/2
	var gain []float32
	dark := float32(0)
	if p.Flat != nil {
		gain = make([]float32, p.Flat.WidthPX)
		if c < len(p.Flat.Dark) {
			dark = float32(p.Flat.Dark[c])
		}
	}
	k := 1 / float32(f*f)
	to := p.Registration.To
	for y := range h {
		full := part.Point{X: float64((x0+w/2)*f) + half, Y: float64((y0+y)*f) + half}
		if gain != nil {
			p.Flat.GainRow(c, max(0, min(im.H-1, int(to.Of(full).Y+0.5))), gain)
		}
		for x := range w {
			full.X = float64((x0+x)*f) + half
			at := to.Of(full)
			// the covered square's upper left pixel, and the part of it left out
			left, top := math.Max(0, math.Min(float64(im.W-f-1), at.X-half)), math.Max(0, math.Min(float64(im.H-f-1), at.Y-half))
			i, j := int(left), int(top)
			u, v := float32(left)-float32(i), float32(top)-float32(j)
			sum := float32(0)
			for dy := 0; dy <= f; dy++ {
				row := pix[((j+dy)*im.W+i)*im.C+c:]
				s := (1-u)*lut[row[0]] + u*lut[row[f*im.C]]
				for dx := 1; dx < f; dx++ {
					s += lut[row[dx*im.C]]
				}
				switch dy {
				case 0:
					s *= 1 - v
				case f:
					s *= v
				}
				sum += s
			}
			sum *= k
			if gain != nil {
				sum = (sum - dark) * gain[max(0, min(im.W-1, int(at.X+0.5)))]
			}
			out.V[y*w+x] = sum
		}
	}
	return out
}

// loadChannels turns the scene into smoothed planes over the surface.
func (f *Face) loadChannels() error {
	s := f.Surface
	for i, p := range f.Pictures {
		for c := range p.Image.C {
			raw := p.Plane(c, f.Factor, s.X0, s.Y0, s.W, s.H)
			smooth := part.NewPlane(s.W, s.H)
			if err := raster.Gauss(smooth, raw, f.smoothPX(f.Factor)); err != nil {
				return err
			}
			f.Channels = append(f.Channels, Channel{Pic: i, Colour: c, Light: smooth})
		}
	}
	return nil
}

// smoothPX is the smoothing's standard deviation in pixels of factor
// full-resolution pixels.
func (f *Face) smoothPX(factor int) float64 {
	return max(0.5, f.Params.BlurMM/(f.Params.MMPerPX*float64(factor)))
}
