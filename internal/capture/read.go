package capture

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io"
	"os"
	"runtime"
	"unsafe"

	"gocv.io/x/gocv"

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

// readFile reads a regular file of bounded size, once.
func readFile(path string) ([]byte, error) {
	st, err := os.Stat(path)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return nil, errors.New("there is no such file")
	case err != nil:
		return nil, plainPathError(err)
	case !st.Mode().IsRegular():
		return nil, errors.New("this is not a file")
	case st.Size() > maxFileBytes:
		return nil, fmt.Errorf("the file has %d MB, more than any picture taken here", st.Size()/1e6)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, plainPathError(err)
	}
	defer f.Close()
	data := make([]byte, st.Size())
	n, err := io.ReadFull(f, data)
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) && !errors.Is(err, io.EOF) {
		return nil, plainPathError(err)
	}
	return data[:n], nil
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
	switch {
	case h.format == tiffFile:
		im, err = decodeTIFF(data, h)
	case h.format == bmpFile:
		im, err = decodeBMP(data, h)
	case h.special:
		im, err = decodeStd(data, h)
	default:
		im, err = decodeCV(data, h)
	}
	if err != nil {
		return nil, err
	}
	if h.format == jpegFile && greyTail(im) {
		// Libraries fill what is missing with mid grey and go on. Such a corner may
		// be a grey background; the slow decoder, which stops at a fault, knows.
		var kind jpeg.UnsupportedError
		if _, err := jpeg.Decode(bytes.NewReader(data)); err != nil && !errors.As(err, &kind) {
			Release(im)
			return nil, errCut(jpegFile, "its lower part is missing")
		}
	}
	return upright(im, h.orient), nil
}

// decodeCV decodes a JPEG or PNG by OpenCV, straight into a Go buffer, and
// swaps blue and red. The header has been read and the size checked, so that
// OpenCV neither allocates nor aborts.
func decodeCV(data []byte, h *header) (*part.Image, error) {
	c, flags := 3, gocv.IMReadColor
	if h.channels < 3 {
		c, flags = 1, gocv.IMReadGrayScale
	}
	depth, sampleBytes := gocv.MatTypeCV8U, 1
	if h.bits == 16 {
		flags |= gocv.IMReadAnyDepth
		depth, sampleBytes = gocv.MatTypeCV16U, 2
	}
	// 128: leave the orientation tag alone; it is honoured in one place, for 8 and
	// 16 bits alike (OpenCV turns some kinds of picture and not others).
	flags |= gocv.IMReadIgnoreOrientation
	im := &part.Image{W: h.w, H: h.h, C: c}
	n := h.w * h.h * c
	var raw []byte
	if sampleBytes == 2 {
		im.Pix16 = take16(n)
		raw = unsafe.Slice((*byte)(unsafe.Pointer(&im.Pix16[0])), 2*n)
	} else {
		im.Pix8 = take8(n)
		raw = im.Pix8
	}
	if err := decodeInto(raw, h.w, h.h, c, depth, flags, data); err != nil {
		Release(im)
		return nil, fmt.Errorf("the %s file cannot be decoded (%w); copy it or take the picture again", h.format, err)
	}
	if c == 3 {
		if sampleBytes == 2 {
			swapRB(im.Pix16)
		} else {
			swapRB(im.Pix8)
		}
	}
	return im, nil
}

// decodeInto lets OpenCV write a picture of w x h x c samples into raw. OpenCV
// keeps a matrix that already has the right size and type, so no pixel is
// copied; raw stays pinned while OpenCV knows of it.
func decodeInto(raw []byte, w, h, c int, depth gocv.MatType, flags gocv.IMReadFlag, data []byte) error {
	var pin runtime.Pinner
	pin.Pin(&raw[0])
	defer pin.Unpin()
	kind := depth + gocv.MatType((c-1)<<3)
	m, err := gocv.NewMatFromBytes(h, w, kind, raw)
	if err != nil {
		return err
	}
	defer m.Close()
	if err := gocv.IMDecodeIntoMat(data, flags, &m); err != nil {
		return err
	}
	if m.Empty() || m.Rows() != h || m.Cols() != w || m.Type() != kind {
		return errors.New("it does not hold what its header says")
	}
	got, err := m.DataPtrUint8()
	if err != nil {
		if got, err = matBytes(&m); err != nil {
			return err
		}
	}
	if &got[0] != &raw[0] {
		copy(raw, got)
	}
	return nil
}

