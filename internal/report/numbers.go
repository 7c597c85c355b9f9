package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Numbers are written here and nowhere else, so that picture, page and plot
// agree. A number that was not measured is a dash.

const dash = "–"

// minus puts a true minus sign in front of negative numbers.
func minus(s string) string {
	if strings.HasPrefix(s, "-") {
		return "−" + s[1:]
	}
	return s
}

// signedUM is a step with its sign, to a tenth of a micrometre.
func signedUM(v *float64) string {
	if v == nil {
		return dash
	}
	return minus(fmt.Sprintf("%+.1f", *v))
}

// fixed is a number with n decimals.
func fixedText(v *float64, n int) string {
	if v == nil {
		return dash
	}
	return minus(strconv.FormatFloat(*v, 'f', n, 64))
}

// twice is the expanded uncertainty of a standard one.
func twice(u *float64) *float64 {
	if u == nil {
		return nil
	}
	v := 2 * *u
	return &v
}

// trimNumber is a number with up to n decimals.
func trimNumber(v float64, n int) string {
	s := strconv.FormatFloat(v, 'f', n, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return minus(s)
}

// significant is a number with four significant digits.
func significant(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return dash
	}
	return minus(strconv.FormatFloat(v, 'g', 4, 64))
}

// mmText is a length such as "0.2 mm".
func mmText(mm float64) string { return strconv.FormatFloat(mm, 'g', 3, 64) + " mm" }
