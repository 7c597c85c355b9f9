package study

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Reading is one value of a crossed study.
type Reading struct {
	Part, Appraiser, Trial string
	Value                  float64 // NaN: not measured
	Line                   int     // in the file it came from; 0: none
}

// Crossed is a crossed study: each part measured by each appraiser, the same
// number of times. Make one with [NewCrossed].
type Crossed struct {
	Parts, Appraisers []string
	Trials            int           // in each cell
	Values            [][][]float64 // by part, appraiser, trial; all finite
}

// Cell is a part as measured by an appraiser.
type Cell struct {
	Part, Appraiser string
	Have            int // readings
}

// IncompleteError is a study in which some cells lack readings.
type IncompleteError struct {
	Cells []Cell
	Want  int // readings a cell
}

func (e IncompleteError) Error() string {
	var s []string
	for i, c := range e.Cells {
		if i == 4 && len(e.Cells) > 5 {
			s = append(s, fmt.Sprintf("and %d more", len(e.Cells)-i))
			break
		}
		s = append(s, fmt.Sprintf("part %s by %s has %d", c.Part, c.Appraiser, c.Have))
	}
	return fmt.Sprintf("the study is not balanced: each part needs %d readings by each appraiser, but %s: measure what is missing, or "+
		"leave those parts out",
		e.Want, strings.Join(s, ", "))
}

// largest is the largest value taken for a measurement: squares of it still are numbers.
const largest = 1e100

// crossedColumns are the columns of a crossed study.
var crossedColumns = []column{
	{name: "part", also: []string{"unit", "piece"}},
	{name: "appraiser", also: []string{"appr", "operator"}, optional: true},
	{name: "trial", also: []string{"repeat", "run"}, optional: true},
	{name: "value", also: []string{"y", "measurement"}},
}

// ReadReadings reads a table with the columns part, appraiser, trial and value
// (or unit, piece; appr, operator; repeat, run; y, measurement), in any order,
// separated by commas, semicolons or tabs. Without an appraiser all readings
// are by one; without a trial the readings of a cell count up. Errors name line
// and column.
func ReadReadings(r io.Reader) ([]Reading, error) {
	t, err := readTable(r, crossedColumns)
	if err != nil {
		return nil, err
	}
	var all []Reading
	next := map[[2]string]int{}
	for _, rw := range t.rows {
		v, err := rw.number("value")
		if err != nil {
			return nil, err
		}
		d := Reading{rw.text["part"], rw.text["appraiser"], rw.text["trial"], v, rw.line}
		if d.Part == "" {
			return nil, fmt.Errorf("line %d, column part: nothing there", rw.line)
		}
		if !t.has["appraiser"] {
			d.Appraiser = "all"
		} else if d.Appraiser == "" {
			return nil, fmt.Errorf("line %d, column appraiser: nothing there", rw.line)
		}
		if !t.has["trial"] {
			cell := [2]string{d.Part, d.Appraiser}
			next[cell]++
			d.Trial = strconv.Itoa(next[cell])
		} else if d.Trial == "" {
			return nil, fmt.Errorf("line %d, column trial: nothing there", rw.line)
		}
		all = append(all, d)
	}
	return all, nil
}

// NewCrossed sorts readings into a study. It refuses readings that are there
// twice, cells that lack readings ([IncompleteError]), fewer than two trials,
// and values that are all the same. Parts and appraisers stand in the order of
// their names, numbers by size.
func NewCrossed(readings []Reading) (Crossed, error) {
	var c Crossed
	if len(readings) == 0 {
		return c, errors.New("the study has no readings")
	}
	seen := map[[3]string]Reading{}
	cells := map[[2]string][]Reading{}
	for _, d := range readings {
		key := [3]string{d.Part, d.Appraiser, d.Trial}
		if first, ok := seen[key]; ok {
			return c, fmt.Errorf("part %s, appraiser %s, trial %s is there twice%s: keep one of them", d.Part, d.Appraiser, d.Trial,
				lines(first.Line, d.Line))
		}
		seen[key] = d
		if !slices.Contains(c.Parts, d.Part) {
			c.Parts = append(c.Parts, d.Part)
		}
		if !slices.Contains(c.Appraisers, d.Appraiser) {
			c.Appraisers = append(c.Appraisers, d.Appraiser)
		}
		cell := [2]string{d.Part, d.Appraiser}
		if math.Abs(d.Value) > largest {
			return c, fmt.Errorf("part %s, appraiser %s, trial %s: %g is no measurement", d.Part, d.Appraiser, d.Trial, d.Value)
		}
		if !math.IsNaN(d.Value) {
			cells[cell] = append(cells[cell], d)
			c.Trials = max(c.Trials, len(cells[cell]))
		}
	}
	slices.SortFunc(c.Parts, compareNames)
	slices.SortFunc(c.Appraisers, compareNames)
	return c.fill(cells)
}

