package bench

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode"

	"finishbench/internal/lang"
	"finishbench/internal/lots"
	"finishbench/internal/part"
)

// This file is the page about lots: a list, and one lot with its counts as they
// come, its plots, and the signing of a decision.

// lotFormats are the reports that the page hands out.
var lotFormats = []string{"pdf", "xlsx", "json"}

// lotRoutes adds the page's routes.
func (s *Server) lotRoutes() {
	s.on("GET /lot.css", s.asset("lot.css", "text/css; charset=utf-8"))
	s.on("GET /lot.js", s.asset("lot.js", "text/javascript; charset=utf-8"))
	s.on("GET /lot", s.lotList)
	s.on("GET /lot/{name}", s.lotPage)
	s.on("GET /lot/{name}/events", s.lotEvents)
	s.on("GET /lot/{name}/more", s.lotMore)
	for _, f := range lotFormats {
		s.on("GET /lot/{name}/report."+f, s.lotReport)
	}
	s.on("POST /lot/{name}/decide", s.lotDecide)
}

// lotAddress says whether a path is one of this page's.
func lotAddress(path string) bool {
	rest, ok := strings.CutPrefix(path, "/lot/")
	return path == "/lot" || ok && rest != "" && !strings.ContainsAny(rest, "/\\?#\r\n")
}

// OnLots says whether a page is about lots.
func (p page) OnLots() bool { return p.Path == "/lot" || strings.HasPrefix(p.Path, "/lot/") }

// lots says whether there are lots to show, else tells that there are none.
func (s *Server) lots(w http.ResponseWriter, r *http.Request) bool {
	if s.b.Lots == nil {
		s.wrong(w, r, http.StatusNotFound, "lot.page.nowhere")
		return false
	}
	return true
}

type lotListView struct {
	All     []lotLineView
	Nowhere bool
}

type lotLineView struct {
	LotLine
	Href, Opened string
}

func (s *Server) lotList(w http.ResponseWriter, r *http.Request, x session) {
	l := s.lang(r)
	v := lotListView{Nowhere: s.b.Lots == nil}
	if !v.Nowhere {
		all, err := s.b.Lots.List(r.Context())
		if err != nil {
			s.fault(w, r, err)
			return
		}
		for _, one := range all {
			v.All = append(v.All, lotLineView{one, lotPath(one.Name), one.Opened.Local().Format(timeLayout)})
		}
	}
	body, err := page{Lang: l, View: v}.render("lots")
	if err != nil {
		s.fault(w, r, err)
		return
	}
	s.whole(w, r, http.StatusOK, x, l.T("lot.page.title"), body, withAll)
}

func lotPath(name string) string { return "/lot/" + url.PathEscape(name) }

// lotView is one lot in words.
type lotView struct {
	LotState
	Viewer              viewer
	Path, Token, Opened string
	Line                string
	Sign                part.Verdict // the one whose sign stands for the state
	Plans               []lotPlanView
	Units               []lotUnitView // that count
	More                int           // serials that are not listed
	Signed              string
	Open                int // units of which nobody has said what becomes of them
}

type lotUnitView struct{ Name, Href string }

// Routes are what may become of a unit, as "lot.page.".
func (lotView) Routes() []lots.Route { return lots.Routes }

// Screens says whether a screening may be signed now.
func (v lotView) Screens() bool { return slices.Contains(v.Steps, "screen") }

// unitHref is the page about a unit, whose name may end with its side.
func unitHref(name string) string {
	serial, _ := part.SplitSide(name)
	return "/look?serial=" + url.QueryEscape(serial)
}

type lotPlanView struct {
	lots.Standing
	Line  string
	What  string
	Meter template.HTML
	Done  template.HTML
}

