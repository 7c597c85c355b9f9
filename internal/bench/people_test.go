package bench

import (
	"bytes"
	"context"
	"encoding/base64"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/crypto/argon2"

	"finishbench/internal/part"
	"finishbench/internal/people"
)

// cheaply hashes at the least cost that is taken, so that tests are fast.
func cheaply(secret string) string {
	salt := []byte("salt of a test 1")
	enc := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=8192,t=1,p=1$%s$%s", argon2.Version, enc.EncodeToString(salt),
		enc.EncodeToString(argon2.IDKey([]byte(secret), salt, 1, 8192, 1, 32)))
}

// invented are a station's people; the PIN is that of the row's number.
func invented() people.List {
	return people.List{
		{Name: "Olga Finisher", Badge: "B1", Role: people.Operator},
		{Name: "Ines Inspector", Badge: "B2", Role: people.Inspector, PIN: cheaply("2580")},
		{Name: "Tim Trainer", Badge: "B3", Role: people.Trainer, PIN: cheaply("3691")},
		{Name: "Ada Keeper", Role: people.Administrator, PIN: cheaply("4702")},
		{Name: "Gone Finisher", Badge: "B5", Role: people.Operator, Removed: "2031-02-03"},
		{Name: "Otto Finisher", Badge: "B6", Role: people.Operator},
	}
}

// peopled has people in a file, which a test may change.
func peopled(t testing.TB, list people.List) (*people.File, string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), people.FileName)
	if err := people.Save(path, list); err != nil {
		t.Fatal(err)
	}
	f, err := people.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	return f, path
}

// as makes a request by a browser at which somebody is signed in; "": nobody.
func (r *rigged) as(t testing.TB, who, pattern string, form url.Values) *httptest.ResponseRecorder {
	t.Helper()
	id := r.server.sessions.begin(who, r.Station.Parts.Now())
	method, path, _ := strings.Cut(pattern, " ")
	path = regexp.MustCompile(`\{[a-z]+\}`).ReplaceAllString(strings.ReplaceAll(path, "{$}", ""), "1")
	ctx, stop := context.WithTimeout(t.Context(), 40*time.Millisecond) // of streams
	if !strings.HasSuffix(path, "/events") {
		stop()
		ctx, stop = context.WithTimeout(t.Context(), 5*time.Second)
	}
	defer stop()
	if form == nil {
		form = url.Values{}
	}
	form.Set("token", r.server.formToken(id))
	q := httptest.NewRequestWithContext(ctx, method, path, strings.NewReader(form.Encode()))
	q.Host = "localhost"
	q.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	q.AddCookie(&http.Cookie{Name: cookieSession, Value: id})
	q.AddCookie(&http.Cookie{Name: cookieLang, Value: "en"})
	w := httptest.NewRecorder()
	r.server.ServeHTTP(w, q)
	return w
}

