package study

import (
	"fmt"
	"io"
	"math"
	"strings"
)

// KindTarget is a target and what kind of defect it is; empty: not told.
type KindTarget struct {
	Kind string
	Target
}

var targetColumns = []column{
	{name: "size", also: []string{"size_mm", "diameter_mm", "length_mm"}},
	{name: "found", also: []string{"hit", "hits"}},
	{name: "of", also: []string{"n", "targets"}, optional: true},
	{name: "kind", also: []string{"type"}, optional: true},
}

// ReadTargets reads a table with the columns size, found and, where a line is
// about several targets of one size, of; and kind where there are several (or
// size_mm, diameter_mm, length_mm; hit, hits; n, targets; type), in any order.
// found is a count, or yes or no. Sizes must be above 0. Errors name line and
// column.
func ReadTargets(r io.Reader) ([]KindTarget, error) {
	t, err := readTable(r, targetColumns)
	if err != nil {
		return nil, err
	}
	var all []KindTarget
	for _, rw := range t.rows {
		k := KindTarget{Kind: rw.text["kind"]}
		if k.Size, err = rw.number("size"); err != nil {
			return nil, err
		}
		if math.IsNaN(k.Size) {
			return nil, fmt.Errorf("line %d, column size: nothing there", rw.line)
		}
		if k.Size <= 0 {
			return nil, rw.wrong("size", "is no size: it must be above 0")
		}
		k.Of = 1
		if t.has["of"] {
			if k.Of, err = rw.count("of"); err != nil {
				return nil, err
			}
			if k.Of == 0 {
				return nil, rw.wrong("of", "is no number of targets: there must be one at least")
			}
		}
		switch strings.ToLower(rw.text["found"]) {
		case "yes", "true":
			k.Found = k.Of
		case "no", "false":
		default:
			if k.Found, err = rw.count("found"); err != nil {
				return nil, err
			}
		}
		if k.Found > k.Of {
			return nil, rw.wrong("found", fmt.Sprintf("is more than the %d that there are", k.Of))
		}
		all = append(all, k)
	}
	if len(all) == 0 {
		return nil, fmt.Errorf("the table has no targets: below the names of the columns there is nothing")
	}
	return all, nil
}

// count is a whole number from 0 on.
func (r row) count(col string) (int, error) {
	v, err := r.number(col)
	if err != nil {
		return 0, err
	}
	if math.IsNaN(v) {
		return 0, fmt.Errorf("line %d, column %s: nothing there", r.line, col)
	}
	if v < 0 || v != math.Trunc(v) || v > 1e9 {
		return 0, r.wrong(col, "is not a count: whole numbers from 0 on")
	}
	return int(v), nil
}
