package defects

import (
	"math"
	"slices"

	"finishbench/internal/defects/raster"
	"finishbench/internal/defects/scene"
	"finishbench/internal/defects/search"
	"finishbench/internal/part"
)

// On a shell, whose surface shows the lamps under every angle, faults of the lacquer's surface are seen by the lamps that
// their slopes mirror: some bright spots, each where the slope fits a lamp. What is matt, dust and fibres, looks alike in all
// lights. That tells them apart, and which spots are one run.

// What tells matt from clear on a shell: round numbers. Fitted to ray-traced shells, each of five sets left out in turn, they came out as
// 0.36 to 0.38, 0.19 to 0.22, 0.35 to 0.4 and 0.1 to 0.15.
const (
	mattAgain = 1.0 / 3 // what is matt shows again in the other light, as a share of what the whole surface sends, by no less than this
	// Of the light behind it, the blur's part taken off, a ball of air over matt ground mirrors most from elsewhere on that ground, beyond
	// the critical angle, and shades a little: it hides less than this.
	hidesOpaque    = 0.2
	hidesClear     = 0.45 // before what lies deeper in see-through resin the mirroring ring, 5/9 of the ball, may be dark
	mattClear      = 0.5  // a small bright spot of a see-through shell by no less than this: parts inside send other shares of both lights
	greyLeast      = 0.7  // a ground is grey where its weakest colour has this share of the strongest,
	earthLeast     = 0.35 // and an earth changes red and blue by amounts that differ by this share of the larger
	ownColourLeast = 0.1  // what has a colour of its own hides this much of the ground, and sends as much white light
	// Common practice, no source.
	hueLeast   = 0.02 // what lies beside the ground's colour of white's squared length, 3: with no more than this it has hardly a hue
	alikeAside = 0.06 // pictures may have moved by so much, mm
)

// What tells a run's tail above its drop. Lengths in millimetres (common practice, no source).
const (
	tailStepMM  = 0.05
	tailLeastMM = 1.0  // of its sides at least so much shows, more than a crater reaches above its own glint,
	tailSeen    = 5.0  // as a line that stands out by so many times the noise of lines beside it (Rose 1948)
	tailMore    = 3.0  // and by so many times the strongest of them;
	tailStep    = 0.5  // the light to either side differs by at most this share of it: else it is the edge of something wide;
	tailShare   = 0.7  // it goes on over this share of that length
	tailLeanDeg = 15.0 // it leans up to so much to either side,
	tailTurnDeg = 5.0  // in steps of so much
	tailFarMM   = 1.5  // lines up to so far aside are held against it
	tailFadesMM = 0.3  // where its light has gone for so long it ends
)

// What is one run (common practice, no source). Lengths in millimetres.
const (
	runMostMM    = 1.0  // a run is no wider, and its drop no longer
	straightBow  = 0.08 // what bends by more of its length goes around something: a crater of 0.9 mm bends a streak of 0.3 mm by 0.086
	streakLongMM = 0.5  // and of this length by itself is a run's;
	twoSided     = 0.25 // a run's sides are bright and dark: each at least so many times the other
	streakMinMM  = 0.30 // a bright line down one of its sides is at least this long
)

// mirrorsLight says whether a place of a shell is bright by what it mirrors: bright, but not in both lights as something matt is.
func (f *face) mirrorsLight(p *place) bool {
	best := slices.Max(p.contrast)
	matt := p.isMatt()
	if f.SeeThrough && !f.isLine(p) && p.all.Long*f.ShapeMM() <= clearMostMM && !f.isEarth(p) {
		matt = p.again >= mattClear
	}
	return f.Params.Shell != nil && !matt && best >= clearChange && -slices.Min(p.contrast) <= best // else it hides more than it mirrors
}

// isEarth says whether a place of a shell is of an earth's colour in each of two lights at least.
func (f *face) isEarth(p *place) bool {
	if f.Params.Shell == nil || len(p.contrast) < 2 {
		return false
	}
	for pic := range f.Pictures {
		if !earth(f.byColour(p, pic)) {
			return false
		}
	}
	return true
}

