package scan

import (
	"errors"
	"strings"
	"testing"
)

func rules(t testing.TB, prefix, suffix string, patterns ...string) Rules {
	t.Helper()
	r := Rules{Prefix: prefix, Suffix: suffix}
	for i := 0; i+1 < len(patterns); i += 2 {
		p, err := NewPattern(Kind(patterns[i]), patterns[i+1])
		if err != nil {
			t.Fatal(err)
		}
		r.Patterns = append(r.Patterns, p)
	}
	return r
}

// own is a label's text.
func own(t testing.TB, kind Kind, value string) string {
	t.Helper()
	text, err := Own(kind, value)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func TestRead(t *testing.T) {
	plain := rules(t, "", "")
	shop := rules(t, "", "", "unit", `[A-Z]-\d{4}(?:[- ][LR])?`, "unit", `P-\d+-[LR]`, "badge", `B(\d{2,4})`, "lot", `L-?\d{4}`,
		"faceplate", `\(01\)09501101530003\(10\)(.+)`, "faceplate", `FP\d+`)
	wrapped := rules(t, "~", "#")
	// The GTIN is the example of GS1's own guides; its check digit: (10 - 97 mod 10) mod 10 = 3, worked by hand.
	const item = "0109501101530003"
	for _, c := range []struct {
		name  string
		rules Rules
		text  string
		want  Code
		wrong string
	}{
		{"plain", plain, "A-1001", Code{Kind: Unit, Value: "A-1001"}, ""},
		{"with its side", plain, "P-01-L", Code{Kind: Unit, Value: "P-01", Side: "L"}, ""},
		{"with its side after a blank", plain, "P-01 R", Code{Kind: Unit, Value: "P-01", Side: "R"}, ""},
		{"after two", plain, " P-01  R\r\n", Code{Kind: Unit, Value: "P-01", Side: "R"}, ""},
		{"what may be no serial", plain, "a/b", Code{}, "scan.wrong.none"},
		{"dots", plain, "..", Code{}, "scan.wrong.none"},
		{"nothing", plain, " \r", Code{}, "scan.wrong.empty"},
		{"41 letters", plain, strings.Repeat("9", 41), Code{}, "scan.wrong.long"},
		{"500 letters", plain, strings.Repeat("9", 500), Code{}, "scan.wrong.long"},

		{"a unit's pattern", shop, "A-1001", Code{Kind: Unit, Value: "A-1001"}, ""},
		{"another", shop, "P-01-R", Code{Kind: Unit, Value: "P-01", Side: "R"}, ""},
		{"only whole", shop, "xA-1001", Code{}, "scan.wrong.none"},
		{"a badge without its letter", shop, "B017", Code{Kind: Badge, Value: "017"}, ""},
		{"a lot", shop, "L4711", Code{Kind: Lot, Value: "L4711"}, ""},
		{"a faceplate's batch", shop, "FP22", Code{Kind: Faceplate, Value: "FP22"}, ""},
		{"a unit's and a lot's pattern", shop, "L-4711", Code{}, "scan.wrong.two"},

		{"GS1: serial at the end", plain, item + "21A-1001", Code{Kind: Unit, Value: "A-1001"}, ""},
		{"GS1: batch, then serial", plain, item + "10W48\x1d21P-01-L", Code{Kind: Unit, Value: "P-01", Side: "L", Lot: "W48"}, ""},
		{"GS1: FNC1 first", plain, "\x1d" + item + "21A-7", Code{Kind: Unit, Value: "A-7"}, ""},
		{"GS1: told by the reader", plain, "]d221A-7\x1d17261231", Code{Kind: Unit, Value: "A-7"}, ""},
		{"GS1: dates and weights need no separator", plain, "]C1" + item + "17261231310300012510B2\x1d21A-7",
			Code{Kind: Unit, Value: "A-7", Lot: "B2"}, ""},
		{"GS1: batch alone", plain, item + "10W48", Code{Kind: Lot, Value: "W48"}, ""},
		{"GS1: a faceplate's batch by its item", shop, item + "10FX-9", Code{Kind: Faceplate, Value: "FX-9"}, ""},
		{"GS1: of no lot's pattern", shop, "]C110FX-9", Code{}, "scan.wrong.none"},
		{"GS1: of a unit's pattern", shop, item + "21A-1001", Code{Kind: Unit, Value: "A-1001"}, ""},
		{"GS1: of none", shop, item + "21AA-1", Code{}, "scan.wrong.none"},
		{"GS1: wrong check digit, told", plain, "]C1010950110153000421A-7", Code{}, "scan.wrong.gs1"},
		{"GS1: wrong check digit, not told: no GS1", plain, "010950110153000421A-7", Code{Kind: Unit, Value: "010950110153000421A-7"}, ""},
		{"GS1: two serials", plain, "]C121A-7\x1d21A-8", Code{}, "scan.wrong.gs1"},
		{"GS1: a serial of 21", plain, "]C121" + strings.Repeat("9", 21), Code{}, "scan.wrong.gs1"},
		{"GS1: item alone", plain, "]C1" + item, Code{}, "scan.wrong.none"},
		{"other bars, told", plain, "]A0A-1001", Code{Kind: Unit, Value: "A-1001"}, ""},

		{"own unit", shop, own(t, Unit, "X9-L"), Code{Kind: Unit, Value: "X9", Side: "L"}, ""},
		{"own badge", plain, own(t, Badge, "B17"), Code{Kind: Badge, Value: "B17"}, ""},
		{"own lot", plain, own(t, Lot, "W 48"), Code{Kind: Lot, Value: "W 48"}, ""},
		{"own faceplates, told as QR Code", plain, "]Q1" + own(t, Faceplate, "F-3"), Code{Kind: Faceplate, Value: "F-3"}, ""},
		{"own, a key lost", plain, strings.Replace(own(t, Unit, "P-01-L"), "-0", "0", 1), Code{}, "scan.wrong.damaged"},
		{"own, cut off", plain, "FB/U/P-01-L", Code{}, "scan.wrong.damaged"},

		{"prefix and suffix", wrapped, "~A-1#\r", Code{Kind: Unit, Value: "A-1"}, ""},
		{"no prefix", wrapped, "A-1#", Code{}, "scan.wrong.prefix"},
		{"no suffix", wrapped, "~A-1", Code{}, "scan.wrong.suffix"},
		{"nothing between", wrapped, "~#", Code{}, "scan.wrong.empty"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := c.rules.Read(c.text, "")
			var p Problem
			switch {
			case c.wrong == "" && err != nil:
				t.Errorf("%q: %v", c.text, err)
			case c.wrong != "" && (!errors.As(err, &p) || p.Key != c.wrong):
				t.Errorf("%q: %+v, %v; %s wanted", c.text, got, err, c.wrong)
			case got != c.want:
				t.Errorf("%q: %+v; %+v wanted", c.text, got, c.want)
			}
		})
	}
}

