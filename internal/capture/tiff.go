package capture

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strconv"

	"golang.org/x/image/tiff/lzw"

	"finishbench/internal/part"
)

// TIFF is read by own code: OpenCV 4.6 turns 8-bit files by their orientation
// tag but not 16-bit ones and gives no CMYK, and golang.org/x/image/tiff has no
// CMYK, no grey with alpha and no separate planes.
// Source of the tags: TIFF revision 6.0 (1992), sections 3 to 11, 14 to 16.

const (
	tagWidth        = 256
	tagHeight       = 257
	tagBits         = 258
	tagCompression  = 259
	tagPhotometric  = 262
	tagStripOffsets = 273
	tagOrientation  = 274
	tagSamples      = 277
	tagRowsPerStrip = 278
	tagStripCounts  = 279
	tagPlanar       = 284
	tagPredictor    = 317
	tagColourMap    = 320
	tagTileWidth    = 322
	tagTileHeight   = 323
	tagTileOffsets  = 324
	tagTileCounts   = 325
	tagSampleFormat = 339
)

const (
	whiteIsZero = 0
	blackIsZero = 1
	rgbLight    = 2
	palette     = 3
	cmykInks    = 5
)

// tiffLayout says where a TIFF file keeps its blocks (strips or tiles) and how.
type tiffLayout struct {
	order           binary.ByteOrder
	offsets, counts []uint32
	bw, bh          int // a block's size in pixels
	across, down    int // blocks of one plane
	tiled           bool
	compression     uint32
	photometric     uint32
	predictor       uint32
	samples         int  // per pixel, extra samples included
	separate        bool // one plane of blocks per sample
	colours         []uint32
}

// planes is the number of block planes.
func (l *tiffLayout) planes() int {
	if l.separate {
		return l.samples
	}
	return 1
}

// inBlock is the number of samples of one pixel inside a block.
func (l *tiffLayout) inBlock() int {
	if l.separate {
		return 1
	}
	return l.samples
}

