package part

import (
	"strconv"
	"strings"
)

// Fixed is a number with so many decimals.
func Fixed(v float64, decimals int) string { return strconv.FormatFloat(v, 'f', decimals, 64) }

// Decimal writes a number with no more digits than it has.
func Decimal(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// CSVNumber is a number as a field of a CSV file; empty where it was not measured.
func CSVNumber(v *float64) string {
	if v == nil {
		return ""
	}
	return Decimal(*v)
}

// CSVText is a text as a field of a CSV file: on one line, and nothing that a
// spreadsheet takes for a formula.
func CSVText(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	if s != "" && strings.ContainsRune("=+-@", rune(s[0])) {
		return "'" + s
	}
	return s
}
