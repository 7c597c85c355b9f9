package bench

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"finishbench/internal/compare"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report"
)

//go:embed page/*.html
var pageFiles embed.FS

var templates = template.Must(template.New("").Funcs(template.FuncMap{
	"sign":     report.VerdictSign,
	"icon":     report.KindIcon,
	"bars":     report.SeverityBars,
	"count":    func(n int) string { return strconv.Itoa(n) },
	"inc":      func(n int) int { return n + 1 },
	"id":       func(n int64) string { return strconv.FormatInt(n, 10) },
	"verdicts": func() []part.Verdict { return []part.Verdict{part.Pass, part.Rework, part.Reject} },
	"reasons":  part.OverruleReasons,
	"stages":   func() []part.Stage { return part.Stages },
	"follows":  func() []string { return Follows },
	"sides":    func() []string { return []string{"L", "R", ""} },
	"at":       func(key string, v any) string { return "@" + key + "." + fmt.Sprint(v) },
}).Option("missingkey=error").ParseFS(pageFiles, "page/*.html"))

// page is what every template gets: the words and, of a whole page, what stands
// around its middle.
type page struct {
	*lang.Lang
	// Of the whole page; empty in a part.
	Title, CSRF, Theme, Sound, Pedal, Path string
	Boot                                   string // of this run of the program
	Langs                                  []*lang.Lang
	Locked                                 bool   // a passphrase is asked for, so one can lock
	Bare                                   bool   // no navigation: locked, or first run
	Quiz                                   bool   // there are blind tests
	Atlas                                  bool   // there is an atlas
	First                                  bool   // first run: the cautions are the page, so not its foot too
	Here                                   string // what the page asks by whether its viewer is still signed in; "": it does not
	Viewer                                 viewer
	Body                                   template.HTML

	View any // what the part is about
}

// part carries a part out into text, so that a mistake in the middle never
// leaves half of it on a page.
func (p page) render(name string) (template.HTML, error) {
	var b bytes.Buffer
	if err := templates.ExecuteTemplate(&b, name, p); err != nil {
		return "", fmt.Errorf("bench: page part %s: %w", name, err)
	}
	return template.HTML(b.String()), nil
}

// benchView is the middle of the bench's page.
type benchView struct {
	*Snapshot
	Cameras []cameraView
	Notices []noticeView
	Problem string
	Done    string
	Answer  *answerView
	Last    *lastView
	Back    *lastView  // what was withdrawn last, and may be put back
	Tiles   []tileView // shots of the unit under way
	Stopped string     // how long the unit will stand still
	Now     string     // the shot under way
	Asking  string
	Waiting string // what it waits for
	LiveMS  int    // from one live picture to the next
	PerMill int    // how far the shooting is
	Slow    bool   // cancelled, not over yet
	Write   bool   // an undo or overrule is being written
	Viewer  viewer
}

type cameraView struct {
	Name  string
	Ready bool
	Why   string
}

type noticeView struct {
	Text string
	Bars bool
}

// lastView is an answer that may be withdrawn, or was.
type lastView struct {
	ID      int64
	Unit    string
	Info    part.UnitInfo
	Verdict part.Verdict
	Time    string
}

func lastOf(a *Answer) *lastView {
	if a == nil {
		return nil
	}
	return &lastView{a.ID, a.Name(), a.UnitInfo, a.Verdict(), a.Ended.Local().Format(timeLayout)}
}

type tileView struct {
	Name string
	OK   bool
	Why  string
}

// answerView is an answer in words.
type answerView struct {
	ID        int64
	Unit      string
	Info      part.UnitInfo
	Verdict   part.Verdict // the call that holds
	Tool      part.Verdict
	Overruled *part.Overrule
	Why       string
	Todo      string
	Care      string    // that it wants
	Plan      *planView // nil: the program that judged it made none
	Ticket    bool      // there is something to print
	Main      *pictureView
	Crop      *pictureView
	More      int // findings that count beside the one told
	WorstStep string
	Score     string
	Stopped   string // how long it stood still, with wet lacquer
	Findings  []findingView
	Changes   []changeView
	Before    *pastView
	Pair      []pairView
	Other     *pastView
	Unread    bool
	Sides     []sidePicture // left and right beside each other
	Serial    string        // escaped for a link
}

type pictureView struct{ Src, Alt, Caption string }

type findingView struct {
	Number   int
	Kind     part.Kind
	What     string
	Severity part.Severity
	Advice   string
	Crop     *pictureView
}