// earth says whether a change of a grey ground's red, green and blue light makes it redder, as dust of an earth's colour does: what is
// clear keeps the ground's hue, and what mirrors a lamp adds the lamp's. False where the ground is not grey, or there are fewer colours.
func earth(off, ground []float64) bool {
	if len(off) < 3 || slices.Min(ground) < greyLeast*slices.Max(ground) {
		return false
	}
	return off[0] >= off[1] && off[1] >= off[2] && off[0]-off[2] >= earthLeast*max(off[0], -off[2])
}

// isMatt says whether what a place of a shell changes in one light shows again in another, as what something matt changes does.
func (p *place) isMatt() bool { return p.again >= mattAgain }

// showsAgain is how much of what a place of a shell changes under raking light shows again in another, and the other way round; 1 where
// that cannot be told.
func (f *face) showsAgain(p *place) float64 {
	low, other := f.twoLights(p)
	if f.Params.Shell == nil || f.Sparkles || low < 0 || other < 0 {
		return 1
	}
	return f.again(p, low, other)
}

// twoLights are the pictures under raking and under another light in which a place is brightest; -1: there is none.
func (f *face) twoLights(p *place) (raking, other int) {
	raking, other = -1, -1
	for pic, c := range p.contrast {
		in := &other
		if f.Pictures[pic].Shot.Light == part.Raking {
			in = &raking
		}
		if *in < 0 || c > p.contrast[*in] {
			*in = pic
		}
	}
	return raking, other
}

// inBothLights says whether a place is brighter in two lights at least, and by more than what the lacquer's surface mirrors of
// an even light.
func (f *face) inBothLights(p *place) bool {
	n := 0
	for _, c := range p.contrast {
		if c > opaqueDome {
			n++
		}
	}
	return n > 1
}

// isBubbleWall says whether a small place of a shell mirrors in both lights: a bubble's wall mirrors all, the surface 4 % where no lamp is.
// What is smaller than a crater may be fainter.
func (f *face) isBubbleWall(p *place) bool {
	long := p.all.Long * f.ShapeMM()
	return p.mirrors && (long <= clearMostMM && f.inBothLights(p) || long < craterMinMM && slices.Min(p.contrast) >= clearChange)
}

// isBubbleDisc says whether a small place of a shell hides some of the ground from an even light and mirrors lamps under low light: a
// slope of the lacquer lets the ground through.
func (f *face) isBubbleDisc(p *place) bool {
	if f.Params.Shell == nil || len(p.contrast) < 2 || p.all.Long*f.ShapeMM() > clearMostMM {
		return false
	}
	low, even := f.twoLights(p)
	return low >= 0 && even >= 0 && p.contrast[low] >= clearChange && p.contrast[even] <= -clearChange
}

// mattness is opacity by which a place is called dust: on a shell what is dark is held against what clear things hide there.
func (f *face) mattness(p *place) float64 {
	o, dark := f.opacity(p), -slices.Min(p.contrast)
	if f.Params.Shell == nil || o == 0 || dark < slices.Max(p.contrast) {
		return o
	}
	limit := hidesOpaque
	if f.SeeThrough {
		limit = hidesClear
	}
	return o * dark / f.lightLost(p) / limit
}

// ownColour is which share of the ground a spot hides, and puts white light in its place, in each of two lights at least: what lies in
// the lacquer has a colour of its own, what is clear keeps the ground's hue, and what mirrors a lamp hides nothing. 0 where the ground has
// hardly a hue, or there is one light only.
func (f *face) ownColour(p *place) float64 {
	if len(p.contrast) < 2 {
		return 0
	}
	least := math.Inf(1)
	for pic := range f.Pictures {
		off, base := f.byColour(p, pic)
		// off = white - hidden x base, by least squares
		var db, bb, sum float64
		for c, b := range base {
			db, bb, sum = db+off[c]*b, bb+b*b, sum+b
		}
		bb = max(bb, 1e-12)
		aside, hue := 0.0, hueLeast // of the change and of white, beside the ground's colour
		for c, b := range base {
			w := 1 - sum/bb*b
			aside, hue = aside+(off[c]-db/bb*b)*w, hue+w*w
		}
		white := aside / hue
		least = min(least, white*float64(len(base))/max(sum, 1e-12), (white*sum-db)/bb)
	}
	return least
}

