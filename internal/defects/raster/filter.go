package raster

import (
	"fmt"
	"image"
	"math"
	"unsafe"

	"finishbench/internal/part"

	"gocv.io/x/gocv"
)

// Softened is gauss, or a copy where there is nothing to blur.
func Softened(dst, src *part.Plane, sigmaPX float64) error {
	if sigmaPX == 0 {
		copy(dst.V, src.V)
		return nil
	}
	return Gauss(dst, src, sigmaPX)
}

// wrap lends a plane's memory to OpenCV. The caller closes the Mat before the
// plane goes out of use.
func wrap(p *part.Plane) (gocv.Mat, error) {
	if p.W <= 0 || p.H <= 0 || len(p.V) != p.W*p.H {
		return gocv.Mat{}, fmt.Errorf("defects: plane %dx%d holds %d values", p.W, p.H, len(p.V))
	}
	b := unsafe.Slice((*byte)(unsafe.Pointer(&p.V[0])), 4*len(p.V))
	return gocv.NewMatFromBytes(p.H, p.W, gocv.MatTypeCV32F, b)
}

// filter runs an OpenCV filter from one plane into another of the same size.
func filter(dst, src *part.Plane, f func(src gocv.Mat, dst *gocv.Mat) error) error {
	if dst.W != src.W || dst.H != src.H {
		return fmt.Errorf("defects: filter from %dx%d into %dx%d", src.W, src.H, dst.W, dst.H)
	}
	s, err := wrap(src)
	if err != nil {
		return err
	}
	defer s.Close()
	d, err := wrap(dst)
	if err != nil {
		return err
	}
	defer d.Close()
	return f(s, &d)
}

// Gauss blurs with a Gaussian of standard deviation sigmaPX.
func Gauss(dst, src *part.Plane, sigmaPX float64) error {
	return filter(dst, src, func(s gocv.Mat, d *gocv.Mat) error {
		k := 2*int(3*sigmaPX+0.5) + 1
		return gocv.GaussianBlur(s, d, image.Pt(k, k), sigmaPX, sigmaPX, gocv.BorderReflect101)
	})
}

// Mean takes the mean over a square of 2r+1 pixels.
func Mean(dst, src *part.Plane, r int) error {
	return filter(dst, src, func(s gocv.Mat, d *gocv.Mat) error {
		return gocv.BoxFilter(s, d, -1, image.Pt(2*r+1, 2*r+1))
	})
}

// Erode takes the smallest value within r pixels, in place.
func Erode(p *part.Plane, r int) error {
	k := gocv.GetStructuringElement(gocv.MorphEllipse, image.Pt(2*r+1, 2*r+1))
	defer k.Close()
	m, err := wrap(p)
	if err != nil {
		return err
	}
	defer m.Close()
	return gocv.Erode(m, &m, k)
}

// Opened takes off what is bright and smaller than a structuring element of n x n, row by row, 1 where it is.
func Opened(dst, src *part.Plane, element []byte, n int) error {
	return morph(dst, src, gocv.MorphOpen, element, n)
}

// Closed is opened for what is dark.
func Closed(dst, src *part.Plane, element []byte, n int) error {
	return morph(dst, src, gocv.MorphClose, element, n)
}

func morph(dst, src *part.Plane, how gocv.MorphType, element []byte, n int) error {
	k, err := gocv.NewMatFromBytes(n, n, gocv.MatTypeCV8U, element)
	if err != nil {
		return err
	}
	defer k.Close()
	return filter(dst, src, func(s gocv.Mat, d *gocv.Mat) error { return gocv.MorphologyEx(s, d, how, k) })
}

// Resized returns the plane at another size: area means when it shrinks,
// bilinear when it grows.
func Resized(src *part.Plane, w, h int) (*part.Plane, error) {
	if w <= 0 || h <= 0 {
		return nil, fmt.Errorf("defects: resize to %dx%d", w, h)
	}
	dst := part.NewPlane(w, h)
	s, err := wrap(src)
	if err != nil {
		return nil, err
	}
	defer s.Close()
	d, err := wrap(dst)
	if err != nil {
		return nil, err
	}
	defer d.Close()
	how := gocv.InterpolationLinear
	if w < src.W {
		how = gocv.InterpolationArea
	}
	if err := gocv.Resize(s, &d, image.Pt(w, h), 0, 0, how); err != nil {
		return nil, fmt.Errorf("defects: resize: %w", err)
	}
	return dst, nil
}

