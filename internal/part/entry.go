package part

import (
	"encoding/json"
	"time"
)

// Entry is one event in the journal of something that is followed over time and is known
// by its events alone: a lot, a blind test. What a kind and a body mean, the package of
// that thing says.
type Entry struct {
	Topic string // what sort of thing: "lot"
	Name  string // which one
	Seq   int64  // from 1, without gaps, of this topic and name
	Kind  string
	At    time.Time       // UTC; when it is written, where zero
	By    string          // who said so; "" for what the program did by itself
	Body  json.RawMessage // read back as the same JSON, maybe written otherwise
}
