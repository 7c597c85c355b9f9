package search

import (
	"math"

	"finishbench/internal/defects/raster"
	"finishbench/internal/part"
)

// bothLook looks for what changes the light alike in two pictures: a flake that
// shines under one lamp is dull under the other, dust and fibres are as bright or as
// dark under both, and of one shape. Its value is the smaller of the two changes,
// times how far the changes around it go together; 0 where they differ in sign.
type bothLook struct {
	rows       [2][]float64 // from deviations from base, per channel, to the light of a picture over its spread
	thresholds []float32    // of its values, per smoothing of bothMM
}

// bothMM are the smoothings at which changes in both lights are sought, shapeReachMM
// that over which they are compared; under alikeFrom of correlation they are not one
// shape (common practice, no source).
var bothMM = []float64{0, 0.027}

const (
	shapeReachMM = 0.06
	alikeFrom    = 0.5
)

// valuesOf makes the look's values of the changes in two pictures, of pxMM a pixel.
func (l *bothLook) valuesOf(a, b *part.Plane, pxMM float64) (*part.Plane, error) {
	soft := make([]*part.Plane, 5)
	for k, of := range []func(a, b float32) float32{
		func(a, _ float32) float32 { return a }, func(_, b float32) float32 { return b },
		func(a, _ float32) float32 { return a * a }, func(_, b float32) float32 { return b * b }, func(a, b float32) float32 { return a * b },
	} {
		p := part.NewPlane(a.W, a.H)
		for i := range p.V {
			p.V[i] = of(a.V[i], b.V[i])
		}
		soft[k] = part.NewPlane(a.W, a.H)
		if err := raster.Gauss(soft[k], p, shapeReachMM/pxMM); err != nil {
			return nil, err
		}
	}
	out := part.NewPlane(a.W, a.H)
	for i := range out.V {
		u, v := a.V[i], b.V[i]
		if u*v <= 0 {
			continue
		}
		ma, mb := float64(soft[0].V[i]), float64(soft[1].V[i])
		va, vb := float64(soft[2].V[i])-ma*ma, float64(soft[3].V[i])-mb*mb
		alike := (float64(soft[4].V[i]) - ma*mb) / math.Sqrt(math.Max(va*vb, 1e-12))
		out.V[i] = min(raster.Abs(u), raster.Abs(v)) * float32(math.Max(0, (alike-alikeFrom)/(1-alikeFrom)))
		if u < 0 {
			out.V[i] = -out.V[i]
		}
	}
	return out, nil
}

// lookInBoth raises the map where both of a scene's first two pictures change.
func (f *Face) lookInBoth(r *Response) error {
	l := &bothLook{}
	for pic := range l.rows {
		l.rows[pic] = make([]float64, len(f.Channels))
		for _, c := range f.ChannelsOf(pic) {
			l.rows[pic][c] = 1
		}
		spread := f.spreadOf(f.project(l.rows[pic : pic+1])[0], nil, 1)
		for c := range l.rows[pic] {
			l.rows[pic][c] /= spread
		}
	}
	light := f.project(l.rows[:])
	value, err := l.valuesOf(light[0], light[1], f.MMPX)
	if err != nil {
		return err
	}
	for _, mm := range bothMM {
		chi := part.NewPlane(value.W, value.H)
		if err := raster.Softened(chi, value, mm/f.MMPX); err != nil {
			return err
		}
		for i, v := range chi.V {
			chi.V[i] = raster.Abs(v)
		}
		f.tame(chi, 1)
		t := f.threshold(chi, 1)
		for i := range chi.V {
			chi.V[i] /= t
		}
		f.raiseTo(r.Ratio, chi)
		l.thresholds = append(l.thresholds, t)
	}
	r.both = l
	return nil
}

// respondInBoth raises a window's ratio by what changes the light in both pictures.
func (w *Window) respondInBoth(l *bothLook, a, b *part.Plane, pxMM float64) error {
	value, err := l.valuesOf(a, b, pxMM)
	if err != nil {
		return err
	}
	w.Both = part.NewPlane(w.W, w.H)
	soft := part.NewPlane(w.W, w.H)
	for k, t := range l.thresholds {
		if err := raster.Softened(soft, value, bothMM[k]/pxMM); err != nil {
			return err
		}
		for i, v := range soft.V {
			if w.Parent[i] >= 0 {
				w.Both.V[i] = max(w.Both.V[i], raster.Abs(v)/t)
			}
		}
	}
	for i, v := range w.Both.V {
		w.Ratio.V[i] = max(w.Ratio.V[i], v)
	}
	return nil
}
