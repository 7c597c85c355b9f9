package bench

import (
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"finishbench/internal/part"
	"finishbench/internal/scan"
)

// readScan tells what the keys of a scan name; a phrase where they name nothing.
func (s *Server) readScan(f url.Values) (scan.Code, *part.Phrase) {
	c, err := s.Scans.Read(f.Get("text"), f.Get("places"))
	var p scan.Problem
	if errors.As(err, &p) {
		return c, &p.Phrase
	}
	return c, nil
}

// scanOf is a scan's event; a phrase where it is none. turn is what the page showed when the first
// key came: a scan that began before the verdict was there does not take it away.
func (s *Server) scanOf(f url.Values, now *Snapshot, turn int64) (Scan, *part.Phrase) {
	c, no := s.readScan(f)
	if no != nil {
		return Scan{}, no
	}
	if now.Phase == Answered && turn >= 0 && turn != now.Turn {
		p := part.Say("wrong.scan_early", "code", c.Name())
		return Scan{}, &p
	}
	after, _ := strconv.ParseFloat(f.Get("after"), 64)
	return Scan{c, f.Get("give_up"), time.Duration(max(0, min(after, 1e6)) * float64(time.Millisecond))}, nil
}

// scan takes what was scanned at the bench. A badge is a person's sign-in, at a station that has
// people: then the page is told to sign in by it.
func (s *Server) scan(w http.ResponseWriter, r *http.Request, now *Snapshot, turn int64) {
	e, no := s.scanOf(r.PostForm, now, turn)
	switch {
	case no != nil:
		s.wrongText(w, r, http.StatusConflict, s.lang(r).Say(no))
	case s.People != nil && e.Kind == scan.Badge:
		w.Header().Set("X-Sign-In", "1")
		s.wrong(w, r, http.StatusConflict, "signin.title")
	default:
		s.send(w, r, -1, e)
	}
}

// lightScan takes a scan on the light page. That shows no words, so that the bench's page tells
// what is refused. It never gives a unit up.
func (s *Server) lightScan(w http.ResponseWriter, r *http.Request, _ session) {
	e, no := s.scanOf(r.PostForm, s.b.Snapshot(), -1)
	if no == nil && s.People != nil && e.Kind == scan.Badge {
		p := part.Say("signin.at_light", "badge", e.Name())
		no = &p
	}
	if no == nil {
		e.GiveUp = ""
		var ask asking
		var said *part.Trouble
		switch err := s.b.Send(r.Context(), -1, e); {
		case errors.As(err, &ask):
			no = &ask.Phrase
		case errors.As(err, &said):
			no = &said.Phrase
		}
	}
	if no != nil {
		_ = s.b.Send(r.Context(), -1, Say{*no}) // where it cannot be told the program ends
		s.wrongText(w, r, http.StatusConflict, s.lang(r).Say(no))
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

// ask has the page ask about a scan while a unit is under way.
func (s *Server) ask(w http.ResponseWriter, r *http.Request, a asking) {
	w.Header().Set("X-Ask", url.PathEscape(a.under))
	w.Header().Set("X-Scanned", url.PathEscape(a.scanned))
	s.wrongText(w, r, http.StatusConflict, s.lang(r).Say(&a.Phrase))
}

// scannedView is what a page that takes no scans says of one.
type scannedView struct {
	Say  string `json:"say"`
	Kind string `json:"kind,omitempty"`
	Code string `json:"code,omitempty"`
	Href string `json:"href,omitempty"` // where it is looked up
	Word string `json:"word,omitempty"` // of that link
	Sign bool   `json:"sign,omitempty"` // it signs somebody in
}

// scanned tells other pages what was scanned. It changes nothing.
func (s *Server) scanned(w http.ResponseWriter, r *http.Request, _ session) {
	l := s.lang(r)
	var v scannedView
	if c, no := s.readScan(r.URL.Query()); no != nil {
		v.Say = l.Say(no)
	} else {
		p := part.Say("scan.elsewhere", "kind", "@scan.kind."+string(c.Kind), "code", c.Name())
		v = scannedView{Say: l.Say(&p), Kind: string(c.Kind), Code: c.Name()}
		switch {
		case c.Kind == scan.Badge:
			v.Sign = s.People != nil
		case c.Kind == scan.Unit:
			v.Href, v.Word = unitHref(c.Name()), l.T("nav.unit")
		case c.Kind == scan.Lot && s.b.Lots != nil:
			v.Href, v.Word = lotPath(c.Value), l.T("lot.page.title")
		}
	}
	data, err := json.Marshal(v)
	if err != nil {
		s.fault(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	_, _ = w.Write(data)
}