// Every route is walked by every role and by nobody. Who may what is said here once more, by hand.
func TestRoutesAndRoles(t *testing.T) {
	file, _ := peopled(t, invented())
	room := newQuizRoom(t, quizSpec)
	room.attempts["1"] = &quizTaker{who: "B1"}
	r := rig(t, Options{People: file}, reworking())
	r.Station.Quizzes, r.Station.Lots, r.Station.Atlas, r.Station.Sheets = room, newFakeLots(), fakeAtlas{}, fakeSheets{}
	r.server = NewServer(r.Station, r.server.Options)
	r.send(t, Press{})
	r.phase(t, Answered)

	nobody := regexp.MustCompile(`^GET /[a-z]+\.(css|js|svg)$|^(GET|POST) /(login|signin)$|^POST /(leave|signout|seen|set)$|` +
		`^GET /light(/events)?$|^POST /light/(state|scan)$`)
	only := map[string][]people.Role{
		"POST /do/overrule":        {people.Inspector, people.Administrator},
		"POST /lot/{name}/decide":  {people.Inspector, people.Administrator},
		"POST /nothing/of/the/way": nil,
	}
	names := map[people.Role]string{"": "", people.Operator: "Olga Finisher", people.Inspector: "Ines Inspector",
		people.Trainer: "Tim Trainer", people.Administrator: "Ada Keeper"}
	walked := 0
	for pattern := range routes {
		method, path, _ := strings.Cut(pattern, " ")
		path = regexp.MustCompile(`\{[a-z]+\}`).ReplaceAllString(strings.ReplaceAll(path, "{$}", ""), "1")
		if _, got := r.server.mux.Handler(httptest.NewRequest(method, path, nil)); got != pattern {
			t.Errorf("%s is in the table, but %q is what is served", pattern, got)
			continue
		}
		for _, role := range append([]people.Role{""}, people.Roles...) {
			may := role != "" || nobody.MatchString(pattern)
			if some, held := only[pattern]; held {
				may = slices.Contains(some, role)
			}
			before := r.until(t, "quiet", func(s *Snapshot) bool { return s.Phase != Shooting && s.Phase != Judging && !s.busy }).Version
			w := r.as(t, names[role], pattern, url.Values{"turn": {"-1"}})
			refused := w.Code == http.StatusForbidden && (strings.Contains(w.Body.String(), "Nobody is signed in") ||
				strings.Contains(w.Body.String(), "is signed in as")) || strings.HasPrefix(w.Header().Get("Location"), "/signin?to=")
			if refused == may {
				t.Errorf("%s by %q: %d %.100s; may: %v", pattern, role, w.Code, w.Body, may)
			}
			if refused && r.Snapshot().Version != before {
				t.Errorf("%s by %q is refused, and changed something", pattern, role)
			}
			walked++
		}
	}
	if walked != 5*len(routes) || walked < 250 {
		t.Errorf("%d walks of %d routes", walked, len(routes))
	}
	// Nothing is served past the table.
	all, _ := filepath.Glob("*.go")
	n := 0
	for _, f := range all {
		if data, _ := os.ReadFile(f); !strings.HasSuffix(f, "_test.go") {
			n += bytes.Count(data, []byte(".HandleFunc(")) + bytes.Count(data, []byte(".Handle("))
		}
	}
	if n != 2 {
		t.Errorf("handlers are set in %d places, 2 wanted: Server.on, and what is not found", n)
	}
	defer func() {
		if recover() == nil {
			t.Error("a route that is not in the table was served")
		}
	}()
	r.server.on("GET /unlisted", s404)
}

func s404(w http.ResponseWriter, _ *http.Request, _ session) { w.WriteHeader(http.StatusNotFound) }

// Without people one role does all, as ever, and is told so once.
func TestStationWithoutPeople(t *testing.T) {
	r := rig(t, Options{}, reworking())
	w := r.as(t, "", "GET /{$}", nil)
	if w.Code != http.StatusOK || !strings.Contains(w.Body.String(), "whoever is at it may do all") {
		t.Errorf("%d %.200s", w.Code, w.Body)
	}
	if page := r.get(t, "/", "en"); strings.Contains(page, "may do all") || strings.Contains(page, "/signout") ||
		!strings.Contains(page, `name="operator"`) {
		t.Error("the warning comes again, or there is a sign-out")
	}
	for _, pattern := range []string{"GET /signin", "POST /signin"} {
		if w := r.as(t, "", pattern, url.Values{"badge": {"B1"}}); w.Header().Get("Location") != "/" {
			t.Errorf("%s: %d %v", pattern, w.Code, w.Header())
		}
	}
	r.send(t, Press{})
	r.phase(t, Answered)
	if w := r.as(t, "", "POST /do/overrule", url.Values{"turn": {"-1"}, "by": {"finisher 3"}, "verdict": {"pass"},
		"reason": {"wiped_off"}}); w.Code != http.StatusSeeOther {
		t.Errorf("overrule: %d %s", w.Code, w.Body)
	}
}

