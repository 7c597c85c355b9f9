package setup

import (
	"math"
	"strconv"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// State says where a measure lies, or how a step stands.
type State string

// The states.
const (
	Inside      State = "in_zone"
	Below       State = "below"
	Above       State = "above"
	Outside     State = "outside" // of a step: some measure is below or above
	NotMeasured State = "not_measured"
)

// Measure is a number beside the zone that it should lie in.
type Measure struct {
	Key    string      // stays the same from release to release
	Name   part.Phrase // what it is
	File   string      // of the picture
	V      float64     // in Unit; NaN: not measured
	U      float64     // its standard uncertainty; NaN: not known
	Lo, Hi float64     // the zone, ends included; NaN: open there
	Unit   string      // "%", "px", "°", "days"
	Min    float64     // the ends of the bar's scale
	Max    float64

	BelowWord, AboveWord part.Phrase   // "too dark"; without a key: too low, too high
	BelowDo, AboveDo     part.Phrase   // what to do there: a sentence without its end
	NoneDo               part.Phrase   // why it was not measured, or what to do about that
	Notes                []part.Phrase // about the zone: why it is open, where a picture is refused
	Plain                bool          // better and worse mean nothing: nothing is turned to change it
}

// State says where the value lies.
func (m Measure) State() State {
	switch {
	case math.IsNaN(m.V):
		return NotMeasured
	case m.V < m.Lo:
		return Below
	case m.V > m.Hi:
		return Above
	}
	return Inside
}

// Do is what to do about it; without a key where nothing has to be done.
func (m Measure) Do() part.Phrase {
	switch m.State() {
	case NotMeasured:
		return m.NoneDo
	case Below:
		return m.BelowDo
	case Above:
		return m.AboveDo
	}
	return part.Phrase{}
}

// Text is a value of this measure, to read.
func (m Measure) Text(v float64) part.Phrase {
	if math.IsNaN(v) {
		return part.Say("not_measured")
	}
	return m.withUnit(Number(v))
}

// withUnit is a number with the unit, and with the space between that it wants.
func (m Measure) withUnit(number string) part.Phrase {
	if m.Unit == "" || m.Unit == "°" {
		return part.Text(number + m.Unit)
	}
	return part.Say("setup.value", "v", number, "unit", lang.Word("setup.unit.", m.Unit))
}

// mostPlaces is the most decimals that anyone reads.
const mostPlaces = 4

// Value is the measured value with its uncertainty, to read.
func (m Measure) Value() part.Phrase {
	if math.IsNaN(m.V) || math.IsNaN(m.U) {
		return m.Text(m.V)
	}
	// Two digits of the uncertainty, and the value to the same place.
	places := min(max(0, 1-int(math.Floor(math.Log10(m.U)))), mostPlaces)
	if m.U == 0 {
		places = mostPlaces
	}
	fixed := func(v float64) string { return strconv.FormatFloat(v, 'f', places, 64) }
	return m.withUnit(fixed(m.V) + " ± " + fixed(m.U))
}

// Wanted is the zone, to read; without a key where there is none.
func (m Measure) Wanted() part.Phrase {
	lo, hi := !math.IsNaN(m.Lo), !math.IsNaN(m.Hi)
	switch {
	case lo && hi:
		return part.Say("span", "from", Number(m.Lo)).With("to", m.Text(m.Hi))
	case lo:
		return part.Say("setup.or_more").With("v", m.Text(m.Lo))
	case hi:
		return part.Say("setup.up_to").With("v", m.Text(m.Hi))
	}
	return part.Phrase{}
}

// away is how far the value is outside of its zone: 0 inside, in shares of the
// zone's nearer end, so that measures in other units can be compared.
func (m Measure) away() float64 {
	end := 0.0
	switch m.State() {
	case Below:
		end = m.Lo
	case Above:
		end = m.Hi
	default:
		return 0
	}
	if end == 0 {
		end = 1
	}
	return math.Abs((m.V - end) / end)
}

// strain is how near to the end of its zone a value inside it is, 0..1.
func (m Measure) strain() float64 {
	lo, hi := !math.IsNaN(m.Lo), !math.IsNaN(m.Hi)
	switch {
	case lo && hi && m.Hi > m.Lo:
		return math.Abs(m.V-(m.Lo+m.Hi)/2) / ((m.Hi - m.Lo) / 2)
	case hi && m.Hi > 0:
		return m.V / m.Hi
	case lo && m.V > 0:
		return m.Lo / m.V
	}
	return 0
}

// worse says whether m has more need of a hand than o: what is outside comes
// before what was not measured, and that before what is inside.
func (m Measure) worse(o Measure) bool {
	rank := func(m Measure) int {
		switch m.State() {
		case Inside:
			return 0
		case NotMeasured:
			return 1
		}
		return 2
	}
	a, b := rank(m), rank(o)
	switch {
	case a != b:
		return a > b
	case a == 2:
		return m.away() > o.away()
	case a == 0:
		return m.strain() > o.strain()
	}
	return false
}

// Number writes a number to read: three digits, or two below a hundredth.
func Number(v float64) string {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	digits := 3
	if math.Abs(v) < 0.01 {
		digits = 2
	}
	r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'e', digits-1, 64), 64)
	return strconv.FormatFloat(r, 'f', -1, 64)
}
