package process

import (
	"fmt"
	"math"
	"math/rand/v2"

	"finishbench/internal/part"
)

// Frame is what findings of many units are laid over each other by.
type Frame string

// The frames. In the unit's, places on the faceplate meet: a worn jig, a nozzle, a
// draught past the spindle. In the picture's, places under the camera meet: dirt on
// the lens or on the glass of a lamp, a glare. In the shell's, places on the unrolled
// shell meet: a spindle's, a holder's or a glove's mark.
const (
	UnitFrame    Frame = "unit"
	PictureFrame Frame = "picture"
	ShellFrame   Frame = "shell"
)

// MapOptions choose what is laid over each other.
type MapOptions struct {
	Frame  Frame              // "": the unit's
	Keep   func(Finding) bool // nil: every finding
	Mirror bool               // left units are turned over, onto right ones
	Draws  int                // of findings placed by lot; 0: as many as take about a second, 99 to 999
	Seed   uint64
}

// Spot is one finding on the map, mm from the middle, x right along the long
// axis, y down (in the picture's frame as in the picture). In the shell's frame x goes
// around it from turn 0 on, mm of the mean girth, and y down from the seam.
type Spot struct {
	X, Y          float64
	Unit, Finding int // places in what the map was made of
	Kind          part.Kind
	Severity      part.Severity
}

// Cluster is a round place with more units than chance would bring.
type Cluster struct {
	X, Y, R  float64 // mm, as a spot's
	Findings int     // there
	Units    int     // with at least one finding there
	Expected float64 // units, if findings fell anywhere alike
	P        float64 // chance of a cluster as strong anywhere on the map
}

// Ends says how the two ends of faceplates were told apart in the unit's frame.
type Ends string

// The ways. Where units lie about alike, as a holder makes them, the end that lies
// on the same side is the same end; a unit put down the other way round is not
// noticed. Where they lie turned at random, it is the end that reaches farther, and
// units whose ends are too much alike are left out.
const (
	EndsAsLaid  Ends = "as laid"
	EndsByShape Ends = "by shape"
)

// aligned is the mean length of the axes' doubled directions, 0 at random to 1
// all alike, from which on units lie alike (common practice, no source).
const aligned = 0.8

// DefectMap is all findings over one outline.
type DefectMap struct {
	Frame   Frame
	Ends    Ends         // in the unit's frame; "" in the others
	Outline [][2]float64 // mean of the units' outlines, mm, closed; none in the shell's frame
	// In the shell's frame: all units' over each other, a digit of 2 where all looked, 1 where some did, 0 where none; else nil.
	Shell    *part.ShellMap
	GirthMM  float64 // in the shell\'s frame: what one turn is along x; else 0
	Spots    []Spot
	Units    int // whose outline, or shell, is known, with or without findings
	Unplaced int // findings that were asked for and have no place: other views, outline, axis or shell not known
	// Strongest first, none over another; the first is there whenever there are enough findings, the others where their P is below 0.05.
	Clusters []Cluster
	Draws    int // of maps; it ends early where clusters as strong have come up often by chance
	Seed     uint64
}

// leastSpots is from how many findings on clusters are looked for.
const leastSpots = 8

// MapOf lays findings over one outline: a place is carried by its direction from
// the middle and its share of the way to the outline there. In the shell's frame it is
// carried by its turn and its height below the seam, onto a cylinder of the mean girth.
//
// Whether they crowd is tested by a scan (Kulldorff, Commun. Stat. Theory Methods
// 26, 1997): of round windows of several sizes everywhere, the one with the largest
// likelihood ratio, against maps on which each finding of each unit is placed by lot,
// evenly over that unit's own faceplate, or over what was looked at of its own shell.
// A unit counts once in a window, however many
// findings it has there, so that one bad unit is no pattern. That findings are seen
// less well at some places (glare at the rim) is not known to the test.
func MapOf(units []Unit, o MapOptions) (DefectMap, error) {
	if o.Frame == "" {
		o.Frame = UnitFrame
	}
	if o.Frame != UnitFrame && o.Frame != PictureFrame && o.Frame != ShellFrame {
		return DefectMap{}, fmt.Errorf("process: map in frame %q: use %s, %s or %s", o.Frame, UnitFrame, PictureFrame, ShellFrame)
	}
	if o.Draws < 0 {
		return DefectMap{}, fmt.Errorf("process: map with %d draws: there can not be less than none", o.Draws)
	}
	if o.Frame == ShellFrame {
		return shellMapOf(units, o), nil
	}
	m := DefectMap{Frame: o.Frame, Seed: o.Seed}
	way := laid{}
	if o.Frame == UnitFrame {
		way = laidOf(units)
		m.Ends = way.ends
	}
	var mean [sectors]float32
	var own [][sectors]float32 // of each spot's unit
	type at struct{ deg, out float64 }
	var ats []at
	for i := range units {
		u := &units[i]
		radii, turn, ok := o.outlineOf(u, way)
		if ok {
			m.Units++
			for s := range mean {
				mean[s] += (radii[s] - mean[s]) / float32(m.Units)
			}
		}
		for j := range u.Findings {
			f := &u.Findings[j]
			if o.Keep != nil && !o.Keep(*f) {
				continue
			}
			if !ok || f.Place == nil {
				m.Unplaced++
				continue
			}
			own = append(own, radii)
			ats = append(ats, at{turn(f.Place.ThetaDeg), f.Place.Out})
			m.Spots = append(m.Spots, Spot{Unit: i, Finding: j, Kind: f.Kind, Severity: f.Severity})
		}
	}
	if m.Units == 0 {
		return m, nil
	}
	for s := range mean {
		x, y := polar((float64(s)+0.5)*360/sectors, float64(mean[s]))
		m.Outline = append(m.Outline, [2]float64{x, y})
	}
	for i, a := range ats {
		m.Spots[i].X, m.Spots[i].Y = polar(a.deg, a.out*between(mean[:], a.deg))
	}
	if len(m.Spots) >= leastSpots {
		s := newPlateScanner(mean)
		s.expect(plateWeights(s, mean, own), m.Spots)
		lots := newLots(own, m.Spots)
		m.scan(s, o.Draws, func(i int, rng *rand.Rand) (x, y float64) {
			deg, out := lots.place(i, rng)
			return polar(deg, out*between(mean[:], deg))
		})
	}
	return m, nil
}

