package lang

import (
	"errors"

	"finishbench/internal/part"
)

// Error is an error of which a person reads on a page: Error says it in English, [PhraseOf] gives
// what each language makes of it.
func Error(p part.Phrase) error {
	return &part.Trouble{Phrase: p, Err: errors.New(English().Say(&p))}
}

// ErrorBy is [Error] with the error that it comes from, whose phrase (or text) fills the place why.
func ErrorBy(cause error, p part.Phrase) error {
	why, ok := PhraseOf(cause)
	if !ok {
		why = part.Text(cause.Error())
	}
	p = p.With("why", why)
	return &part.Trouble{Phrase: p, Err: because{English().Say(&p), cause}}
}

// because is a text with the error that it tells of.
type because struct {
	text  string
	cause error
}

func (b because) Error() string { return b.text }
func (b because) Unwrap() error { return b.cause }

// PhraseOf is the phrase of a trouble, also of one within other errors; false where there is none.
func PhraseOf(err error) (part.Phrase, bool) {
	var t *part.Trouble
	if errors.As(err, &t) {
		return t.Phrase, true
	}
	return part.Phrase{}, false
}
