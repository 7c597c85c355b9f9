package scene

import (
	"errors"
	"math"
	"math/bits"

	"finishbench/internal/defects/raster"
	"finishbench/internal/defects/shape"
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
	printAlike    = 3.5  // by less than this factor more of its light in one than in the other (a dome mirrored in the ground adds to it),
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

// inkAt fills in the relative change of light at a search pixel, per channel, 0 in
// pictures that are not open there.
func (f *Face) inkAt(i int, ink []float64) {
	for c, ch := range f.Channels {
		if ink[c] = 0; f.Open[i]>>ch.Pic&1 == 1 {
			ink[c] = ch.Change(i)
		}
	}
}

// alike is by how much the light changes at a pixel, up or down, where it does so in
// every picture in which the pixel is open, and in all of them alike; else 0.
func (f *Face) alike(i int, ink, least []float64, planes [][]int) float64 {
	var first []int
	var size0, sum float64
	for pic := range f.Pictures {
		if f.Open[i]>>pic&1 == 0 {
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
				u, v := ink[first[k]]*f.Channels[first[k]].Level, ink[own[k]]*f.Channels[own[k]].Level
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
func (f *Face) leavePrint() error {
	in, solid, err := f.findPrint()
	if err != nil || in == nil {
		return err
	}
	w, h := f.Surface.W, f.Surface.H
	_, outer, err := raster.Distances(in, w, h)
	if err != nil {
		return err
	}
	inner, err := raster.Distance(solid, w, h)
	if err != nil {
		return err
	}
	blur, more := f.BlurPX()*float64(f.ShapeFactor)/float64(f.Factor), printMorePX/float64(f.Factor)
	beyond := float32(printReach*blur + more)
	within := float32((printReach-raster.EdgeOut(1-printSolid))*blur + more) // from where it is solid
	core, ground := make([]bool, w*h), make([]bool, w*h)
	closeAll := func(i int) {
		for pic := range f.Pictures {
			f.Exclude(pic, i, part.Print)
		}
	}
	for i := range in {
		switch {
		case f.Surface.Dist.V[i] <= 0:
		case inner.V[i] > within:
			core[i] = true
		case in[i] == 1 || outer.V[i] <= beyond:
			closeAll(i)
		default:
			ground[i] = f.Open[i] != 0
		}
	}
	for _, pixels := range raster.Regions(ground, w, h) { // slits between strokes hold light of both
		if float64(len(pixels))*f.MMPX*f.MMPX < LeastViewMM2 {
			for _, i := range pixels {
				closeAll(i)
			}
		}
	}
	for _, pixels := range raster.Regions(core, w, h) {
		deepest := float32(0)
		for _, i := range pixels {
			deepest = max(deepest, inner.V[i])
		}
		if 2*float64(deepest-within)*f.MMPX < printWideMM {
			for _, i := range pixels {
				core[i] = false
				closeAll(i)
			}
		}
	}
	for pic := range f.Pictures {
		if err := f.baseInside(pic, core, false); err != nil {
			return err
		}
		f.evenNoise(pic, core)
	}
	return nil
}

// findPrint returns masks of what is print, out to the middle of its edge and where
// it is solid, nil where there is none, and tells of it.
func (f *Face) findPrint() (in, solid []uint8, err error) {
	w, h := f.Surface.W, f.Surface.H
	least := make([]float64, len(f.Channels))
	for c := range f.Channels {
		ch := &f.Channels[c]
		var noise float64
		noise, ch.Level = f.ChannelNoise(*ch)
		least[c] = printNoise * noise / math.Max(ch.Level, PaintAtLeast)
	}
	planes := make([][]int, len(f.Pictures))
	for pic := range planes {
		planes[pic] = f.ChannelsOf(pic)
	}
	light := make([]float32, w*h)
	ink := make([]float64, len(f.Channels))
	for i, d := range f.Surface.Dist.V {
		if n := bits.OnesCount8(f.Open[i]); d > 0 && n >= min(2, len(f.Pictures)) { // one light alone may mirror a lamp
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

// tellPrint says where print was found, figures beside each other as one.
func (f *Face) tellPrint(found []figure) {
	for _, set := range shape.Connected(len(found), func(i, j int) bool { return found[i].GapTo(&found[j].Shape)*f.MMPX <= printReachMM }) {
		b := found[set[0]].Shape
		for _, k := range set {
			b.Cover(&found[k].Shape)
		}
		f.Warnings = append(f.Warnings, part.Say("defects.print", "width_mm", part.Fixed(float64(b.X1-b.X0+1)*f.MMPX, 1),
			"height_mm", part.Fixed(float64(b.Y1-b.Y0+1)*f.MMPX, 1), "surface", f.Name()).With("place", f.Whereabouts(b)))
	}
}
