package target

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"finishbench/internal/optics"
	"finishbench/internal/part"
	"finishbench/internal/stats/robust"
)

// Limits of rulers; common practice, no source.
const (
	leastTicks  = 5
	tickSlack   = 0.2  // a tick may be off its foretold place by this share of the pitch
	mostMissing = 3    // ticks missing in a row
	stripStep   = 2.0  // px between the lines along which ticks are searched
	tickReach   = 40.0 // length of a tick that is used at most, px
	leastSwing  = 0.15 // least contrast of ticks, share of the lighter of the two sides
	leastLight  = 0.3  // and that counts as no less than this share of the picture's light parts
	leastInk    = 0.4  // a tick's contrast against the median of all
	narrowBonus = 0.3  // how much more thin stretches count than those that leave no gap

	rulerTicks = 10   // ticks without which it is no ruler: edges, seams and reflections lie evenly by chance up to 6 or 7 at a time
	rulerEven  = 0.02 // they lie on a smooth course to this share of the pitch, root mean square,
	rulerWhole = 0.75 // and this share of them is there
)

// tick is a dark (or light) stretch along a line across the ticks.
type tick struct{ at, width float64 }

// chain is a row of ticks at even steps; index counts missing ones too.
type chain struct {
	ticks []tick
	index []int
}

// ruler finds ticks along the direction in which most edges face, measures
// each over its length, and turns the direction until it is square to them.
func (s *scene) ruler() (Found, error) {
	f := Found{View: optics.View{Name: s.name, W: s.p.W, H: s.p.H}, Expected: s.spec.Cols, BlurPX: math.NaN(), DiameterPX: math.NaN(),
		UDiameterPX: math.NaN()}
	k := (max(s.p.W, s.p.H) + searchSide - 1) / searchSide
	band, ok := s.searchTicks(k)
	if !ok && k > 1 {
		band, ok = s.searchTicks(1)
	}
	if !ok {
		return f, s.problem(part.Say("target.no_ticks"), part.Say("target.do.ticks", "n", strconv.Itoa(rulerTicks)))
	}
	if band.pitch() < leastPitch {
		f.Partial = true
		return f, s.problem(part.Say("target.close_ticks", "pitch_px", fmt.Sprintf("%.1f", band.pitch())),
			part.Say("target.do.larger_ruler"))
	}
	got := s.measureTicks(band)
	for range 2 {
		if len(got) >= leastTicks {
			band = band.squared(got)
			got = s.measureTicks(band)
		}
	}
	if len(got) < leastTicks {
		return f, s.problem(part.Say("target.unclean_ticks"), part.Say("target.do.sharp_ruler"))
	}
	if why := noRuler(got, band.pitch()); why.Key != "" {
		return f, s.problem(part.Say("target.not_found_why").With("why", why),
			part.Say("target.do.only_ticks", "n", strconv.Itoa(rulerTicks)))
	}
	var blur []float64
	first := got[0].index
	for _, t := range got {
		p := band.place(t.at, 0)
		i := t.index - first
		f.View.Marks = append(f.View.Marks, optics.Mark{Col: i, XMM: float64(i) * s.spec.PitchMM, XPX: p.X, YPX: p.Y, UPX: t.u})
		blur = append(blur, t.blur)
	}
	f.BlurPX = robust.Quantile(blur, 0.5)
	span := got[len(got)-1].index - first + 1
	if n := span - len(got); n > 0 {
		f.Notes = append(f.Notes, part.Say("target.lost_ticks", "n", strconv.Itoa(n)))
	}
	switch {
	case s.spec.Cols > 0 && span < s.spec.Cols:
		f.Partial = true
		f.Notes = append(f.Notes, part.Say("target.part_ticks", "n", strconv.Itoa(span), "of", strconv.Itoa(s.spec.Cols)))
	case s.spec.Cols > 0 && span > s.spec.Cols:
		f.Notes = append(f.Notes, part.Say("target.more_ticks", "n", strconv.Itoa(span), "of", strconv.Itoa(s.spec.Cols)))
	}
	return f, nil
}

// noRuler says why lines are none of a ruler's; without a key: they may be.
func noRuler(got []tickFit, pitch float64) part.Phrase {
	n := len(got)
	span := got[n-1].index - got[0].index + 1
	switch off := strays(got) / pitch; {
	case n < rulerTicks:
		return part.Say("target.few_lines", "n", strconv.Itoa(n))
	case float64(n) < rulerWhole*float64(span):
		return part.Say("target.missing_lines", "of", strconv.Itoa(span), "n", strconv.Itoa(n))
	case off > rulerEven:
		return part.Say("target.uneven_lines", "percent", fmt.Sprintf("%.0f", 100*off), "most_percent", fmt.Sprintf("%.0f", 100*rulerEven))
	}
	return part.Phrase{}
}