// A label's check is the CRC-32 of IEEE 802.3, whose value for the digits 1 to 9 is CBF43926 (as all
// its descriptions have it; from memory).
func TestCheck(t *testing.T) {
	if got := check("123456789"); got != "3926" {
		t.Errorf("%s", got)
	}
	if got := own(t, Unit, "P-01 L"); got != "FB/U/P-01-L/8F68" { // as docs/formats.md has it; its check by the same function
		t.Errorf("%s", got)
	}
}

// What a reader set to an English keyboard types on another: the layouts are from memory.
func TestReadByPlaces(t *testing.T) {
	label := own(t, Unit, "ZY-01-L")
	german := strings.NewReplacer("Z", "Y", "Y", "Z", "-", "ß", "/", "-").Replace(label)
	french := strings.NewReplacer("A", "Q", "1", "&", "0", "à", "-", ")").Replace("A-1001")
	shop := rules(t, "", "", "unit", `[A-Z]\d{4}`)
	for _, c := range []struct {
		name, text, places string
		rules              Rules
		want               string
		other              bool
	}{
		{"the same", "A-1001", "A-1001", Rules{}, "A-1001", false},
		{"German, a label", german, label, Rules{}, "ZY-01-L", true},
		{"German, letters that no bars hold", "Aß1001", "A-1001", Rules{}, "A-1001", true},
		{"German, by a pattern", "Y1001", "Z1001", shop, "Y1001", false}, // it fits too: such a reader has to be set right
		{"French", french, "A-1001", Rules{}, "A-1001", true},
		{"Chinese: what is typed is not known", "", "A-1001", Rules{}, "A-1001", false},
		{"the reader is set to this keyboard", "ZY-9", "YZß9", Rules{}, "ZY-9", false},
	} {
		got, err := c.rules.Read(c.text, c.places)
		if err != nil || got.Name() != c.want || got.OtherKeys != c.other {
			t.Errorf("%s: %+v, %v", c.name, got, err)
		}
	}
	if _, err := (Rules{}).Read("a/b", "c/d"); err == nil || !strings.Contains(err.(Problem).Args["text"], "a/b") {
		t.Errorf("of two that are none the first is told: %v", err)
	}
}

func TestPatternsAreChecked(t *testing.T) {
	for expr, want := range map[string]string{
		"(": "missing closing", "[A-Z]{2000}": "invalid repeat count", "(?=a)": "invalid or unsupported Perl syntax",
		"(a)(b)": "2 groups", "a*": "fits an empty code", strings.Repeat("a", 301): "300 signs",
	} {
		if _, err := NewPattern(Unit, expr); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v; %q wanted", expr, err, want)
		}
	}
}

func TestOwnIsRefused(t *testing.T) {
	for _, c := range []struct {
		kind  Kind
		value string
		want  string
	}{
		{Unit, "a/b", "no serial"}, {Unit, "", "no serial"}, {Unit, "壳-1", "cannot type"}, {Badge, "", "empty"},
		{Lot, "a/b", "slash"}, {Lot, strings.Repeat("9", 61), "longer"}, {"crate", "7", "no labels"},
	} {
		if text, err := Own(c.kind, c.value); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s %q: %q, %v", c.kind, c.value, text, err)
		}
	}
}

// Whatever a reader sends, it is a unit by its own words or told why not; never half of it.
func FuzzRead(f *testing.F) {
	for _, s := range []string{"A-1001", "]C10109501101530003", "FB/U/P-01-L/0000", "21A\x1d10B", "P-01  L", "]d2\x1d", "01"} {
		f.Add(s, s)
	}
	r := rules(f, "", "", "badge", `B(\d+)`)
	f.Fuzz(func(t *testing.T, text, places string) {
		c, err := r.Read(text, places)
		var p Problem
		switch {
		case err != nil:
			if !errors.As(err, &p) || c != (Code{}) {
				t.Errorf("%q: %+v beside %v", text, c, err)
			}
		case c.Kind == "" || c.Value == "":
			t.Errorf("%q: %+v and no error", text, c)
		case c.Kind == Unit:
			if serial, side, wrong := Serial(c.Name()); wrong != "" || serial != c.Value || side != c.Side {
				t.Errorf("%q: %+v is no unit's name: %s", text, c, wrong)
			}
		}
	})
}
