package report

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"errors"
	"flag"
	"image/color"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"finishbench/internal/part"
	"finishbench/internal/report/marks"
	"finishbench/internal/report/palette"
)

var update = flag.Bool("update", false, "write the golden files of this package")

// samplePage renders the sample with its pictures.
func samplePage(t testing.TB, r *part.Result) string {
	t.Helper()
	im := ground(1600, 1200)
	var b bytes.Buffer
	if err := Page(&b, input(t, r, func(string) *part.Image { return im })); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// sampleIndex renders an index of three units, one without page or picture.
func sampleIndex(t testing.TB, name string) string {
	t.Helper()
	jpeg, w, h, err := MakeThumb(ground(160, 120), 80)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	err = IndexPage(&b, IndexInput{Version: "finishbench 0.0 (test)", Generated: "2031-02-03", Units: []IndexEntry{
		{Unit: name, Href: name + "/report.html", Verdict: part.Rework, Score: num(12), Reasons: []string{"a", "b", "c", "d"}, Thumb: jpeg, W: w, H: h},
		{Unit: "k13-R", Href: "k13-R/report.html", Verdict: part.Pass, Score: num(0), Thumb: jpeg, W: w, H: h},
		{Unit: "k14-R", Verdict: part.NotMeasured, Reasons: []string{"the folder holds no picture"}},
	}})
	if err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// pages are all pages that the checks below look at.
func pages(t testing.TB) map[string]string {
	none := sample()
	none.Findings, none.Reasons, none.Warnings, none.Verdict, none.Score, none.Plan = nil, nil, nil, part.Pass, num(0), &part.Plan{}
	face := sample()
	face.Seam, face.Pictures = part.Seam{}, face.Pictures[2:]
	bare := &part.Result{Unit: "k15-L", Verdict: part.NotMeasured, Reasons: []string{"the folder holds no picture"}}
	crowd := sample()
	sixty(crowd)
	for i := range crowd.Findings {
		crowd.Findings[i].Image = "face_raking.png"
		crowd.Findings[i].AlsoIn[0].Image = "face_diffuse.png"
	}
	all := map[string]string{
		"sample": samplePage(t, sample()), "no findings": samplePage(t, none), "face only": samplePage(t, face),
		"no picture": samplePage(t, bare), "sixty": samplePage(t, crowd), "shell": samplePage(t, shellSample()), "index": sampleIndex(t, "k12-L"),
	}
	for name, s := range sheets(t) {
		all[name] = sheetPage(t, s)
	}
	return all
}

// token is an element's start, its end, or a run of text.
type token struct {
	name string // "" for text
	attr map[string]string
	end  bool
	text string
}

// parse reads a page; it fails the test where tags do not match.
func parse(t testing.TB, page string) []token {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(page))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	var out []token
	var open []string
	void := func(n string) bool { return slices.Contains([]string{"meta", "link", "img"}, n) }
	for {
		k, err := d.RawToken()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("the page is not well formed: %v", err)
		}
		switch k := k.(type) {
		case xml.StartElement:
			a := map[string]string{}
			for _, x := range k.Attr {
				if _, twice := a[x.Name.Local]; twice {
					t.Errorf("<%s>: attribute %s twice", k.Name.Local, x.Name.Local)
				}
				a[x.Name.Local] = x.Value
			}
			out = append(out, token{name: k.Name.Local, attr: a})
			if !void(k.Name.Local) {
				open = append(open, k.Name.Local)
			}
		case xml.EndElement:
			if void(k.Name.Local) {
				continue
			}
			if len(open) == 0 || open[len(open)-1] != k.Name.Local {
				t.Fatalf("</%s> closes nothing; open: %v", k.Name.Local, open)
			}
			open = open[:len(open)-1]
			out = append(out, token{name: k.Name.Local, end: true})
		case xml.CharData:
			out = append(out, token{text: string(k)})
		}
	}
	if len(open) > 0 {
		t.Errorf("never closed: %v", open)
	}
	return out
}

