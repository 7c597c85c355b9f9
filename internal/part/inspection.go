package part

import "time"

// UnitInfo is what is told of a unit before it is looked at.
type UnitInfo struct {
	Serial           string
	Side             string // "L", "R" or "" where the unit is none of a pair, or it is not told
	Lot, Operator    string
	Faceplate, Resin string // what was built in: which faceplate, which batch of resin; "": not told
	Stage            Stage
}

// Name is the unit's name in results: "u06-R".
func (u UnitInfo) Name() string { return UnitName(u.Serial, u.Side) }

// Look names what is looked at: a unit at a stage.
type Look struct {
	Serial, Side string
	Stage        Stage
}

// Look is that of a unit.
func (u UnitInfo) Look() Look { return Look{u.Serial, u.Side, u.Stage} }

// Inspection is one look at one unit, as the records keep it.
type Inspection struct {
	ID int64 // from 1, without gaps; given by the records
	UnitInfo
	Bench              string
	Started, Ended     time.Time       // UTC
	Result             Result          // the whole; see Brief
	Pictures           []StoredPicture // in the order of taking; bytes are stored once by content
	Limits, Station    SettingsFile    // in force, as the files were; stored once by content
	Scales             []SettingsFile  // the scale files in force
	Program, Libraries string          // versions
	Key                string          // "", or what the caller calls it by, unlike any other: see records.Store.Add
	Corrects           int64           // 0, or the inspection that this one corrects

	// Filled on reading.
	CorrectedBy int64     // 0, or the inspection that corrects this one
	Withdrawn   *Note     // nil: it holds
	Overruled   *Overrule // the latest; nil: the tool's call holds
	Brief       bool      // it was read in part, for counting: see records.Store.Briefs
}

// Holds says whether the inspection counts: neither withdrawn nor corrected.
func (in *Inspection) Holds() bool { return in.Withdrawn == nil && in.CorrectedBy == 0 }

// Verdict is the last word: the overruling's where there is one, else the tool's.
func (in *Inspection) Verdict() Verdict {
	if in.Overruled != nil {
		return in.Overruled.Verdict
	}
	return in.Result.Verdict
}

// StoredPicture is one picture of an inspection. To store it, Bytes are the file as it came
// from the camera; nil where only its numbers and SHA256 are to be kept. What is read has no
// Bytes: see records.Store.PictureBytes.
type StoredPicture struct {
	File     string
	View     View
	Light    Light
	AngleDeg float64
	SHA256   string // of the bytes, hexadecimal; worked out on storing where empty
	MIME     string
	Bytes    []byte
}

// SettingsFile is a settings file as it was in force; the zero one: none was used. Lists of
// inspections come without Bytes; records.Store.Get has them.
type SettingsFile struct {
	Name   string
	SHA256 string // hexadecimal; worked out on storing
	Bytes  []byte
}

// Note says who withdrew an inspection or took that back, and why.
type Note struct {
	At      time.Time // now where zero
	By, Why string
}