// matBytes views the samples of a 16-bit matrix.
func matBytes(m *gocv.Mat) ([]byte, error) {
	p, err := m.DataPtrUint16()
	if err != nil {
		return nil, err
	}
	return unsafe.Slice((*byte)(unsafe.Pointer(&p[0])), 2*len(p)), nil
}

// swapRB exchanges the first and third sample of each pixel.
func swapRB[T uint8 | uint16](p []T) {
	for i := 0; i+2 < len(p); i += 3 {
		p[i], p[i+2] = p[i+2], p[i]
	}
}

// greyTail reports whether the lower right corner of the picture is exactly
// mid grey, as where a JPEG ends too early: the last 16 columns of its last
// rows, in a file as decoded, before it is turned.
func greyTail(im *part.Image) bool {
	if im.Pix8 == nil {
		return false
	}
	for y := max(0, im.H-4); y < im.H; y++ {
		row := im.Pix8[y*im.W*im.C : (y+1)*im.W*im.C]
		for _, v := range row[len(row)-min(len(row), 12*im.C):] {
			if v != 128 {
				return false
			}
		}
	}
	return true
}

// decodeStd decodes by Go's own library what OpenCV 4.6 does not do right: CMYK
// JPEG (inverted inks), PNG with a palette (grey palettes, bits under 8).
func decodeStd(data []byte, h *header) (*part.Image, error) {
	var src image.Image
	var err error
	if h.format == jpegFile {
		src, err = jpeg.Decode(bytes.NewReader(data))
	} else {
		src, err = png.Decode(bytes.NewReader(data))
	}
	if err != nil {
		return nil, fmt.Errorf("the %s file cannot be decoded (%w); copy it or take the picture again", h.format, err)
	}
	if src.Bounds().Dx() != h.w || src.Bounds().Dy() != h.h {
		return nil, errDamaged(h.format, "it does not hold what its header says")
	}
	switch s := src.(type) {
	case *image.CMYK:
		im := &part.Image{W: h.w, H: h.h, C: 3, Pix8: take8(3 * h.w * h.h)}
		for y := range h.h {
			row := s.Pix[y*s.Stride:]
			out := im.Pix8[3*y*h.w:]
			for x := range h.w {
				k := 255 - uint32(row[4*x+3])
				for j := range 3 {
					out[3*x+j] = uint8(((255-uint32(row[4*x+j]))*k + 127) / 255)
				}
			}
		}
		return im, nil
	case *image.Gray: // PNG under 8 bits
		im := &part.Image{W: h.w, H: h.h, C: 1, Pix8: take8(h.w * h.h)}
		for y := range h.h {
			copy(im.Pix8[y*h.w:(y+1)*h.w], s.Pix[y*s.Stride:])
		}
		return im, nil
	case *image.Paletted:
		return fromPalette(s), nil
	}
	return nil, fmt.Errorf("a %s with colours of this kind (%T) is not read here; save it as RGB", h.format, src)
}

// fromPalette looks colours up; a palette of greys gives a grey picture.
func fromPalette(s *image.Paletted) *part.Image {
	w, h := s.Rect.Dx(), s.Rect.Dy()
	var table [256][3]uint8
	c := 1
	for i, col := range s.Palette {
		r, g, b := straight(col)
		table[i] = [3]uint8{r, g, b}
		if r != g || r != b {
			c = 3
		}
	}
	im := &part.Image{W: w, H: h, C: c, Pix8: take8(w * h * c)}
	for y := range h {
		for x := range w {
			copy(im.Pix8[(y*w+x)*c:(y*w+x+1)*c], table[s.Pix[y*s.Stride+x]][:])
		}
	}
	return im
}

// straight takes a palette's colour without its alpha.
func straight(c color.Color) (r, g, b uint8) {
	n := color.NRGBAModel.Convert(c).(color.NRGBA)
	return n.R, n.G, n.B
}