type changeView struct {
	Fate compare.Fate
	What string
}

type pastView struct {
	Unit, Time string
	Stage      part.Stage
	Verdict    part.Verdict
	Withdrawn  bool
	Overruled  bool
	Findings   []string
	Pictures   []pictureView
}

// sidePicture is a picture of one side of a pair.
type sidePicture struct {
	Side string
	pictureView
}

// pairView is one thing of the two sides, as read.
type pairView struct{ Name, Left, Right, Difference, Word string }

// benchPart renders the middle of the bench's page as it stands.
func (b *Station) benchPart(x words, s *Snapshot, by viewer) (template.HTML, error) {
	v := benchView{Snapshot: s, Viewer: by, Problem: x.Say(s.Problem), Done: x.Say(s.Done),
		LiveMS: max(250, 25*b.hub.watchers()), Slow: s.stopping, Write: s.busy}
	if s.Phase != Answered && s.Phase != Judging {
		for _, c := range b.Shooter.Cameras() {
			v.Cameras = append(v.Cameras, cameraView{c.Name, c.Ready, x.Say(c.Why)})
		}
	}
	if b.Parts.Notices != nil {
		for _, n := range b.Parts.Notices.Notices(b.Parts.Now()) {
			v.Notices = append(v.Notices, noticeView{x.Say(&n.Phrase), n.Bars})
		}
	}
	for _, p := range b.Screens.notices() {
		v.Notices = append(v.Notices, noticeView{Text: x.Say(&p)})
	}
	v.Stopped = x.stopped("ready.stopped", b.Parts.Stopped)
	if wet := x.stopped("ready.stopped_wet", b.Parts.StoppedWet); wet != "" {
		v.Stopped = strings.TrimPrefix(v.Stopped+" · "+wet, " · ")
	}
	v.Last, v.Back = lastOf(s.Last), lastOf(s.Withdrawn)
	for _, shot := range s.Shots {
		t := tileView{Name: x.shot(shot.View, shot.Light, shot.AngleDeg), OK: shot.Report.State == part.PictureOK}
		for _, q := range shot.Report.Problems {
			if !q.Warn {
				t.Why = x.problem(q)
			}
		}
		v.Tiles = append(v.Tiles, t)
	}
	p := s.Progress
	if p.View != "" {
		v.Now = x.shot(p.View, p.Light, p.AngleDeg)
	}
	v.Asking, v.Waiting = x.Say(p.Asking), x.Say(p.Problem)
	if p.Total > 0 {
		v.PerMill = 1000 * p.Done / p.Total
	}
	if s.Answer != nil {
		var err error
		if v.Answer, err = b.answerView(x, s.Answer); err != nil {
			return "", err
		}
	}
	return page{Lang: x.Lang, View: v}.render(string(s.Phase))
}

// stopped says how long a unit will stand still; "" where nothing is known of it.
func (x words) stopped(key string, st *Stopped) string {
	if st == nil {
		return ""
	}
	if st.AtLeast {
		key += "_least"
	}
	return x.T(key, "s", x.Number(st.S, 1))
}

