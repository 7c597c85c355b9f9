package lang

import (
	"maps"
	"strings"
	"sync"

	"finishbench/internal/part"
)

// english is parsed once, of what the program carries.
var english = sync.OnceValue(func() *Lang {
	l, _, err := Load("")
	if err != nil {
		panic(err) // the shipped files: each test would end here
	}
	return l.All()[0]
})

// English is the language in which results are written.
func English() *Lang { return english() }

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
	args := p.Args
	if len(p.Parts) > 0 {
		if args = maps.Clone(p.Args); args == nil {
			args = map[string]string{}
		}
		for place, parts := range p.Parts {
			args[place] = x.join(place, parts)
		}
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

// SayAll are phrases in this language, a sentence each.
func (x *Lang) SayAll(all []part.Phrase) []string {
	out := make([]string, len(all))
	for i := range all {
		out[i] = x.Say(&all[i])
	}
	return out
}
