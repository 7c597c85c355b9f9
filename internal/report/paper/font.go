package paper

import (
	"bytes"
	"compress/gzip"
	_ "embed"
	"encoding/binary"
	"fmt"
	"io"
	"regexp"
	"sync"
)

// fontGZ is a part of the font WenQuanYi Micro Hei; see font/README.md.
//
//go:embed font/wqy-microhei-subset.ttf.gz
var fontGZ []byte

// fontFile unpacks the font once.
var fontFile = sync.OnceValues(func() ([]byte, error) {
	r, err := gzip.NewReader(bytes.NewReader(fontGZ))
	if err != nil {
		return nil, fmt.Errorf("paper: unpack the font: %w", err)
	}
	return io.ReadAll(r)
})

// Font is the font as a TrueType file: Chinese and Latin letters.
func Font() ([]byte, error) { return fontFile() }

// fontHas tells which characters the font has: its character map, in the format
// 4 of OpenType's cmap table. One that is missing must not leave a hole in a name.
var fontHas = sync.OnceValues(func() (map[rune]bool, error) {
	data, err := fontFile()
	if err != nil {
		return nil, err
	}
	t, err := table(data, "cmap")
	if err != nil {
		return nil, err
	}
	return charMap(t)
})

// table is a table of a TrueType file.
func table(font []byte, name string) ([]byte, error) {
	for i := 12; i+16 <= len(font) && i < 12+16*int(binary.BigEndian.Uint16(font[4:])); i += 16 {
		at, size := int(binary.BigEndian.Uint32(font[i+8:])), int(binary.BigEndian.Uint32(font[i+12:]))
		if string(font[i:i+4]) == name && at+size <= len(font) {
			return font[at : at+size], nil
		}
	}
	return nil, fmt.Errorf("paper: the font has no table %s", name)
}

func charMap(cmap []byte) (map[rune]bool, error) {
	u16 := func(i int) int {
		if i < 0 || i+2 > len(cmap) {
			return 0
		}
		return int(binary.BigEndian.Uint16(cmap[i:]))
	}
	for k := range u16(2) {
		at := u16(4+8*k+4)<<16 | u16(4+8*k+6)
		if u16(at) != 4 {
			continue
		}
		has := map[rune]bool{}
		n := u16(at+6) / 2
		ends, starts := at+14, at+16+2*n
		for s := range n {
			for c := u16(starts + 2*s); c <= u16(ends+2*s) && c < 0xffff; c++ {
				if glyphOf(u16, starts+2*n, n, s, c, u16(starts+2*s)) != 0 {
					has[rune(c)] = true
				}
			}
		}
		return has, nil
	}
	return nil, fmt.Errorf("paper: the font has no character map of format 4")
}

// glyphOf is the glyph of a character in segment s; deltas is where the segments'
// deltas begin, their offsets follow.
func glyphOf(u16 func(int) int, deltas, n, s, c, start int) int {
	delta, offset := u16(deltas+2*s), u16(deltas+2*n+2*s)
	if offset == 0 {
		return (c + delta) & 0xffff
	}
	g := u16(deltas + 2*n + 2*s + offset + 2*(c-start))
	if g == 0 {
		return 0
	}
	return (g + delta) & 0xffff
}

// latinQuote is an apostrophe in Latin letters, which the font sets as wide as a Chinese character.
var latinQuote = regexp.MustCompile(`(\p{Latin})’`)

// Printable is a text as the font can write it: a character that it lacks is told
// by its number, such as [U+9F98].
func Printable(s string) string {
	has, err := fontHas()
	if err != nil {
		return s
	}
	s = latinQuote.ReplaceAllString(s, "$1'")
	ok := true
	for _, r := range s {
		if r < ' ' || r >= 0x7f && !has[r] {
			ok = false
			break
		}
	}
	if ok {
		return s
	}
	var b bytes.Buffer
	for _, r := range s {
		switch {
		case r == '\n' || r == '\t' || r == '\r':
			b.WriteByte(' ')
		case r >= ' ' && (r < 0x7f || has[r]):
			b.WriteRune(r)
		default:
			fmt.Fprintf(&b, "[U+%04X]", r)
		}
	}
	return b.String()
}
