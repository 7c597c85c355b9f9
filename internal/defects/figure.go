package defects

import (
	"math"
	"slices"
)

// figure is a connected piece of print.
type figure struct {
	shape
	pixels []int
	ink    []float64 // relative change of light per channel
}

// printIn returns the figures of a mask that are print.
func (f *sceneFace) printIn(mask []bool) ([]figure, error) {
	var all []figure
	strong, other := 0, 0 // all pixels; the most of a region that is no figure
	for _, pixels := range regionsOf(mask, f.surf.w, f.surf.h) {
		strong += len(pixels)
		g, ok, err := f.figureOf(pixels)
		if err != nil {
			return nil, err
		}
		if ok {
			all = append(all, g)
		} else {
			other = max(other, len(pixels))
		}
	}
	var out []figure
	for _, set := range connected(len(all), func(i, j int) bool { return f.onePrint(&all[i], &all[j]) }) {
		if f.isPrint(all, set, strong, other) {
			for _, k := range set {
				out = append(out, all[k])
			}
		}
	}
	return out, nil
}

// onePrint says whether two figures are pieces of one print.
func (f *sceneFace) onePrint(a, b *figure) bool {
	return math.Min(a.thick, b.thick) >= printThinner*math.Max(a.thick, b.thick) && a.gapTo(&b.shape)*f.mmPX <= printReachMM && sameInk(a.ink, b.ink)
}

// isPrint says whether a set of figures is larger than what falls into lacquer, and
// no part of a pattern: strong pixels are there in all, other in the largest region that is no figure.
func (f *sceneFace) isPrint(all []figure, set []int, strong, other int) bool {
	b, area, most, strokes, one := all[set[0]].shape, 0, 0, 0, false
	for k, g := range all {
		if !slices.Contains(set, k) {
			other = max(other, len(g.pixels))
			continue
		}
		area, most = area+len(g.pixels), max(most, len(g.pixels))
		one = one || g.long*f.mmPX >= printLongMM && g.across*f.mmPX >= printAcrossMM
		if g.thick*f.mmPX >= printStrokeMM {
			strokes++
		}
		b.cover(&g.shape)
	}
	w, h := float64(b.x1-b.x0+1), float64(b.y1-b.y0+1)
	large := one || strokes >= printPieces && max(w, h)*f.mmPX >= printLongMM && min(w, h)*f.mmPX >= printAcrossMM
	return large && w*h <= printConfined*f.surf.area &&
		(float64(area) >= printMost*float64(strong) || one && float64(most) >= printLarger*float64(other))
}

// figureOf measures a region and says whether it has one ink, a sharp edge, and a
// thickness that no fibre has.
func (f *sceneFace) figureOf(pixels []int) (figure, bool, error) {
	g := figure{shape: shapeOf(pixels, f.surf.w, 0, 0), pixels: pixels, ink: make([]float64, len(f.channels))}
	if g.thick*f.mmPX < printThickMM || g.long*f.mmPX < printPieceMM {
		return g, false, nil
	}
	ink := make([]float64, len(f.channels))
	step := max(1, len(pixels)/2000)
	for c, ch := range f.channels {
		var v []float64
		for k := 0; k < len(pixels); k += step {
			if i := pixels[k]; f.open[i]>>ch.pic&1 == 1 {
				v = append(v, ch.change(i))
			}
		}
		// where it is thin its blurred edge is much of it: its ink is what lies further out
		if g.ink[c] = quantile(v, printInkAt); g.ink[c] < 0 {
			g.ink[c] = quantile(v, 1-printInkAt)
		}
	}
	even, n := 0, 0
	for k := 0; k < len(pixels); k += step {
		if t, off := f.share(pixels[k], &g, ink); off < printInk && t < 1+printInk {
			even++
		}
		n++
	}
	if float64(even) < printEven*float64(n) {
		return g, false, nil
	}
	sharp, err := f.sharp(&g)
	return g, sharp, err
}

