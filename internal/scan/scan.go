package scan

import (
	"errors"
	"fmt"
	"regexp"
	"regexp/syntax"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"finishbench/internal/part"
)

// Kind is what a code names.
type Kind string

// The kinds, as the language files have them after "scan.kind.".
const (
	Unit      Kind = "unit"
	Badge     Kind = "badge"     // of whoever works at the bench
	Lot       Kind = "lot"       // of units
	Faceplate Kind = "faceplate" // a batch of faceplates
)

// Kinds lists them.
var Kinds = []Kind{Unit, Badge, Lot, Faceplate}

// Longest values, in letters: of a serial, and of a badge, lot or batch.
const (
	MostSerial = 40
	MostName   = 60
	mostText   = 300 // of what a reader sends; a GS1 element string has up to 90 or so
)

// Code is what was scanned.
type Code struct {
	Kind  Kind
	Value string // a unit's serial without its side, a badge, a lot, a batch
	Side  string // of a unit: "L", "R"; "": not told
	Lot   string // of a unit whose code tells it beside the serial; "": not told
	// OtherKeys says that it was read by the keys' places: the reader takes this computer's keyboard
	// for an English one (US).
	OtherKeys bool
}

// Name is how people call it: a unit with its side.
func (c Code) Name() string {
	if c.Kind == Unit {
		return part.UnitName(c.Value, c.Side)
	}
	return c.Value
}

// Problem is why a scan's text names nothing.
type Problem struct{ part.Phrase }

func (p Problem) Error() string { return p.Key }

// Said is the same for the page.
func (p Problem) Said() part.Phrase { return p.Phrase }

func problem(key, text string) error {
	return Problem{part.Say(key, "text", Shown(text))}
}

// Shown is a scan's text as it may be told: one short line of what can be printed.
func Shown(text string) string {
	const most = 60
	out := []rune{}
	for _, r := range text {
		switch {
		case r == gs:
			r = '␝'
		case !unicode.IsPrint(r):
			r = '�'
		}
		if out = append(out, r); len(out) == most {
			return string(out) + "…"
		}
	}
	return string(out)
}

// Pattern is the form of a kind's codes.
type Pattern struct {
	kind Kind
	form *regexp.Regexp
}

// NewPattern takes a regular expression (RE2) that fits the whole of a kind's codes. Where it has
// one group in brackets, that is the value, else all of it.
func NewPattern(kind Kind, expr string) (Pattern, error) {
	form, err := regexp.Compile(`^(?:` + expr + `)$`)
	var at *syntax.Error
	switch {
	case errors.As(err, &at):
		return Pattern{}, fmt.Errorf("%q is no regular expression (RE2): %s in %q", expr, at.Code, strings.TrimSuffix(strings.TrimPrefix(at.Expr, `^(?:`), `)$`))
	case err != nil:
		return Pattern{}, fmt.Errorf("%q is no regular expression: %w", expr, err)
	case utf8.RuneCountInString(expr) > mostText:
		return Pattern{}, fmt.Errorf("a pattern has %d signs at most", mostText)
	case form.NumSubexp() > 1:
		return Pattern{}, fmt.Errorf("%q has %d groups in brackets: one is the value; write (?: ... ) for the others", expr, form.NumSubexp())
	case form.MatchString(""):
		return Pattern{}, fmt.Errorf("%q fits an empty code too", expr)
	}
	return Pattern{kind, form}, nil
}

// Rules are how a station's readers are set, and what its codes look like.
type Rules struct {
	Prefix, Suffix string    // sent around each code, before Enter
	Patterns       []Pattern // a kind that has none is told by other means: see [Rules.Read]
}

func (r Rules) has(k Kind) bool {
	return slices.ContainsFunc(r.Patterns, func(p Pattern) bool { return p.kind == k })
}

// Read tells what a scan is: text as its keys wrote it, and places as the same keys write on an
// English keyboard (US), which most readers take the computer's for; "" where one is not known, as
// where an input method took the keys.
//
// A code of this program's own says itself what it is. Else it is of the kind whose pattern it
// fits; of a GS1 code the serial (21) is held against units' patterns and the batch (10) against
// those of lots and faceplates, and all of it, written as (01)...(21)..., against any. Where units
// have no pattern, a GS1 code with a serial is a unit, and so is whatever else may be a serial;
// where lots have none, a GS1 code with a batch and no serial is a lot. The error is a [Problem].
func (r Rules) Read(text, places string) (Code, error) {
	if places == "" || places == text {
		return r.read(text)
	}
	typed, err := r.read(text)
	if err == nil && ascii(text) {
		return typed, nil
	}
	// Bars hold ASCII: what has other letters was written by another keyboard.
	if c, err := r.read(places); err == nil {
		c.OtherKeys = text != ""
		return c, nil
	}
	return typed, err
}

