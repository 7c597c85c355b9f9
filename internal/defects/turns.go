package defects

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"finishbench/internal/body"
	"finishbench/internal/defects/scene"
	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// Turn is what was found in one turn of a shell, and how that turn shows it.
type Turn struct {
	body.Seen
	Found *Result
}

// How findings of several turns are one. Lengths in millimetres; common practice, no source.
const (
	atSeamMM      = 0.35  // what reaches nearer to the seam than this lies at it
	leastCameraMM = 150.0 // a camera is at least so far from the shell: what lies nearer is larger in its picture
	sameMM        = 0.2   // two findings this near on the surface are one,
	sizeMM        = 0.1   // of about one size: up to
	sameSize      = 3.0   // so many times as large, both this much larger,
	sameShape     = 2.0   // and so many standard uncertainties of the shape more
	piecesMM      = 0.5   // of what reaches this far from its middle another turn may show a piece alone,
	mostOf        = 0.5   // which tells less than one that reaches at least this share as far
	clearResponse = 2.0   // what stands out so many times over its threshold in a see-through shell
	wellSeenCos   = 0.64  // shows as well in another turn at slopes up to 50 degrees: else it lies inside
	mapStepDeg    = 4.0   // the map's cells
	mapStepMM     = 0.25
)

// JoinTurns makes one list of what was found in all turns of a shell, each turn's part of it left in its
// Result: findings get their place on the shell and their sizes on its surface; one that several turns show stays
// with the turn that shows it at the least slope, and names the others' pictures. It returns how much of the whole
// shell was looked at.
func JoinTurns(turns []Turn) *part.ShellMap {
	all := sights(turns)
	gone := map[*part.Finding]bool{}
	inside := make([]int, len(turns)) // findings of each turn that lie inside
	for _, m := range together(all) {
		best := bestOf(m)
		for _, s := range m {
			if s.found != best.found {
				best.found.AlsoIn = append(append(best.found.AlsoIn, part.Sighting{Image: s.found.Image, Box: s.found.Box}),
					s.found.AlsoIn...)
				gone[s.found] = true
			}
		}
		if len(m) == 1 && liesInside(turns, best) {
			gone[best.found] = true
			inside[best.turn]++
		}
	}
	for k, t := range turns {
		var stay []part.Finding
		for i := range t.Found.Findings {
			if !gone[&t.Found.Findings[i]] {
				stay = append(stay, t.Found.Findings[i])
			}
		}
		t.Found.Findings = stay
		if n := inside[k]; n > 0 {
			t.Found.Warnings = append(t.Found.Warnings, part.Say("defects.inside", "n", strconv.Itoa(n)))
		}
	}
	return mapOf(turns)
}

// bestOf is the sight that shows a defect at the least slope, and not a piece of it alone.
func bestOf(m []sight) sight {
	far := 0.0
	for _, s := range m {
		far = max(far, s.halfMM)
	}
	return slices.MaxFunc(m, func(a, b sight) int {
		whole := func(s sight) float64 { return min(s.halfMM, mostOf*far) }
		if c := cmp.Compare(whole(a), whole(b)); c != 0 {
			return c
		}
		return cmp.Compare(a.place.NormalZ, b.place.NormalZ)
	})
}

// sight is a finding of one turn, with its place on the shell.
type sight struct {
	turn             int
	found            *part.Finding
	place            body.Place
	radiusMM         float64 // of the shell there
	uMM, halfMM      float64 // how well the place is told, and how far the finding reaches
	aroundMM, downMM float64 // to either side of its middle, on the surface
}

// sights tells each finding its place on the shell; what has none is left out.
func sights(turns []Turn) []sight {
	var all []sight
	for k, t := range turns {
		for i := range t.Found.Findings {
			f := &t.Found.Findings[i]
			c := f.Box.Centre()
			at, ok := t.Place(c.X, c.Y)
			if !ok {
				continue
			}
			u := t.USlope(c.X, c.Y)
			if f.Kind != part.OrangePeel { // that is of the whole surface
				t.onShell(f, at, u)
			}
			radius := math.Hypot(at.FrontMM, (c.X-t.MiddleX)*t.MMPerPX)
			w, h := f.Box[2]/2*t.MMPerPX, f.Box[3]/2*t.MMPerPX
			all = append(all, sight{k, f, at, radius, sameShape * u * radius, max(w, h), w / at.Stretch(0), h / at.Stretch(90)})
		}
	}
	return all
}