// sharp says whether a figure's edge is no wider than the blur makes it: what is soft is
// paint that runs out, or haze.
func (f *sceneFace) sharp(g *figure) (bool, error) {
	at := printBlurs * f.blurPX() * float64(f.shape) / float64(f.factor)
	near, far := at-0.5, at+0.5
	x0, y0, w, h := f.boxAround(g, int(far)+2)
	in, share := make([]uint8, w*h), make([]float64, w*h)
	ink := make([]float64, len(f.channels))
	for k := range share {
		share[k], _ = f.share((k/w+y0)*f.surf.w+k%w+x0, g, ink)
	}
	for _, i := range g.pixels {
		k := (i/f.surf.w-y0)*w + i%f.surf.w - x0
		if share[k] > 0.5 {
			in[k] = 1
		}
	}
	inner, outer, err := distances(in, w, h)
	if err != nil {
		return false, err
	}
	var inside, outside []float64
	for k, t := range share {
		switch d := float64(max(inner.V[k], outer.V[k])); {
		case d <= near || d > far || f.open[(k/w+y0)*f.surf.w+k%w+x0] == 0:
		case in[k] == 1:
			inside = append(inside, t)
		default:
			outside = append(outside, t)
		}
	}
	return len(outside) > 0 && median(outside) < printFoot && (len(inside) == 0 || median(inside) > 1-printFoot), nil
}

// boxAround is a figure's box with a margin, inside the region.
func (f *sceneFace) boxAround(g *figure, margin int) (x0, y0, w, h int) {
	x0, y0 = max(0, g.x0-margin), max(0, g.y0-margin)
	return x0, y0, min(f.surf.w, g.x1+margin+1) - x0, min(f.surf.h, g.y1+margin+1) - y0
}

// share is how far from the ground to a figure's ink a pixel lies, and how far off that line, both
// over the ink's change of light.
func (f *sceneFace) share(i int, g *figure, ink []float64) (t, off float64) {
	f.inkAt(i, ink)
	var both, own, all float64
	for c, x := range ink {
		if f.open[i]>>f.channels[c].pic&1 == 1 {
			both, own, all = both+x*g.ink[c], own+g.ink[c]*g.ink[c], all+x*x
		}
	}
	if own == 0 {
		return 0, 0
	}
	t = both / own
	return t, math.Sqrt(math.Max(0, all/own-t*t))
}

// sameInk says whether two changes of light are one ink's.
func sameInk(a, b []float64) bool {
	d, s := 0.0, 0.0
	for c := range a {
		d += (a[c] - b[c]) * (a[c] - b[c])
		s += b[c] * b[c]
	}
	return d < printInk*printInk*s
}

// drawFigure marks the pixels of a figure, from a share of its ink's light on, and of
// what lies on it; what is thin against it, a fibre that touches it, is not it.
func (f *sceneFace) drawFigure(g *figure, from float64, in []uint8) error {
	x0, y0, w, h := f.boxAround(g, int(g.thick/2)+2)
	ink := make([]float64, len(f.channels))
	of, share := make([]uint8, w*h), make([]float64, w*h) // NaN: on no line from the ground to the ink
	for k := range of {
		if i := (k/w+y0)*f.surf.w + k%w + x0; f.surf.dist.V[i] > 0 && f.open[i] != 0 {
			t, off := f.share(i, g, ink)
			if share[k] = t; off >= printOff || t < -printOff {
				share[k] = math.NaN()
			}
			if share[k] > from {
				of[k] = 1
			}
		}
	}
	f.fillOn(of, share, w, h)
	inner, err := newDistance(of, w, h)
	if err != nil {
		return err
	}
	thin := float32(g.thick / 4)
	wide := make([]uint8, w*h)
	for k, d := range inner.V {
		if d > thin {
			wide[k] = 1
		}
	}
	_, outer, err := distances(wide, w, h)
	if err != nil {
		return err
	}
	for k, d := range outer.V {
		if (wide[k] == 1 || d <= 2*thin+1) && of[k] == 1 {
			in[(k/w+y0)*f.surf.w+k%w+x0] = 1
		}
	}
	return nil
}

// fillOn fills what lies on the figure of a mask w wide: small holes a part of which is
// something else than ground, ink and what is between, or hardly lower than the ink.
func (f *sceneFace) fillOn(of []uint8, share []float64, w, h int) {
	out := make([]bool, len(of))
	for i, v := range of {
		out[i] = v == 0
	}
	for _, pixels := range regionsOf(out, w, h) {
		b := boundsOfPixels(pixels, w)
		strange, lowest := 0, 1.0
		for _, i := range pixels {
			if share[i] != share[i] {
				strange++
			} else {
				lowest = math.Min(lowest, share[i])
			}
		}
		if float64(max(b[2]-b[0], b[3]-b[1])+1)*f.mmPX <= printHoleMM && (printStrange*strange >= len(pixels) || lowest > printDip) {
			for _, i := range pixels {
				of[i] = 1
			}
		}
	}
}
