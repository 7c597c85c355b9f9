// Package trouble has the keys of what may be wrong with a camera, the lights or the
// turntable, and makes a [part.Trouble] of one.
package trouble

import (
	"errors"
	"fmt"
	"strings"
	"unicode"

	"finishbench/internal/part"
)

// The keys, in each language file, with the names of their places; "detail" is what a device
// or a program said itself, in its language.
const (
	Starting   = "trouble.starting"    // the device is being opened
	NoProgram  = "trouble.no_program"  // program: not installed
	Ended      = "trouble.ended"       // detail: the camera's program ended by itself
	Over       = "trouble.over"        // the camera's stream came to an end
	Silent     = "trouble.silent"      // seconds: no frame
	Frozen     = "trouble.frozen"      // seconds: the same frame again and again
	NoDevice   = "trouble.no_device"   // device: not plugged in
	Control    = "trouble.control"     // control, wanted, got
	NoControl  = "trouble.no_control"  // control: the camera has none
	OutOfRange = "trouble.range"       // control, wanted, least, most
	Busy       = "trouble.busy"        // device: in use by another program
	NoRight    = "trouble.no_right"    // device: this account may not use it
	Away       = "trouble.away"        // detail: the folder cannot be read
	BadPicture = "trouble.bad_picture" // file, detail
	NoUnit     = "trouble.no_unit"     // the replay has no unit left
	NoShot     = "trouble.no_shot"     // file: the unit that is played has no such picture
	Unplugged  = "trouble.unplugged"   // device: the serial line went away
	NoAnswer   = "trouble.no_answer"   // line, seconds
	Refused    = "trouble.refused"     // line, detail: the controller answered with an error
	Garbage    = "trouble.garbage"     // line, detail: the controller's answer makes no sense
	Restarted  = "trouble.restarted"   // the controller has started anew
	NoPosition = "trouble.no_position" // where the turntable stands is not known
	NoLight    = "trouble.no_light"    // light: none of that name is set up
	Other      = "trouble.other"       // detail
)

// New makes a trouble of a key, a sentence in English without full stop, and pairs of name
// and value for its places.
func New(key, text string, args ...string) *part.Trouble {
	p := part.Say(key, args...)
	for k, v := range p.Args {
		p.Args[k] = Clean(v)
	}
	return &part.Trouble{Phrase: p, Err: errors.New(Clean(text))}
}

// Newf makes a trouble whose only argument is the detail.
func Newf(key, format string, a ...any) *part.Trouble {
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
