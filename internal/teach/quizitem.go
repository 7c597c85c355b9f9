package teach

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"finishbench/internal/part"
	"finishbench/internal/stats/study"
)

// Provenance is where an item's truth comes from. The tool's own findings are none.
type Provenance string

// The provenances, best first.
const (
	Confirmed Provenance = "confirmed" // a person looked at the unit and said what is there
	Drawn     Provenance = "drawn"     // the picture was drawn with known defects
)

// Difficulty is how hard the smallest defect of an item is to see.
type Difficulty int

// The difficulties. Their bounds are the size classes of ISO 4628-1 (from
// memory): class 2, up to 0.2 mm, just visible to the eye; class 3, up to
// 0.5 mm, clearly visible; 4 and 5, larger.
const (
	AnyDifficulty Difficulty = iota
	Easy                     // over 0.5 mm
	Middling                 // over 0.2 up to 0.5 mm
	Hard                     // up to 0.2 mm
)

// faintCNR: a defect with less contrast to noise than this is one difficulty
// harder than its size says. Common practice, no source.
const faintCNR = 10

// VisibleCNR: a defect with less contrast to noise than this in all pictures is
// not asked for, nor is a mark on it false (Rose 1948, J. Opt. Soc. Am. 38:196).
const VisibleCNR = 5

// KnownDefect is a defect that is there.
type KnownDefect struct {
	Kind    part.Kind  `json:"kind"`
	Box     part.Box   `json:"box_px"`
	SizeMM  float64    `json:"size_mm,omitempty"`  // by which its kind is told; 0: not known
	Measure string     `json:"measure,omitempty"`  // of what: "diameter" or "length"
	WidthMM float64    `json:"width_mm,omitempty"` // across a length; 0: not known
	CNR     float64    `json:"cnr,omitempty"`      // in the picture where it is best; 0: not known
	Light   part.Light `json:"light,omitempty"`    // of that picture; NoLight: not known

	SlopeMRad float64 `json:"slope_mrad,omitempty"` // root mean square slope of orange peel, which has no size; 0: not known
}

// Visible says whether it can be seen at all.
func (k KnownDefect) Visible() bool { return k.CNR == 0 || k.CNR >= VisibleCNR }

// Spot says whether it has a middle to point at; else it stretches.
func (k KnownDefect) Spot() bool { return k.Measure == "diameter" }

// difficulty of seeing it, at a scale. What has no size is taken by its box.
func (k KnownDefect) difficulty(mmPerPX float64) Difficulty {
	across := k.SizeMM // the diameter of a disc of the same area
	if k.Measure == "length" && k.WidthMM > 0 {
		across = math.Sqrt(4 / math.Pi * k.SizeMM * k.WidthMM)
	} else if !(across > 0) {
		across = mmPerPX * math.Sqrt(4/math.Pi*k.Box[2]*k.Box[3])
	}
	d := Easy
	switch {
	case across <= 0.2:
		d = Hard
	case across <= 0.5:
		d = Middling
	}
	if k.CNR > 0 && k.CNR < faintCNR {
		d = min(Hard, d+1)
	}
	return d
}

// ItemPicture is one picture of an item, as it came: nothing is drawn on it.
type ItemPicture struct {
	Light  part.Light `json:"light"`
	Ref    string     `json:"ref"`              // where it is; the caller's word
	SHA256 string     `json:"sha256,omitempty"` // of its bytes, hexadecimal
}

// Item is a unit that a trainee can be shown: pictures of one pose under one or
// more lights, so that a place is the same in all.
type Item struct {
	Key        string        `json:"key"` // unlike any other in a test
	Unit       string        `json:"unit"`
	Stage      part.Stage    `json:"stage"`
	Provenance Provenance    `json:"source"`
	By         string        `json:"by,omitempty"` // who confirmed it
	MMPerPX    float64       `json:"mm_per_px"`
	WidthPX    int           `json:"width_px"`
	HeightPX   int           `json:"height_px"`
	Pictures   []ItemPicture `json:"pictures"`
	Known      []KnownDefect `json:"known"` // all that is there; none: clean
	Verdict    part.Verdict  `json:"verdict"`
}

// Clean says that there is nothing on it to be seen.
func (it Item) Clean() bool {
	return !slices.ContainsFunc(it.Known, KnownDefect.Visible)
}

// Difficulty is that of its hardest visible defect; AnyDifficulty where clean.
func (it Item) Difficulty() Difficulty {
	d := AnyDifficulty
	for _, k := range it.Known {
		if k.Visible() {
			d = max(d, k.difficulty(it.MMPerPX))
		}
	}
	return d
}

// kinds are the kinds that are to be seen on it, in the trade's order.
func (it Item) kinds() []part.Kind {
	var all []part.Kind
	for _, k := range part.Kinds {
		if slices.ContainsFunc(it.Known, func(d KnownDefect) bool { return d.Kind == k && d.Visible() }) {
			all = append(all, k)
		}
	}
	return all
}

// Verdicts are what a trainee can answer.
var Verdicts = []part.Verdict{part.Pass, part.Rework, part.Reject}

