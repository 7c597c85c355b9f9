package report

import (
	"bytes"
	"strings"
	"testing"
)

func sampleSheet() Sheet {
	return Sheet{Title: "Gauge study", Subject: "step", Rating: Fair, Word: "conditional", Line: "27.9 % of the study's variation is the gauge's.",
		Facts:    []Fact{{"Gauge", "27.9 %"}},
		Warnings: []string{"two trials only"},
		Sections: []SheetSection{{Heading: "Components", Text: []string{"Pooled."}, Figures: []SheetFigure{{SVG: []byte("<svg></svg>"), Alt: "bars", Caption: "Shares"}},
			Tables: []SheetTable{{Caption: "Variances", Head: []string{"source", "sd / um"}, Numeric: []bool{false, true}, Rows: [][]string{{"gauge", "0.30"}, {"part"}}, Marked: []bool{true}}}}}}
}

func TestSheetPageHoldsAll(t *testing.T) {
	var b bytes.Buffer
	if err := SheetPage(&b, sampleSheet()); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"conditional", "27.9 % of the study", "two trials only", "<svg></svg>", `class="over-row"`, `<td class="n">0.30</td>`, `<td class="n"></td>`} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}

func TestSheetText(t *testing.T) {
	var b bytes.Buffer
	if err := SheetText(&b, sampleSheet()); err != nil {
		t.Fatal(err)
	}
	const want = `Gauge study, step: CONDITIONAL
27.9 % of the study's variation is the gauge's.
  Gauge  27.9 %
`
	if !strings.HasPrefix(b.String(), want) {
		t.Errorf("got\n%s\nwant first\n%s", b.String(), want)
	}
	for _, row := range []string{"    source  sd / um\n", "  * gauge      0.30\n", "    part\n"} {
		if !strings.Contains(b.String(), row) {
			t.Errorf("lacks the row %q in\n%s", row, b.String())
		}
	}
}
