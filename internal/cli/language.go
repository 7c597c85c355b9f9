package cli

import (
	"fmt"

	"finishbench/internal/bench/lang"
	"finishbench/internal/report"
)

// Language is one of the shipped languages.
func Language(tag string) (*lang.Lang, error) {
	all, _, err := lang.Load("")
	if err != nil {
		return nil, err
	}
	l := all.Choose(tag, "")
	if l.Tag != tag {
		return nil, Usagef("--language %s: there is en and zh-Hans", tag)
	}
	return l, nil
}

// Frame is the frame of a sheet in a language.
func Frame(l *lang.Lang) *report.SheetFrame {
	f := &report.SheetFrame{Lang: l.Tag, Skip: l.T("sheet.skip"), Why: l.T("sheet.why.head"), Warnings: l.T("sheet.mind"), Cautions: l.T("cautions.foot"), Marked: l.T("sheet.marked")}
	for i := 1; l.Has(fmt.Sprintf("cautions.%d", i)); i++ {
		f.CautionList = append(f.CautionList, l.T(fmt.Sprintf("cautions.%d", i)))
	}
	return f
}
