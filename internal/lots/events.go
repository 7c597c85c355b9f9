package lots

import (
	"encoding/json"
	"fmt"
	"time"

	"finishbench/internal/part"
)

// Topic is that of the journals of lots. Nothing of a lot is kept but its journal: see [Fold].
const Topic = "lot"

// The kinds of events of a lot. An event's body is the type named.
const (
	Opened       = "opened"        // [Opening]
	Drawn        = "drawn"         // [Drawing]
	Taken        = "taken"         // [Unit]
	Replaced     = "replaced"      // [Replacement]
	Decided      = "decided"       // [Decision]
	Disposed     = "disposed"      // [Disposal]
	UnitDisposed = "unit_disposed" // [Disposition]
	Replanned    = "replanned"     // [Opening]: the lot's limits or plans changed; a new sample is drawn
	Resubmitted  = "resubmitted"   // [Opening]: refused, screened, presented again
)

// HistoryKinds are the kinds that [History] needs.
func HistoryKinds() []string { return []string{Opened, Replanned, Resubmitted, Decided} }

// Opening is what a lot is and how it will be judged.
type Opening struct {
	Size       int           `json:"size"`
	Product    string        `json:"product"`               // what switching goes by, beside the class
	Stage      part.Stage    `json:"stage"`                 // at which the units are looked at
	Standard   Standard      `json:"standard"`              // of the switching rules
	Edition    string        `json:"edition"`               // of the tables
	Rules      Rules         `json:"rules"`                 // as agreed when it was opened
	Level      Level         `json:"level"`                 //
	Classes    []Planned     `json:"classes"`               //
	NotPassing part.Severity `json:"not_passing,omitempty"` // the class in which a unit that does not pass counts at least
	Limits     string        `json:"limits"`                // SHA-256 of the limits file that every unit must be judged by
	LimitsName string        `json:"limits_name"`           //
	Why        string        `json:"why,omitempty"`         // of a plan that is started anew, or of a mode that a person chose
	Resume     string        `json:"resume,omitempty"`      // what was put right, where inspection had been discontinued
	Irregular  string        `json:"irregular,omitempty"`   // why production is not steady, which ends reduced inspection
}

// Planned is a class with its plan, and the state of switching that led to its mode.
type Planned struct {
	ClassPlan
	Switching Switching `json:"switching"`
	ChosenBy  string    `json:"chosen_by,omitempty"` // a person who set another mode than was due
}

// Drawing is which units are looked at. Anyone can draw again from Serials and
// Seed: see [Draw].
type Drawing struct {
	Method  string   `json:"method"`
	Seed    uint64   `json:"seed"`
	Given   bool     `json:"seed_given,omitempty"` // by a person; else the program took it from chance
	Serials []string `json:"serials"`              // of the whole lot
	Units   []string `json:"units"`                // drawn, in the draw's order
}

// Unit is what was seen on one unit of the sample.
type Unit struct {
	Name        string                `json:"unit"`          // as in Serials: "u06-R"
	Lot         string                `json:"lot,omitempty"` // that its inspection names; "": none
	Stage       part.Stage            `json:"stage"`
	Inspection  int64                 `json:"inspection,omitempty"` // in the records
	Seen        time.Time             `json:"seen"`                 // when it was looked at
	Verdict     part.Verdict          `json:"verdict"`              // the last word
	Findings    map[part.Severity]int `json:"findings,omitempty"`   // how many of each severity that count
	Person      string                `json:"person,omitempty"`     // what a person's overruling changed in Findings
	WorstStepUM *float64              `json:"worst_step_um,omitempty"`
	Stations    int                   `json:"stations,omitempty"` // measured
	Score       *float64              `json:"score,omitempty"`
	Limits      string                `json:"limits"`        // SHA-256 of the limits file that judged it
	Why         string                `json:"why,omitempty"` // why it was taken again
}

// Measured says whether the unit counts at all. One that was not measured counts
// neither as good nor as bad: the sample is unfinished until it is measured, or
// replaced.
func (u *Unit) Measured() bool { return u.Verdict != part.NotMeasured && u.Verdict != "" }

// Replacement puts the next unit of the draw in the place of one that cannot be
// measured.
type Replacement struct {
	Unit string `json:"unit"` // left out
	With string `json:"with"` // in its place
	Why  string `json:"why"`
	Was  *Unit  `json:"was,omitempty"` // what had been seen on it; nil: it was not looked at
}

// Decision accepts or refuses the lot.
type Decision struct {
	Accepted bool     `json:"accepted"`
	Why      string   `json:"why,omitempty"`
	Against  bool     `json:"against_count,omitempty"` // refused though the counts accept
	Early    bool     `json:"early,omitempty"`         // refused by count before the sample was finished
	Results  []Result `json:"results"`
	Product  string   `json:"product"`
	Again    bool     `json:"resubmitted,omitempty"` // not on original inspection
}

// Result is what a class had come to when the lot was decided.
type Result struct {
	Severity part.Severity `json:"severity"`
	Plan     Single        `json:"plan"`
	Looked   int           `json:"looked_at"` // measured units of the class' sample
	Count    int           `json:"count"`
}

// Way is what becomes of a refused lot.
type Way string

// The ways of a refused lot.
const (
	Screen Way = "screened" // every unit was looked at; the bad ones are out or mended
	Return Way = "returned" // to where it came from, as it is
)

// Disposal is what became of a refused lot.
type Disposal struct {
	How     Way      `json:"how"`
	Units   []string `json:"units,omitempty"`   // serials taken out by screening and not put back
	Removed int      `json:"removed,omitempty"` // how many that are; older lots tell no serials
	Why     string   `json:"why,omitempty"`
}

// event makes the lot's next event.
func (l *Lot) event(kind string, at time.Time, by string, body any) (part.Entry, error) {
	raw, err := json.Marshal(body)
	if err != nil {
		return part.Entry{}, fmt.Errorf("lots: lot %s: %w", l.Name, err)
	}
	return part.Entry{Topic: Topic, Name: l.Name, Seq: l.Seq + 1, Kind: kind, At: at.UTC(), By: by, Body: raw}, nil
}
