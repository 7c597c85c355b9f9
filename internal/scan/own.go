package scan

import (
	"fmt"
	"hash/crc32"
	"slices"
	"strings"

	"finishbench/internal/part"
)

// A code that this program prints is FB/<kind>/<value>/<check>, such as FB/U/P-01-L/8F68. No serial
// has a slash in it, and no GS1 code begins with letters. The check makes sure that each key
// arrived, and from the keyboard that the reader takes it for: the last four hexadecimal digits, in
// capitals, of the CRC-32 (IEEE 802.3) of all that stands before its slash.
const ownPrefix = "FB/"

// ownKinds are the letters that stand for kinds.
var ownKinds = map[Kind]string{Unit: "U", Badge: "B", Lot: "L", Faceplate: "F"}

// Own is the text of a label for a unit's name, or a badge, lot or batch. The error says what is
// wrong with it.
func Own(kind Kind, value string) (string, error) {
	c, err := kind.code(value)
	switch {
	case ownKinds[kind] == "":
		return "", fmt.Errorf("there are no labels for %q: %v", kind, Kinds)
	case err != nil && kind == Unit:
		return "", fmt.Errorf("%q is no serial: up to %d letters, digits, - _ and dots, with -L or -R where it has a side", value,
			MostSerial)
	case err != nil:
		return "", fmt.Errorf("%q is empty, or longer than %d letters", value, MostName)
	case strings.Contains(c.Name(), "/"):
		return "", fmt.Errorf("%q has a slash in it, which labels cannot hold", value)
	case !ascii(c.Name()):
		return "", fmt.Errorf("%q has letters that a reader cannot type: it types as a keyboard does, and knows ASCII alone", value)
	}
	text := ownPrefix + ownKinds[kind] + "/" + c.Name()
	return text + "/" + check(text), nil
}

func check(text string) string { return fmt.Sprintf("%04X", crc32.ChecksumIEEE([]byte(text))&0xFFFF) }

// readOwn reads such a code; own says whether it is one.
func readOwn(text string) (c Code, own bool, err error) {
	if !strings.HasPrefix(text, ownPrefix) {
		return Code{}, false, nil
	}
	damaged := Problem{part.Say("scan.wrong.damaged", "text", Shown(text))}
	i := strings.LastIndexByte(text, '/')
	f := strings.SplitN(text[:i], "/", 3)
	if len(f) != 3 || text[i+1:] != check(text[:i]) {
		return Code{}, true, damaged
	}
	n := slices.IndexFunc(Kinds, func(k Kind) bool { return ownKinds[k] == f[1] })
	if n < 0 {
		return Code{}, true, damaged
	}
	if c, err = Kinds[n].code(f[2]); err != nil {
		return Code{}, true, damaged
	}
	return c, true, nil
}
