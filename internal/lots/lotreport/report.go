package lotreport

import (
	"time"

	"finishbench/internal/lots"
	"finishbench/internal/part"
)

// Schema is the version of the JSON.
const Schema = 1

// Said is a sentence by its key in the language files ("lot." is put before it).
// What a person wrote has no key and comes as Text.
type Said struct {
	Key  string   `json:"key,omitempty"`
	Args []string `json:"args,omitempty"` // names and values in turn; a value that begins with @ is a key itself
	Text string   `json:"text,omitempty"` // English; what is told where there is no key
}

// Report is all that is told of a lot. A number that was not measured is absent.
type Report struct {
	Schema    int       `json:"schema"`
	Generated time.Time `json:"generated"` // the time stamp; nothing else in the report depends on a clock
	Program   string    `json:"program,omitempty"`

	Lot       Lot           `json:"lot"`
	Plans     []Plan        `json:"plans"`                  // one a severity, gravest first
	Switching []Switching   `json:"switching,omitempty"`    // one a severity
	Draw      *Draw         `json:"draw,omitempty"`         // nil: nothing drawn yet
	Units     []Unit        `json:"units"`                  // those of the sample, in the order of drawing
	Findings  []Finding     `json:"findings"`               // of these units
	Stations  []StepStation `json:"stations"`               // of these units
	Decision  *Decision     `json:"decision,omitempty"`     // nil: not decided
	Disposed  []Said        `json:"dispositions,omitempty"` // what became of units that do not pass
	Earlier   []Said        `json:"earlier,omitempty"`      // how former presentations of the lot ended
	Gauge     Gauge         `json:"gauge"`                  // what the numbers rest on
	Notes     []Said        `json:"notes,omitempty"`        // what a reader must know
	Hints     []Said        `json:"hints,omitempty"`        // at causes; hints only
	Charts    []Chart       `json:"charts,omitempty"`       // over lots or units
	Steps     *Capability   `json:"capability,omitempty"`   // of the step
	Paretos   []Pareto      `json:"paretos,omitempty"`
	Yields    []Yield       `json:"yields,omitempty"`
	Escapes   []Escape      `json:"escapes,omitempty"`
	Map       *Map          `json:"map,omitempty"`       // of the faceplate
	Shell     *ShellMap     `json:"shell_map,omitempty"` // nil: no shell of the units read was looked at
}

// State is how a lot stands.
type State string

// The states. Screened and Returned are what became of a refused lot.
const (
	ToDraw   State = "to_draw"   // nothing drawn yet
	Waiting  State = "waiting"   // for units of its sample
	ToDecide State = "to_decide" // enough is known; nobody has signed
	Accepted State = "accepted"  //
	Refused  State = "refused"   //
	Screened State = "screened"  // refused; every unit was looked at
	Returned State = "returned"  // refused, and sent back
)

// Lot says which lot it is.
type Lot struct {
	Name         string    `json:"name"`
	Product      string    `json:"product,omitempty"`
	Stage        string    `json:"stage,omitempty"`
	Size         int       `json:"size"`
	State        State     `json:"state"`
	Opened       time.Time `json:"opened"`
	OpenedBy     string    `json:"opened_by,omitempty"`
	Round        int       `json:"round,omitempty"`  // of its inspections, where it is not the first
	Limits       string    `json:"limits,omitempty"` // the limits file by which its units are judged
	LimitsSHA256 string    `json:"limits_sha256,omitempty"`
}

// Plan is a sampling plan by attributes for one severity, and how it stands.
type Plan struct {
	Severity   part.Severity   `json:"severity"`         // what its class is called
	Covers     []part.Severity `json:"covers,omitempty"` // findings that count in it
	Standard   string          `json:"standard"`         // with its edition, such as "MIL-STD-105E (1989), Table II-A"
	Level      string          `json:"level,omitempty"`
	Letter     string          `json:"letter,omitempty"`
	AQL        float64         `json:"aql_percent,omitempty"` // 0: a plan without one
	Mode       string          `json:"mode,omitempty"`        // normal, tightened, reduced
	N          int             `json:"n"`
	Ac         int             `json:"ac"`
	Re         int             `json:"re"`
	All        bool            `json:"all,omitempty"`         // every unit of the lot
	PerHundred bool            `json:"per_hundred,omitempty"` // nonconformities are counted, not units
	Notes      []Said          `json:"told,omitempty"`        // how the plan came about, in sentences

	Inspected int        `json:"inspected"`
	Count     int        `json:"count"`
	Stand     lots.Stand `json:"stand"`
	Lets      *Lets      `json:"lets_through,omitempty"`
	Curve     []Point    `json:"curve,omitempty"` // operating characteristic: share nonconforming, probability of acceptance
}

