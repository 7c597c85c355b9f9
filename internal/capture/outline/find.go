package outline

import (
	"fmt"
	"math"
	"slices"

	"finishbench/internal/lang"

	"finishbench/internal/part"
)

// ErrNoUnit says that nothing in the picture stands out from its background,
// or nothing but a holder.
var ErrNoUnit = lang.Error(part.Say("outline.no_unit"))

// Sides says which sides of the frame something touches.
type Sides struct{ Top, Right, Bottom, Left bool }

// Any reports whether any side is touched.
func (s Sides) Any() bool { return s.Top || s.Right || s.Bottom || s.Left }

// Silhouette is the rough shape of the unit in a picture. Places are in
// full-resolution pixels, good to about half of Step.
type Silhouette struct {
	Step     int          // pixels per sample, each way
	Bright   bool         // the background is brighter than most of the unit
	Box      part.Box     // around the unit, holder left out
	Area     float64      // of the unit, in square pixels, holes filled
	Boundary []part.Point // of the unit, closed (last point joins the first), clockwise as seen, about one point per sample
	Touches  Sides        // sides of the frame that the unit itself touches
	Holder   part.Box     // around the holder; all zero where none was seen
	HasStem  bool         // a holder was told from the unit
	Apart    int          // of them, those that lie wholly left or right of the unit: what lies under a clear shell's faceplate is its own
	Pieces   int          // units in the picture: pieces at least a quarter as large as the largest and of like contrast
	Contrast float64      // median difference of the unit from the background, levels 0..255
	Noise    float64      // scatter of the background's samples about its surface, levels 0..255

	w, h int
	out  []uint8 // 1: not background
	lab  []int32 // objects; holders have -1
	id   int32   // the unit's
	d    []uint8
	t0   uint8
	bg   *background
	t    *thinned
}

// Size is the number of samples each way. Sample (i,j) is centred at
// i*Step + (Step-1)/2, the same for j.
func (s *Silhouette) Size() (w, h int) { return s.w, s.h }

// What a sample shows.
type Kind uint8

// The kinds of sample.
const (
	Background Kind = iota
	Unit
	Holder
	Other // another piece: a second unit, or dirt on the panel
)

// At says what sample (i,j) shows; it must lie inside.
func (s *Silhouette) At(i, j int) Kind {
	switch l := s.lab[j*s.w+i]; {
	case l == 0:
		return Background
	case l == s.id:
		return Unit
	case l < 0:
		return Holder
	}
	return Other
}

// Difference is how far sample (i,j) is from the background there, in levels
// 0..255, the largest over the channels.
func (s *Silhouette) Difference(i, j int) float64 { return float64(s.d[j*s.w+i]) }

// Level is the fitted background's brightest channel at sample (i,j), 0..255.
func (s *Silhouette) Level(i, j int) float64 {
	x, y := unitCoord(i, s.w), unitCoord(j, s.h)
	v := 0.0
	for c := range s.t.c {
		v = max(v, s.bg.of[c].at(x, y))
	}
	return min(v, 255)
}

// Brightest is the brightest channel of sample (i,j), 0..255.
func (s *Silhouette) Brightest(i, j int) uint8 {
	p := (j*s.w + i) * s.t.c
	if s.t.c == 1 {
		return s.t.v[p]
	}
	return max(s.t.v[p], s.t.v[p+1], s.t.v[p+2])
}

func (s *Silhouette) centre(i float64) float64 { return s.t.centre(i) }

// Find looks for the unit in a picture of any size from 16 pixels a side. The
// background may be bright or dark, and may change smoothly across the frame.
// Samples are taken as the file holds them.
//
// Errors: the image is not valid; or [ErrNoUnit], with a silhouette that still
// tells the background.
func Find(im *part.Image) (*Silhouette, error) {
	if err := im.Validate(); err != nil {
		return nil, err
	}
	if im.W < 16 || im.H < 16 {
		return nil, fmt.Errorf("outline: a picture of %d x %d pixels is too small", im.W, im.H)
	}
	t := thin(im)
	s := &Silhouette{Step: t.step, w: t.w, h: t.h, t: t, lab: make([]int32, t.w*t.h)}
	s.bg = frameBackground(t)
	// Look roughly, then fit the background to what is seen of it all around the
	// unit, and look again.
	half := t.half()
	_, out, _ := segment(half, s.bg, s.lab)
	if places := backgroundPlaces(out, half.w, half.h, t.w); len(places) > 200 {
		s.bg = fitBackground(t, places, s.bg)
	}
	s.d, s.out, s.t0 = segment(t, s.bg, s.lab)
	s.Noise = s.bg.noise
	if !s.choose() {
		return s, ErrNoUnit
	}
	s.Boundary = s.trace(s.id, s.d, s.t0)
	s.Area = Area(s.Boundary)
	s.Box = part.BoundsOf(s.Boundary)
	return s, nil
}

// faint is the difference from the background, in levels, that is enough in any
// picture: a white wall before a lit panel differs by little more. Common
// practice, no source.
const faint = 14

// segment finds what is not background. The threshold is a quarter of the
// usual difference of what stands out, at most faint, well above the noise.
func segment(t *thinned, bg *background, lab []int32) (d []uint8, out []uint8, t0 uint8) {
	d = bg.differences(t)
	floor := uint8(min(max(4, 6*bg.noise), 60))
	var hist [256]int
	n := 0
	for _, v := range d {
		if v > floor {
			hist[v]++
			n++
		}
	}
	usual, seen := 0, 0
	for v := 255; v >= 0; v-- {
		if seen += hist[v]; seen > n/4 {
			usual = v
			break
		}
	}
	t0 = max(floor, uint8(min(usual/4, faint)))
	return d, notReached(lab[:t.w*t.h], d, t.w, t.h, t0), t0
}

