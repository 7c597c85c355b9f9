package bench

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strconv"
	"time"
)

// lightRoutes adds the page that lights the bench from a screen. It is let in as
// every page of the bench is, as it is opened on another device; all it can change is
// what is known of its own screen, and which unit is next. Nobody need be signed in on it.
func (s *Server) lightRoutes() {
	s.on("GET /light.css", s.asset("light.css", "text/css; charset=utf-8"))
	s.on("GET /light.js", s.asset("light.js", "text/javascript; charset=utf-8"))
	s.on("GET /light", s.light)
	s.on("GET /light/events", s.lightEvents)
	s.on("POST /light/state", s.lightState)
	s.on("POST /light/scan", s.lightScan)
}

// lightView is a light page: its name among the screens, and its cautions.
type lightView struct {
	Screen   string
	Cautions []string
}

func (s *Server) light(w http.ResponseWriter, r *http.Request, x session) {
	l := s.lang(r)
	v := lightView{Screen: token()}
	for i := 1; l.Has("screen.caution." + strconv.Itoa(i)); i++ {
		v.Cautions = append(v.Cautions, l.T("screen.caution."+strconv.Itoa(i)))
	}
	html, err := page{Lang: l, Title: l.T("screen.title"), CSRF: x.csrf, Theme: oneOf(cookie(r, cookieTheme), themes), Boot: s.boot,
		View: v}.render("light")
	if err != nil {
		s.fault(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = w.Write([]byte(html))
}

// maxScreenName bounds a page's name, a token().
const maxScreenName = 64

// lightEvents sends a light page what it is to show, as it is asked for.
func (s *Server) lightEvents(w http.ResponseWriter, r *http.Request, x session) {
	id := r.URL.Query().Get("screen")
	if id == "" || len(id) > maxScreenName {
		s.wrong(w, r, http.StatusBadRequest, "wrong.form")
		return
	}
	wake, ok := s.b.Screens.join(id)
	if !ok {
		s.wrong(w, r, http.StatusServiceUnavailable, "wrong.many")
		return
	}
	defer s.b.Screens.leave(id, wake)
	send, ok := s.stream(w)
	if !ok {
		return
	}
	beat := time.NewTicker(heartbeat)
	defer beat.Stop()
	for sent := int64(-1); s.still(x, send); {
		if a := s.b.Screens.current(); a.Number != sent {
			data, err := json.Marshal(a)
			if err != nil {
				s.b.Log("%v", err)
				return
			}
			if !send(fmt.Appendf(nil, "event: show\ndata: %s\n\n", data)) {
				return
			}
			sent = a.Number
		}
		select {
		case <-r.Context().Done():
			return
		case _, ok := <-wake:
			if !ok {
				return
			}
		case <-beat.C:
			if !send([]byte("event: beat\ndata: \n\n")) {
				return
			}
		}
	}
}

// lightState takes what a light page says of itself: at each change, and every five
// seconds.
func (s *Server) lightState(w http.ResponseWriter, r *http.Request, _ session) {
	f := r.PostForm
	painted, err := strconv.ParseInt(f.Get("painted"), 10, 64)
	pxPerMM, err2 := strconv.ParseFloat(f.Get("px_per_mm"), 64)
	if err != nil || err2 != nil || !(pxPerMM >= 0 && pxPerMM <= 1000) {
		s.wrong(w, r, http.StatusBadRequest, "wrong.form")
		return
	}
	s.b.Screens.tell(f.Get("screen"), screenState{painted: painted, lit: f.Get("lit") == "1", hidden: f.Get("hidden") == "1",
		pxPerMM: pxPerMM, doubt: f.Get("doubt") == "1"})
	w.WriteHeader(http.StatusNoContent)
}
