package bench

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"finishbench/internal/part"
	"finishbench/internal/people"
)

// person is a browser with cookies, in English, that has seen the cautions.
type person struct {
	*http.Client
	t     testing.TB
	base  string
	token string
}

func (r *rigged) person(t testing.TB) *person {
	t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	p := &person{&http.Client{Jar: jar, Timeout: 20 * time.Second}, t, r.web.URL, ""}
	u, _ := url.Parse(r.web.URL)
	jar.SetCookies(u, []*http.Cookie{{Name: cookieSeen, Value: "1"}, {Name: cookieLang, Value: "en"}})
	return p
}

func (p *person) get(path string) (int, string, http.Header) {
	p.t.Helper()
	q, _ := http.NewRequest(http.MethodGet, p.base+path, nil)
	q.Header.Set("Accept", "text/html")
	return p.send(q)
}

func (p *person) send(q *http.Request) (int, string, http.Header) {
	p.t.Helper()
	w, err := p.Do(q)
	if err != nil {
		p.t.Fatal(err)
	}
	defer w.Body.Close()
	b, _ := io.ReadAll(w.Body)
	if m := regexp.MustCompile(`data-token="([^"]+)"`).FindSubmatch(b); m != nil {
		p.token = string(m[1])
	}
	return w.StatusCode, string(b), w.Header
}

func (p *person) post(path string, form url.Values) (int, string) {
	p.t.Helper()
	q, _ := http.NewRequest(http.MethodPost, p.base+path, strings.NewReader(form.Encode()))
	q.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	q.Header.Set("X-Script", "1")
	q.Header.Set("X-Token", p.token)
	code, body, _ := p.send(q)
	return code, body
}

func TestAPageAndAPress(t *testing.T) {
	r := rig(t, Options{}, reworking())
	p := r.person(t)
	code, body, h := p.get("/")
	if code != 200 || !strings.Contains(body, `value="k041"`) || p.token == "" {
		t.Fatalf("%d: %s", code, body)
	}
	csp := h.Get("Content-Security-Policy")
	for _, want := range []string{"default-src 'none'", "script-src 'self'", "style-src 'self'", "frame-ancestors 'none'"} {
		if !strings.Contains(csp, want) {
			t.Errorf("the policy %q lacks %s", csp, want)
		}
	}
	if strings.Contains(csp, "unsafe") || h.Get("X-Content-Type-Options") != "nosniff" || h.Get("Referrer-Policy") != "no-referrer" {
		t.Errorf("headers: %v", h)
	}
	if regexp.MustCompile(`<script>|style="|\son[a-z]+="|https?://`).MatchString(strings.ReplaceAll(body,
		`xmlns="http://www.w3.org/2000/svg"`, "")) {
		t.Error("the page has a script or a style of its own, or leads outside")
	}
	if code, body := p.post("/do/press", url.Values{"turn": {"1"}, "serial": {"k050"}, "side": {"L"}, "stage": {"cured"},
		"follow": {"pair"}}); code != 204 {
		t.Fatalf("press: %d %s", code, body)
	}
	s := r.phase(t, Answered)
	if s.Unit.Serial != "k050" || s.Unit.Stage != part.Cured {
		t.Errorf("%+v", s.Unit)
	}
	// The same press again, from a page that has not moved on.
	if code, body := p.post("/do/press", url.Values{"turn": {"1"}}); code != 409 || !strings.Contains(body, "moved on") {
		t.Errorf("a stale press: %d %s", code, body)
	}
	for path, want := range map[string]int{"/answer/1/main.jpg": 200, "/answer/1/crop-0.jpg": 200, "/answer/1/crop-7.jpg": 404,
		"/answer/2/main.jpg": 404, "/answer/1/x": 404, "/answer/1/../../etc": 404,
		"/live/edge": 200, "/live/other": 404, "/record/zz": 404, "/record/" + strings.Repeat("0", 64): 404, "/look?serial=k050": 200,
		"/shift": 404, "/lang/": 404, "/page/": 404, "/nothing": 404} {
		if code, _, _ := p.get(path); code != want {
			t.Errorf("GET %s: %d, %d wanted", path, code, want)
		}
	}
}