// Whoever is signed in is named, whatever name comes along; the operator is whoever pressed, at
// whichever browser.
func TestSignedInIsNamed(t *testing.T) {
	file, _ := peopled(t, invented())
	r := rig(t, Options{People: file}, reworking())
	lots := newFakeLots()
	r.Station.Lots = lots
	do := func(who, what string, form url.Values) {
		t.Helper()
		form.Set("turn", "-1")
		if w := r.as(t, who, "POST /do/"+what, form); w.Code != http.StatusSeeOther {
			t.Fatalf("%s by %s: %d %s", what, who, w.Code, w.Body)
		}
	}
	do("Otto Finisher", "edit", url.Values{"serial": {"k041"}, "operator": {"Ada Keeper"}})
	do("Olga Finisher", "press", url.Values{"serial": {"k041"}, "operator": {"Ada Keeper"}})
	s := r.phase(t, Answered)
	if s.Answer.Operator != "Olga Finisher" || r.memory.all[0].Operator != "Olga Finisher" {
		t.Errorf("the operator is %q", s.Answer.Operator)
	}
	do("Ines Inspector", "overrule", url.Values{"by": {"Olga Finisher"}, "verdict": {"pass"}, "reason": {"wiped_off"}})
	s = r.until(t, "overrule", func(s *Snapshot) bool { return s.Answer != nil && s.Answer.Overruled != nil })
	if s.Answer.Overruled.By != "Ines Inspector" {
		t.Errorf("overruled by %q", s.Answer.Overruled.By)
	}
	do("Otto Finisher", "undo", url.Values{"id": {"1"}})
	r.until(t, "undo", func(s *Snapshot) bool { return s.Withdrawn != nil && !s.busy })
	if w := r.memory.all[0].Withdrawn; w == nil || w.By != "Otto Finisher" {
		t.Errorf("withdrawn: %+v", w)
	}
	do("Olga Finisher", "restore", url.Values{"id": {"1"}})
	r.until(t, "restore", func(s *Snapshot) bool { return s.Withdrawn == nil && !s.busy })
	do("Otto Finisher", "retry", url.Values{})
	r.until(t, "the second answer", func(s *Snapshot) bool { return s.Answer != nil && s.Answer.ID == 2 && !s.busy })
	if got := r.Snapshot().Answer.Operator; got != "Otto Finisher" {
		t.Errorf("taken again by %q", got)
	}
	if w := r.as(t, "Ines Inspector", "POST /lot/{name}/decide", nil); w.Code != http.StatusBadRequest {
		t.Errorf("an empty step: %d", w.Code)
	}
	id := r.server.sessions.begin("Ines Inspector", time.Now())
	form := url.Values{"token": {r.server.formToken(id)}, "what": {"accept"}, "seq": {"52"}, "by": {"Ada Keeper"}, "sure": {"1"}}
	q := httptest.NewRequest(http.MethodPost, "/lot/L-4711/decide", strings.NewReader(form.Encode()))
	q.Host = "localhost"
	q.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	q.AddCookie(&http.Cookie{Name: cookieSession, Value: id})
	w := httptest.NewRecorder()
	r.server.ServeHTTP(w, q)
	if w.Code != http.StatusSeeOther || len(lots.steps) != 1 || lots.steps[0].By != "Ines Inspector" {
		t.Errorf("signed: %d %s, %+v", w.Code, w.Body, lots.steps)
	}
}

// in signs a person in as a browser does, and says what came of it.
func (p *person) in(form url.Values) (code int, body string) {
	p.t.Helper()
	p.get("/signin")
	return p.post("/signin", form)
}

// signedInAs is who the page says is at the bench; "": it asks.
func (p *person) signedInAs() string {
	p.t.Helper()
	_, body, _ := p.get("/look")
	if m := regexp.MustCompile(`<b>([^<]+)</b> <span>(\w+)</span>`).FindStringSubmatch(body); m != nil {
		return m[1] + ", " + m[2]
	}
	return ""
}

