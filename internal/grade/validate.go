package grade

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"finishbench/internal/part"
)

// KeyError is one thing wrong with the limits.
type KeyError struct {
	Key   string   // e.g. "surface[3].by[0].minor"
	What  string   // what is wrong, in plain words
	Word  string   // a word that is not known, or ""
	Words []string // and the words that are
}

func (e *KeyError) Error() string {
	s := e.Key + ": " + e.What
	if len(e.Words) > 0 {
		s += "; use " + strings.Join(e.Words, ", ")
	}
	return s
}

// Validate checks the limits. The error joins one [KeyError] for each thing that
// is wrong.
func (l Limits) Validate() error {
	var c checker
	if l.Version != 1 {
		c.addf("version", "%d, but this program reads version 1", l.Version)
	}
	c.between("score_limit", l.ScoreLimit, 0, 10000)
	c.between("min_confidence", l.MinConfidence, 0, 1)
	c.word("decision.rule", l.Decision.Rule, []string{Simple, GuardedAcceptance, GuardedRejection})
	c.between("decision.k", l.Decision.K, 0, 5)
	c.cluster(l.Cluster)
	c.between("pair.step_um", l.Pair.StepUM, 0, 10000)
	c.between("pair.mean_um", l.Pair.MeanUM, 0, 10000)
	c.between("pair.delta_e", l.Pair.DeltaE, 0, 100)
	c.between("pair.demerits", l.Pair.Demerits, 0, 10000)
	for i, r := range l.Required {
		key := fmt.Sprintf("required[%d]", i)
		list(&c, key+".stages", r.Stages, part.Stages)
		list(&c, key+".views", r.Views, part.Views)
	}
	c.lookedAt(l.LookedAt)
	c.seam(l.Seam)
	c.surface(l.Surface)
	c.waviness(l.Waviness)
	c.mend(l.Mend)
	return errors.Join(c.errs...)
}

// checker gathers what is wrong.
type checker struct{ errs []error }

func (c *checker) addf(key, format string, a ...any) {
	c.errs = append(c.errs, &KeyError{Key: key, What: fmt.Sprintf(format, a...)})
}

// between asks for a finite number in lo..hi.
func (c *checker) between(key string, v, lo, hi float64) {
	if !(v >= lo && v <= hi) {
		c.addf(key, "%s is not between %s and %s", short(v), short(lo), short(hi))
	}
}

func (c *checker) word(key, v string, known []string) {
	if has(known, v) {
		return
	}
	what := fmt.Sprintf("%q is not known", v)
	if v == "" {
		what = "is missing or empty"
	}
	c.errs = append(c.errs, &KeyError{Key: key, What: what, Word: v, Words: known})
}

// list asks for at least one word, each known and none twice.
func list[T ~string](c *checker, key string, got, known []T) {
	if len(got) == 0 {
		c.errs = append(c.errs, &KeyError{Key: key, What: "is missing or empty", Words: words(known)})
	}
	for i, v := range got {
		c.word(fmt.Sprintf("%s[%d]", key, i), string(v), words(known))
		if has(got[:i], v) {
			c.addf(fmt.Sprintf("%s[%d]", key, i), "%q is there twice", v)
		}
	}
}

func (c *checker) cluster(k Cluster) {
	if k.Count == 0 {
		return
	}
	if k.Count < 2 || k.Count > 100 {
		c.addf("cluster.count", "%d is not between 2 and 100 (0: no cluster rule)", k.Count)
	}
	if !(k.WithinMM > 0 && k.WithinMM <= 50) {
		c.addf("cluster.within_mm", "%s is not above 0 and up to 50", short(k.WithinMM))
	}
	if k.Raise < 1 || k.Raise > 3 {
		c.addf("cluster.raise", "%d is not between 1 and 3", k.Raise)
	}
	c.word("cluster.up_to", string(k.UpTo), words(part.Severities))
	c.word("cluster.from", string(k.From), words(part.Severities))
	list(c, "cluster.kinds", k.Kinds, SurfaceKinds)
}

