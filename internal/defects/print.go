package defects

import (
	"errors"
	"fmt"
	"math"
	"math/bits"
	"slices"

	"finishbench/internal/part"
)

// Print (an emblem, lettering) lies in one place of the faceplate, has one ink, a
// sharp edge, and changes every light alike. It is found before anything is
// searched: its edge is not searched, for two pictures never lie on each other to a
// fraction of the blur there; what is inside has a base of its own, so that a bubble on an
// emblem is found as one beside it.
//
// Limits of what counts as print; all are common practice, no source.
const (
	printNoise    = 8.0  // it changes the light of every picture by so many times the noise,
	printAlike    = 3.5  // by less than this factor more of its light in one than in the other, for a dome mirrored in the ground adds to its light,
	printColour   = 0.9  // and in the same colours: the cosine between the two changes
	printPieceMM  = 0.4  // its pieces are at least this long
	printThickMM  = 0.1  // and thick,
	printPieces   = 3    // so many at least, as thick as no mark of an abrasive, each no further from the next than
	printStrokeMM = 0.13 // (their thickness)
	printReachMM  = 1.5  // this,
	printLongMM   = 1.2  // and together this long
	printAcrossMM = 0.6  // and broad; or one of them is, as nothing is that falls into lacquer
	printThinner  = 0.6  // the thinnest is this much of the thickest
	printInkAt    = 0.75 // quantile of the change of light that is its ink's
	printInk      = 0.2  // one ink's change of light differs by this share of it
	printEven     = 0.8  // on so much of its figure, its blurred edge lying between it and the ground
	printOff      = 0.4  // further off the line from the ground to the ink lies something else
	printBlurs    = 2.0  // so many standard deviations of the blur to either side of its edge
	printFoot     = 0.3  // its light has come so near to the ground's and to the ink's
	printConfined = 0.4  // it takes no more than this share of the face in one place,
	printMost     = 0.5  // and is this share of all that is as strong, for a pattern is all over,
	printLarger   = 5.0  // or so many times as large as anything else
	printSolid    = 0.85 // a figure is solid where it has this share of its ink's light: between letters may be hairlines;
	printDip      = 0.65 // what goes no lower, closed in by it, lies on it
	printStrange  = 8    // a hole of which one in so many pixels is neither ground nor ink nor between is something
	printHoleMM   = 0.4  // that lies on it, if it is no larger
	printReach    = 3.5  // its edge is left out to so many standard deviations of the blur
	printMorePX   = 2.0  // and, as a JPEG's colours are no finer, so many full-resolution pixels more
	printWideMM   = 0.1  // what is searched inside is this wide
)

// printLevels are the shares of the light from which on print is sought, one after the
// other: on a pattern it stands out from where that no longer reaches.
var printLevels = [...]float64{0.4, 0.2, 0.1}

// figure is a connected piece of print.
type figure struct {
	shape
	pixels []int
	ink    []float64 // relative change of light per channel
}

// inkAt fills in the relative change of light at a search pixel, per channel, 0 in
// pictures that are not open there.
func (f *face) inkAt(i int, ink []float64) {
	for c, ch := range f.channels {
		if ink[c] = 0; f.open[i]>>ch.pic&1 == 1 {
			ink[c] = float64((ch.smooth.V[i] - ch.base.V[i]) / max(ch.base.V[i], paintAtLeast))
		}
	}
}

// alike is by how much the light changes at a pixel, up or down, where it does so in
// every picture in which the pixel is open, and in all of them alike; else 0.
func (f *face) alike(i int, ink, least []float64, planes [][]int) float64 {
	var first []int
	var size0, sum float64
	for pic := range f.scene {
		if f.open[i]>>pic&1 == 0 {
			continue
		}
		own := planes[pic]
		size, most := 0.0, 0.0
		for _, c := range own {
			size += ink[c] * ink[c]
			sum += ink[c]
			most = math.Max(most, math.Abs(ink[c])/least[c])
		}
		if size = math.Sqrt(size / float64(len(own))); most < 1 {
			return 0
		}
		if first == nil {
			first, size0 = own, size
			continue
		}
		if size > printAlike*size0 || size0 > printAlike*size {
			return 0
		}
		if len(first) == len(own) {
			var s, a, b float64
			for k := range own {
				u, v := ink[first[k]]*f.channels[first[k]].level, ink[own[k]]*f.channels[own[k]].level
				s, a, b = s+u*v, a+u*u, b+v*v
			}
			if s < printColour*math.Sqrt(a*b) {
				return 0
			}
		}
		size0 = math.Min(size0, size)
	}
	return math.Copysign(size0, sum)
}