func (b *Station) answerView(x words, a *Answer) (*answerView, error) {
	r := a.Outcome.Result
	v := &answerView{
		ID: a.ID, Unit: a.Name(), Info: a.UnitInfo, Verdict: a.Verdict(), Tool: r.Verdict, Overruled: a.Overruled,
		Why: x.why(a), WorstStep: x.T("answer.step_none"), Serial: url.QueryEscape(a.Serial), Unread: a.Unread,
	}
	v.Todo, v.Care = x.todo(a)
	if v.Plan = x.planned(a); v.Plan != nil {
		svg, err := report.PlanSketch(r, a.plan(), x.Lang, nil)
		if err != nil {
			return nil, err
		}
		v.Plan.Sketch = plotPart(svg)
	}
	v.Ticket = v.Verdict == part.Rework || v.Verdict == part.Reject
	if r.Seam.WorstStepUM != nil {
		v.WorstStep = x.T("answer.step_worst", "step", x.Number(*r.Seam.WorstStepUM, 0))
	}
	if r.Score != nil {
		v.Score = x.T("answer.score", "score", x.Number(*r.Score, 0))
	}
	if r.StoppedS != nil && r.Stage == part.Wet {
		v.Stopped = x.T("answer.stopped", "s", x.Number(*r.StoppedS, 1))
	}
	if len(a.Outcome.Main) > 0 {
		v.Main = &pictureView{Src: fmt.Sprintf("/answer/%d/main.jpg", a.ID),
			Alt:     x.T("answer.main_alt", "picture", x.picture(r, a.Outcome.MainFile), "why", v.Why),
			Caption: x.picture(r, a.Outcome.MainFile)}
	}
	shown := a.Outcome.shown()
	for i, g := range r.Findings {
		fv := findingView{Number: g.Number, Kind: g.Kind, What: x.finding(g), Severity: g.Severity,
			Advice: x.SayOr(g.AdvicePhrase, g.Advice), Crop: cropOf(x, a, g)}
		if a.Overruled != nil {
			fv.Advice = "" // the tool's call holds no longer
		}
		v.Findings = append(v.Findings, fv)
		if len(shown) > 0 && shown[0] == g.Number {
			v.Crop = v.Findings[i].Crop
		}
	}
	if s := a.plan().First(); s != nil && len(s.Findings) > 0 {
		v.More = len(shown) - len(s.Findings) // what the sentence is not about
	}
	if a.Before != nil {
		v.Before = x.past(onlyLike(a.Before, a.Outcome))
		v.Changes = x.changes(&a.Before.Result, &a.Inspection.Result)
	}
	if a.Other != nil {
		v.Other = x.past(a.Other)
		v.Pair = x.pair(&a.Inspection, a.Other, b.PairLimits)
		alike := func(q part.StoredPicture) bool { return q.File == a.Outcome.MainFile }
		if other := x.past(onlyLike(a.Other, a.Outcome)); v.Main != nil && slices.ContainsFunc(a.Other.Pictures, alike) {
			v.Sides = []sidePicture{{a.Side, *v.Main}, {a.Other.Side, other.Pictures[0]}}
			if a.Side == "R" {
				slices.Reverse(v.Sides)
			}
		}
	}
	return v, nil
}

func cropOf(x words, a *Answer, f part.Finding) *pictureView {
	i := slices.IndexFunc(a.Outcome.Crops, func(c report.Crop) bool { return c.Number == f.Number })
	if i < 0 {
		return nil
	}
	return &pictureView{
		Src: fmt.Sprintf("/answer/%d/crop-%d.jpg", a.ID, i), Alt: x.T("answer.crop_alt", "n", strconv.Itoa(f.Number)),
		Caption: x.T("answer.crop", "n", strconv.Itoa(f.Number), "what", x.finding(f)),
	}
}

// onlyLike leaves of an earlier inspection's pictures the one that was taken as
// the picture that the answer shows; all where there is none.
func onlyLike(p *part.Inspection, o Outcome) *part.Inspection {
	i := slices.IndexFunc(p.Pictures, func(q part.StoredPicture) bool { return q.File == o.MainFile })
	if i < 0 {
		return p
	}
	out := *p
	out.Pictures = p.Pictures[i : i+1]
	return &out
}

// timeLayout is how times are shown: ISO 8601, which all languages read.
const timeLayout = "2006-01-02 15:04"

func (x words) past(p *part.Inspection) *pastView {
	v := &pastView{Unit: p.Name(), Time: p.Ended.Local().Format(timeLayout), Stage: p.Stage, Verdict: p.Verdict(), Withdrawn: !p.Holds(),
		Overruled: p.Overruled != nil}
	for _, f := range p.Result.Findings {
		if f.Severity != part.None {
			v.Findings = append(v.Findings, x.finding(f))
		}
	}
	for _, q := range p.Pictures {
		if (q.View == part.Face || q.View == part.Shell) && q.Light.ShowsUnit() || len(p.Pictures) == 1 {
			name := x.shot(q.View, q.Light, q.AngleDeg)
			v.Pictures = append(v.Pictures, pictureView{Src: "/record/" + q.SHA256, Alt: name, Caption: name})
		}
	}
	return v
}

// lookView is the page about one serial.
type lookView struct {
	Serial   string
	All      []pastView
	Sides    []sideView
	Pair     []pairView
	Shown    []sidePicture // of the pair
	HasBoth  bool
	Searched bool
}

// sideView sets the last two inspections of a side beside each other.
type sideView struct {
	Side          string
	Before, After *pastView
	Changes       []changeView
}

