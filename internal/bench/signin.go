package bench

import (
	"net/http"
	"net/url"

	"finishbench/internal/part"
	"finishbench/internal/people"
	"finishbench/internal/scan"
)

// This file is the two doors: the passphrase that lets a browser in, and the badge or PIN that
// says who is at it.

// loginView asks for the passphrase, and says where to go with it.
type loginView struct{ Token, Problem, To string }

func (s *Server) loginPage(w http.ResponseWriter, r *http.Request, x session) {
	if _, in := s.session(r); in {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	// Whoever has not given the passphrase yet has a cookie, for the form's token, and no place.
	if x.id = cookie(r, cookieSession); x.id == "" {
		x.id = token()
		s.setCookie(w, cookieSession, x.id, 0, true)
	}
	x.csrf = s.formToken(x.id)
	s.showLogin(w, r, http.StatusOK, x, "")
}

func (s *Server) showLogin(w http.ResponseWriter, r *http.Request, status int, x session, problem string) {
	l := s.lang(r)
	if problem != "" {
		problem = l.T(problem)
	}
	body, err := page{Lang: l, View: loginView{x.csrf, problem, r.FormValue("to")}}.render("login")
	if err != nil {
		s.b.Log("%v", err)
	}
	s.whole(w, r, status, x, l.T("login.title"), body, withoutNav)
}

func (s *Server) login(w http.ResponseWriter, r *http.Request, x session) {
	if x.id = cookie(r, cookieSession); x.id == "" || s.Passphrase == nil {
		http.Redirect(w, r, "/login", http.StatusSeeOther)
		return
	}
	x.csrf = s.formToken(x.id)
	if !s.formOK(w, r, x) {
		return
	}
	from := sender(r)
	if !s.tries.allow(from, "", s.b.Parts.Now()) {
		w.Header().Set("Retry-After", "60")
		s.showLogin(w, r, http.StatusTooManyRequests, x, "login.slow")
		return
	}
	if !s.right(s.Passphrase, r.PostForm.Get("passphrase")) {
		s.showLogin(w, r, http.StatusForbidden, x, "login.wrong")
		return
	}
	s.tries.forgive(from, "")
	s.take(w, x, "") // a new session: the old one's name was known before
	http.Redirect(w, r, ownPage(r.PostForm.Get("to")), http.StatusSeeOther)
}

// right asks a hash, one at a time.
func (s *Server) right(h *people.Hash, try string) bool {
	s.hashing <- struct{}{}
	defer func() { <-s.hashing }()
	return h.Right(try)
}

// take makes a browser's session anew, with who is signed in; "": nobody. What the old one watches ends.
func (s *Server) take(w http.ResponseWriter, x session, who string) {
	s.sessions.end(x.id)
	s.setCookie(w, cookieSession, s.sessions.begin(who, s.b.Parts.Now()), 0, true)
	s.b.hub.wake()
}

// leave locks a browser.
func (s *Server) leave(w http.ResponseWriter, r *http.Request, x session) {
	s.sessions.end(x.id)
	s.b.hub.wake()
	http.Redirect(w, r, "/login", http.StatusSeeOther)
}

func (s *Server) signOut(w http.ResponseWriter, r *http.Request, x session) {
	if s.Passphrase != nil {
		s.take(w, x, "")
	} else { // it needs no place
		s.sessions.end(x.id)
		s.b.hub.wake()
	}
	http.Redirect(w, r, "/signin", http.StatusSeeOther)
}

// signView is where people sign in.
type signView struct {
	Token, To string
	Problem   string
	Broken    string   // what is wrong with the people's file
	Who       string   // whose PIN is asked for; "": not chosen yet
	Names     []string // of those who have a PIN
	Nobody    bool     // there are no people
}

func (s *Server) signInPage(w http.ResponseWriter, r *http.Request, x session) {
	s.showSignIn(w, r, http.StatusOK, x, "", nil)
}

// showSignIn asks for a badge, or for a name and its PIN.
func (s *Server) showSignIn(w http.ResponseWriter, r *http.Request, status int, x session, who string, problem *part.Phrase) {
	if s.People == nil {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	l := s.lang(r)
	v := signView{Token: x.csrf, To: ownPage(r.FormValue("to")), Problem: l.Say(problem), Who: who, Nobody: true}
	list, err := s.People.List()
	if err != nil {
		s.b.Log("people: %v", err)
		v.Broken = l.T("signin.broken", "why", err.Error())
	}
	for _, p := range list {
		if p.Removed == "" {
			v.Nobody = false
			if p.PIN != "" {
				v.Names = append(v.Names, p.Name)
			}
		}
	}
	body, err := page{Lang: l, View: v}.render("signin")
	if err != nil {
		s.fault(w, r, err)
		return
	}
	s.whole(w, r, status, x, l.T("signin.title"), body, withoutNav)
}

// signIn takes a badge, or a name and a PIN. A badge alone does where the person's role allows it.
func (s *Server) signIn(w http.ResponseWriter, r *http.Request, x session) {
	no := func(status int, who, key string, args ...string) {
		p := part.Say(key, args...)
		s.showSignIn(w, r, status, x, who, &p)
	}
	if s.People == nil {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	f, from, now := r.PostForm, sender(r), s.b.Parts.Now()
	list, _ := s.People.List()
	i := -1
	if name := f.Get("name"); name != "" {
		if i = list.Named(name); i < 0 || list[i].Removed != "" {
			no(http.StatusForbidden, "", "signin.unknown_name", "name", cleanText(name, scan.MostName))
			return
		}
	} else {
		// Badges are guessed from elsewhere; who holds a reader at this machine is here.
		if from != "" && !s.tries.allow(from, "a badge", now) {
			no(http.StatusTooManyRequests, "", "signin.slow")
			return
		}
		badge, problem := s.badgeOf(f, list)
		if problem != nil {
			s.showSignIn(w, r, http.StatusBadRequest, x, "", problem)
			return
		}
		switch i = list.Badged(badge); {
		case i < 0:
			no(http.StatusForbidden, "", "signin.unknown_badge", "badge", scan.Shown(badge))
			return
		case list[i].Removed != "":
			no(http.StatusForbidden, "", "signin.removed", "badge", scan.Shown(badge))
			return
		}
		s.tries.forgive(from, "a badge")
		if list[i].ByBadge() {
			s.signed(w, r, x, list[i])
			return
		}
	}
	p := list[i]
	pin := f.Get("pin")
	hash, err := people.ParseHash(p.PIN)
	switch {
	case err != nil:
		no(http.StatusForbidden, "", "signin.no_pin", "name", p.Name)
	case pin == "":
		s.showSignIn(w, r, http.StatusOK, x, p.Name, nil)
	case !people.IsPIN(pin): // a scan into the field, a slip: no guess
		no(http.StatusBadRequest, p.Name, "signin.bad_pin")
	case !s.tries.allow(from, "the PIN of "+p.Name, now):
		w.Header().Set("Retry-After", "12")
		no(http.StatusTooManyRequests, p.Name, "signin.slow")
	case !s.right(hash, pin):
		no(http.StatusForbidden, p.Name, "signin.wrong_pin", "name", p.Name)
	default:
		s.tries.forgive(from, "the PIN of "+p.Name)
		s.signed(w, r, x, p)
	}
}

// signed signs a person in at a browser; whoever was before is signed out.
func (s *Server) signed(w http.ResponseWriter, r *http.Request, x session, p people.Person) {
	s.take(w, x, p.Name)
	http.Redirect(w, r, ownPage(r.PostForm.Get("to")), http.StatusSeeOther)
}

// badgeOf is the badge that was scanned or typed.
func (s *Server) badgeOf(f url.Values, list people.List) (string, *part.Phrase) {
	typed := cleanText(f.Get("badge"), scan.MostName)
	scanned := f.Get("text") != "" || f.Get("places") != ""
	if !scanned {
		f = url.Values{"text": {typed}}
	}
	c, no := s.readScan(f)
	switch {
	case no == nil && c.Kind == scan.Badge:
		return c.Value, nil
	case scanned && list.Badged(f.Get("text")) >= 0: // no pattern says so, but here it can be nothing else
		return f.Get("text"), nil
	case !scanned && typed != "":
		return typed, nil
	case no == nil:
		p := part.Say("signin.no_badge", "kind", "@scan.kind."+string(c.Kind), "code", c.Name())
		no = &p
	}
	return "", no
}
