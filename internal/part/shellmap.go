package part

import (
	"math"
	"strings"
)

// Columns is how many columns each row has; 0 where the map's parts do not fit each other.
func (m *ShellMap) Columns() int {
	if m == nil || len(m.Rows) == 0 || len(m.Rows) != len(m.RadiusMM) || !(m.StepDeg > 0) || !(m.StepMM > 0) || math.IsInf(m.StepMM, 0) {
		return 0
	}
	n := int(math.Round(360 / m.StepDeg))
	for i, row := range m.Rows {
		if r := m.RadiusMM[i]; len(row) != n || !(r > 0) || math.IsInf(r, 0) {
			return 0
		}
	}
	return n
}

// DepthMM is how far below the seam the last row ends.
func (m *ShellMap) DepthMM() float64 { return float64(len(m.Rows)) * m.StepMM }

// AreaMM2 is the area of one cell of a row: of a body of revolution whose radius runs straight
// from row to row (a truncated cone's, pi times the sum of radii times the slant height, for one turn).
func (m *ShellMap) AreaMM2(row int) float64 {
	before, after := max(row-1, 0), min(row+1, len(m.RadiusMM)-1)
	slope := 0.0
	if after > before {
		slope = (m.RadiusMM[after] - m.RadiusMM[before]) / (float64(after-before) * m.StepMM)
	}
	return m.StepDeg * math.Pi / 180 * m.RadiusMM[row] * m.StepMM * math.Hypot(1, slope)
}

// SeenShare is the share of its area that was looked at in at least one light, 0..1; each cell counts by its area.
func (m *ShellMap) SeenShare() float64 {
	seen, area := 0.0, 0.0
	for i, row := range m.Rows {
		a := m.AreaMM2(i)
		area += a * float64(len(row))
		seen += a * float64(len(row)-strings.Count(row, "0"))
	}
	return seen / max(area, math.SmallestNonzeroFloat64)
}

// MeanRadiusMM is the mean of the radii, each cell weighed by its area.
func (m *ShellMap) MeanRadiusMM() float64 {
	sum, area := 0.0, 0.0
	for i, r := range m.RadiusMM {
		a := m.AreaMM2(i)
		sum, area = sum+r*a, area+a
	}
	return sum / area
}

// Surface is the shell over all its turns, as a surface: what was looked at in any light
// counts as looked at.
func (m *ShellMap) Surface() Surface {
	return Surface{View: Shell, AngleDeg: math.NaN(), LookedAt: m.LookedAt, NotLookedAt: 1 - m.LookedAt}
}

// RadiusAt is the shell's mean distance from its axis so far below the seam, mm; below the
// last row that of the last one, and 0 where there is none.
func (m *ShellMap) RadiusAt(belowMM float64) float64 {
	if m.Columns() == 0 {
		return 0
	}
	return m.RadiusMM[min(max(0, int(belowMM/m.StepMM)), len(m.RadiusMM)-1)]
}

// At is the digit of the cell in which a place lies: in how many lights it was looked at; '0'
// below the last row. The map's parts must fit each other: see [ShellMap.Columns].
func (m *ShellMap) At(turnDeg, belowMM float64) byte {
	row := int(belowMM / m.StepMM)
	if !(belowMM >= 0) || row >= len(m.Rows) {
		return '0'
	}
	if turnDeg < 0 || turnDeg >= 360 {
		turnDeg = math.Mod(math.Mod(turnDeg, 360)+360, 360)
	}
	return m.Rows[row][min(int(turnDeg/m.StepDeg), len(m.Rows[row])-1)]
}
