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
	"strconv"
	"strings"
	"sync"

	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report/marks"
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
	LimitsProudUM    float64    // size of the largest proud step allowed; 0: no limit
	LimitsRecessedUM float64    // size of the largest recessed step allowed, as a positive number; 0: no limit
	Version          string     // the program's
	Generated        string     // when the page was made, as text
	Lang             *lang.Lang // nil: English; what is drawn into pictures is English in any
}

// Page writes one self-contained HTML page: the verdict, then the plan with its sketch, why, and
// the pictures that show it. What else there is, is folded, and printed only where it was unfolded.
// Nothing is written where the page cannot be made.
func Page(w io.Writer, in PageInput) error {
	if in.Result == nil {
		return fmt.Errorf("report: page: there is no result")
	}
	v := newPageView(in)
	var err error
	if v.Mirror, err = v.T.mirror(in.Result, &v.Main, &v.Other); err != nil {
		return err
	}
	if v.Shell, err = v.T.shellMap(in.Result); err != nil {
		return err
	}
	if len(v.Plan.Steps) > 0 {
		svg, err := PlanSketch(in.Result, in.Result.Plan, in.Lang, nil)
		if err != nil {
			return err
		}
		v.Plan.Sketch = inlineSVG(svg, v.T.T("plan.sketch.title"))
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
	Lang          string
	CSS           template.CSS
	Unit, Title   string
	Verdict, Word string
	VerdictLine   string
	Sign          template.HTML
	Facts         []Fact
	Reasons       []string
	Passes        bool
	MoreReasons   []string
	More          string
	NoReason      string
	Plan          planView
	Main          []figure    // those that show what the plan is about,
	Other         []figure    // and the others, folded
	Mirror        *mirrorView // nil: nothing was photographed before a screen
	Shell         *shellView  // nil: the shell was not looked at
	Legend        []legendEntry
	Plot          template.HTML
	SeamLine      string // the curve of steps
	Stations      []stepStationRow
	Findings      []findingView
	NoFinding     string
	Pictures      []pictureRow
	Budget        *budgetView // nil: none to show
	Warnings      []string
	Foot          footView
}

type ref struct {
	Number int
	ID     string
}

// planView is the plan as the page begins with it.
type planView struct {
	Steps  []planStepView
	Care   string
	Sketch template.HTML
	Unseen []string // what was not looked at or not measured
}

type planStepView struct {
	Do, Why string
	Refs    []ref
}

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

type stepStationRow struct {
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
func (x words) scaleText(r *part.Result) string {
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
			view = x.word("view.", string(s.View)) + x.T("page.colon")
		}
		of = append(of, x.T("page.scale_of", "view", view, "mm_per_px", significant(s.MMPerPX), "u_percent",
			fmt.Sprintf("%.2g", 200*s.URel), "file", s.File, "made", s.Made))
	}
	return strings.Join(of, x.T("page.semicolon"))
}

