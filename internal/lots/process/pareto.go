package process

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"finishbench/internal/part"
	"finishbench/internal/stats/study"
)

// Key is what findings are counted by.
type Key string

// The keys. The first three are of findings: a unit can be under several. The
// others are of units, each under one.
const (
	ByKind      Key = "kind"
	ByZone      Key = "zone"
	BySeverity  Key = "severity"
	ByStage     Key = "stage"
	ByOperator  Key = "operator"
	ByShift     Key = "shift"
	ByFaceplate Key = "faceplate"
	ByResin     Key = "resin"
	BySide      Key = "side"
	ByLot       Key = "lot"
)

// Keys lists the keys in order.
func Keys() []Key {
	return []Key{ByKind, ByZone, BySeverity, ByStage, ByOperator, ByShift, ByFaceplate, ByResin, BySide, ByLot}
}

// ParseKey turns a word into a key, or says which there are.
func ParseKey(s string) (Key, error) {
	if slices.Contains(Keys(), Key(s)) {
		return Key(s), nil
	}
	var words []string
	for _, k := range Keys() {
		words = append(words, string(k))
	}
	return "", fmt.Errorf("process: count by %q: use %s", s, strings.Join(words, ", "))
}

// OfFindings says whether the key is of findings, not of units.
func (k Key) OfFindings() bool { return k == ByKind || k == ByZone || k == BySeverity }

func (k Key) ofFinding(f *Finding) string {
	switch k {
	case ByZone:
		return string(f.Zone)
	case BySeverity:
		return string(f.Severity)
	}
	return string(f.Kind)
}

func (k Key) ofUnit(u *Unit) string {
	switch k {
	case ByStage:
		return string(u.Stage)
	case ByOperator:
		return u.Operator
	case ByShift:
		return u.Shift
	case ByFaceplate:
		return u.Faceplate
	case ByResin:
		return u.Resin
	case BySide:
		return u.Side
	}
	return u.Lot
}

// ParetoOptions choose what is counted.
type ParetoOptions struct {
	Kind       part.Kind // only findings of this kind; "": all
	Confidence float64   // of the bounds of shares; 0: 0.95
	Seed       uint64    // of tables that are drawn
}

// Row is one bar.
type Row struct {
	Name       string // "": not told
	Findings   int
	Share      float64     // of all findings, 0..1; NaN: there is none
	Cumulative float64     // with all bars before it
	With       study.Share // inspections with at least one such finding: for keys of units, out of the group's own
	// Residual is how far the group's share lies off that of the others, in standard
	// deviations; NaN for keys of findings and for what is not told.
	Residual float64
}

// Pareto counts findings by a key, most frequent first.
type Pareto struct {
	Key         Key
	Kind        part.Kind
	Rows        []Row
	Findings    int
	Inspections int // that were measured
	NotMeasured int // in no other number
	Unnamed     int // inspections without the key's word: in a row of their own, not in the test
	// Test compares, for keys of units, the shares of inspections with a finding:
	// findings of one unit hang together, units hardly do. For keys of findings it
	// compares the counts with equal ones, as if each came singly: read it with care.
	Test Test
	// Ahead says whether the first row is truly ahead of the second; nil: there is no
	// second, or the key is of units.
	Ahead *Ahead
}

// Ahead compares the first two rows by the inspections that have one and not
// the other (a sign test, McNemar, Psychometrika 12, 1947, in its exact form).
type Ahead struct {
	FirstOnly, SecondOnly int
	P                     float64 // NaN: none has just one
}

// ParetoOf counts findings by a key. Inspections that were not measured do not
// count.
func ParetoOf(units []Unit, key Key, o ParetoOptions) (Pareto, error) {
	if o.Confidence == 0 {
		o.Confidence = 0.95
	}
	if _, err := ParseKey(string(key)); err != nil {
		return Pareto{}, err
	}
	p := Pareto{Key: key, Kind: o.Kind}
	found, with, of := map[string]int{}, map[string]int{}, map[string]int{}
	for i := range units {
		u := &units[i]
		if !u.Measured() {
			p.NotMeasured++
			continue
		}
		p.Inspections++
		here := map[string]bool{}
		if !key.OfFindings() {
			name := key.ofUnit(u)
			of[name]++
			if name == "" {
				p.Unnamed++
			}
		}
		for j := range u.Findings {
			f := &u.Findings[j]
			if o.Kind != "" && f.Kind != o.Kind {
				continue
			}
			name := key.ofUnit(u)
			if key.OfFindings() {
				name = key.ofFinding(f)
			}
			found[name]++
			p.Findings++
			here[name] = true
		}
		for name := range here {
			with[name]++
		}
	}
	if key.OfFindings() {
		for name := range found {
			of[name] = p.Inspections
		}
	}
	for name, n := range of {
		s, err := study.NewShare(with[name], n, o.Confidence, study.WilsonScore)
		if err != nil {
			return p, fmt.Errorf("process: pareto by %s: %w", key, err)
		}
		p.Rows = append(p.Rows, Row{Name: name, Findings: found[name], Share: float64(found[name]) / float64(p.Findings), With: s, Residual: math.NaN()})
	}
	slices.SortFunc(p.Rows, func(a, b Row) int {
		return cmp.Or(cmp.Compare(b.Findings, a.Findings), cmp.Compare(b.With.Count, a.With.Count), cmp.Compare(a.Name, b.Name))
	})
	sum := 0
	for i := range p.Rows {
		sum += p.Rows[i].Findings
		p.Rows[i].Cumulative = float64(sum) / float64(p.Findings)
	}
	return p, p.test(units, o)
}

func (p *Pareto) test(units []Unit, o ParetoOptions) error {
	var err error
	if p.Key.OfFindings() {
		var n []int
		for _, r := range p.Rows {
			n = append(n, r.Findings)
		}
		if len(p.Rows) >= 2 {
			p.Ahead = p.ahead(units, o.Kind)
		}
		p.Test, err = TestShares(n, nil, o.Seed)
		return err
	}
	var hits, sizes, at []int
	for i, r := range p.Rows {
		if r.Name != "" {
			hits, sizes, at = append(hits, r.With.Count), append(sizes, r.With.Of), append(at, i)
		}
	}
	var residuals []float64
	p.Test, residuals, err = TestGroups(hits, sizes, o.Seed)
	for k, i := range at {
		if k < len(residuals) {
			p.Rows[i].Residual = residuals[k]
		}
	}
	return err
}

func (p *Pareto) ahead(units []Unit, kind part.Kind) *Ahead {
	var a Ahead
	for i := range units {
		first, second := false, false
		if !units[i].Measured() {
			continue
		}
		for j := range units[i].Findings {
			f := &units[i].Findings[j]
			if kind == "" || f.Kind == kind {
				name := p.Key.ofFinding(f)
				first, second = first || name == p.Rows[0].Name, second || name == p.Rows[1].Name
			}
		}
		if first && !second {
			a.FirstOnly++
		}
		if second && !first {
			a.SecondOnly++
		}
	}
	a.P = signTest(a.FirstOnly, a.SecondOnly)
	return &a
}
