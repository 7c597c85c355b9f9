package scene

import (
	"math"
	"slices"

	"finishbench/internal/defects/raster"
	"finishbench/internal/defects/shape"
)

// figure is a connected piece of print.
type figure struct {
	shape.Shape
	pixels []int
	ink    []float64 // relative change of light per channel
}

// printIn returns the figures of a mask that are print.
func (f *Face) printIn(mask []bool) ([]figure, error) {
	var all []figure
	strong, other := 0, 0 // all pixels; the most of a region that is no figure
	for _, pixels := range raster.Regions(mask, f.Surface.W, f.Surface.H) {
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
	for _, set := range shape.Connected(len(all), func(i, j int) bool { return f.onePrint(&all[i], &all[j]) }) {
		if f.isPrint(all, set, strong, other) {
			for _, k := range set {
				out = append(out, all[k])
			}
		}
	}
	return out, nil
}

// onePrint says whether two figures are pieces of one print.
func (f *Face) onePrint(a, b *figure) bool {
	return math.Min(a.Thick, b.Thick) >= printThinner*math.Max(a.Thick, b.Thick) && a.GapTo(&b.Shape)*f.MMPX <= printReachMM &&
		sameInk(a.ink, b.ink)
}

// isPrint says whether a set of figures is larger than what falls into lacquer, and
// no part of a pattern: strong pixels are there in all, other in the largest region that is no figure.
func (f *Face) isPrint(all []figure, set []int, strong, other int) bool {
	b, area, most, strokes, one := all[set[0]].Shape, 0, 0, 0, false
	for k, g := range all {
		if !slices.Contains(set, k) {
			other = max(other, len(g.pixels))
			continue
		}
		area, most = area+len(g.pixels), max(most, len(g.pixels))
		one = one || g.Long*f.MMPX >= printLongMM && g.Across*f.MMPX >= printAcrossMM
		if g.Thick*f.MMPX >= printStrokeMM {
			strokes++
		}
		b.Cover(&g.Shape)
	}
	w, h := float64(b.X1-b.X0+1), float64(b.Y1-b.Y0+1)
	large := one || strokes >= printPieces && max(w, h)*f.MMPX >= printLongMM && min(w, h)*f.MMPX >= printAcrossMM
	return large && w*h <= printConfined*f.Surface.Area &&
		(float64(area) >= printMost*float64(strong) || one && float64(most) >= printLarger*float64(other))
}

// figureOf measures a region and says whether it has one ink, a sharp edge, and a
// thickness that no fibre has.
func (f *Face) figureOf(pixels []int) (figure, bool, error) {
	g := figure{Shape: shape.Of(pixels, f.Surface.W, 0, 0), pixels: pixels, ink: make([]float64, len(f.Channels))}
	if g.Thick*f.MMPX < printThickMM || g.Long*f.MMPX < printPieceMM {
		return g, false, nil
	}
	ink := make([]float64, len(f.Channels))
	step := max(1, len(pixels)/2000)
	for c, ch := range f.Channels {
		var v []float64
		for k := 0; k < len(pixels); k += step {
			if i := pixels[k]; f.Open[i]>>ch.Pic&1 == 1 {
				v = append(v, ch.Change(i))
			}
		}
		// where it is thin its blurred edge is much of it: its ink is what lies further out
		if g.ink[c] = raster.Quantile(v, printInkAt); g.ink[c] < 0 {
			g.ink[c] = raster.Quantile(v, 1-printInkAt)
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
func (f *Face) sharp(g *figure) (bool, error) {
	at := printBlurs * f.BlurPX() * float64(f.ShapeFactor) / float64(f.Factor)
	near, far := at-0.5, at+0.5
	x0, y0, w, h := f.boxAround(g, int(far)+2)
	in, share := make([]uint8, w*h), make([]float64, w*h)
	ink := make([]float64, len(f.Channels))
	for k := range share {
		share[k], _ = f.share((k/w+y0)*f.Surface.W+k%w+x0, g, ink)
	}
	for _, i := range g.pixels {
		k := (i/f.Surface.W-y0)*w + i%f.Surface.W - x0
		if share[k] > 0.5 {
			in[k] = 1
		}
	}
	inner, outer, err := raster.Distances(in, w, h)
	if err != nil {
		return false, err
	}
	var inside, outside []float64
	for k, t := range share {
		switch d := float64(max(inner.V[k], outer.V[k])); {
		case d <= near || d > far || f.Open[(k/w+y0)*f.Surface.W+k%w+x0] == 0:
		case in[k] == 1:
			inside = append(inside, t)
		default:
			outside = append(outside, t)
		}
	}
	return len(outside) > 0 && raster.Median(outside) < printFoot && (len(inside) == 0 || raster.Median(inside) > 1-printFoot), nil
}

// boxAround is a figure's box with a margin, inside the region.
func (f *Face) boxAround(g *figure, margin int) (x0, y0, w, h int) {
	x0, y0 = max(0, g.X0-margin), max(0, g.Y0-margin)
	return x0, y0, min(f.Surface.W, g.X1+margin+1) - x0, min(f.Surface.H, g.Y1+margin+1) - y0
}

// share is how far from the ground to a figure's ink a pixel lies, and how far off that line, both
// over the ink's change of light.
func (f *Face) share(i int, g *figure, ink []float64) (t, off float64) {
	f.inkAt(i, ink)
	var both, own, all float64
	for c, x := range ink {
		if f.Open[i]>>f.Channels[c].Pic&1 == 1 {
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
func (f *Face) drawFigure(g *figure, from float64, in []uint8) error {
	x0, y0, w, h := f.boxAround(g, int(g.Thick/2)+2)
	ink := make([]float64, len(f.Channels))
	of, share := make([]uint8, w*h), make([]float64, w*h) // NaN: on no line from the ground to the ink
	for k := range of {
		if i := (k/w+y0)*f.Surface.W + k%w + x0; f.Surface.Dist.V[i] > 0 && f.Open[i] != 0 {
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
	inner, err := raster.Distance(of, w, h)
	if err != nil {
		return err
	}
	thin := float32(g.Thick / 4)
	wide := make([]uint8, w*h)
	for k, d := range inner.V {
		if d > thin {
			wide[k] = 1
		}
	}
	_, outer, err := raster.Distances(wide, w, h)
	if err != nil {
		return err
	}
	for k, d := range outer.V {
		if (wide[k] == 1 || d <= 2*thin+1) && of[k] == 1 {
			in[(k/w+y0)*f.Surface.W+k%w+x0] = 1
		}
	}
	return nil
}

// fillOn fills what lies on the figure of a mask w wide: small holes a part of which is
// something else than ground, ink and what is between, or hardly lower than the ink.
func (f *Face) fillOn(of []uint8, share []float64, w, h int) {
	out := make([]bool, len(of))
	for i, v := range of {
		out[i] = v == 0
	}
	for _, pixels := range raster.Regions(out, w, h) {
		b := raster.Bounds(pixels, w)
		strange, lowest := 0, 1.0
		for _, i := range pixels {
			if share[i] != share[i] {
				strange++
			} else {
				lowest = math.Min(lowest, share[i])
			}
		}
		if float64(max(b[2]-b[0], b[3]-b[1])+1)*f.MMPX <= printHoleMM && (printStrange*strange >= len(pixels) || lowest > printDip) {
			for _, i := range pixels {
				of[i] = 1
			}
		}
	}
}
