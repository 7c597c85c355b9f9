package report

import (
	"bytes"
	"strings"
	"testing"
)

// A sheet of plain figures has no sign and no verdict, and says its frame in its
// own language.
func TestPlainSheetInItsLanguage(t *testing.T) {
	s := Sheet{Title: "T", Rating: Plain, Line: "L", Warnings: []string{"w"}, Reasons: []string{"r"},
		Sections: []SheetSection{{Heading: "H", Tables: []SheetTable{{Head: []string{"a"}, Rows: [][]string{{"1"}},
			Marked: []bool{true}}}}},
		Lang: chinese(t), Cautions: []string{"C1"}}
	var page, text bytes.Buffer
	if err := SheetPage(&page, s); err != nil {
		t.Fatal(err)
	}
	if err := SheetText(&text, s); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`<html lang="zh-Hans">`, ">原因<", ">请注意<", ">安全提示<", "突出", "<li>C1</li>"} {
		if !strings.Contains(page.String(), want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	for _, bad := range []string{`class="sign"`, `class="word"`, "未评级", "只对测得时所用的"} {
		if strings.Contains(page.String(), bad) {
			t.Errorf("the page has %q", bad)
		}
	}
	if !strings.HasPrefix(text.String(), "T\nL\n") || !strings.Contains(text.String(), "原因\n") {
		t.Errorf("text: %s", text.String())
	}
}