// textOf is the page's text, one line a block, without style.
func textOf(t testing.TB, page string) string {
	t.Helper()
	inline := []string{"span", "b", "a", "strong", "dt", "dd", "td", "th", "svg", "path", "circle", "rect", "g", "tspan", "img"}
	var b strings.Builder
	style := false
	for _, k := range parse(t, page) {
		switch {
		case k.name == "style":
			style = !k.end
		case k.name == "" && !style:
			b.WriteString(k.text)
		case k.name == "img" && !k.end:
			b.WriteString("[" + k.attr["alt"] + "]")
		case k.name != "" && !slices.Contains(inline, k.name):
			b.WriteString("\x00")
		case k.name != "":
			b.WriteString(" ")
		}
	}
	var lines []string
	for _, l := range strings.Split(b.String(), "\x00") {
		if l = strings.Join(strings.Fields(l), " "); l != "" {
			lines = append(lines, l)
		}
	}
	return strings.Join(lines, "\n") + "\n"
}

func TestPageText(t *testing.T) {
	got := textOf(t, samplePage(t, sample()))
	path := filepath.Join("testdata", "page.golden.txt")
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		g, w := strings.Split(got, "\n"), strings.Split(string(want), "\n")
		for i := range max(len(g), len(w)) {
			if i >= len(g) || i >= len(w) || g[i] != w[i] {
				t.Fatalf("line %d differs (go test -update writes the golden file):\n got %q\nwant %q", i+1, at(g, i), at(w, i))
			}
		}
	}
}

func at(s []string, i int) string {
	if i < len(s) {
		return s[i]
	}
	return ""
}

// Rules of WCAG 2.1 that can be checked on the source: 3.1.1 language, 2.4.2
// title, 1.1.1 alt text, 1.3.1 headings and table heads, 4.1.1 unique ids,
// 2.4.4 links with a text.
func TestPagesAreAccessible(t *testing.T) {
	for name, page := range pages(t) {
		t.Run(name, func(t *testing.T) {
			ids, refs := map[string]bool{}, []string{}
			level, h1, title := 0, 0, false
			link, linkText := false, ""
			table, caption := false, false
			for _, k := range parse(t, page) {
				if k.name == "" {
					linkText += k.text
					continue
				}
				if id := k.attr["id"]; id != "" {
					if ids[id] {
						t.Errorf("id %q twice", id)
					}
					ids[id] = true
				}
				for _, a := range []string{"aria-labelledby", "aria-describedby"} {
					refs = append(refs, strings.Fields(k.attr[a])...)
				}
				switch {
				case k.name == "html" && !k.end && k.attr["lang"] != "en":
					t.Error("no language")
				case k.name == "title":
					title = true
				case k.name == "img":
					if len(k.attr["alt"]) < 6 {
						t.Errorf("img without a telling alt text: %q", k.attr["alt"])
					}
					linkText += k.attr["alt"]
					if !strings.HasPrefix(k.attr["src"], "data:image/jpeg;base64,") || k.attr["width"] == "" || k.attr["height"] == "" {
						t.Errorf("img %q: src %.30s, %s x %s", k.attr["alt"], k.attr["src"], k.attr["width"], k.attr["height"])
					}
				case k.name == "svg" && !k.end:
					if k.attr["aria-hidden"] != "true" && (k.attr["role"] != "img" || k.attr["aria-labelledby"]+k.attr["aria-label"] == "") {
						t.Error("an svg that is neither hidden nor named")
					}
				case k.name == "a" && !k.end:
					link, linkText = true, ""
					if h, ok := strings.CutPrefix(k.attr["href"], "#"); ok {
						refs = append(refs, h)
					}
				case k.name == "a" && k.end:
					if link && strings.TrimSpace(linkText) == "" {
						t.Error("a link without a text")
					}
					link = false
				case k.name == "table":
					if table && !caption {
						t.Error("a table without a caption")
					}
					table, caption = !k.end, false
				case k.name == "caption":
					caption = true
				case k.name == "tr" && !k.end && table && !caption:
					t.Error("a table's row before its caption")
				case k.name == "th" && !k.end && k.attr["scope"] == "":
					t.Error("th without scope")
				case len(k.name) == 2 && k.name[0] == 'h' && k.name[1] >= '1' && k.name[1] <= '6' && !k.end:
					n := int(k.name[1] - '0')
					if n == 1 {
						h1++
					}
					if n > level+1 {
						t.Errorf("heading h%d after h%d", n, level)
					}
					level = n
				case slices.Contains([]string{"script", "iframe", "object", "embed"}, k.name):
					t.Errorf("<%s>", k.name)
				}
			}
			for _, r := range refs {
				if name == "index" && r == "findings" {
					continue
				}
				if !ids[r] {
					t.Errorf("nothing has the id %q", r)
				}
			}
			if h1 != 1 || !title {
				t.Errorf("%d h1, title: %v", h1, title)
			}
		})
	}
}

