package lotreport

import (
	"math"
	"strconv"
	"strings"
	"time"
)

// Words are a language; *lang.Lang is one.
type Words interface {
	T(key string, args ...string) string // the text of a key; args are names and values in turn
	Has(key string) bool
	Number(v float64, decimals int) string // NaN: the language's "not measured"
}

// speech is what writes a report in a language and a place on earth.
type speech struct {
	Words
	tag  string
	zone *time.Location
}

// t is a text of the report's own.
func (s speech) t(key string, args ...string) string { return s.T("lot."+key, args...) }

// say is a sentence of the report. One that has no key, or no text of it, stands as it came.
func (s speech) say(x Said) string {
	if x.Text != "" && (x.Key == "" || !s.Has("lot."+x.Key)) {
		return x.Text
	}
	return s.t(x.Key, x.Args...)
}

// limitsWord is the limits file in force.
func limitsWord(l Lot) string {
	if l.LimitsSHA256 == "" {
		return l.Limits
	}
	return join(" ", l.Limits, "("+l.LimitsSHA256[:min(16, len(l.LimitsSHA256))]+")")
}

// word is a word of a list, or the word as it came where it has no text.
func (s speech) word(prefix, w string) string {
	if s.Has(prefix + w) {
		return s.T(prefix + w)
	}
	return w
}

func (s speech) clock(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.In(s.zone).Format("2006-01-02 15:04")
}

// number writes a number; nil is "not measured".
func (s speech) number(v *float64, decimals int) string {
	if v == nil {
		return s.Number(math.NaN(), decimals)
	}
	return s.Number(*v, decimals)
}

// blank writes a number in a table where a nil is an empty cell told by a dash.
func (s speech) blank(v *float64, decimals int) string {
	if v == nil {
		return "–"
	}
	return s.Number(*v, decimals)
}

// percent writes a share of 0..1 in per cent with so many decimals.
func (s speech) percent(v *float64, decimals int) string {
	if v == nil {
		return s.Number(math.NaN(), decimals)
	}
	return s.Number(100**v, decimals) + " %"
}

// withU writes a value with its expanded uncertainty, k = 2: "-12 ± 3".
func (s speech) withU(v, u *float64, decimals int) string {
	switch {
	case v == nil:
		return s.number(nil, decimals)
	case u == nil:
		return s.Number(*v, decimals)
	}
	return s.Number(*v, decimals) + " ± " + s.Number(2**u, decimals)
}

// between writes a span.
func (s speech) between(low, high string) string { return s.t("between", "low", low, "high", high) }

// place says in words what a finding's Place says: "120 deg, left".
func (s speech) place(p string) string {
	angle, side, ok := strings.Cut(p, " deg, ")
	if !ok {
		return p
	}
	return s.T("seam.at", "angle_deg", angle, "side", "@limb."+side)
}

func count(n int) string { return strconv.Itoa(n) }

// Say puts sentences of a report into words.
func (r *Report) Say(w Words, tag string, all []Said) []string {
	s := speech{w, tag, time.UTC}
	var out []string
	for _, x := range all {
		out = append(out, s.say(x))
	}
	return out
}
