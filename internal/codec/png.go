package codec

/*
#cgo LDFLAGS: -lpng
#include <setjmp.h>
#include <stdlib.h>
#include <string.h>
#include <png.h>

#define SAID 200

typedef struct {
	unsigned char *p;
	size_t n, room;
} bytes;

static void pngStop(png_structp p, png_const_charp what) {
	char *said = png_get_error_ptr(p);
	strncpy(said, what, SAID - 1);
	said[SAID - 1] = 0;
	png_longjmp(p, 1);
}

static void pngSilent(png_structp p, png_const_charp what) {}

static void pngRead(png_structp p, png_bytep to, png_size_t n) {
	bytes *b = png_get_io_ptr(p);
	if (n > b->n) png_error(p, "it ends too early");
	memcpy(to, b->p, n);
	b->p += n;
	b->n -= n;
}

static void pngWrite(png_structp p, png_bytep from, png_size_t n) {
	bytes *b = png_get_io_ptr(p);
	if (b->n + n > b->room) {
		size_t room = 2 * b->room + n + 4096;
		unsigned char *q = realloc(b->p, room);
		if (!q) png_error(p, "out of memory");
		b->p = q;
		b->room = room;
	}
	memcpy(b->p + b->n, from, n);
	b->n += n;
}

static void pngFlush(png_structp p) {}

static int littleEndian(void) {
	unsigned one = 1;
	return *(unsigned char *)&one;
}

// decodePNG returns 0, or 1 with what is wrong in said.
static int decodePNG(unsigned char *data, size_t n, unsigned char *to, unsigned w, unsigned h, int c, int bits, char *said) {
	bytes from = {data, n, 0};
	png_structp p = png_create_read_struct(PNG_LIBPNG_VER_STRING, said, pngStop, pngSilent);
	png_infop info = NULL;
	if (!p || !(info = png_create_info_struct(p))) {
		png_destroy_read_struct(&p, NULL, NULL);
		strcpy(said, "out of memory");
		return 1;
	}
	if (setjmp(png_jmpbuf(p))) {
		png_destroy_read_struct(&p, &info, NULL);
		return 1;
	}
	png_set_user_limits(p, w, h);
	png_set_crc_action(p, PNG_CRC_QUIET_USE, PNG_CRC_QUIET_USE); // the caller has checked the sums
	png_set_read_fn(p, &from, pngRead);
	png_read_info(p, info);
	int kind = png_get_color_type(p, info);
	if (kind == PNG_COLOR_TYPE_PALETTE)
		png_set_palette_to_rgb(p);
	else if (png_get_bit_depth(p, info) < 8)
		png_set_expand_gray_1_2_4_to_8(p);
	png_set_strip_alpha(p);
	if (bits == 16 && littleEndian()) png_set_swap(p);
	int passes = png_set_interlace_handling(p);
	png_read_update_info(p, info);
	if (png_get_image_width(p, info) != w || png_get_image_height(p, info) != h || png_get_rowbytes(p, info) != (size_t)w * c * bits / 8)
		png_error(p, "it does not hold what its header says");
	for (; passes > 0; passes--)
		for (unsigned y = 0; y < h; y++) png_read_row(p, to + (size_t)y * w * c * bits / 8, NULL);
	png_read_end(p, NULL);
	png_destroy_read_struct(&p, &info, NULL);
	return 0;
}

// encodePNG returns 0 with a file that the caller frees, or 1 with what is wrong in said.
static int encodePNG(const unsigned char *from, unsigned w, unsigned h, int c, int bits, unsigned char **file, size_t *n, char *said) {
	bytes to = {NULL, 0, 0};
	png_structp p = png_create_write_struct(PNG_LIBPNG_VER_STRING, said, pngStop, pngSilent);
	png_infop info = NULL;
	if (!p || !(info = png_create_info_struct(p))) {
		png_destroy_write_struct(&p, NULL);
		strcpy(said, "out of memory");
		return 1;
	}
	bytes *volatile out = &to;
	if (setjmp(png_jmpbuf(p))) {
		png_destroy_write_struct(&p, &info);
		free(out->p);
		return 1;
	}
	png_set_write_fn(p, &to, pngWrite, pngFlush);
	png_set_IHDR(p, info, w, h, bits, c == 1 ? PNG_COLOR_TYPE_GRAY : PNG_COLOR_TYPE_RGB, PNG_INTERLACE_NONE, PNG_COMPRESSION_TYPE_DEFAULT,
		PNG_FILTER_TYPE_DEFAULT);
	png_set_compression_level(p, 1);
	png_set_compression_strategy(p, 3); // zlib's Z_RLE
	png_set_filter(p, 0, PNG_FILTER_SUB);
	png_write_info(p, info);
	if (bits == 16 && littleEndian()) png_set_swap(p);
	for (unsigned y = 0; y < h; y++) png_write_row(p, (png_bytep)from + (size_t)y * w * c * bits / 8);
	png_write_end(p, info);
	png_destroy_write_struct(&p, &info);
	*file = to.p;
	*n = to.n;
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

// DecodePNG decodes a PNG file into a picture whose size and buffer fit: greys
// of under 8 bits as 8, palettes as red, green, blue. Alpha is dropped, not
// blended. The check sums of the file's chunks are the caller's to look at.
func DecodePNG(im *part.Image, file []byte) error {
	if err := im.Validate(); err != nil {
		return err
	}
	if len(file) == 0 {
		return errors.New("codec: PNG of no bytes")
	}
	raw, bits := samples(im)
	var said [C.SAID]C.char
	if C.decodePNG((*C.uchar)(&file[0]), C.size_t(len(file)), raw, C.uint(im.W), C.uint(im.H), C.int(im.C), bits, &said[0]) != 0 {
		return errors.New(C.GoString(&said[0]))
	}
	return nil
}

// EncodePNG returns a picture as a PNG file, packed for speed rather than size.
func EncodePNG(im *part.Image) ([]byte, error) {
	if err := im.Validate(); err != nil {
		return nil, err
	}
	raw, bits := samples(im)
	var said [C.SAID]C.char
	var file *C.uchar
	var n C.size_t
	if C.encodePNG(raw, C.uint(im.W), C.uint(im.H), C.int(im.C), bits, &file, &n, &said[0]) != 0 {
		return nil, fmt.Errorf("picture of %dx%d as PNG: %s", im.W, im.H, C.GoString(&said[0]))
	}
	defer C.free(unsafe.Pointer(file))
	return C.GoBytes(unsafe.Pointer(file), C.int(n)), nil
}

// samples points at a valid picture's samples and says how many bits each has.
func samples(im *part.Image) (*C.uchar, C.int) {
	if im.Pix16 != nil {
		return (*C.uchar)(unsafe.Pointer(&im.Pix16[0])), 16
	}
	return (*C.uchar)(&im.Pix8[0]), 8
}
