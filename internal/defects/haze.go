package defects

import (
	"fmt"
	"math"
	"slices"

	"finishbench/internal/defects/raster"
	"finishbench/internal/defects/scene"
	"finishbench/internal/defects/search"
	"finishbench/internal/defects/shape"
	"finishbench/internal/part"
)

// Haze scatters: the ground turns paler in every light, what is mirrored loses contrast, and
// nothing has an edge. The search takes off the local mean, which a large soft patch hardly
// rises above; so it is sought in the light over the face's base, smoothed widely, on
// paint without a pattern.

// Lengths in millimetres, light relative to the ground's (common practice, no source).
const (
	hazeMinMM    = 0.6  // haze is at least this large,
	hazeMostMM   = 6.0  // and at most this: what is wider is the light
	hazeFadeMM   = 0.09 // its light falls from three quarters to a quarter over at least this,
	hazeBlurs    = 3.0  // and so many times what the blur alone makes of a sharp edge
	hazeLostBy   = 0.5  // of the light it adds in one picture, at most so much is lost in another
	hazeSoftMM   = 0.2  // smoothing before it is sought,
	hazeSpread   = 7.0  // over which it stands out by so many times the spread of that light,
	hazeTail     = 5.0  // and so many times as far as 2 % of the face are darker: a pattern too fine to be told goes both ways
	hazeInEach   = 2.0  // and by this in each of two pictures, which a lamp's soft image does not
	hazeLight    = 0.02 // and adds at least this much
	hazeCompact  = 0.55 // share of its box that it fills
	hazeReachMM  = 0.8  // to either side of its edge
	hazeGrain    = 2.5  // it is at most so many times as uneven in itself as the face: scratches and flakes are more
	glintMM      = 0.06 // on a shell: what is narrower than twice this is a glint
	edgeSeen     = 3.0  // an edge is told where the light changes by so many times the noise
	hazeOverlaps = 0.5  // what lies in it and has this share of its size is the same
)

// isHaze says whether a place that the search found is a dull patch.
func (f *face) isHaze(p *place) bool {
	if f.diameterMM(p) < hazeMinMM || p.all.Fill() < hazeCompact || p.lines > 1 || p.ringPX > 0 || !paler(p.contrast) {
		return false
	}
	return f.soft(f.fadeMM(p))
}

// paler says whether changes of light are haze's: up, or hardly down where a lamp is mirrored.
func paler(change []float64) bool {
	most := slices.Max(change)
	return most > 0 && -slices.Min(change) <= hazeLostBy*most
}

// soft says whether an edge fades over more than the blur makes of a sharp one, which falls
// from 3/4 to 1/4 over 1.349 standard deviations.
func (f *face) soft(fadeMM float64) bool {
	return fadeMM >= hazeFadeMM && fadeMM >= hazeBlurs*1.349*f.BlurPX()*f.ShapeMM()
}

// fadeMM is over how far the light of a place falls, in the picture in which it is strongest.
func (f *face) fadeMM(p *place) float64 {
	pic := slices.Index(p.strength, slices.Max(p.strength))
	w, h := p.win.W, p.win.H
	light := make([]float64, w*h)
	for i, q := range p.win.Parent {
		light[i] = math.NaN()
		if q < 0 {
			continue
		}
		light[i] = 0
		for c, ch := range f.Channels {
			if ch.Pic == pic {
				light[i] += math.Copysign(1, p.contrast[pic]) * f.Deviation(p.win, c, i)
			}
		}
	}
	core, from := make([]float64, len(p.core)), p.core[0]
	for k, i := range p.core {
		if core[k] = light[i]; light[i] > light[from] {
			from = i
		}
	}
	top := raster.Quantile(core, 0.8)
	in := regionFrom(light, top/2, from, w, h)
	return fadeOf(light, in, top, w, h, search.WindowMarginMM/f.ShapeMM()) * f.ShapeMM()
}

