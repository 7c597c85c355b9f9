package defects

import (
	"fmt"
	"math"
	"slices"

	"finishbench/internal/part"
)

// peel is what lamps' edges say of a faceplate's waves.
type peel struct {
	asked bool // there is a faceplate under lamps
	edges edgeWaves
	pic   int // that shows most
}

// flakeMostMM is the size up to which what shines in one light alone is flakes; larger, it is islands of a
// lamp's image. lampHalf is the share of a lamp's light at which its edge runs, and lampClear by how many
// times its light has to go over what is told from the paint, which is so many times what is left of
// the paint itself (common practice, no source).
const (
	flakeMostMM = 0.4
	lampHalf    = 0.5
	lampClear   = 2.0
	lampRest    = 3.0
	islandMM    = 0.5  // a cut off piece lies so near to the rest,
	islandElse  = 0.25 // and shows in other lights by less than this share
)

// judgePeel looks at the edges of what is mirrored in the faceplate, away from its rim. The bases
// are those of the face without lamps.
func (f *sceneFace) judgePeel() error {
	f.peel = peel{}
	if f.surf.all || f.p.Lit != nil { // a screen shows waves themselves
		return nil
	}
	f.peel.asked = true
	if f.clear { // the edges of what shows through cannot be told from those of lamps
		return nil
	}
	most := -1.0
	for pic := range f.scene {
		planes := f.planesOf(pic)
		if len(planes) == 0 || f.channels[planes[0]].twin == nil && !f.plainPaint(planes) {
			continue // veins cannot be told from lamps
		}
		var weak *part.Plane
		var err error
		if f.weak != nil {
			weak = f.weak[pic]
		} else if weak, _, err = f.beyondPaint(pic); err != nil {
			return err
		}
		if err := f.levelled(weak); err != nil {
			return err
		}
		var of edgeWaves
		for _, sign := range []float32{1, -1} {
			of = of.plus(f.mirroredIn(pic, weak, sign).edges())
		}
		if of.lengthMM > most {
			most, f.peel.pic = of.lengthMM, pic
		}
		f.peel.edges = f.peel.edges.plus(of)
	}
	return nil
}

// levelled takes a smooth surface off a plane, in place: a lamp among veins lifts the bases, which
// hold both, more than what is left without the veins.
func (f *sceneFace) levelled(weak *part.Plane) error {
	level, err := f.grid.newSpread(f.smoothLight(f.grid.medians(weak, f.surf.dist, f.deep())), f.surf.w, f.surf.h)
	if err != nil {
		return err
	}
	for i := range weak.V {
		weak.V[i] -= level.V[i]
	}
	return nil
}

// mirroredIn is what goes beyond the paint in one picture, upwards or downwards, each
// connected piece over half of its own light.
func (f *sceneFace) mirroredIn(pic int, weak *part.Plane, sign float32) lampEdges {
	w, h := f.surf.w, f.surf.h
	v := f.offMedian(weak)
	// Islands may take half of the face: its quieter part tells what is left of the paint (a normal law's
	// quartile of |deviations| is 0.3186 of its standard deviation), and neighbours tell the noise.
	noise, _ := f.channelNoise(channel{pic: pic, smooth: weak})
	limit := float32(max(lampLight, lampNoise*noise, lampRest*quantile(v, 0.25)/0.3186))
	m := lampEdges{light: part.NewPlane(w, h), blurPX: math.Hypot(lampSoftMM, f.blurPX()*f.shapeMM()) / f.mmPX}
	mask := make([]bool, w*h)
	for i, x := range weak.V {
		mask[i] = sign*x > limit && f.surf.dist.V[i] > 0
	}
	unit := float32(0)
	for _, pixels := range regionsOf(mask, w, h) {
		l := make([]float64, 0, len(pixels))
		for _, i := range pixels {
			l = append(l, float64(sign*weak.V[i]))
		}
		height := float32(quantile(l, 0.8))
		if height < lampClear*limit {
			continue
		}
		unit = max(unit, height)
		for _, i := range pixels {
			m.light.V[i] = sign * weak.V[i] / (lampHalf * height)
		}
		m.around(weak, pixels, sign/(lampHalf*height))
	}
	deep := f.deep()
	m.judged = func(i int) bool { return f.surf.dist.V[i] > deep }
	m.onMM = func(x, y float64) (float64, float64) { return x * f.mmPX, y * f.mmPX }
	if unit > 0 {
		m.paint = f.foretold(pic, 1/(lampHalf*unit))
	}
	return m
}

