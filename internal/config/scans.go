package config

import (
	"fmt"
	"unicode"

	"finishbench/internal/scan"
)

// Scans are how the bench's barcode readers are set, and what the codes look like that they read.
// Patterns are regular expressions (RE2) that fit the whole of a code.
type Scans struct {
	Prefix    string   `mapstructure:"prefix"`    // sent before each code; "": none
	Suffix    string   `mapstructure:"suffix"`    // sent after it, before Enter; "": none
	Unit      []string `mapstructure:"unit"`      // empty: whatever fits no other and may be a serial
	Badge     []string `mapstructure:"badge"`     // empty: labels of this program alone
	Lot       []string `mapstructure:"lot"`       // empty: those, and GS1 codes with a batch and no serial
	Faceplate []string `mapstructure:"faceplate"` // batches of faceplates; empty: labels of this program alone
}

// mostSent bounds prefix and suffix, in letters.
const mostSent = 10

// patterns are the patterns of each kind.
func (s Scans) patterns() map[scan.Kind][]string {
	return map[scan.Kind][]string{scan.Unit: s.Unit, scan.Badge: s.Badge, scan.Lot: s.Lot, scan.Faceplate: s.Faceplate}
}

// Rules are the same for package scan. Of a station that was loaded they cannot fail.
func (s Scans) Rules() (scan.Rules, error) {
	r := scan.Rules{Prefix: s.Prefix, Suffix: s.Suffix}
	for _, k := range scan.Kinds {
		for i, expr := range s.patterns()[k] {
			p, err := scan.NewPattern(k, expr)
			if err != nil {
				return r, fmt.Errorf("scans.%s[%d]: %w", k, i, err)
			}
			r.Patterns = append(r.Patterns, p)
		}
	}
	return r, nil
}

func (s Scans) validate(c *checks) {
	for key, v := range map[string]string{"scans.prefix": s.Prefix, "scans.suffix": s.Suffix} {
		typed := len([]rune(v)) <= mostSent
		for _, r := range v {
			typed = typed && r > ' ' && r <= unicode.MaxASCII && unicode.IsPrint(r)
		}
		if !typed {
			c.addf(key, "%q: up to %d signs that a keyboard types, without blanks; Enter is not named", printable(v), mostSent)
		}
	}
	for _, k := range scan.Kinds {
		for i, expr := range s.patterns()[k] {
			if _, err := scan.NewPattern(k, expr); err != nil {
				c.addf(fmt.Sprintf("scans.%s[%d]", k, i), "%v", err)
			}
		}
	}
}
