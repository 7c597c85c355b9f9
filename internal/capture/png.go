package capture

import (
	"encoding/binary"
	"fmt"
	"hash/crc32"
)

const pngMagic = "\x89PNG\r\n\x1a\n"

// parsePNG walks a PNG file's chunks with their check sums to IEND.
// Source: W3C PNG specification, third edition, sections 5 and 11.
func parsePNG(h *header, data []byte) error {
	h.format = pngFile
	seen := false
	for at := len(pngMagic); ; {
		if at+8 > len(data) {
			return errCut(pngFile, "no end chunk")
		}
		n := int64(binary.BigEndian.Uint32(data[at:]))
		name := string(data[at+4 : at+8])
		if int64(at)+12+n > int64(len(data)) {
			return errCut(pngFile, fmt.Sprintf("chunk %.4q goes past the end", name))
		}
		end := at + 8 + int(n)
		if crc32.ChecksumIEEE(data[at+4:end]) != binary.BigEndian.Uint32(data[end:]) {
			return errDamaged(pngFile, fmt.Sprintf("check sum of chunk %.4q", name))
		}
		body := data[at+8 : end]
		at = end + 4
		if h.w == 0 && name != "IHDR" {
			return errDamaged(pngFile, "no header chunk")
		}
		switch name {
		case "IHDR":
			if h.w != 0 || len(body) != 13 {
				return errDamaged(pngFile, "header chunk")
			}
			if err := h.setSize(int64(binary.BigEndian.Uint32(body)), int64(binary.BigEndian.Uint32(body[4:]))); err != nil {
				return err
			}
			h.bits = int(body[8])
			kind := body[9]
			h.channels = map[byte]int{0: 1, 2: 3, 3: 3, 4: 2, 6: 4}[kind]
			if h.channels == 0 || h.bits != 1 && h.bits != 2 && h.bits != 4 && h.bits != 8 && h.bits != 16 {
				return errDamaged(pngFile, fmt.Sprintf("colour type %d of %d bits", kind, h.bits))
			}
			h.greys = kind == 3
		case "PLTE":
			for ; h.greys && len(body) >= 3; body = body[3:] {
				h.greys = body[0] == body[1] && body[0] == body[2]
			}
		case "eXIf":
			if o := exifOrientation(body); o != 0 {
				h.orient = o
			}
		case "IDAT":
			seen = true
		case "IEND":
			if !seen {
				return errDamaged(pngFile, "no picture in it")
			}
			return nil
		}
	}
}
