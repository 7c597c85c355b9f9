package part

import "fmt"

// Image is a decoded picture. Samples are interleaved by pixel, row by row:
// one channel is grey, three are red, green, blue. Exactly one of Pix8 and
// Pix16 is set, with W*H*C samples. Samples are as the camera's file holds
// them (sRGB-encoded unless the station says otherwise); optics turns them
// into linear light.
type Image struct {
	W, H, C int
	Pix8    []uint8
	Pix16   []uint16
}

// Validate says whether the fields agree with each other.
func (im *Image) Validate() error {
	if im == nil || im.W <= 0 || im.H <= 0 || (im.C != 1 && im.C != 3) {
		return fmt.Errorf("part: an image needs a positive size and 1 or 3 channels")
	}
	n := im.W * im.H * im.C
	if !(len(im.Pix8) == n && im.Pix16 == nil) && !(len(im.Pix16) == n && im.Pix8 == nil) {
		return fmt.Errorf("part: image %dx%dx%d has %d 8-bit and %d 16-bit samples", im.W, im.H, im.C, len(im.Pix8), len(im.Pix16))
	}
	return nil
}

// MaxSample is the largest value a sample can take: 255 or 65535.
func (im *Image) MaxSample() int {
	if im.Pix16 != nil {
		return 65535
	}
	return 255
}

// Plane is one channel of W*H values, row by row, in whatever quantity the
// function that made it says (mostly linear light, 0..1).
type Plane struct {
	W, H int
	V    []float32
}

// NewPlane returns a plane of zeros.
func NewPlane(w, h int) *Plane { return &Plane{W: w, H: h, V: make([]float32, w*h)} }

// At returns the value at column x, row y, which must lie inside.
func (p *Plane) At(x, y int) float32 { return p.V[y*p.W+x] }

// Point is a place in a picture, in full-resolution pixels.
type Point struct{ X, Y float64 }

// Inside says whether the point lies inside a closed polygon (crossings of a ray to
// the right, even-odd rule); false for no polygon.
func (p Point) Inside(polygon []Point) bool {
	in := false
	for i, a := range polygon {
		b := polygon[(i+1)%len(polygon)]
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			in = !in
		}
	}
	return in
}

// Box is an area of a picture in full-resolution pixels: x, y, width, height.
type Box [4]float64

// Centre returns the box's middle.
func (b Box) Centre() Point { return Point{b[0] + b[2]/2, b[1] + b[3]/2} }

// Union returns the smallest box that holds both.
func (b Box) Union(o Box) Box {
	x0, y0 := min(b[0], o[0]), min(b[1], o[1])
	x1, y1 := max(b[0]+b[2], o[0]+o[2]), max(b[1]+b[3], o[1]+o[3])
	return Box{x0, y0, x1 - x0, y1 - y0}
}

// Grow returns the box widened by d pixels on each side.
func (b Box) Grow(d float64) Box { return Box{b[0] - d, b[1] - d, b[2] + 2*d, b[3] + 2*d} }

// Meets reports whether the two boxes share any area.
func (b Box) Meets(o Box) bool {
	return b[0] < o[0]+o[2] && o[0] < b[0]+b[2] && b[1] < o[1]+o[3] && o[1] < b[1]+b[3]
}

// BoundsOf is the smallest box that holds the points; of no size for none.
func BoundsOf(points []Point) Box {
	if len(points) == 0 {
		return Box{}
	}
	b := Box{points[0].X, points[0].Y, 0, 0}
	for _, q := range points {
		b = b.Union(Box{q.X, q.Y, 0, 0})
	}
	return b
}