// regionFrom is where a value is over a level, connected with a pixel.
func regionFrom(v []float64, level float64, from, w, h int) []uint8 {
	mask := make([]bool, w*h)
	for i, x := range v {
		mask[i] = x > level
	}
	in := make([]uint8, w*h)
	for _, pixels := range raster.Regions(mask, w, h) {
		if slices.Contains(pixels, from) {
			for _, i := range pixels {
				in[i] = 1
			}
		}
	}
	return in
}

// fadeOf is over how many pixels light falls from three quarters to a quarter of top, across
// the edge of a region all around; 0 where that cannot be told. NaN counts nowhere.
func fadeOf(light []float64, in []uint8, top float64, w, h int, reachPX float64) float64 {
	inner, outer, err := raster.Distances(in, w, h)
	if err != nil || !(top > 0) {
		return 0
	}
	reach := int(reachPX)
	at := make([][]float64, 2*reach+1) // by whole pixels, from outside inwards
	for i, v := range light {
		d := float64(inner.V[i]) - 0.5
		if in[i] == 0 {
			d = 0.5 - float64(outer.V[i])
		}
		if k := int(math.Round(d)) + reach; v == v && k >= 0 && k < len(at) {
			at[k] = append(at[k], v)
		}
	}
	cross := func(share float64) float64 {
		last := math.NaN()
		for k, v := range at {
			if len(v) == 0 {
				continue
			}
			m := raster.Median(v)
			if m >= share*top {
				if last != last { // from the first on
					return float64(k)
				}
				return float64(k) - (m-share*top)/max(m-last, 1e-9)
			}
			last = m
		}
		return math.NaN()
	}
	if width := cross(0.75) - cross(0.25); width > 0 {
		return width
	}
	return 0
}

// hazeConfidence is how sure it is that a soft place is haze.
func hazeConfidence(fadeMM float64) float64 { return logistic(4 * (fadeMM/hazeFadeMM - 0.7)) }

// paleMap is by what share of the ground's light a picture is paler, by search pixel, as it is and
// smoothed; NaN where it is not looked at. spread is of the smoothed one over the face.
type paleMap struct {
	pic         int
	raw, wide   []float64
	even        []float64 // of a shell: raw without glints
	mid, spread float64
	grain       float64 // how the two differ, from pixel to pixel
	least       float64 // spreads by which haze stands out
}

// tellHaze adds the dull patches of plain paint to what was found, and takes away what the
// search made of them.
func (f *face) tellHaze(out *Result) error {
	if f.Surface.All || f.Woven || f.Sparkles {
		return nil
	}
	var maps []paleMap
	least := hazeSpread
	for pic := range f.Pictures {
		if planes := f.ChannelsOf(pic); f.PlainPaint(planes) {
			m, ok, err := f.paleIn(pic, planes)
			if err != nil {
				return err
			}
			if ok {
				maps, least = append(maps, m), max(least, m.least)
			}
		}
	}
	if len(maps) == 0 {
		return nil
	}
	w, h := f.Surface.W, f.Surface.H
	over := make([]float64, w*h) // by how many spreads all pictures together are paler
	mask := make([]bool, w*h)
	for i := range over {
		n, faintest := 0, math.Inf(1)
		for _, m := range maps {
			if v := (m.wide[i] - m.mid) / m.spread; v == v {
				over[i] += v
				faintest = min(faintest, v)
				n++
			}
		}
		if n < 2 || faintest < hazeInEach { // in one picture alone it could be a lamp's soft image
			over[i] = 0
			continue
		}
		over[i] /= math.Sqrt(float64(n))
		mask[i] = over[i] > least
	}
	for _, pixels := range raster.Regions(mask, w, h) {
		if fd, ok := f.hazeOf(pixels, over, maps); ok {
			in := func(o part.Finding) bool {
				c := o.Box.Centre()
				return c.X > fd.Box[0] && c.Y > fd.Box[1] && c.X < fd.Box[0]+fd.Box[2] && c.Y < fd.Box[1]+fd.Box[3]
			}
			large := func(o part.Finding) bool {
				return max(o.Box[2], o.Box[3]) >= hazeOverlaps*min(fd.Box[2], fd.Box[3])
			}
			same := func(o part.Finding) bool {
				return in(o) && (large(o) || fd.Kind == part.Missed && o.Kind != part.Dust)
			}
			if slices.ContainsFunc(out.Findings, func(o part.Finding) bool {
				line := o.Kind == part.Sanding || o.Kind == part.Fibre && fd.Kind != part.Missed // which has an edge, bright where that mirrors a lamp
				return in(o) && large(o) && (o.Kind == part.Haze || line)
			}) {
				continue // the search found it, and measured it finer; or it is lines
			}
			out.Findings = append(slices.DeleteFunc(out.Findings, same), fd)
		}
	}
	return nil
}