// apart is how far two sights lie from each other on the surface, as a share of how far one defect's may.
func (s sight) apart(o sight) float64 {
	whole := s.found.Kind == part.OrangePeel
	switch {
	case s.turn == o.turn, whole != (o.found.Kind == part.OrangePeel):
		return math.Inf(1)
	case whole: // it is all of the surface's
		return 0
	}
	r := (s.radiusMM + o.radiusMM) / 2
	around := math.Abs(math.Remainder(s.place.TurnDeg-o.place.TurnDeg, 360)) * math.Pi / 180 * r
	down := math.Abs(s.place.BelowMM - o.place.BelowMM)
	near := sameMM + min(s.uMM+o.uMM, 1)
	switch {
	case s.piece(o): // somewhere in the other
		return math.Hypot(max(0, around-max(s.aroundMM, o.aroundMM)), max(0, down-max(s.downMM, o.downMM))) / near
	case s.muchLarger(o):
		return math.Inf(1)
	}
	return math.Hypot(around, down) / (near + min(s.halfMM, o.halfMM))
}

// muchLarger says whether one reaches too far for both to be one whole.
func (s sight) muchLarger(o sight) bool {
	return max(s.halfMM, o.halfMM)+sizeMM > sameSize*(min(s.halfMM, o.halfMM)+sizeMM)
}

// piece says whether one may be a piece of the other: a turn shows of a long thing what its light meets, and of what mirrors lamps
// with its slopes the glint that lies where those slope towards the lamp in that turn.
func (s sight) piece(o sight) bool {
	slopes := []part.Kind{part.Run, part.Crater, part.Bubble}
	return s.muchLarger(o) && max(s.halfMM, o.halfMM) >= piecesMM &&
		(s.found.Kind == o.found.Kind || slices.Contains(slopes, s.found.Kind) && slices.Contains(slopes, o.found.Kind))
}

// together puts the sights of one defect into one group, the nearest first; a defect has one sight in each turn, or
// pieces of itself.
func together(all []sight) [][]sight {
	type pair struct {
		a, b  int
		apart float64
		piece bool
	}
	var pairs []pair
	for i := range all {
		for j := range i {
			if d := all[i].apart(all[j]); d <= 1 {
				pairs = append(pairs, pair{j, i, d, all[i].piece(all[j])})
			}
		}
	}
	slices.SortStableFunc(pairs, func(p, q pair) int { return cmp.Compare(p.apart, q.apart) })
	of, groups := make([]int, len(all)), make([][]sight, len(all)) // each sight's group
	for i, s := range all {
		of[i], groups[i] = i, []sight{s}
	}
	for _, p := range pairs {
		g, h := of[p.a], of[p.b]
		meets := slices.ContainsFunc(groups[g], func(a sight) bool {
			return slices.ContainsFunc(groups[h], func(b sight) bool { return a.turn == b.turn })
		})
		if g == h || meets && !p.piece {
			continue
		}
		groups[g], groups[h] = append(groups[g], groups[h]...), nil
		for i := range of {
			if of[i] == h {
				of[i] = g
			}
		}
	}
	return slices.DeleteFunc(groups, func(m []sight) bool { return len(m) == 0 })
}

// liesInside says whether what one turn alone shows of a see-through shell is missing where another turn shows the
// same surface well.
func liesInside(turns []Turn, s sight) bool {
	if !turns[s.turn].Found.Clear || s.found.Features["response_over_threshold"] < clearResponse {
		return false
	}
	for k, t := range turns {
		if k != s.turn && t.wellSeen(s.place) {
			return true
		}
	}
	return false
}

// wellSeen says whether this turn shows a place of the shell, was looked at there in all lights, and not steeply.
func (t Turn) wellSeen(p body.Place) bool {
	lights, here := t.lookedAt(p.TurnDeg, p.BelowMM)
	return lights == '2' && here.NormalZ >= wellSeenCos
}

