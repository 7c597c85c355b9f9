package cli

import (
	"fmt"
	"strings"
	"time"

	"finishbench/internal/part"
)

// First is the first of the words that is not empty; "" where all are.
func First(words ...string) string {
	for _, w := range words {
		if w != "" {
			return w
		}
	}
	return ""
}

// Or is s, or another word where s is empty.
func Or(s, none string) string {
	if s == "" {
		return none
	}
	return s
}

// UpperFirst is s with a capital letter; it must begin with an ASCII one.
func UpperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// Few joins names, the first ones only where there are many.
func Few(names []string) string {
	const most = 6
	if len(names) > most+1 {
		return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), len(names)-most)
	}
	return strings.Join(names, ", ")
}

// ShownTime is a time as pages and texts show it, to the minute.
func ShownTime(t time.Time) string { return t.Format("2006-01-02 15:04") }

// VerdictWord is a verdict in plain words.
func VerdictWord(v part.Verdict) string { return strings.ReplaceAll(string(v), "_", " ") }

// Plain is an error's message in one line, without the name of the package
// that met it.
func Plain(err error) string {
	s := strings.Join(strings.Fields(err.Error()), " ")
	for _, p := range []string{"capture: ", "defects: ", "seam: ", "grade: ", "report: ", "config: ", "records: "} {
		s = strings.TrimPrefix(s, p)
	}
	return s
}
