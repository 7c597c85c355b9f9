package config

import (
	"fmt"
	"slices"
	"time"

	"finishbench/internal/grade"
	"finishbench/internal/part"
)

// Lots is how lots are judged at final inspection. What the command line says wins.
type Lots struct {
	Product     string `mapstructure:"product"`      // "": shell
	Stage       string `mapstructure:"stage"`        // trim, wet or cured
	Level       string `mapstructure:"level"`        // S-1..S-4, I, II, III
	Standard    string `mapstructure:"standard"`     // of the switching rules
	Reduced     string `mapstructure:"reduced"`      // "no", "agreed" or "agreed-without-limit-number"
	LimitNumber int    `mapstructure:"limit_number"` // MIL-STD-105E, Table VIII; -1: not looked up
	// Times of day at which shifts begin, "15:04", in order; empty: none are told apart.
	Shifts     []string   `mapstructure:"shifts"`
	NotPassing string     `mapstructure:"not_passing"` // severity as which a unit counts at least that does not pass
	Classes    []LotClass `mapstructure:"classes"`
}

// LotClass is a group of severities that is judged by a plan of its own.
type LotClass struct {
	Severity     string   `mapstructure:"severity"`      // what the class is called
	Covers       []string `mapstructure:"covers"`        // severities that count in it
	AQL          float64  `mapstructure:"aql"`           // percent nonconforming units, or findings per 100 units
	Count        string   `mapstructure:"count"`         // units (also "") or findings
	Accept       string   `mapstructure:"accept"`        // "": by the AQL; none: not one
	LimitPercent float64  `mapstructure:"limit_percent"` // accept: none only; 0: the sample of the largest other plan
	Risk         float64  `mapstructure:"risk"`          // with limit_percent: probability that such a lot passes
}

// The words of lots. The levels are those of Table I, the standards those whose
// switching rules are known.
var (
	lotLevels    = []string{"S-1", "S-2", "S-3", "S-4", "I", "II", "III"}
	lotStandards = []string{"ISO 2859-1:1999", "MIL-STD-105E"}
	lotReduced   = []string{"no", "agreed", "agreed-without-limit-number"}
)

func (s Station) validateLots(c *checks) {
	l := s.Lots
	c.word("lots.stage", l.Stage, words(part.Stages)...)
	c.word("lots.level", l.Level, lotLevels...)
	c.word("lots.standard", l.Standard, lotStandards...)
	c.word("lots.reduced", l.Reduced, lotReduced...)
	c.between("lots.limit_number", float64(l.LimitNumber), -1, 1e6)
	for i, at := range l.Shifts {
		if t, err := time.Parse("15:04", at); err != nil || t.Format("15:04") != at {
			c.addf(fmt.Sprintf("lots.shifts[%d]", i), "%q is no time of day: write it as 06:00", printable(at))
		} else if i > 0 && at <= l.Shifts[i-1] {
			c.addf(fmt.Sprintf("lots.shifts[%d]", i), "%s is not after %s: write them in the order of the day, each once", at,
				l.Shifts[i-1])
		}
	}
	if len(l.Classes) == 0 {
		c.addf("lots.classes", "is empty: a lot is judged by one class at least")
	}
	in := map[string]bool{}
	for i, k := range l.Classes {
		k.validate(c, fmt.Sprintf("lots.classes[%d]", i), in)
	}
	c.word("lots.not_passing", l.NotPassing, words(part.Severities[1:])...)
	if len(in) > 0 && !in[l.NotPassing] && slices.Contains(words(part.Severities[1:]), l.NotPassing) {
		c.addf("lots.not_passing", "is %s, which no class covers: units that do not pass would not count", l.NotPassing)
	}
}

// validate checks a class; in holds the severities that earlier classes cover.
func (k LotClass) validate(c *checks, key string, in map[string]bool) {
	severities := words(part.Severities[1:])
	c.word(key+".severity", k.Severity, severities...)
	c.word(key+".count", k.Count, "", "units", "findings")
	c.word(key+".accept", k.Accept, "", "none")
	if len(k.Covers) == 0 {
		c.addf(key+".covers", "is empty: list the severities that count in this class")
	}
	for j, s := range k.Covers {
		at := fmt.Sprintf("%s.covers[%d]", key, j)
		if !slices.Contains(severities, s) {
			*c = append(*c, &grade.KeyError{Key: at, What: fmt.Sprintf("%q is no severity", printable(s)), Word: s, Words: severities})
		} else if in[s] {
			c.addf(at, "%s counts in two classes", s)
		}
		in[s] = true
	}
	switch none := k.Accept == "none"; {
	case none && k.AQL != 0:
		c.addf(key+".aql", "is set beside accept: none: take one of them out")
	case !none:
		c.between(key+".aql", k.AQL, 0.01, 1000)
		if k.LimitPercent != 0 || k.Risk != 0 {
			c.addf(key+".limit_percent", "is for accept: none only")
		}
	case (k.LimitPercent == 0) != (k.Risk == 0):
		c.addf(key+".risk", "limit_percent and risk belong together: set both, or none")
	case k.LimitPercent != 0:
		c.between(key+".limit_percent", k.LimitPercent, 0.001, 99)
		c.between(key+".risk", k.Risk, 0.001, 0.5)
	}
}

// words are typed words as strings.
func words[T ~string](list []T) []string {
	out := make([]string, len(list))
	for i, w := range list {
		out[i] = string(w)
	}
	return out
}