// Who does not hold the session's token changes nothing.
func TestRequestsFromElsewhere(t *testing.T) {
	r := rig(t, Options{})
	p := r.person(t)
	p.get("/")
	good := p.token
	for name, change := range map[string]func(*http.Request){
		"no token":         func(q *http.Request) { q.Header.Del("X-Token") },
		"a wrong token":    func(q *http.Request) { q.Header.Set("X-Token", good[1:]+good[:1]+"x") },
		"another site":     func(q *http.Request) { q.Header.Set("Sec-Fetch-Site", "cross-site") },
		"another origin":   func(q *http.Request) { q.Header.Set("Origin", "http://elsewhere.example") },
		"no session":       func(q *http.Request) { q.Header.Set("Cookie", "") },
		"another's name":   func(q *http.Request) { q.Host = "rebound.example" },
		"a name with port": func(q *http.Request) { q.Host = "rebound.example:80" },
	} {
		q, _ := http.NewRequest(http.MethodPost, r.web.URL+"/do/press", strings.NewReader("turn=-1"))
		q.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		q.Header.Set("X-Token", good)
		change(q)
		c := p.Client
		if name == "no session" {
			c = &http.Client{}
		}
		w, err := c.Do(q)
		if err != nil {
			t.Fatal(err)
		}
		w.Body.Close()
		if w.StatusCode != http.StatusForbidden && w.StatusCode != http.StatusMisdirectedRequest {
			t.Errorf("%s: %d", name, w.StatusCode)
		}
	}
	if s := r.Snapshot(); s.Version != 1 {
		t.Errorf("something was changed: %s", s.Phase)
	}
	// Too much is not read.
	if code, _ := p.post("/do/edit", url.Values{"turn": {"-1"}, "lot": {strings.Repeat("x", maxForm)}}); code != http.StatusBadRequest {
		t.Errorf("a large form: %d", code)
	}
}

func TestPassphrase(t *testing.T) {
	line, err := people.HashPassphrase("a cured coat is hard")
	if err != nil {
		t.Fatal(err)
	}
	pass, err := people.ParseHash(line + "\n")
	if err != nil || !pass.Right("a cured coat is hard") || pass.Right("a cured coat is soft") || pass.Right("") {
		t.Fatal("the hash does not tell the passphrase", err)
	}
	if _, err := people.HashPassphrase("short"); err == nil {
		t.Error("a short passphrase was taken")
	}
	for _, bad := range []string{"", "hello", strings.Replace(line, "argon2id", "argon2i", 1), strings.Replace(line, "m=65536", "m=1", 1),
		line[:len(line)-40]} {
		if _, err := people.ParseHash(bad); err == nil {
			t.Errorf("%q was taken", bad)
		}
	}
	r := rig(t, Options{Passphrase: pass})
	p := r.person(t)
	// Nothing is shown before.
	for _, path := range []string{"/", "/look", "/shift", "/live/edge", "/events", "/answer/1/main.jpg"} {
		if _, body, _ := p.get(path); strings.Contains(body, "k041") || !strings.Contains(body, `type="password"`) {
			t.Errorf("GET %s is open: %.200s", path, body)
		}
	}
	login := func(phrase string) (int, string) { return p.post("/login", url.Values{"passphrase": {phrase}}) }
	if code, _ := login("wrong"); code != http.StatusForbidden {
		t.Errorf("a wrong passphrase: %d", code)
	}
	u, _ := url.Parse(r.web.URL)
	session := func() string {
		for _, c := range p.Jar.Cookies(u) {
			if c.Name == cookieSession {
				return c.Value
			}
		}
		return ""
	}
	before := session()
	if code, body := login("a cured coat is hard"); code != 200 ||
		!strings.Contains(body, "k041") && !strings.Contains(body, "data-phase") {
		p.get("/")
		if _, body, _ := p.get("/"); !strings.Contains(body, "k041") {
			t.Errorf("not let in: %d %.300s", code, body)
		}
	}
	if session() == before {
		t.Error("the session kept its name over the passphrase")
	}
	p.get("/")
	p.post("/leave", nil)
	if _, body, _ := p.get("/"); !strings.Contains(body, `type="password"`) {
		t.Error("locked, but still open")
	}
	// Who opened another page is taken there, and to none but the bench's own.
	if _, body, _ := p.get("/light"); !strings.Contains(body, `name="to" value="/light"`) {
		t.Error("the light page is forgotten over the passphrase")
	}
	if _, body := p.post("/login", url.Values{"passphrase": {"a cured coat is hard"}, "to": {"/light"}}); !strings.Contains(body,
		"data-screen=") {
		t.Errorf("not led to the light page: %.300s", body)
	}
	for _, path := range []string{"//elsewhere", "https://elsewhere/light", "/leave", "/light/events"} {
		if to := ownPage(path); to != "/" {
			t.Errorf("%s leads to %s", path, to)
		}
	}
	p.post("/leave", nil)
	p.get("/")
	// Guessing is slow.
	slow := 0
	for range triesAtOnce + 3 {
		if code, _ := login("guess again"); code == http.StatusTooManyRequests {
			slow++
		}
	}
	if slow < 3 {
		t.Errorf("%d of %d tries were held back", slow, triesAtOnce+3)
	}
}

