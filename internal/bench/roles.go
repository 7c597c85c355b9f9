package bench

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"finishbench/internal/people"
)

// need says who may use a route.
type need string

// The needs. At a station without people whoever is let in may use all.
const (
	anyone     need = "anyone"     // who reaches the server
	letIn      need = "let in"     // gave the passphrase, where one is asked for
	signedIn   need = "signed in"  // any of the station's people
	inspecting need = "inspecting" // inspectors and administrators
)

// routes says of each route who may use it. One that is not here is not served.
var routes = map[string]need{
	"GET /bench.css": anyone, "GET /bench.js": anyone, "GET /scan.js": anyone, "GET /palette.css": anyone, "GET /icon.svg": anyone,
	"GET /lot.css": anyone, "GET /lot.js": anyone, "GET /light.css": anyone, "GET /light.js": anyone, "GET /quiz.css": anyone,
	"GET /quiz.js": anyone, "GET /login": anyone, "POST /login": anyone,
	// What a browser chooses for itself, and the tablet that shines, at which nobody need be signed in.
	"POST /leave": letIn, "GET /signin": letIn, "POST /signin": letIn, "POST /signout": letIn, "POST /seen": letIn, "POST /set": letIn,
	"GET /light": letIn, "GET /light/events": letIn, "POST /light/state": letIn, "POST /light/scan": letIn,
	// Looking.
	"GET /{$}": signedIn, "GET /here": signedIn, "GET /events": signedIn, "GET /live/{camera}": signedIn,
	"GET /answer/{id}/{file}": signedIn, "GET /answer/{id}/ticket.pdf": signedIn, "GET /record/{sha}": signedIn, "GET /look": signedIn,
	"GET /scan": signedIn, "GET /shift": signedIn, "GET /atlas": signedIn, "GET /atlas/{kind}": signedIn,
	"GET /lot": signedIn, "GET /lot/{name}": signedIn, "GET /lot/{name}/events": signedIn, "GET /lot/{name}/more": signedIn,
	"GET /lot/{name}/report.pdf": signedIn, "GET /lot/{name}/report.xlsx": signedIn, "GET /lot/{name}/report.json": signedIn,
	// A unit's way, with the mistakes of a moment ago.
	"POST /do/press": signedIn, "POST /do/edit": signedIn, "POST /do/cancel": signedIn, "POST /do/retry": signedIn,
	"POST /do/scan": signedIn, "POST /do/undo": signedIn, "POST /do/restore": signedIn,
	// A judgement in place of the tool's, and signatures.
	"POST /do/overrule": inspecting, "POST /lot/{name}/decide": inspecting,
	// Tests: each takes its own. Another's progress is for trainers: see quizWho.
	"GET /quiz": signedIn, "POST /quiz/begin": signedIn, "POST /quiz/progress": signedIn, "GET /quiz/take/{attempt}": signedIn,
	"POST /quiz/take/{attempt}": signedIn, "GET /quiz/take/{attempt}/{showing}/{picture}": signedIn,
	"GET /quiz/result/{attempt}": signedIn, "GET /quiz/certificate/{attempt}": signedIn,
}

// has says whether a role does for a need.
func (n need) has(r people.Role) bool {
	return n != inspecting || r == people.Inspector || r == people.Administrator
}

// viewer is for whom a page is made.
type viewer struct {
	Name string // who is signed in; "": nobody, or the station has no people
	Role people.Role
}

// MayInspect says whether the viewer may overrule and sign.
func (v viewer) MayInspect() bool { return v.Name == "" || inspecting.has(v.Role) }

// MayTrain says whether the viewer may see how others do in tests.
func (v viewer) MayTrain() bool {
	return v.Name == "" || v.Role == people.Trainer || v.Role == people.Administrator
}

// session is a request's browser, and who is signed in there.
type session struct {
	id, csrf string
	viewer
}

// here is what a page asks by whether its viewer is still signed in; "": nobody is.
func (v viewer) here() string {
	if v.Name == "" {
		return ""
	}
	return url.Values{"name": {v.Name}, "role": {string(v.Role)}}.Encode()
}

type handler = func(http.ResponseWriter, *http.Request, session)

