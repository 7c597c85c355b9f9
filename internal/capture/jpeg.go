package capture

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"strconv"
)

// parseJPEG walks a JPEG file's segments from its start to its end marker.
// Source of the markers: ITU-T T.81 (1992), table B.1.
func parseJPEG(h *header, data []byte) error {
	h.format = jpegFile
	adobe := -1 // colour transform of Adobe's APP14 segment
	scans := 0
	for at := 2; ; {
		// A marker is ff and a code; any number of ff may stand before the code.
		if at >= len(data) {
			return errCut(jpegFile, "no end marker")
		}
		if data[at] != 0xff {
			return errDamaged(jpegFile, fmt.Sprintf("no marker at byte %d", at))
		}
		for at < len(data) && data[at] == 0xff {
			at++
		}
		if at >= len(data) {
			return errCut(jpegFile, "no end marker")
		}
		code := data[at]
		at++
		switch {
		case code == 0xd9: // end of image; what follows is padding or another program's data
			if h.w == 0 || scans == 0 {
				return errDamaged(jpegFile, "no picture in it")
			}
			// A frame of four components needs Adobe's segment to tell inks from light.
			if h.channels == 4 && adobe < 0 {
				return trouble("jpeg_colours")
			}
			return nil
		case code >= 0xd0 && code <= 0xd7, code == 0x01: // stand alone
			continue
		case code == 0 || code == 0xd8:
			return errDamaged(jpegFile, fmt.Sprintf("marker %02x at byte %d", code, at))
		}
		if at+2 > len(data) {
			return errCut(jpegFile, "no end marker")
		}
		n := int(binary.BigEndian.Uint16(data[at:]))
		if n < 2 {
			return errDamaged(jpegFile, fmt.Sprintf("segment of length %d", n))
		}
		if at+n > len(data) {
			return errCut(jpegFile, "its header goes past the end")
		}
		body := data[at+2 : at+n]
		at += n
		switch {
		case code == 0xe1 && bytes.HasPrefix(body, []byte("Exif\x00\x00")):
			if o := exifOrientation(body[6:]); o != 0 {
				h.orient = o
			}
		case code == 0xee && len(body) >= 12 && bytes.HasPrefix(body, []byte("Adobe")):
			adobe = int(body[11])
		case code >= 0xc0 && code <= 0xcf && code != 0xc4 && code != 0xc8 && code != 0xcc:
			if err := h.jpegFrame(code, body); err != nil {
				return err
			}
		case code == 0xda:
			if h.w == 0 {
				return errDamaged(jpegFile, "data before its frame header")
			}
			scans++
			var ok bool
			if at, ok = skipScan(data, at); !ok {
				return errCut(jpegFile, "no end marker")
			}
		}
	}
}

// jpegFrame reads a frame header (SOF).
func (h *header) jpegFrame(code byte, body []byte) error {
	if h.w != 0 {
		return errDamaged(jpegFile, "two frame headers")
	}
	if len(body) < 6 || len(body) < 6+3*int(body[5]) {
		return errDamaged(jpegFile, "frame header too short")
	}
	h.bits, h.channels = int(body[0]), int(body[5])
	switch {
	case code > 0xc2:
		return trouble("jpeg_kind")
	case h.bits != 8:
		return trouble("jpeg_bits", "bits", strconv.Itoa(h.bits))
	case h.channels != 1 && h.channels != 3 && h.channels != 4:
		return trouble("jpeg_channels", "channels", strconv.Itoa(h.channels))
	}
	return h.setSize(int64(binary.BigEndian.Uint16(body[3:])), int64(binary.BigEndian.Uint16(body[1:])))
}

// skipScan steps over coded data to the next marker that ends it: ff 00 is a
// data byte, ff d0..d7 are restart marks inside.
func skipScan(data []byte, at int) (int, bool) {
	for {
		i := bytes.IndexByte(data[at:], 0xff)
		if i < 0 || at+i+1 >= len(data) {
			return len(data), false
		}
		at += i
		switch c := data[at+1]; {
		case c == 0 || c >= 0xd0 && c <= 0xd7:
			at += 2
		case c == 0xff:
			at++
		default:
			return at, true
		}
	}
}
