package learn

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"finishbench/internal/part"
)

// Example is one finding with its label: what a person, or a known truth, says
// that it is.
type Example struct {
	Unit           string // findings of one unit are never on both sides of a test
	Place          string // which finding of it, for a person to look up
	Kind           part.Kind
	By             string             // who says so; "" where it is a known truth
	Rule           part.Kind          // what the rules call it
	RuleConfidence float64            // the rules' confidence, 0..1
	Features       map[string]float64 // as in result.json
}

// The columns of a table of examples that are no features.
var exampleColumns = []string{"unit", "place", "kind", "by", "rule_type", "rule_confidence"}

// WriteExamples writes a table, a line an example; a feature that a finding has
// not is an empty field.
func WriteExamples(w io.Writer, examples []Example) error {
	names := map[string]bool{}
	for _, e := range examples {
		for n := range e.Features {
			names[n] = true
		}
	}
	columns := slices.Sorted(maps.Keys(names))
	c := csv.NewWriter(w)
	if err := c.Write(append(slices.Clone(exampleColumns), columns...)); err != nil {
		return err
	}
	for _, e := range examples {
		line := []string{e.Unit, e.Place, string(e.Kind), e.By, string(e.Rule), decimal(e.RuleConfidence)}
		for _, n := range columns {
			cell := ""
			if v, ok := e.Features[n]; ok {
				cell = decimal(v)
			}
			line = append(line, cell)
		}
		if err := c.Write(line); err != nil {
			return err
		}
	}
	c.Flush()
	return c.Error()
}

func decimal(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// maxExamples is far more than a workshop labels; a larger table is a slip.
const maxExamples = 200000

// ReadExamples reads a table as [WriteExamples] writes it. Columns may stand in
// any order. Errors name line and column.
func ReadExamples(r io.Reader) ([]Example, error) {
	c := csv.NewReader(r)
	head, err := c.Read()
	if errors.Is(err, io.EOF) {
		return nil, errors.New("learn: the table is empty")
	} else if err != nil {
		return nil, fmt.Errorf("learn: %w", err)
	}
	head[0] = strings.TrimPrefix(head[0], "\ufeff") // spreadsheets put a byte order mark first
	at := map[string]int{}
	for i, h := range head {
		h = strings.TrimSpace(h)
		if _, twice := at[h]; twice {
			return nil, fmt.Errorf("learn: line 1: the column %q is there twice", h)
		}
		at[h] = i
	}
	for _, need := range []string{"unit", "kind", "rule_type"} {
		if _, ok := at[need]; !ok {
			return nil, fmt.Errorf("learn: line 1: the column %q is missing", need)
		}
	}
	var all []Example
	for {
		line, err := c.Read()
		if errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, fmt.Errorf("learn: %w", err)
		}
		n, _ := c.FieldPos(0)
		e, err := readExample(at, line)
		if err != nil {
			return nil, fmt.Errorf("learn: line %d, %w", n, err)
		}
		if all = append(all, e); len(all) > maxExamples {
			return nil, fmt.Errorf("learn: the table has more than %d lines", maxExamples)
		}
	}
	if len(all) == 0 {
		return nil, errors.New("learn: the table has no line under its heading")
	}
	return all, nil
}

func readExample(at map[string]int, line []string) (Example, error) {
	text := func(name string) string {
		if i, ok := at[name]; ok {
			return strings.TrimSpace(line[i])
		}
		return ""
	}
	e := Example{Unit: text("unit"), Place: text("place"), Kind: part.Kind(text("kind")), By: text("by"), Rule: part.Kind(text("rule_type")), Features: map[string]float64{}}
	if e.Unit == "" {
		return e, errors.New("column unit: it is empty")
	}
	for _, k := range []struct {
		column string
		kind   part.Kind
	}{{"kind", e.Kind}, {"rule_type", e.Rule}} {
		if !Learnable(k.kind) {
			return e, fmt.Errorf("column %s: %q is no kind of defect that is told from its look: use %s", k.column, k.kind, kindList(Kinds()))
		}
	}
	for name, i := range at {
		cell := strings.TrimSpace(line[i])
		if cell == "" || slices.Contains(exampleColumns[:5], name) {
			continue
		}
		v, err := strconv.ParseFloat(cell, 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return e, fmt.Errorf("column %s: %q is no number", name, cell)
		}
		if name == "rule_confidence" {
			if e.RuleConfidence = v; v < 0 || v > 1 {
				return e, fmt.Errorf("column %s: %s is not from 0 to 1", name, cell)
			}
			continue
		}
		e.Features[name] = v
	}
	if len(e.Features) == 0 {
		return e, errors.New("it has no feature: the table must have the columns of a finding's features in result.json")
	}
	return e, nil
}

// Kinds are the kinds that a label may name: what lies on a surface. Those of the
// seam are measured, not told from a look.
func Kinds() []part.Kind {
	return slices.DeleteFunc(slices.Clone(part.Kinds), part.Kind.AtSeam)
}

// Learnable says whether a label may name a kind.
func Learnable(k part.Kind) bool { return slices.Contains(Kinds(), k) }

func kindList(kinds []part.Kind) string {
	var s []string
	for _, k := range kinds {
		s = append(s, string(k))
	}
	return strings.Join(s, ", ")
}