// greatest is the largest bound that makes sense, by measure.
func greatest(measure string) float64 {
	switch measure {
	case ProudUM, RecessedUM, GapUM, BeadUM, AreaMM2, Lines:
		return 10000
	}
	return 100
}

// by checks the classes of one row.
func (c *checker) by(key string, by []Classes, measures []string) {
	if len(by) == 0 {
		c.addf(key, "is missing or empty: a row needs at least one measure")
	}
	for i, k := range by {
		at := fmt.Sprintf("%s[%d]", key, i)
		c.word(at+".measure", k.Measure, measures)
		for j := range by[:i] {
			if by[j].Measure == k.Measure {
				c.addf(at+".measure", "%q is there twice in this row", k.Measure)
			}
		}
		c.classes(at, k, 0, greatest(k.Measure))
	}
}

// classes checks the bounds between the severities.
func (c *checker) classes(at string, k Classes, lo, hi float64) {
	classes := k.list()
	if len(classes) == 0 {
		c.addf(at, "has no class: give minor, moderate, major or critical")
	}
	for j, b := range classes {
		name := at + "." + string(b.sev)
		c.between(name, b.bound, lo, hi)
		if j > 0 && !(b.bound > classes[j-1].bound) {
			c.addf(name, "%s is not above %s (%s): a worse class starts higher", short(b.bound), classes[j-1].sev,
				short(classes[j-1].bound))
		}
	}
}

// waviness checks the limits of waves. Under 1 mrad orange peel is not told.
func (c *checker) waviness(rows []Waviness) {
	seen := map[string]string{}
	for i, r := range rows {
		key := fmt.Sprintf("waviness[%d]", i)
		list(c, key+".stages", r.Stages, part.Stages)
		for _, st := range r.Stages {
			c.once(seen, "stage "+string(st), key)
		}
		if len(r.By) == 0 {
			c.addf(key+".by", "is missing or empty: a row needs at least one pair of wavelengths")
		}
		for j, b := range r.By {
			at := fmt.Sprintf("%s.by[%d]", key, j)
			for _, end := range []struct {
				name string
				mm   float64
			}{{"from_mm", b.FromMM}, {"to_mm", b.ToMM}} {
				if !has(part.OctaveEndsMM, end.mm) {
					c.addf(at+"."+end.name, "%s is no wavelength that octaves end at; use 4, 2, 1, 0.5, 0.25, 0.125", short(end.mm))
				}
			}
			if !(b.FromMM > b.ToMM) {
				c.addf(at+".to_mm", "%s is not under from_mm (%s): the longest wave comes first", short(b.ToMM), short(b.FromMM))
			}
			for k, o := range r.By[:j] {
				if o.FromMM == b.FromMM && o.ToMM == b.ToMM {
					c.addf(at, "the same waves are already in %s.by[%d]", key, k)
				}
			}
			c.classes(at, b.classes(), 1, 1000)
		}
	}
}

// once notes that a combination is covered, and complains when another row
// covers it already.
func (c *checker) once(seen map[string]string, what, key string) {
	if first, ok := seen[what]; ok {
		if first == key {
			return // a word twice in one row: told already
		}
		c.addf(key, "%s is already in %s; each may be there once", what, first)
		return
	}
	seen[what] = key
}

// lacking complains about combinations that nothing covers: the first, and how
// many more.
func (c *checker) lacking(key string, missing []string) {
	switch n := len(missing); {
	case n == 1:
		c.addf(key, "no row for %s", missing[0])
	case n > 1:
		c.addf(key, "no row for %s, nor for %d more", missing[0], n-1)
	}
}

