package capture

import (
	"bytes"

	"finishbench/internal/part"

	"github.com/bep/imagemeta"
)

// exifOrientation reads the orientation from an EXIF block; 0 where there is none
// or the block is damaged.
func exifOrientation(b []byte) int {
	tags, _ := exifTags(bytes.NewReader(b), imagemeta.TIFF, "Orientation")
	if o, ok := tags["Orientation"].(uint16); ok && o >= 1 && o <= 8 {
		return int(o)
	}
	return 0
}

// upright turns the picture by its orientation tag, in place of the caller's
// image: the tag says where row 0 and column 0 of the file belong.
func upright(im *part.Image, orient int) *part.Image {
	if orient <= 1 || orient > 8 {
		return im
	}
	out := &part.Image{W: im.W, H: im.H, C: im.C}
	if orient >= 5 {
		out.W, out.H = im.H, im.W
	}
	if im.Pix16 != nil {
		out.Pix16 = take16(len(im.Pix16))
		turn(out.Pix16, im.Pix16, im.W, im.H, im.C, orient)
	} else {
		out.Pix8 = take8(len(im.Pix8))
		turn(out.Pix8, im.Pix8, im.W, im.H, im.C, orient)
	}
	Release(im)
	return out
}

// turn copies src (w x h pixels of c samples) to dst as orientation o wants it.
//
//	1 as it is              5 mirrored at the falling diagonal
//	2 mirrored left-right   6 turned right by 90 degrees
//	3 turned by 180 degrees 7 mirrored at the rising diagonal
//	4 mirrored top-bottom   8 turned left by 90 degrees
func turn[T uint8 | uint16](dst, src []T, w, h, c, o int) {
	// Source pixel (x,y) goes to dst at start + x*dx + y*dy, in pixels.
	var start, dx, dy int
	switch o {
	case 2:
		start, dx, dy = w-1, -1, w
	case 3:
		start, dx, dy = w*h-1, -1, -w
	case 4:
		start, dx, dy = (h-1)*w, 1, -w
	case 5:
		start, dx, dy = 0, h, 1
	case 6:
		start, dx, dy = h-1, h, -1
	case 7:
		start, dx, dy = w*h-1, -h, -1
	case 8:
		start, dx, dy = (w-1)*h, -h, 1
	default:
		start, dx, dy = 0, 1, w
	}
	for y := range h {
		to, from := (start+y*dy)*c, y*w*c
		for range w {
			dst[to] = src[from]
			if c == 3 {
				dst[to+1], dst[to+2] = src[from+1], src[from+2]
			}
			to, from = to+dx*c, from+c
		}
	}
}