func (c Crossed) fill(cells map[[2]string][]Reading) (Crossed, error) {
	if c.Trials == 0 {
		return c, errors.New("nothing was measured: no reading has a value")
	}
	var missing []Cell
	for _, p := range c.Parts {
		var row [][]float64
		for _, a := range c.Appraisers {
			in := cells[[2]string{p, a}]
			if len(in) < c.Trials {
				missing = append(missing, Cell{p, a, len(in)})
				continue
			}
			slices.SortStableFunc(in, func(x, y Reading) int { return compareNames(x.Trial, y.Trial) })
			v := make([]float64, len(in))
			for i, d := range in {
				v[i] = d.Value
			}
			row = append(row, v)
		}
		c.Values = append(c.Values, row)
	}
	switch {
	case len(missing) > 0:
		return c, IncompleteError{missing, c.Trials}
	case c.Trials < 2:
		return c, errors.New("each part was measured once by each appraiser: without a second trial the gauge's repeatability cannot be " +
			"told; measure all parts again")
	case c.constant():
		return c, fmt.Errorf("all %d readings are %g: nothing varies, so that nothing can be said of the gauge; use parts that differ, "+
			"and record more digits", c.n(), c.Values[0][0][0])
	}
	return c, nil
}

// Complete is what is left of readings without the parts that some appraiser
// measured less often than others; the parts left out are named in order.
func Complete(readings []Reading) (left []Reading, out []string) {
	have := map[[2]string]int{}
	parts, appraisers := map[string]bool{}, map[string]bool{}
	most := 0
	for _, d := range readings {
		parts[d.Part], appraisers[d.Appraiser] = true, true
		if !math.IsNaN(d.Value) {
			have[[2]string{d.Part, d.Appraiser}]++
			most = max(most, have[[2]string{d.Part, d.Appraiser}])
		}
	}
	short := map[string]bool{}
	for p := range parts {
		for a := range appraisers {
			if have[[2]string{p, a}] < most {
				short[p] = true
			}
		}
	}
	for _, d := range readings {
		// A reading beyond the cell's full number has no value and no place.
		if !short[d.Part] && !math.IsNaN(d.Value) {
			left = append(left, d)
		}
	}
	for p := range short {
		out = append(out, p)
	}
	slices.SortFunc(out, compareNames)
	return left, out
}

func (c Crossed) n() int { return len(c.Parts) * len(c.Appraisers) * c.Trials }

func (c Crossed) constant() bool {
	for _, p := range c.Values {
		for _, a := range p {
			for _, v := range a {
				if v != c.Values[0][0][0] {
					return false
				}
			}
		}
	}
	return true
}

// compareNames puts numbers by size before other names in order.
func compareNames(a, b string) int {
	x, errX := strconv.ParseFloat(a, 64)
	y, errY := strconv.ParseFloat(b, 64)
	switch {
	case errX == nil && errY == nil && x != y:
		return cmp.Compare(x, y)
	case errX == nil && errY != nil:
		return -1
	case errX != nil && errY == nil:
		return 1
	}
	return cmp.Compare(a, b)
}

func lines(a, b int) string {
	if a == 0 || b == 0 {
		return ""
	}
	return fmt.Sprintf(" (lines %d and %d)", a, b)
}
