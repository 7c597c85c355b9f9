package process

import (
	"math"
	"math/rand/v2"

	"finishbench/internal/part"
)

// ShellPlace is a place on a shell that can be laid over another's.
type ShellPlace struct {
	TurnDeg float64 // 0..360, as [part.Finding] has it
	BelowMM float64 // below the seam, along the axis
}

// The cells of all units' shells laid over each other, as they are told.
const (
	meanStepDeg = 5.0
	meanStepMM  = 0.5
)

// shell is one unit's.
type shell struct {
	*part.ShellMap
	cols int
	over bool // turned over: its turns run the other way round
}

func (s shell) turn(deg float64) float64 {
	if s.over {
		return within360(-deg)
	}
	return deg
}

// shellMapOf is [MapOf] in the shell's frame.
func shellMapOf(units []Unit, o MapOptions) DefectMap {
	m := DefectMap{Frame: ShellFrame, Seed: o.Seed}
	var all, own []shell // of the units, and of each spot's unit
	radius, depth := 0.0, 0.0
	for i := range units {
		u := &units[i]
		s := shell{u.Shell, u.Shell.Columns(), o.Mirror && u.Side == "L"}
		known := s.cols > 0 && newShellLot(s).area() > 0
		if known {
			all = append(all, s)
			radius += s.MeanRadiusMM()
			depth = math.Max(depth, s.DepthMM())
		}
		for j := range u.Findings {
			f := &u.Findings[j]
			if o.Keep != nil && !o.Keep(*f) {
				continue
			}
			if !known || f.OnShell == nil || math.IsNaN(f.OnShell.TurnDeg) || !(f.OnShell.BelowMM >= 0) {
				m.Unplaced++
				continue
			}
			own = append(own, s)
			at := Spot{X: s.turn(f.OnShell.TurnDeg), Y: f.OnShell.BelowMM, Unit: i, Finding: j, Kind: f.Kind, Severity: f.Severity}
			m.Spots = append(m.Spots, at)
		}
	}
	m.Units = len(all)
	if m.Units == 0 {
		return m
	}
	radius /= float64(m.Units)
	m.Shell, m.GirthMM = meanShell(all, depth), 2*math.Pi*radius
	mmPerDeg := m.GirthMM / 360
	for i := range m.Spots {
		m.Spots[i].X *= mmPerDeg
	}
	if len(m.Spots) < leastSpots {
		return m
	}
	s := newShellScanner(radius, depth)
	s.expect(shellWeights(s, own), m.Spots)
	lots := make([]shellLot, len(own))
	for i := range own {
		if i > 0 && m.Spots[i].Unit == m.Spots[i-1].Unit {
			lots[i] = lots[i-1]
		} else {
			lots[i] = newShellLot(own[i])
		}
	}
	m.scan(s, o.Draws, func(i int, rng *rand.Rand) (x, y float64) {
		turn, below := lots[i].place(rng)
		return turn * mmPerDeg, below
	})
	return m
}

// meanShell lays shells over each other.
func meanShell(all []shell, depthMM float64) *part.ShellMap {
	m := &part.ShellMap{StepDeg: meanStepDeg, StepMM: meanStepMM}
	rows, cols := int(math.Ceil(depthMM/meanStepMM-1e-9)), int(360/meanStepDeg)
	seen, area := 0.0, 0.0
	for j := range rows {
		below := (float64(j) + 0.5) * meanStepMM
		r, n := 0.0, 0
		for _, s := range all {
			if row := int(below / s.StepMM); row < len(s.RadiusMM) {
				r, n = r+s.RadiusMM[row], n+1
			}
		}
		if n == 0 { // half a row of the deepest is less than this one's middle
			break
		}
		row := make([]byte, cols)
		for i := range row {
			looked := 0
			for _, s := range all {
				if s.At(s.turn((float64(i)+0.5)*meanStepDeg), below) > '0' {
					looked++
				}
			}
			row[i] = '0' + byte(min(looked, 1)+looked/len(all))
		}
		m.RadiusMM, m.Rows = append(m.RadiusMM, r/float64(n)), append(m.Rows, string(row))
	}
	for _, s := range all {
		m.SeeThrough = m.SeeThrough || s.SeeThrough
		a := 0.0
		for i := range s.Rows {
			a += float64(s.cols) * s.AreaMM2(i)
		}
		seen, area = seen+newShellLot(s).area(), area+a
	}
	m.LookedAt = seen / area
	return m
}

// newShellScanner makes windows on a cylinder.
func newShellScanner(radius, depth float64) *scanner {
	size, girth := radius/fineCells, 2*math.Pi*radius
	s := &scanner{girth: girth, nx: int(math.Ceil(girth / size)), ny: max(1, int(math.Ceil(depth/size)))}
	s.sx, s.sy = girth/float64(s.nx), depth/float64(s.ny)
	for _, share := range windowShares() {
		r := share * radius
		nx, ny := int(math.Ceil(girth/(windowStep*r))), int(math.Ceil(depth/(windowStep*r)))
		for j := range ny + 1 {
			for i := range nx {
				s.windows = append(s.windows, window{x: float64(i) * girth / float64(nx), y: float64(j) * depth / float64(ny), r: r})
			}
		}
	}
	s.lay()
	return s
}

// shellWeights are how many findings each cell would hold, placed evenly over what was
// looked at of each unit's shell.
func shellWeights(s *scanner, own []shell) []float64 {
	weights := make([]float64, len(s.cells))
	one := make([]float64, len(s.cells))
	for i, o := range own {
		// Of a unit with several findings the weights are the same.
		if i == 0 || o != own[i-1] {
			sum := 0.0
			for c := range one {
				x, y := s.middle(c)
				one[c] = 0
				if o.At(o.turn(x/s.girth*360), y) > '0' {
					one[c] = o.AreaMM2(int(y / o.StepMM))
					sum += one[c]
				}
			}
			for c := range one {
				one[c] /= math.Max(sum, math.SmallestNonzeroFloat64)
			}
		}
		for c, v := range one {
			weights[c] += v
		}
	}
	return weights
}

// shellLot draws places evenly over what was looked at of a shell.
type shellLot struct {
	shell
	sums []float64 // running sums of the rows' areas that were looked at
	seen []int     // cells of each row that were
}

func newShellLot(s shell) shellLot {
	l := shellLot{shell: s}
	sum := 0.0
	for i, row := range s.Rows {
		n := 0
		for _, d := range []byte(row) {
			if d > '0' {
				n++
			}
		}
		sum += float64(n) * s.AreaMM2(i)
		l.sums, l.seen = append(l.sums, sum), append(l.seen, n)
	}
	return l
}

func (l shellLot) area() float64 { return l.sums[len(l.sums)-1] }

func (l shellLot) place(rng *rand.Rand) (turnDeg, belowMM float64) {
	x := rng.Float64() * l.area()
	row := 0
	for row < len(l.sums)-1 && l.sums[row] <= x {
		row++
	}
	k := rng.IntN(max(1, l.seen[row]))
	col := 0
	for i, d := range []byte(l.Rows[row]) {
		if d > '0' {
			if k == 0 {
				col = i
				break
			}
			k--
		}
	}
	return l.turn((float64(col) + rng.Float64()) * 360 / float64(l.cols)), (float64(row) + rng.Float64()) * l.StepMM
}