// Lets is what a plan lets through; shares are 0..1.
type Lets struct {
	PAtAQL *float64 `json:"p_accept_at_aql,omitempty"`
	P50    *float64 `json:"p_at_half,omitempty"`      // share nonconforming that is accepted half the time
	P10    *float64 `json:"p_at_tenth,omitempty"`     // and one time in ten
	AOQL   *float64 `json:"aoql,omitempty"`           // worst average outgoing share where refused lots are screened
	Law    string   `json:"law,omitempty"`            // binomial, hypergeometric, poisson
	Zero   bool     `json:"nothing_let_by,omitempty"` // every unit was looked at
	ATI    *float64 `json:"ati_at_aql,omitempty"`     // average total inspection at the AQL, units
}

// Point is a point of a curve.
type Point struct{ X, Y float64 }

// Switching is where the switching rules stand for one severity.
type Switching struct {
	Severity part.Severity `json:"severity"`
	Standard string        `json:"standard"`
	Before   string        `json:"before"` // mode in which this lot was inspected
	After    string        `json:"after,omitempty"`
	Score    *int          `json:"score,omitempty"`
	Stopped  bool          `json:"stopped,omitempty"` // discontinued
	Notes    []Said        `json:"told,omitempty"`
}

// Draw is how the sample was chosen.
type Draw struct {
	Algorithm string     `json:"algorithm"`
	Seed      uint64     `json:"seed"`
	At        time.Time  `json:"at"`
	By        string     `json:"by,omitempty"`
	From      int        `json:"from"`                 // serials to choose among
	Given     bool       `json:"seed_given,omitempty"` // by a person; else taken from chance
	Replaced  []Replaced `json:"replaced,omitempty"`
	Serials   []string   `json:"serials"`
}

// Replaced is a unit that could not be measured, and the one in its place.
type Replaced struct {
	Serial string    `json:"serial"`
	With   string    `json:"with"`
	Why    string    `json:"why"`
	By     string    `json:"by,omitempty"`
	At     time.Time `json:"at"`
}

// Unit is a unit of the sample.
type Unit struct {
	Serial      string       `json:"serial"`
	Place       int          `json:"place"` // in the draw, from 1
	Taken       bool         `json:"taken"`
	At          *time.Time   `json:"at,omitempty"`
	By          string       `json:"by,omitempty"`
	Inspection  int64        `json:"inspection,omitempty"` // its number in the records
	Verdict     part.Verdict `json:"verdict,omitempty"`
	Score       *float64     `json:"score,omitempty"`
	WorstStepUM *float64     `json:"worst_step_um,omitempty"`
	UUM         *float64     `json:"u_um,omitempty"` // standard uncertainty of the worst step, k = 1
	// The curve of its steps, of the units that were read in full.
	Seam *part.SeamShape `json:"seam_shape,omitempty"`
	// Findings by severity.
	Critical int    `json:"critical"`
	Major    int    `json:"major"`
	Moderate int    `json:"moderate"`
	Minor    int    `json:"minor"`
	Counts   bool   `json:"counts"`                // against at least one plan
	Person   string `json:"person,omitempty"`      // what a person's overruling changed
	Again    int    `json:"taken_again,omitempty"` // how often it was taken before
}

// Finding is a finding on a unit of the sample.
type Finding struct {
	Serial     string        `json:"serial"`
	Number     int           `json:"number"`
	Kind       part.Kind     `json:"kind"`
	Zone       part.Zone     `json:"zone,omitempty"`
	Severity   part.Severity `json:"severity"`
	Place      string        `json:"place,omitempty"`    // seam findings: "120 deg, left"
	TurnDeg    *float64      `json:"turn_deg,omitempty"` // on the shell, as part.Finding has them
	BelowMM    *float64      `json:"below_mm,omitempty"`
	DiameterMM *float64      `json:"diameter_mm,omitempty"`
	UDiamMM    *float64      `json:"u_diameter_mm,omitempty"`
	LengthMM   *float64      `json:"length_mm,omitempty"`
	ULengthMM  *float64      `json:"u_length_mm,omitempty"`
	ValueUM    *float64      `json:"value_um,omitempty"`
	Confidence float64       `json:"confidence"`
}

// StepStation is the step at one place of a unit's seam.
type StepStation struct {
	Serial   string   `json:"serial"`
	AngleDeg float64  `json:"angle_deg"`
	Side     string   `json:"side"`
	StepUM   *float64 `json:"step_um,omitempty"`
	UUM      *float64 `json:"u_um,omitempty"` // k = 1
	GapUM    *float64 `json:"gap_um,omitempty"`
	BeadUM   *float64 `json:"bead_um,omitempty"`
	Reason   string   `json:"reason,omitempty"` // why it was not measured
}

