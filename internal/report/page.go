package report

import (
	"bytes"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"math"
	"net/url"
	"slices"
	"strings"
	"sync"

	"finishbench/internal/bench/lang"
	"finishbench/internal/marks"
	"finishbench/internal/part"
)

//go:embed page.html
var pageHTML string

//go:embed shared.html
var sharedHTML string

//go:embed index.html
var indexHTML string

//go:embed sheet.html
var sheetHTML string

//go:embed style.css
var styleCSS string

// templates are parsed once.
var templates = sync.OnceValues(func() (*template.Template, error) {
	t := template.New("report").Option("missingkey=error")
	for name, text := range map[string]string{"shared": sharedHTML, "page": pageHTML, "sheet": sheetHTML, "index": indexHTML} {
		if _, err := t.New(name).Parse(text); err != nil {
			return nil, err
		}
	}
	return t, nil
})

// PageInput is what one unit's page shows.
type PageInput struct {
	Result           *part.Result
	Crops            []Crop
	Annotated        []PagePicture
	LimitsProudUM    float64 // size of the largest proud step allowed; 0: no limit
	LimitsRecessedUM float64 // size of the largest recessed step allowed, as a positive number; 0: no limit
	Version          string  // the program's
	Generated        string  // when the page was made, as text
}

// Page writes one self-contained HTML page: verdict first, then why, the
// remedy, the pictures, the step around the seam, the findings. Nothing is
// written where the page cannot be made.
func Page(w io.Writer, in PageInput) error {
	if in.Result == nil {
		return fmt.Errorf("report: page: there is no result")
	}
	v := newPageView(in)
	var err error
	if v.Mirror, err = newMirror(in.Result, &v.Main, &v.Other); err != nil {
		return err
	}
	if v.Shell, err = newShellView(in.Result); err != nil {
		return err
	}
	return execute(w, "page", v, in.Result.Unit)
}

func execute(w io.Writer, name string, data any, subject string) error {
	t, err := templates()
	if err != nil {
		return fmt.Errorf("report: template: %w", err)
	}
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, name, data); err != nil {
		return fmt.Errorf("report: page of %s: %w", subject, err)
	}
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("report: page of %s: %w", subject, err)
	}
	return nil
}

// dataURL is a JPEG of ours as a URL for src. Callers pass only what EncodeJPEG
// made.
func dataURL(jpeg []byte) template.URL {
	return template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(jpeg))
}

// css is the style sheet with the palette in front.
func css() template.CSS { return template.CSS(cssRoot() + styleCSS) }

// reasonsShown is how many reasons stand open; more are folded.
const reasonsShown = 8

type pageView struct {
	T             words
	CSS           template.CSS
	Unit, Title   string
	Verdict, Word string
	VerdictLine   string
	Sign          template.HTML
	Facts         []Fact
	Reasons       []string
	Passes        bool
	Looked        []string // how much was looked at, where the reasons do not tell it
	MoreReasons   []string
	More          string
	NoReason      string
	Remedies      []remedy
	Retake        []retake
	Main, Other   []figure
	Mirror        *mirrorView // nil: nothing was photographed before a screen
	Shell         *shellView  // nil: the shell was not looked at
	Legend        []legendEntry
	Plot          template.HTML
	SeamLine      string // the curve of steps
	Stations      []stationRow
	Findings      []findingView
	Pictures      []pictureRow
	Budget        *budgetView // nil: none to show
	Warnings      []string
	Foot          footView
}

type ref struct {
	Number int
	ID     string
}

type remedy struct {
	Text     string
	Kind     string
	Icon     template.HTML
	Severity string
	Bars     template.HTML
	Refs     []ref
	rank     int
}

type retake struct{ File, Problem, Remedy string } // File: several where one sentence serves them

type figure struct {
	Src        template.URL
	Href, Name string
	File, Alt  string
	W, H       int
	Refs       []ref
	Notes      []string
	Unfit      bool
}

