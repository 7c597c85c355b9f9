package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"finishbench/internal/bench"
)

// benchBrowser does over the network what the bench's page does in a browser: it
// follows the events, shows each state's pictures, asks for the live ones at the
// pace that the page is told, and sends presses.
type benchBrowser struct {
	http  *http.Client
	base  string // "http://127.0.0.1:8080"
	token string
	lang  string

	mu     sync.Mutex
	state  benchEvent
	at     time.Time         // when it came
	fresh  chan struct{}     // closed at the next state
	kept   map[string]string // type of content by address, as the browser's cache has it
	served int               // bytes of pictures
	faults []string          // what could not be fetched
	past   []benchEvent      // the latest states, oldest first
}

// benchEvent is a state as the server sends it to the page's script.
type benchEvent struct {
	HTML  string      `json:"html"`
	Phase bench.Phase `json:"phase"`

	images, lives [][]string // matches of imageOnPage and liveOnPage
}

// turn is what a press says it saw.
func (e benchEvent) turn() string {
	if m := turnOnPage.FindStringSubmatch(e.HTML); m != nil {
		return m[1]
	}
	return ""
}

var (
	tokenOnPage = regexp.MustCompile(`data-token="([^"]+)"`)
	bootOnPage  = regexp.MustCompile(`data-boot="([^"]+)"`)
	imageOnPage = regexp.MustCompile(`<img src="([^"]+)"`)
	liveOnPage  = regexp.MustCompile(`<img class="live" data-live="([^"]+)" data-every="(\d+)"`)
	turnOnPage  = regexp.MustCompile(`data-turn="(\d+)"`)
	tagOnPage   = regexp.MustCompile(`<[^>]*>`)
)

// openBrowser opens the page at base in a language, and follows it until the test
// ends. Pictures are fetched too where looks is true.
func openBrowser(t testing.TB, base, lang string, looks bool) *benchBrowser {
	t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	b := &benchBrowser{http: &http.Client{Jar: jar, Transport: &http.Transport{}}, base: strings.TrimSuffix(base, "/"), lang: lang,
		fresh: make(chan struct{}), kept: map[string]string{}}
	u, err := url.Parse(b.base)
	if err != nil {
		t.Fatal(err)
	}
	jar.SetCookies(u, []*http.Cookie{{Name: "seen", Value: "1"}, {Name: "lang", Value: lang}})
	page, err := b.get(t.Context(), "/", "text/html")
	if err != nil {
		t.Fatal(err)
	}
	m, boot := tokenOnPage.FindStringSubmatch(page), bootOnPage.FindStringSubmatch(page)
	if m == nil || boot == nil {
		t.Fatalf("no token on the page: %.300s", page)
	}
	b.token = m[1]
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		b.follow(ctx, looks)
	}()
	t.Cleanup(func() { b.close(cancel, done) })
	b.until(t, "the first state", func(benchEvent) bool { return true })
	return b
}

func (b *benchBrowser) close(cancel context.CancelFunc, done chan struct{}) {
	cancel()
	<-done
	b.http.CloseIdleConnections()
}

// get fetches a text.
func (b *benchBrowser) get(ctx context.Context, path, accept string) (string, error) {
	q, err := http.NewRequestWithContext(ctx, http.MethodGet, b.base+path, nil)
	if err != nil {
		return "", err
	}
	q.Header.Set("Accept", accept)
	w, err := b.http.Do(q)
	if err != nil {
		return "", err
	}
	defer w.Body.Close()
	text, err := io.ReadAll(w.Body)
	if err == nil && w.StatusCode != http.StatusOK {
		err = fmt.Errorf("%s: %s: %.200s", path, w.Status, text)
	}
	return string(text), err
}

// follow takes the events until ctx ends, and comes back when the connection breaks.
func (b *benchBrowser) follow(ctx context.Context, looks bool) {
	for id := ""; ctx.Err() == nil; {
		id = b.events(ctx, id, looks)
		select {
		case <-ctx.Done():
		case <-time.After(100 * time.Millisecond):
		}
	}
}