func newPageView(in PageInput) pageView {
	r, x := in.Result, wordsOf(in.Lang)
	v := pageView{
		T: x, Lang: x.Tag, CSS: css() + pageFoot(x.T("page.unit")+" "+r.Unit), Unit: r.Unit, Verdict: string(r.Verdict), Word: x.verdict(r.Verdict),
		VerdictLine: x.verdictLine(r.Verdict), Sign: verdictSign(r.Verdict), Reasons: x.sentences(r.Reasons, r.ReasonPhrases),
		Warnings: x.sentences(r.Warnings, r.WarningPhrases), Plot: x.stepPlot(r, in.LimitsProudUM, in.LimitsRecessedUM),
		SeamLine: x.seamLine(r.Seam.Shape),
	}
	v.Passes = r.Verdict == part.Pass
	v.Title = x.T("page.title", "unit", v.Unit, "verdict", v.Word)
	v.Foot = newFoot(x.T("page.cautions"), x.cautions(), in.Version, in.Generated, x.scaleLine(x.scaleText(r)), x.modelLine(r.KindModel))
	if n := len(v.Reasons); n > reasonsShown {
		v.Reasons, v.MoreReasons = v.Reasons[:reasonsShown-1], v.Reasons[reasonsShown-1:]
		v.More = x.T("page.more", "n", strconv.Itoa(len(v.MoreReasons)))
	}
	looked := slices.ContainsFunc(r.Surfaces, func(s part.Surface) bool { return !s.Unsearched() })
	switch {
	case r.Verdict != part.Pass:
		v.NoReason = x.T("page.not_given")
	case len(r.Seam.Stations) == 0:
		v.NoReason = x.T("page.no_reason_face")
	case !looked:
		v.NoReason = x.T("page.no_reason_seam")
	default:
		v.NoReason = x.T("page.no_reason")
	}
	v.NoFinding = x.T("page.findings_none")
	if !looked {
		v.NoFinding = x.T("page.findings_unseen")
	}
	v.Facts, v.Budget = x.headFacts(r), x.budget(r)
	v.Plan = x.plan(r)
	v.Main, v.Other = x.figures(in)
	v.Legend = x.legend(in)
	for _, s := range stepStationsAround(r) {
		v.Stations = append(v.Stations, x.stepStationRow(s, in))
	}
	crops := map[int][]Crop{}
	for _, c := range in.Crops {
		crops[c.Number] = append(crops[c.Number], c)
	}
	for i, f := range byNumber(r) {
		v.Findings = append(v.Findings, x.finding(f, r, crops[f.Number], i))
	}
	for i := range r.Pictures {
		v.Pictures = append(v.Pictures, x.pictureRow(&r.Pictures[i]))
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

func (x words) headFacts(r *part.Result) []Fact {
	fs := []Fact{{x.T("page.stage"), x.stage(r.Stage)}}
	worst := dash
	if w := r.Seam.WorstStepUM; w != nil {
		worst = signedUM(w) + " µm"
		for i := range r.Seam.Stations {
			s := &r.Seam.Stations[i]
			if s.State == part.Measured && s.StepUM != nil && *s.StepUM == *w {
				if s.UUM != nil {
					worst = fmt.Sprintf("%s ± %.1f µm", signedUM(w), 2**s.UUM)
				}
				worst += x.T("page.at", "angle_deg", trimNumber(s.AngleDeg, 1), "side", x.side(s.Side))
				break
			}
		}
	}
	return append(fs, Fact{x.T("page.worst"), worst}, Fact{x.T("page.findings"), fmt.Sprint(len(r.Findings))},
		Fact{x.T("page.score"), scoreText(r.Score)})
}

func scoreText(v *float64) string {
	if v == nil {
		return dash
	}
	return trimNumber(*v, 1)
}

// plan is the result's plan in words. A pass has no steps.
func (x words) plan(r *part.Result) planView {
	p := r.Plan
	if p == nil {
		return planView{}
	}
	v := planView{Unseen: x.sentences(p.Unseen, p.UnseenPhrases)}
	reasons := x.sentences(r.Reasons, r.ReasonPhrases) // a pass tells on what it rests
	v.Unseen = slices.DeleteFunc(slices.Clone(v.Unseen), func(s string) bool { return slices.Contains(reasons, s) })
	if r.Verdict == part.Pass {
		return v
	}
	for _, s := range p.Steps {
		step := planStepView{Do: x.sentence(s.Do, &s.DoPhrase), Why: x.sentence(s.Why, &s.WhyPhrase)}
		for _, n := range s.Findings {
			step.Refs = append(step.Refs, ref{n, findingID(n)})
		}
		v.Steps = append(v.Steps, step)
	}
	v.Care = CareSentence(x.Lang, p.Care())
	return v
}

// CareSentence is what to take care of; "" for nothing. Where there is room, local codes come after it: the
// text cautions.6.
func CareSentence(l *lang.Lang, all []part.Care) string {
	var reasons []string
	for _, c := range all {
		reasons = append(reasons, l.T("care."+string(c)))
	}
	if len(reasons) == 0 {
		return ""
	}
	return l.T("care.all", "all", strings.Join(reasons, l.T("care.comma")))
}

// pageFoot puts a text and the page's number at the foot of each printed page.
func pageFoot(text string) template.CSS {
	var b strings.Builder
	for _, r := range text {
		if r < 0x80 && !(r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r == ' ' || r == '-') {
			fmt.Fprintf(&b, "\\%x ", r) // as CSS escapes it: nothing ends the string, or the style
			continue
		}
		b.WriteRune(r)
	}
	return template.CSS(`@media print{@page{@bottom-left{content:"` + b.String() + `"}@bottom-right{content:counter(page) " / " counter(pages)}}}`)
}

// mostMain is how many pictures stand open.
const mostMain = 2

// figures splits the pictures into the few that show what the plan is about, or of a pass what
// was found, and the others.
func (x words) figures(in PageInput) (main, other []figure) {
	unfit, read, phase := map[string]bool{}, map[string]bool{}, map[string]bool{}
	for i := range in.Result.Pictures {
		p := &in.Result.Pictures[i]
		phase[p.File] = in.Result.Screen != nil && !p.Light.ShowsUnit()
		read[p.File] = !p.LookedAt()
		unfit[p.File] = p.State != part.PictureOK
	}
	for _, a := range in.Annotated {
		f := figure{Src: dataURL(a.JPEG), File: a.File, Name: x.picture(in.Result, a.File), Alt: x.pictureAlt(in.Result, a),
			W: a.W, H: a.H, Unfit: unfit[a.File], Href: relative(a.Href)}
		if f.Unfit {
			f.Notes = append(f.Notes, x.T("page.unfit_picture"))
		}
		if read[a.File] {
			f.Notes = append(f.Notes, x.T("page.only_read"))
		}
		if a.Brightened {
			f.Notes = append(f.Notes, x.T("page.brightened"))
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
	shows := planned(in.Result)
	slices.SortStableFunc(main, func(a, b figure) int { return shows(b) - shows(a) })
	open := 0
	for open < len(main) && open < mostMain && shows(main[open]) > 0 {
		open++
	}
	return main[:open], append(main[open:], other...)
}

// planned says of a picture how many findings of the plan it shows, that in which the first step's first shows
// best before all; where the plan has none, how many findings it shows.
func planned(r *part.Result) func(figure) int {
	first, has := part.Finding{}, false
	if s := r.Plan.First(); s != nil && len(s.Findings) > 0 {
		i := slices.IndexFunc(r.Findings, func(f part.Finding) bool { return f.Number == s.Findings[0] })
		if has = i >= 0; has {
			first = r.Findings[i]
		}
	}
	return func(f figure) int {
		n := 0
		for _, q := range f.Refs {
			if !has || r.Plan.StepOf(q.Number) > 0 {
				n++
			}
		}
		if has && f.File == first.Image {
			n += len(r.Findings)
		}
		return n
	}
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

func (x words) legend(in PageInput) []legendEntry {
	r := in.Result
	var out []legendEntry
	seen := map[part.Kind]bool{}
	for _, k := range part.Kinds {
		for i := range r.Findings {
			if r.Findings[i].Kind == k && !seen[k] {
				seen[k] = true
				out = append(out, legendEntry{icon(k), x.kind(k), x.word("page.shape.", marks.Of(k).Name)})
			}
		}
	}
	for i := range r.Findings {
		if k := r.Findings[i].Kind; !seen[k] {
			seen[k] = true
			out = append(out, legendEntry{icon(k), x.kind(k), x.word("page.shape.", marks.Of(k).Name)})
		}
	}
	if slices.ContainsFunc(in.Annotated, func(p PagePicture) bool { return p.Hatched }) {
		out = append(out, legendEntry{hatchIcon(), x.T("page.hatched"), x.T("page.hatching")})
	}
	return out
}

func (x words) stepStationRow(s *part.StepStation, in PageInput) stepStationRow {
	row := stepStationRow{Around: trimNumber(s.AroundDeg(), 1) + "°", Picture: s.Image, Side: x.side(s.Side),
		Step: signedUM(s.StepUM), U: fixedText(twice(s.UUM), 1), Gap: fixedText(s.GapUM, 0), Bead: fixedText(s.BeadUM, 0)}
	var notes []string
	if s.State != part.Measured {
		row.Step, row.U, row.Gap, row.Bead = dash, dash, dash, dash
		note := x.T("not_measured")
		if s.Reason != "" {
			note = x.T("page.not_measured_why", "why", x.sentence(s.Reason, s.ReasonPhrase))
		}
		notes = append(notes, note)
	}
	switch beyond(s, in.LimitsProudUM, in.LimitsRecessedUM) {
	case 1:
		row.Over = true
		notes = append(notes, x.T("page.over_proud"))
	case -1:
		row.Over = true
		notes = append(notes, x.T("page.over_recessed"))
	}
	if s.SeamFrom == "rim" {
		notes = append(notes, x.T("page.seam_from_rim"))
	}
	row.Remark = strings.Join(append(notes, x.sentences(s.Warnings, s.WarningPhrases)...), x.T("page.semicolon"))
	return row
}

func (x words) finding(f *part.Finding, r *part.Result, crops []Crop, i int) findingView {
	v := findingView{Number: f.Number, ID: findingID(f.Number), Kind: x.kind(f.Kind), Icon: icon(f.Kind),
		Severity: x.severity(f.Severity), Bars: severityBars(f.Severity), Advice: x.sentence(f.Advice,
			f.AdvicePhrase), Confidence: confidenceText(f.Confidence)}
	if i > 0 && r.Findings[i-1].Number == f.Number {
		v.ID = fmt.Sprintf("%s-%d", v.ID, i) // two of one number: still one id each
	}
	add := func(name, value string) { v.Facts = append(v.Facts, Fact{name, value}) }
	if f.StepStation != "" {
		add(x.T("page.place"), x.stepStation(f.StepStation))
	}
	if f.TurnDeg != nil && f.BelowMM != nil {
		add(x.T("page.place"), x.onShell(f))
	}
	if f.ValueUM != nil {
		if f.Kind == part.Step {
			add(x.T("page.value"), signedUM(f.ValueUM)+" µm")
		} else {
			add(x.T("page.value"), fixedText(f.ValueUM, 1)+" µm")
		}
	}
	if f.DiameterMM != nil {
		add(x.T("page.across"), sizeText(f.DiameterMM, f.UDiamMM)+" mm")
	}
	switch {
	case f.LengthMM != nil && f.WidthMM != nil:
		add(x.T("page.size"), sizesText(f))
	case f.LengthMM != nil:
		add(x.T("page.length"), sizeText(f.LengthMM, f.ULengthMM)+" mm")
	case f.WidthMM != nil:
		add(x.T("page.width"), sizeText(f.WidthMM, f.UWidthMM)+" mm")
	}
	if f.AreaMM2 != nil {
		add(x.T("page.area"), fixedText(f.AreaMM2, 3)+" mm²")
	}
	for name, least := range map[string]string{"slope_mrad": "", "slope_mrad_at_least": x.T("least")} {
		if v, ok := f.Features[name]; ok {
			var u *float64
			if w, ok := f.Features["u_"+name]; ok {
				u = &w
			}
			add(x.T("page.slope"), least+sizeText(&v, u)+" mrad")
		}
	}
	if f.AngleDeg != nil && longShape(f.Kind) {
		add(x.T("page.direction"), fixedText(f.AngleDeg, 0)+"°")
	}
	if f.Lines > 0 {
		add(x.T("page.lines"), fmt.Sprint(f.Lines))
	}
	add(x.T("page.zone"), x.zone(f.Zone))
	add(x.T("page.confidence"), v.Confidence)
	for _, c := range crops {
		note := ""
		if c.Stretched {
			note = x.T("page.stretched")
		}
		v.Crops = append(v.Crops, cropView{Src: dataURL(c.JPEG), Alt: x.cropAlt(f, r, c), Name: x.picture(r, c.File), Note: note, W: c.W,
			H: c.H})
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

func (x words) pictureRow(p *part.PictureReport) pictureRow {
	view := x.word("view.", string(p.View))
	if p.View == part.Shell {
		view = x.pose(p.View, p.AngleDeg)
	}
	row := pictureRow{File: p.File, View: x.inLight(view, p.Light), Fit: p.State == part.PictureOK, State: x.T("page.ok"),
		Sharpness: fixedText(p.SharpnessPX, 1), Clipped: dash}
	if !row.Fit {
		row.State = x.T("page.not_ok")
	}
	if p.Clipped != nil {
		row.Clipped = trimNumber(100**p.Clipped, 2)
	}
	for _, q := range p.Problems {
		row.Problems = append(row.Problems, problemView{x.problem(q.Name), x.measure(q), x.sentence(q.Remedy, q.RemedyPhrase), q.Warn})
	}
	return row
}

// measure is "4.2 %, limit 0.5 %".
func (x words) measure(q part.Problem) string {
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
		s += x.T("page.of_limit", "limit", show(*q.Limit))
	}
	return s
}