type legendEntry struct {
	Icon       template.HTML
	Word, Name string
}

type stationRow struct {
	Around, Picture, Side, Step, U, Gap, Bead, Remark string
	Over                                              bool
}

type featureRow struct{ Name, Value string }

type cropView struct {
	Src       template.URL
	Alt, Name string
	Note      string
	W, H      int
}

type findingView struct {
	Number     int
	ID         string
	Kind       string
	Icon       template.HTML
	Severity   string
	Bars       template.HTML
	Facts      []Fact
	Advice     string
	Crops      []cropView
	Features   []featureRow
	Confidence string
}

type problemView struct {
	Name, Measure, Remedy string
	Warn                  bool
}

type pictureRow struct {
	File, View, State, Sharpness, Clipped string
	Fit                                   bool
	Problems                              []problemView
}

// scaleText tells the scale, and of which scale files it is.
func scaleText(r *part.Result) string {
	if len(r.Scales) == 0 {
		if r.MMPerPX > 0 {
			return significant(r.MMPerPX) + " mm/px"
		}
		return ""
	}
	var of []string
	for _, s := range r.Scales {
		view := ""
		if s.View != "" {
			view = string(s.View) + ": "
		}
		of = append(of, fmt.Sprintf("%s%s mm/px ± %.2g %% (k = 2), %s of %s", view, significant(s.MMPerPX), 200*s.URel, s.File, s.Made))
	}
	return strings.Join(of, "; ")
}

func newPageView(in PageInput) pageView {
	r := in.Result
	v := pageView{
		T: english, CSS: css(), Unit: r.Unit, Verdict: string(r.Verdict), Word: verdictWord(r.Verdict),
		VerdictLine: verdictLine(r.Verdict), Sign: verdictSign(r.Verdict), Reasons: r.Reasons, Warnings: r.Warnings,
		Plot: StepPlotSVG(r, in.LimitsProudUM, in.LimitsRecessedUM), SeamLine: seamLine(r.Seam.Shape),
	}
	v.Passes = r.Verdict == part.Pass
	v.Title = v.Unit + ": " + v.Word
	v.Foot = newFoot(english.CautionList, in.Version, in.Generated, scaleLine(scaleText(r)), modelLine(r.KindModel))
	if n := len(v.Reasons); n > reasonsShown {
		v.Reasons, v.MoreReasons = v.Reasons[:reasonsShown-1], v.Reasons[reasonsShown-1:]
		v.More = fmt.Sprintf(english.More, len(v.MoreReasons))
	}
	switch {
	case r.Verdict != part.Pass:
		for _, s := range lang.English().SayAll(r.LookedAtPhrases()) {
			if !slices.Contains(r.Reasons, s) { // a pass, also one that is barred, tells them as its reasons
				v.Looked = append(v.Looked, s)
			}
		}
		v.NoReason = english.NotGiven
	case len(r.Seam.Stations) == 0:
		v.NoReason = english.NoReasonFace
	default:
		v.NoReason = english.NoReason
	}
	v.Facts, v.Budget = headFacts(r), newBudgetView(r)
	v.Remedies, v.Retake = remedies(r), retakes(r)
	v.Main, v.Other = figures(in)
	v.Legend = legend(in)
	for _, s := range stationsAround(r) {
		v.Stations = append(v.Stations, newStationRow(s, in))
	}
	crops := map[int][]Crop{}
	for _, c := range in.Crops {
		crops[c.Number] = append(crops[c.Number], c)
	}
	for i, f := range byNumber(r) {
		v.Findings = append(v.Findings, newFindingView(f, r, crops[f.Number], i))
	}
	for i := range r.Pictures {
		v.Pictures = append(v.Pictures, newPictureRow(&r.Pictures[i]))
	}
	slices.SortStableFunc(v.Pictures, func(a, b pictureRow) int { return bool2int(a.Fit) - bool2int(b.Fit) })
	return v
}

