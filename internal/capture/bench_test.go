package capture

import "testing"

// BenchmarkRead decodes one 1600x1200 colour JPEG of quality 95.
func BenchmarkRead(b *testing.B) {
	path := write(b, "p.jpg", encode(b, "jpg", noisy(1600, 1200)))
	b.ReportAllocs()
	for b.Loop() {
		im, err := Read(path)
		if err != nil {
			b.Fatal(err)
		}
		Release(im)
	}
}
