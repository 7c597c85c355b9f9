//go:build !cgo

package report

import (
	"bytes"
	"fmt"
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
