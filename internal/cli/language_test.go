package cli

import "testing"

// The order and form of the variables are those of POSIX.1, 8.2, and of common systems (from memory).
func TestLanguageOfTheEnvironment(t *testing.T) {
	for _, c := range []struct{ all, messages, lang, want string }{
		{"", "", "", "en"},
		{"", "", "zh_CN.UTF-8", "zh-Hans"},
		{"C", "", "zh_CN.UTF-8", "en"},
		{"", "zh_SG", "de_DE.UTF-8@euro", "zh-Hans"},
		{"", "en_US.UTF-8", "zh_CN", "en"},
		{"", "", "C.UTF-8", "en"},
		{"", "", "POSIX", "en"},
		{"", "", "fr_FR.UTF-8", "en"},
		{"zh_Hans_CN", "", "", "zh-Hans"},
		{"", "", "what is this?", "en"},
	} {
		t.Setenv("LC_ALL", c.all)
		t.Setenv("LC_MESSAGES", c.messages)
		t.Setenv("LANG", c.lang)
		l, err := Language("")
		if err != nil || l.Tag != c.want {
			t.Errorf("%+v: %v, %v", c, l, err)
		}
		if l, err := Language("zh-Hans"); err != nil || l.Tag != "zh-Hans" {
			t.Errorf("asked for zh-Hans: %v, %v", l, err)
		}
	}
}
