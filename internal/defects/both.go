package defects

import (
	"math"

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
		if err := gauss(soft[k], p, shapeReachMM/pxMM); err != nil {
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
		out.V[i] = min(abs32(u), abs32(v)) * float32(math.Max(0, (alike-alikeFrom)/(1-alikeFrom)))
		if u < 0 {
			out.V[i] = -out.V[i]
		}
	}
	return out, nil
}

// lookInBoth raises the map where both of a scene's first two pictures change.
func (f *searchFace) lookInBoth(r *response) error {
	l := &bothLook{}
	for pic := range l.rows {
		l.rows[pic] = make([]float64, len(f.channels))
		for _, c := range f.planesOf(pic) {
			l.rows[pic][c] = 1
		}
		spread := f.spreadOf(f.project(l.rows[pic : pic+1])[0], nil, 1)
		for c := range l.rows[pic] {
			l.rows[pic][c] /= spread
		}
	}
	light := f.project(l.rows[:])
	value, err := l.valuesOf(light[0], light[1], f.mmPX)
	if err != nil {
		return err
	}
	for _, mm := range bothMM {
		chi := part.NewPlane(value.W, value.H)
		if err := softened(chi, value, mm/f.mmPX); err != nil {
			return err
		}
		for i, v := range chi.V {
			chi.V[i] = abs32(v)
		}
		f.tame(chi, 1)
		t := f.threshold(chi, 1)
		for i := range chi.V {
			chi.V[i] /= t
		}
		f.lift(r.ratio, chi)
		l.thresholds = append(l.thresholds, t)
	}
	r.both = l
	return nil
}

// softened is gauss, or a copy where there is nothing to blur.
func softened(dst, src *part.Plane, sigmaPX float64) error {
	if sigmaPX == 0 {
		copy(dst.V, src.V)
		return nil
	}
	return gauss(dst, src, sigmaPX)
}

// respondInBoth raises a window's ratio by what changes the light in both pictures.
func (w *window) respondInBoth(l *bothLook, a, b *part.Plane, pxMM float64) error {
	value, err := l.valuesOf(a, b, pxMM)
	if err != nil {
		return err
	}
	w.both = part.NewPlane(w.w, w.h)
	soft := part.NewPlane(w.w, w.h)
	for k, t := range l.thresholds {
		if err := softened(soft, value, bothMM[k]/pxMM); err != nil {
			return err
		}
		for i, v := range soft.V {
			if w.parent[i] >= 0 {
				w.both.V[i] = max(w.both.V[i], abs32(v)/t)
			}
		}
	}
	for i, v := range w.both.V {
		w.ratio.V[i] = max(w.ratio.V[i], v)
	}
	return nil
}