// A page must open from disk without a network.
func TestPagesReferToNothingOutside(t *testing.T) {
	for name, page := range pages(t) {
		for _, bad := range []string{"http:", "https:", "//www", "@import", "url(h", "url(/", "ZgotmplZ", "<no value>", "%!"} {
			if i := strings.Index(page, bad); i >= 0 {
				t.Errorf("%s holds %q: %.80s", name, bad, page[max(0, i-30):])
			}
		}
		for _, k := range parse(t, page) {
			for a, v := range k.attr {
				if (a == "src" || a == "href") && !strings.HasPrefix(v, "data:") && !strings.HasPrefix(v, "#") && !strings.HasPrefix(v, "./") {
					t.Errorf("%s: %s=%q", name, a, v)
				}
			}
		}
	}
}

// WCAG 2.1, 1.4.3: text needs 4.5:1.
func TestContrast(t *testing.T) {
	// The formula's own ends: black on white is 21:1, a colour on itself 1:1
	// (WCAG 2.1, definition of contrast ratio); #767676 on white is 4.54:1
	// (from memory).
	if c := contrast(palette.Black, palette.White); math.Abs(c-21) > 1e-9 {
		t.Errorf("black on white: %g", c)
	}
	if c := contrast(palette.Ink, palette.Ink); math.Abs(c-1) > 1e-9 {
		t.Errorf("a colour on itself: %g", c)
	}
	if c := contrast(color.NRGBA{0x76, 0x76, 0x76, 0xff}, palette.White); math.Abs(c-4.54) > 0.005 {
		t.Errorf("#767676 on white: %g", c)
	}
	for _, p := range textPairs {
		if c := contrast(p.fg, p.bg); c < 4.5 {
			t.Errorf("%s: %s on %s has %.2f:1", p.use, palette.Hex(p.fg), palette.Hex(p.bg), c)
		}
	}
	// 1.4.11: graphics need 3:1. A mark's core on its casing, a sign's outline on paper.
	for _, k := range part.Kinds {
		if c := contrast(marks.Colour(k), palette.Shadow); c < 3 {
			t.Errorf("mark of %s on its casing: %.2f:1", k, c)
		}
	}
	for _, c := range []color.NRGBA{palette.Line, palette.Ink, palette.Blue} {
		for _, g := range []color.NRGBA{palette.Paper, palette.Card, palette.White} {
			if v := contrast(c, g); v < 3 {
				t.Errorf("%s on %s: %.2f:1", palette.Hex(c), palette.Hex(g), v)
			}
		}
	}
}

// The style sheet takes all colours from the palette.
func TestStyleSheetUsesThePalette(t *testing.T) {
	if m := regexp.MustCompile(`#[0-9a-fA-F]{3,8}\b|rgba?\(|hsla?\(`).FindString(styleCSS); m != "" {
		t.Errorf("style.css holds a colour of its own: %s", m)
	}
	root := cssRoot()
	for _, m := range regexp.MustCompile(`var\((--[a-z]+)\)`).FindAllStringSubmatch(styleCSS, -1) {
		if !strings.Contains(root, m[1]+":") {
			t.Errorf("style.css uses %s, which the palette does not hold", m[1])
		}
	}
	allowed := map[string]bool{}
	for _, c := range cssColours {
		allowed[palette.Hex(c.c)] = true
	}
	allowed[palette.Hex(palette.Shadow)] = true
	body := regexp.MustCompile(`(?s)<style>.*?</style>`).ReplaceAllString(samplePage(t, sample()), "")
	for _, m := range regexp.MustCompile(`(?:fill|stroke)="(#[0-9a-f]+)"`).FindAllStringSubmatch(body, -1) {
		if !allowed[m[1]] {
			t.Errorf("a drawing uses %s", m[1])
		}
	}
}

