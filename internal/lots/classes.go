package lots

import (
	"fmt"
	"slices"
	"strings"

	"finishbench/internal/part"
)

// Class is a group of severities that is judged by a plan of its own, and how
// that plan is found.
type Class struct {
	Severity   part.Severity   `json:"severity"`              // what the class is called, its worst severity
	Covers     []part.Severity `json:"covers"`                // findings that count in it
	AQL        float64         `json:"aql,omitempty"`         // percent, or per 100 units
	PerHundred bool            `json:"per_hundred,omitempty"` // findings are counted, not units

	// Zero: not one is accepted, whatever the AQLs. The sample is the smallest
	// that passes lots with the share Limit at most with the probability Risk;
	// with no Limit, it is that of the largest other plan.
	Zero  bool    `json:"zero,omitempty"`
	Limit float64 `json:"limit,omitempty"` // fraction of nonconforming units
	Risk  float64 `json:"risk,omitempty"`  // probability
}

// ClassPlan is a class with its plan for one lot.
type ClassPlan struct {
	Class
	Plan Single `json:"plan"`
}

// Counts says whether a finding counts in the class.
func (c Class) Counts(s part.Severity) bool { return slices.Contains(c.Covers, s) }

// PlanLot finds the plan of each class for a lot. mode says how severely each
// class is inspected; a missing one is normal. Units are drawn once, as many as
// the largest plan needs: [Opening.DrawSize].
func PlanLot(lotSize int, level Level, classes []Class, mode map[part.Severity]Mode) ([]ClassPlan, error) {
	if err := checkClasses(classes); err != nil {
		return nil, err
	}
	out := make([]ClassPlan, len(classes))
	largest := Single{}
	for i, c := range classes {
		if c.Zero {
			continue
		}
		s, err := lookupClass(lotSize, level, c, modeOf(mode, c))
		if err != nil {
			return nil, fmt.Errorf("%w (class %s)", err, c.Severity)
		}
		out[i] = ClassPlan{c, s}
		if s.N > largest.N {
			largest = s
		}
	}
	for i, c := range classes {
		if !c.Zero {
			continue
		}
		s, err := zeroPlan(lotSize, level, c, modeOf(mode, c), largest)
		if err != nil {
			return nil, fmt.Errorf("%w (class %s)", err, c.Severity)
		}
		out[i] = ClassPlan{c, s}
	}
	return out, nil
}

func modeOf(mode map[part.Severity]Mode, c Class) Mode {
	if m := mode[c.Severity]; m != "" {
		return m
	}
	return Normal
}

func lookupClass(lotSize int, level Level, c Class, m Mode) (Single, error) {
	if c.PerHundred {
		return LookupPerHundred(lotSize, level, c.AQL, m)
	}
	return Lookup(lotSize, level, c.AQL, m)
}

// zeroPlan is the plan that accepts none. Switching does not change it.
func zeroPlan(lotSize int, level Level, c Class, m Mode, largest Single) (Single, error) {
	letter, err := Letter(lotSize, level)
	if err != nil {
		return Single{}, err
	}
	s := Single{LotSize: lotSize, Level: level, Mode: m, Letter: letter, PlanLetter: largest.PlanLetter, TableN: largest.TableN,
		N: largest.N, Ac: 0, Re: 1}
	if c.Limit > 0 {
		if s.N, err = ZeroAcceptance(lotSize, c.Limit, c.Risk); err != nil {
			return Single{}, err
		}
		s.PlanLetter, s.TableN = "", s.N
	}
	if s.N < 1 {
		return Single{}, fmt.Errorf("lots: a plan that accepts none needs a limit and a risk, or another class to take its sample from")
	}
	s.All = s.N >= lotSize
	return s, nil
}

// Zero says that the plan accepts none by a class' own rule, not by a table's.
func (s Single) Zero() bool { return s.AQL == 0 }

func checkClasses(classes []Class) error {
	if len(classes) == 0 {
		return fmt.Errorf("lots: no class of findings to judge a lot by")
	}
	in := map[part.Severity]part.Severity{}
	for _, c := range classes {
		if len(c.Covers) == 0 {
			return fmt.Errorf("lots: the class %s covers no severity", c.Severity)
		}
		for _, s := range c.Covers {
			if s.Rank() < 1 {
				return fmt.Errorf("lots: %q is no severity that can be counted; there are %s", s, severityNames())
			}
			if other, twice := in[s]; twice {
				return fmt.Errorf("lots: %s findings would count twice, in the classes %s and %s", s, other, c.Severity)
			}
			in[s] = c.Severity
		}
		if c.Zero && c.Limit != 0 && !(c.Limit > 0 && c.Limit <= 1 && c.Risk > 0 && c.Risk < 1) {
			return fmt.Errorf("lots: the class %s accepts none: give limit and risk as fractions between 0 and 1, not %s and %s",
				c.Severity, part.Decimal(c.Limit), part.Decimal(c.Risk))
		}
	}
	return nil
}

func severityNames() string {
	var names []string
	for _, s := range part.Severities[1:] {
		names = append(names, string(s))
	}
	return strings.Join(names, ", ")
}