// strays is how far ticks lie off a smooth course (a parabola), root mean square, px.
func strays(t []tickFit) float64 {
	var rows [][]float64
	var right []float64
	half := float64(t[len(t)-1].index-t[0].index) / 2
	for _, f := range t {
		x := float64(f.index-t[0].index)/half - 1
		rows, right = append(rows, []float64{1, x, x * x}), append(right, f.at)
	}
	beta, ok := linearFit(rows, right)
	if !ok {
		return math.Inf(1)
	}
	sum := 0.0
	for i, r := range rows {
		d := right[i] - beta[0]*r[0] - beta[1]*r[1] - beta[2]*r[2]
		sum += d * d
	}
	return math.Sqrt(sum / float64(max(1, len(t)-3)))
}

// tickBand is a strip across a row of ticks: coordinates t along the ruler and w
// along the ticks, from an origin.
type tickBand struct {
	x, y     float64
	cos, sin float64 // the direction of t
	half     float64 // of the strip's width
	light    bool
	chain    chain
}

func (b *tickBand) place(t, w float64) part.Point {
	return part.Point{X: b.x + t*b.cos - w*b.sin, Y: b.y + t*b.sin + w*b.cos}
}

// pitch is the median step between ticks, px.
func (b *tickBand) pitch() float64 {
	var d []float64
	c := &b.chain
	for i := 1; i < len(c.ticks); i++ {
		d = append(d, (c.ticks[i].at-c.ticks[i-1].at)/float64(c.index[i]-c.index[i-1]))
	}
	return robust.Quantile(d, 0.5)
}

// searchTicks looks for the band with the most ticks in the picture shrunk by k.
func (s *scene) searchTicks(k int) (tickBand, bool) {
	small := shrunk(s.p, k)
	var best tickBand
	for _, angle := range facing(small) {
		sin, cos := math.Sincos(angle)
		if b, ok := bestBand(small, cos, sin); ok && len(b.chain.ticks) > len(best.chain.ticks) {
			best = b
		}
	}
	if len(best.chain.ticks) < leastTicks {
		return best, false
	}
	scale := float64(k)
	best.x, best.y, best.half = unshrink(best.x, k), unshrink(best.y, k), best.half*scale
	for i := range best.chain.ticks {
		best.chain.ticks[i].at *= scale
		best.chain.ticks[i].width *= scale
	}
	return best, true
}

// facing gives the directions, rad, that most of the picture's edges face: up to
// three peaks of the histogram of gradients' directions, weighed by their square.
func facing(p *part.Plane) []float64 {
	const n = 180
	var h [n]float64
	for y := 1; y < p.H-1; y++ {
		for x := 1; x < p.W-1; x++ {
			i := y*p.W + x
			gx, gy := float64(p.V[i+1]-p.V[i-1]), float64(p.V[i+p.W]-p.V[i-p.W])
			if g := gx*gx + gy*gy; g > 0 {
				a := math.Atan2(gy, gx)
				if a < 0 {
					a += math.Pi
				}
				h[int(a/math.Pi*n)%n] += g
			}
		}
	}
	var soft [n]float64
	for i := range h {
		for d := -3; d <= 3; d++ {
			soft[i] += h[(i+d+n)%n] * float64(4-max(d, -d))
		}
	}
	var out []float64
	for range 3 {
		at := 0
		for i := range soft {
			if soft[i] > soft[at] {
				at = i
			}
		}
		if soft[at] <= 0 {
			break
		}
		// The mean direction near the peak, finer than a bin.
		sum, weight := 0.0, 0.0
		for d := -4; d <= 4; d++ {
			v := h[(at+d+n)%n]
			sum, weight = sum+v*float64(d), weight+v
		}
		if weight > 0 {
			a := (float64(at) + 0.5 + sum/weight) * math.Pi / n
			if a > 3*math.Pi/4 { // columns run to the right, or downwards
				a -= math.Pi
			}
			out = append(out, a)
		}
		for d := -15; d <= 15; d++ {
			soft[(at+d+n)%n] = 0
		}
	}
	return out
}

