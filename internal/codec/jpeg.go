package codec

/*
#cgo LDFLAGS: -ljpeg
#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <jpeglib.h>
#include <jerror.h>

// A fault is what a library said of a file, and the place to go on from.
typedef struct {
	struct jpeg_error_mgr jpeg; // first, so that libjpeg's pointer to it is one to the whole
	jmp_buf out;
	char said[JMSG_LENGTH_MAX];
} jpegFault;

static void jpegStop(j_common_ptr c) {
	jpegFault *f = (jpegFault *)c->err;
	f->jpeg.format_message(c, f->said);
	longjmp(f->out, 1);
}

static void jpegSilent(j_common_ptr c) {}

// jpegWarned goes on where a warning leaves every sample as it was stored, and
// stops where samples are missing or made up.
static void jpegWarned(j_common_ptr c, int level) {
	if (level >= 0) return;
	switch (c->err->msg_code) {
	case JWRN_HIT_MARKER: case JWRN_HUFF_BAD_CODE: case JWRN_MUST_RESYNC: case JWRN_JPEG_EOF: case JWRN_NOT_SEQUENTIAL:
		jpegStop(c);
	}
}

static int jpegCut(const jpegFault *f) { return f->jpeg.msg_code == JWRN_HIT_MARKER || f->jpeg.msg_code == JWRN_JPEG_EOF; }

static void jpegHeed(jpegFault *f) {
	jpeg_std_error(&f->jpeg);
	f->jpeg.error_exit = jpegStop;
	f->jpeg.emit_message = jpegWarned;
	f->jpeg.output_message = jpegSilent;
	f->said[0] = 0;
}

// decodeJPEG returns 0, or with what is wrong in said 2 for a file that ends too early and 1 for others.
static int decodeJPEG(const unsigned char *data, size_t n, unsigned char *to, unsigned w, unsigned h, int c, char *said) {
	struct jpeg_decompress_struct d;
	jpegFault f;
	jpegHeed(&f);
	d.err = &f.jpeg;
	if (setjmp(f.out)) {
		jpeg_destroy_decompress(&d);
		strcpy(said, f.said);
		return 1 + jpegCut(&f);
	}
	jpeg_create_decompress(&d);
	jpeg_mem_src(&d, (unsigned char *)data, n);
	jpeg_read_header(&d, TRUE);
	d.out_color_space = c == 1 ? JCS_GRAYSCALE : c == 3 ? JCS_RGB : JCS_CMYK;
	jpeg_start_decompress(&d);
	if (d.output_width != w || d.output_height != h || d.output_components != c) {
		jpeg_destroy_decompress(&d);
		strcpy(said, "it does not hold what its header says");
		return 1;
	}
	while (d.output_scanline < h) {
		JSAMPROW rows[4];
		for (unsigned i = 0; i < 4; i++) rows[i] = to + (size_t)(d.output_scanline + i) * w * c;
		unsigned left = h - d.output_scanline;
		jpeg_read_scanlines(&d, rows, left < 4 ? left : 4);
	}
	jpeg_finish_decompress(&d);
	jpeg_destroy_decompress(&d);
	return 0;
}

// encodeJPEG returns 0 with a file that the caller frees, or 1 with what is wrong in said.
static int encodeJPEG(const unsigned char *from, unsigned w, unsigned h, int c, int quality, unsigned char **file, unsigned long *n,
	char *said) {
	struct jpeg_compress_struct e;
	jpegFault f;
	jpegHeed(&f);
	e.err = &f.jpeg;
	*file = NULL;
	*n = 0;
	if (setjmp(f.out)) {
		jpeg_destroy_compress(&e);
		free(*file);
		*file = NULL;
		strcpy(said, f.said);
		return 1;
	}
	jpeg_create_compress(&e);
	jpeg_mem_dest(&e, file, n);
	e.image_width = w;
	e.image_height = h;
	e.input_components = c;
	e.in_color_space = c == 1 ? JCS_GRAYSCALE : JCS_RGB;
	jpeg_set_defaults(&e);
	jpeg_set_quality(&e, quality, TRUE);
	jpeg_start_compress(&e, TRUE);
	while (e.next_scanline < h) {
		JSAMPROW row = (unsigned char *)from + (size_t)e.next_scanline * w * c;
		jpeg_write_scanlines(&e, &row, 1);
	}
	jpeg_finish_compress(&e);
	jpeg_destroy_compress(&e);
	return 0;
}
*/
import "C"

import (
	"errors"
	"fmt"
	"unsafe"

	"finishbench/internal/part"
)

// ErrCut says that a JPEG file's coded data ends before its picture does.
var ErrCut = errors.New("its lower part is missing")

// DecodeJPEG decodes a JPEG file of 8 bits into a picture whose size and buffer
// fit: 1 sample a pixel for grey, 3 for red, green, blue, 4 for inks as they are
// stored (by custom 255 for none). A file whose coded data ends early ([ErrCut]) or
// does not decode is an error; the picture then holds anything.
func DecodeJPEG(im *part.Image, file []byte) error {
	if n := im.W * im.H * im.C; len(file) == 0 || n == 0 || n != len(im.Pix8) || im.C != 1 && im.C != 3 && im.C != 4 {
		return fmt.Errorf("codec: JPEG of %d bytes into %d samples of %dx%dx%d", len(file), len(im.Pix8), im.W, im.H, im.C)
	}
	var said [C.JMSG_LENGTH_MAX]C.char
	switch C.decodeJPEG((*C.uchar)(&file[0]), C.size_t(len(file)), (*C.uchar)(&im.Pix8[0]), C.uint(im.W), C.uint(im.H), C.int(im.C),
		&said[0]) {
	case 0:
		return nil
	case 2:
		return ErrCut
	}
	return errors.New(C.GoString(&said[0]))
}

// EncodeJPEG returns a picture of 8 bits as a JPEG file of the quality 1 to 100,
// colours at half the resolution each way.
func EncodeJPEG(im *part.Image, quality int) ([]byte, error) {
	if err := im.Validate(); err != nil {
		return nil, err
	}
	if im.Pix8 == nil || quality < 1 || quality > 100 {
		return nil, fmt.Errorf("codec: JPEG of quality %d, 8 bits %v", quality, im.Pix8 != nil)
	}
	var said [C.JMSG_LENGTH_MAX]C.char
	var file *C.uchar
	var n C.ulong
	if C.encodeJPEG((*C.uchar)(&im.Pix8[0]), C.uint(im.W), C.uint(im.H), C.int(im.C), C.int(quality), &file, &n, &said[0]) != 0 {
		return nil, errors.New(C.GoString(&said[0]))
	}
	defer C.free(unsafe.Pointer(file))
	return C.GoBytes(unsafe.Pointer(file), C.int(n)), nil
}