// onShell tells where on the shell a finding lies, and makes its sizes those on the surface: what is
// seen at a slope is shortened along it. Lengths are divided by that, along their own direction; their uncertainties gain that
// of the slope, and of how much nearer to the camera than the axis the surface lies.
func (t Turn) onShell(out *part.Finding, at body.Place, uNormalZ float64) {
	out.TurnDeg, out.BelowMM = part.Num(math.Round(at.TurnDeg*10)/10), part.Num(round3(max(0, at.BelowMM)))
	uSlope := uNormalZ / max(at.NormalZ, 0.3)
	uNear := max(0, at.FrontMM) / leastCameraMM / math.Sqrt(3)
	angle := 0.0
	if out.AngleDeg != nil {
		angle = *out.AngleDeg
	}
	long, across := at.Stretch(angle), at.Stretch(angle+90)
	size := func(v, u *float64, stretch, along float64) {
		if v == nil {
			return
		}
		*v = round3(*v / stretch)
		if u != nil {
			*u = round4(math.Sqrt(math.Pow(*u/stretch, 2) + math.Pow(*v*uSlope*along, 2) + math.Pow(*v*uNear, 2)))
		}
	}
	// how much of the slope's doubt a length takes: none along the contour, all along the slope
	share := func(stretch float64) float64 { return max(0, min(1, (1-stretch)/max(1-at.NormalZ, 1e-6))) }
	size(out.LengthMM, out.ULengthMM, long, share(long))
	size(out.WidthMM, out.UWidthMM, across, share(across))
	d := math.Sqrt(at.NormalZ)
	size(out.DiameterMM, out.UDiamMM, d, 0.5)
	if out.AreaMM2 != nil {
		*out.AreaMM2 = round4(*out.AreaMM2 / at.NormalZ)
	}
	if b := out.Budget; b != nil && b.ValueUM != nil {
		stretch, along := long, share(long)
		if out.DiameterMM != nil {
			stretch, along = d, 0.5
		}
		for i := range b.Contributions {
			b.Contributions[i].Sensitivity /= stretch
		}
		v := *b.ValueUM / stretch
		slope := part.Say("budget.slope", "slope_deg", part.Fixed(at.Slope(), 0), "turns", strconv.Itoa(t.Turns))
		more := part.NewBudget(b.Quantity, v, append(b.Contributions,
			part.Contribution{Name: lang.English().Say(&slope), NamePhrase: &slope, Unit: "1", U: uSlope * along, Distribution: part.Normal,
				Sensitivity: v},
			part.Contribution{Name: "nearer to the camera than the shell's axis, at a distance not known", Unit: "1", U: uNear,
				Distribution: part.Rectangular, Sensitivity: v}))
		out.Budget = &more
	}
	if at.BelowMM-out.Box[3]/2*t.MMPerPX < atSeamMM {
		out.Zone = part.ZoneSeam
	}
}

// mapOf is which places of the shell were looked at, over all turns.
func mapOf(turns []Turn) *part.ShellMap {
	m := &part.ShellMap{StepDeg: mapStepDeg, StepMM: mapStepMM,
		SeeThrough: slices.ContainsFunc(turns, func(t Turn) bool { return t.Found.Clear })}
	columns := int(360 / mapStepDeg)
	for row := 0; ; row++ {
		below := (float64(row) + 0.5) * mapStepMM
		if below > turns[0].DepthMM() {
			break
		}
		line := make([]byte, columns)
		mean := 0.0
		for c := range line {
			line[c] = '0'
			turn := (float64(c) + 0.5) * mapStepDeg
			mean += turns[0].RadiusMM(turn, below) / float64(columns)
			for _, t := range turns {
				lights, _ := t.lookedAt(turn, below)
				line[c] = max(line[c], lights)
			}
		}
		m.RadiusMM, m.Rows = append(m.RadiusMM, math.Round(mean*100)/100), append(m.Rows, string(line))
	}
	m.LookedAt = math.Round(m.SeenShare()*1000) / 1000
	return m
}

// lookedAt says in how many lights a place of the shell was looked at in this turn ('2' in all, '1' in some,
// '0' in none), and what the turn's picture shows there.
func (t Turn) lookedAt(turnDeg, below float64) (lights byte, place body.Place) {
	q, place, ok := t.Pixel(turnDeg, below)
	if !ok || place.NormalZ < math.Cos(scene.MostSlopeDeg*math.Pi/180) || !q.Inside(t.Found.Outline) {
		return '0', place
	}
	n := 0
	for _, u := range t.Found.Unseen {
		x, y := int(q.X)/u.Step, int(q.Y)/u.Step
		if x >= 0 && y >= 0 && x < u.W && y < u.H && !u.In[y*u.W+x] {
			n++
		}
	}
	switch n {
	case 0:
		return '0', place
	case len(t.Found.Unseen):
		return '2', place
	}
	return '1', place
}
