package part

// Phrase is a sentence, or a part of one, as its key in the language files with what goes into
// its places, so that each reader can be told it in his language.
type Phrase struct {
	Key   string              `json:"key"`
	Args  map[string]string   `json:"args,omitempty"`  // numbers as they are printed, and words; a value that begins with @ is a key itself
	Parts map[string][]Phrase `json:"parts,omitempty"` // places that phrases fill; between several stands the text join.<place>
}

// Say is the phrase of a key; args are names, which end in their unit, and values in turn.
func Say(key string, args ...string) Phrase {
	p := Phrase{Key: key}
	if len(args) > 0 {
		p.Args = make(map[string]string, len(args)/2)
	}
	for i := 0; i+1 < len(args); i += 2 {
		p.Args[args[i]] = args[i+1]
	}
	return p
}

// Text is a sentence that has no key: it is the same in each language.
func Text(sentence string) Phrase { return Say("text", "text", sentence) }

// With fills a place with phrases, behind those that are there; p stays as it is.
func (p Phrase) With(place string, parts ...Phrase) Phrase {
	all := make(map[string][]Phrase, len(p.Parts)+1)
	for k, v := range p.Parts {
		all[k] = v
	}
	all[place] = append(append([]Phrase(nil), all[place]...), parts...)
	p.Parts = all
	return p
}

// Trouble is an error that can be told in any language.
type Trouble struct {
	Phrase
	Err error // the same in English; nil: the key alone
}

func (t *Trouble) Error() string {
	if t.Err == nil {
		return t.Key
	}
	return t.Err.Error()
}

func (t *Trouble) Unwrap() error { return t.Err }
