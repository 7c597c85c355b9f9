package capture

import (
	"sync"

	"finishbench/internal/part"
)

// maxKept bounds the pixel memory kept for reuse, in bytes. Two units of eight
// 2-megapixel colour pictures fit.
const maxKept = 96 << 20

// kept8 and kept16 hold pixel buffers between pictures. A fresh buffer of 5.8
// MB costs some 8 ms in page faults, as much as decoding; this is the one state
// the package has, and no result depends on it.
var (
	kept8  = shelf[uint8]{sampleBytes: 1}
	kept16 = shelf[uint16]{sampleBytes: 2}
)

// shelf is a bounded stack of buffers.
type shelf[T any] struct {
	mu          sync.Mutex
	buffers     [][]T
	bytes       int
	sampleBytes int
}

// take returns a buffer of n samples with whatever was in it.
func (s *shelf[T]) take(n int) []T {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i := len(s.buffers) - 1; i >= 0; i-- {
		b := s.buffers[i]
		if cap(b) >= n && cap(b) <= 2*n {
			last := len(s.buffers) - 1
			s.buffers[i], s.buffers[last] = s.buffers[last], nil
			s.buffers = s.buffers[:last]
			s.bytes -= cap(b) * s.sampleBytes
			return b[:n]
		}
	}
	return make([]T, n)
}

// put keeps a buffer, and lets the oldest go where there are too many.
func (s *shelf[T]) put(b []T) {
	size := cap(b) * s.sampleBytes
	if size == 0 || size > maxKept {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for s.bytes+size > maxKept {
		s.bytes -= cap(s.buffers[0]) * s.sampleBytes
		s.buffers[0] = nil
		s.buffers = s.buffers[1:]
	}
	s.buffers = append(s.buffers, b)
	s.bytes += size
}

func take8(n int) []uint8   { return kept8.take(n) }
func take16(n int) []uint16 { return kept16.take(n) }

// Release hands a picture's pixels back for the next one. Neither the image
// nor a slice of its pixels may be used after. A nil image is allowed, and a
// second call for the same image does nothing.
func Release(im *part.Image) {
	if im == nil {
		return
	}
	kept8.put(im.Pix8)
	kept16.put(im.Pix16)
	im.Pix8, im.Pix16 = nil, nil
}