// leavePrint finds the print, closes its edge and gives what is inside a base of its
// own.
func (f *face) leavePrint() error {
	in, solid, err := f.findPrint()
	if err != nil || in == nil {
		return err
	}
	w, h := f.surf.w, f.surf.h
	_, outer, err := distances(in, w, h)
	if err != nil {
		return err
	}
	inner, err := newDistance(solid, w, h)
	if err != nil {
		return err
	}
	blur, more := f.blurPX()*float64(f.shape)/float64(f.factor), printMorePX/float64(f.factor)
	beyond := float32(printReach*blur + more)
	within := float32((printReach-edgeOut(1-printSolid))*blur + more) // from where it is solid
	core, ground := make([]bool, w*h), make([]bool, w*h)
	closeAll := func(i int) {
		for pic := range f.scene {
			f.close(pic, i, part.Print)
		}
	}
	for i := range in {
		switch {
		case f.surf.dist.V[i] <= 0:
		case inner.V[i] > within:
			core[i] = true
		case in[i] == 1 || outer.V[i] <= beyond:
			closeAll(i)
		default:
			ground[i] = f.open[i] != 0
		}
	}
	for _, pixels := range regionsOf(ground, w, h) { // slits between strokes hold light of both
		if float64(len(pixels))*f.mmPX*f.mmPX < leastViewMM2 {
			for _, i := range pixels {
				closeAll(i)
			}
		}
	}
	for _, pixels := range regionsOf(core, w, h) {
		deepest := float32(0)
		for _, i := range pixels {
			deepest = max(deepest, inner.V[i])
		}
		if 2*float64(deepest-within)*f.mmPX < printWideMM {
			for _, i := range pixels {
				core[i] = false
				closeAll(i)
			}
		}
	}
	for pic := range f.scene {
		if err := f.baseInside(pic, core, false); err != nil {
			return err
		}
		f.evenNoise(pic, core)
	}
	return nil
}

// distances are those from the outside of a mask, inside it, and from it, outside.
func distances(in []uint8, w, h int) (inner, outer *part.Plane, err error) {
	outside := make([]uint8, len(in))
	for i, v := range in {
		outside[i] = 1 - v
	}
	if inner, err = newDistance(in, w, h); err != nil {
		return nil, nil, err
	}
	outer, err = newDistance(outside, w, h)
	return inner, outer, err
}

// findPrint returns masks of what is print, out to the middle of its edge and where
// it is solid, nil where there is none, and tells of it.
func (f *face) findPrint() (in, solid []uint8, err error) {
	w, h := f.surf.w, f.surf.h
	least := make([]float64, len(f.channels))
	for c := range f.channels {
		ch := &f.channels[c]
		var noise float64
		noise, ch.level = f.channelNoise(*ch)
		least[c] = printNoise * noise / math.Max(ch.level, paintAtLeast)
	}
	planes := make([][]int, len(f.scene))
	for pic := range planes {
		planes[pic] = f.planesOf(pic)
	}
	light := make([]float32, w*h)
	ink := make([]float64, len(f.channels))
	for i, d := range f.surf.dist.V {
		if n := bits.OnesCount8(f.open[i]); d > 0 && n >= min(2, len(f.scene)) { // one light alone may mirror a lamp
			f.inkAt(i, ink)
			light[i] = float32(f.alike(i, ink, least, planes))
		}
	}
	mask := make([]bool, w*h)
	for _, level := range printLevels {
		for _, sign := range [2]float32{1, -1} {
			for i, v := range light {
				mask[i] = sign*v >= float32(level)
			}
			found, err := f.printIn(mask)
			if err != nil {
				return nil, nil, err
			}
			if in == nil && len(found) > 0 {
				in, solid = make([]uint8, w*h), make([]uint8, w*h)
			}
			for k := range found {
				if err := errors.Join(f.drawFigure(&found[k], 0.5, in), f.drawFigure(&found[k], printSolid, solid)); err != nil {
					return nil, nil, err
				}
			}
			f.tellPrint(found)
			for i := range in {
				if in[i] == 1 {
					light[i] = 0
				}
			}
		}
	}
	return in, solid, nil
}

