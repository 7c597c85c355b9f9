package capture

import (
	"encoding/binary"
	"fmt"

	"finishbench/internal/part"
)

// bmpLayout says where a BMP file keeps its rows.
type bmpLayout struct {
	offset, stride int
	bits           int  // 8 with a palette, 24 or 32
	topDown        bool // false: the last row comes first
	palette        [][3]uint8
}

// parseBMP reads the headers of an uncompressed BMP of 8, 24 or 32 bits per
// pixel, the kinds that cameras write.
func parseBMP(h *header, data []byte) error {
	h.format, h.bits = bmpFile, 8
	le := binary.LittleEndian
	if len(data) < 14+40 {
		return errCut(bmpFile, "no header")
	}
	info := le.Uint32(data[14:])
	if info < 40 || info > 1024 || 14+int(info) > len(data) {
		return trouble("bmp_header", "bytes", fmt.Sprint(info))
	}
	w, ht := int64(int32(le.Uint32(data[18:]))), int64(int32(le.Uint32(data[22:])))
	l := &bmpLayout{offset: int(le.Uint32(data[10:])), bits: int(le.Uint16(data[28:]))}
	if ht < 0 {
		ht, l.topDown = -ht, true
	}
	if err := h.setSize(w, ht); err != nil {
		return err
	}
	h.bmp = l
	if pack := le.Uint32(data[30:]); pack != 0 && !(pack == 3 && l.bits == 32 && plainMasks(data)) {
		return trouble("bmp_packed")
	}
	switch l.bits {
	case 8:
		n := int(le.Uint32(data[46:]))
		if n == 0 {
			n = 256
		}
		at := 14 + int(info)
		if n > 256 || at+4*n > len(data) {
			return errDamaged(bmpFile, "its palette")
		}
		h.channels = 1
		for ; n > 0; n, at = n-1, at+4 {
			c := [3]uint8{data[at+2], data[at+1], data[at]}
			l.palette = append(l.palette, c)
			if c[0] != c[1] || c[0] != c[2] {
				h.channels = 3
			}
		}
	case 24, 32:
		h.channels = 3
	default:
		return trouble("bmp_bits", "bits", fmt.Sprint(l.bits))
	}
	l.stride = (h.w*l.bits + 31) / 32 * 4
	if l.offset < 14+int(info) || l.offset+l.stride*h.h > len(data) {
		return errCut(bmpFile, "fewer rows than its header says")
	}
	return nil
}

// plainMasks reports whether the colour masks are those of an ordinary 32-bit
// pixel: blue first.
func plainMasks(data []byte) bool {
	le := binary.LittleEndian
	return len(data) >= 66 && le.Uint32(data[54:]) == 0xff0000 && le.Uint32(data[58:]) == 0xff00 && le.Uint32(data[62:]) == 0xff
}

// decodeBMP copies the rows of a checked BMP file. Alpha is dropped.
func decodeBMP(data []byte, h *header) (*part.Image, error) {
	l := h.bmp
	im := &part.Image{W: h.w, H: h.h, C: h.channels, Pix8: take8(h.w * h.h * h.channels)}
	for y := range h.h {
		row := data[l.offset+l.stride*y:]
		if !l.topDown {
			row = data[l.offset+l.stride*(h.h-1-y):]
		}
		out := im.Pix8[y*h.w*h.channels : (y+1)*h.w*h.channels]
		for x := range h.w {
			if l.bits == 8 {
				i := int(row[x])
				if i >= len(l.palette) {
					Release(im)
					return nil, errDamaged(bmpFile, "a colour outside its palette")
				}
				copy(out[x*h.channels:(x+1)*h.channels], l.palette[i][:])
				continue
			}
			p := row[x*l.bits/8:]
			out[3*x], out[3*x+1], out[3*x+2] = p[2], p[1], p[0]
		}
	}
	return im, nil
}
