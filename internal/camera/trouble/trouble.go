// Package trouble says what is wrong with a camera, the lights or the turntable,
// both in words and as a key, so that a page can tell it in any language.
package trouble

import (
	"fmt"
	"strings"
	"unicode"
)

// Trouble is something wrong at the bench. It is an error.
type Trouble struct {
	Key  string            // one of the keys below
	Args map[string]string // what goes into the sentence; "detail" is what a device or a program said itself, in its language
	Text string            // the sentence in English, without full stop
}

func (t *Trouble) Error() string { return t.Text }

// The keys. Args are named beside them.
const (
	Starting   = "starting"    // the device is being opened
	NoProgram  = "no_program"  // program: not installed
	Ended      = "ended"       // detail: the camera's program ended by itself
	Over       = "over"        // the camera's stream came to an end
	Silent     = "silent"      // seconds: no frame
	Frozen     = "frozen"      // seconds: the same frame again and again
	NoDevice   = "no_device"   // device: not plugged in
	Control    = "control"     // control, wanted, got
	NoControl  = "no_control"  // control: the camera has none
	OutOfRange = "range"       // control, wanted, least, most
	Busy       = "busy"        // device: in use by another program
	NoRight    = "no_right"    // device: this account may not use it
	Away       = "away"        // detail: the folder cannot be read
	BadPicture = "bad_picture" // file, detail
	NoUnit     = "no_unit"     // the replay has no unit left
	NoShot     = "no_shot"     // file: the unit that is played has no such picture
	Unplugged  = "unplugged"   // device: the serial line went away
	NoAnswer   = "no_answer"   // line, seconds
	Refused    = "refused"     // line, detail: the controller answered with an error
	Garbage    = "garbage"     // line, detail: the controller's answer makes no sense
	Restarted  = "restarted"   // the controller has started anew
	NoPosition = "no_position" // where the turntable stands is not known
	NoLight    = "no_light"    // light: none of that name is set up
	Other      = "other"       // detail
)

// New makes a trouble. Args are pairs of name and value.
func New(key, text string, args ...string) *Trouble {
	t := &Trouble{Key: key, Text: Clean(text), Args: map[string]string{}}
	for i := 0; i+1 < len(args); i += 2 {
		t.Args[args[i]] = Clean(args[i+1])
	}
	return t
}

// Newf makes a trouble whose only argument is the detail.
func Newf(key, format string, a ...any) *Trouble {
	text := fmt.Sprintf(format, a...)
	return New(key, text, "detail", text)
}

// Clean makes one short printable line of what a device or a program said.
func Clean(s string) string {
	const most = 240
	s = strings.Join(strings.Fields(strings.ToValidUTF8(s, "?")), " ")
	var b strings.Builder
	for _, r := range s {
		if !unicode.IsPrint(r) {
			r = '?'
		}
		if b.Len() >= most {
			b.WriteString("...")
			break
		}
		b.WriteRune(r)
	}
	return b.String()
}