// paleIn is one picture's map.
func (f *face) paleIn(pic int, planes []int) (paleMap, bool, error) {
	w, h := f.Surface.W, f.Surface.H
	m := paleMap{pic: pic, raw: make([]float64, w*h), wide: make([]float64, w*h)}
	sum, n := part.NewPlane(w, h), part.NewPlane(w, h)
	var smooth, level [][]float32
	for _, c := range planes {
		smooth, level = append(smooth, f.Channels[c].Light.V), append(level, f.Channels[c].Base.V)
	}
	for i := range m.raw {
		m.raw[i] = math.NaN()
		if f.Surface.Dist.V[i] <= 0 || f.Open[i]>>pic&1 == 0 && !(f.Params.Shell != nil && f.Open[i] == 0) {
			continue // closed in all pictures of a shell: no lamp is mirrored at one place in all, but what is pale all over looks like one
		}
		light, base := 0.0, 0.0
		for k, v := range smooth {
			light, base = light+float64(v[i]), base+float64(level[k][i])
		}
		m.raw[i] = light/max(base, scene.PaintAtLeast) - 1
		sum.V[i], n.V[i] = float32(min(max(m.raw[i], -1), 3)), 1 // glints are cut
	}
	if f.Params.Shell != nil {
		m.even = withoutGlints(m.raw, w, h, max(1, int(glintMM/f.MMPX+0.5)))
		for i, v := range m.even {
			if v == v {
				sum.V[i] = float32(v)
			}
		}
	}
	soft, share := part.NewPlane(w, h), part.NewPlane(w, h)
	if err := raster.Gauss(soft, sum, hazeSoftMM/f.MMPX); err != nil {
		return m, false, err
	}
	if err := raster.Gauss(share, n, hazeSoftMM/f.MMPX); err != nil {
		return m, false, err
	}
	var sample []float64
	for i := range m.wide {
		m.wide[i] = math.NaN()
		if n.V[i] > 0 && share.V[i] > 0.3 {
			m.wide[i] = float64(soft.V[i] / share.V[i])
			if i%5 == 0 {
				sample = append(sample, m.wide[i])
			}
		}
	}
	if len(sample) < 100 {
		return m, false, nil
	}
	m.mid = raster.Median(slices.Clone(sample))
	dark := make([]float64, len(sample))
	for k, v := range sample {
		dark[k], sample[k] = v-m.mid, math.Abs(v-m.mid)
	}
	m.spread = max(raster.MADToSD*raster.Median(sample), hazeLight/hazeSpread)
	m.grain = m.grainIn(f.Points)
	m.least = hazeSpread
	if f.Params.Shell == nil { // a shell is of one resin: what is darker there is a lamp's frame, the dome's hole
		m.least = max(m.least, -hazeTail*raster.Quantile(dark, 0.02)/m.spread)
	}
	return m, true, nil
}