func TestTriesComeBack(t *testing.T) {
	var x tries
	now := time.Unix(1000, 0)
	n := 0
	for range 50 {
		if x.allow("a", "", now) {
			n++
		}
	}
	if n != triesAtOnce {
		t.Errorf("%d tries at once, %d wanted", n, triesAtOnce)
	}
	if !x.allow("a", "", now.Add(tryEvery)) || x.allow("a", "", now.Add(tryEvery)) {
		t.Error("one more try after the wait, not none and not two")
	}
	n = 0
	for i := range 2 * maxTriers {
		if x.allow(fmt.Sprint(i), "", now) {
			n++
		}
	}
	if n > triesAtOnce*allTimes || len(x.by) > maxTriers+1 {
		t.Errorf("%d tries from many addresses, %d addresses kept", n, len(x.by))
	}
}

func TestSessionsEnd(t *testing.T) {
	var s sessions
	now := time.Unix(1000, 0)
	id := s.begin("", now)
	nothing := func(string) bool { return false }
	if _, ok := s.get(id, now.Add(sessionIdle-time.Hour), time.Hour, nothing); !ok {
		t.Error("ended in the middle of a shift")
	}
	if _, ok := s.get(id, now.Add(3*sessionIdle), time.Hour, nothing); ok {
		t.Error("never ends")
	}
	for range maxSessions + 50 {
		s.begin("", now)
	}
	if len(s.all) > maxSessions {
		t.Errorf("%d sessions", len(s.all))
	}
}

// watch reads a browser's events until ctx ends and hands each state on.
func (p *person) watch(ctx context.Context, lastID string, got func(id string, e event)) error {
	q, _ := http.NewRequestWithContext(ctx, http.MethodGet, p.base+"/events", nil)
	if lastID != "" {
		q.Header.Set("Last-Event-ID", lastID)
	}
	c := *p.Client
	c.Timeout = 0
	w, err := c.Do(q)
	if err != nil {
		return err
	}
	defer w.Body.Close()
	if w.StatusCode != 200 {
		return fmt.Errorf("events: %d", w.StatusCode)
	}
	lines := bufio.NewScanner(w.Body)
	lines.Buffer(nil, 4<<20)
	id, kind := "", ""
	for lines.Scan() {
		k, v, _ := strings.Cut(lines.Text(), ": ")
		switch k {
		case "id":
			id = v
		case "event":
			kind = v
		case "data":
			if kind == "state" {
				var e event
				if err := json.Unmarshal([]byte(v), &e); err != nil {
					return err
				}
				got(id, e)
			}
		}
	}
	return lines.Err()
}

// Who comes back with the id of what he saw last is told only what is new.
func TestEventsResume(t *testing.T) {
	r := rig(t, Options{})
	p := r.person(t)
	p.get("/")
	states := make(chan event, 100)
	ids := make(chan string, 100)
	ctx, cancel := context.WithCancel(t.Context())
	go func() { _ = p.watch(ctx, "", func(id string, e event) { ids <- id; states <- e }) }()
	first, id := <-states, <-ids
	if first.Phase != Ready || !strings.Contains(string(first.HTML), "k041") {
		t.Fatalf("%+v", first)
	}
	cancel()
	ctx, cancel = context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	go func() { _ = p.watch(ctx, id, func(_ string, e event) { states <- e }) }()
	select {
	case e := <-states:
		t.Fatalf("told again what was seen: %s", e.Phase)
	case <-time.After(200 * time.Millisecond):
	}
	r.send(t, Press{})
	for {
		select {
		case e := <-states:
			if e.Phase == Answered {
				return
			}
		case <-ctx.Done():
			t.Fatal("the answer was not told")
		}
	}
}

// timeToAnswer is the median time of n answers.
func (r *rigged) timeToAnswer(t testing.TB, n int) time.Duration {
	t.Helper()
	var all []time.Duration
	for range n {
		begin := time.Now()
		r.send(t, Press{})
		r.phase(t, Answered)
		all = append(all, time.Since(begin))
		r.send(t, Press{})
		r.phase(t, Ready)
	}
	slices.Sort(all)
	return all[n/2]
}