// Distance returns, for each pixel of a mask, its distance in pixels to the
// nearest pixel outside. The picture's border counts as inside.
func Distance(mask []uint8, w, h int) (*part.Plane, error) {
	if w <= 0 || h <= 0 || len(mask) != w*h {
		return nil, fmt.Errorf("defects: mask %dx%d holds %d values", w, h, len(mask))
	}
	m, err := gocv.NewMatFromBytes(h, w, gocv.MatTypeCV8U, mask)
	if err != nil {
		return nil, err
	}
	defer m.Close()
	dst := part.NewPlane(w, h)
	d, err := wrap(dst)
	if err != nil {
		return nil, err
	}
	defer d.Close()
	labels := gocv.NewMat()
	defer labels.Close()
	if err := gocv.DistanceTransform(m, &d, &labels, gocv.DistL2, gocv.DistanceMask5, gocv.DistanceLabelCComp); err != nil {
		return nil, fmt.Errorf("defects: distance transform: %w", err)
	}
	return dst, nil
}

// SpotMean averages over a Gaussian, as if all were 0 outside.
func SpotMean(dst, src *part.Plane, sigmaPX float64) error {
	return filter(dst, src, func(s gocv.Mat, d *gocv.Mat) error {
		k := 2*int(3*sigmaPX+0.5) + 1
		return gocv.GaussianBlur(s, d, image.Pt(k, k), sigmaPX, sigmaPX, gocv.BorderConstant)
	})
}

// LineMean averages along a line in direction rad (picture coordinates, y down),
// Gaussian across it, as if all were 0 outside.
func LineMean(dst, src *part.Plane, sigmaPX, lengthPX, rad float64) error {
	reach := int(lengthPX/2+3*sigmaPX) + 1
	k := part.NewPlane(2*reach+1, 2*reach+1)
	s, c := math.Sincos(rad)
	sum := float32(0)
	for i := range k.V {
		x, y := float64(i%k.W-reach), float64(i/k.W-reach)
		u, v := x*c+y*s, y*c-x*s
		k.V[i] = float32(max(0, min(1, lengthPX/2+0.5-math.Abs(u))) * math.Exp(-v*v/(2*sigmaPX*sigmaPX)))
		sum += k.V[i]
	}
	for i := range k.V {
		k.V[i] /= sum
	}
	return filter(dst, src, func(s gocv.Mat, d *gocv.Mat) error {
		m, err := wrap(k)
		if err != nil {
			return err
		}
		defer m.Close()
		return gocv.Filter2D(s, d, -1, m, image.Pt(-1, -1), 0, gocv.BorderConstant)
	})
}

// Distances are those from the outside of a mask, inside it, and from it, outside.
func Distances(in []uint8, w, h int) (inner, outer *part.Plane, err error) {
	outside := make([]uint8, len(in))
	for i, v := range in {
		outside[i] = 1 - v
	}
	if inner, err = Distance(in, w, h); err != nil {
		return nil, nil, err
	}
	outer, err = Distance(outside, w, h)
	return inner, outer, err
}

// Bilinear is a plane's value between pixels; the place must lie inside.
func Bilinear(p *part.Plane, x, y float64) float32 {
	x = max(0, min(x, float64(p.W-1)-1e-6))
	y = max(0, min(y, float64(p.H-1)-1e-6))
	i, j := int(x), int(y)
	u, v := float32(x-float64(i)), float32(y-float64(j))
	a := p.V[j*p.W+i:]
	b := p.V[min(p.H-1, j+1)*p.W+i:]
	r := min(1, len(a)-1, len(b)-1)
	return (a[0]*(1-u)+a[r]*u)*(1-v) + (b[0]*(1-u)+b[r]*u)*v
}
