package cli

import (
	"fmt"

	"finishbench/internal/lang"
	"finishbench/internal/report/plots"
)

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

// ChartNames are the words of a control chart in a language.
func ChartNames(x *lang.Lang) *plots.ChartNames {
	return &plots.ChartNames{Centre: x.T("lot.chart.centre"), Upper: x.T("lot.chart.upper"), Lower: x.T("lot.chart.lower"),
		Out: x.T("plot.out_of_limits")}
}
