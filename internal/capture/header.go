package capture

import (
	"bytes"
	"fmt"
	"strconv"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// MaxPixels is the largest picture Read takes, in pixels: 50 megapixels, as
// the station's cameras go up to there. Common practice, no source.
const MaxPixels = 50_000_000

// minSide is the smallest width and height Read takes, in pixels. What is too
// small to measure is for Check to say; this only keeps out what is no picture.
const minSide = 16

// format is a kind of picture file.
type format string

const (
	jpegFile format = "JPEG"
	pngFile  format = "PNG"
	tiffFile format = "TIFF"
	bmpFile  format = "BMP"
)

// header is what a file says of its picture before it is decoded.
type header struct {
	format   format
	w, h     int
	channels int  // samples per pixel in the file, alpha included
	bits     int  // per sample
	orient   int  // 1..8 as in the EXIF tag; 1 where there is none
	limit    int  // largest number of pixels allowed
	greys    bool // a palette of greys: three channels to decode, one to keep
	tiff     *tiffLayout
	bmp      *bmpLayout
}

// parseHeader tells the format by the file's first bytes, reads its header and
// walks to its end, so that a cut-off file is told from a whole one. It does
// not decode. Sizes under 16 pixels a side or over maxPixels are refused as
// soon as they are known.
func parseHeader(data []byte, maxPixels int) (*header, error) {
	h := &header{orient: 1, limit: maxPixels}
	var err error
	switch {
	case len(data) == 0:
		return nil, trouble("empty")
	case bytes.HasPrefix(data, []byte("\xff\xd8")):
		err = parseJPEG(h, data)
	case bytes.HasPrefix(data, []byte(pngMagic)):
		err = parsePNG(h, data)
	case bytes.HasPrefix(data, []byte("II")) || bytes.HasPrefix(data, []byte("MM")):
		err = parseTIFF(h, data)
	case bytes.HasPrefix(data, []byte("BM")):
		err = parseBMP(h, data)
	default:
		return nil, trouble("no_picture", "begin", fmt.Sprintf("%.12q", data[:min(len(data), 12)]))
	}
	if err != nil {
		return nil, err
	}
	if h.orient < 1 || h.orient > 8 {
		h.orient = 1
	}
	return h, nil
}

// setSize takes a size, or refuses it before anything of that size is made.
func (h *header) setSize(width, height int64) error {
	limit := int64(h.limit)
	switch {
	case width <= 0 || height <= 0:
		return errDamaged(h.format, "its header gives no size")
	case width > limit || height > limit || width*height > limit:
		return trouble("too_large", "width", strconv.FormatInt(width, 10), "height", strconv.FormatInt(height, 10), "megapixels",
			fmt.Sprintf("%.0f", float64(width)*float64(height)/1e6), "limit", fmt.Sprintf("%.0f", float64(limit)/1e6))
	case width < minSide || height < minSide:
		return trouble("too_small", "width", strconv.FormatInt(width, 10), "height", strconv.FormatInt(height, 10), "least",
			strconv.Itoa(minSide))
	}
	h.w, h.h = int(width), int(height)
	return nil
}

// trouble says why a file is not read, for a person: a text read.KEY.
func trouble(key string, args ...string) error { return lang.Error(part.Say("read."+key, args...)) }

// errCut says that a file ends too early.
func errCut(f format, what string) error {
	return trouble("cut", "format", fmt.Sprint(f), "what", what)
}

// errDamaged says that a file contradicts itself.
func errDamaged(f format, what string) error {
	return trouble("damaged", "format", fmt.Sprint(f), "what", what)
}