// laid is how the units lie.
type laid struct {
	ends    Ends
	meanDeg float64 // of the axes, where they lie alike
}

func laidOf(units []Unit) laid {
	c, s, n := 0.0, 0.0, 0
	for i := range units {
		if p := units[i].Plate; p.HasAxis() {
			ds, dc := math.Sincos(2 * p.TurnDeg * math.Pi / 180)
			c, s, n = c+dc, s+ds, n+1
		}
	}
	if n > 0 && math.Hypot(c, s)/float64(n) >= aligned {
		return laid{EndsAsLaid, math.Atan2(s, c) * 90 / math.Pi}
	}
	return laid{ends: EndsByShape}
}

// flipDeg is 180 where a plate's axis is to point to its other end; ok is false
// where its ends can not be told apart.
func (l laid) flipDeg(p *Plate) (deg float64, ok bool) {
	other := p.Skew < 0
	ok = p.HasAxis() && math.Abs(p.Skew) >= leastSkew
	if l.ends == EndsAsLaid {
		other, ok = math.Cos((p.TurnDeg-l.meanDeg)*math.Pi/180) < 0, p.HasAxis()
	}
	if other {
		deg = 180
	}
	return deg, ok
}

// outlineOf is a unit's outline in the frame, and how directions of its own are
// turned into the frame's.
func (o MapOptions) outlineOf(u *Unit, way laid) (radii [sectors]float32, turn func(float64) float64, ok bool) {
	if u.Plate == nil {
		return radii, nil, false
	}
	by := u.Plate.TurnDeg
	if o.Frame == UnitFrame {
		if by, ok = way.flipDeg(u.Plate); !ok {
			return radii, nil, false
		}
	}
	over := o.Mirror && u.Side == "L"
	// Turned over, left and right of what lies as laid change places; where an end is
	// told by its shape, that end stays.
	mirror := func(deg float64) float64 {
		switch {
		case !over:
			return deg
		case way.ends == EndsByShape:
			return -deg
		}
		return 180 - deg
	}
	turn = func(deg float64) float64 { return within360(mirror(deg + by)) }
	for s := range radii {
		// The direction of the unit's own that comes to lie here.
		deg := (float64(s) + 0.5) * 360 / sectors
		radii[s] = float32(u.Plate.radius(within360(mirror(deg) - by)))
	}
	return radii, turn, true
}

func within360(deg float64) float64 { return math.Mod(math.Mod(deg, 360)+360, 360) }

func polar(deg, r float64) (x, y float64) {
	s, c := math.Sincos(deg * math.Pi / 180)
	return r * c, r * s
}

// window is a round place that is tried.
type window struct {
	x, y, r  float64
	expected float64 // units, under even placing
}

// windowShares are the windows' radii, as shares of the outline's mean radius, or of
// the shell's.
func windowShares() []float64 { return []float64{0.12, 0.18, 0.27, 0.4, 0.6} }

// scanner counts units in windows.
type scanner struct {
	windows []window
	cells   [][]int32 // of each cell of a fine grid, row by row, the windows that it lies in
	nx, ny  int       // cells along x and y
	x0, y0  float64
	sx, sy  float64 // size of a cell, mm
	girth   float64 // places so far apart along x are one, mm; 0: none are
	tally   []tally // of each window
}

