package synth

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"finishbench/internal/part"
)

// RandomDefects scatters n defects of each kind over the faceplate (or panel)
// that p describes, with common sizes, in a fixed order of kinds. They keep
// 0.9 mm from the edge and do not touch each other. Where no free place is
// found after 2000 tries a defect is left out, so that fewer may come back.
// p.Defects are kept clear of, but are not in the result.
func RandomDefects(p FaceParams, n map[part.Kind]int, seed uint64) []Defect {
	checkFace(p)
	rng := rand.New(rand.NewPCG(seed, 0x5ca77e6))
	e := newEgg(p)
	px := 1 / p.MMPerPX
	between := func(a, b float64) float64 { return a + (b-a)*rng.Float64() }
	var all []Defect
	for _, kind := range part.Kinds {
		for range n[kind] {
			d := Defect{Kind: kind, Strength: 1, AngleDeg: 180 * rng.Float64()}
			switch kind {
			case part.Bubble:
				d.DiameterMM = between(0.1, 0.4)
			case part.Dust:
				d.DiameterMM = between(0.08, 0.3)
				d.Colour = dustColours[rng.IntN(len(dustColours))]
			case part.Fibre:
				d.LengthMM, d.WidthMM = between(0.5, 2.5), between(0.01, 0.025)
				d.Colour = fibreColours[rng.IntN(len(fibreColours))]
			case part.Sanding:
				d.LengthMM, d.WidthMM = between(1.2, 3), between(0.4, 1.3)
				d.Lines = 5 + int(d.WidthMM*between(3, 9))
			case part.Crater:
				d.DiameterMM = between(0.3, 0.9)
			case part.Run:
				d.LengthMM, d.WidthMM = between(1.5, 3), between(0.4, 0.8)
			case part.Haze:
				d.DiameterMM = between(1, 2.5)
			case part.Missed:
				d.LengthMM, d.WidthMM = between(0.9, 2), between(0.7, 1.3)
			case part.Chip:
				d.DiameterMM = between(0.5, 1)
			default:
				panic("synth: no way to draw a defect of kind " + string(kind))
			}
			all = append(all, d)
		}
	}
	// The largest take their places first.
	order := make([]int, len(all))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(all[b].radius(), all[a].radius()) })
	placed := make([]bool, len(all))
	taken := slices.Clone(p.Defects)
	for _, i := range order {
		d := &all[i]
		room := (d.radius() + 0.9) * px
		for range 2000 {
			x, y := between(0, float64(p.W)), between(0, float64(p.H))
			dist, _, _, angle := e.distance(x, y)
			if d.Kind == part.Chip { // on the edge
				k := int(math.Mod(angle/(2*math.Pi)+1, 1)*eggSteps) % eggSteps
				x, y, dist = e.cx+e.table[k]*math.Cos(angle), e.cy+e.table[k]*math.Sin(angle), room
			}
			if dist < room || min(x, y, float64(p.W)-x, float64(p.H)-y) < room {
				continue
			}
			d.XMM, d.YMM = (x-e.cx)/px, (y-e.cy)/px
			if free(*d, taken) {
				taken, placed[i] = append(taken, *d), true
				break
			}
		}
	}
	var out []Defect
	for i, d := range all {
		if placed[i] {
			out = append(out, d)
		}
	}
	return out
}

// radius is of a circle around the defect, in mm.
func (d Defect) radius() float64 {
	return max(d.DiameterMM*0.8, math.Hypot(d.LengthMM, d.WidthMM)/2)
}

func free(d Defect, taken []Defect) bool {
	for _, o := range taken {
		if math.Hypot(d.XMM-o.XMM, d.YMM-o.YMM) < d.radius()+o.radius()+0.2 {
			return false
		}
	}
	return true
}

// Colours in linear light. Common practice, no source.
var (
	dustColours = [][3]float64{
		{0.03, 0.03, 0.03}, {0.2, 0.2, 0.22}, {0.35, 0.25, 0.15}, {0.85, 0.83, 0.78}, {0.1, 0.06, 0.04},
	}
	fibreColours = [][3]float64{
		{0.05, 0.05, 0.06}, {0.45, 0.12, 0.12}, {0.9, 0.88, 0.82}, {0.1, 0.15, 0.4}, {0.3, 0.3, 0.3},
	}
)