func (b *Station) lookView(x words, serial string, past []part.Inspection) lookView {
	v := lookView{Serial: serial, Searched: serial != ""}
	for i := len(past) - 1; i >= 0; i-- {
		v.All = append(v.All, *x.past(&past[i]))
	}
	for _, side := range []string{"L", "R", ""} {
		var held []*part.Inspection
		for i := range past {
			if past[i].Side == side && past[i].Holds() {
				held = append(held, &past[i])
			}
		}
		if n := len(held); n > 1 {
			before, after := held[n-2], held[n-1]
			v.Sides = append(v.Sides, sideView{side, x.past(before), x.past(after), x.changes(&before.Result, &after.Result)})
		}
	}
	if l, r := latest(past, "L"), latest(past, "R"); l != nil && r != nil {
		v.HasBoth = true
		v.Shown = x.sides(l, r)
		v.Pair = x.pair(l, r, b.PairLimits)
	}
	return v
}

// sides are the first pictures of a pair that were taken alike.
func (x words) sides(l, r *part.Inspection) []sidePicture {
	for _, p := range l.Pictures {
		if i := slices.IndexFunc(r.Pictures, func(q part.StoredPicture) bool {
			return q.File == p.File && q.View == part.Face &&
				q.Light.ShowsUnit()
		}); i >= 0 {
			one, other := *l, *r
			one.Pictures, other.Pictures = []part.StoredPicture{p}, r.Pictures[i:i+1]
			return []sidePicture{{l.Side, x.past(&one).Pictures[0]}, {r.Side, x.past(&other).Pictures[0]}}
		}
	}
	return nil
}

// aidView is a gauge beside a live picture.
type aidView struct {
	Name, Word string
	Bar        template.HTML
	OK         bool
}

// aidPart renders the gauges of a camera.
func (b *Station) aidPart(x words, a Aid) (template.HTML, error) {
	var rows []aidView
	for _, g := range []struct {
		key string
		g   Gauge
	}{{"aid.focus", a.Focus}, {"aid.exposure", a.Exposure}, {"aid.position", a.Position}} {
		row := aidView{Name: x.T(g.key), Bar: barSVG(g.g)}
		switch {
		case math.IsNaN(g.g.V):
			row.Word = x.T("aid.none")
		case g.g.V < g.g.Lo:
			row.Word = x.T("aid.low")
		case g.g.V > g.g.Hi:
			row.Word = x.T("aid.high")
		default:
			row.Word, row.OK = x.T("aid.in"), true
		}
		rows = append(rows, row)
	}
	return page{Lang: x.Lang, View: rows}.render("aids")
}

// barSVG draws a gauge: a track, its zone, and a pin that stands on it; no pin
// where nothing was measured. The word beside it says the same.
func barSVG(g Gauge) template.HTML {
	const w = 200.0
	at := func(v float64) float64 { return 4 + (w-8)*min(max(v, 0), 1) }
	var s bytes.Buffer
	fmt.Fprintf(&s, `<svg class="gauge" viewBox="0 0 %g 28" aria-hidden="true" focusable="false" preserveAspectRatio="none">`, w)
	fmt.Fprintf(&s, `<rect class="track" x="1" y="15" width="%g" height="12"/>`, w-2)
	fmt.Fprintf(&s, `<rect class="zone" x="%.1f" y="15" width="%.1f" height="12"/>`, at(g.Lo), at(g.Hi)-at(g.Lo))
	if !math.IsNaN(g.V) {
		fmt.Fprintf(&s, `<path class="pin" d="M%.1f 22l-8 -20h16z"/>`, at(g.V))
	}
	s.WriteString(`</svg>`)
	return template.HTML(s.String())
}

// withPast and withPair give a smaller template its words too.
type (
	withPast struct {
		*lang.Lang
		P *pastView
	}
	withPair struct {
		*lang.Lang
		Rows []pairView
	}
)

// With gives the part about a past inspection its words.
func (p *pastView) With(x *lang.Lang) withPast { return withPast{x, p} }

// With gives the table of a pair its words.
func (v *answerView) With(x *lang.Lang) withPair { return withPair{x, v.Pair} }

// With gives the table of a pair its words.
func (v lookView) With(x *lang.Lang) withPair { return withPair{x, v.Pair} }

// themes and sounds are what a browser may choose.
var (
	themes = []string{"auto", "light", "dark"}
	sounds = []string{"on", "off"}
)

// Themes, Sounds and Cautions are for the templates.
func (page) Themes() []string { return themes }
func (page) Sounds() []string { return sounds }

// Cautions are the sentences on harm.
func (p page) Cautions() []string {
	var out []string
	for i := 1; p.Has(fmt.Sprintf("cautions.%d", i)); i++ {
		out = append(out, p.T(fmt.Sprintf("cautions.%d", i)))
	}
	return out
}