func TestSignIn(t *testing.T) {
	file, path := peopled(t, invented())
	r := rig(t, Options{People: file})
	for name, c := range map[string]struct {
		form url.Values
		want string // who is signed in after it
		says string
	}{
		"an operator's badge":       {url.Values{"badge": {"B1"}}, "Olga Finisher, operator", ""},
		"a label of the program":    {url.Values{"text": {own(t, "B1")}}, "Olga Finisher, operator", ""},
		"a plain code":              {url.Values{"text": {"B1"}}, "Olga Finisher, operator", ""},
		"an inspector's badge":      {url.Values{"badge": {"B2"}}, "", "PIN"},
		"and the PIN":               {url.Values{"name": {"Ines Inspector"}, "pin": {"2580"}}, "Ines Inspector, inspector", ""},
		"a name in small letters":   {url.Values{"name": {"ines inspector"}, "pin": {"2580"}}, "Ines Inspector, inspector", ""},
		"a wrong PIN":               {url.Values{"name": {"Ines Inspector"}, "pin": {"3691"}}, "", "not the PIN of Ines Inspector"},
		"no PIN":                    {url.Values{"name": {"Ada Keeper"}}, "", "Ada Keeper"},
		"a scan in the PIN's field": {url.Values{"name": {"Ada Keeper"}, "pin": {"B1"}}, "", "4 to 12 digits"},
		"who has none":              {url.Values{"name": {"Olga Finisher"}, "pin": {"1111"}}, "", "has no PIN"},
		"an unknown badge":          {url.Values{"badge": {"B9"}}, "", "Nobody here has the badge B9"},
		"an unknown name":           {url.Values{"name": {"Nemo"}, "pin": {"1111"}}, "", "called Nemo"},
		"a removed person's badge":  {url.Values{"badge": {"B5"}}, "", "no longer anybody"},
		"a removed person":          {url.Values{"name": {"Gone Finisher"}, "pin": {"1111"}}, "", "called Gone Finisher"},
		"a unit's code":             {url.Values{"text": {"k041-L"}}, "", "no badge"},
		"nothing":                   {url.Values{}, "", "band bad"},
		"a long badge":              {url.Values{"badge": {strings.Repeat("B", 900)}}, "", "Nobody here"},
		"signs":                     {url.Values{"badge": {"<b>B1</b>"}}, "", "&lt;b&gt;"},
	} {
		p := r.person(t)
		_, body := p.in(c.form)
		if got := p.signedInAs(); got != c.want || !strings.Contains(body, c.says) {
			t.Errorf("%s: %q is signed in, %q wanted; %q wanted in %.1500s", name, got, c.want, c.says, body)
		}
	}
	// Another person's sign-in at the same browser, and sign-out.
	p := r.person(t)
	p.in(url.Values{"badge": {"B1"}})
	p.in(url.Values{"badge": {"B6"}})
	if got := p.signedInAs(); got != "Otto Finisher, operator" {
		t.Errorf("after another's badge: %q", got)
	}
	p.in(url.Values{"badge": {"B9"}}) // an unknown one changes nothing
	if got := p.signedInAs(); got != "Otto Finisher, operator" {
		t.Errorf("after an unknown badge: %q", got)
	}
	p.post("/signout", nil)
	if got := p.signedInAs(); got != "" {
		t.Errorf("after the sign-out: %q", got)
	}
	// The page of a role that may not overrule has no dialog to do it.
	r.send(t, Press{})
	r.phase(t, Answered)
	for badge, may := range map[string]bool{"B1": false, "B2": true} {
		p := r.person(t)
		p.in(url.Values{"badge": {badge}})
		p.in(url.Values{"name": {map[string]string{"B1": "Olga Finisher", "B2": "Ines Inspector"}[badge]}, "pin": {"2580"}})
		if _, body, _ := p.get("/"); strings.Contains(body, `id="overrule"`) != may || strings.Contains(body, `name="by"`) {
			t.Errorf("%s: overrule shown: %v", badge, !may)
		}
	}
	// A list that breaks while the bench is open: who was known is; and the page says so.
	p = r.person(t)
	if err := os.WriteFile(path, []byte("{"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, body := p.in(url.Values{"badge": {"B9"}}); !strings.Contains(body, "cannot be read") {
		t.Errorf("a broken list is not told: %.800s", body)
	}
	p.in(url.Values{"badge": {"B1"}})
	if got := p.signedInAs(); got != "Olga Finisher, operator" {
		t.Errorf("with a broken list: %q", got)
	}
}

func own(t testing.TB, badge string) string {
	t.Helper()
	// The CRC-32 (IEEE 802.3) of FB/B/B1 ends in 3059, by zlib.crc32 of Python.
	return map[string]string{"B1": "FB/B/B1/3059"}[badge]
}

// A stream ends when the person is signed out for whom it is: by the button, by another's sign-in,
// after the idle time, when removed, and when the role changes.
func TestStreamsEnd(t *testing.T) {
	type stage struct {
		*rigged
		*person
		path  string
		later atomic.Int64
	}
	for name, end := range map[string]func(x *stage){
		"the button":      func(x *stage) { x.post("/signout", nil) },
		"another's badge": func(x *stage) { x.in(url.Values{"badge": {"B6"}}) },
		"the same badge":  func(x *stage) { x.in(url.Values{"badge": {"B1"}}) },
		"the idle time":   func(x *stage) { x.later.Store(int64(16 * time.Minute)) },
		"the passphrase":  func(x *stage) { x.post("/leave", nil) },
		"being removed":   func(x *stage) { change(t, x.path, func(p *people.Person) { p.Removed = "2031-02-03" }) },
		"another role": func(x *stage) {
			change(t, x.path, func(p *people.Person) { p.Role, p.PIN = people.Trainer, cheaply("2580") })
		},
		"a session's end": func(x *stage) {
			x.server.sessions.mu.Lock()
			defer x.server.sessions.mu.Unlock()
			clear(x.server.sessions.all)
		},
		"nothing but time": nil,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			file, path := peopled(t, invented())
			pass, err := people.ParseHash(cheaply("a cured coat is hard"))
			if err != nil {
				t.Fatal(err)
			}
			r := rig(t, Options{People: file, Passphrase: pass})
			r.Station.Lots = newFakeLots()
			x := &stage{rigged: r, path: path}
			r.Station.Parts.Now = func() time.Time { return time.Now().Add(time.Duration(x.later.Load())) }
			p := r.person(t)
			x.person = p
			p.get("/login")
			p.post("/login", url.Values{"passphrase": {"a cured coat is hard"}})
			p.in(url.Values{"badge": {"B1"}})
			ends := make(chan string, 2)
			ctx, stop := context.WithCancel(t.Context())
			for _, at := range []string{"/events", "/lot/L-4711/events"} {
				q, _ := http.NewRequestWithContext(ctx, http.MethodGet, r.web.URL+at, nil)
				c := *p.Client
				c.Timeout = 0
				w, err := c.Do(q)
				if err != nil || w.StatusCode != http.StatusOK {
					t.Fatalf("%s: %v %v", at, err, w)
				}
				go func() {
					defer w.Body.Close()
					var b bytes.Buffer
					_, err := b.ReadFrom(w.Body)
					if bye := bytes.HasSuffix(b.Bytes(), []byte("event: bye\ndata: \n\n")); ctx.Err() == nil && (err != nil || !bye) {
						at += ": no word of it"
					}
					ends <- at
				}()
			}
			n := 0
			if end != nil {
				end(x)
			}
			wait := time.After(map[bool]time.Duration{true: 4 * time.Second, false: 1500 * time.Millisecond}[end != nil])
		all:
			for n < 2 {
				select {
				case at := <-ends:
					if n++; strings.Contains(at, ":") {
						t.Errorf("%s: %s", name, at)
					}
				case <-wait:
					break all
				}
			}
			if want := map[bool]int{true: 2, false: 0}[end != nil]; n != want {
				t.Errorf("%s: %d of 2 streams ended, %d wanted", name, n, want)
			}
			stop()
		})
	}
}

