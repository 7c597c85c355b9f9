package capture

import (
	"encoding/binary"

	"finishbench/internal/part"
)

// exifOrientation reads the orientation tag (0x0112) from the TIFF structure
// inside an EXIF block; 0 where there is none or the block is damaged.
// Source: CIPA DC-008 (Exif 2.32), section 4.6.4, tag from memory.
func exifOrientation(b []byte) int {
	order, at, ok := tiffStart(b)
	if !ok || at+2 > len(b) {
		return 0
	}
	n := int(order.Uint16(b[at:]))
	for i := range n {
		e := at + 2 + 12*i
		if e+12 > len(b) {
			return 0
		}
		if order.Uint16(b[e:]) != 0x0112 {
			continue
		}
		if order.Uint16(b[e+2:]) != 3 || order.Uint32(b[e+4:]) != 1 {
			return 0
		}
		if o := int(order.Uint16(b[e+8:])); o >= 1 && o <= 8 {
			return o
		}
		return 0
	}
	return 0
}

// tiffStart reads byte order and the first directory's offset.
func tiffStart(b []byte) (binary.ByteOrder, int, bool) {
	var order binary.ByteOrder
	switch {
	case len(b) < 8:
		return nil, 0, false
	case b[0] == 'I' && b[1] == 'I':
		order = binary.LittleEndian
	case b[0] == 'M' && b[1] == 'M':
		order = binary.BigEndian
	default:
		return nil, 0, false
	}
	at := int(order.Uint32(b[4:]))
	return order, at, order.Uint16(b[2:]) == 42 && at >= 8 && at < len(b)
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