func (c *checker) lookedAt(rows []LookedAt) {
	seen := map[string]string{}
	for i, r := range rows {
		key := fmt.Sprintf("looked_at[%d]", i)
		list(c, key+".stages", r.Stages, part.Stages)
		list(c, key+".views", r.Views, SurfaceViews)
		c.between(key+".least", r.Least, 0, 1)
		for _, st := range r.Stages {
			for _, v := range r.Views {
				c.once(seen, fmt.Sprintf("view %s at stage %s", v, st), key)
			}
		}
	}
}

func (c *checker) seam(rows []SeamLimit) {
	seen := map[string]string{}
	for i, r := range rows {
		key := fmt.Sprintf("seam[%d]", i)
		list(c, key+".stages", r.Stages, part.Stages)
		c.by(key+".by", r.By, SeamMeasures)
		for _, st := range r.Stages {
			for _, k := range r.By {
				c.once(seen, fmt.Sprintf("%s at stage %s", k.Measure, st), key)
			}
		}
	}
	var missing []string
	for _, st := range part.Stages {
		for _, m := range SeamMeasures {
			if what := fmt.Sprintf("%s at stage %s", m, st); seen[what] == "" {
				missing = append(missing, what)
			}
		}
	}
	c.lacking("seam", missing)
}

func (c *checker) surface(rows []SurfaceLimit) {
	seen := map[string]string{}
	name := func(st part.Stage, z part.Zone, k part.Kind) string {
		return fmt.Sprintf("stage %s, zone %s, kind %s", st, z, k)
	}
	for i, r := range rows {
		key := fmt.Sprintf("surface[%d]", i)
		list(c, key+".stages", r.Stages, part.Stages)
		list(c, key+".zones", r.Zones, part.Zones)
		list(c, key+".kinds", r.Kinds, SurfaceKinds)
		c.by(key+".by", r.By, SurfaceMeasures)
		for _, st := range r.Stages {
			for _, z := range r.Zones {
				for _, k := range r.Kinds {
					c.once(seen, name(st, z, k), key)
				}
			}
		}
	}
	var missing []string
	for _, st := range part.Stages {
		for _, z := range part.Zones {
			for _, k := range SurfaceKinds {
				if seen[name(st, z, k)] == "" {
					missing = append(missing, name(st, z, k))
				}
			}
		}
	}
	c.lacking("surface", missing)
}

func (c *checker) mend(rows []Mend) {
	seen := map[string]string{}
	for i, r := range rows {
		key := fmt.Sprintf("mend[%d]", i)
		list(c, key+".stages", r.Stages, part.Stages)
		list(c, key+".what", r.What, MendWords)
		c.upTo(key+".up_to_um", r, r.UpToUM, 10000, true)
		c.upTo(key+".up_to_mm", r, r.UpToMM, 100, false)
		for _, st := range r.Stages {
			for _, w := range r.What {
				c.once(seen, fmt.Sprintf("%s at stage %s", w, st), key)
			}
		}
	}
	var missing []string
	for _, st := range part.Stages {
		for _, w := range MendWords {
			if what := fmt.Sprintf("%s at stage %s", w, st); seen[what] == "" {
				missing = append(missing, what)
			}
		}
	}
	c.lacking("mend", missing)
}

// upTo checks the size up to which a row of Mend holds; seam says whether its
// unit is that of the seam's findings.
func (c *checker) upTo(key string, r Mend, v *float64, most float64, seam bool) {
	if v == nil {
		return
	}
	if !(*v > 0 && *v <= most) || math.IsNaN(*v) {
		c.addf(key, "%s is not above 0 and up to %s", short(*v), short(most))
	}
	if !r.Mendable {
		c.addf(key, "has no meaning where mendable is false")
	}
	for _, w := range r.What {
		if has(MendWords, w) && has(SurfaceKinds, part.Kind(w)) == seam {
			c.addf(key, "does not fit %q: proud, recessed, gap and bead take up_to_um, the others up_to_mm", w)
			return
		}
	}
}