// change changes the first of the people's file.
func change(t testing.TB, path string, how func(*people.Person)) {
	t.Helper()
	list, err := people.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	how(&list[0])
	if err := people.Save(path, list); err != nil {
		t.Fatal(err)
	}
}

// Who does nothing is signed out; the page's own requests are nothing, waiting for pictures is
// something. A clock that goes back signs nobody out, and lets nobody stay for ever.
func TestIdle(t *testing.T) {
	file, _ := peopled(t, invented())
	var later atomic.Int64
	at := func(d time.Duration) { later.Store(int64(d)) }
	r := rig(t, Options{People: file, Idle: 10 * time.Minute})
	r.Station.Parts.Now = func() time.Time { return time.Now().Round(0).Add(time.Duration(later.Load())) }
	p := r.person(t)
	p.in(url.Values{"badge": {"B1"}})
	script := func(path string) int {
		q, _ := http.NewRequest(http.MethodGet, r.web.URL+path, nil)
		code, _, _ := p.send(q)
		return code
	}
	who := "/here?" + viewer{"Olga Finisher", people.Operator}.here()
	at(6 * time.Minute)
	if script(who) != http.StatusNoContent || script("/live/edge") != http.StatusOK {
		t.Error("signed out too early")
	}
	at(11 * time.Minute)
	if script(who) != http.StatusForbidden || p.signedInAs() != "" {
		t.Error("what a page asks by itself keeps a person signed in")
	}
	p.in(url.Values{"badge": {"B1"}})
	at(18 * time.Minute)
	p.signedInAs() // a page that a person opens
	at(26 * time.Minute)
	if p.signedInAs() == "" {
		t.Error("signed out in the midst of work")
	}
	// The clock is set back by a day: the idle time runs from there.
	at(-24 * time.Hour)
	if script(who) != http.StatusNoContent {
		t.Error("a clock that goes back signs people out")
	}
	at(-24*time.Hour + 11*time.Minute)
	if script(who) != http.StatusForbidden {
		t.Error("after a clock that went back nobody is ever idle")
	}
	// A unit's pictures take longer.
	p.in(url.Values{"badge": {"B1"}})
	r.shooter.set(func() { r.shooter.asks[3] = true })
	p.get("/")
	if code, body := p.post("/do/press", url.Values{"turn": {"-1"}, "serial": {"k041"}}); code != http.StatusNoContent {
		t.Fatal(code, body)
	}
	r.until(t, "a question", func(s *Snapshot) bool { return s.Progress.Asking != nil })
	for i := range 4 {
		at(-24*time.Hour + time.Duration(11+9*i)*time.Minute)
		if script(who) != http.StatusNoContent {
			t.Error("signed out while a unit is under way")
		}
	}
}

