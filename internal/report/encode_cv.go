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
	src, err := gocv.NewMatFromBytes(im.H, im.W, matType(im), im.Pix8)
	if err != nil {
		return nil, fmt.Errorf("report: shrink %dx%d: %w", im.W, im.H, err)
	}
	defer src.Close()
	dst := gocv.NewMat()
	defer dst.Close()
	if err := gocv.Resize(src, &dst, sizeOf(w, h), 0, 0, gocv.InterpolationArea); err != nil {
		return nil, fmt.Errorf("report: shrink %dx%d: %w", im.W, im.H, err)
	}
	return &part.Image{W: w, H: h, C: im.C, Pix8: dst.ToBytes()}, nil
}

func matType(im *part.Image) gocv.MatType {
	if im.C == 3 {
		return gocv.MatTypeCV8UC3
	}
	return gocv.MatTypeCV8UC1
}