// bestBand walks along lines in one direction, side by side, and takes those
// next to each other that show the most ticks.
func bestBand(p *part.Plane, cos, sin float64) (tickBand, bool) {
	cx, cy := float64(p.W-1)/2, float64(p.H-1)/2
	reach := math.Hypot(cx, cy)
	n := int(2*reach/stripStep) + 1
	at := func(i int) float64 { return -reach + stripStep*float64(i) }
	floor := leastLight * lightLevel(p, 0.999)
	found := [2][]chain{make([]chain, n), make([]chain, n)}
	parallel(n, func(i int) {
		w := at(i)
		profile, from := line(p, cx-w*sin, cy+w*cos, cos, sin, reach)
		for k, light := range [2]bool{false, true} {
			found[k][i] = bestChain(stretches(profile, from, floor, light))
		}
	})
	var best tickBand
	most := 0.0
	for k, chains := range found {
		for i := 0; i < n; {
			size := len(chains[i].ticks)
			j := i + 1
			for j < n && size >= leastTicks && alike(&chains[i], &chains[j]) {
				j++
			}
			// Many ticks, over some length of theirs; narrow ones, where dark and light
			// stretches do as well.
			if size >= leastTicks && j-i >= 3 {
				mid := &chains[(i+j)/2]
				score := float64(size)*(1+narrowBonus*narrowness(mid))*evenness(mid) + 0.3*min(float64(j-i)/10, 1)
				if score > most {
					w := (at(i) + at(j-1)) / 2
					most = score
					best = tickBand{x: cx - w*sin, y: cy + w*cos, cos: cos, sin: sin, light: k == 1,
						half: max(stripStep, (at(j-1)-at(i))/2-stripStep), chain: *mid}
				}
			}
			i = j
		}
	}
	return best, most > 0
}

// narrowness is 1 for ticks that are thin against their pitch, 0 for such that
// leave no room.
func narrowness(c *chain) float64 {
	w := 0.0
	for _, t := range c.ticks {
		w += t.width / float64(len(c.ticks))
	}
	n := len(c.ticks) - 1
	return 1 - w/((c.ticks[n].at-c.ticks[0].at)/float64(c.index[n]))
}

// evenness is 1 for ticks on a smooth course, and less where they stray from it
// by more than stray of a step.
func evenness(c *chain) float64 {
	const stray = 0.05
	n := len(c.ticks) - 1
	step := (c.ticks[n].at - c.ticks[0].at) / float64(c.index[n])
	sum, k := 0.0, 0
	for i := 1; i < n; i++ {
		a, b := float64(c.index[i]-c.index[i-1]), float64(c.index[i+1]-c.index[i])
		d := ((c.ticks[i+1].at-c.ticks[i].at)/b - (c.ticks[i].at-c.ticks[i-1].at)/a) / step
		sum, k = sum+d*d/6, k+1 // a second difference has six times the variance of a place
	}
	return 1 / (1 + sum/float64(k)/(stray*stray))
}

// alike says whether two lines show the same ticks.
func alike(a, b *chain) bool {
	if len(a.ticks) != len(b.ticks) {
		return false
	}
	n := len(a.ticks) - 1
	step := (a.ticks[n].at - a.ticks[0].at) / float64(a.index[n])
	return math.Abs(a.ticks[0].at-b.ticks[0].at) < step/2 && math.Abs(a.ticks[n].at-b.ticks[n].at) < step/2
}

// line samples the light along a line through x, y, one a pixel, mean of three
// lines side by side. from is the first sample's place along it.
func line(p *part.Plane, x, y, cos, sin, reach float64) (profile []float64, from float64) {
	for t := -reach; t <= reach; t++ {
		sum, ok := 0.0, true
		for w := -1.0; w <= 1; w++ {
			v, inside := bilinear(p, x+t*cos-w*sin, y+t*sin+w*cos)
			sum, ok = sum+v, ok && inside
		}
		if !ok {
			if len(profile) > 0 {
				break
			}
			continue
		}
		if len(profile) == 0 {
			from = t
		}
		profile = append(profile, sum/3)
	}
	return profile, from
}

