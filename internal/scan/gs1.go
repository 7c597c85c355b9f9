package scan

import (
	"regexp"
	"slices"
	"strings"

	"finishbench/internal/part"
)

// gs is what readers send for FNC1 between element strings: the group separator of ASCII.
const gs = '\x1d'

// Element is an element string of GS1: what it tells, by its application identifier, and the value.
type Element struct{ AI, Value string }

// The identifiers that name a unit and its lot (GS1 General Specifications, from memory).
const (
	aiItem   = "01" // GTIN
	aiBatch  = "10"
	aiSerial = "21"
)

// symbologies are the identifiers with which readers tell that a code is of GS1: GS1-128, DataBar,
// DataMatrix, QR Code and DotCode. From memory, as is that such an identifier (ISO/IEC 15424) is a
// closing bracket, a letter and a digit or letter.
var symbologies = []string{"]C1", "]e0", "]d2", "]Q3", "]J1"}

var symbology = regexp.MustCompile(`^\][A-Za-z][0-9A-Za-z]`)

// withoutSymbology takes a reader's word on the kind of bars off; gs1 says that they are of GS1.
func withoutSymbology(text string) (code string, gs1 bool) {
	id := symbology.FindString(text)
	return text[len(id):], slices.Contains(symbologies, id)
}

// digits is how many digits an application identifier has, by its first two: GS1 General
// Specifications 22, figure 7.8.2-1, as GS1's Tag Data Translation has it in table K; 03, 04, 14
// and 18, which that leaves out, from memory.
func digits(two string) int {
	switch two {
	case "00", "01", "02", "03", "04", "10", "11", "12", "13", "14", "15", "16", "17", "18", "19", "20", "21", "22", "30", "37",
		"90", "91", "92", "93", "94", "95", "96", "97", "98", "99":
		return 2
	case "23", "24", "25", "40", "41", "42", "71":
		return 3
	case "31", "32", "33", "34", "35", "36", "39", "43", "70", "72", "80", "81", "82":
		return 4
	}
	return 0
}

// fixed is the length of identifier and value together of those that need no separator, by the
// first two digits; 0: it ends with a separator or the code. GS1 General Specifications, the table
// of element strings with a predefined length, from memory.
func fixed(two string) int {
	switch two {
	case "00":
		return 20
	case "01", "02", "03":
		return 16
	case "04":
		return 18
	case "11", "12", "13", "14", "15", "16", "17", "18", "19":
		return 8
	case "20":
		return 4
	case "31", "32", "33", "34", "35", "36":
		return 10
	case "41":
		return 16
	}
	return 0
}

// mostOf is the longest value of a batch or a serial (the same, from memory); of the others, what
// any may have.
func mostOf(ai string) int {
	if ai == aiBatch || ai == aiSerial {
		return 20
	}
	return 90
}

// readGS1 reads the element strings of a code; is says whether it is one of GS1: it was told so,
// or it has a separator, or it begins with a GTIN whose check digit is right and the rest is
// made of element strings too. The error is a [Problem].
func readGS1(text string, known bool) (all []Element, is bool, err error) {
	known = known || strings.ContainsRune(text, gs)
	if !known && !(len(text) > 16 && strings.HasPrefix(text, aiItem) && checked(text[2:16])) {
		return nil, false, nil
	}
	all, ok := elements(strings.TrimLeft(text, string(gs)))
	switch {
	case ok:
		return all, true, nil
	case known:
		return nil, false, Problem{part.Say("scan.wrong.gs1", "text", Shown(text))}
	}
	return nil, false, nil
}

func elements(s string) (all []Element, ok bool) {
	for s != "" {
		if len(s) < 2 {
			return nil, false
		}
		two := s[:2]
		n := digits(two)
		if n == 0 || len(s) <= n || !figures(s[:n]) {
			return nil, false
		}
		end := strings.IndexRune(s, gs)
		if end < 0 {
			end = len(s)
		}
		if l := fixed(two); l > 0 {
			if end < l || !figures(s[:l]) {
				return nil, false
			}
			end = l
		}
		e := Element{s[:n], s[n:end]}
		if e.Value == "" || len(e.Value) > mostOf(e.AI) || strings.ContainsFunc(e.Value, func(r rune) bool { return r < '!' || r > 'z' }) || e.AI == aiItem && !checked(e.Value) {
			return nil, false
		}
		if v := value(all, e.AI); v != "" && v != e.Value {
			return nil, false // two of the same kind that differ
		}
		all = append(all, e)
		s = strings.TrimPrefix(s[end:], string(gs))
	}
	return all, len(all) > 0
}

func value(all []Element, ai string) string {
	for _, e := range all {
		if e.AI == ai {
			return e.Value
		}
	}
	return ""
}

// Written is how element strings are written for people: (01)...(21)...
func Written(all []Element) string {
	s := ""
	for _, e := range all {
		s += "(" + e.AI + ")" + e.Value
	}
	return s
}

func figures(s string) bool {
	return !strings.ContainsFunc(s, func(r rune) bool { return r < '0' || r > '9' })
}

// checked says whether the last digit is the check digit of those before it: weights 3 and 1 in
// turn from the right, up to the next ten (GS1 General Specifications, from memory).
func checked(s string) bool {
	if !figures(s) || s == "" {
		return false
	}
	sum := 0
	for i := range len(s) - 1 {
		d := int(s[len(s)-2-i] - '0')
		if i%2 == 0 {
			d *= 3
		}
		sum += d
	}
	return (10-sum%10)%10 == int(s[len(s)-1]-'0')
}