// backgroundPlaces lists background samples of a mask of half the size (w x h),
// two or more away from anything else, one in nine, as places in the full one
// (fullW wide).
func backgroundPlaces(out []uint8, w, h, fullW int) []int {
	var places []int
	for j := 2; j < h-2; j += 3 {
		for i := 2; i < w-2; i += 3 {
			p := j*w + i
			if out[p]|out[p-2]|out[p+2]|out[p-2*w]|out[p+2*w] == 0 {
				places = append(places, 2*j*fullW+2*i)
			}
		}
	}
	return places
}

// choose takes holders off, and tells the unit from other pieces.
func (s *Silhouette) choose() bool {
	held := make([]bool, len(s.out))
	objs := label(s.lab, s.out, s.w, s.h, true)
	for _, o := range objs {
		if o.area < s.w*s.h/2000 {
			continue
		}
		s.takeHolders(o, held)
	}
	s.HasStem = slices.Contains(held, true)
	if s.HasStem {
		s.Holder = s.holderBox(held)
		mask := slices.Clone(s.out)
		for p, yes := range held {
			if yes {
				mask[p] = 0
			}
		}
		objs = label(s.lab, mask, s.w, s.h, true)
	}
	best := -1
	for i := range objs {
		objs[i].contrast = s.contrast(objs[i])
		// Area and contrast together: a wide faint blotch on the panel is no unit.
		if best < 0 || weight(objs[i]) > weight(objs[best]) {
			best = i
		}
	}
	if s.HasStem {
		for p, yes := range held {
			if yes {
				s.lab[p] = -1
			}
		}
	}
	if best < 0 || objs[best].area < max(25, s.w*s.h/400) {
		return false
	}
	u := objs[best]
	s.id, s.Contrast = u.label, u.contrast
	for _, o := range objs {
		if 4*o.area >= u.area && o.contrast >= 0.4*u.contrast && !thinStrip(o, s.w, s.h) {
			s.Pieces++
			if o.x1 < u.x0 || o.x0 > u.x1 {
				s.Apart++
			}
		}
	}
	s.Touches = Sides{Top: u.y0 == 0, Right: u.x1 == s.w-1, Bottom: u.y1 == s.h-1, Left: u.x0 == 0}
	s.Bright = s.brighter(u)
	return true
}

func weight(o object) float64 { return float64(o.area) * o.contrast }

// thinStrip reports a piece that hugs one side of the frame: a panel's border
// in view rather than a unit.
func thinStrip(o object, w, h int) bool {
	bw, bh := o.x1-o.x0+1, o.y1-o.y0+1
	return (o.x0 == 0 || o.x1 == w-1) && bw < w/8 && bh > 3*bw || (o.y0 == 0 || o.y1 == h-1) && bh < h/8 && bw > 3*bh
}

// takeHolders marks an object's stems as held.
func (s *Silhouette) takeHolders(o object, held []bool) {
	touch := [4]bool{o.y0 == 0, o.x1 == s.w-1, o.y1 == s.h-1, o.x0 == 0}
	for side, yes := range touch {
		if !yes {
			continue
		}
		n, _ := stemLength(s.lab, s.w, s.h, o.label, edgeOf(side))
		for k := range n {
			switch edgeOf(side) {
			case top, bottom:
				y := k
				if edgeOf(side) == bottom {
					y = s.h - 1 - k
				}
				for x := range s.w {
					held[y*s.w+x] = held[y*s.w+x] || s.lab[y*s.w+x] == o.label
				}
			default:
				x := k
				if edgeOf(side) == right {
					x = s.w - 1 - k
				}
				for y := range s.h {
					held[y*s.w+x] = held[y*s.w+x] || s.lab[y*s.w+x] == o.label
				}
			}
		}
	}
}

// holderBox is the box around all that is held, in full-resolution pixels.
func (s *Silhouette) holderBox(held []bool) part.Box {
	x0, y0, x1, y1 := s.w, s.h, -1, -1
	for y := range s.h {
		row := held[y*s.w : (y+1)*s.w]
		from := slices.Index(row, true)
		if from < 0 {
			continue
		}
		to := s.w - 1
		for !row[to] {
			to--
		}
		x0, x1, y0, y1 = min(x0, from), max(x1, to), min(y0, y), y
	}
	st := float64(s.Step)
	return part.Box{float64(x0)*st - 0.5, float64(y0)*st - 0.5, float64(x1-x0+1) * st, float64(y1-y0+1) * st}
}

// contrast is the median difference from the background over an object.
func (s *Silhouette) contrast(o object) float64 {
	var hist [256]int
	n := 0
	for y := o.y0; y <= o.y1; y++ {
		for x := o.x0; x <= o.x1; x++ {
			if s.lab[y*s.w+x] == o.label {
				hist[s.d[y*s.w+x]]++
				n++
			}
		}
	}
	seen := 0
	for v, k := range hist {
		if seen += k; seen > n/2 {
			return float64(v)
		}
	}
	return math.NaN()
}

// brighter reports whether the background is brighter than most of the object,
// by one sample in nine.
func (s *Silhouette) brighter(o object) bool {
	below, n := 0, 0
	for y := o.y0; y <= o.y1; y += 3 {
		for x := o.x0; x <= o.x1; x += 3 {
			if s.lab[y*s.w+x] != o.label {
				continue
			}
			n++
			if float64(s.Brightest(x, y)) < s.Level(x, y) {
				below++
			}
		}
	}
	return 2*below > n
}