// Whoever has not given the passphrase holds no place: a thousand of them log nobody out.
func TestLockedHoldsNoPlace(t *testing.T) {
	pass, err := people.ParseHash(cheaply("a cured coat is hard"))
	if err != nil {
		t.Fatal(err)
	}
	r := rig(t, Options{Passphrase: pass})
	p := r.person(t)
	p.get("/")
	p.post("/login", url.Values{"passphrase": {"a cured coat is hard"}})
	if _, body, _ := p.get("/"); !strings.Contains(body, "data-phase") {
		t.Fatalf("not let in: %.300s", body)
	}
	for range 1005 {
		for _, path := range []string{"/login", "/"} {
			q := httptest.NewRequest(http.MethodGet, path, nil)
			q.Host = "localhost"
			q.Header.Set("Accept", "text/html")
			r.server.ServeHTTP(httptest.NewRecorder(), q)
		}
	}
	if _, body, _ := p.get("/"); !strings.Contains(body, "data-phase") {
		t.Error("1005 anonymous requests logged a person out")
	}
	if n := len(r.server.sessions.all); n != 1 {
		t.Errorf("%d sessions, 1 wanted", n)
	}
}

// tryFrom gives a passphrase, or a person's PIN, from an address.
func tryFrom(t testing.TB, s *Server, address, path string, form url.Values) int {
	t.Helper()
	id := token()
	if path == "/signin" {
		id = s.sessions.begin("", time.Now())
	}
	form.Set("token", s.formToken(id))
	q := httptest.NewRequest(http.MethodPost, path, strings.NewReader(form.Encode()))
	q.Host, q.RemoteAddr = "localhost", address
	q.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	q.AddCookie(&http.Cookie{Name: cookieSession, Value: id})
	w := httptest.NewRecorder()
	s.ServeHTTP(w, q)
	return w.Code
}