// byColour is by how much a place changes the light of a picture, and how much of it its ground sends: over its core, by colour in the
// picture's order.
func (f *face) byColour(p *place, pic int) (off, ground []float64) {
	for c, ch := range f.Channels {
		if ch.Pic != pic {
			continue
		}
		d, b := 0.0, 0.0
		for _, i := range p.core {
			x := f.Deviation(p.win, c, i)
			d, b = d+x, b+float64(p.win.Light[c].V[i])-x
		}
		off, ground = append(off, d), append(ground, b)
	}
	return off, ground
}

// again is how much of what a place changes in one picture shows again in another, the lesser of both ways, each as shares of what the
// whole surface sends: the regression of one map on the other where they lie on each other best, noise taken off, plus two of its standard
// deviations by noise. Matt things have about 1, what a slope mirrors in one picture about 0.
func (f *face) again(p *place, a, b int) float64 {
	m := int(alikeAside/f.ShapeMM() + 0.5)
	x0, y0 := max(0, p.all.X0-p.win.X0-m), max(0, p.all.Y0-p.win.Y0-m)
	w, h := min(p.win.W-1, p.all.X1-p.win.X0+m)-x0+1, min(p.win.H-1, p.all.Y1-p.win.Y0+m)-y0+1
	var maps [2][]float64
	var noise, level [2]float64 // squared; sums over colours
	for k, pic := range [2]int{a, b} {
		maps[k] = make([]float64, w*h)
		for c, ch := range f.Channels {
			if ch.Pic != pic {
				continue
			}
			noise[k], level[k] = noise[k]+f.Noise[c]*f.Noise[c], level[k]+ch.Level
			for j := range maps[k] {
				maps[k][j] += f.Deviation(p.win, c, (y0+j/w)*p.win.W+x0+j%w)
			}
		}
		for j := range maps[k] {
			if p.win.Parent[(y0+j/w)*p.win.W+x0+j%w] < 0 {
				maps[k][j] = math.NaN()
			}
		}
	}
	best, lies := math.Inf(-1), products{}
	for dy := -m; dy <= m; dy++ {
		for dx := -m; dx <= m; dx++ {
			if q := productsOf(maps[0], maps[1], w, h, dx, dy); q.correlation() > best {
				best, lies = q.correlation(), q
			}
		}
	}
	ratio := level[0] / max(level[1], 1e-9)
	least := math.Inf(1)
	for k, sq := range [2]float64{lies.xx, lies.yy} {
		if k == 1 {
			ratio = 1 / max(ratio, 1e-9)
		}
		own := max(sq-lies.n*noise[k], sq/10, 1e-12)
		least = min(least, (lies.xy/own+2*math.Sqrt(noise[1-k]/max(sq, 1e-12)))*ratio)
	}
	return least
}

// products are sums over two maps: of squares and products, of each, and how many pixels.
type products struct{ x, y, xx, yy, xy, n float64 }

// productsOf are those of two maps w x h, the second displaced; NaN counts nowhere.
func productsOf(u, v []float64, w, h, dx, dy int) (q products) {
	for row := max(0, -dy); row < min(h, h-dy); row++ {
		for col := max(0, -dx); col < min(w, w-dx); col++ {
			a, b := u[row*w+col], v[(row+dy)*w+col+dx]
			if a != a || b != b {
				continue
			}
			q.x, q.y, q.xx, q.yy, q.xy, q.n = q.x+a, q.y+b, q.xx+a*a, q.yy+b*b, q.xy+a*b, q.n+1
		}
	}
	return q
}

// correlation is that of two maps.
func (q products) correlation() float64 {
	spread := (q.xx - q.x*q.x/q.n) * (q.yy - q.y*q.y/q.n)
	if !(spread > 0) {
		return 0
	}
	return (q.xy - q.x*q.y/q.n) / math.Sqrt(spread)
}

// isGlint says whether a place of a shell is, or in one light may be, a lamp that a slope mirrors.
func (f *face) isGlint(p *place) bool {
	if f.Params.Shell == nil {
		return false
	}
	best, _ := search.Brightest(p.contrast)
	return best >= glint && (len(p.contrast) < 2 || p.mirrors || f.isSlope(p))
}

// isEdgeLine says whether a line of a shell is an edge of the lacquer: what is opaque shows in both lights alike.
func (f *face) isEdgeLine(p *place) bool {
	return f.Params.Shell != nil && f.isLine(p) && (!p.isMatt() || bothWays(p))
}

