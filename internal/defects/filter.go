package defects

import (
	"fmt"
	"math"
	"unsafe"

	"finishbench/internal/part"

	"image"

	"gocv.io/x/gocv"
)

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

// gauss blurs with a Gaussian of standard deviation sigmaPX.
func gauss(dst, src *part.Plane, sigmaPX float64) error {
	return filter(dst, src, func(s gocv.Mat, d *gocv.Mat) error {
		k := 2*int(3*sigmaPX+0.5) + 1
		return gocv.GaussianBlur(s, d, image.Pt(k, k), sigmaPX, sigmaPX, gocv.BorderReflect101)
	})
}

// box takes the mean over a square of 2r+1 pixels.
func box(dst, src *part.Plane, r int) error {
	return filter(dst, src, func(s gocv.Mat, d *gocv.Mat) error {
		return gocv.BoxFilter(s, d, -1, image.Pt(2*r+1, 2*r+1))
	})
}

// erode takes the smallest value within r pixels, in place.
func erode(p *part.Plane, r int) error {
	k := gocv.GetStructuringElement(gocv.MorphEllipse, image.Pt(2*r+1, 2*r+1))
	defer k.Close()
	m, err := wrap(p)
	if err != nil {
		return err
	}
	defer m.Close()
	return gocv.Erode(m, &m, k)
}

// opened takes off what is bright and smaller than a structuring element of n x n, row by row, 1 where it is.
func opened(dst, src *part.Plane, element []byte, n int) error {
	return morph(dst, src, gocv.MorphOpen, element, n)
}

// closed is opened for what is dark.
func closed(dst, src *part.Plane, element []byte, n int) error {
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

// newResized returns the plane at another size: area means when it shrinks,
// bilinear when it grows.
func newResized(src *part.Plane, w, h int) (*part.Plane, error) {
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

// newDistance returns, for each pixel of a mask, its distance in pixels to the
// nearest pixel outside. The picture's border counts as inside.
func newDistance(mask []uint8, w, h int) (*part.Plane, error) {
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

// spotMean averages over a Gaussian, as if all were 0 outside.
func spotMean(dst, src *part.Plane, sigmaPX float64) error {
	return filter(dst, src, func(s gocv.Mat, d *gocv.Mat) error {
		k := 2*int(3*sigmaPX+0.5) + 1
		return gocv.GaussianBlur(s, d, image.Pt(k, k), sigmaPX, sigmaPX, gocv.BorderConstant)
	})
}

// lineMean averages along a line in direction rad (picture coordinates, y down),
// Gaussian across it, as if all were 0 outside.
func lineMean(dst, src *part.Plane, sigmaPX, lengthPX, rad float64) error {
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