// However many guess from elsewhere, this machine is let in with what is right; and so is an
// address from which it came before.
func TestGuessesLockNobodyOut(t *testing.T) {
	pass, err := people.ParseHash(cheaply("a cured coat is hard"))
	if err != nil {
		t.Fatal(err)
	}
	file, _ := peopled(t, invented())
	r := rig(t, Options{Passphrase: pass, People: file})
	for name, c := range map[string]struct {
		path         string
		right, wrong url.Values
	}{
		"passphrase": {"/login", url.Values{"passphrase": {"a cured coat is hard"}}, url.Values{"passphrase": {"a cured coat is soft"}}},
		"PIN": {"/signin", url.Values{"name": {"Ines Inspector"}, "pin": {"2580"}}, url.Values{"name": {"Ines Inspector"},
			"pin": {"2581"}}},
	} {
		if code := tryFrom(t, r.server, "10.1.2.9:4", c.path, c.right); code != http.StatusSeeOther {
			t.Fatalf("%s from a tablet: %d", name, code)
		}
		slow := 0
		for i := range 30 {
			for _, a := range []string{"10.1.2.3:5000", "10.1.2.4:5000", "10.1.2.5:5000", "[fd00::%x]:80"} {
				if strings.Contains(a, "%x") { // one network, many addresses
					a = fmt.Sprintf(a, i+1)
				}
				switch code := tryFrom(t, r.server, a, c.path, c.wrong); code {
				case http.StatusTooManyRequests:
					slow++
				case http.StatusForbidden:
				default:
					t.Fatalf("%s from %s: %d", name, a, code)
				}
			}
		}
		if slow < 120-allTimes*triesAtOnce-2 {
			t.Errorf("%s: %d of 120 guesses were held back", name, slow)
		}
		for _, a := range []string{"127.0.0.1:6000", "[::1]:6000", "[::ffff:127.0.0.1]:6000", "10.1.2.9:4"} {
			if code := tryFrom(t, r.server, a, c.path, c.right); code != http.StatusSeeOther {
				t.Errorf("%s from %s after guesses elsewhere: %d", name, a, code)
			}
		}
		// Here too guessing is slow, and of another person's PIN it is nothing.
		slow = 0
		for range triesAtOnce + 3 {
			if tryFrom(t, r.server, "127.0.0.1:6000", c.path, c.wrong) == http.StatusTooManyRequests {
				slow++
			}
		}
		if slow < 2 {
			t.Errorf("%s: here %d guesses were held back", name, slow)
		}
		if code := tryFrom(t, r.server, "127.0.0.1:6000", "/signin", url.Values{"name": {"Ada Keeper"},
			"pin": {"4702"}}); code != http.StatusSeeOther {
			t.Errorf("another person: %d", code)
		}
	}
	// Badges are guessed too.
	slow := 0
	for i := range 40 {
		if tryFrom(t, r.server, "10.9.9.9:1", "/signin", url.Values{"badge": {fmt.Sprint("X", i)}}) == http.StatusTooManyRequests {
			slow++
		}
	}
	if slow < 30 {
		t.Errorf("%d of 40 badges were held back", slow)
	}
	if code := tryFrom(t, r.server, "127.0.0.1:6000", "/signin", url.Values{"badge": {"B1"}}); code != http.StatusSeeOther {
		t.Errorf("a badge here: %d", code)
	}
}

// A browser on this machine that calls it by its address of the network is this machine.
func TestSender(t *testing.T) {
	if got := sender(httptest.NewRequest(http.MethodGet, "/", nil)); got != "192.0.2.1" { // httptest's
		t.Error(got)
	}
	r := rig(t, Options{})
	seen := make(chan string, 1)
	web := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, q *http.Request) { seen <- sender(q) }))
	defer web.Close()
	if _, err := r.web.Client().Get(web.URL); err != nil {
		t.Fatal(err)
	}
	if got := <-seen; got != "" {
		t.Errorf("this machine is %q", got)
	}
}