// stretches finds where the light is beyond half way between the darkest and the
// lightest nearby. Where all is darker than floor, contrast counts against that.
func stretches(v []float64, from, floor float64, light bool) []tick {
	if len(v) < 20 {
		return nil
	}
	half := max(10, len(v)/16)
	lo, hi := extremes(v, half, -1), extremes(v, half, 1)
	over := func(i int) float64 { // above 0 inside a tick
		if hi[i]-lo[i] < leastSwing*max(hi[i], floor) {
			return -1
		}
		d := (v[i] - (lo[i]+hi[i])/2) / (hi[i] - lo[i])
		if light {
			return d
		}
		return -d
	}
	var out []tick
	start := math.NaN()
	prev := over(0)
	for i := 1; i < len(v); i++ {
		d := over(i)
		switch {
		case prev <= 0 && d > 0:
			start = float64(i-1) + -prev/(d-prev)
		case prev > 0 && d <= 0 && !math.IsNaN(start):
			end := float64(i-1) + prev/(prev-d)
			out = append(out, tick{from + (start+end)/2, end - start})
			start = math.NaN()
		}
		prev = d
	}
	return out
}

// extremes is the largest (sign 1) or least (sign -1) value within half of each
// place, by a queue of candidates.
func extremes(v []float64, half int, sign float64) []float64 {
	out := make([]float64, len(v))
	var queue []int
	next := 0
	for i := range v {
		for ; next < len(v) && next <= i+half; next++ {
			for len(queue) > 0 && sign*v[queue[len(queue)-1]] <= sign*v[next] {
				queue = queue[:len(queue)-1]
			}
			queue = append(queue, next)
		}
		for queue[0] < i-half {
			queue = queue[1:]
		}
		out[i] = v[queue[0]]
	}
	return out
}

// bestChain is the longest row of ticks at even steps.
func bestChain(t []tick) chain {
	var best chain
	seen := make([]bool, len(t)) // as the start of a longer chain's step
	for i := 0; i+1 < len(t); i++ {
		if seen[i] {
			continue
		}
		for j := i + 1; j < min(i+3, len(t)); j++ {
			c, used := follow(t, i, j)
			if len(c.ticks) > len(best.ticks) {
				best = c
				for _, k := range used {
					seen[k] = true
				}
			}
		}
	}
	return best
}

// follow goes on from the step between ticks i and j.
func follow(t []tick, i, j int) (chain, []int) {
	c := chain{ticks: []tick{t[i]}, index: []int{0}}
	used := []int{i}
	step, at, index := t[j].at-t[i].at, t[i].at, 0
	width := t[i].width
	for k := i + 1; k < len(t); {
		hit := -1
		for m := 1; m <= mostMissing+1 && hit < 0; m++ {
			want := at + float64(m)*step
			least := tickSlack * step
			for l := k; l < len(t) && t[l].at <= want+least; l++ {
				if d := math.Abs(t[l].at - want); d <= least && t[l].width < 2.5*width && t[l].width > 0.4*width {
					least, hit = d, l
				}
			}
			if hit >= 0 {
				got := (t[hit].at - at) / float64(m)
				step += 0.3 * (got - step)
				width += 0.2 * (t[hit].width - width)
				at, index = t[hit].at, index+m
			}
		}
		if hit < 0 {
			break
		}
		c.ticks, c.index = append(c.ticks, t[hit]), append(c.index, index)
		used = append(used, hit)
		k = hit + 1
	}
	return c, used
}

// tickFit is one tick as measured.
type tickFit struct {
	index              int
	at, slope, u, blur float64 // place along the ruler in the strip's middle; change of it along the tick
	ink                float64 // contrast, linear light
}

// Parameters of a tick's fit.
const (
	tickAt = iota
	tickSlope
	tickHalf
	tickBlur
	tickGround
	tickGroundAlong
	tickInk
	tickSize
)

// measureTicks fits each tick of a band: a straight line of even width between
// two blurred edges, on a ground that may slope. Ticks that do not fit, or do not
// lie where the others foretell, are left out.
func (s *scene) measureTicks(b tickBand) []tickFit {
	c := &b.chain
	fits := make([]tickFit, len(c.ticks))
	good := make([]bool, len(c.ticks))
	pitch := b.pitch()
	parallel(len(c.ticks), func(i int) {
		fits[i], good[i] = s.measureTick(b, c.ticks[i], pitch)
		fits[i].index = c.index[i]
	})
	var inks []float64
	for i, f := range fits {
		if good[i] {
			inks = append(inks, f.ink)
		}
	}
	usual := robust.Quantile(inks, 0.5)
	var kept []tickFit
	for i, f := range fits {
		if good[i] && f.ink > leastInk*usual {
			kept = append(kept, f)
		}
	}
	return evenTicks(kept, pitch)
}

