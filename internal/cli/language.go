package cli

import (
	"cmp"
	"os"
	"strings"

	"finishbench/internal/lang"
)

// LanguageUse is the help of --language.
const LanguageUse = "of pages and sheets: en, zh-Hans (default: that of LC_ALL, LC_MESSAGES or LANG; else en). JSON and CSV are English"

// Language is one of the shipped languages; of "" the one that the environment asks for, English
// where it asks for none of them.
func Language(tag string) (*lang.Lang, error) {
	all, _, err := lang.Load("")
	if err != nil {
		return nil, err
	}
	if tag == "" {
		return all.Choose("", Asked()), nil
	}
	l := all.Choose(tag, "")
	if l.Tag != tag {
		return nil, Usagef("--language %s: there is en and zh-Hans", tag)
	}
	return l, nil
}

// Asked is the language that the environment asks for, as a browser would name it: zh-CN; "" for none.
func Asked() string { return asked(os.Getenv) }

// asked is the language that the an environment asks for: zh_CN.UTF-8 is zh-CN.
// LC_ALL goes before LC_MESSAGES, and that before LANG (POSIX.1, 8.2).
func asked(env func(string) string) string {
	tag, _, _ := strings.Cut(cmp.Or(env("LC_ALL"), env("LC_MESSAGES"), env("LANG")), ".")
	tag, _, _ = strings.Cut(tag, "@")
	return strings.ReplaceAll(tag, "_", "-")
}
