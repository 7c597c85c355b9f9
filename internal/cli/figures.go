package cli

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"finishbench/internal/part"
)

// Signed writes a number with a real minus, and no minus before a nought.
func Signed(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return strings.ReplaceAll(s, "-", "−")
}

// Finite is a number for JSON: nil where it was not measured.
func Finite(v float64) *float64 {
	if math.IsInf(v, 0) {
		return nil
	}
	return part.Num(v)
}

// WithUnit is a number with its unit, or words where there is none.
func WithUnit(v float64, decimals int, unit string) string {
	if part.Num(v) == nil {
		return "not measured"
	}
	return fmt.Sprintf("%.*f %s", decimals, v, unit)
}

// Shown is a number with so many decimals, or words where there is none.
func Shown(v float64, decimals int) string {
	if part.Num(v) == nil {
		return "not measured"
	}
	return fmt.Sprintf("%.*f", decimals, v)
}

// Shown4 is a number with four significant digits.
func Shown4(v float64) string {
	if part.Num(v) == nil {
		return "not measured"
	}
	if v == 0 {
		return "0"
	}
	// Plain digits as far as they stay readable.
	if a := math.Abs(v); a >= 1e-4 && a < 1e7 {
		return fmt.Sprintf("%.*f", max(0, 3-int(math.Floor(math.Log10(a)))), v)
	}
	return fmt.Sprintf("%.4g", v)
}

// ShownShare is a share as a percentage.
func ShownShare(v float64) string {
	if part.Num(v) == nil {
		return "not measured"
	}
	return fmt.Sprintf("%.2f %%", 100*v)
}

// ShownP is a probability of chance.
func ShownP(p float64) string {
	switch {
	case part.Num(p) == nil:
		return "not measured"
	case p < 0.00005:
		return "< 0.0001"
	}
	return fmt.Sprintf("%.4f", p)
}

// NumberOf is a number that may not have been measured; NaN where it was not.
func NumberOf(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

// Counted is a number of things with their name.
func Counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// JoinUnit adds a unit to a label or a number where there is one.
func JoinUnit(text, unit, between string) string {
	if unit == "" {
		return text
	}
	return text + between + unit
}

// NotNil makes an empty list of an absent one, so that JSON has [] for it, not null.
func NotNil[T any](s *[]T) {
	if *s == nil {
		*s = []T{}
	}
}