// Those who watch and do not read hold nobody up, and all that they cost is
// given back.
func TestSlowWatchers(t *testing.T) {
	r := rig(t, Options{}, passing())
	r.judge.took = 20 * time.Millisecond
	p := r.person(t)
	p.get("/")
	alone := r.timeToAnswer(t, 5)
	before := runtime.NumGoroutine()
	ctx, cancel := context.WithCancel(t.Context())
	var all sync.WaitGroup
	for range 30 {
		q, _ := http.NewRequestWithContext(ctx, http.MethodGet, r.web.URL+"/events", nil)
		c := *p.Client
		c.Timeout = 0
		w, err := c.Do(q) // the answer's beginning, and then nothing is read
		if err != nil {
			t.Fatal(err)
		}
		all.Go(func() { <-ctx.Done(); w.Body.Close() })
	}
	if slow := r.timeToAnswer(t, 5); slow > alone+time.Second {
		t.Errorf("an answer takes %v with 30 who do not read, %v without", slow, alone)
	}
	cancel()
	all.Wait()
	p.CloseIdleConnections()
	for end := time.Now().Add(15 * time.Second); runtime.NumGoroutine() > before+4 ||
		r.hub.watchers() > 0; time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%d goroutines before, %d after; %d still watch", before, runtime.NumGoroutine(), r.hub.watchers())
		}
	}
}

// There is an end to how many may watch; the bench goes on.
func TestTooManyWatchers(t *testing.T) {
	var h hub
	for range maxWatchers {
		if _, ok := h.join(); !ok {
			t.Fatal("refused too early")
		}
	}
	if _, ok := h.join(); ok {
		t.Error("one too many")
	}
	h.wake()
	h.close()
}

// What is judged when the program ends is recorded before it ends.
func TestStopFinishesTheWrite(t *testing.T) {
	r := rig(t, Options{}, passing())
	r.judge.took = 300 * time.Millisecond
	r.send(t, Press{})
	r.phase(t, Judging)
	r.end()
	<-r.ended
	if len(r.memory.all) != 1 {
		t.Errorf("%d inspections are on record, 1 wanted", len(r.memory.all))
	}
	if err := r.Send(t.Context(), -1, Press{}); err == nil {
		t.Error("a press after the end was taken")
	}
}

// A fault in the work is told, and the bench goes on.
func TestFaultIsTold(t *testing.T) {
	r := rig(t, Options{}, Outcome{}, passing(), passing()) // at the first the judge panics
	r.send(t, Press{})
	if s := r.phase(t, Halted); s.Problem == nil || s.Problem.Key != "problem.fault" {
		t.Errorf("%+v", s.Problem)
	}
	r.send(t, Press{})
	r.phase(t, Answered)
	r.memory.broken = errors.New("the disk is full")
	r.send(t, Press{})
	r.send(t, Press{})
	if s := r.phase(t, Halted); s.Problem.Key != "problem.record" || s.Answer != nil {
		t.Errorf("%+v", s.Problem)
	}
}

// Six thousand units, one after the other, with a browser that watches: nothing
// grows.
func TestManyUnits(t *testing.T) {
	if testing.Short() {
		t.Skip("takes some seconds")
	}
	r := rig(t, Options{}, passing(), reworking())
	r.memory = nil
	r.Recorder = nothing{}
	p := r.person(t)
	p.get("/")
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	go func() { _ = p.watch(ctx, "", func(string, event) {}) }()
	unit := func() {
		r.send(t, Press{})
		r.until(t, "an answer", func(s *Snapshot) bool { return s.Phase == Answered })
		r.send(t, Press{})
	}
	heap := func() (uint64, int) {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc, runtime.NumGoroutine()
	}
	for range 200 {
		unit()
	}
	bytes, goroutines := heap()
	for range 2000 {
		unit()
	}
	after, now := heap()
	if now > goroutines+3 || after > bytes+2<<20 {
		t.Errorf("%d goroutines and %d KiB after 200 units, %d and %d KiB after 2200", goroutines, bytes>>10, now, after>>10)
	}
	if r.shooter.back != r.shooter.took {
		t.Errorf("%d shots taken, %d handed back", r.shooter.took, r.shooter.back)
	}
}

// nothing is a recorder that forgets.
type nothing struct{ *memory }

func (nothing) Add(context.Context, part.Inspection) (int64, error)        { return 1, nil }
func (nothing) History(context.Context, string) ([]part.Inspection, error) { return nil, nil }
func (nothing) Overrule(context.Context, int64, part.Overrule) error       { return nil }
func (nothing) Withdraw(context.Context, int64, string, string) error      { return nil }
