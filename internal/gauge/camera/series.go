package camera

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

// seriesPair is one exposure of a series: two pictures.
type seriesPair struct {
	files   []string
	lines   []int // of the table
	ms      float64
	photons float64 // NaN: not given
	dark    bool
}

func (p seriesPair) kind() string {
	if p.dark {
		return "dark"
	}
	return "light"
}

// lineError tells a line of a table.
func lineError(line int, err error) error { return fmt.Errorf("line %d: %w", line, err) }

// readSeries reads the table of an exposure series. Its first line names the
// columns file, exposure_ms, kind and photons, the last two of which may be
// missing; others are left out. Pictures of one exposure and kind belong
// together, wherever they stand; each needs two.
func readSeries(r io.Reader) ([]seriesPair, error) {
	c := csv.NewReader(r)
	c.FieldsPerRecord, c.TrimLeadingSpace, c.Comment = -1, true, '#'
	head, err := c.Read()
	if errors.Is(err, io.EOF) {
		return nil, errors.New("the table is empty: its first line must name the columns file, exposure_ms and, where there are any, " +
			"kind and photons")
	} else if err != nil {
		return nil, csvError(err)
	}
	place := map[string]int{}
	for i, h := range head {
		name := strings.ToLower(strings.TrimSpace(strings.TrimPrefix(h, "\ufeff")))
		if _, twice := place[name]; twice && name != "" {
			return nil, fmt.Errorf("line 1: the column %s is named twice", name)
		}
		place[name] = i
	}
	for _, need := range []string{"file", "exposure_ms"} {
		if _, ok := place[need]; !ok {
			return nil, fmt.Errorf("line 1: there is no column %s; the first line must name the columns file, exposure_ms and, where "+
				"there are any, kind and photons", need)
		}
	}
	s := seriesTable{seen: map[string]int{}}
	for {
		fields, err := c.Read()
		if errors.Is(err, io.EOF) {
			return s.done()
		} else if err != nil {
			return nil, csvError(err)
		}
		line, _ := c.FieldPos(0)
		get := func(name string) string {
			if i, ok := place[name]; ok && i < len(fields) {
				return strings.TrimSpace(fields[i])
			}
			return ""
		}
		if err := s.add(line, get); err != nil {
			return nil, err
		}
	}
}

// csvError is an error of the table's form, in a sentence.
func csvError(err error) error {
	var p *csv.ParseError
	if errors.As(err, &p) {
		return fmt.Errorf("line %d, character %d: %w", p.Line, p.Column, p.Err)
	}
	return err
}

type seriesTable struct {
	pairs []seriesPair
	seen  map[string]int
}

// add puts a line with its exposure's others.
func (s *seriesTable) add(line int, get func(string) string) error {
	p := seriesPair{files: []string{get("file")}, lines: []int{line}}
	if p.files[0] == "" {
		return fmt.Errorf("line %d, column file: no picture is named", line)
	}
	if first, ok := s.seen[p.files[0]]; ok {
		return fmt.Errorf("line %d, column file: %s stands in line %d already; noise needs two different pictures", line, p.files[0], first)
	}
	s.seen[p.files[0]] = line
	var err error
	if p.ms, err = positive(line, "exposure_ms", get("exposure_ms")); err != nil {
		return err
	}
	switch k := strings.ToLower(get("kind")); k {
	case "", "light":
	case "dark":
		p.dark = true
	default:
		return fmt.Errorf("line %d, column kind: %q is neither light nor dark", line, k)
	}
	p.photons = math.NaN()
	if text := get("photons"); text != "" && !p.dark {
		if p.photons, err = positive(line, "photons", text); err != nil {
			return err
		}
	}
	for i := range s.pairs {
		q := &s.pairs[i]
		if q.ms != p.ms || q.dark != p.dark {
			continue
		}
		if len(q.files) == 2 {
			return fmt.Errorf("line %d: a third %s picture at %g ms; keep two of each exposure", line, p.kind(), p.ms)
		}
		if same := q.photons == p.photons || math.IsNaN(q.photons) && math.IsNaN(p.photons); !same {
			return fmt.Errorf("line %d, column photons: %g, but %g in line %d for the same exposure", line, p.photons, q.photons,
				q.lines[0])
		}
		q.files, q.lines = append(q.files, p.files[0]), append(q.lines, line)
		return nil
	}
	s.pairs = append(s.pairs, p)
	return nil
}

// done gives the pairs in order of exposure, light first.
func (s *seriesTable) done() ([]seriesPair, error) {
	if len(s.pairs) == 0 {
		return nil, errors.New("the table names no picture")
	}
	for _, p := range s.pairs {
		if len(p.files) < 2 {
			return nil, fmt.Errorf("line %d: %s is the only %s picture at %g ms; two of each exposure are needed to tell noise", p.lines[0],
				p.files[0], p.kind(), p.ms)
		}
	}
	slices.SortStableFunc(s.pairs, func(a, b seriesPair) int {
		switch {
		case a.dark != b.dark:
			if a.dark {
				return 1
			}
			return -1
		case a.ms < b.ms:
			return -1
		case a.ms > b.ms:
			return 1
		}
		return 0
	})
	return s.pairs, nil
}

// positive reads a number above 0.
func positive(line int, column, text string) (float64, error) {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !(v > 0) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("line %d, column %s: %q is no number above 0", line, column, text)
	}
	return v, nil
}