// parseTIFF reads the first directory and checks that all blocks lie inside
// the file.
func parseTIFF(h *header, data []byte) error {
	h.format = tiffFile
	order, at, ok := tiffStart(data)
	if order != nil && order.Uint16(data[2:]) == 43 {
		return trouble("tiff_big")
	}
	if order == nil || order.Uint16(data[2:]) != 42 {
		return trouble("no_picture", "begin", fmt.Sprintf("%.12q", data[:min(len(data), 12)]))
	}
	if !ok || at+2 > len(data) {
		return errCut(tiffFile, "its directory lies past the end")
	}
	n := int(order.Uint16(data[at:]))
	if at+2+12*n > len(data) {
		return errCut(tiffFile, "its directory goes past the end")
	}
	tags := map[uint16][]uint32{}
	for i := range n {
		e := data[at+2+12*i:]
		tag := order.Uint16(e)
		switch tag {
		case tagWidth, tagHeight, tagBits, tagCompression, tagPhotometric, tagStripOffsets, tagOrientation, tagSamples, tagRowsPerStrip,
			tagStripCounts, tagPlanar, tagPredictor, tagColourMap, tagTileWidth, tagTileHeight, tagTileOffsets, tagTileCounts,
			tagSampleFormat:
			v, err := tiffValues(data, order, e)
			if err != nil {
				return err
			}
			tags[tag] = v
		}
	}
	return h.tiffLayout(data, order, tags)
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

// tiffValues reads one directory entry's whole numbers (BYTE, SHORT, LONG).
func tiffValues(data []byte, order binary.ByteOrder, e []byte) ([]uint32, error) {
	kind, n := order.Uint16(e[2:]), int64(order.Uint32(e[4:]))
	size := map[uint16]int64{1: 1, 3: 2, 4: 4}[kind]
	if size == 0 || n == 0 {
		return nil, errDamaged(tiffFile, fmt.Sprintf("tag %d of type %d", order.Uint16(e), kind))
	}
	raw := e[8:12]
	if n*size > 4 {
		at := int64(order.Uint32(e[8:]))
		if at+n*size > int64(len(data)) {
			return nil, errCut(tiffFile, fmt.Sprintf("tag %d lies past the end", order.Uint16(e)))
		}
		raw = data[at : at+n*size]
	}
	v := make([]uint32, n)
	for i := range v {
		switch size {
		case 1:
			v[i] = uint32(raw[i])
		case 2:
			v[i] = uint32(order.Uint16(raw[2*i:]))
		default:
			v[i] = order.Uint32(raw[4*i:])
		}
	}
	return v, nil
}

// tiffLayout makes sense of the tags.
func (h *header) tiffLayout(data []byte, order binary.ByteOrder, tags map[uint16][]uint32) error {
	one := func(tag uint16, absent uint32) uint32 {
		if v := tags[tag]; len(v) > 0 {
			return v[0]
		}
		return absent
	}
	l := &tiffLayout{order: order, compression: one(tagCompression, 1), photometric: one(tagPhotometric, blackIsZero),
		predictor: one(tagPredictor, 1), samples: int(one(tagSamples, 1)), separate: one(tagPlanar, 1) == 2, colours: tags[tagColourMap]}
	h.bits, h.channels, h.orient, h.tiff = int(one(tagBits, 1)), l.samples, int(one(tagOrientation, 1)), l
	if err := h.setSize(int64(one(tagWidth, 0)), int64(one(tagHeight, 0))); err != nil {
		return err
	}
	if err := l.check(h, tags); err != nil {
		return err
	}
	l.offsets, l.counts = tags[tagStripOffsets], tags[tagStripCounts]
	l.bw, l.bh = h.w, min(h.h, int(one(tagRowsPerStrip, uint32(h.h))))
	if tags[tagTileWidth] != nil {
		l.tiled, l.offsets, l.counts = true, tags[tagTileOffsets], tags[tagTileCounts]
		l.bw, l.bh = int(one(tagTileWidth, 0)), int(one(tagTileHeight, 0))
		if l.bw%16 != 0 || l.bh%16 != 0 || l.bw > 1<<13 || l.bh > 1<<13 || l.bw*l.bh > 1<<20+4*h.w*h.h {
			return errDamaged(tiffFile, "size of its tiles")
		}
	}
	if l.bw <= 0 || l.bh <= 0 {
		return errDamaged(tiffFile, "size of its strips")
	}
	l.across, l.down = (h.w+l.bw-1)/l.bw, (h.h+l.bh-1)/l.bh
	want := l.across * l.down * l.planes()
	if len(l.offsets) < want {
		return errDamaged(tiffFile, "fewer strips than its size needs")
	}
	if l.counts == nil && want == 1 && l.compression == 1 && int64(l.offsets[0]) < int64(len(data)) {
		l.counts = []uint32{uint32(len(data)) - l.offsets[0]}
	}
	if len(l.counts) < want {
		return errDamaged(tiffFile, "fewer strips than its size needs")
	}
	for i := range want {
		if int64(l.offsets[i])+int64(l.counts[i]) > int64(len(data)) {
			return errCut(tiffFile, "its picture goes past the end")
		}
	}
	return nil
}

// check refuses what is not read here.
func (l *tiffLayout) check(h *header, tags map[uint16][]uint32) error {
	for _, f := range tags[tagSampleFormat] {
		if f != 1 && f != 4 {
			return trouble("tiff_float")
		}
	}
	for _, b := range tags[tagBits] {
		if int(b) != h.bits {
			return trouble("tiff_mixed")
		}
	}
	if h.bits != 8 && h.bits != 16 {
		return trouble("tiff_bits", "bits", strconv.Itoa(h.bits))
	}
	colours := map[uint32]int{whiteIsZero: 1, blackIsZero: 1, rgbLight: 3, palette: 1, cmykInks: 4}[l.photometric]
	if colours == 0 || l.samples < colours || l.samples > 8 || l.photometric == palette && (h.bits != 8 || len(l.colours) < 3*256) {
		return trouble("tiff_colours", "kind", fmt.Sprint(l.photometric), "samples", fmt.Sprint(l.samples))
	}
	switch l.compression {
	case 1, 5, 8, 32946, 32773:
	default:
		return trouble("tiff_packing", "kind", fmt.Sprint(l.compression))
	}
	if l.predictor != 1 && l.predictor != 2 {
		return trouble("tiff_predictor", "kind", fmt.Sprint(l.predictor))
	}
	return nil
}

// decodeTIFF decodes all blocks of a checked file.
func decodeTIFF(data []byte, h *header) (*part.Image, error) {
	l := h.tiff
	im := &part.Image{W: h.w, H: h.h, C: 1}
	if l.photometric == rgbLight || l.photometric == cmykInks || l.photometric == palette && !greyMap(l.colours) {
		im.C = 3
	}
	// Inks are gathered first and turned into light after.
	gather := im.C
	if l.photometric == cmykInks {
		gather = 4
	}
	if l.photometric == palette {
		gather = 1
	}
	n := h.w * h.h * gather
	var all []uint16
	var bytes8 []uint8
	if h.bits == 16 {
		all = take16(n)
	} else {
		bytes8 = take8(n)
	}
	giveUp := func() { Release(&part.Image{Pix8: bytes8, Pix16: all}) }
	var buf []byte
	if l.compression != 1 {
		buf = make([]byte, l.bw*l.bh*l.inBlock()*h.bits/8)
	}
	for p := range l.planes() {
		if l.separate && p >= gather {
			break // alpha and the like
		}
		for by := range l.down {
			for bx := range l.across {
				i := (p*l.down+by)*l.across + bx
				rows := min(l.bh, h.h-by*l.bh)
				if l.tiled {
					rows = l.bh // tiles are whole, also at the lower edge
				}
				block, err := l.unpack(buf, l.bw*rows*l.inBlock()*h.bits/8, data[l.offsets[i]:][:l.counts[i]], h.bits)
				if err != nil {
					giveUp()
					return nil, err
				}
				if h.bits == 16 {
					place(all, block, h, p, gather, bx, by, func(b []byte, i int) uint16 { return l.order.Uint16(b[2*i:]) })
				} else {
					place(bytes8, block, h, p, gather, bx, by, func(b []byte, i int) uint8 { return b[i] })
				}
			}
		}
	}
	if h.bits == 16 {
		im.Pix16 = toLight(all, l, im.C, 65535)
	} else {
		im.Pix8 = toLight(bytes8, l, im.C, 255)
	}
	return im, nil
}

// unpack returns one block's n bytes of samples in the file's byte order, the predictor
// undone: in buf, or where they lie in the file.
func (l *tiffLayout) unpack(buf []byte, n int, src []byte, bits int) ([]byte, error) {
	var err error
	dst := buf[:min(n, len(buf))]
	switch l.compression {
	case 1:
		if len(src) < n {
			return nil, errCut(tiffFile, "a strip is shorter than its rows")
		}
		return src[:n], nil
	case 5:
		r := lzw.NewReader(bytes.NewReader(src), lzw.MSB, 8)
		_, err = io.ReadFull(r, dst)
		r.Close()
	case 8, 32946:
		var r io.ReadCloser
		if r, err = zlib.NewReader(bytes.NewReader(src)); err == nil {
			if _, err = io.ReadFull(r, dst); err == nil {
				// The check sum comes after the last byte. A last strip may be as long as
				// the others; still more bytes are a fault.
				rest := int64(l.bw*l.bh*l.inBlock()*bits/8 - n)
				if _, err = io.CopyN(io.Discard, r, rest+1); err == nil {
					err = zlib.ErrChecksum
				} else if errors.Is(err, io.EOF) {
					err = nil
				}
			}
			r.Close()
		}
	case 32773:
		err = unpackBits(dst, src)
	}
	if err != nil {
		return nil, errDamaged(tiffFile, "a strip cannot be decoded")
	}
	if l.predictor == 2 && l.compression != 32773 {
		l.undoPredictor(dst, bits)
	}
	return dst, nil
}

// unpackBits undoes the PackBits code. Source: TIFF revision 6.0, section 9.
func unpackBits(dst, src []byte) error {
	for len(dst) > 0 {
		if len(src) < 2 {
			return io.ErrUnexpectedEOF
		}
		switch c := int(int8(src[0])); {
		case c >= 0:
			n := min(c+1, len(dst))
			if len(src) < 1+n {
				return io.ErrUnexpectedEOF
			}
			copy(dst, src[1:1+n])
			dst, src = dst[n:], src[1+n:]
		case c == -128:
			src = src[1:]
		default:
			n := min(1-c, len(dst))
			for i := range n {
				dst[i] = src[1]
			}
			dst, src = dst[n:], src[2:]
		}
	}
	return nil
}

// undoPredictor adds up the differences along each row.
// Source: TIFF revision 6.0, section 14.
func (l *tiffLayout) undoPredictor(b []byte, bits int) {
	step := l.inBlock()
	row := l.bw * step * bits / 8
	for ; len(b) >= row; b = b[row:] {
		if bits == 8 {
			for i := step; i < row; i++ {
				b[i] += b[i-step]
			}
			continue
		}
		for i := 2 * step; i < row; i += 2 {
			l.order.PutUint16(b[i:], l.order.Uint16(b[i:])+l.order.Uint16(b[i-2*step:]))
		}
	}
}

// place copies a block's samples to their pixels; gather is how many samples of
// a pixel are kept.
func place[T uint8 | uint16](dst []T, block []byte, h *header, plane, gather, bx, by int, at func([]byte, int) T) {
	l := h.tiff
	in := l.inBlock()
	x1, y1 := min(l.bw, h.w-bx*l.bw), min(l.bh, h.h-by*l.bh)
	for y := range y1 {
		from := y * l.bw * in
		to := ((by*l.bh+y)*h.w + bx*l.bw) * gather
		for range x1 {
			if l.separate {
				dst[to+plane] = at(block, from)
			} else {
				for j := range gather {
					dst[to+j] = at(block, from+j)
				}
			}
			from, to = from+in, to+gather
		}
	}
}

// toLight turns gathered samples into grey or RGB ones; v may be reused.
func toLight[T uint8 | uint16](v []T, l *tiffLayout, c int, top uint32) []T {
	switch l.photometric {
	case whiteIsZero:
		for i := range v {
			v[i] = T(top) - v[i]
		}
	case cmykInks:
		n := len(v) / 4
		for i := range n {
			k := uint64(top - uint32(v[4*i+3]))
			for j := range 3 {
				v[3*i+j] = T((uint64(top-uint32(v[4*i+j]))*k + uint64(top)/2) / uint64(top))
			}
		}
		return v[:3*n]
	case palette:
		out := make([]T, c*len(v))
		for i, p := range v {
			for j := range c {
				out[c*i+j] = T(l.colours[j*256+int(p)] >> 8)
			}
		}
		return out
	}
	return v
}

// greyMap reports whether a colour map of 3 x 256 values holds only greys.
func greyMap(m []uint32) bool {
	for i := range 256 {
		if m[i]>>8 != m[256+i]>>8 || m[i]>>8 != m[512+i]>>8 {
			return false
		}
	}
	return true
}
