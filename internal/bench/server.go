package bench

import (
	"bytes"
	"cmp"
	"embed"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"maps"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/people"
	"finishbench/internal/report"
	"finishbench/internal/scan"
)

//go:embed bench.css bench.js scan.js quiz.css quiz.js lot.css lot.js light.css light.js
var assets embed.FS

// Options say how the page is served.
type Options struct {
	Languages  *lang.Languages
	Language   string        // of browsers that ask for none; "": English
	PedalKeys  []string      // names of keys, as browsers call them, that start like the space bar
	Scans      scan.Rules    // what readers send
	Shifts     []string      // times of day at which shifts begin, "06:00", in order; nil: not told
	Passphrase *people.Hash  // nil: everyone who reaches the server is let in
	People     *people.File  // nil: the station has none, and whoever is let in may do everything
	Idle       time.Duration // after which a person who does nothing is signed out; 0: [idleTime]
	Hosts      []string      // names by which the bench is called, beside localhost and addresses
	Secure     bool          // served over TLS
}

// Bounds of what a request may hold, bytes, and of time.
const (
	maxForm       = 16 << 10
	heartbeat     = 5 * time.Second
	eventDeadline = 5 * time.Second // a browser that takes no event for so long is dropped
	// Least time between two events of the same turn: no eye follows more, and each costs as often as there are browsers.
	eventPace = 100 * time.Millisecond
)

// Server shows a station to browsers.
type Server struct {
	Options
	b         *Station
	boot      string
	key       []byte // of the forms' tokens
	sessions  sessions
	tries     tries
	takers    takers
	hashing   chan struct{} // one passphrase at a time: hashing takes 64 MiB
	cache     partCache
	aids      aidCache
	lotsShown lotCache
	mux       *http.ServeMux
}

// NewServer returns the handler of a station's page.
func NewServer(b *Station, o Options) *Server {
	if o.Idle == 0 {
		o.Idle = idleTime
	}
	s := &Server{Options: o, b: b, boot: token()[:12], key: []byte(token()), hashing: make(chan struct{}, 1), mux: http.NewServeMux()}
	s.on("GET /bench.css", s.asset("bench.css", "text/css; charset=utf-8"))
	s.on("GET /bench.js", s.asset("bench.js", "text/javascript; charset=utf-8"))
	s.on("GET /scan.js", s.asset("scan.js", "text/javascript; charset=utf-8"))
	s.on("GET /palette.css", fixed([]byte(report.PaletteCSS()), "text/css; charset=utf-8"))
	s.on("GET /icon.svg", fixed([]byte(strings.Replace(string(report.VerdictSign(part.Pass)), "<svg ",
		`<svg xmlns="http://www.w3.org/2000/svg" `, 1)), "image/svg+xml"))
	s.on("GET /login", s.loginPage)
	s.on("POST /login", s.login)
	s.on("POST /leave", s.leave)
	s.on("GET /signin", s.signInPage)
	s.on("POST /signin", s.signIn)
	s.on("POST /signout", s.signOut)
	s.on("GET /here", s.here)
	s.on("GET /{$}", s.home)
	s.on("GET /events", s.events)
	s.on("GET /live/{camera}", s.livePicture)
	s.on("GET /answer/{id}/{file}", s.answerPicture)
	s.on("GET /answer/{id}/ticket.pdf", s.ticket)
	s.on("GET /record/{sha}", s.recordPicture)
	s.on("GET /look", s.look)
	s.on("GET /scan", s.scanned)
	s.on("GET /shift", s.shift)
	s.on("POST /seen", s.seen)
	s.on("POST /set", s.set)
	for _, what := range []string{"press", "edit", "cancel", "retry", "scan", "undo", "restore", "overrule"} {
		s.on("POST /do/"+what, s.do(what))
	}
	s.lotRoutes()
	s.lightRoutes()
	s.quizRoutes()
	s.atlasRoutes()
	s.mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) { s.wrong(w, r, http.StatusNotFound, "wrong.not_found") })
	return s
}

// ServeHTTP checks a request's host and sets the headers that all answers have.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy",
		"default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; base-uri "+
			"'none'; frame-ancestors 'none'")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("X-Frame-Options", "DENY")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=()")
	h.Set("Cache-Control", "no-store")
	if s.Secure {
		h.Set("Strict-Transport-Security", "max-age=31536000")
	}
	if !s.hostOK(r.Host) {
		s.wrong(w, r, http.StatusMisdirectedRequest, "wrong.host")
		return
	}
	// No other site's page may make this one do anything.
	if new(http.CrossOriginProtection).Check(r) != nil {
		s.wrong(w, r, http.StatusForbidden, "wrong.forbidden")
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, maxForm)
	s.mux.ServeHTTP(w, r)
}