func bool2int(b bool) int {
	if b {
		return 1
	}
	return 0
}

func byNumber(r *part.Result) []*part.Finding {
	out := make([]*part.Finding, len(r.Findings))
	for i := range r.Findings {
		out[i] = &r.Findings[i]
	}
	slices.SortStableFunc(out, func(a, b *part.Finding) int { return a.Number - b.Number })
	return out
}

func findingID(n int) string { return fmt.Sprintf("finding-%d", n) }

func headFacts(r *part.Result) []Fact {
	fs := []Fact{{english.Stage, stageWord(r.Stage)}}
	worst := dash
	if w := r.Seam.WorstStepUM; w != nil {
		worst = signedUM(w) + " µm"
		for i := range r.Seam.Stations {
			s := &r.Seam.Stations[i]
			if s.State == part.Measured && s.StepUM != nil && *s.StepUM == *w {
				if s.UUM != nil {
					worst = fmt.Sprintf("%s ± %.1f µm", signedUM(w), 2**s.UUM)
				}
				worst += fmt.Sprintf(textAt, trimNumber(s.AngleDeg, 1), s.Side)
				break
			}
		}
	}
	return append(fs, Fact{english.Worst, worst}, Fact{english.Findings, fmt.Sprint(len(r.Findings))}, Fact{english.Score, scoreText(r.Score)})
}

func scoreText(v *float64) string {
	if v == nil {
		return dash
	}
	return trimNumber(*v, 1)
}

// remedies gathers the findings that share kind and advice, the worst first.
func remedies(r *part.Result) []remedy {
	if r.Verdict == part.Pass {
		return nil
	}
	var out []remedy
	for _, f := range byNumber(r) {
		if f.Advice == "" || f.Severity == part.None {
			continue
		}
		kind := kindWord(f.Kind)
		i := slices.IndexFunc(out, func(o remedy) bool { return o.Text == f.Advice && o.Kind == kind })
		if i < 0 {
			out = append(out, remedy{Text: f.Advice, Kind: kind, Icon: icon(f.Kind), rank: -1})
			i = len(out) - 1
		}
		if k := f.Severity.Rank(); k > out[i].rank {
			out[i].rank, out[i].Severity, out[i].Bars = k, string(f.Severity), severityBars(f.Severity)
		}
		out[i].Refs = append(out[i].Refs, ref{f.Number, findingID(f.Number)})
	}
	slices.SortStableFunc(out, func(a, b remedy) int { return b.rank - a.rank })
	return out
}

// retakes lists what kept pictures from being measured.
func retakes(r *part.Result) []retake {
	var out []retake
	for i := range r.Pictures {
		p := &r.Pictures[i]
		for _, q := range p.Problems {
			if q.Warn {
				continue
			}
			x := retake{p.File, problemWord(q.Name), q.Remedy}
			if k := slices.IndexFunc(out, func(o retake) bool { return o.Problem == x.Problem && o.Remedy == x.Remedy }); k >= 0 {
				out[k].File += ", " + x.File
			} else {
				out = append(out, x)
			}
		}
	}
	return out
}

