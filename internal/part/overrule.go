package part

import "time"

// Overrule is a person's call beside the tool's.
type Overrule struct {
	At      time.Time
	By      string
	Verdict Verdict
	Reason  string // one of [OverruleReasons]
	Note    string // in the person's words; must be there where the reason is [OverruleOther]
}

// OverruleOther is the reason that asks for a note.
const OverruleOther = "other"

// OverruleReasons are the keys of the reasons for overruling, in the order of a list to choose from.
func OverruleReasons() []string {
	return []string{
		"wiped_off",      // it was dirt, and came off
		"reflection",     // a reflection or a shadow
		"pattern",        // the faceplate's own pattern
		"not_disturbing", // there, but of no concern on this unit
		"overlooked",     // the tool did not find something
		"wrong_size",     // found, but smaller or larger than told
		"wrong_unit",     // bad pictures or wrong handling
		OverruleOther,
	}
}