func TestHostileNamesAreEscaped(t *testing.T) {
	const evil = `"><script>alert('x')</script><b a='`
	r := sample()
	r.Unit = evil
	r.Reasons = []string{evil}
	r.Warnings = []string{evil}
	for i := range r.Findings {
		f := &r.Findings[i]
		f.Advice, f.StepStation, f.Features = evil, evil, map[string]float64{evil: 1}
		f.Kind, f.Zone, f.Severity = part.Kind(evil), part.Zone(evil), part.Severity(evil)
		f.Image = evil + ".png"
	}
	for i := range r.Pictures {
		r.Pictures[i].File = evil + ".png"
		r.Pictures[i].Problems = []part.Problem{{Name: evil, Value: num(1), Unit: evil, Remedy: evil}}
	}
	for i := range r.Seam.Stations {
		s := &r.Seam.Stations[i]
		s.Image, s.Reason, s.Side, s.Warnings = evil+".png", evil, part.Side(evil), []string{evil}
	}
	for _, page := range []string{samplePage(t, r), sampleIndex(t, evil)} {
		for _, k := range parse(t, page) {
			if k.name == "script" || k.name == "b" && k.attr["a"] != "" {
				t.Fatal("a name became markup")
			}
			if h := k.attr["href"]; strings.ContainsAny(h, `"<>' `) {
				t.Errorf("href %q", h)
			}
		}
		if !strings.Contains(textOf(t, page), evil) {
			t.Error("the name is not shown as it is")
		}
	}
	for _, c := range []struct{ file, want string }{
		{"edge_000.jpg", "edge_000.jpg"}, {"a.b.tiff", "a.b.jpg"}, {"sub/x.png", "sub_x.jpg"}, {`..\..\x.png`, ".._.._x.jpg"}, {"../../x", ".._.._x.jpg"}, {"", ".jpg"}, {".png", ".jpg"},
	} {
		if got := AnnotatedName(c.file); got != c.want {
			t.Errorf("AnnotatedName(%q) = %q, want %q", c.file, got, c.want)
		}
	}
	if got := relative("javascript:alert(1)"); !strings.HasPrefix(got, "./") {
		t.Errorf("href %q", got)
	}
}

// What was not measured is a dash, never 0.
func TestPageShowsUnmeasuredAsSuch(t *testing.T) {
	r := sample()
	r.Score, r.Seam.WorstStepUM, r.Verdict = nil, nil, part.NotMeasured
	text := textOf(t, samplePage(t, r))
	for _, want := range []string{"Not measured", "Largest step –", "Demerits –", "330° edge_150.png left – – – – not measured: 4 % of the unit is clipped", "too bright (4 %, limit 0.5 %): light down or exposure shorter"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %q:\n%s", want, text)
		}
	}
	if strings.Contains(text, "Nothing has to be done") {
		t.Error("a unit that was not measured has nothing to be done")
	}
}

func TestPageFails(t *testing.T) {
	if err := Page(io.Discard, PageInput{}); err == nil {
		t.Error("a page without a result")
	}
	full := errors.New("the disk is full")
	if err := Page(failing{full}, PageInput{Result: sample()}); !errors.Is(err, full) {
		t.Errorf("a full disk: %v", err)
	}
	if err := WriteUnitsCSV(failing{full}, []*part.Result{sample()}); !errors.Is(err, full) {
		t.Errorf("a full disk, units.csv: %v", err)
	}
}

type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }

func TestStepPlot(t *testing.T) {
	svg := string(english().stepPlot(sample(), 50, 30))
	for what, n := range map[string]int{`class="over"`: 2, `class="dot"`: 0, `class="missing"`: 2, `class="bar"`: 2, `class="limit"`: 2} {
		if got := strings.Count(svg, what); got != n {
			t.Errorf("%s: %d, want %d", what, got, n)
		}
	}
	if !strings.Contains(svg, "2 of 4 step stations measured, from −31.2 µm at 120° to +92.4 µm at 300°; 2 beyond a limit.") {
		t.Errorf("description: %.400s", svg)
	}
	svg = string(english().stepPlot(sample(), 0, math.NaN()))
	if strings.Contains(svg, `class="limit"`) || strings.Contains(svg, `class="over"`) || strings.Contains(svg, "NaN") {
		t.Error("limits that were not given were drawn")
	}
	if english().stepPlot(&part.Result{}, 50, 30) != "" {
		t.Error("a plot without stations")
	}
	huge := sample()
	huge.Seam.Stations[0].StepUM = num(4321)
	svg = string(english().stepPlot(huge, 50, 30))
	if strings.Contains(svg, "NaN") || strings.Count(svg, `class="tick"`) > 30 {
		t.Errorf("%d ticks", strings.Count(svg, `class="tick"`))
	}
	// Up is proud: +92.4 lies above (smaller y than) 0, and 0 above -31.2.
	p := newPlot(stepStationsAround(sample()), 50, 30)
	if !(p.y(92.4) < p.y(0) && p.y(0) < p.y(-31.2)) || p.x(0) >= p.x(330) {
		t.Error("the plot's axes")
	}
}

