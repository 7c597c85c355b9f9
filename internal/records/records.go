package records

import (
	"errors"
	"time"

	"finishbench/internal/part"
)

// Inspection is one look at one unit.
type Inspection struct {
	ID                   int64  // from 1, without gaps; given by [Store.Add]
	Serial               string // not empty
	Side                 string // "L", "R" or "" where the unit is none of a pair, or it is not told
	Lot, Bench, Operator string
	Faceplate, Resin     string // what was built in: which faceplate, which batch of resin; "": not told
	Stage                part.Stage
	Started, Ended       time.Time      // UTC
	Result               part.Result    // the whole
	Pictures             []Picture      // in the order of taking; bytes are stored once by content
	Limits, Station      Text           // in force, as the files were; stored once by content
	Scales               []Text         // the scale files in force
	Program, Libraries   string         // versions
	Key                  string         // "", or what the caller calls it by, unlike any other: see [Store.Add]
	Corrects             int64          // 0, or the inspection that this one corrects
	CorrectedBy          int64          // 0, or the inspection that corrects this one; filled on reading
	Withdrawn            *Note          // nil: it holds; filled on reading
	Overruled            *part.Overrule // the latest; nil: the tool's call holds; filled on reading
}

// Holds says whether the inspection counts: neither withdrawn nor corrected.
func (in *Inspection) Holds() bool { return in.Withdrawn == nil && in.CorrectedBy == 0 }

// Verdict is the last word: the overruling's where there is one, else the tool's.
func (in *Inspection) Verdict() part.Verdict {
	if in.Overruled != nil {
		return in.Overruled.Verdict
	}
	return in.Result.Verdict
}

// Picture is one picture of an inspection. For [Store.Add], Bytes are the file
// as it came from the camera; nil where only its numbers and SHA256 are to be
// kept. On reading Bytes are nil: see [Store.PictureBytes].
type Picture struct {
	File     string
	View     part.View
	Light    part.Light
	AngleDeg float64
	SHA256   string // of the bytes, hexadecimal; worked out by [Store.Add] where empty
	MIME     string
	Bytes    []byte
}

// Text is a settings file as it was in force. Lists of inspections come without
// Bytes; [Store.Get] has them. The zero Text: none was used.
type Text struct {
	Name   string
	SHA256 string // hexadecimal; worked out by [Store.Add]
	Bytes  []byte
}

// Note says who withdrew an inspection, and why.
type Note struct {
	At      time.Time // now where zero
	By, Why string
}

// Filter chooses inspections; what is zero does not choose.
type Filter struct {
	From, To                           time.Time // From <= Started < To
	Serial, Side, Lot, Operator, Bench string
	Resin                              string // batch
	Stage                              part.Stage
	After                              int64 // numbers above this one only; below it with NewestFirst
	Limit                              int
	NewestFirst                        bool
}

// What callers tell apart with errors.Is.
var (
	ErrNotFound  = errors.New("no such inspection")
	ErrForgotten = errors.New("only the numbers of this picture were kept")
	ErrWithdrawn = errors.New("the inspection is withdrawn already")
	ErrHolds     = errors.New("the inspection is not withdrawn")
	ErrInvalid   = errors.New("not accepted") // the caller's input
)
