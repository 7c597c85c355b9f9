package bench

import (
	"strconv"
	"strings"
	"unicode"

	"finishbench/internal/part"
)

// maxNote is the longest note that the operator may give, in letters.
const maxNote = 300

// How the next serial is found.
const (
	FollowTyped  = "typed"  // typed or scanned each time
	FollowNumber = "number" // the last serial's number plus one
	FollowPair   = "pair"   // the other side first, then the number
)

// Follows lists them in order.
var Follows = []string{FollowTyped, FollowNumber, FollowPair}

// cleanText takes a name, a lot or a note: one line of at most so many letters.
func cleanText(s string, most int) string {
	s = strings.Join(strings.FieldsFunc(s, func(r rune) bool { return unicode.IsSpace(r) || unicode.IsControl(r) }), " ")
	if r := []rune(s); len(r) > most {
		s = strings.TrimSpace(string(r[:most]))
	}
	return s
}

// nextUnit is the unit after u, as far as it can be told; its serial is "" where
// it has to be typed.
func nextUnit(u part.UnitInfo, follow string) part.UnitInfo {
	switch follow {
	case FollowPair:
		if u.Side == "L" {
			u.Side = "R"
			return u
		}
		u.Side = "L"
		u.Serial = nextSerial(u.Serial)
	case FollowNumber:
		u.Serial = nextSerial(u.Serial)
	default:
		u.Serial = ""
	}
	return u
}

// nextSerial counts the last number in a serial up by one, keeping its leading
// zeros; "" where it has none.
func nextSerial(s string) string {
	end := strings.LastIndexFunc(s, func(r rune) bool { return r >= '0' && r <= '9' }) + 1
	start := end
	for start > 0 && s[start-1] >= '0' && s[start-1] <= '9' {
		start--
	}
	if start == end || end-start > 18 {
		return ""
	}
	n, err := strconv.ParseUint(s[start:end], 10, 64)
	if err != nil {
		return ""
	}
	digits := strconv.FormatUint(n+1, 10)
	if missing := end - start - len(digits); missing > 0 {
		digits = strings.Repeat("0", missing) + digits
	}
	return s[:start] + digits + s[end:]
}