func (s *Server) lotView(l *lang.Lang, st LotState, x session) lotView {
	v := lotView{LotState: st, Viewer: x.viewer, Path: lotPath(st.Name), Token: x.csrf, Opened: st.Opened.Local().Format(timeLayout),
		Line: words{l}.lotLine(st), More: st.Left - len(st.Next)}
	v.Sign = map[lots.State]part.Verdict{lots.StateAccepted: part.Pass, lots.StateRefused: part.Reject, lots.StateScreened: part.Reject,
		lots.StateReturned: part.Reject}[st.State]
	if v.Sign == "" {
		v.Sign = part.NotMeasured
	}
	if st.Decided != nil {
		v.Signed = st.Decided.At.Local().Format(timeLayout) + ", " + st.Decided.By
	}
	for _, u := range st.Failing {
		if st.Settled[u.Name].Route == "" {
			v.Open++
		}
	}
	for _, n := range st.Counting {
		v.Units = append(v.Units, lotUnitView{n, unitHref(n)})
	}
	for _, p := range st.Plans {
		what := "lot.plan.units"
		if p.Plan.PerHundred {
			what = "lot.plan.findings"
		}
		v.Plans = append(v.Plans, lotPlanView{p, l.T("lot.page.count_of", "severity", "@severity."+string(p.Severity), "count",
			strconv.Itoa(p.Count), "ac", strconv.Itoa(p.Plan.Ac), "re", strconv.Itoa(p.Plan.Re)),
			l.T(what), countMeter(p), doneMeter(p)})
	}
	return v
}

// lotLine says in a sentence how a lot stands.
func (x words) lotLine(st LotState) string {
	switch {
	case st.Decided != nil:
		return x.T("lot.line."+string(st.State), "by", st.Decided.By)
	case st.State == lots.StateToDraw:
		return x.T("lot.line.undrawn")
	}
	for _, p := range st.Plans {
		if p.Stand() == lots.StandReached {
			key := "lot.line.reached"
			if st.Left == 0 {
				key = "lot.line.reached_done"
			}
			return x.T(key, "severity", "@severity."+string(p.Severity), "count", strconv.Itoa(p.Count), "re", strconv.Itoa(p.Plan.Re))
		}
	}
	if st.State == lots.StateToDecide {
		return x.T("lot.line.done", "n", strconv.Itoa(st.N))
	}
	return x.T("lot.line.open", "taken", strconv.Itoa(st.Taken), "n", strconv.Itoa(st.N))
}

