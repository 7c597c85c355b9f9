package lots

import (
	"fmt"
	"slices"
	"strings"

	"finishbench/internal/part"
)

// Mode is how severely lots are inspected.
type Mode string

const (
	Normal    Mode = "normal"
	Tightened Mode = "tightened"
	Reduced   Mode = "reduced"
)

// Modes lists the modes in the order of Tables II-A, II-B and II-C.
var Modes = []Mode{Normal, Tightened, Reduced}

// Level is an inspection level of Table I; II unless agreed otherwise.
type Level string

// Levels lists the special and the general levels as Table I does.
var Levels = []Level{"S-1", "S-2", "S-3", "S-4", "I", "II", "III"}

// Edition is where the single plans come from.
const Edition = "MIL-STD-105E (1989), Tables I and II"

// ReducedNote is to be told beside a reduced plan, whatever the edition of the
// switching rules.
const ReducedNote = "The reduced plans are those of MIL-STD-105E, with a gap between Ac and Re in which a lot is accepted but normal " +
	"inspection comes back. " +
	"ISO 2859-1:1999 has no gap there, and some other numbers (from memory, not confirmed)."

// percentLimit is the highest AQL that can be percent nonconforming units;
// above it the tables count nonconformities per 100 units (heads of Tables II).
const percentLimit = 10

// Single is a single sampling plan: look at N units, accept the lot with at
// most Ac that are counted, refuse it from Re on.
type Single struct {
	LotSize    int     `json:"lot_size"`
	Level      Level   `json:"level"`
	AQL        float64 `json:"aql,omitempty"` // percent, or nonconformities per 100 units; 0: none accepted, see [Single.Zero]
	PerHundred bool    `json:"per_hundred,omitempty"`
	Mode       Mode    `json:"mode"`
	Letter     string  `json:"letter"`          // of the lot's size and level
	PlanLetter string  `json:"plan_letter"`     // of the plan; another one where the table has an arrow
	Arrow      string  `json:"arrow,omitempty"` // "up" or "down": followed to PlanLetter
	TableN     int     `json:"table_n"`         // the sample of the table
	N          int     `json:"n"`               // units to look at: TableN, or the lot where that is as large
	Ac         int     `json:"ac"`
	Re         int     `json:"re"`
	All        bool    `json:"all,omitempty"` // every unit of the lot is looked at
}

// Lookup finds the single plan for percent nonconforming units. A lot has at
// least two units. AQLs above 10 are for [LookupPerHundred] only.
func Lookup(lotSize int, level Level, aql float64, mode Mode) (Single, error) {
	if known(aql) && aql > percentLimit {
		return Single{}, fmt.Errorf("lots: AQL %s is for nonconformities per 100 units only, where a unit can have several; "+
			"percent nonconforming units end at %d", part.Decimal(aql), percentLimit)
	}
	return lookup(lotSize, level, aql, mode, false)
}

// LookupPerHundred finds the single plan for nonconformities per 100 units.
func LookupPerHundred(lotSize int, level Level, aql float64, mode Mode) (Single, error) {
	return lookup(lotSize, level, aql, mode, true)
}

func lookup(lotSize int, level Level, aql float64, mode Mode, perHundred bool) (Single, error) {
	if !slices.Contains(Modes, mode) {
		return Single{}, fmt.Errorf("lots: no mode %q; it is normal, tightened or reduced", mode)
	}
	letter, err := Letter(lotSize, level)
	if err != nil {
		return Single{}, err
	}
	if err := checkAQL(aql); err != nil {
		return Single{}, err
	}
	c := tables().cells[mode][cellKey{letter, aql}]
	s := Single{LotSize: lotSize, Level: level, AQL: aql, PerHundred: perHundred, Mode: mode, Letter: letter,
		PlanLetter: c.letter, Arrow: c.arrow, TableN: c.n, N: c.n, Ac: c.ac, Re: c.re}
	if s.TableN >= lotSize {
		s.N, s.All = lotSize, true
	}
	return s, nil
}

// Letter is the code letter of Table I for a lot's size and an inspection level.
func Letter(lotSize int, level Level) (string, error) {
	if err := checkLot(lotSize); err != nil {
		return "", err
	}
	if !slices.Contains(Levels, level) {
		var names []string
		for _, l := range Levels {
			names = append(names, string(l))
		}
		return "", fmt.Errorf("lots: no inspection level %q; there are %s", level, strings.Join(names, ", "))
	}
	for _, r := range tables().rows {
		if lotSize >= r.from && (r.to == 0 || lotSize <= r.to) {
			return r.letter[level], nil
		}
	}
	return "", fmt.Errorf("lots: no code letter for a lot of %d", lotSize)
}

func checkLot(lotSize int) error {
	switch {
	case lotSize < 0:
		return fmt.Errorf("lots: a lot can not have %d units", lotSize)
	case lotSize == 0:
		return fmt.Errorf("lots: the lot has no units; give its size or its serials")
	case lotSize == 1:
		return fmt.Errorf("lots: a lot of one unit has no sampling plan; inspect the unit")
	}
	return nil
}

func known(aql float64) bool { return slices.Contains(tables().aqls, aql) }

// checkAQL refuses an AQL that the tables do not have and names its neighbours.
func checkAQL(aql float64) error {
	if known(aql) {
		return nil
	}
	return fmt.Errorf("lots: no AQL %s in the tables; %s", part.Decimal(aql), neighbours(aql, tables().aqls))
}

// neighbours names the entries of a list beside a number.
func neighbours(v float64, list []float64) string {
	i, _ := slices.BinarySearch(list, v)
	switch {
	case v != v:
		return fmt.Sprintf("they go from %s to %s", part.Decimal(list[0]), part.Decimal(list[len(list)-1]))
	case i == 0:
		return "the smallest is " + part.Decimal(list[0])
	case i == len(list):
		return "the largest is " + part.Decimal(list[len(list)-1])
	}
	return fmt.Sprintf("the nearest are %s and %s", part.Decimal(list[i-1]), part.Decimal(list[i]))
}

// Tighter is the plan one AQL step tighter for the same code letter, as the
// switching score of ISO 2859-1 asks for; false at the end of the table.
func (s Single) Tighter() (Single, bool) {
	aqls := tables().aqls
	i := slices.Index(aqls, s.AQL)
	if i < 1 {
		return Single{}, false
	}
	// From the letter of the plan that is used: its neighbour in the row has the same sample wherever Ac is 2 or more.
	c, ok := tables().cells[s.Mode][cellKey{s.PlanLetter, aqls[i-1]}]
	if !ok {
		return Single{}, false
	}
	t := s
	t.AQL, t.Letter, t.PlanLetter, t.Arrow, t.TableN, t.Ac, t.Re = aqls[i-1], s.PlanLetter, c.letter, c.arrow, c.n, c.ac, c.re
	t.N, t.All = min(c.n, s.LotSize), c.n >= s.LotSize
	return t, true
}
