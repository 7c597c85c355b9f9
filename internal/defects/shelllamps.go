package defects

import (
	"math"
	"slices"

	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// A shell mirrors two things that a face's rules on lamps do not know. Where it faces the camera it mirrors the opening
// through which that looks: a dark spot in the light of a dome, as small as the shell is strongly curved, and nothing under low lamps.
// And a lamp's image that the seam cuts off is narrower than any on a face, but goes on over the seam: lacquer's
// slopes end there or change.

// How they are told (common practice, no source).
const (
	faceCameraDeg = 12.0 // the surface faces the camera within this: half the opening's angle, the view's perspective, the shape's doubt
	openingOther  = 0.2  // and other lights change by less than this share of what the opening takes away there,
	openingFaint  = 3.0  // or by less than so many times the noise
	overFromMM    = 0.15 // a lamp's image that goes on is seen on the faceplate's edge from this above the seam
	overToMM      = 0.5  // to this,
	overShare     = 0.3  // this share of its own light at least
	lampThickMM   = 0.4  // a lamp's faint image is at least this wide throughout,
	lampFill      = 0.8  // and fills so much of the box along its axes
	besideMM      = 0.12 // beside a lamp's edge unevenness is told in bands of this,
	besideBands   = 3    // so many: a JPEG's colour blocks and a lens's halo reach as far
)

// withoutOpening leaves out lamps, and the camera's opening, mirrored, of what one view shows: of what is dark under a dome alone where
// the shell faces the camera, the strongest place, as a camera has one. What they cover was not looked at, and own is cleared there.
func (f *face) withoutOpening(sub *face, v view, own []bool, places []*place) []*place {
	if f.p.Shell == nil {
		return places
	}
	places = slices.DeleteFunc(places, func(p *place) bool {
		lamp := sub.isLamp(p)
		for _, i := range p.found {
			if lamp {
				own[i] = false
				f.close(v.pics[slices.Index(p.contrast, slices.Max(p.contrast))], i, part.Mirrored)
			}
		}
		return lamp
	})
	best, dark := -1, 0
	for k, p := range places {
		if pic, ok := sub.mayBeOpening(p); ok && (best < 0 || p.peak > places[best].peak) {
			best, dark = k, pic
		}
	}
	if best < 0 {
		return places
	}
	for _, i := range places[best].found {
		own[i] = false
		f.close(v.pics[dark], i, part.Mirrored)
	}
	return slices.Delete(places, best, best+1)
}

// isLamp says whether a place is a lamp that the shell itself mirrors. A fault's slopes turn within less than the shell does, and mirror
// lamps smaller: what is bright in one light alone, wide, full, and lies not down as a run does is no fault.
func (f *face) isLamp(p *place) bool {
	long, across := p.all.long*f.shapeMM(), p.all.across*f.shapeMM()
	if p.all.fill() >= lampFill && p.all.thick*f.shapeMM() >= lampThickMM && p.brightInOneLight() {
		return true // faint, but flat
	}
	return long >= runMinMM && across >= slopeWideMM && !f.runsDown(p) && !f.isHollow(p) &&
		slices.Max(p.contrast) >= slopeSharp && f.isSlope(p)
}

// mayBeOpening says in which picture a place is dark, where that is one under a wide light, no other shows it, and the shell faces the
// camera.
func (f *face) mayBeOpening(p *place) (pic int, ok bool) {
	c := f.boxOf(float64(p.all.x0), float64(p.all.y0), float64(p.all.x1), float64(p.all.y1)).Centre()
	if at, on := f.p.Shell.Place(c.X, c.Y); !on || at.Slope() > faceCameraDeg || f.isLine(p) { // the opening is round
		return 0, false
	}
	pic = -1
	for k, v := range p.contrast {
		if v < 0 && f.scene[k].Shot.Light != part.Raking && (pic < 0 || v < p.contrast[pic]) {
			pic = k
		}
	}
	for k, v := range p.contrast {
		if pic >= 0 && k != pic && math.Abs(v) > -openingOther*p.contrast[pic] && p.strength[k] > openingFaint {
			return 0, false
		}
	}
	return pic, pic >= 0
}

// goesOver says whether what a picture mirrors beside the seam goes on over it: the faceplate's edge above the same columns is brighter,
// by this picture's light and not by its pattern, than beside them.
func (f *face) goesOver(pic int, pixels []int, height float32) bool {
	sh := f.p.Shell
	if sh == nil {
		return false
	}
	w := f.surf.w
	b := boundsOfPixels(pixels, w)
	atSeam := 0
	for x := b[0]; x <= b[2]; x++ { // the columns in which nothing of the region lies above
		if i := b[1]*w + x; f.surf.dist.V[i] < float32(overFromMM/f.mmPX) {
			atSeam++
		}
	}
	if 2*atSeam < b[2]-b[0]+1 {
		return false
	}
	wide := b[2] - b[0] + 1
	x0 := b[0] + f.surf.x0
	dx := (float64(x0)+float64(wide)/2)*float64(f.factor) - 0.5 - sh.MiddleX
	seamY := sh.SeamY + sh.Roll*dx + sh.Bow*math.Sqrt(max(0, 1-dx*dx/(sh.HalfPX*sh.HalfPX))) // body.View
	y0 := int((seamY - overToMM/f.p.MMPerPX) / float64(f.factor))
	h := int((overToMM - overFromMM) / f.mmPX)
	im := f.scene[pic].Image
	if y0 < 0 || h < 2 || x0-wide < 0 || (x0+2*wide)*f.factor >= im.W || (y0+h)*f.factor >= im.H {
		return false
	}
	light := func(pic int) (in, beside float64) {
		for c := range f.scene[pic].Image.C {
			p := f.scene[pic].plane(c, f.factor, x0-wide, y0, 3*wide, h)
			var on, off []float64
			for i, v := range p.V {
				switch x := i % p.W; {
				case x >= wide && x < 2*wide:
					on = append(on, float64(v))
				case x < wide*3/4 || x >= wide*9/4:
					off = append(off, float64(v))
				}
			}
			in, beside = in+median(on)/float64(im.C), beside+median(off)/float64(im.C)
		}
		return in, beside
	}
	in, beside := light(pic)
	foretold := 1.0
	for other := range f.scene {
		if other != pic {
			a, b := light(other)
			foretold = (a + paintAtLeast) / (b + paintAtLeast)
			break
		}
	}
	return in-foretold*beside > overShare*float64(height)
}

// setBesideLamps tells how far off the edges of lamps' images lie, in the pictures of a view.
func (f *face) setBesideLamps(whole *face, v view) (err error) {
	f.beside = nil
	if f.p.Shell == nil {
		return nil
	}
	in, any := make([]uint8, len(whole.open)), false
	for i := range in {
		in[i] = 1
	}
	for _, pic := range v.pics {
		for i, why := range whole.why[pic] {
			if why == part.Mirrored {
				in[i], any = 0, true
			}
		}
	}
	if any {
		f.beside, err = newDistance(in, f.surf.w, f.surf.h)
	}
	return err
}

// tameBesideLamps scales a map of responses down, in place, beside the edges of lamps' images, where what
// reaches out of these (a JPEG's coding, a lens's halo, waves) makes it reach higher than elsewhere: the law of extremes, over cells
// along all edges, as in the rim. It returns the factor of each band; nil where there are no edges, or too short ones to tell. The map's
// pixels are down search pixels wide.
func (f *face) tameBesideLamps(chi *part.Plane, down int) []float32 {
	if f.beside == nil {
		return nil
	}
	g := newCellGrid(chi.W, chi.H, max(4, int(calmMM/f.mmPX/float64(down)+0.5)))
	top, n := make([][]float64, besideBands+1), make([][]int, besideBands+1) // the last: far from any
	for b := range top {
		top[b], n[b] = make([]float64, g.nx*g.ny), make([]int, g.nx*g.ny)
	}
	band := besideMM / f.mmPX
	for y := range chi.H {
		for x := range chi.W {
			i := y*down*f.surf.w + x*down
			if f.surf.dist.V[i] <= 0 {
				continue
			}
			b := min(besideBands, int(float64(f.beside.V[i])/band))
			c := y/g.cell*g.nx + x/g.cell
			top[b][c] = max(top[b][c], float64(abs32(chi.V[y*chi.W+x])))
			n[b][c]++
		}
	}
	// A band fills about this share of a cell that an edge crosses; cells far from any are whole.
	share := besideMM / calmMM / 2
	limit := func(b int) (float64, bool) {
		least := int(share * float64(g.cell*g.cell))
		var m []float64
		for c, v := range top[b] {
			if n[b][c] >= least {
				m = append(m, v)
			}
		}
		if len(m) < fewCells {
			return 0, false
		}
		return robust.GumbelLimit(m, f.p.FalsePerFace, false), true
	}
	far, ok := limit(besideBands)
	if !ok {
		return nil
	}
	out := make([]float32, besideBands)
	for b := range out {
		out[b] = 1
		if own, ok := limit(b); ok && own > far {
			out[b] = float32(far / own)
		}
	}
	for y := range chi.H {
		for x := range chi.W {
			chi.V[y*chi.W+x] *= f.tamedBeside(out, y*down*f.surf.w+x*down)
		}
	}
	return out
}

// tamedBeside is the factor of a search pixel beside lamps' images.
func (f *face) tamedBeside(bands []float32, i int) float32 {
	if bands == nil {
		return 1
	}
	at := float64(f.beside.V[i])*f.mmPX/besideMM - 0.5
	k := int(max(0, at))
	u := float32(max(0, at) - float64(k))
	of := func(k int) float32 {
		if k >= besideBands {
			return 1
		}
		return bands[k]
	}
	return of(k)*(1-u) + of(k+1)*u
}