// around gives the pixels next to a piece their light, too, so that its edge lies between pixels.
func (m lampEdges) around(weak *part.Plane, pixels []int, k float32) {
	for _, i := range pixels {
		for _, j := range [4]int{i - 1, i + 1, i - weak.W, i + weak.W} {
			if j >= 0 && j < len(weak.V) && m.light.V[j] == 0 {
				m.light.V[j] = min(k*weak.V[j], 0.99)
			}
		}
	}
}

// foretold is what the other picture says of a picture's paint, times k; nil where there is none.
func (f *sceneFace) foretold(pic int, k float32) *part.Plane {
	planes := f.planesOf(pic)
	if len(planes) == 0 || f.channels[planes[0]].twin == nil {
		return nil
	}
	ch := f.channels[planes[0]]
	to := ch.paint.slope
	if to == 0 {
		to = ch.paint.ratio
	}
	out := part.NewPlane(f.surf.w, f.surf.h)
	for i, v := range ch.twin.smooth.V {
		out.V[i] = k * to * v
	}
	return out
}

// tellPeel adds orange peel to what was found, or says that there was nothing to judge it by.
func (f *face) tellPeel(out *Result) {
	e := f.peel.edges
	switch {
	case !f.peel.asked:
	case f.clear:
		out.Warnings = append(out.Warnings, "orange peel was not looked for: the edges of what shows through the shell cannot be told from those of mirrored lamps")
	case f.sparkles && f.flakeMM <= flakeMostMM:
		out.Warnings = append(out.Warnings, "orange peel was not looked for: "+
			"flakes break the edges of mirrored lamps; look at it before a screen")
	case !e.told():
		out.Warnings = append(out.Warnings, fmt.Sprintf("orange peel was not looked for: %s of a lamp's edge is mirrored away from the rim, "+
			"and %.0f mm are needed; set a lamp or a window so that its edge is mirrored on the %s",
			lengthWords(e.lengthMM), wavesLeastMM, f.name()))
	case e.waves():
		out.Findings = append(slices.DeleteFunc(out.Findings, f.isIsland), f.peelFinding())
	}
}

// isIsland says whether a finding is a piece of a lamp's image that waves have cut off: beside
// wavy edges, and next to nothing in other lights.
func (f *face) isIsland(fd part.Finding) bool {
	name := func(pic int) string { return "contrast_" + string(f.scene[pic].Shot.Light) }
	own, ok := fd.Features[name(f.peel.pic)]
	for pic := range f.scene {
		if c := fd.Features[name(pic)]; pic != f.peel.pic && math.Abs(c) > islandElse*math.Abs(own) {
			return false
		}
	}
	near := fd.Box.Grow(islandMM / f.p.MMPerPX)
	return ok && fd.Image == f.scene[f.peel.pic].Shot.File && slices.ContainsFunc(f.peel.edges.wavy, func(q part.Point) bool {
		return near.Meets(f.boxIn(f.peel.pic, f.searchBox(part.Box{q.X - 0.5, q.Y - 0.5, 1, 1})))
	})
}

func lengthWords(mm float64) string {
	if mm < 0.1 {
		return "nothing"
	}
	return fmt.Sprintf("%.1f mm", mm)
}

// peelFinding is the face's orange peel: as large as the square millimetres in which edges wave.
func (f *face) peelFinding() part.Finding {
	e := f.peel.edges
	cells := map[[2]int]bool{}
	for _, q := range e.wavy {
		cells[[2]int{int(q.X * f.mmPX), int(q.Y * f.mmPX)}] = true
	}
	perMM := float64(e.bends) / e.lengthMM
	rms, mainMM := e.rmsMM()
	b := part.BoundsOf(e.wavy)
	out := part.Finding{
		Image: f.scene[f.peel.pic].Shot.File, Kind: part.OrangePeel, Zone: f.zoneOfAll(),
		AreaMM2:    part.Num(float64(len(cells))),
		Confidence: math.Round(100*sure(3*(perMM/wavesPerMM-0.7))) / 100,
		Features: map[string]float64{
			"edge_length_mm": round3(e.lengthMM), "edge_bends_per_mm": round3(perMM), "edge_strays_mm": round3(rms), "wave_mm": round3(mainMM),
		},
	}
	out.Box = f.boxIn(f.peel.pic, f.searchBox(b))
	return out
}

// searchBox is a box of search pixels in full-resolution pixels of the scene's first picture.
func (f *face) searchBox(b part.Box) part.Box {
	k := float64(f.factor)
	return part.Box{(b[0]+float64(f.surf.x0)+0.5)*k - 0.5, (b[1]+float64(f.surf.y0)+0.5)*k - 0.5, b[2] * k, b[3] * k}
}
