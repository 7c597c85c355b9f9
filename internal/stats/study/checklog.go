package study

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"
)

// CheckEvent is what a line of a check piece's log tells.
type CheckEvent string

// The events. A measurement has a value, or none where it failed.
const (
	Measurement CheckEvent = ""             // the check piece was measured
	DealtWith   CheckEvent = "dealt_with"   // someone looked into it and says what was done
	NewBaseline CheckEvent = "new_baseline" // the same, and the piece's level is another one from here on
)

// CheckEntry is a line of the log.
type CheckEntry struct {
	Time  time.Time
	Value float64 // NaN: could not be measured, or no measurement
	Event CheckEvent
	Note  string // for events: "who: what was done"
	Line  int
}

var checkColumns = []column{
	{name: "time", also: []string{"date"}},
	{name: "value", also: []string{"y", "measurement"}},
	{name: "event", also: []string{"action"}, optional: true},
	{name: "note", optional: true},
}

// CheckHeader is the first line of a new log.
const CheckHeader = "time,value,event,note\n"

// ReadCheckLog reads a check piece's log: a table with the columns time (such as
// 2026-03-02T06:10:00+01:00, 2026-03-02 06:10 or 2026-03-02), value, and it may
// have event and note. Times without a zone are taken in zone. Lines that follow
// each other with the same time are one subgroup. Errors name line and column.
func ReadCheckLog(r io.Reader, zone *time.Location) ([]CheckEntry, error) {
	t, err := readTable(r, checkColumns)
	if err != nil {
		return nil, err
	}
	var all []CheckEntry
	for _, rw := range t.rows {
		e := CheckEntry{Event: CheckEvent(rw.text["event"]), Note: rw.text["note"], Line: rw.line}
		if e.Time, err = parseTime(rw.text["time"], zone); err != nil {
			return nil, rw.wrong("time", "is not a time: write it as 2026-03-02T06:10:00+01:00, 2026-03-02 06:10 or 2026-03-02")
		}
		if n := len(all); n > 0 && e.Time.Before(all[n-1].Time) {
			return nil, rw.wrong("time", fmt.Sprintf("is before line %d: put the lines in the order of time", all[n-1].Line))
		}
		if e.Value, err = rw.number("value"); err != nil {
			return nil, err
		}
		switch e.Event {
		case Measurement:
		case DealtWith, NewBaseline:
			if !math.IsNaN(e.Value) {
				return nil, fmt.Errorf("line %d: a line with an event has no value: put the measurement on a line of its own", rw.line)
			}
			if err := CheckNote(e.Note); err != nil {
				return nil, fmt.Errorf("line %d, column note: %w", rw.line, err)
			}
		default:
			return nil, rw.wrong("event", fmt.Sprintf("is not known: use %s or %s, or leave it empty", DealtWith, NewBaseline))
		}
		all = append(all, e)
	}
	return all, nil
}

// CheckNote says whether a note tells who did what.
func CheckNote(note string) error {
	who, what, ok := strings.Cut(note, ":")
	if !ok || strings.TrimSpace(who) == "" || strings.TrimSpace(what) == "" || strings.ContainsAny(note, "\r\n") {
		return errors.New(`say who did what in one line: "name: what was done"`)
	}
	return nil
}

// Row is the entry as a line of the log.
func (e CheckEntry) Row() string {
	value := ""
	if !math.IsNaN(e.Value) {
		value = fmt.Sprintf("%g", e.Value)
	}
	note := e.Note
	if strings.ContainsAny(note, "\",;\t\n\r") {
		note = `"` + strings.ReplaceAll(note, `"`, `""`) + `"`
	}
	return fmt.Sprintf("%s,%s,%s,%s\n", e.Time.Format(time.RFC3339), value, e.Event, note)
}

func parseTime(s string, zone *time.Location) (time.Time, error) {
	if t, err := time.Parse(time.RFC3339Nano, s); err == nil {
		return t, nil
	}
	for _, layout := range []string{"2006-01-02T15:04:05", "2006-01-02 15:04:05", "2006-01-02T15:04", "2006-01-02 15:04", "2006-01-02"} {
		if t, err := time.ParseInLocation(layout, s, zone); err == nil {
			return t, nil
		}
	}
	return time.Time{}, errors.New("no time")
}

// ReadCheckSettings reads how a log is judged from its remarks: lines such as
//
//	# baseline: 25
//	# centre: 12.3
//	# sigma: 0.4
//	# rules: western-electric
//	# max_age_hours: 24
//
// What is not there stays as in o. Other remarks are left alone.
func ReadCheckSettings(text string, o StabilityOptions) (StabilityOptions, error) {
	n := 0
	for line := range strings.Lines(strings.TrimPrefix(text, "\ufeff")) {
		n++
		remark, ok := strings.CutPrefix(strings.TrimSpace(line), "#")
		if !ok {
			continue
		}
		key, value, _ := strings.Cut(remark, ":")
		key, value = strings.TrimSpace(key), strings.TrimSpace(value)
		if err := o.set(key, value); err != nil {
			return o, fmt.Errorf("line %d, %s: %w", n, key, err)
		}
	}
	return o, nil
}

// set sets one option by its name; other names are no settings.
func (o *StabilityOptions) set(key, value string) error {
	number := func(to *float64) error {
		v, err := strconv.ParseFloat(value, 64)
		if err != nil || math.Abs(v) > largest || math.IsNaN(v) {
			return fmt.Errorf("%q is not a number", value)
		}
		*to = v
		return nil
	}
	switch key {
	case "baseline":
		v, err := strconv.Atoi(value)
		if err != nil {
			return fmt.Errorf("%q is not a whole number", value)
		}
		o.Baseline = v
	case "centre":
		return number(&o.Centre)
	case "sigma":
		return number(&o.Sigma)
	case "rules":
		o.Rules = value
	case "max_age_hours":
		var h float64
		if err := number(&h); err != nil {
			return err
		}
		if !(h > 0 && h <= 24*366) {
			return fmt.Errorf("%s: give hours above 0, up to a year", value)
		}
		o.MaxAge = time.Duration(h * float64(time.Hour))
	}
	return nil
}
