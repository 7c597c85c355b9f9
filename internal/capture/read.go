package capture

import (
	"errors"
	"fmt"
	"os"

	"finishbench/internal/codec"
	"finishbench/internal/files"
	"finishbench/internal/part"
)

// Read reads, checks and decodes one picture file: JPEG, PNG, TIFF or BMP; 8
// or 16 bits a sample; grey, colour or CMYK; 16 pixels a side up to
// [MaxPixels]. Alpha is dropped, and the orientation tag is honoured once.
//
// Errors, one line each: the file is missing, empty, no picture, cut off,
// damaged, too large, too small, or of a kind that is not read here. Hand the
// picture back with [Release].
func Read(path string) (*part.Image, error) { return ReadLimited(path, MaxPixels) }

// ReadLimited is Read with another limit for the size, in pixels, up to
// [MaxPixels].
func ReadLimited(path string, maxPixels int) (*part.Image, error) {
	data, err := readFile(path)
	if err != nil {
		return nil, fmt.Errorf("capture: read %s: %w", path, err)
	}
	im, err := decode(data, min(maxPixels, MaxPixels))
	if err != nil {
		return nil, fmt.Errorf("capture: read %s: %w", path, err)
	}
	return im, nil
}

// readFile reads a picture's file, once.
func readFile(path string) ([]byte, error) {
	data, err := files.Read(path, files.MostPicture)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return nil, trouble("missing")
	case err != nil:
		return nil, plainPathError(err)
	}
	return data, nil
}

// plainPathError takes the path off, which the caller's message has already.
func plainPathError(err error) error {
	var p *os.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

// decode turns a file's bytes into an upright picture.
func decode(data []byte, maxPixels int) (*part.Image, error) {
	h, err := parseHeader(data, maxPixels)
	if err != nil {
		return nil, err
	}
	var im *part.Image
	switch h.format {
	case tiffFile:
		im, err = decodeTIFF(data, h)
	case bmpFile:
		im, err = decodeBMP(data, h)
	case jpegFile:
		im, err = decodeBy(codec.DecodeJPEG, data, h)
	default:
		im, err = decodeBy(codec.DecodePNG, data, h)
	}
	if err != nil {
		return nil, err
	}
	return upright(im, h.orient), nil
}

// decodeBy decodes a checked JPEG or PNG straight into a buffer of the shelf.
func decodeBy(decode func(*part.Image, []byte) error, data []byte, h *header) (*part.Image, error) {
	im := &part.Image{W: h.w, H: h.h, C: h.channels}
	if h.format == pngFile {
		im.C -= 1 - h.channels%2 // alpha is dropped
	}
	if n := im.W * im.H * im.C; h.bits == 16 {
		im.Pix16 = take16(n)
	} else {
		im.Pix8 = take8(n)
	}
	if err := decode(im, data); err != nil {
		Release(im)
		if errors.Is(err, codec.ErrCut) {
			return nil, errCut(h.format, err.Error())
		}
		return nil, trouble("not_decoded", "format", fmt.Sprint(h.format), "what", err.Error())
	}
	switch n := im.W * im.H; {
	case im.C == 4: // inks as Adobe's programs store them: 255 for none
		for i := range n {
			p, k := im.Pix8[4*i:4*i+4], uint32(im.Pix8[4*i+3])
			for j := range 3 {
				im.Pix8[3*i+j] = uint8((uint32(p[j])*k + 127) / 255)
			}
		}
		im.C, im.Pix8 = 3, im.Pix8[:3*n]
	case h.greys:
		for i := range n {
			im.Pix8[i] = im.Pix8[3*i]
		}
		im.C, im.Pix8 = 1, im.Pix8[:n]
	}
	return im, nil
}