// figures splits the pictures into those with findings, shown large, and the
// others.
func figures(in PageInput) (main, other []figure) {
	unfit, read, phase := map[string]bool{}, map[string]bool{}, map[string]bool{}
	for i := range in.Result.Pictures {
		p := &in.Result.Pictures[i]
		phase[p.File] = in.Result.Screen != nil && !p.Light.ShowsUnit()
		read[p.File] = !p.LookedAt()
		unfit[p.File] = p.State != part.PictureOK
	}
	for _, a := range in.Annotated {
		f := figure{Src: dataURL(a.JPEG), File: a.File, Name: pictureName(in.Result, a.File), Alt: pictureAlt(in.Result, a),
			W: a.W, H: a.H, Unfit: unfit[a.File], Href: relative(a.Href)}
		if f.Unfit {
			f.Notes = append(f.Notes, english.UnfitPicture)
		}
		if read[a.File] {
			f.Notes = append(f.Notes, english.OnlyRead)
		}
		if a.Brightened {
			f.Notes = append(f.Notes, english.Brightened)
		}
		for _, g := range byNumber(in.Result) {
			if _, ok := boxIn(g, a.File); ok {
				f.Refs = append(f.Refs, ref{g.Number, findingID(g.Number)})
			}
		}
		if phase[f.File] {
			continue // the maps tell what the phases do
		}
		if len(f.Refs) > 0 {
			main = append(main, f)
		} else {
			other = append(other, f)
		}
	}
	slices.SortStableFunc(main, func(a, b figure) int { return len(b.Refs) - len(a.Refs) })
	return main, other
}

// relative makes a link to a file beside the page; "" stays "".
func relative(href string) string {
	if href == "" {
		return ""
	}
	segs := strings.Split(href, "/")
	for i := range segs {
		segs[i] = url.PathEscape(segs[i])
	}
	return "./" + strings.Join(segs, "/")
}

func legend(in PageInput) []legendEntry {
	r := in.Result
	var out []legendEntry
	seen := map[part.Kind]bool{}
	for _, k := range part.Kinds {
		for i := range r.Findings {
			if r.Findings[i].Kind == k && !seen[k] {
				seen[k] = true
				out = append(out, legendEntry{icon(k), kindWord(k), marks.Of(k).Name})
			}
		}
	}
	for i := range r.Findings {
		if k := r.Findings[i].Kind; !seen[k] {
			seen[k] = true
			out = append(out, legendEntry{icon(k), kindWord(k), marks.Of(k).Name})
		}
	}
	if slices.ContainsFunc(in.Annotated, func(p PagePicture) bool { return p.Hatched }) {
		out = append(out, legendEntry{hatchIcon(), textHatched, textHatching})
	}
	return out
}

func newStationRow(s *part.Station, in PageInput) stationRow {
	row := stationRow{Around: trimNumber(s.AroundDeg(), 1) + "°", Picture: s.Image, Side: string(s.Side),
		Step: signedUM(s.StepUM), U: fixedText(twice(s.UUM), 1), Gap: fixedText(s.GapUM, 0), Bead: fixedText(s.BeadUM, 0)}
	var notes []string
	if s.State != part.Measured {
		row.Step, row.U, row.Gap, row.Bead = dash, dash, dash, dash
		note := textStationUnmeasured
		if s.Reason != "" {
			note += ": " + s.Reason
		}
		notes = append(notes, note)
	}
	switch beyond(s, in.LimitsProudUM, in.LimitsRecessedUM) {
	case 1:
		row.Over = true
		notes = append(notes, textOverProud)
	case -1:
		row.Over = true
		notes = append(notes, textOverRecessed)
	}
	if s.SeamFrom == "rim" {
		notes = append(notes, textSeamFromRim)
	}
	row.Remark = strings.Join(append(notes, s.Warnings...), "; ")
	return row
}

