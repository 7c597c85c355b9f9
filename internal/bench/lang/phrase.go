package lang

// Phrase is a sentence as its key in the language files, with what goes into
// its places. It is said by [Lang.Say].
type Phrase struct {
	Key  string
	Args map[string]string // a value that begins with @ is a key itself
	Why  *Phrase           // what {why} is, where that is a phrase too
}
