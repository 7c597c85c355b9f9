package cli

import (
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"finishbench/internal/lang"
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

// UpperFirst is s with a capital letter, where its script has such.
func UpperFirst(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return ""
	}
	return string(unicode.ToUpper(r)) + s[n:]
}

// ShownTime is a time as pages and texts show it, to the minute.
func ShownTime(t time.Time) string { return t.Format("2006-01-02 15:04") }

// Plain is an error's message in one line, without the name of the package
// that met it.
func Plain(err error) string {
	s := strings.Join(strings.Fields(err.Error()), " ")
	for _, p := range []string{"capture: ", "defects: ", "seam: ", "grade: ", "report: ", "config: ", "records: ", "optics: ",
		"stripes: "} {
		s = strings.TrimPrefix(s, p)
	}
	return s
}

// Why is an error as a page tells it: by its phrase, else as [Plain] has it.
func Why(err error) part.Phrase {
	if p, ok := lang.PhraseOf(err); ok {
		return p
	}
	return part.Text(Plain(err))
}