// Decision is what a person decided.
type Decision struct {
	Accept bool      `json:"accept"`
	By     string    `json:"by"`
	At     time.Time `json:"at"`
	Note   string    `json:"note,omitempty"`
	Notes  []Said    `json:"told,omitempty"`
	Hash   string    `json:"hash,omitempty"` // of the event in the chain of the records
}

// Gauge is what the numbers rest on.
type Gauge struct {
	Scales   []Scale `json:"scales,omitempty"`
	ScalesOf int     `json:"scales_of,omitempty"` // units whose scale files were looked up
	Check    *Check  `json:"check,omitempty"`     // the check piece; nil: no log
	Study    *Study  `json:"study,omitempty"`     // the gauge study in force; nil: none given
	Step     *StepU  `json:"step_uncertainty,omitempty"`
}

// Scale is a scale file that was in force.
type Scale struct {
	File    string  `json:"file"`
	SHA256  string  `json:"sha256"`
	Made    string  `json:"made"`
	View    string  `json:"view,omitempty"`
	MMPerPX float64 `json:"mm_per_px"`
	URel    float64 `json:"u_rel"`
	Units   int     `json:"units"` // of the sample, measured with it
}

// Check is how the check piece's log stood.
type Check struct {
	Log   string     `json:"log,omitempty"`
	Last  *time.Time `json:"last,omitempty"`
	OK    bool       `json:"ok"`
	Notes string     `json:"told,omitempty"`
	Value *float64   `json:"value,omitempty"`

	ToldPhrase *part.Phrase `json:"told_phrase,omitempty"` // Told, to be told in any language
}

// Study is a gauge study.
type Study struct {
	Name        string   `json:"name"`
	Date        string   `json:"date,omitempty"`
	Grade       string   `json:"grade,omitempty"` // good, fair, poor
	Gauge       *float64 `json:"gauge_share,omitempty"`
	OfTolerance *float64 `json:"of_tolerance,omitempty"`
	Categories  *int     `json:"categories,omitempty"`
}

// StepU is the uncertainty of the steps of the sample.
type StepU struct {
	Stations   int      `json:"stations"`
	Unmeasured int      `json:"not_measured"`
	MedianUM   *float64 `json:"median_u_um,omitempty"` // standard uncertainty, k = 1
	LargestUM  *float64 `json:"largest_u_um,omitempty"`
}

// Chart is a control chart. A point that is not finite was not measured.
type Chart struct {
	Kind    string     `json:"kind"`            // xbar, s, i, mr, p, np, c, u, demerit, ewma, cusum
	Title   Said       `json:"title"`           //
	X       string     `json:"x"`               // language key of the axis: lots, units
	Y       string     `json:"y"`               // language key of the axis
	Names   []string   `json:"names"`           // of the points: lots or serials
	Values  []*float64 `json:"values"`          //
	Low     []*float64 `json:"low,omitempty"`   // the lower sums of a CUSUM; Values are the upper ones, Upper the limit of both
	Sizes   []float64  `json:"sizes,omitempty"` // units behind each point, where they differ
	Centre  []*float64 `json:"centre"`          // one for all, or one a point
	Lower   []*float64 `json:"lower"`
	Upper   []*float64 `json:"upper"`
	Signals []Signal   `json:"signals,omitempty"`
	Notes   []Said     `json:"told,omitempty"`
}

// Signal is a point at which a rule is met.
type Signal struct {
	Point  int    `json:"point"`            // from 0
	Rule   string `json:"rule"`             // charts.Rule.Name
	Number string `json:"number,omitempty"` // in the set by which it was chosen, such as N2
}

// Capability is how the step fits its limits.
type Capability struct {
	N         int        `json:"n"`
	LowerUM   *float64   `json:"lower_um,omitempty"` // limits
	UpperUM   *float64   `json:"upper_um,omitempty"`
	MeanUM    *float64   `json:"mean_um,omitempty"`
	SDUM      *float64   `json:"sd_um,omitempty"`
	WithinUM  *float64   `json:"sd_within_um,omitempty"`
	Indices   []Index    `json:"indices,omitempty"`
	Normal    *Normal    `json:"normality,omitempty"`
	Histogram []Bin      `json:"histogram,omitempty"`
	Quantiles []Quantile `json:"percentiles,omitempty"`
	Beyond    *float64   `json:"share_beyond,omitempty"` // counted
	Notes     []Said     `json:"told,omitempty"`
}

// Index is a capability index with its interval.
type Index struct {
	Name  string   `json:"name"` // Cp, Cpk, Cpm, Pp, Ppk
	Value *float64 `json:"value,omitempty"`
	Low   *float64 `json:"low,omitempty"`
	High  *float64 `json:"high,omitempty"`
	Level float64  `json:"level"` // of confidence, such as 0.95
}

