package defects

import (
	"math"
	"slices"

	"finishbench/internal/part"
)

// On a shell, whose surface shows the lamps under every angle, faults of the lacquer's surface are seen by the lamps that
// their slopes mirror: some bright spots, each where the slope fits a lamp. What is matt, dust and fibres, looks alike in all
// lights. That tells them apart, and which spots are one run.

// How what is matt shows in two lights (common practice, no source).
const (
	// Under raking light it stands out at most so many times more: lacquer mirrors up to 6 % at slopes up to 55 degrees
	// (Fresnel's law, index 1.5), a black paint sends 2 %; together 8 against 2.
	mattMost   = 4.0
	mattLess   = 2.0  // and at most so many times less: nothing beside the ground is mirrored there, so that it should be no less
	mattAlike  = 0.7  // correlation of the two lights over it: one tells half of the other's squares, at the best of small displacements,
	alikeSeen  = 10.0 // where it stands out in both by so many times the noise
	alikeAside = 0.06 // this far around it, mm
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
	if f.p.Shell == nil || len(p.contrast) < 2 || f.sparkles {
		return false
	}
	low, other, in, out := math.Inf(-1), math.Inf(-1), 0, 0
	for pic, c := range p.contrast {
		if f.scene[pic].Shot.Light == part.Raking {
			if c > low {
				low, in = c, pic
			}
		} else if c > other {
			other, out = c, pic
		}
	}
	best, darkest := math.Max(low, other), math.Min(low, other)
	if math.IsInf(darkest, 0) || best < clearChange || -darkest > best { // one sort of light only, or it hides more than it mirrors
		return false
	}
	if !f.clear && (low > mattMost*other || other > mattLess*low) { // what lies behind a see-through shell is no matt ground
		return true
	}
	return min(p.strength[in], p.strength[out]) >= alikeSeen && f.alikeIn(p, in, out) < mattAlike
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
func (f *face) isBubbleWall(p *place) bool {
	return p.mirrors && f.inBothLights(p) && p.all.long*f.shapeMM() <= clearMostMM
}

// alikeIn is the correlation, -1..1, of what two pictures show over a place and right around it, where they lie on each other
// best: a picture may have moved by a little.
func (f *face) alikeIn(p *place, a, b int) float64 {
	m := int(alikeAside/f.shapeMM() + 0.5)
	x0, y0 := max(0, p.all.x0-p.win.x0-m), max(0, p.all.y0-p.win.y0-m)
	w, h := min(p.win.w-1, p.all.x1-p.win.x0+m)-x0+1, min(p.win.h-1, p.all.y1-p.win.y0+m)-y0+1
	u, v := make([]float64, w*h), make([]float64, w*h)
	for k := range u {
		i := (y0+k/w)*p.win.w + x0 + k%w
		if p.win.parent[i] < 0 {
			u[k] = math.NaN()
			continue
		}
		for c, ch := range f.channels {
			switch ch.pic {
			case a:
				u[k] += f.deviation(p.win, c, i)
			case b:
				v[k] += f.deviation(p.win, c, i)
			}
		}
	}
	best := -1.0
	for dy := -m; dy <= m; dy++ {
		for dx := -m; dx <= m; dx++ {
			best = max(best, correlation(u, v, w, h, dx, dy))
		}
	}
	return best
}

// correlation is that of two maps w x h, the second displaced; NaN counts nowhere.
func correlation(u, v []float64, w, h, dx, dy int) float64 {
	var x, y, xx, yy, xy, n float64
	for row := max(0, -dy); row < min(h, h-dy); row++ {
		for col := max(0, -dx); col < min(w, w-dx); col++ {
			a, b := u[row*w+col], v[(row+dy)*w+col+dx]
			if a != a || u[(row+dy)*w+col+dx] != u[(row+dy)*w+col+dx] {
				continue
			}
			x, y, xx, yy, xy, n = x+a, y+b, xx+a*a, yy+b*b, xy+a*b, n+1
		}
	}
	spread := (xx - x*x/n) * (yy - y*y/n)
	if !(spread > 0) {
		return 0
	}
	return (xy - x*y/n) / math.Sqrt(spread)
}

// isGlint says whether a place of a shell is, or in one light may be, a lamp that a slope mirrors.
func (f *face) isGlint(p *place) bool {
	if f.p.Shell == nil {
		return false
	}
	best, _ := brightest(p.contrast)
	return best >= glint && (len(p.contrast) < 2 || p.mirrors || f.isSlope(p))
}

// isPale says whether a spot of a shell is a little paler in two lights alike: something matt.
func (f *face) isPale(p *place) bool {
	return f.p.Shell != nil && len(p.contrast) > 1 && !p.mirrors && slices.Min(p.contrast) >= clearChange &&
		slices.Min(p.strength) >= alikeSeen && f.diameterMM(p) < hazeMinMM
}

// isEdgeLine says whether a line of a shell is an edge of the lacquer: bright by what it mirrors, or bright in one light and
// dark in another. What is opaque is neither.
func (f *face) isEdgeLine(p *place) bool {
	return f.p.Shell != nil && f.isLine(p) && (p.mirrors || bothWays(p))
}

// isStreak says whether a place is a lamp mirrored along an upright side.
func (f *face) isStreak(p *place) bool {
	return f.p.Shell != nil && p.all.long*f.shapeMM() >= streakMinMM && p.all.long >= runSlender*p.all.across &&
		p.all.bow <= straightBow*p.all.long && f.isUpright(p) && f.isGlint(p)
}

// isTwoSides says whether two lines of a shell are a run's sides: down the surface, no further apart than a run is wide. An abrasive
// leaves more, in any direction.
func (f *face) isTwoSides(p *place) bool {
	if p.lines != 2 || !f.runsDown(p) || p.all.across*f.shapeMM() > runMostMM {
		return false
	}
	for pic := range f.scene {
		var sum, n [2]float64 // to either side of the middle
		for _, i := range p.body {
			d, side := 0.0, 0
			for c, ch := range f.channels {
				if ch.pic == pic {
					d += f.deviation(p.win, c, i)
				}
			}
			if _, across := p.all.along(i, p.win.w); across > 0 {
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

// sameRun says whether two glints are one run's: in one column along gravity, as narrow as a run, no further from each other
// than its drop is long, and one of them a streak down its side.
func (f *face) sameRun(a, b *place) bool {
	if !f.isStreak(a) || !f.isGlint(b) {
		return false
	}
	// x along the axis to the height of a's middle
	mm, roll := f.shapeMM(), f.p.Shell.Roll
	left, right := math.Inf(1), math.Inf(-1)
	var top, bottom [2]float64
	for k, p := range [2]*place{a, b} {
		top[k], bottom[k] = math.Inf(1), math.Inf(-1)
		for _, i := range p.body {
			y := float64(i/p.win.w + p.win.y0)
			x := float64(i%p.win.w+p.win.x0) + roll*(y-a.all.cy)
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
	box := f.boxOf(float64(p.all.x0), float64(p.all.y0), float64(p.all.x1), float64(p.all.y1))
	at, ok := f.p.Shell.Place(box.Centre().X, box.Centre().Y)
	if !ok {
		return 0
	}
	// rows up the surface from the glint; in each, light at even steps aside
	n, wide := int(2*tailLeastMM/tailStepMM), int(tailFarMM/tailStepMM)
	half, clear := int(runMostMM/2/tailStepMM), box[3]/2*f.p.MMPerPX+tailStepMM
	longest := 0.0
	for pic := range f.scene {
		for _, way := range [2]float64{-1, 1} { // from its drop up; from its top down, where a lamp's image hides the drop
			rows := make([][]float64, 0, n)
			for k := range n {
				q, _, ok := f.p.Shell.Pixel(at.TurnDeg, at.BelowMM+way*(clear+float64(k)*tailStepMM))
				if !ok {
					break
				}
				row := make([]float64, 2*wide+1)
				for j := range row {
					row[j] = f.changeAt(pic, q.X+float64(j-wide)*tailStepMM/f.p.MMPerPX, q.Y)
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
	k := float64(f.factor)
	sx, sy := (x+0.5)/k-0.5-float64(f.surf.x0), (y+0.5)/k-0.5-float64(f.surf.y0)
	i := int(sy+0.5)*f.surf.w + int(sx+0.5)
	if sx < 0 || sy < 0 || int(sx+0.5) >= f.surf.w || int(sy+0.5) >= f.surf.h || f.surf.dist.V[i] <= 0 || f.open[i]>>pic&1 == 0 {
		return math.NaN()
	}
	light, base := 0.0, 0.0
	for _, ch := range f.channels {
		if ch.pic == pic {
			light, base = light+float64(bilinear(ch.smooth, sx, sy)), base+float64(bilinear(ch.base, sx, sy))
		}
	}
	return light/max(base, paintAtLeast) - 1
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
		return median(v) // what crosses it counts nothing
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
	if len(beside) < 10 || math.Abs(best) < max(tailSeen*madToSD*median(slices.Clone(beside)), tailMore*slices.Max(beside)) {
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
	if on < tailShare*all || math.Abs(median(step)) > tailStep*math.Abs(best) {
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
