package part

import (
	"strings"
	"unicode"
)

// UnitName is the name of a unit in results: "u06-R", or the serial where no side
// is told.
func UnitName(serial, side string) string {
	if side == "" {
		return serial
	}
	return serial + "-" + side
}

// SerialAndSide takes the side off a unit's name, u06-R. A side that is told holds; a name that
// ends with the other one is then kept whole.
func SerialAndSide(name, given string) (serial, side string) {
	serial, side = SplitSide(name)
	switch {
	case given == "" || given == side:
		return serial, side
	case side == "":
		return serial, given
	}
	return name, given
}

// CleanName is a unit's name however its side was written: P-01 L is P-01-L.
func CleanName(name string) string { return UnitName(SplitSide(name)) }

// SplitSide takes the side off what a unit is called by: P-01-L, P-01 R. The side is "" where
// none stands there, apart from the serial. All of the program reads names of units by it.
func SplitSide(s string) (serial, side string) {
	outer := func(r rune) bool { return unicode.IsSpace(r) || unicode.IsControl(r) }
	s = strings.TrimFunc(s, outer)
	n := len(s) - 2
	if n < 1 || !strings.ContainsRune("- ", rune(s[n])) || s[n+1] != 'L' && s[n+1] != 'R' {
		return s, ""
	}
	return strings.TrimRightFunc(s[:n], outer), s[n+1:]
}
