package report

import (
	"bytes"
	"strings"
	"testing"

	"finishbench/internal/part"
)

func sampleSheet() Sheet {
	return Sheet{Title: "Gauge study", Subject: "step", Rating: Fair, Word: "conditional",
		Line:     "27.9 % of the study's variation is the gauge's.",
		Facts:    []Fact{{"Gauge", "27.9 %"}},
		Warnings: []string{"two trials only"},
		Sections: []SheetSection{{Heading: "Components", Text: []string{"Pooled."},
			Figures: []SheetFigure{{SVG: []byte("<svg class=\"plot\" xmlns=\"http://www.w3.org/2000/svg\"></svg>"), Alt: "bars",
				Caption: "Shares"}},
			Tables: []SheetTable{{Caption: "Variances", Head: []string{"source", "sd / um"}, Numeric: []bool{false, true},
				Rows: [][]string{{"gauge", "0.30"}, {"part"}}, Marked: []bool{true}}}}}}
}

func TestSheetPageHoldsAll(t *testing.T) {
	page := sheetPage(t, sampleSheet())
	for _, want := range []string{"conditional", "27.9 % of the study", "two trials only",
		`<svg role="img" aria-label="bars" class="plot"></svg>`,
		`class="over-row"><th scope="row">▸&nbsp;gauge</th><td class="n">0.30</td>`, `<td class="n"></td>`, "(▸ stands out)",
		`href="#main"`} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}

// What is missing leaves no empty heading, list or name behind; what is no plot
// is not put into the page.
func TestBareSheetPage(t *testing.T) {
	page := sheetPage(t, Sheet{Title: "Scale", Sections: []SheetSection{{Text: []string{"<b>"},
		Figures: []SheetFigure{{SVG: []byte("<script>x</script>"), Alt: "none"}},
		Tables:  []SheetTable{{Head: []string{"a"}, Rows: [][]string{{"1"}}}}}}})
	for _, bad := range []string{"<script", "<h2 id=\"s1\"", "<dl", `aria-label=""`, "<b>", "stands out", `class="reasons"`} {
		if strings.Contains(page, bad) {
			t.Errorf("the page holds %q", bad)
		}
	}
	if !strings.Contains(page, `<span class="word">not rated</span>`) {
		t.Error("a sheet without a rating has no word for it")
	}
}

// A rating is no verdict on a unit, in words.
func TestRatingsAreNoVerdicts(t *testing.T) {
	for _, r := range []Rating{Good, Fair, Poor, Unrated, ""} {
		for _, v := range []part.Verdict{part.Pass, part.Rework, part.Reject, part.NotMeasured} {
			if w := (Sheet{Rating: r}).word(); w == english().verdict(v) || w == string(v) {
				t.Errorf("the rating %q says %q", r, w)
			}
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
