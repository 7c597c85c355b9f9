// Package codec turns JPEG and PNG files into pictures and back by libjpeg and
// libpng, straight between Go buffers.
//
// It decodes what its caller has looked through already: the header is read,
// the size is known and bounded, and the buffer is made. Neither library ends
// the process or writes to the terminal: each fault comes back as an error of
// one line, without the file's name. Nothing is kept between calls, and calls
// may run side by side.
package codec