// isStreak says whether a place is a lamp mirrored along an upright side.
func (f *face) isStreak(p *place) bool {
	return f.Params.Shell != nil && p.all.Long*f.ShapeMM() >= streakMinMM && p.all.Long >= runSlender*p.all.Across &&
		p.all.Bow <= straightBow*p.all.Long && f.isUpright(p) && f.isGlint(p)
}

// isTwoSides says whether two lines of a shell are a run's sides: down the surface, no further apart than a run is wide. An abrasive
// leaves more, in any direction.
func (f *face) isTwoSides(p *place) bool {
	if p.lines != 2 || !f.runsDown(p) || p.all.Across*f.ShapeMM() > runMostMM {
		return false
	}
	for pic := range f.Pictures {
		var sum, n [2]float64 // to either side of the middle
		for _, i := range p.body {
			d, side := 0.0, 0
			for c, ch := range f.Channels {
				if ch.Pic == pic {
					d += f.Deviation(p.win, c, i)
				}
			}
			if _, across := p.all.Along(i, p.win.W); across > 0 {
				side = 1
			}
			sum[side], n[side] = sum[side]+d, n[side]+1
		}
		a, b := sum[0]/max(n[0], 1), sum[1]/max(n[1], 1)
		if a*b < 0 && min(math.Abs(a), math.Abs(b)) >= twoSided*max(math.Abs(a), math.Abs(b)) {
			return true
		}
	}
	return false
}

// sameRun says whether two glints are one run's: one of them is a streak down its side.
func (f *face) sameRun(a, b *place) bool { return f.isStreak(a) && f.isGlint(b) && f.inColumn(a, b) }

// ofRun says whether a place is a glint of a run that another view shows.
func (f *face) ofRun(s sighted, all []sighted) bool {
	if f.Params.Shell == nil || !s.f.isGlint(s.pl) {
		return false
	}
	isRun := func(o sighted) bool { kind, _ := o.f.kindOf(o.pl); return kind == part.Run }
	return !isRun(s) && slices.ContainsFunc(all, func(o sighted) bool { return o.view != s.view && f.inColumn(o.pl, s.pl) && isRun(o) })
}

// inColumn says whether two places of a shell lie in one column along gravity, as narrow as a run, no further from each other than its
// drop is long.
func (f *face) inColumn(a, b *place) bool {
	// x along the axis to the height of a's middle
	mm, roll := f.ShapeMM(), f.Params.Shell.Roll
	left, right := math.Inf(1), math.Inf(-1)
	var top, bottom [2]float64
	for k, p := range [2]*place{a, b} {
		top[k], bottom[k] = math.Inf(1), math.Inf(-1)
		for _, i := range p.body {
			y := float64(i/p.win.W + p.win.Y0)
			x := float64(i%p.win.W+p.win.X0) + roll*(y-a.all.CY)
			left, right = min(left, x), max(right, x)
			top[k], bottom[k] = min(top[k], y), max(bottom[k], y)
		}
	}
	gap := max(top[0], top[1]) - min(bottom[0], bottom[1])
	return (right-left+1)*mm <= runMostMM && gap*mm <= runMostMM
}

// tailMM is how long a run shows above or below a glint of it: a bright or dark line down the surface that ends there. 0: none.
func (f *face) tailMM(p *place) float64 {
	if !f.isGlint(p) {
		return 0
	}
	box := f.boxOf(float64(p.all.X0), float64(p.all.Y0), float64(p.all.X1), float64(p.all.Y1))
	at, ok := f.Params.Shell.Place(box.Centre().X, box.Centre().Y)
	if !ok {
		return 0
	}
	// rows up the surface from the glint; in each, light at even steps aside
	n, wide := int(2*tailLeastMM/tailStepMM), int(tailFarMM/tailStepMM)
	half, clear := int(runMostMM/2/tailStepMM), box[3]/2*f.Params.MMPerPX+tailStepMM
	longest := 0.0
	for pic := range f.Pictures {
		for _, way := range [2]float64{-1, 1} { // from its drop up; from its top down, where a lamp's image hides the drop
			rows := make([][]float64, 0, n)
			for k := range n {
				q, _, ok := f.Params.Shell.Pixel(at.TurnDeg, at.BelowMM+way*(clear+float64(k)*tailStepMM))
				if !ok {
					break
				}
				row := make([]float64, 2*wide+1)
				for j := range row {
					row[j] = f.changeAt(pic, q.X+float64(j-wide)*tailStepMM/f.Params.MMPerPX, q.Y)
				}
				rows = append(rows, row)
			}
			if float64(len(rows))*tailStepMM < tailLeastMM {
				continue
			}
			for deg := -tailLeanDeg; deg <= tailLeanDeg; deg += tailTurnDeg {
				longest = max(longest, tailIn(rows, wide, half, math.Tan(deg*math.Pi/180)))
			}
		}
	}
	return longest
}