// Check says what makes it no item of a test.
func (it Item) Check() error {
	switch {
	case it.Key == "":
		return errors.New("quiz item: it has no key")
	case it.Provenance != Confirmed && it.Provenance != Drawn:
		return fmt.Errorf("quiz item %s: its truth is %q: only what a person confirmed or what was drawn can be asked", it.Key,
			it.Provenance)
	case !(it.MMPerPX > 0):
		return fmt.Errorf("quiz item %s: its scale is not known, so no place can be told in mm", it.Key)
	case it.WidthPX <= 0 || it.HeightPX <= 0:
		return fmt.Errorf("quiz item %s: the size of its pictures is not known", it.Key)
	case len(it.Pictures) == 0:
		return fmt.Errorf("quiz item %s: it has no picture", it.Key)
	case !slices.Contains(Verdicts, it.Verdict):
		return fmt.Errorf("quiz item %s: its verdict is %q: pass, rework or reject is wanted", it.Key, it.Verdict)
	}
	for i, k := range it.Known {
		if !slices.Contains(part.Kinds, k.Kind) {
			return fmt.Errorf("quiz item %s, defect %d: %q is no kind of defect", it.Key, i+1, k.Kind)
		}
		if !(k.Box[2] > 0 && k.Box[3] > 0) {
			return fmt.Errorf("quiz item %s, defect %d: its box has no area", it.Key, i+1)
		}
	}
	return nil
}

// QuizMark is a place that the trainee pointed at, and what is said to be there.
type QuizMark struct {
	XPX  float64   `json:"x_px"`
	YPX  float64   `json:"y_px"`
	Kind part.Kind `json:"kind"`
}

// Answer is what a trainee said of an item.
type Answer struct {
	Marks    []QuizMark   `json:"marks,omitempty"` // none: clean
	Verdict  part.Verdict `json:"verdict"`         // "" where time was over: counts as pass, since the unit would have gone on
	TookS    float64      `json:"took_s"`
	TimeOver bool         `json:"time_over,omitempty"`
}

// maxMarks bounds an answer: who marks everything finds everything.
const maxMarks = 200

// Check says what is wrong with an answer about an item.
func (a Answer) Check(it Item) error {
	if !slices.Contains(Verdicts, a.Verdict) && !(a.TimeOver && a.Verdict == "") {
		return errors.New("say pass, rework or reject")
	}
	if len(a.Marks) > maxMarks {
		return fmt.Errorf("%d marks: at most %d", len(a.Marks), maxMarks)
	}
	for i, m := range a.Marks {
		inside := m.XPX >= -0.5 && m.XPX <= float64(it.WidthPX)-0.5 && m.YPX >= -0.5 && m.YPX <= float64(it.HeightPX)-0.5
		if !inside {
			return fmt.Errorf("mark %d lies outside the picture", i+1)
		}
		if !slices.Contains(part.Kinds, m.Kind) {
			return fmt.Errorf("mark %d: say what kind of defect it is", i+1)
		}
	}
	if !(a.TookS >= 0) {
		return errors.New("the time it took is not known")
	}
	return nil
}

// verdict is what the answer comes to.
func (a Answer) verdict() part.Verdict {
	if a.Verdict == "" {
		return part.Pass
	}
	return a.Verdict
}

// Outcome is an answer held against the truth.
type Outcome struct {
	Mark  []int // by known defect: the mark that tells of it, or -1
	False []int // marks on nothing that is known
	OffMM []float64
	// OffMM is by known defect how far off its mark is: of a spot from its middle;
	// of what stretches, such as a fibre, from its box, 0 inside. NaN: no mark.
}

// ToleranceMM is how far beside a defect a mark still tells of it: a finger on a
// screen. Common practice, no source.
const ToleranceMM = 0.5

// judge matches marks with known defects as the study of detection matches the
// tool's findings, with the pointing tolerance as slack.
func (it Item) judge(a Answer, toleranceMM float64) Outcome {
	rule := study.DefaultMatchRule()
	rule.SlackPX = max(rule.SlackPX, toleranceMM/it.MMPerPX)
	var known []study.Known
	for _, k := range it.Known {
		known = append(known, study.Known{Kind: string(k.Kind), Box: study.Box(k.Box)})
	}
	var called []study.Called
	for _, m := range a.Marks {
		called = append(called, study.Called{Kind: string(m.Kind), Box: study.Box{m.XPX, m.YPX, 0, 0}})
	}
	m := study.Match(known, called, rule)
	o := Outcome{Mark: m.Call, False: m.False}
	for i, k := range it.Known {
		off := math.NaN()
		if j := m.Call[i]; j >= 0 {
			off = it.MMPerPX * k.awayPX(a.Marks[j])
		}
		o.OffMM = append(o.OffMM, off)
	}
	return o
}

func (k KnownDefect) awayPX(m QuizMark) float64 {
	if k.Spot() {
		c := k.Box.Centre()
		return math.Hypot(m.XPX-c.X, m.YPX-c.Y)
	}
	dx := max(k.Box[0]-m.XPX, 0, m.XPX-k.Box[0]-k.Box[2])
	dy := max(k.Box[1]-m.YPX, 0, m.YPX-k.Box[1]-k.Box[3])
	return math.Hypot(dx, dy)
}

// right says whether all that can be seen was found and called by its kind,
// nothing else was marked, and the verdict is the reference's.
func (it Item) right(a Answer, o Outcome) bool {
	if a.verdict() != it.Verdict || len(o.False) > 0 {
		return false
	}
	for i, k := range it.Known {
		if k.Visible() && (o.Mark[i] < 0 || a.Marks[o.Mark[i]].Kind != k.Kind) {
			return false
		}
	}
	return true
}

// kindWords is a list of kinds for a sentence.
func kindWords(kinds []part.Kind) string {
	var all []string
	for _, k := range kinds {
		all = append(all, strings.ReplaceAll(string(k), "_", " "))
	}
	return strings.Join(all, ", ")
}