// on serves a route to those who may use it. What changes something carries the session's token.
func (s *Server) on(pattern string, h handler) {
	who, known := routes[pattern]
	if !known {
		panic("bench: nobody may use " + pattern) // add it to routes
	}
	s.mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) {
		x, ok := s.session(r)
		switch {
		case who == anyone:
		case !ok:
			s.lockedOut(w, r)
			return
		case who == letIn || s.People == nil:
		case x.Name == "":
			s.signedOut(w, r)
			return
		case !who.has(x.Role):
			l := s.lang(r)
			s.wrongText(w, r, http.StatusForbidden, l.T("wrong.role", "who", x.Name, "role", "@role."+string(x.Role)))
			return
		}
		if r.Method == http.MethodPost && who != anyone && !s.formOK(w, r, x) {
			return
		}
		h(w, r, x)
	})
}

// idleTime is after how long a person who does nothing is signed out; common practice, no source.
const idleTime = 15 * time.Minute

// session tells which browser a request is of, and who is signed in there; false where it is not
// let in.
func (s *Server) session(r *http.Request) (session, bool) {
	id := cookie(r, cookieSession)
	if id == "" {
		return session{}, false
	}
	acts := r.Method == http.MethodPost || isPage(r)
	if strings.HasPrefix(r.URL.Path, "/light/") { // its script's
		acts = false
	}
	return s.sessionOf(id, acts)
}

// sessionOf is session by its cookie; acts says that a person does something.
func (s *Server) sessionOf(id string, acts bool) (session, bool) {
	x := session{id: id, csrf: s.formToken(id)}
	name, ok := s.sessions.get(id, s.b.Parts.Now(), s.Idle, func(who string) bool {
		// Who waits for the pictures of his unit is there.
		now := s.b.Snapshot()
		return acts || (now.Phase == Shooting || now.Phase == Judging) && now.Unit.Operator == who
	})
	if name != "" && s.People != nil {
		list, _ := s.People.List()
		if i := list.Named(name); i >= 0 && list[i].Removed == "" {
			x.viewer = viewer{list[i].Name, list[i].Role}
		}
	}
	return x, ok || s.Passphrase == nil
}

// still says whether a stream of events goes on: whoever began it is still signed in, in the same
// role. Else it tells the page so.
func (s *Server) still(x session, send func([]byte) bool) bool {
	now, ok := s.sessionOf(x.id, false)
	if ok && now.viewer == x.viewer {
		return true
	}
	send([]byte("event: bye\ndata: \n\n"))
	return false
}

// here answers a page's script as long as the person is signed in for whom the page was made.
func (s *Server) here(w http.ResponseWriter, r *http.Request, x session) {
	if who := r.URL.Query(); who.Get("name") != x.Name || who.Get("role") != string(x.Role) {
		s.wrong(w, r, http.StatusForbidden, "wrong.forbidden")
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

// isPage says whether a person waits for the answer as a page.
func isPage(r *http.Request) bool {
	return r.Method == http.MethodGet && r.Header.Get("X-Script") == "" && strings.Contains(r.Header.Get("Accept"), "text/html")
}

// lockedOut sends a browser to the passphrase; where none is asked for, it gets
// its cookie at once.
func (s *Server) lockedOut(w http.ResponseWriter, r *http.Request) {
	switch {
	case !isPage(r):
		s.wrong(w, r, http.StatusForbidden, "wrong.forbidden")
	case s.Passphrase == nil:
		s.setCookie(w, cookieSession, token(), 0, true)
		http.Redirect(w, r, r.URL.RequestURI(), http.StatusSeeOther)
	default:
		http.Redirect(w, r, "/login?to="+url.QueryEscape(r.URL.Path), http.StatusSeeOther)
	}
}

// signedOut sends a browser to where people sign in.
func (s *Server) signedOut(w http.ResponseWriter, r *http.Request) {
	if !isPage(r) {
		s.wrong(w, r, http.StatusForbidden, "wrong.signed_out")
		return
	}
	http.Redirect(w, r, "/signin?to="+url.QueryEscape(r.URL.Path), http.StatusSeeOther)
}

// formOK checks the token of a request that changes something.
func (s *Server) formOK(w http.ResponseWriter, r *http.Request, x session) bool {
	if err := r.ParseForm(); err != nil {
		s.wrong(w, r, http.StatusBadRequest, "wrong.form")
		return false
	}
	given := r.Header.Get("X-Token")
	if given == "" {
		given = r.PostForm.Get("token")
	}
	if !same(given, x.csrf) {
		s.wrong(w, r, http.StatusForbidden, "wrong.forbidden")
		return false
	}
	return true
}

// ownPage is the address of a page of the bench; the first for any other.
func ownPage(path string) string {
	if lotAddress(path) {
		return (&url.URL{Path: path}).EscapedPath()
	}
	if slices.Contains([]string{"/look", "/shift", "/quiz", "/light", "/atlas"}, path) {
		return path
	}
	return "/"
}