// tally counts units: how many, and which came last.
type tally struct{ last, units int32 }

func (s *scanner) cell(x, y float64) int {
	i, j := int((x-s.x0)/s.sx), int((y-s.y0)/s.sy)
	return max(0, min(j, s.ny-1))*s.nx + max(0, min(i, s.nx-1))
}

// fineCells is how many cells of the grid lie along the mean radius, windowStep
// how far apart windows lie, in their radii.
const (
	fineCells  = 20
	windowStep = 0.55
)

func newPlateScanner(mean [sectors]float32) *scanner {
	r, far := 0.0, 0.0
	for _, v := range mean {
		r, far = r+float64(v)/sectors, math.Max(far, float64(v))
	}
	size := r / fineCells
	n := 2*int(math.Ceil(far/size)) + 2
	s := &scanner{nx: n, ny: n, sx: size, sy: size, x0: -float64(n) / 2 * size, y0: -float64(n) / 2 * size}
	for _, share := range windowShares() {
		step := windowStep * share * r
		k := int(far/step) + 1
		for j := -k; j <= k; j++ {
			for i := -k; i <= k; i++ {
				if x, y := float64(i)*step, float64(j)*step; inside(mean, x, y) {
					s.windows = append(s.windows, window{x: x, y: y, r: share * r})
				}
			}
		}
	}
	s.lay()
	return s
}

// lay finds the windows of each cell.
func (s *scanner) lay() {
	s.cells = make([][]int32, s.nx*s.ny)
	s.tally = make([]tally, len(s.windows))
	for w, v := range s.windows {
		i0, i1 := int(math.Floor((v.x-v.r-s.x0)/s.sx)), int((v.x+v.r-s.x0)/s.sx)
		if s.girth == 0 {
			i0, i1 = max(i0, 0), min(i1, s.nx-1)
		}
		for j := max(0, int((v.y-v.r-s.y0)/s.sy)); j <= min(int((v.y+v.r-s.y0)/s.sy), s.ny-1); j++ {
			for i := i0; i <= i1; i++ {
				c := j*s.nx + (i+s.nx)%s.nx
				x, y := s.middle(c)
				if dx, dy := s.apart(x, v.x), y-v.y; dx*dx+dy*dy <= v.r*v.r {
					s.cells[c] = append(s.cells[c], int32(w))
				}
			}
		}
	}
}

func (s *scanner) middle(c int) (x, y float64) {
	return s.x0 + (float64(c%s.nx)+0.5)*s.sx, s.y0 + (float64(c/s.nx)+0.5)*s.sy
}

// apart is how far two places lie from each other along x, the shorter way round.
func (s *scanner) apart(a, b float64) float64 {
	d := math.Abs(a - b)
	if s.girth > 0 {
		d = math.Min(d, s.girth-d)
	}
	return d
}

func inside(mean [sectors]float32, x, y float64) bool {
	return math.Hypot(x, y) <= between(mean[:], degOf(x, y))
}

func degOf(x, y float64) float64 {
	return math.Mod(math.Atan2(y, x)*180/math.Pi+360, 360)
}

// plateWeights are how many findings each cell would hold under even placing, up to a
// factor. Evenly over a unit's own faceplate is not quite evenly over the mean one.
func plateWeights(s *scanner, mean [sectors]float32, own [][sectors]float32) []float64 {
	var density [sectors]float64 // relative to even over the mean outline
	total := 0.0
	for _, v := range mean {
		total += float64(v) * float64(v)
	}
	for _, r := range own {
		sum := 0.0
		for _, v := range r {
			sum += float64(v) * float64(v)
		}
		for i, v := range r {
			density[i] += float64(v) * float64(v) / sum / float64(len(own))
		}
	}
	for i, v := range mean {
		density[i] *= total / (float64(v) * float64(v))
	}
	weights := make([]float64, len(s.cells))
	for c := range weights {
		if x, y := s.middle(c); inside(mean, x, y) {
			weights[c] = density[int(degOf(x, y)/360*sectors)%sectors]
		}
	}
	return weights
}

// expect works out how many units each window would hold: a unit with m findings
// has at least one in a window that takes the share a of its area with 1-(1-a)^m.
// weights are the cells' shares under even placing, up to a factor, of the mean over
// all findings' units.
func (s *scanner) expect(weights []float64, spots []Spot) {
	area := make([]float64, len(s.windows))
	all := 0.0
	for c, d := range weights {
		all += d
		for _, w := range s.cells[c] {
			area[w] += d
		}
	}
	perUnit, byCount := map[int]int{}, map[int]int{} // findings of each unit; units by their number of findings
	for _, p := range spots {
		perUnit[p.Unit]++
	}
	for _, m := range perUnit {
		byCount[m]++
	}
	for w := range s.windows {
		for m, n := range byCount {
			s.windows[w].expected += float64(n) * (1 - math.Pow(1-area[w]/all, float64(m)))
		}
	}
}

