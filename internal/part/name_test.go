package part

import "testing"

func TestSerialAndSide(t *testing.T) {
	for _, c := range [][4]string{
		{"u06-R", "", "u06", "R"}, {"u06-L", "", "u06", "L"}, {"u06", "", "u06", ""}, {"-R", "", "-R", ""}, {"u06-r", "", "u06-r", ""},
		{"P-01 L", "", "P-01", "L"}, {" P-01  R\r\n", "", "P-01", "R"}, {"PR-XL", "", "PR-XL", ""}, {"", "", "", ""},
		{"u06-R", "R", "u06", "R"}, {"u06", "L", "u06", "L"}, {"u06-R", "L", "u06-R", "L"},
	} {
		if serial, side := SerialAndSide(c[0], c[1]); serial != c[2] || side != c[3] {
			t.Errorf("%q %q: %q %q, want %q %q", c[0], c[1], serial, side, c[2], c[3])
		}
	}
	for _, name := range []string{"P-01 L", "P-01-L", " P-01  L\n"} {
		if got := CleanName(name); got != "P-01-L" {
			t.Errorf("%q becomes %q", name, got)
		}
	}
}
