package lots

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"slices"
	"strings"
)

// DrawMethod names how units are drawn, for the record. What it stands for is
// never changed: a later way of drawing gets a name of its own.
const DrawMethod = "sha256-rank-1"

// Draw picks n units of a lot at random. It can be done again by anyone, with
// any tool, from the serials and the seed: for each unit take the SHA-256 of the
// text "sha256-rank-1", a line feed, the seed as a decimal number, a line feed
// and the serial (UTF-8, no line feed after it); put the units in order of these
// digests, byte by byte; the first n are drawn. The order of the serials as
// given does not matter, and a larger draw with the same seed begins with the
// smaller one.
//
// The serials come back in the order of their digests, so that the first k of
// them are themselves a random sample of k.
//
// It is an error to draw fewer than one unit or more than the lot has, and if a
// serial is empty, has space around it or a line feed in it, or is there twice.
func Draw(serials []string, n int, seed uint64) ([]string, error) {
	if err := checkSerials(serials); err != nil {
		return nil, err
	}
	if n < 1 {
		return nil, fmt.Errorf("lots: can not draw %d units; draw at least one", n)
	}
	if n > len(serials) {
		return nil, fmt.Errorf("lots: can not draw %d units from a lot of %d", n, len(serials))
	}
	type ranked struct {
		serial string
		digest [sha256.Size]byte
	}
	all := make([]ranked, len(serials))
	for i, s := range serials {
		all[i] = ranked{s, sha256.Sum256(fmt.Appendf(nil, "%s\n%d\n%s", DrawMethod, seed, s))}
	}
	slices.SortFunc(all, func(a, b ranked) int { return bytes.Compare(a.digest[:], b.digest[:]) })
	out := make([]string, n)
	for i := range out {
		out[i] = all[i].serial
	}
	return out, nil
}

func checkSerials(serials []string) error {
	seen := make(map[string]int, len(serials))
	for i, s := range serials {
		if strings.TrimSpace(s) == "" {
			return fmt.Errorf("lots: serial %d of the lot is empty", i+1)
		}
		if s != strings.TrimSpace(s) || strings.ContainsAny(s, "\r\n") {
			return fmt.Errorf("lots: serial %d of the lot, %q, has space around it or a line's end in it", i+1, s)
		}
		if k, twice := seen[s]; twice {
			return fmt.Errorf("lots: serial %s is in the lot twice, as numbers %d and %d", s, k, i+1)
		}
		seen[s] = i + 1
	}
	return nil
}