func newFindingView(f *part.Finding, r *part.Result, crops []Crop, i int) findingView {
	v := findingView{Number: f.Number, ID: findingID(f.Number), Kind: kindWord(f.Kind), Icon: icon(f.Kind),
		Severity: string(f.Severity), Bars: severityBars(f.Severity), Advice: f.Advice, Confidence: confidenceText(f.Confidence)}
	if i > 0 && r.Findings[i-1].Number == f.Number {
		v.ID = fmt.Sprintf("%s-%d", v.ID, i) // two of one number: still one id each
	}
	add := func(name, value string) { v.Facts = append(v.Facts, Fact{name, value}) }
	if f.Station != "" {
		add(english.Place, f.Station)
	}
	if f.TurnDeg != nil && f.BelowMM != nil {
		add(english.Place, onShellText(f))
	}
	if f.ValueUM != nil {
		if f.Kind == part.Step {
			add(english.Value, signedUM(f.ValueUM)+" µm")
		} else {
			add(english.Value, fixedText(f.ValueUM, 1)+" µm")
		}
	}
	if f.DiameterMM != nil {
		add(english.Across, sizeText(f.DiameterMM, f.UDiamMM)+" mm")
	}
	switch {
	case f.LengthMM != nil && f.WidthMM != nil:
		add(english.Size, sizesText(f))
	case f.LengthMM != nil:
		add(english.Length, sizeText(f.LengthMM, f.ULengthMM)+" mm")
	case f.WidthMM != nil:
		add(english.Width, sizeText(f.WidthMM, f.UWidthMM)+" mm")
	}
	if f.AreaMM2 != nil {
		add(english.Area, fixedText(f.AreaMM2, 3)+" mm²")
	}
	for name, least := range map[string]string{"slope_mrad": "", "slope_mrad_at_least": "at least "} {
		if v, ok := f.Features[name]; ok {
			var u *float64
			if x, ok := f.Features["u_"+name]; ok {
				u = &x
			}
			add(english.Slope, least+sizeText(&v, u)+" mrad")
		}
	}
	if f.AngleDeg != nil && longShape(f.Kind) {
		add(english.Direction, fixedText(f.AngleDeg, 0)+"°")
	}
	if f.Lines > 0 {
		add(english.Lines, fmt.Sprint(f.Lines))
	}
	add(english.Zone, zoneWord(f.Zone))
	add(english.Confidence, v.Confidence)
	for _, c := range crops {
		note := ""
		if c.Stretched {
			note = english.Stretched
		}
		v.Crops = append(v.Crops, cropView{Src: dataURL(c.JPEG), Alt: cropAlt(f, r, c), Name: pictureName(r, c.File), Note: note, W: c.W, H: c.H})
	}
	names := make([]string, 0, len(f.Features))
	for k := range f.Features {
		names = append(names, k)
	}
	slices.Sort(names)
	for _, k := range names {
		v.Features = append(v.Features, featureRow{k, significant(f.Features[k])})
	}
	return v
}

// longShape says whether a kind has a direction worth telling.
func longShape(k part.Kind) bool {
	return k == part.Fibre || k == part.Sanding || k == part.Run || k == part.Chip
}

func confidenceText(c float64) string {
	if !(c > 0) {
		return dash
	}
	return fmt.Sprintf("%.0f %%", math.Min(100*c, 100))
}

func newPictureRow(p *part.PictureReport) pictureRow {
	view := string(p.View)
	if p.View == part.Shell {
		view = poseName(p.View, p.AngleDeg)
	}
	if w := lightWord(p.Light); w != "" {
		view += ", " + w
	}
	row := pictureRow{File: p.File, View: view, Fit: p.State == part.PictureOK, State: english.Ok, Sharpness: fixedText(p.SharpnessPX, 1), Clipped: dash}
	if !row.Fit {
		row.State = english.NotOk
	}
	if p.Clipped != nil {
		row.Clipped = trimNumber(100**p.Clipped, 2)
	}
	for _, q := range p.Problems {
		row.Problems = append(row.Problems, problemView{problemWord(q.Name), measure(q), q.Remedy, q.Warn})
	}
	return row
}

// measure is "4.2 %, limit 0.5 %".
func measure(q part.Problem) string {
	if q.Value == nil {
		return ""
	}
	show := func(v float64) string {
		switch q.Unit {
		case "share":
			return significant(100*v) + " %"
		case "":
			return significant(v)
		}
		return significant(v) + " " + q.Unit
	}
	s := show(*q.Value)
	if q.Limit != nil {
		s += ", " + english.Limit + " " + show(*q.Limit)
	}
	return s
}