func ascii(s string) bool {
	return !strings.ContainsFunc(s, func(r rune) bool { return r > unicode.MaxASCII })
}

func (r Rules) read(text string) (Code, error) {
	if len(text) > 4*mostText || utf8.RuneCountInString(text) > mostText {
		return Code{}, problem("scan.wrong.long", text)
	}
	code, ok := strings.CutPrefix(trim(text), r.Prefix)
	if !ok {
		return Code{}, Problem{part.Say("scan.wrong.prefix", "text", Shown(text), "prefix", r.Prefix)}
	}
	if code, ok = strings.CutSuffix(code, r.Suffix); !ok {
		return Code{}, Problem{part.Say("scan.wrong.suffix", "text", Shown(text), "suffix", r.Suffix)}
	}
	code, known := withoutSymbology(trim(code))
	if code == "" {
		return Code{}, problem("scan.wrong.empty", text)
	}
	if c, own, err := readOwn(code); own {
		return c, err
	}
	fields, isGS1, err := readGS1(code, known)
	if err != nil {
		return Code{}, err
	}
	if isGS1 {
		return r.gs1(fields, code)
	}
	all, err := r.match(code, Kinds...)
	if err != nil || all.Kind != "" {
		return all, err
	}
	if !r.has(Unit) {
		return unit(code)
	}
	return Code{}, problem("scan.wrong.none", code)
}

// trim takes off what readers add: outer blanks and control characters, but for the one that
// begins a GS1 code.
func trim(s string) string {
	return strings.TrimFunc(s, func(r rune) bool { return r != gs && (unicode.IsSpace(r) || unicode.IsControl(r)) })
}

// match holds a text against the patterns of some kinds. No kind: it fits none.
func (r Rules) match(text string, kinds ...Kind) (found Code, err error) {
	for _, p := range r.Patterns {
		m := p.form.FindStringSubmatch(text)
		if m == nil || !slices.Contains(kinds, p.kind) {
			continue
		}
		c, err := p.kind.code(m[len(m)-1])
		switch {
		case err != nil:
			return Code{}, err
		case found.Kind != "" && found != c:
			return Code{}, Problem{part.Say("scan.wrong.two", "text", Shown(text), "one", "@scan.kind."+string(found.Kind), "other", "@scan.kind."+string(c.Kind))}
		}
		found = c
	}
	return found, nil
}

func (r Rules) gs1(fields []Element, text string) (Code, error) {
	serial, batch := value(fields, aiSerial), value(fields, aiBatch)
	whole := Written(fields)
	found, err := r.match(whole, Kinds...)
	if err == nil && found.Kind == "" && serial != "" {
		found, err = r.match(serial, Unit)
	}
	if err == nil && found.Kind == "" && serial == "" && batch != "" {
		found, err = r.match(batch, Lot, Faceplate)
	}
	switch {
	case err != nil:
		return Code{}, err
	case found.Kind == Unit:
	case found.Kind != "":
		return found, nil
	case serial != "" && !r.has(Unit):
		if found, err = unit(serial); err != nil {
			return Code{}, err
		}
	case serial == "" && batch != "" && !r.has(Lot):
		return Lot.code(batch)
	default:
		return Code{}, problem("scan.wrong.none", whole)
	}
	if batch != "" {
		found.Lot = batch
	}
	return found, nil
}

// code makes a kind's code of its value.
func (k Kind) code(v string) (Code, error) {
	if k == Unit {
		return unit(v)
	}
	if v = trim(v); v == "" || strings.ContainsFunc(v, unicode.IsControl) {
		return Code{}, problem("scan.wrong.none", v)
	}
	if utf8.RuneCountInString(v) > MostName {
		return Code{}, problem("scan.wrong.long", v)
	}
	return Code{Kind: k, Value: v}, nil
}

func unit(v string) (Code, error) {
	serial, side, wrong := Serial(v)
	switch wrong {
	case "":
		return Code{Kind: Unit, Value: serial, Side: side}, nil
	case "wrong.serial_long":
		return Code{}, problem("scan.wrong.long", v)
	}
	return Code{}, problem("scan.wrong.none", v)
}

// Serial takes what was typed or read as a serial, which may end with its side; the key says what
// is wrong with it.
func Serial(s string) (serial, side, wrong string) {
	serial, side = part.SplitSide(s)
	switch {
	case serial == "":
		return "", "", "wrong.serial_empty"
	case utf8.RuneCountInString(serial) > MostSerial:
		return "", "", "wrong.serial_long"
	}
	for _, r := range serial {
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) && !strings.ContainsRune("-_.", r) {
			return "", "", "wrong.serial_letters"
		}
	}
	if strings.Trim(serial, ".") == "" {
		return "", "", "wrong.serial_letters" // it names a folder
	}
	return serial, side, ""
}