// count counts each unit once in each window that one of its findings lies in.
// Spots of one unit come together.
func (s *scanner) count(spots []Spot) {
	for w := range s.tally {
		s.tally[w] = tally{-1, 0}
	}
	for i := range spots {
		u := int32(spots[i].Unit)
		for _, w := range s.cells[s.cell(spots[i].X, spots[i].Y)] {
			if t := &s.tally[w]; t.last != u {
				t.last = u
				t.units++
			}
		}
	}
}

// excess is the likelihood ratio of a window with more units than expected; 0
// for one with fewer.
func excess(units int32, expected float64) float64 {
	n := float64(units)
	if n <= expected || expected <= 0 {
		return 0
	}
	return n*math.Log(n/expected) - (n - expected)
}

func (s *scanner) most() float64 {
	best := 0.0
	for w, t := range s.tally {
		best = math.Max(best, excess(t.units, s.windows[w].expected))
	}
	return best
}

// scan looks for clusters. place draws a place for the i-th spot.
func (m *DefectMap) scan(s *scanner, draws int, place func(i int, rng *rand.Rand) (x, y float64)) {
	s.count(m.Spots)
	seen := append([]tally(nil), s.tally...)
	if draws == 0 {
		draws = max(199, min(999, 1_000_000/len(m.Spots)))
	}
	rng := rand.New(rand.NewPCG(m.Seed, 0x5ca7))
	drawn := append([]Spot(nil), m.Spots...)
	strongest, far := s.most(), 0
	var bests []float64
	for len(bests) < draws && far < oftenEnough {
		for i := range drawn {
			drawn[i].X, drawn[i].Y = place(i, rng)
		}
		s.count(drawn)
		bests = append(bests, s.most())
		if bests[len(bests)-1] >= strongest*(1-1e-12) {
			far++
		}
	}
	m.Draws = len(bests)
	m.Clusters = m.clusters(s, seen, bests)
}

// oftenEnough is after how many drawn maps with as strong a cluster no more are
// drawn: the chance is then this number over that of the maps (Besag and Clifford,
// Biometrika 78, 1991, 301-304).
const oftenEnough = 20

// lots draw places evenly over each spot's own faceplate.
type lots struct {
	sums [][sectors]float64 // running sums of the sectors' areas
	of   []int              // which of them is a spot's
}

func newLots(own [][sectors]float32, spots []Spot) lots {
	l := lots{of: make([]int, len(spots))}
	for i := range spots {
		if i == 0 || spots[i].Unit != spots[i-1].Unit {
			var c [sectors]float64
			sum := 0.0
			for k, v := range own[i] {
				sum += float64(v) * float64(v)
				c[k] = sum
			}
			l.sums = append(l.sums, c)
		}
		l.of[i] = len(l.sums) - 1
	}
	return l
}

func (l lots) place(i int, rng *rand.Rand) (deg, out float64) {
	c := &l.sums[l.of[i]]
	x := rng.Float64() * c[sectors-1]
	lo, hi := 0, sectors-1
	for lo < hi {
		if mid := (lo + hi) / 2; c[mid] > x {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	return (float64(lo) + rng.Float64()) * 360 / sectors, math.Sqrt(rng.Float64())
}

// clusters are the strongest windows, none over another. Each is compared with
// the strongest of each drawn map, which is too strict for all but the first.
func (m *DefectMap) clusters(s *scanner, seen []tally, bests []float64) []Cluster {
	var out []Cluster
	for len(out) < 3 {
		best, at := 0.0, -1
		for w, t := range seen {
			v := s.windows[w]
			over := false
			for _, c := range out {
				over = over || math.Hypot(s.apart(v.x, c.X), v.y-c.Y) < v.r+c.R
			}
			if e := excess(t.units, v.expected); !over && e > best {
				best, at = e, w
			}
		}
		if at < 0 {
			break
		}
		far := 1
		for _, b := range bests {
			if b >= best*(1-1e-12) {
				far++
			}
		}
		w := s.windows[at]
		c := Cluster{X: w.x, Y: w.y, R: w.r, Units: int(seen[at].units), Expected: w.expected, P: float64(far) / float64(len(bests)+1)}
		if far > oftenEnough {
			c.P = float64(far-1) / float64(len(bests)) // the drawing ended with the last of these
		}
		for _, p := range m.Spots {
			for _, v := range s.cells[s.cell(p.X, p.Y)] {
				if int(v) == at {
					c.Findings++
				}
			}
		}
		if len(out) > 0 && c.P >= 0.05 {
			break
		}
		out = append(out, c)
	}
	return out
}