// printIn returns the figures of a mask that are print.
func (f *face) printIn(mask []bool) ([]figure, error) {
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
func (f *face) onePrint(a, b *figure) bool {
	return math.Min(a.thick, b.thick) >= printThinner*math.Max(a.thick, b.thick) && a.gapTo(&b.shape)*f.mmPX <= printReachMM && sameInk(a.ink, b.ink)
}

// isPrint says whether a set of figures is larger than what falls into lacquer, and
// no part of a pattern: strong pixels are there in all, other in the largest region that is no figure.
func (f *face) isPrint(all []figure, set []int, strong, other int) bool {
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
		b.x0, b.y0, b.x1, b.y1 = min(b.x0, g.x0), min(b.y0, g.y0), max(b.x1, g.x1), max(b.y1, g.y1)
	}
	w, h := float64(b.x1-b.x0+1), float64(b.y1-b.y0+1)
	large := one || strokes >= printPieces && max(w, h)*f.mmPX >= printLongMM && min(w, h)*f.mmPX >= printAcrossMM
	return large && w*h <= printConfined*f.surf.area &&
		(float64(area) >= printMost*float64(strong) || one && float64(most) >= printLarger*float64(other))
}

// figureOf measures a region and says whether it has one ink, a sharp edge, and a
// thickness that no fibre has.
func (f *face) figureOf(pixels []int) (figure, bool, error) {
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
				v = append(v, float64((ch.smooth.V[i]-ch.base.V[i])/max(ch.base.V[i], paintAtLeast)))
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
func (f *face) sharp(g *figure) (bool, error) {
	near, far := printBlurs*f.blurPX()*float64(f.shape)/float64(f.factor), 1.0
	near, far = near-far/2, near+far/2
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
func (f *face) boxAround(g *figure, margin int) (x0, y0, w, h int) {
	x0, y0 = max(0, g.x0-margin), max(0, g.y0-margin)
	return x0, y0, min(f.surf.w, g.x1+margin+1) - x0, min(f.surf.h, g.y1+margin+1) - y0
}

// share is how far from the ground to a figure's ink a pixel lies, and how far off that line, both
// over the ink's change of light.
func (f *face) share(i int, g *figure, ink []float64) (t, off float64) {
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

// drawFigure marks the pixels of a figure, from a share of its ink's light on, and of what lies on it; what is
// thin against it, a fibre that touches it, is not it.
func (f *face) drawFigure(g *figure, from float64, in []uint8) error {
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
func (f *face) fillOn(of []uint8, share []float64, w, h int) {
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

// tellPrint says where print was found, figures beside each other as one.
func (f *face) tellPrint(found []figure) {
	for _, set := range connected(len(found), func(i, j int) bool { return found[i].gapTo(&found[j].shape)*f.mmPX <= printReachMM }) {
		b := found[set[0]].shape
		for _, k := range set {
			s := found[k].shape
			b.x0, b.y0, b.x1, b.y1 = min(b.x0, s.x0), min(b.y0, s.y0), max(b.x1, s.x1), max(b.y1, s.y1)
		}
		at := func(v, off int) float64 { return (float64(v+off)+0.5)*float64(f.factor) - 0.5 }
		f.told = append(f.told, fmt.Sprintf("%s: a figure of %.1f x %.1f mm at %.0f, %.0f is taken for the faceplate's own print; if it has none, look there",
			f.scene[0].Shot.File, float64(b.x1-b.x0+1)*f.mmPX, float64(b.y1-b.y0+1)*f.mmPX, at((b.x0+b.x1)/2, f.surf.x0), at((b.y0+b.y1)/2, f.surf.y0)))
	}
}
