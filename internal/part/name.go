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

// SerialAndSide takes the side off a unit's name, u06-R, unless it is told.
func SerialAndSide(name, told string) (serial, side string) {
	if told != "" {
		return name, told
	}
	return SplitSide(name)
}

// SplitSide takes the side off what a unit is called by: P-01-L, P-01 R. The side is "" where
// none stands there, apart from the serial.
func SplitSide(s string) (serial, side string) {
	s = strings.TrimFunc(s, func(r rune) bool { return unicode.IsSpace(r) || unicode.IsControl(r) })
	n := len(s) - 2
	if n < 1 || !strings.ContainsRune("- ", rune(s[n])) || s[n+1] != 'L' && s[n+1] != 'R' {
		return s, ""
	}
	return s[:n], s[n+1:]
}