// Normal is the normality check (Anderson-Darling).
type Normal struct {
	A2 *float64 `json:"a2,omitempty"`
	P  *float64 `json:"p,omitempty"`
}

// Bin is a bar of a histogram.
type Bin struct {
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
	Count int     `json:"count"`
}

// Quantile is a percentile of what was measured.
type Quantile struct {
	P     float64  `json:"p"` // 0..1
	Value *float64 `json:"value,omitempty"`
}

// Pareto counts findings by one property.
type Pareto struct {
	By     string      `json:"by"` // kind, zone, stage, operator, shift, faceplate, resin
	Rows   []ParetoRow `json:"rows"`
	Chi2   *float64    `json:"chi2,omitempty"`
	DF     int         `json:"df,omitempty"`
	P      *float64    `json:"p,omitempty"`
	Method string      `json:"method,omitempty"`
	Notes  []Said      `json:"told,omitempty"`
}

// ParetoRow is one bar; Share and Cumulative are 0..1.
type ParetoRow struct {
	Name       string  `json:"name"`
	Count      int     `json:"count"`
	Share      float64 `json:"share"`
	Cumulative float64 `json:"cumulative"`
	Of         int     `json:"of,omitempty"`   // units looked at
	With       int     `json:"with,omitempty"` // of these, with at least one
}

// Yield is what passed a stage at first look.
type Yield struct {
	Stage  string   `json:"stage"` // "": rolled over all
	N      int      `json:"n"`
	Passed int      `json:"passed"`
	Share  *float64 `json:"share,omitempty"`
	Low    *float64 `json:"low,omitempty"`
	High   *float64 `json:"high,omitempty"`
}

// Escape is how many units passed one stage and did not pass a later one.
type Escape struct {
	From       string   `json:"from"`
	To         string   `json:"to"`
	N          int      `json:"n"` // passed the first, looked at at the second
	Found      int      `json:"found"`
	Overlooked int      `json:"overlooked"` // of these, with something that could have been seen before
	Share      *float64 `json:"share,omitempty"`
	Low        *float64 `json:"low,omitempty"`
	High       *float64 `json:"high,omitempty"`
}

// Map lays all findings over one outline: X to the right, Y down, the outline
// within 0..1.
type Map struct {
	Outline  []Point     `json:"outline"`
	Findings []MapPoint  `json:"findings"`
	Left     int         `json:"left_out,omitempty"` // findings without a place here or on the shell
	Units    int         `json:"units,omitempty"`    // whose outline is known
	MMWide   *float64    `json:"mm_wide,omitempty"`  // what 1 is
	Frame    string      `json:"frame,omitempty"`    // unit or picture
	Circles  []MapCircle `json:"circles,omitempty"`
	Notes    []Said      `json:"told,omitempty"`
}

// MapPoint is a finding on the map.
type MapPoint struct {
	X        float64       `json:"x"`
	Y        float64       `json:"y"`
	Kind     part.Kind     `json:"kind"`
	Severity part.Severity `json:"severity"`
}

// MapCircle is a round place with more units than chance would bring.
type MapCircle struct {
	X        float64  `json:"x"`
	Y        float64  `json:"y"`
	R        float64  `json:"r"`
	Units    int      `json:"units"`
	Expected float64  `json:"expected"`
	P        *float64 `json:"p,omitempty"`
}

// ShellMap lays all findings over one unrolled shell, a cylinder of the mean girth.
type ShellMap struct {
	GirthMM  float64 `json:"girth_mm"`  // what one turn is
	DepthMM  float64 `json:"depth_mm"`  // of the deepest
	LookedAt float64 `json:"looked_at"` // mean share of a shell that was looked at, 0..1
	// From the seam down, a digit a cell, the first at turn 0: 2 looked at on all units, 1 on some, 0 on none.
	Rows     []string      `json:"rows"`
	Findings []ShellPoint  `json:"findings"`           //
	Left     int           `json:"left_out,omitempty"` // findings without a place, where there is no map of the faceplate
	Units    int           `json:"units"`              // whose shell was looked at
	Circles  []ShellCircle `json:"circles,omitempty"`
	Notes    []Said        `json:"told,omitempty"`
}

// ShellPoint is a finding on the shell.
type ShellPoint struct {
	TurnDeg  float64       `json:"turn_deg"`
	BelowMM  float64       `json:"below_mm"`
	Kind     part.Kind     `json:"kind"`
	Severity part.Severity `json:"severity"`
}

// ShellCircle is a round place on the shell with more units than chance would bring.
type ShellCircle struct {
	TurnDeg  float64  `json:"turn_deg"`
	BelowMM  float64  `json:"below_mm"`
	RMM      float64  `json:"r_mm"`
	Units    int      `json:"units"`
	Expected float64  `json:"expected"`
	P        *float64 `json:"p,omitempty"`
}