// hostOK says whether a name is the bench's own. An address is: who asks for an
// address was not led here by a name that someone else points at the bench.
func (s *Server) hostOK(host string) bool {
	name := host
	if h, _, err := net.SplitHostPort(host); err == nil {
		name = h
	}
	name = strings.TrimSuffix(strings.ToLower(strings.Trim(name, "[]")), ".")
	if name == "localhost" || net.ParseIP(name) != nil {
		return true
	}
	return name != "" && slices.ContainsFunc(s.Hosts, func(h string) bool { return strings.EqualFold(h, name) })
}

// years is how long a browser keeps what was chosen.
const years = 10 * 365 * 24 * time.Hour

// Cookies.
const (
	cookieSession = "finishbench"
	cookieLang    = "lang"
	cookieTheme   = "theme"
	cookieSound   = "sound"
	cookieSeen    = "seen"
)

// setCookie sets a cookie that also comes along where a link of another page leads here: without
// its session such a browser would be sent in a circle. What changes anything wants the session's
// token too, and no other site's page.
func (s *Server) setCookie(w http.ResponseWriter, name, value string, lasts time.Duration, hidden bool) {
	http.SetCookie(w, &http.Cookie{Name: name, Value: value, Path: "/", MaxAge: int(lasts.Seconds()), HttpOnly: hidden, Secure: s.Secure,
		SameSite: http.SameSiteLaxMode})
}

func cookie(r *http.Request, name string) string {
	c, err := r.Cookie(name)
	if err != nil {
		return ""
	}
	return c.Value
}

// lang is the language of a request.
func (s *Server) lang(r *http.Request) *lang.Lang {
	want := cookie(r, cookieLang)
	accept := r.Header.Get("Accept-Language")
	if accept == "" || accept == "*" {
		accept = s.Language
	}
	return s.Languages.Choose(want, accept)
}

// oneOf is the value where it is one of the list, else the list's first.
func oneOf(v string, list []string) string {
	if slices.Contains(list, v) {
		return v
	}
	return list[0]
}

// frame is what stands around a page's middle.
type frame int

const (
	withAll    frame = iota
	withoutNav       // locked, or something went wrong
	firstRun         // nor the cautions at the foot: they are the page
)