// withoutGlints takes what is narrow off a map: each value becomes the median of 5 x 5 values around it, step pixels apart.
func withoutGlints(v []float64, w, h, step int) []float64 {
	out := make([]float64, len(v))
	var buf [25]float64
	for y := 0; y < h; y += 2 {
		for x := 0; x < w; x += 2 {
			n, mid := 0, math.NaN()
			for dy := -2; dy <= 2; dy++ {
				for dx := -2; dx <= 2; dx++ {
					xx, yy := x+dx*step, y+dy*step
					if xx < 0 || yy < 0 || xx >= w || yy >= h {
						continue
					}
					if a := v[yy*w+xx]; a == a {
						buf[n] = a
						n++
					}
				}
			}
			if n > 0 && v[y*w+x] == v[y*w+x] {
				slices.Sort(buf[:n])
				mid = buf[n/2]
			}
			for yy := y; yy < min(y+2, h); yy++ {
				for xx := x; xx < min(x+2, w); xx++ {
					out[yy*w+xx] = mid
				}
			}
		}
	}
	return out
}

// grainIn is how a map differs from itself smoothed: the median from the median.
func (m paleMap) grainIn(pixels []int) float64 {
	var v []float64
	for _, i := range pixels {
		if d := m.raw[i] - m.wide[i]; d == d {
			v = append(v, d)
		}
	}
	mid := raster.Quantile(v, 0.5)
	for k := range v {
		v[k] = math.Abs(v[k] - mid)
	}
	return raster.Quantile(v, 0.5)
}

// edgeOf tells a dull place's pixels by one picture's light, in which it is paler by change, and over how many millimetres that
// falls at its edge; ok is false where noise hides the edge.
func (f *face) edgeOf(m paleMap, body []int, change float64) (pixels []int, fadeMM float64, ok bool) {
	w, h := f.Surface.W, f.Surface.H
	if change < edgeSeen*raster.MADToSD*m.grain {
		return nil, 0, false
	}
	light := make([]float64, w*h)
	for i, x := range m.even {
		light[i] = x - m.mid
	}
	from, off := body[0], math.Inf(1)
	for _, i := range body { // from where it is as it is in the middle
		if d := math.Abs(light[i] - change); d < off {
			from, off = i, d
		}
	}
	in := regionFrom(light, change/2, from, w, h)
	for i, v := range in {
		if v == 1 {
			pixels = append(pixels, i)
		}
	}
	s := shape.Of(pixels, w, 0, 0)
	if s.Long*f.MMPX > hazeMostMM || s.Long*f.MMPX < hazeMinMM || s.Fill() < hazeCompact {
		return nil, 0, false
	}
	fadeMM = fadeOf(light, in, change, w, h, hazeReachMM/f.MMPX) * f.MMPX
	return pixels, fadeMM, fadeMM > 0
}

