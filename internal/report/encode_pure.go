//go:build !cgo

package report

import (
	"bytes"
	"fmt"
	"image"
	"image/jpeg"

	"github.com/disintegration/imaging"

	"finishbench/internal/part"
)

// EncodeJPEG returns an 8-bit picture as a JPEG file of the quality 1 to 100.
// This is Go's own encoder, for builds without a C compiler.
func EncodeJPEG(im *part.Image, quality int) ([]byte, error) {
	if err := encodable(im, quality); err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, toNRGBA(im), &jpeg.Options{Quality: quality}); err != nil {
		return nil, fmt.Errorf("report: JPEG of %dx%d: %w", im.W, im.H, err)
	}
	return b.Bytes(), nil
}

// shrink returns an 8-bit picture scaled down to w x h by area, as RGB.
func shrink(im *part.Image, w, h int) (*part.Image, error) {
	if err := shrinkable(im, w, h); err != nil {
		return nil, err
	}
	return fromNRGBA(imaging.Resize(toNRGBA(im), w, h, imaging.Box)), nil
}

// enlarge returns an 8-bit picture scaled up to w x h by cubic convolution, as RGB.
func enlarge(im *part.Image, w, h int) (*part.Image, error) {
	if err := enlargeable(im, w, h); err != nil {
		return nil, err
	}
	return fromNRGBA(imaging.Resize(toNRGBA(im), w, h, imaging.CatmullRom)), nil
}

// toNRGBA and fromNRGBA change between our pixels and the standard library's;
// for small pictures only.
func toNRGBA(im *part.Image) *image.NRGBA {
	out := image.NewNRGBA(image.Rect(0, 0, im.W, im.H))
	for i := 0; i < im.W*im.H; i++ {
		for c := 0; c < 3; c++ {
			out.Pix[4*i+c] = im.Pix8[i*im.C+min(c, im.C-1)]
		}
		out.Pix[4*i+3] = 255
	}
	return out
}

func fromNRGBA(m *image.NRGBA) *part.Image {
	w, h := m.Rect.Dx(), m.Rect.Dy()
	out := &part.Image{W: w, H: h, C: 3, Pix8: make([]uint8, 3*w*h)}
	for y := 0; y < h; y++ {
		for x := 0; x < w; x++ {
			copy(out.Pix8[(y*w+x)*3:(y*w+x)*3+3], m.Pix[y*m.Stride+4*x:])
		}
	}
	return out
}