// whole writes a page around its middle.
func (s *Server) whole(w http.ResponseWriter, r *http.Request, status int, x session, title string, body template.HTML, f frame) {
	p := page{
		Lang: s.lang(r), Title: title, CSRF: x.csrf, Theme: oneOf(cookie(r, cookieTheme), themes),
		Sound: oneOf(cookie(r, cookieSound), sounds),
		Pedal: strings.Join(s.PedalKeys, " "), Path: r.URL.Path, Boot: s.boot, Langs: s.Languages.All(), Locked: s.Passphrase != nil,
		Bare: f != withAll, Viewer: x.viewer, Here: x.here(), Quiz: s.b.Quizzes != nil, Atlas: s.b.Atlas != nil,
		First: f == firstRun, Body: body,
	}
	if p.Bare {
		p.Path = "/login"
	}
	html, err := p.render("shell")
	if err != nil {
		s.b.Log("%v", err)
		http.Error(w, http.StatusText(http.StatusInternalServerError), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write([]byte(html))
}

// wrong says what did not work: as a page to people, in a line to the script.
func (s *Server) wrong(w http.ResponseWriter, r *http.Request, status int, key string) {
	s.wrongText(w, r, status, s.lang(r).T(key))
}

func (s *Server) wrongText(w http.ResponseWriter, r *http.Request, status int, text string) {
	if r.Header.Get("X-Script") != "" || !strings.Contains(r.Header.Get("Accept"), "text/html") {
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		w.WriteHeader(status)
		_, _ = w.Write([]byte(text))
		return
	}
	x, _ := s.session(r)
	body, err := page{Lang: s.lang(r), View: text}.render("wrong")
	if err != nil {
		s.b.Log("%v", err)
	}
	s.whole(w, r, status, x, text, body, withoutNav)
}

// asset serves an embedded file.
func (s *Server) asset(name, mime string) handler {
	data, err := assets.ReadFile(name)
	if err != nil {
		panic("bench: " + err.Error()) // embedded at build time
	}
	return fixed(data, mime)
}

func fixed(data []byte, mime string) handler {
	return func(w http.ResponseWriter, _ *http.Request, _ session) {
		w.Header().Set("Content-Type", mime)
		w.Header().Set("Cache-Control", "no-cache")
		_, _ = w.Write(data)
	}
}

func (s *Server) seen(w http.ResponseWriter, r *http.Request, _ session) {
	s.setCookie(w, cookieSeen, "1", untilShift(s.b.Parts.Now(), s.Shifts), true)
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// untilShift is the time until the next shift begins; where shifts are not told, half a day.
func untilShift(now time.Time, shifts []string) time.Duration {
	least := 12 * time.Hour
	if len(shifts) > 0 {
		least = 24 * time.Hour
	}
	for _, s := range shifts {
		at, err := time.ParseInLocation("2006-01-02 15:04", now.Format("2006-01-02 ")+s, now.Location())
		if err != nil {
			continue
		}
		if !at.After(now) {
			at = at.AddDate(0, 0, 1)
		}
		least = min(least, at.Sub(now))
	}
	return least
}

func (s *Server) set(w http.ResponseWriter, r *http.Request, _ session) {
	if l := s.Languages.ByTag(r.PostForm.Get("lang")); l != nil {
		s.setCookie(w, cookieLang, l.Tag, years, true)
	}
	s.setCookie(w, cookieTheme, oneOf(r.PostForm.Get("theme"), themes), years, true)
	s.setCookie(w, cookieSound, oneOf(r.PostForm.Get("sound"), sounds), years, true)
	http.Redirect(w, r, ownPage(r.PostForm.Get("back")), http.StatusSeeOther)
}

// cautionsView is the page before the first unit of a shift.
type cautionsView struct {
	Token string
	Alone bool // nobody signs in at this station
}

func (s *Server) home(w http.ResponseWriter, r *http.Request, x session) {
	l := s.lang(r)
	if cookie(r, cookieSeen) == "" {
		body, err := page{Lang: l, View: cautionsView{x.csrf, s.People == nil}}.render("cautions")
		if err != nil {
			s.b.Log("%v", err)
		}
		s.whole(w, r, http.StatusOK, x, l.T("cautions.title"), body, firstRun)
		return
	}
	c, err := s.cache.get(s.b, l, x.viewer)
	if err != nil {
		s.fault(w, r, err)
		return
	}
	s.whole(w, r, http.StatusOK, x, l.T("title"), c.html, withAll)
}

func (s *Server) fault(w http.ResponseWriter, r *http.Request, err error) {
	s.b.Log("%v", err)
	s.wrong(w, r, http.StatusInternalServerError, "problem.fault")
}

// do carries out what a person wants of the station.
func (s *Server) do(what string) handler {
	return func(w http.ResponseWriter, r *http.Request, x session) {
		f := r.PostForm
		turn, err := strconv.ParseInt(f.Get("turn"), 10, 64)
		if err != nil {
			s.wrong(w, r, http.StatusBadRequest, "wrong.form")
			return
		}
		now := s.b.Snapshot()
		if x.Name != "" { // whoever starts a unit is its operator
			f.Del("operator")
		}
		by := cmp.Or(x.Name, now.Unit.Operator)
		var events []Event
		switch what {
		case "press":
			if f.Has("serial") && now.Phase == Ready {
				events = append(events, editOf(f, now))
			}
			events = append(events, Press{x.Name})
		case "edit":
			events = append(events, editOf(f, now))
		case "cancel":
			events = append(events, Cancel{})
		case "retry":
			events = append(events, Retry{x.Name})
		case "scan":
			s.scan(w, r, now, turn)
			return
		case "undo", "restore":
			id, err := strconv.ParseInt(f.Get("id"), 10, 64)
			if err != nil {
				s.wrong(w, r, http.StatusBadRequest, "wrong.form")
				return
			}
			if what == "undo" {
				events = append(events, Undo{by, id})
			} else {
				events = append(events, Restore{by, id})
			}
		case "overrule":
			by := cmp.Or(x.Name, cleanText(f.Get("by"), scan.MostName))
			events = append(events, Overruling{part.Overrule{By: by, Verdict: part.Verdict(f.Get("verdict")), Reason: f.Get("reason"),
				Note: cleanText(f.Get("note"), maxNote)}})
		}
		s.send(w, r, turn, events...)
	}
}

// send hands what a person wants to the station, and tells what is refused.
func (s *Server) send(w http.ResponseWriter, r *http.Request, turn int64, events ...Event) {
	err := s.b.Send(r.Context(), turn, events...)
	after := s.b.Snapshot()
	w.Header().Set("X-Version", strconv.FormatInt(after.Version, 10)) // the page shows none older
	w.Header().Set("X-Turn", strconv.FormatInt(after.Turn, 10))       // what a press after it goes by
	var no *part.Trouble
	var ask asking
	switch {
	case errors.As(err, &ask):
		s.ask(w, r, ask)
	case errors.As(err, &no):
		s.wrongText(w, r, http.StatusConflict, s.lang(r).Say(&no.Phrase))
	case err != nil:
		s.wrong(w, r, http.StatusServiceUnavailable, "lost_server")
	case r.Header.Get("X-Script") != "":
		w.WriteHeader(http.StatusNoContent)
	default:
		http.Redirect(w, r, "/", http.StatusSeeOther)
	}
}

// editOf is what was typed; what the form has no word on stays as it is.
func editOf(f url.Values, now *Snapshot) Edit {
	e := Edit{now.Unit, now.Follow}
	stage := string(e.Unit.Stage)
	for name, v := range map[string]*string{"serial": &e.Unit.Serial, "side": &e.Unit.Side, "stage": &stage, "lot": &e.Unit.Lot,
		"operator": &e.Unit.Operator, "faceplate": &e.Unit.Faceplate, "follow": &e.Follow} {
		if f.Has(name) {
			*v = f.Get(name)
		}
	}
	e.Unit.Stage = part.Stage(stage)
	return e
}

// cachedPart is the middle of the page as last rendered.
type cachedPart struct {
	version int64
	turn    int64
	made    time.Time
	html    template.HTML
	event   []byte // the same, ready to be sent
}

// cacheFor is how long a part of the same state may be shown again: cameras and
// notices in it change by themselves.
const cacheFor = time.Second

// partCache renders a state once for each language and person, however many watch.
type partCache struct {
	mu sync.Mutex
	by map[partFor]cachedPart
}

type partFor struct {
	language string
	viewer
}

// event is what the script gets.
type event struct {
	HTML    template.HTML `json:"html"`
	Phase   Phase         `json:"phase"`
	Version int64         `json:"version"`
}

func (c *partCache) get(b *Station, l *lang.Lang, v viewer) (cachedPart, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := time.Now()
	s := b.Snapshot()
	this := partFor{l.Tag, v}
	old := c.by[this]
	if old.version == s.Version && now.Sub(old.made) < cacheFor {
		return old, nil
	}
	html, err := b.benchPart(words{l}, s, v)
	if err != nil {
		return cachedPart{}, err
	}
	if old.version == s.Version && old.html == html {
		old.made = now
		c.by[this] = old
		return old, nil
	}
	data, err := json.Marshal(event{html, s.Phase, s.Version})
	if err != nil {
		return cachedPart{}, err
	}
	if c.by == nil {
		c.by = map[partFor]cachedPart{}
	}
	maps.DeleteFunc(c.by, func(_ partFor, old cachedPart) bool { return now.Sub(old.made) > time.Minute })
	got := cachedPart{s.Version, s.Turn, now, html, data}
	c.by[this] = got
	return got, nil
}

// stream begins a stream of events, which says first which start of the program it
// is of. send writes one; it is false where the browser is gone.
func (s *Server) stream(w http.ResponseWriter) (send func([]byte) bool, ok bool) {
	h := w.Header()
	h.Set("Content-Type", "text/event-stream; charset=utf-8")
	h.Set("X-Accel-Buffering", "no")
	out := http.NewResponseController(w)
	send = func(b []byte) bool {
		_ = out.SetWriteDeadline(time.Now().Add(eventDeadline))
		_, err := w.Write(b)
		return err == nil && out.Flush() == nil
	}
	return send, send(fmt.Appendf(nil, "retry: 1000\nevent: hello\ndata: %s\n\n", s.boot))
}

// events sends each state as it comes. The id names the state, so that a
// browser that comes back is told only what it has not seen.
func (s *Server) events(w http.ResponseWriter, r *http.Request, x session) {
	wake, ok := s.b.hub.join()
	if !ok {
		s.wrong(w, r, http.StatusServiceUnavailable, "wrong.many")
		return
	}
	defer s.b.hub.leave(wake)
	l := s.lang(r)
	send, ok := s.stream(w)
	if !ok {
		return
	}
	seen := r.Header.Get("Last-Event-ID")
	if seen == "" {
		seen = r.URL.Query().Get("seen") // the state that the page came with
	}
	var shown template.HTML
	var sent time.Time
	s.sendAids(l, send) // at once, not with the next look
	beat := time.NewTicker(heartbeat)
	defer beat.Stop()
	look := time.NewTicker(cacheFor)
	defer look.Stop()
	for s.still(x, send) {
		c, err := s.cache.get(s.b, l, x.viewer)
		if err != nil {
			s.b.Log("%v", err)
			return
		}
		id := s.boot + "-" + strconv.FormatInt(c.version, 10)
		if id != seen || c.html != shown && shown != "" {
			if !send(fmt.Appendf(nil, "id: %s\nevent: state\ndata: %s\n\n", id, c.event)) {
				return
			}
			sent = time.Now()
		}
		seen, shown = id, c.html
		var soon <-chan time.Time
	wait:
		select {
		case <-r.Context().Done():
			return
		case _, ok := <-wake:
			if !ok {
				return
			}
			// A new turn is shown at once, what goes on within one in steps.
			if rest := eventPace - time.Since(sent); rest > 0 && s.b.Snapshot().Turn == c.turn {
				if soon == nil {
					soon = time.After(rest)
				}
				goto wait
			}
		case <-soon:
		case <-look.C:
			s.sendAids(l, send)
		case <-beat.C:
			if !send([]byte("event: beat\ndata: \n\n")) {
				return
			}
			goto wait
		}
	}
}

// sendAids sends what the live pictures say, while they are shown.
func (s *Server) sendAids(l *lang.Lang, send func([]byte) bool) {
	if p := s.b.Snapshot().Phase; p == Answered || p == Judging {
		return
	}
	if data := s.aids.get(s.b, l); data != nil {
		send(data)
	}
}

// aidCache makes the event of the live pictures once for each language, however
// many watch.
type aidCache struct {
	mu sync.Mutex
	by map[string]cachedAids
}

type cachedAids struct {
	made  time.Time
	event []byte
}

func (c *aidCache) get(b *Station, l *lang.Lang) []byte {
	c.mu.Lock()
	defer c.mu.Unlock()
	if old := c.by[l.Tag]; time.Since(old.made) < cacheFor/2 {
		return old.event
	}
	all := map[string]template.HTML{}
	for _, cam := range b.Shooter.Cameras() {
		_, aid, err := b.live.get(cam.Name)
		if err != nil {
			continue
		}
		if html, err := b.aidPart(words{l}, aid); err == nil {
			all[cam.Name] = html
		}
	}
	made := cachedAids{made: time.Now()}
	if data, err := json.Marshal(all); err == nil {
		made.event = fmt.Appendf(nil, "event: aids\ndata: %s\n\n", data)
	}
	if c.by == nil {
		c.by = map[string]cachedAids{}
	}
	c.by[l.Tag] = made
	return made.event
}

func (s *Server) livePicture(w http.ResponseWriter, r *http.Request, _ session) {
	camera := r.PathValue("camera")
	if !slices.ContainsFunc(s.b.Shooter.Cameras(), func(c CameraState) bool { return c.Name == camera }) {
		s.wrong(w, r, http.StatusNotFound, "wrong.not_found")
		return
	}
	data, _, err := s.b.live.get(camera)
	if err != nil || len(data) == 0 {
		w.WriteHeader(http.StatusServiceUnavailable)
		return
	}
	picture(w, data, "image/jpeg")
}

func picture(w http.ResponseWriter, data []byte, mime string) {
	w.Header().Set("Content-Type", mime)
	w.Header().Set("Content-Length", strconv.Itoa(len(data)))
	_, _ = w.Write(data)
}

// answerPicture serves the pictures of the latest answer.
func (s *Server) answerPicture(w http.ResponseWriter, r *http.Request, _ session) {
	a := s.b.Snapshot().Last
	id, err := strconv.ParseInt(r.PathValue("id"), 10, 64)
	if err != nil || a == nil || a.ID != id {
		s.wrong(w, r, http.StatusNotFound, "wrong.not_found")
		return
	}
	var data []byte
	file := r.PathValue("file")
	if n, ok := strings.CutPrefix(strings.TrimSuffix(file, ".jpg"), "crop-"); ok {
		if i, err := strconv.Atoi(n); err == nil && i >= 0 && i < len(a.Outcome.Crops) {
			data = a.Outcome.Crops[i].JPEG
		}
	} else if file == "main.jpg" {
		data = a.Outcome.Main
	}
	if len(data) == 0 {
		s.wrong(w, r, http.StatusNotFound, "wrong.not_found")
		return
	}
	w.Header().Set("Cache-Control", "private, max-age=3600")
	picture(w, data, "image/jpeg")
}

// pictureKinds are the kinds of stored pictures that a browser is given.
var pictureKinds = []string{"image/jpeg", "image/png", "image/bmp"}

func (s *Server) recordPicture(w http.ResponseWriter, r *http.Request, _ session) {
	sha := r.PathValue("sha")
	if b, err := hex.DecodeString(sha); err != nil || len(b) != 32 {
		s.wrong(w, r, http.StatusNotFound, "wrong.not_found")
		return
	}
	data, mime, err := s.b.Recorder.PictureBytes(r.Context(), sha)
	if err != nil || !slices.Contains(pictureKinds, mime) {
		s.wrong(w, r, http.StatusNotFound, "wrong.not_found")
		return
	}
	w.Header().Set("Cache-Control", "private, max-age=86400, immutable")
	picture(w, data, mime)
}

func (s *Server) look(w http.ResponseWriter, r *http.Request, x session) {
	l := s.lang(r)
	serial, _, _ := scan.Serial(r.URL.Query().Get("serial"))
	var past []part.Inspection
	if serial != "" {
		var err error
		if past, err = s.b.Recorder.History(r.Context(), serial); err != nil {
			s.fault(w, r, err)
			return
		}
	}
	body, err := page{Lang: l, View: s.b.lookView(words{l}, serial, past)}.render("look")
	if err != nil {
		s.fault(w, r, err)
		return
	}
	s.whole(w, r, http.StatusOK, x, l.T("look.title"), body, withAll)
}

// shift serves the sheet of the last twelve hours, or of the times asked for.
func (s *Server) shift(w http.ResponseWriter, r *http.Request, x session) {
	if s.b.Sheets == nil {
		s.wrong(w, r, http.StatusNotFound, "shift.none")
		return
	}
	to := s.b.Parts.Now()
	from := to.Add(-12 * time.Hour)
	for _, q := range []struct {
		name string
		t    *time.Time
	}{{"from", &from}, {"to", &to}} {
		if v := r.URL.Query().Get(q.name); v != "" {
			t, err := time.ParseInLocation(formTime, v, time.Local)
			if err != nil {
				s.wrong(w, r, http.StatusBadRequest, "wrong.form")
				return
			}
			*q.t = t
		}
	}
	data, err := s.b.Sheets.ShiftSheet(r.Context(), s.lang(r), from, to)
	if err != nil {
		s.fault(w, r, err)
		return
	}
	bar, err := page{Lang: s.lang(r), View: shiftView{from.Format(formTime), to.Format(formTime)}}.render("shiftbar")
	if err != nil {
		s.fault(w, r, err)
		return
	}
	s.sheet(w, r, x, data, bar)
}

//go:embed shiftbar.css
var shiftbarCSS string

// formTime is how a form's time field writes a time.
const formTime = "2006-01-02T15:04"

// shiftView is the bar above the shift sheet: the way back, and another span.
type shiftView struct{ From, To string }

// sheet answers with a page that stands by itself, its style and pictures inside, under a bar that
// is not printed. Its one script takes scans.
func (s *Server) sheet(w http.ResponseWriter, r *http.Request, x session, data []byte, bar template.HTML) {
	band, err := page{Lang: s.lang(r), Viewer: x.viewer, Here: x.here(), View: template.CSS(shiftbarCSS)}.render("scanband")
	if err != nil {
		s.fault(w, r, err)
		return
	}
	w.Header().Set("Content-Security-Policy",
		"default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'self'; connect-src 'self'; form-action 'self'; "+
			"base-uri 'none'; frame-ancestors 'none'")
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = w.Write(bytes.Replace(data, []byte("<body>"), []byte("<body>\n"+band+bar), 1))
}