// evenTicks leaves out ticks off a smooth course (a parabola, for perspective).
func evenTicks(t []tickFit, pitch float64) []tickFit {
	if len(t) < leastTicks {
		return t
	}
	mid := float64(t[len(t)-1].index+t[0].index) / 2
	half := max(float64(t[len(t)-1].index)-mid, 1)
	row := func(i int) []float64 {
		x := (float64(i) - mid) / half
		return []float64{1, x, x * x}
	}
	for range 3 {
		var rows [][]float64
		var right []float64
		for _, f := range t {
			rows, right = append(rows, row(f.index)), append(right, f.at)
		}
		beta, ok := linearFit(rows, right)
		if !ok {
			return t
		}
		n := len(t)
		t = slices.DeleteFunc(t, func(f tickFit) bool {
			r := row(f.index)
			return math.Abs(f.at-beta[0]-beta[1]*r[1]-beta[2]*r[2]) > tickSlack*pitch/2
		})
		if len(t) == n || len(t) < leastTicks {
			break
		}
	}
	return t
}

func (s *scene) measureTick(b tickBand, t tick, pitch float64) (tickFit, bool) {
	half := min(b.half, tickReach/2)
	bar := barFrame{p: s.p, cos: -b.sin, sin: b.cos, half: half} // along the tick
	o := b.place(t.at, 0)
	bar.x, bar.y = o.X, o.Y
	var pixels []barPixel
	for _, q := range bar.pixels(0, 0, pitch/2) {
		q.c = -q.c // along the ruler
		pixels = append(pixels, q)
	}
	if len(pixels) < 3*tickSize {
		return tickFit{}, false
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, q := range pixels {
		lo, hi = min(lo, q.v), max(hi, q.v)
	}
	ground, ink := hi, lo
	if b.light {
		ground, ink = lo, hi
	}
	par := []float64{0, 0, t.width / 2, startBlur, ground, 0, ink - ground}
	m := &model{n: len(pixels), m: tickSize, least: map[int]float64{tickBlur: pixelWidth}}
	m.valid = func(p []float64) bool {
		return p[tickBlur] <= mostBlur && p[tickHalf] > 0.1 && p[tickHalf] < pitch/2 && math.Abs(p[tickAt]) < pitch/3
	}
	m.row = func(p []float64, i int, slope []float64) float64 {
		q := &pixels[i]
		w := p[tickBlur]
		u := q.c - p[tickAt] - p[tickSlope]*q.a
		l, r := (u+p[tickHalf])/w, (u-p[tickHalf])/w
		share := below(l) - below(r)
		bl, br := bell(l)/w, bell(r)/w
		byU := p[tickInk] * (bl - br)
		slope[tickAt], slope[tickSlope] = -byU, -byU*q.a
		slope[tickHalf] = p[tickInk] * (bl + br)
		slope[tickBlur] = -p[tickInk] * (bl*l - br*r)
		slope[tickGround], slope[tickGroundAlong] = 1, q.c
		slope[tickInk] = share
		return p[tickGround] + p[tickGroundAlong]*q.c + p[tickInk]*share - q.v
	}
	f, ok := m.solve(par, fitRounds, true)
	if !ok || f.sigma > 2*mostMisfit*(hi-lo) {
		return tickFit{}, false
	}
	return tickFit{at: t.at + f.p[tickAt], slope: f.p[tickSlope], u: math.Sqrt(f.cov.At(tickAt, tickAt)), blur: f.p[tickBlur],
		ink: math.Abs(f.p[tickInk])}, true
}

// squared turns the band square to its ticks, about its origin, with the ticks
// as measured.
func (b tickBand) squared(got []tickFit) tickBand {
	var slopes []float64
	for _, f := range got {
		slopes = append(slopes, f.slope)
	}
	// A tick's place rises by slope along w: its normal is turned by -atan(slope).
	turn := -math.Atan(robust.Quantile(slopes, 0.5))
	sin, cos := math.Sincos(turn)
	out := b
	out.cos, out.sin = b.cos*cos-b.sin*sin, b.sin*cos+b.cos*sin
	out.chain = chain{}
	for _, f := range got {
		out.chain.ticks = append(out.chain.ticks, tick{f.at * cos, b.chain.width()})
		out.chain.index = append(out.chain.index, f.index)
	}
	return out
}

// width is the ticks' median width, px.
func (c *chain) width() float64 {
	var w []float64
	for _, t := range c.ticks {
		w = append(w, t.width)
	}
	return robust.Quantile(w, 0.5)
}
