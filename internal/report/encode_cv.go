//go:build cgo

package report

import (
	"fmt"

	"gocv.io/x/gocv"

	"finishbench/internal/codec"
	"finishbench/internal/part"
)

// EncodeJPEG returns an 8-bit picture as a JPEG file of the quality 1 to 100.
func EncodeJPEG(im *part.Image, quality int) ([]byte, error) {
	if err := encodable(im, quality); err != nil {
		return nil, err
	}
	b, err := codec.EncodeJPEG(im, quality)
	if err != nil {
		return nil, fmt.Errorf("report: JPEG of %dx%d: %w", im.W, im.H, err)
	}
	return b, nil
}

// shrink returns an 8-bit picture scaled down to w x h by area, w and h not
// larger than the picture's.
func shrink(im *part.Image, w, h int) (*part.Image, error) {
	if err := shrinkable(im, w, h); err != nil {
		return nil, err
	}
	return resized(im, w, h, gocv.InterpolationArea)
}

// enlarge returns an 8-bit picture scaled up to w x h by cubic convolution.
func enlarge(im *part.Image, w, h int) (*part.Image, error) {
	if err := enlargeable(im, w, h); err != nil {
		return nil, err
	}
	return resized(im, w, h, gocv.InterpolationCubic)
}

func resized(im *part.Image, w, h int, how gocv.InterpolationFlags) (*part.Image, error) {
	src, err := gocv.NewMatFromBytes(im.H, im.W, matType(im), im.Pix8)
	if err != nil {
		return nil, fmt.Errorf("report: resize %dx%d: %w", im.W, im.H, err)
	}
	defer src.Close()
	dst := gocv.NewMat()
	defer dst.Close()
	if err := gocv.Resize(src, &dst, sizeOf(w, h), 0, 0, how); err != nil {
		return nil, fmt.Errorf("report: resize %dx%d to %dx%d: %w", im.W, im.H, w, h, err)
	}
	return &part.Image{W: w, H: h, C: im.C, Pix8: dst.ToBytes()}, nil
}

func matType(im *part.Image) gocv.MatType {
	if im.C == 3 {
		return gocv.MatTypeCV8UC3
	}
	return gocv.MatTypeCV8UC1
}
