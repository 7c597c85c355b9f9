package lang

import (
	"errors"

	"finishbench/internal/part"
)

// Error is an error of which a person reads on a page: Error says it in English, [PhraseOf] gives
// what each language makes of it.
func Error(p part.Phrase) error {
	return &part.Trouble{Phrase: p, Err: because{p, nil}}
}

// ErrorBy is [Error] with the error that it comes from, whose phrase (or text) fills the place why.
func ErrorBy(cause error, p part.Phrase) error {
	p = p.With("why", Why(cause))
	return &part.Trouble{Phrase: p, Err: because{p, cause}}
}

// because is a phrase in English, with the error that it comes from; nil: none.
type because struct {
	phrase part.Phrase
	cause  error
}

func (b because) Error() string { return English().Say(&b.phrase) }
func (b because) Unwrap() error { return b.cause }

// PhraseOf is the phrase of a trouble, also of one within other errors; false where there is none.
func PhraseOf(err error) (part.Phrase, bool) {
	var t *part.Trouble
	if errors.As(err, &t) {
		return t.Phrase, true
	}
	return part.Phrase{}, false
}

// Why is the phrase of an error, or where it has none, its text.
func Why(err error) part.Phrase {
	if p, ok := PhraseOf(err); ok {
		return p
	}
	return part.Text(err.Error())
}
