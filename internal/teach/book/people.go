package book

import (
	"context"
	"crypto/rand"
	"slices"
	"strings"

	"finishbench/internal/records"
	"finishbench/internal/teach"
)

// People who take tests, give labels or accept models are the records' people: found
// by initials or badge (teach.Who), named by their ids everywhere else.

func personOf(p records.Person) teach.Person {
	return teach.Person{ID: p.ID, Initials: p.Initials, Badge: p.Badge}
}

// KnownPeople are the people of the records who are not erased.
func KnownPeople(ctx context.Context, s *records.Store) ([]teach.Person, error) {
	all, err := s.People(ctx)
	if err != nil {
		return nil, err
	}
	var known []teach.Person
	for _, p := range all {
		if !p.Erased {
			known = append(known, personOf(p))
		}
	}
	return known, nil
}

// KeepPerson returns the id of a person found; one without an id is new, and is
// added.
func KeepPerson(ctx context.Context, s *records.Store, p teach.Person) (string, error) {
	if p.ID != "" {
		return p.ID, nil
	}
	p.ID = rand.Text()
	return p.ID, s.AddPerson(ctx, records.Person{ID: p.ID, Initials: p.Initials, Badge: p.Badge})
}

// PeopleWords are people's initials or badges by their ids.
func PeopleWords(ctx context.Context, s *records.Store) (func(id string) string, error) {
	known, err := s.People(ctx)
	if err != nil {
		return nil, err
	}
	words := map[string]string{"": "not told"}
	for _, p := range known {
		words[p.ID] = "erased"
		if !p.Erased {
			words[p.ID] = personOf(p).Word()
		}
	}
	return func(id string) string {
		if w, ok := words[id]; ok {
			return w
		}
		return id // a confirmation says it in words
	}, nil
}

// PersonByWord finds the id of the one person who goes by a word: it may be an id
// already. A word of nobody, or of several, stays as it is.
func PersonByWord(ctx context.Context, s *records.Store) (func(string) string, error) {
	people, err := s.People(ctx)
	if err != nil {
		return nil, err
	}
	return func(word string) string {
		var ids []string
		for _, p := range people {
			if p.ID == word {
				return word
			}
			w := personOf(p).Word()
			if !p.Erased && word != "" && slices.ContainsFunc([]string{w, p.Initials, p.Badge},
				func(x string) bool { return strings.EqualFold(x, word) }) {
				ids = append(ids, p.ID)
			}
		}
		if len(ids) == 1 {
			return ids[0]
		}
		return word
	}, nil
}

// LastWords keeps of several labels of one person on one finding the last.
func LastWords(labels []records.Label) []records.Label {
	type key struct {
		inspection int64
		number     int
		by         string
	}
	last := map[key]int{}
	for i, l := range labels {
		last[key{l.Inspection, l.Number, l.By}] = i
	}
	var out []records.Label
	for i, l := range labels {
		if last[key{l.Inspection, l.Number, l.By}] == i {
			out = append(out, l)
		}
	}
	return out
}