// countMeter draws a count on its way from 0 to Re: what is counted is filled, a
// line stands at Ac. The sentence beside it says the same.
func countMeter(p lots.Standing) template.HTML {
	const w = 200.0
	at := func(n int) float64 { return w * min(float64(n)/float64(max(p.Plan.Re, 1)), 1) }
	class := "in"
	if p.Count >= p.Plan.Re {
		class = "over"
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg class="meter" viewBox="-3 0 %g 30" aria-hidden="true" focusable="false" preserveAspectRatio="none">`, w+6)
	fmt.Fprintf(&b, `<rect class="track" x="0" y="7" width="%g" height="16"/><rect class="%s" x="0" y="7" width="%.1f" height="16"/>`, w,
		class, at(p.Count))
	if p.Plan.Ac+1 < p.Plan.Re {
		fmt.Fprintf(&b, `<path class="mark gap" d="M%.1f 2v26"/>`, at(p.Plan.Ac))
	}
	fmt.Fprintf(&b, `<path class="mark" d="M%g 1v28"/></svg>`, w)
	return template.HTML(b.String())
}

// doneMeter draws how much of the sample was looked at.
func doneMeter(p lots.Standing) template.HTML {
	const w = 200.0
	return template.HTML(fmt.Sprintf(`<svg class="meter" viewBox="-3 0 %g 30" aria-hidden="true" focusable="false" preserveAspectRatio="none"><rect class="track" x="0" y="7" width="%g" height="16"/><rect class="done" x="0" y="7" width="%.1f" height="16"/></svg>`,
		w+6, w, w*min(float64(p.Looked)/float64(max(p.Plan.N, 1)), 1)))
}

// lotState reads a lot, or tells what is wrong.
func (s *Server) lotState(w http.ResponseWriter, r *http.Request) (LotState, bool) {
	if !s.lots(w, r) {
		return LotState{}, false
	}
	st, err := s.b.Lots.Lot(r.Context(), r.PathValue("name"))
	if err != nil {
		s.lotFault(w, r, err)
	}
	return st, err == nil
}

// lotFault tells that there is no such lot, or what else is wrong.
func (s *Server) lotFault(w http.ResponseWriter, r *http.Request, err error) {
	if errors.Is(err, ErrNoLot) {
		s.wrong(w, r, http.StatusNotFound, "lot.page.unknown")
		return
	}
	s.fault(w, r, err)
}

func (s *Server) lotPage(w http.ResponseWriter, r *http.Request, x session) {
	st, ok := s.lotState(w, r)
	if !ok {
		return
	}
	l := s.lang(r)
	body, err := page{Lang: l, View: s.lotView(l, st, x)}.render("lot")
	if err != nil {
		s.fault(w, r, err)
		return
	}
	s.whole(w, r, http.StatusOK, x, l.T("lot.page.lot", "lot", st.Name), body, withAll)
}

// lotEvery is how often a lot that is shown is asked for: units of it may be
// inspected at another bench.
const lotEvery = time.Second

// lotCache asks for a lot once, however many watch it.
type lotCache struct {
	mu sync.Mutex
	by map[string]cachedLot
}

type cachedLot struct {
	made  time.Time
	state LotState
	err   error
}

func (c *lotCache) get(now time.Time, name string, read func() (LotState, error)) (LotState, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if old, ok := c.by[name]; ok && now.Sub(old.made) < lotEvery*9/10 {
		return old.state, old.err
	}
	st, err := read()
	for n, old := range c.by {
		if now.Sub(old.made) > time.Minute {
			delete(c.by, n)
		}
	}
	if c.by == nil {
		c.by = map[string]cachedLot{}
	}
	c.by[name] = cachedLot{now, st, err}
	return st, err
}

// lotEvent is what the script gets.
type lotEvent struct {
	HTML  template.HTML `json:"html"`
	State lots.State    `json:"state"`
	Seq   int64         `json:"seq"`
}

// lotEvents sends a lot's state each time that it has changed.
func (s *Server) lotEvents(w http.ResponseWriter, r *http.Request, x session) {
	if _, ok := s.lotState(w, r); !ok {
		return
	}
	wake, ok := s.b.hub.join()
	if !ok {
		s.wrong(w, r, http.StatusServiceUnavailable, "lost_server")
		return
	}
	defer s.b.hub.leave(wake)
	l, name := s.lang(r), r.PathValue("name")
	send, ok := s.stream(w)
	if !ok {
		return
	}
	seen, beat := "", time.NewTicker(heartbeat)
	defer beat.Stop()
	look := time.NewTicker(lotEvery)
	defer look.Stop()
	for s.still(x, send) {
		st, err := s.lotsShown.get(time.Now(), name, func() (LotState, error) { return s.b.Lots.Lot(r.Context(), name) })
		if err == nil {
			html, err := page{Lang: l, View: s.lotView(l, st, x)}.render("lotlive")
			if err != nil {
				s.b.Log("%v", err)
				return
			}
			if string(html) != seen {
				data, _ := json.Marshal(lotEvent{html, st.State, st.Seq})
				if !send(fmt.Appendf(nil, "event: lot\ndata: %s\n\n", data)) {
					return
				}
				seen = string(html)
			}
		}
	wait:
		select {
		case <-r.Context().Done():
			return
		case _, ok := <-wake:
			if !ok {
				return
			}
			goto wait // the bench's own state: what it means for a lot is seen within the second
		case <-look.C:
		case <-beat.C:
			if !send([]byte("event: beat\ndata: \n\n")) {
				return
			}
			goto wait
		}
	}
}

type lotMoreView struct {
	LotMore
	Figures []lotFigureView
}

type lotFigureView struct {
	Title, Caption string
	SVG            template.HTML
}

// lotMore serves the part with sentences and plots.
func (s *Server) lotMore(w http.ResponseWriter, r *http.Request, _ session) {
	if !s.lots(w, r) {
		return
	}
	l := s.lang(r)
	m, err := s.b.Lots.More(r.Context(), l, r.PathValue("name"))
	if err != nil {
		s.lotFault(w, r, err)
		return
	}
	v := lotMoreView{LotMore: m}
	for _, f := range m.Figures {
		v.Figures = append(v.Figures, lotFigureView{f.Title, f.Caption, plotPart(f.SVG)})
	}
	html, err := page{Lang: l, View: v}.render("lotmore")
	if err != nil {
		s.fault(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = w.Write([]byte(html))
}

func (s *Server) lotReport(w http.ResponseWriter, r *http.Request, _ session) {
	if !s.lots(w, r) {
		return
	}
	format := r.URL.Path[strings.LastIndex(r.URL.Path, ".")+1:]
	name := r.PathValue("name")
	data, mime, err := s.b.Lots.Report(r.Context(), s.lang(r), name, format)
	if err != nil {
		s.lotFault(w, r, err)
		return
	}
	h := w.Header()
	h.Set("Content-Type", mime)
	h.Set("Content-Length", strconv.Itoa(len(data)))
	h.Set("Content-Disposition", "attachment; filename*=UTF-8''"+url.PathEscape(name+"."+format))
	_, _ = w.Write(data)
}

// maxSignature bounds a name.
const maxSignature = 80

// lotDecide takes a signed step.
func (s *Server) lotDecide(w http.ResponseWriter, r *http.Request, x session) {
	if !s.lots(w, r) {
		return
	}
	f, l, name := r.PostForm, s.lang(r), r.PathValue("name")
	seq, err := strconv.ParseInt(f.Get("seq"), 10, 64)
	d := LotStep{What: f.Get("what"), By: cmp.Or(x.Name, cleanText(f.Get("by"), maxSignature)),
		Note: cleanText(f.Get("note"), maxNote), Seq: seq,
		Out:  strings.FieldsFunc(f.Get("taken_out"), func(r rune) bool { return r == ',' || unicode.IsSpace(r) }),
		Unit: f.Get("unit"), Route: lots.Route(f.Get("route")), Reference: cleanText(f.Get("reference"), maxNote)}
	switch {
	case err != nil:
		s.wrong(w, r, http.StatusBadRequest, "wrong.form")
		return
	case d.What == "dispose" && (d.Unit == "" || d.Route == ""):
		s.wrong(w, r, http.StatusBadRequest, "lot.page.dispose.chosen")
		return
	case !slices.Contains([]string{"accept", "refuse", "screen", "return", "dispose"}, d.What):
		s.wrong(w, r, http.StatusBadRequest, "lot.page.chosen")
		return
	case d.By == "":
		s.wrong(w, r, http.StatusBadRequest, "lot.page.unsigned")
		return
	case f.Get("sure") == "" && d.What != "dispose":
		s.wrong(w, r, http.StatusBadRequest, "lot.page.unsure")
		return
	}
	err = s.b.Lots.Decide(r.Context(), name, d)
	var no *part.Trouble
	switch {
	case errors.Is(err, ErrLotMoved):
		s.wrong(w, r, http.StatusConflict, "lot.page.stale")
	case errors.As(err, &no):
		s.wrongText(w, r, http.StatusConflict, l.T("lot.page.refused", "why", l.Say(&no.Phrase)))
	case err != nil:
		s.lotFault(w, r, err)
	case r.Header.Get("X-Script") != "":
		w.WriteHeader(http.StatusNoContent)
	default:
		http.Redirect(w, r, lotPath(name), http.StatusSeeOther)
	}
}
