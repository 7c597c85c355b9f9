package report

import (
	"html/template"
	"io"
	"strconv"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

// IndexEntry is one unit on the index page.
type IndexEntry struct {
	Unit    string
	Href    string // the unit's page, relative to the index; "" where it has none
	Verdict part.Verdict
	Score   *float64
	Reasons []string
	Thumb   []byte // a small JPEG made by EncodeJPEG; nil where there is no picture
	W, H    int    // its pixels
}

// IndexInput is what the index page shows.
type IndexInput struct {
	Units              []IndexEntry
	Version, Generated string
	Lang               *lang.Lang // nil: English
}

// MakeThumb makes the small picture of an index entry: what the page carries,
// without letters, at most width pixels wide. It returns the JPEG and its size.
func MakeThumb(im *part.Image, width int) (jpeg []byte, w, h int, err error) {
	p, err := MakePagePicture(im, Overlay{}, &part.Result{}, width)
	if err != nil {
		return nil, 0, 0, err
	}
	return p.JPEG, p.W, p.H, nil
}

type indexRow struct {
	Unit, Href  string
	Sign        template.HTML
	Word, Score string
	Reasons     []string
	More        int
	Src         template.URL
	HasThumb    bool
	W, H        int
	Alt         string
}

type indexView struct {
	T      words
	Lang   string
	CSS    template.CSS
	Title  string
	Counts []indexCount
	Rows   []indexRow
	Foot   footView
}

type indexCount struct {
	Sign template.HTML
	Text string
}

// IndexPage writes a self-contained page that links each unit's page, with a
// small picture and the verdict.
func IndexPage(w io.Writer, in IndexInput) error {
	x := wordsOf(in.Lang)
	v := indexView{T: x, Lang: x.Tag, CSS: css(), Title: x.T("page.index.title"),
		Foot: newFoot(x.T("page.cautions"), x.cautions(), in.Version, in.Generated)}
	n := map[part.Verdict]int{}
	for _, u := range in.Units {
		row := indexRow{Unit: u.Unit, Href: relative(u.Href), Sign: verdictSign(u.Verdict), Word: x.verdict(u.Verdict),
			Score: scoreText(u.Score), W: u.W, H: u.H, Alt: x.T("page.unit") + " " + u.Unit}
		row.Reasons = u.Reasons[:min(len(u.Reasons), 3)]
		row.More = len(u.Reasons) - len(row.Reasons)
		if len(u.Thumb) > 0 {
			row.Src, row.HasThumb = dataURL(u.Thumb), true
		}
		v.Rows = append(v.Rows, row)
		n[u.Verdict]++
	}
	for _, d := range []part.Verdict{part.Pass, part.Rework, part.Reject, part.NotMeasured} {
		if n[d] > 0 {
			v.Counts = append(v.Counts, indexCount{verdictSign(d), x.T("page.index.count", "n", strconv.Itoa(n[d]), "verdict",
				x.verdict(d))})
		}
	}
	return execute(w, "index", v, in.Generated)
}
