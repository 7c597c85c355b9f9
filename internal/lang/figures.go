package lang

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"finishbench/internal/part"
)

// WithUnit is a number with its unit, or words where there is none.
func (x *Lang) WithUnit(v float64, decimals int, unit string) string {
	if part.Num(v) == nil {
		return x.T("not_measured")
	}
	return fmt.Sprintf("%.*f %s", decimals, v, unit)
}

// Shown is a number with so many decimals, or words where there is none.
func (x *Lang) Shown(v float64, decimals int) string {
	if part.Num(v) == nil {
		return x.T("not_measured")
	}
	return fmt.Sprintf("%.*f", decimals, v)
}

// Shown4 is a number with four significant digits.
func (x *Lang) Shown4(v float64) string {
	if part.Num(v) == nil {
		return x.T("not_measured")
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
func (x *Lang) ShownShare(v float64) string {
	if part.Num(v) == nil {
		return x.T("not_measured")
	}
	return fmt.Sprintf("%.2f %%", 100*v)
}

// ShownP is a probability of chance.
func (x *Lang) ShownP(p float64) string {
	switch {
	case part.Num(p) == nil:
		return x.T("not_measured")
	case p < 0.00005:
		return "< 0.0001"
	}
	return fmt.Sprintf("%.4f", p)
}

// Listed joins names, the first ones only where there are many.
func (x *Lang) Listed(names []string) string {
	const most = 6
	if len(names) > most+1 {
		return x.T("few", "names", strings.Join(names[:most], x.T("looked.comma")), "more", strconv.Itoa(len(names)-most))
	}
	return strings.Join(names, x.T("looked.comma"))
}

// Named is a word of this program in this language; one that the languages do not have stays as it is, with
// spaces for underscores.
func (x *Lang) Named(prefix, word string) string {
	if x.Has(prefix + word) {
		return x.T(prefix + word)
	}
	return strings.ReplaceAll(word, "_", " ")
}
