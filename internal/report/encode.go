package report

import (
	"fmt"
	"image"

	"finishbench/internal/part"
)

// jpegMax is the longest side a JPEG file can have.
const jpegMax = 65500

func encodable(im *part.Image, quality int) error {
	if err := im.Validate(); err != nil {
		return fmt.Errorf("report: JPEG: %w", err)
	}
	if im.Pix8 == nil {
		return fmt.Errorf("report: JPEG: the picture has 16 bit a sample, a JPEG holds 8")
	}
	if im.W > jpegMax || im.H > jpegMax {
		return fmt.Errorf("report: JPEG: %dx%d is larger than a JPEG can be (%d)", im.W, im.H, jpegMax)
	}
	if quality < 1 || quality > 100 {
		return fmt.Errorf("report: JPEG: quality %d is not 1 to 100", quality)
	}
	return nil
}

func shrinkable(im *part.Image, w, h int) error {
	if err := im.Validate(); err != nil {
		return fmt.Errorf("report: shrink: %w", err)
	}
	if im.Pix8 == nil || w < 1 || h < 1 || w > im.W || h > im.H {
		return fmt.Errorf("report: shrink: %dx%d (8-bit: %v) to %dx%d", im.W, im.H, im.Pix8 != nil, w, h)
	}
	return nil
}

// enlargeable bounds what an enlarged picture may be, by the largest JPEG.
func enlargeable(im *part.Image, w, h int) error {
	if err := im.Validate(); err != nil {
		return fmt.Errorf("report: enlarge: %w", err)
	}
	if im.Pix8 == nil || w < 1 || h < 1 || w > jpegMax || h > jpegMax {
		return fmt.Errorf("report: enlarge: %dx%d (8-bit: %v) to %dx%d", im.W, im.H, im.Pix8 != nil, w, h)
	}
	return nil
}

// resize scales an 8-bit picture to w x h: down by area, so that nothing small is lost between
// samples, else up.
func resize(im *part.Image, w, h int) (*part.Image, error) {
	if w <= im.W && h <= im.H {
		return shrink(im, w, h)
	}
	return enlarge(im, w, h)
}

func sizeOf(w, h int) image.Point { return image.Pt(w, h) }

// rgb8 returns a copy of the picture as 8-bit RGB.
func rgb8(im *part.Image) *part.Image {
	n := im.W * im.H
	out := &part.Image{W: im.W, H: im.H, C: 3}
	switch {
	case im.Pix8 != nil && im.C == 3:
		out.Pix8 = append([]uint8(nil), im.Pix8...)
	case im.Pix8 != nil:
		out.Pix8 = make([]uint8, 3*n)
		for i, v := range im.Pix8 {
			p := out.Pix8[3*i : 3*i+3 : 3*i+3]
			p[0], p[1], p[2] = v, v, v
		}
	case im.C == 3:
		out.Pix8 = make([]uint8, 3*n)
		for i, v := range im.Pix16 {
			out.Pix8[i] = uint8(v >> 8)
		}
	default:
		out.Pix8 = make([]uint8, 3*n)
		for i, v := range im.Pix16 {
			p := out.Pix8[3*i : 3*i+3 : 3*i+3]
			p[0], p[1], p[2] = uint8(v>>8), uint8(v>>8), uint8(v>>8)
		}
	}
	return out
}

// cut returns the area r of the picture, which must lie inside, as 8-bit RGB.
func cut(im *part.Image, r image.Rectangle) *part.Image {
	w, h := r.Dx(), r.Dy()
	out := &part.Image{W: w, H: h, C: 3, Pix8: make([]uint8, 3*w*h)}
	for y := 0; y < h; y++ {
		if im.Pix8 != nil && im.C == 3 {
			from := 3 * ((r.Min.Y+y)*im.W + r.Min.X)
			copy(out.Pix8[3*y*w:3*(y+1)*w], im.Pix8[from:])
			continue
		}
		for x := 0; x < w; x++ {
			i := ((r.Min.Y+y)*im.W + r.Min.X + x) * im.C
			for c := 0; c < 3; c++ {
				k := i + min(c, im.C-1)
				if im.Pix16 != nil {
					out.Pix8[(y*w+x)*3+c] = uint8(im.Pix16[k] >> 8)
				} else {
					out.Pix8[(y*w+x)*3+c] = im.Pix8[k]
				}
			}
		}
	}
	return out
}
