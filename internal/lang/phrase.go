package lang

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"finishbench/internal/part"
)

// english is parsed once, of what the program carries.
var english = sync.OnceValue(func() *Lang {
	l, _, err := load("", func(f forms) forms { return f })
	if err != nil {
		panic(err) // the shipped files: each test would end here
	}
	return l.All()[0]
})

// English is the language in which results are written: its units are letters of ASCII, "40 um
// at 30 deg" as the files have them. What [Load] returns writes them as pages do, "40 µm at 30°".
func English() *Lang { return english() }

// asciiUnit is a number's place with its unit in ASCII.
var asciiUnit = regexp.MustCompile(`(\{\w+_(?:um|mm2|deg)\}) (um|mm2|deg)\b`)

// pageUnits are the texts with units as pages write them.
func pageUnits(f forms) forms {
	out := forms{}
	for form, s := range f {
		out[form] = asciiUnit.ReplaceAllStringFunc(s, func(at string) string {
			m := asciiUnit.FindStringSubmatch(at)
			return m[1] + map[string]string{"um": " µm", "mm2": " mm²", "deg": "°"}[m[2]]
		})
	}
	return out
}

// number is an argument as this language writes it: a number, which has a decimal point, has the
// language's own sign instead.
func (x *Lang) number(name, v string) string {
	if x.point == "." || !isNumber(name) || strings.Count(v, ".") != 1 {
		return v
	}
	if _, err := strconv.ParseFloat(strings.TrimSuffix(v, " %"), 64); err != nil {
		return v
	}
	return strings.Replace(v, ".", x.point, 1)
}

// isNumber says whether an argument of this name is a number: such a name ends in its unit, but
// for some that have none.
func isNumber(name string) bool {
	return strings.Contains(name, "_") || slices.Contains([]string{"share", "least", "confidence", "score", "limit", "times", "value",
		"within", "from", "to", "angle", "u"}, name)
}

// Word is an argument for a word of this program, such as a kind: its key where the languages
// have one, else the word itself.
func Word(prefix, word string) string {
	if english().Has(prefix + word) {
		return "@" + prefix + word
	}
	return strings.ReplaceAll(word, "_", " ")
}

// Say is a phrase in this language.
func (x *Lang) Say(p *part.Phrase) string {
	if p == nil {
		return ""
	}
	args := make(map[string]string, len(p.Args)+len(p.Parts))
	for name, v := range p.Args {
		args[name] = x.number(name, v)
	}
	for place, parts := range p.Parts {
		args[place] = x.join(place, parts)
	}
	return x.fill(p.Key, args, 0)
}

func (x *Lang) join(place string, parts []part.Phrase) string {
	said := make([]string, len(parts))
	for i := range parts {
		said[i] = x.Say(&parts[i])
	}
	between := ""
	if key := "join." + place; x.Has(key) {
		between = x.T(key)
	}
	return strings.Join(said, between)
}

// SayOr is a phrase in this language, or, where a result of an earlier program has none, what it says in English.
func (x *Lang) SayOr(p *part.Phrase, said string) string {
	if p == nil {
		return said
	}
	return x.Say(p)
}

// SayAll are phrases in this language, a sentence each.
func (x *Lang) SayAll(all []part.Phrase) []string {
	out := make([]string, len(all))
	for i := range all {
		out[i] = x.Say(&all[i])
	}
	return out
}