// hazeOf makes a finding of a region that is paler in all lights, if it is soft and compact.
func (f *face) hazeOf(pixels []int, over []float64, maps []paleMap) (part.Finding, bool) {
	w, h := f.Surface.W, f.Surface.H
	top := pixels[0]
	for _, i := range pixels {
		if over[i] > over[top] {
			top = i
		}
	}
	in := regionFrom(over, over[top]/2, top, w, h)
	var body []int
	for i, v := range in {
		if v == 1 {
			body = append(body, i)
		}
	}
	s := shape.Of(body, w, 0, 0)
	d := 2 * math.Sqrt(float64(len(body))/math.Pi) * f.MMPX
	box := float64((s.X1 - s.X0 + 1) * (s.Y1 - s.Y0 + 1))
	if d < hazeMinMM || s.Long*f.MMPX > hazeMostMM || float64(len(body)) < hazeCompact*box {
		return part.Finding{}, false
	}
	best, fade := -1, 0.0
	var change []float64
	features := map[string]float64{}
	strongest := 0.0
	for k, m := range maps {
		var v []float64
		var core []int
		for _, i := range body {
			if x := m.raw[i]; x == x && over[i] > 0.8*over[top] {
				v, core = append(v, x), append(core, i)
			}
		}
		if len(v) == 0 {
			continue
		}
		if c := raster.Median(slices.Clone(v)); m.grainIn(core) > hazeGrain*m.grain*(1+max(c, 0)) {
			return part.Finding{}, false
		}
		c := raster.Median(v)
		change = append(change, c-m.mid)
		features["contrast_"+string(f.Pictures[m.pic].Shot.Light)] = round3(c - m.mid)
		if z := (c - m.mid) / m.spread; z > strongest {
			strongest, best = z, k
			light := make([]float64, len(m.raw))
			for i, x := range m.raw {
				light[i] = x - m.mid
			}
			fade = fadeOf(light, in, c-m.mid, w, h, hazeReachMM/f.MMPX) * f.MMPX
		}
	}
	if best < 0 || !paler(change) {
		return part.Finding{}, false
	}
	kind := part.Haze
	if f.Params.Shell != nil {
		if b, at, ok := f.edgeOf(maps[best], body, change[best]); ok && !f.soft(at) {
			kind, fade, body = part.Missed, at, b
			s = shape.Of(body, w, 0, 0)
		}
	}
	if kind == part.Haze && !f.soft(fade) {
		return part.Finding{}, false
	}
	pic := maps[best].pic
	features["edge_fades_over_mm"], features["paler_by_spreads"] = round3(fade), round3(over[top])
	confidence := hazeConfidence(fade)
	if kind == part.Missed {
		confidence = 0.7
	}
	out := part.Finding{Image: f.Pictures[pic].Shot.File, Kind: kind, Zone: part.ZoneRim, Features: features,
		Confidence: math.Round(100*confidence*logistic(3*(over[top]/hazeSpread-0.6))) / 100}
	for _, i := range body {
		if f.Surface.Outside.V[i] > f.RimPX() {
			out.Zone = f.zoneOfAll()
		}
	}
	long, across := s.Long*f.MMPX, s.Across*f.MMPX
	dm := math.Sqrt(long * across)
	out.DiameterMM, out.LengthMM, out.WidthMM = part.Num(round3(dm)), part.Num(round3(long)), part.Num(round3(across))
	out.AreaMM2, out.AngleDeg = part.Num(round4(float64(len(body))*f.MMPX*f.MMPX)), part.Num(math.Round(s.AngleDeg*10)/10)
	// Half of its light is passed where the fade is: noise moves either end by a spread over the slope there.
	slope := over[top] / 2 / max(fade, f.MMPX) // per mm
	soft := max(fade, hazeSoftMM)
	if kind == part.Missed { // whose light is smoothed over less
		soft = max(fade, 2*glintMM)
	}
	b := part.NewBudget(fmt.Sprintf("%s's diameter", kind), 1000*dm, []part.Contribution{
		{Name: "level of the ground: both ends", Unit: "mm", U: 2 / slope, Distribution: part.Normal, Sensitivity: 1000},
		{Name: "smoothing against the size: what half of its light is", Unit: "mm", U: soft / 2 / math.Sqrt(3),
			Distribution: part.Rectangular, Sensitivity: 1000},
		{Name: "scale: target, fit, squareness of the view", Unit: "mm/px", Value: part.Num(f.Params.MMPerPX),
			U: f.Params.URelScale * f.Params.MMPerPX, Distribution: part.Normal, Sensitivity: 1000 * dm / f.Params.MMPerPX},
	})
	u := part.Num(round4(b.CombinedUM / 1000))
	out.UDiamMM, out.ULengthMM, out.UWidthMM, out.Budget = u, u, u, &b
	of := f.searchBox(part.Box{float64(s.X0) - 0.5, float64(s.Y0) - 0.5, float64(s.X1 - s.X0 + 1), float64(s.Y1 - s.Y0 + 1)})
	out.Box = f.BoxIn(pic, of)
	for _, m := range maps {
		if m.pic != pic {
			out.AlsoIn = append(out.AlsoIn, part.Sighting{Image: f.Pictures[m.pic].Shot.File, Box: f.BoxIn(m.pic, of)})
		}
	}
	return out, true
}