func TestUnitsCSVRoundTrip(t *testing.T) {
	odd := sample()
	odd.Unit, odd.Reasons = `=1+2,"x"`, []string{"two\nlines, and a \"quote\"", "µ"}
	odd.Score, odd.Seam, odd.MMPerPX = nil, part.Seam{}, 0
	rs := []*part.Result{sample(), odd, {Unit: "k1", Verdict: part.Pass}}
	var b bytes.Buffer
	if err := WriteUnitsCSV(&b, rs); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(b.Bytes())).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 4 || !slices.Equal(rows[0], UnitsCSVHeader()) {
		t.Fatalf("%d rows, header %v", len(rows), rows[0])
	}
	for i, r := range rs {
		if !slices.Equal(rows[i+1], UnitsCSVRow(r)) {
			t.Errorf("row %d: %v", i, rows[i+1])
		}
	}
	col := func(row int, name string) string { return rows[row][slices.Index(rows[0], name)] }
	if v, err := strconv.ParseFloat(col(1, "worst_step_um"), 64); err != nil || v != 92.4 {
		t.Errorf("worst step: %v, %v", v, err)
	}
	for name, want := range map[string]string{"unit": "k12-L", "verdict": "rework", "score": "61", "worst_step_u_um": "1.8", "stations": "4", "stations_measured": "2",
		"findings": "4", "minor": "1", "moderate": "1", "major": "1", "critical": "0", "pictures": "4", "pictures_fit": "3", "mm_per_px": "0.015"} {
		if got := col(1, name); got != want {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
	}
	for name, want := range map[string]string{"unit": `'=1+2,"x"`, "score": "", "worst_step_um": "", "mm_per_px": "", "reasons": `two lines, and a "quote"; µ`} {
		if got := col(2, name); got != want {
			t.Errorf("odd %s: %q, want %q", name, got, want)
		}
	}
}

// textPairs are all pairs of text and ground that pages and pictures use; a
// test holds each to a contrast of 4.5:1 or more.
var textPairs = []struct {
	use    string
	fg, bg color.NRGBA
}{
	{"text", palette.Ink, palette.Paper}, {"text on a card", palette.Ink, palette.Card}, {"table head", palette.Ink, palette.Tint},
	{"lesser text", palette.Soft, palette.Paper}, {"lesser text on a card", palette.Soft, palette.Card}, {"lesser text in a table head", palette.Soft, palette.Tint},
	{"link", palette.Blue, palette.Paper}, {"link on a card", palette.Blue, palette.Card},
	{"print", palette.Black, palette.White}, {"crop's scale", palette.Ink, palette.White},
	{"sign: pass", palette.Black, palette.Green}, {"sign: rework", palette.Black, palette.Orange},
	{"sign: reject", palette.Black, palette.Vermilion}, {"sign: not measured", palette.Black, palette.Sky},
	{"label in a picture", palette.White, palette.Shadow}, {"label of a major finding", palette.Black, palette.Yellow},
}

// contrast is the ratio of two colours' luminances, 1 to 21.
// Source: W3C, WCAG 2.1 (2018), definitions of contrast ratio and relative
// luminance.
func contrast(a, b color.NRGBA) float64 {
	la, lb := luminance(a), luminance(b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

func luminance(c color.NRGBA) float64 {
	lin := func(v uint8) float64 {
		s := float64(v) / 255
		if s <= 0.03928 {
			return s / 12.92
		}
		return math.Pow((s+0.055)/1.055, 2.4)
	}
	return 0.2126*lin(c.R) + 0.7152*lin(c.G) + 0.0722*lin(c.B)
}