// changeAt is how far a picture's light is off its base at a full-resolution place, as a share of that; NaN where it is not looked at.
func (f *face) changeAt(pic int, x, y float64) float64 {
	k := float64(f.Factor)
	sx, sy := (x+0.5)/k-0.5-float64(f.Surface.X0), (y+0.5)/k-0.5-float64(f.Surface.Y0)
	i := int(sy+0.5)*f.Surface.W + int(sx+0.5)
	if sx < 0 || sy < 0 || int(sx+0.5) >= f.Surface.W || int(sy+0.5) >= f.Surface.H || f.Surface.Dist.V[i] <= 0 || f.Open[i]>>pic&1 == 0 {
		return math.NaN()
	}
	light, base := 0.0, 0.0
	for _, ch := range f.Channels {
		if ch.Pic == pic {
			light, base = light+float64(raster.Bilinear(ch.Light, sx, sy)), base+float64(raster.Bilinear(ch.Base, sx, sy))
		}
	}
	return light/max(base, scene.PaintAtLeast) - 1
}

// tailIn is how long a line is, mm, that starts within half steps aside of the middle of the lowest row, leans by lean steps a row, and
// stands out from the lines beside it; 0: none does.
func tailIn(rows [][]float64, wide, half int, lean float64) float64 {
	least := int(tailLeastMM / tailStepMM)
	value := func(row, aside int) float64 { // against what lies beside it, so that slow changes count nothing
		j := wide + aside + int(math.Round(lean*float64(row)))
		if j < tailAside || j >= len(rows[row])-tailAside {
			return math.NaN()
		}
		return rows[row][j] - (rows[row][j-tailAside]+rows[row][j+tailAside])/2
	}
	line := func(aside int) float64 {
		var v []float64
		for row := range least {
			if x := value(row, aside); x == x {
				v = append(v, x)
			}
		}
		if 2*len(v) < least {
			return math.NaN()
		}
		return raster.Median(v) // what crosses it counts nothing
	}
	var beside []float64
	best, at := 0.0, 0
	for aside := -wide; aside <= wide; aside++ {
		switch v := line(aside); {
		case v != v:
		case aside < -half-tailAside || aside > half+tailAside:
			beside = append(beside, math.Abs(v))
		case math.Abs(v) > math.Abs(best) && aside >= -half && aside <= half:
			best, at = v, aside
		}
	}
	if len(beside) < 10 || math.Abs(best) < max(tailSeen*raster.MADToSD*raster.Median(slices.Clone(beside)), tailMore*slices.Max(beside)) {
		return 0
	}
	on, all := 0.0, 0.0
	var step []float64
	for row := range least {
		if v := value(row, at); v == v {
			j := wide + at + int(math.Round(lean*float64(row)))
			step = append(step, rows[row][j+tailAside]-rows[row][j-tailAside])
			if all++; v*best > best*best/4 {
				on++
			}
		}
	}
	if on < tailShare*all || math.Abs(raster.Median(step)) > tailStep*math.Abs(best) {
		return 0
	}
	last, gone := 0, 0
	for row := range rows {
		if v := value(row, at); v == v && v*best > best*best/4 {
			last, gone = row, 0
		} else if gone++; float64(gone)*tailStepMM > tailFadesMM {
			break
		}
	}
	if length := float64(last+1) * tailStepMM; length >= tailLeastMM {
		return length
	}
	return 0
}

// tailAside is how many steps aside the light is that a line of a tail is held against.
const tailAside = 4