// A badge is not taken where nobody reads words, nor given to the unit; at a bench without people
// it names the operator as ever.
func TestBadgeScans(t *testing.T) {
	file, _ := peopled(t, invented())
	r := rig(t, Options{People: file})
	w := r.as(t, "Olga Finisher", "POST /do/scan", url.Values{"turn": {"-1"}, "text": {own(t, "B1")}})
	if w.Code != http.StatusConflict || w.Header().Get("X-Sign-In") == "" {
		t.Errorf("%d %v", w.Code, w.Header())
	}
	w = r.as(t, "", "POST /light/scan", url.Values{"text": {own(t, "B1")}})
	if s := r.Snapshot(); w.Code != http.StatusConflict || s.Problem == nil || s.Problem.Key != "signin.at_light" || s.Unit.Operator != "" {
		t.Errorf("%d %+v", w.Code, s.Problem)
	}
	if w = r.as(t, "", "POST /light/scan", url.Values{"text": {"k077-L"}}); w.Code != http.StatusNoContent ||
		r.Snapshot().Unit.Serial != "k077" {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	r.shooter.set(func() { r.shooter.asks[3] = true })
	r.send(t, Press{})
	r.until(t, "a question", func(s *Snapshot) bool { return s.Progress.Asking != nil })
	w = r.as(t, "", "POST /light/scan", url.Values{"text": {"k078-L"}, "give_up": {"k077-L"}})
	if s := r.Snapshot(); w.Code != http.StatusConflict || s.Phase != Shooting || s.stopping {
		t.Errorf("the tablet gave a unit up: %d %s", w.Code, s.Phase)
	}
	old := rig(t, Options{})
	if w := old.as(t, "", "POST /do/scan", url.Values{"turn": {"-1"}, "text": {own(t, "B1")}}); w.Code != http.StatusSeeOther ||
		old.Snapshot().Unit.Operator != "B1" {
		t.Errorf("%d %s, operator %q", w.Code, w.Body, old.Snapshot().Unit.Operator)
	}
}

// Each takes a test as himself, whatever initials come along; a trainer may look at another's progress.
func TestTestsAreOnesOwn(t *testing.T) {
	file, _ := peopled(t, invented())
	room := newQuizRoom(t, quizSpec)
	r := rig(t, Options{People: file})
	r.Station.Quizzes = room
	r.server = NewServer(r.Station, r.server.Options)
	w := r.as(t, "Olga Finisher", "POST /quiz/begin", url.Values{"quiz": {"Q1"}, "initials": {"XY"}, "badge": {"B6"}})
	take := w.Header().Get("Location")
	if !strings.HasPrefix(take, "/quiz/take/") || room.attempts["t1"].who != "B1" {
		t.Fatalf("%d %s: %+v", w.Code, take, room.attempts)
	}
	if w := r.as(t, "Otto Finisher", "POST "+take, url.Values{"showing": {"0"}, "marks": {"[]"}, "took": {"1"},
		"verdict": {string(part.Pass)}}); w.Code != http.StatusForbidden {
		t.Errorf("another's test was answered: %d", w.Code)
	}
	if w := r.as(t, "Otto Finisher", "GET "+take, nil); w.Header().Get("Location") != "/quiz" {
		t.Errorf("another's test is shown: %d", w.Code)
	}
	if w := r.as(t, "Olga Finisher", "GET "+take, nil); w.Code != http.StatusOK {
		t.Errorf("one's own test: %d", w.Code)
	}
	for who, want := range map[string]string{"Olga Finisher": "B1", "Ada Keeper": "Ada Keeper", "Tim Trainer": "XYB6"} {
		q := httptest.NewRequest(http.MethodPost, "/", nil)
		q.PostForm = url.Values{"initials": {"XY"}, "badge": {"B6"}}
		x := session{viewer: viewer{Name: who, Role: people.Operator}}
		if who == "Tim Trainer" {
			x.Role = people.Trainer
		}
		if initials, badge := r.server.quizWho(q, x, true); initials+badge != want {
			t.Errorf("%s sees the progress of %q, %q wanted", who, initials+badge, want)
		}
	}
}
