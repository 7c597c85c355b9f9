package lang

import (
	"errors"

	"finishbench/internal/part"
)

// sentence is an error that is told in each reader's language.
type sentence struct {
	phrase part.Phrase
	cause  error // nil: none
}

func (s *sentence) Error() string { return English().Say(&s.phrase) }

func (s *sentence) Unwrap() error { return s.cause }

// Error is an error of which a person reads on a page: Error says it in English, [PhraseOf] gives
// what each language makes of it.
func Error(p part.Phrase) error { return &sentence{phrase: p} }

// ErrorBy is [Error] with the error that it comes from, whose phrase (or text) fills the place why.
func ErrorBy(cause error, p part.Phrase) error {
	why, ok := PhraseOf(cause)
	if !ok {
		why = part.Text(cause.Error())
	}
	return &sentence{p.With("why", why), cause}
}

// PhraseOf is the phrase of an error that [Error] made, also within others; false where there is none.
func PhraseOf(err error) (part.Phrase, bool) {
	var s *sentence
	if errors.As(err, &s) {
		return s.phrase, true
	}
	return part.Phrase{}, false
}