// events follows one connection; it returns the id of what it saw last.
func (b *benchBrowser) events(ctx context.Context, id string, looks bool) string {
	q, err := http.NewRequestWithContext(ctx, http.MethodGet, b.base+"/events", nil)
	if err != nil {
		return id
	}
	q.Header.Set("X-Script", "1")
	q.Header.Set("Last-Event-ID", id)
	w, err := b.http.Do(q)
	if err != nil {
		return id
	}
	defer w.Body.Close()
	var pictures sync.WaitGroup
	defer pictures.Wait()
	var turn turns
	defer turn.end()
	r := bufio.NewReaderSize(w.Body, 256<<10)
	for kind := ""; ; {
		line, err := r.ReadString('\n')
		if err != nil {
			return id
		}
		line = strings.TrimSuffix(line, "\n")
		if v, ok := strings.CutPrefix(line, "event: "); ok {
			kind = v
		} else if v, ok := strings.CutPrefix(line, "id: "); ok {
			id = v
		}
		data, ok := strings.CutPrefix(line, "data: ")
		if !ok || kind != "state" {
			continue
		}
		e, err := parsed(id+b.lang, data)
		if err != nil {
			b.fault("an event that cannot be read: %v", err)
			continue
		}
		b.take(e)
		now := turn.next(ctx)
		if looks {
			pictures.Go(func() { b.show(now, ctx, e) })
		}
	}
}

// parsed reads an event once for all browsers of a test: fifty real ones read it
// on machines of their own.
func parsed(id, data string) (benchEvent, error) {
	readEvents.Lock()
	defer readEvents.Unlock()
	if had, ok := readEvents.by[id]; ok && had.data == data {
		return had.benchEvent, nil
	}
	had := readEvent{data: data}
	if err := json.Unmarshal([]byte(data), &had.benchEvent); err != nil {
		return had.benchEvent, err
	}
	had.images, had.lives = imageOnPage.FindAllStringSubmatch(had.HTML, -1), liveOnPage.FindAllStringSubmatch(had.HTML, -1)
	if readEvents.by == nil || len(readEvents.by) > 50 {
		readEvents.by = map[string]readEvent{}
	}
	readEvents.by[id] = had
	return had.benchEvent, nil
}

type readEvent struct {
	benchEvent
	data string
}

var readEvents struct {
	sync.Mutex
	by map[string]readEvent
}

// turns gives each state a context that ends with it.
type turns struct{ stop context.CancelFunc }

func (x *turns) next(ctx context.Context) context.Context {
	x.end()
	ctx, x.stop = context.WithCancel(ctx)
	return ctx
}

func (x *turns) end() {
	if x.stop != nil {
		x.stop()
	}
}

func (b *benchBrowser) fault(format string, a ...any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.faults = append(b.faults, fmt.Sprintf(format, a...))
}

func (b *benchBrowser) take(e benchEvent) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.state, b.at = e, time.Now()
	if b.past = append(b.past, e); len(b.past) > 300 {
		b.past = slices.Delete(b.past, 0, 100)
	}
	close(b.fresh)
	b.fresh = make(chan struct{})
}

// show fetches a state's pictures, and the live ones until the next state.
func (b *benchBrowser) show(turn, ctx context.Context, e benchEvent) {
	var all sync.WaitGroup
	defer all.Wait()
	for _, m := range e.images {
		if strings.Contains(m[1], "/record/") {
			continue // shown when it is scrolled to
		}
		all.Go(func() {
			if err := b.picture(ctx, m[1], true); err != nil && turn.Err() == nil {
				b.fault("%s: %v", m[1], err)
			}
		})
	}
	for _, m := range e.lives {
		every, err := strconv.Atoi(m[2])
		if err != nil {
			continue
		}
		all.Go(func() { b.live(turn, m[1], time.Duration(every)*time.Millisecond) })
	}
}

func (b *benchBrowser) live(turn context.Context, camera string, every time.Duration) {
	for n := 0; turn.Err() == nil; n++ {
		wait := every
		if b.picture(turn, "/live/"+url.PathEscape(camera)+"?n="+strconv.Itoa(n), false) != nil {
			wait = 1500 * time.Millisecond
		}
		select {
		case <-turn.Done():
		case <-time.After(wait):
		}
	}
}

