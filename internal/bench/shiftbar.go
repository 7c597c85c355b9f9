package bench

import (
	"bytes"
	_ "embed"
	"html/template"
	"time"

	"finishbench/internal/bench/lang"
)

// formTime is how a form's time field writes a time.
const formTime = "2006-01-02T15:04"

//go:embed shiftbar.css
var shiftbarCSS string

// shiftView is the bar above the shift sheet: the way back, and another span. It
// is not printed.
type shiftView struct {
	From, To string
	Style    template.CSS
}

// withBar puts the bar at the top of a sheet's page.
func withBar(sheet []byte, l *lang.Lang, from, to time.Time) ([]byte, error) {
	bar, err := page{Lang: l, View: shiftView{from.Format(formTime), to.Format(formTime), template.CSS(shiftbarCSS)}}.render("shiftbar")
	if err != nil {
		return nil, err
	}
	return bytes.Replace(sheet, []byte("<body>"), []byte("<body>\n"+bar), 1), nil
}
