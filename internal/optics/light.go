// Package optics knows how pixels stand for light and length. In the order in
// which a station is set up:
//
//  1. light.go: a file's samples as linear light;
//  2. mtf*.go: sharpness by a slanted edge; flat*.go (field, grid, spots, file):
//     how the light falls off, from a white card; emva*.go: linearity and noise
//     from an exposure series; camerarate.go: how good that is;
//  3. lens.go, views.go, start.go, bundle.go, calibrate.go, suspect.go: a lens
//     from several views of a target; flatview.go, flatline.go: scale and
//     squareness from one;
//  4. scalefile.go, scalerate.go, scaleuse.go: the scale file, how far it can be
//     trusted, and when it may be used.
//
// Finding a target in a picture is the job of package target. Nothing here reads
// a clock or a file.
package optics

import (
	"fmt"
	"math"
	"sync"

	"finishbench/internal/part"
)

// SRGBToLinear turns an sRGB-encoded value 0..1 into linear light 0..1.
// Source: IEC 61966-2-1:1999, section 5.2 (constants from memory).
func SRGBToLinear(v float64) float64 {
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

// LinearToSRGB is the inverse of SRGBToLinear.
func LinearToSRGB(v float64) float64 {
	if v <= 0.0031308 {
		return v * 12.92
	}
	return 1.055*math.Pow(v, 1/2.4) - 0.055
}

// linear8 and linear16 are made once and only read after.
var (
	linear8  = sync.OnceValue(func() []float32 { return linearTable(256) })
	linear16 = sync.OnceValue(func() []float32 { return linearTable(65536) })
)

func linearTable(n int) []float32 {
	t := make([]float32, n)
	for i := range t {
		t[i] = float32(SRGBToLinear(float64(i) / float64(n-1)))
	}
	return t
}

// Linear8 is the table from an 8-bit sRGB sample to linear light 0..1. Callers
// must not write to it.
func Linear8() []float32 { return linear8() }

// Linear16 is the same for 16-bit samples.
func Linear16() []float32 { return linear16() }

// Linear returns channel c of an image in linear light 0..1, c counted from 0.
func Linear(im *part.Image, c int) (*part.Plane, error) {
	if err := im.Validate(); err != nil {
		return nil, err
	}
	if c < 0 || c >= im.C {
		return nil, fmt.Errorf("optics: channel %d of an image with %d", c, im.C)
	}
	p := part.NewPlane(im.W, im.H)
	if im.Pix16 != nil {
		t := Linear16()
		for i := range p.V {
			p.V[i] = t[im.Pix16[i*im.C+c]]
		}
		return p, nil
	}
	t := Linear8()
	for i := range p.V {
		p.V[i] = t[im.Pix8[i*im.C+c]]
	}
	return p, nil
}