// picture fetches a picture, unless the cache has it.
func (b *benchBrowser) picture(ctx context.Context, path string, keep bool) error {
	b.mu.Lock()
	_, have := b.kept[path]
	b.mu.Unlock()
	if have {
		return nil
	}
	q, err := http.NewRequestWithContext(ctx, http.MethodGet, b.base+path, nil)
	if err != nil {
		return err
	}
	w, err := b.http.Do(q)
	if err != nil {
		return err
	}
	defer w.Body.Close()
	n, err := io.Copy(io.Discard, w.Body)
	if err == nil && w.StatusCode != http.StatusOK {
		err = fmt.Errorf("%s", w.Status)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.served += int(n)
	if err == nil && keep {
		if len(b.kept) > 50 {
			clear(b.kept)
		}
		b.kept[path] = w.Header.Get("Content-Type")
	}
	return err
}

// until waits for a state, and returns it with the moment when it came.
func (b *benchBrowser) until(t testing.TB, what string, ok func(benchEvent) bool) (benchEvent, time.Time) {
	t.Helper()
	return b.within(t, 3*time.Minute, what, ok) // long runs go on while the machine is busy with other things
}

func (b *benchBrowser) within(t testing.TB, most time.Duration, what string, ok func(benchEvent) bool) (benchEvent, time.Time) {
	t.Helper()
	end := time.After(most)
	for {
		b.mu.Lock()
		e, at, fresh := b.state, b.at, b.fresh
		b.mu.Unlock()
		if !at.IsZero() && ok(e) {
			return e, at
		}
		select {
		case <-fresh:
		case <-end:
			t.Fatalf("%s did not come within %v; the page says: %s", what, most, e.text())
		}
	}
}

func (b *benchBrowser) phase(t testing.TB, p bench.Phase) benchEvent {
	t.Helper()
	e, _ := b.until(t, string(p), func(e benchEvent) bool { return e.Phase == p })
	return e
}

// text is what a person reads in a state.
func (e benchEvent) text() string {
	return strings.Join(strings.Fields(tagOnPage.ReplaceAllString(e.HTML, " ")), " ")
}

// do sends what a person wants, with the turn that the page shows.
func (b *benchBrowser) do(t testing.TB, what string, fields url.Values) {
	t.Helper()
	b.mu.Lock()
	turn := b.state.turn()
	b.mu.Unlock()
	form := url.Values{"turn": {turn}}
	for k, v := range fields {
		form[k] = v
	}
	q, err := http.NewRequestWithContext(t.Context(), http.MethodPost, b.base+"/do/"+what, strings.NewReader(form.Encode()))
	if err != nil {
		t.Fatal(err)
	}
	q.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	q.Header.Set("X-Script", "1")
	q.Header.Set("X-Token", b.token)
	w, err := b.http.Do(q)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Body.Close()
	if text, _ := io.ReadAll(w.Body); w.StatusCode != http.StatusNoContent {
		t.Fatalf("%s: %s: %s", what, w.Status, text)
	}
}

// start presses for a unit with this serial.
func (b *benchBrowser) start(t testing.TB, serial string) {
	t.Helper()
	b.do(t, "press", url.Values{"serial": {serial}, "side": {"L"}, "stage": {"wet"}, "follow": {bench.FollowNumber}})
}

// answer has a unit judged, and goes on to the next; it returns the time from the
// press to the verdict's arrival at the page.
func (b *benchBrowser) answer(t testing.TB, serial string) time.Duration {
	t.Helper()
	b.phase(t, bench.Ready)
	begin := time.Now()
	b.start(t, serial)
	e, at := b.until(t, "an answer", func(e benchEvent) bool { return e.Phase == bench.Answered || e.Phase == bench.Halted })
	if e.Phase == bench.Halted {
		t.Fatalf("no answer: %s", e.text())
	}
	b.do(t, "press", nil)
	b.phase(t, bench.Ready)
	return at.Sub(begin)
}

// read waits until the page has said a text since it was last forgotten.
func (b *benchBrowser) read(t testing.TB, parts ...string) string {
	t.Helper()
	said := ""
	b.within(t, 30*time.Second, fmt.Sprintf("%q in %s", parts, b.lang), func(benchEvent) bool {
		b.mu.Lock()
		defer b.mu.Unlock()
		for _, e := range b.past {
			text := e.text()
			if !slices.ContainsFunc(parts, func(p string) bool { return !strings.Contains(text, p) }) {
				said = text
				return true
			}
		}
		return false
	})
	return said
}

// forget empties what read looks at.
func (b *benchBrowser) forget() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.past = nil
}

// told is what could not be fetched.
func (b *benchBrowser) told() (faults []string, served int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return slices.Clone(b.faults), b.served
}
