package bench

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/network"
	cdpruntime "github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"finishbench/internal/part"
	"finishbench/internal/people"
)

// aBrowser is one browser for all tests of the page. Its first tab is used by one
// test after the other: a new one costs seconds on a busy machine.
type aBrowser struct {
	context.Context
	now atomic.Pointer[testing.T] // the test that has the first tab
}

// chromium starts a browser; the test is skipped where none is installed.
func chromium(t *testing.T) *aBrowser {
	t.Helper()
	if testing.Short() {
		t.Skip("the browser is left out of short tests")
	}
	exe := ""
	for _, n := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(n); err == nil {
			exe = p
			break
		}
	}
	if exe == "" {
		t.Skip("no chromium here: the bench was not tried in a browser")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(exe), chromedp.NoSandbox, chromedp.UserDataDir(t.TempDir()),
		chromedp.WindowSize(1024, 600),
		chromedp.Flag("disable-quic", true), chromedp.Flag("accept-lang", "en"))
	ctx, cancel := chromedp.NewExecAllocator(context.Background(), opts...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("%s does not start: %v", exe, err)
	}
	b := &aBrowser{Context: ctx}
	b.now.Store(t)
	listen(t, ctx, func() *testing.T { return b.now.Load() })
	return b
}

// listen fails a test when the page's script throws an error.
func listen(t *testing.T, ctx context.Context, now func() *testing.T) {
	err := chromedp.Listen(ctx, func(e any) {
		if x, ok := e.(*cdpruntime.EventExceptionThrown); ok {
			now().Errorf("the page's script failed: %+v", x)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
}

// tab is a browser's page on a bench.
type tab struct {
	context.Context
	t *testing.T
}

// tabTime bounds what a test does in a tab.
const tabTime = 2 * time.Minute

// first is the browser's tab, without what tests before left in it.
func (br *aBrowser) first(t *testing.T) *tab {
	t.Helper()
	ctx, cancel := context.WithTimeout(br, tabTime)
	t.Cleanup(cancel)
	b := &tab{ctx, t}
	br.now.Store(t)
	t.Cleanup(func() { _ = chromedp.Do(ctx, chromedp.Navigate("about:blank")) }) // before its bench ends
	// First the page, then its cookies: one that is refused for want of them loads itself again, over the next one.
	b.do(chromedp.Navigate("about:blank"))
	if _, err := chromedp.Call(ctx, network.ClearBrowserCookies, cdp.Empty{}); err != nil {
		t.Fatal(err)
	}
	b.do(chromedp.EmulateViewport(1024, 600))
	return b
}

// open opens a bench in the first tab, past the cautions.
func open(t *testing.T, br *aBrowser, url string) *tab {
	t.Helper()
	b := br.first(t)
	b.begin(url)
	return b
}

// another opens a bench in a tab of its own, with cookies of its own.
func another(t *testing.T, br *aBrowser, url string) *tab {
	t.Helper()
	b := br.beside(t)
	b.begin(url)
	return b
}

// beside is a tab of its own, with cookies of its own.
func (br *aBrowser) beside(t *testing.T) *tab {
	t.Helper()
	ctx, cancel := chromedp.NewContext(br, chromedp.WithNewBrowserContext())
	t.Cleanup(cancel)
	ctx, cancel = context.WithTimeout(ctx, tabTime)
	t.Cleanup(cancel)
	b := &tab{ctx, t}
	b.do()
	listen(t, ctx, func() *testing.T { return t })
	return b
}

// begin goes to a bench. First run: the cautions, and Enter on their button,
// which has the focus.
func (b *tab) begin(url string) {
	b.t.Helper()
	b.do(chromedp.Navigate(url))
	b.cautions()
	b.phase(Ready)
}

func (b *tab) do(a ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b, a...); err != nil {
		b.t.Fatalf("browser: %v", err)
	}
}

func (b *tab) js(expr string) any {
	b.t.Helper()
	v, err := chromedp.Run(b, chromedp.Evaluate[any](expr))
	if err != nil {
		b.t.Fatalf("browser: %s: %v", expr, err)
	}
	return v
}

// patience is how long what must come may take: long, since a browser on a machine with ten times the
// work that it can do has stood for 15 s before a page that was on its way. Only what fails takes so long.
const patience = 45 * time.Second

// await waits until an expression is true.
func (b *tab) await(what, expr string) {
	b.t.Helper()
	for end := time.Now().Add(patience); ; time.Sleep(15 * time.Millisecond) {
		ok, err := chromedp.Run(b, chromedp.Evaluate[bool]("!!("+expr+")"))
		if err == nil && ok {
			return
		}
		if time.Now().After(end) || b.Err() != nil {
			text, _ := chromedp.Run(b, chromedp.Evaluate[string]("document.body.innerText.slice(0,600)"))
			b.t.Fatalf("%s did not come (%v); the page says:\n%s", what, err, text)
		}
	}
}

func (b *tab) phase(p Phase) {
	b.t.Helper()
	b.await(string(p), fmt.Sprintf("document.body.dataset.ready && document.querySelector('[data-phase=%s]')", p))
}

// settle waits until an answer has stood for the moment in which a press does not
// take it away.
func (b *tab) settle() {
	b.t.Helper()
	b.await("the end of the moment", "!document.body.dataset.standing")
}

// see waits for words on the page.
func (b *tab) see(words string) {
	b.t.Helper()
	b.await("“"+words+"”", fmt.Sprintf("document.body.innerText.includes(%q)", words))
}

// onCautions says that the cautions are there and their button has the focus.
const onCautions = `document.body.dataset.ready && document.activeElement.closest("form[action='/seen']")`

// cautions are read once by each browser; Enter on their button, which has the
// focus.
func (b *tab) cautions() {
	b.t.Helper()
	b.await("the cautions", onCautions)
	b.key("\r")
}

// choose takes a choice at the page's top, which loads it again.
func (b *tab) choose(id, value string) {
	b.t.Helper()
	b.js(fmt.Sprintf("delete document.body.dataset.ready; document.getElementById(%q).value = %q; "+
		"document.getElementById(%q).dispatchEvent(new Event('change', {bubbles: true}))", id, value, id))
	b.await(value, fmt.Sprintf("document.body.dataset.ready && document.getElementById(%q).value === %q", id, value))
}

func (b *tab) key(keys string) { b.t.Helper(); b.do(chromedp.KeyEvent(keys)) }

// TestBrowser tries the page in a browser, one for all.
func TestBrowser(t *testing.T) {
	browser := chromium(t)
	for _, c := range []struct {
		name string
		f    func(*testing.T, *aBrowser)
	}{
		{"ByKeyboard", browserByKeyboard},
		{"Gaps", browserGaps},
		{"Scans", browserScans},
		{"NoScans", browserNoScans},
		{"ScansElsewhere", browserScansElsewhere},
		{"ScanPages", browserScanPages},
		{"BadScans", browserBadScans},
		{"Keyboards", browserKeyboards},
		{"HeldKeys", browserHeldKeys},
		{"Sleep", browserSleep},
		{"TwoReaders", browserTwoReaders},
		{"Clock", browserClock},
		{"FirstLetters", browserFirstLetters},
		{"Haste", browserHaste},
		{"Typing", browserTyping},
		{"Focus", browserFocus},
		{"LanguageAndLooks", browserLanguageAndLooks},
		{"LostCamera", browserLostCamera},
		{"AskingAndCancel", browserAskingAndCancel},
		{"LostServer", browserLostServer},
		{"Onlooker", browserOnlooker},
		{"Passphrase", browserPassphrase},
		{"People", browserPeople},
		{"PeopleSizes", browserPeopleSizes},
		{"Sizes", browserSizes},
		{"LooksFaults", browserLooksFaults},
		{"Axe", browserAxe},
	} {
		t.Run(c.name, func(t *testing.T) { c.f(t, browser) })
	}
}

// One unit after the other by keyboard alone: shot, verdict, next, undo,
// overrule, rework, pair.
func browserByKeyboard(t *testing.T, browser *aBrowser) {
	// In turn: rework, the same again and better, the other side.
	r := rig(t, Options{PedalKeys: []string{"PageDown"}}, reworking(), passing(), rejecting(), passing())
	b := open(t, browser, r.web.URL)
	b.await("live picture", "document.querySelector('img.live.here') && document.querySelector('img.live').naturalWidth > 0")
	b.await("gauges", "document.querySelectorAll('.aid .gauge').length === 3")

	// A reader types the serial and ends with Enter, or two; that does not start.
	b.do(chromedp.Focus("#serial"))
	b.js("document.getElementById('serial').select()")
	b.strike("r77\r\r", 5*time.Millisecond)
	r.until(t, "the serial", func(s *Snapshot) bool { return s.Unit.Serial == "r77" })
	b.await("focus on the start button", "document.activeElement.id === 'go'")
	if s := r.Snapshot(); s.Phase != Ready {
		t.Fatalf("the reader's Enter started: %s", s.Phase)
	}
	b.key(" ")
	b.phase(Answered)
	b.see("REWORK")
	b.see("Faceplate proud by 92 µm at 120°, left (limit 50 µm).")
	b.see("Wipe the lacquer off, sand the faceplate's edge flush, lacquer again.")
	b.await("both pictures",
		"[...document.querySelectorAll('.body img')].length === 2 && [...document.querySelectorAll('.body img')].every(i => i.complete "+
			"&& i.naturalWidth > 0)")
	b.await("tone", "document.body.dataset.toned === 'rework'")
	if h := b.js("document.querySelector('.word').getBoundingClientRect().height").(float64); h < 100 {
		t.Errorf("the verdict is %g px high on a screen of 600", h)
	}
	for _, what := range []string{".word", ".why", ".todo", ".body .main img", ".body .crop img", ".acts .go"} {
		if bottom := b.js(fmt.Sprintf("document.querySelector(%q).getBoundingClientRect().bottom", what)).(float64); bottom > 601 {
			t.Errorf("%s ends at %g, below the screen's 600", what, bottom)
		}
	}
	b.await("nothing too wide", "document.documentElement.scrollWidth <= 1024")

	// Overrule: o, choose by arrows, Enter; Escape leaves it.
	b.key("o")
	b.await("the choice", "document.querySelector('dialog[open]')")
	b.key(kb.Escape)
	b.await("no choice", "!document.querySelector('dialog[open]')")
	b.key("o")
	b.await("the choice", "document.querySelector('dialog[open]')")
	b.key(" ")
	b.key(kb.Tab)
	b.key(kb.ArrowDown + kb.ArrowDown) // from none: the first, the second
	b.key(kb.Tab)
	b.key("finisher 3")
	b.key(kb.Tab)
	b.key(kb.Tab)
	b.await("the button", "document.activeElement.closest('dialog') && document.activeElement.tagName === 'BUTTON'")
	b.key("\r")
	b.see("Overruled by finisher 3: pass.")
	b.see("Go on to curing.")
	if said := fmt.Sprint(b.js("document.querySelector('#view').innerText")); strings.Contains(said, "Wipe") ||
		strings.Contains(said, "sand") {
		t.Errorf("a pass by a person's call, and the tool's remedy stays: %s", said)
	}
	if o := r.memory.all[0].Overruled; o == nil || o.Verdict != part.Pass || r.memory.all[0].Result.Verdict != part.Rework {
		t.Errorf("on record: %+v beside %s", o, r.memory.all[0].Result.Verdict)
	}

	// A press in haste does not take the answer away; later it goes on.
	b.settle()
	b.key(" ")
	b.phase(Ready)
	// Rework: the same serial again, by the pedal.
	b.js("var s=document.getElementById('serial'); s.focus(); s.select()")
	b.key("r77")
	b.key(kb.PageDown)
	b.phase(Answered)
	b.see("PASS")
	b.see("Before and after")

	// Undo asks once, and tells what it withdraws: keeping it has the focus.
	b.key("u")
	b.await("the question", "document.querySelector('#undo[open]')")
	for _, told := range []string{"Withdraw r77-R?", "right", "lacquer wet", "pass", "Record 2"} {
		b.see(told)
	}
	b.key("\r")
	b.await("no question", "!document.querySelector('dialog[open]')")
	if r.memory.all[1].Withdrawn != nil || r.Snapshot().Phase != Answered {
		t.Fatal("withdrawn without having been told so")
	}
	b.key("u")
	b.await("the question", "document.querySelector('#undo[open]')")
	b.key(kb.Tab + "\r")
	b.phase(Ready)
	b.see("is withdrawn")
	// The undo is undone, and made again.
	b.js("document.querySelector('[data-do=restore]').click()")
	b.phase(Answered)
	b.see("r77-R is back")
	if r.memory.all[1].Withdrawn != nil {
		t.Error("still withdrawn on record")
	}
	b.key("u")
	b.await("the question", "document.querySelector('#undo[open]')")
	b.key(kb.Tab + "\r")
	b.phase(Ready)
	if got := b.js("document.getElementById('serial').value"); got != "r77" {
		t.Errorf("after the undo the serial is %v", got)
	}
	if r.memory.all[1].Withdrawn == nil {
		t.Error("not withdrawn on record")
	}

	// Pair: the other side, chosen by arrow keys.
	b.do(chromedp.Focus("input[name=side][value=R]"))
	b.key(kb.ArrowLeft)
	r.until(t, "left", func(s *Snapshot) bool { return s.Unit.Side == "L" })
	b.key(" ")
	b.phase(Answered)
	b.see("REJECT")
	b.see("Left and right")
	b.await("table of the pair", "document.querySelectorAll('.pair-table tbody tr').length >= 4")
	b.do(chromedp.Navigate(r.web.URL + "/look?serial=r77"))
	b.see("On record")
	b.await("three inspections", "document.querySelectorAll('.look table:last-of-type tbody tr').length >= 3")
}

// A press in the moment after the answer came leaves it; a later one goes on.
func browserHaste(t *testing.T, browser *aBrowser) {
	r := rig(t, Options{}, reworking())
	b := open(t, browser, r.web.URL)
	// The page's own clock decides, so the press is made in it, as the answer comes.
	b.js(`new MutationObserver((_, o) => {
		if (!document.querySelector("[data-phase=answered]")) return;
		o.disconnect();
		window.pressed = document.body.dataset.standing || "no";
		document.body.dispatchEvent(new KeyboardEvent("keydown", {key: " ", bubbles: true}));
	}).observe(document.body, {attributes: true, attributeFilter: ["data-standing"]})`)
	b.key(" ")
	b.phase(Answered)
	b.await("the press in haste", "window.pressed === '1'")
	b.settle()
	if s := r.Snapshot(); s.Phase != Answered {
		t.Fatalf("a press in haste took the answer away: %s", s.Phase)
	}
	b.key(" ")
	b.phase(Ready)
}

// What was typed outlives states from before it, however slowly edits are
// answered.
func browserTyping(t *testing.T, browser *aBrowser) {
	r := rig(t, Options{}, passing())
	slow := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, q *http.Request) {
		r.server.ServeHTTP(w, q)
		if q.URL.Path == "/do/edit" { // done and told to all; its answer comes late
			_ = http.NewResponseController(w).Flush()
			time.Sleep(200 * time.Millisecond)
		}
	}))
	t.Cleanup(slow.Close)
	b := open(t, browser, slow.URL)
	b.js(`window.took = 0; setInterval(() => { var o = document.getElementById("operator"); if (window.typed && o && o.value !== "anna") window.took++ }, 5)`)
	b.do(chromedp.Focus("#lot"))
	b.key("W48" + kb.Tab + "anna")
	b.js("window.typed = true")
	b.key(kb.Tab)
	r.until(t, "both on the bench", func(s *Snapshot) bool { return s.Unit.Lot == "W48" && s.Unit.Operator == "anna" })
	b.await("both on the page", "document.getElementById('lot').value === 'W48' && document.getElementById('operator').value === 'anna'")
	if n := b.js("window.took").(float64); n > 0 {
		t.Errorf("what was typed was taken back for a while (%g times looked)", n)
	}
}

// Every control is reached by Tab, shows its focus, and Tab comes round.
func browserFocus(t *testing.T, browser *aBrowser) {
	r := rig(t, Options{})
	b := open(t, browser, r.web.URL)
	seen := map[string]bool{}
	order := []string{}
	for range 40 {
		b.key(kb.Tab)
		id := fmt.Sprint(b.js("(e => e.id || e.name || e.textContent.trim().slice(0,20))(document.activeElement)"))
		if len(order) > 12 && id == order[0] {
			break
		}
		if !seen[id] {
			order = append(order, id)
		}
		seen[id] = true
		if w := fmt.Sprint(b.js("(e => {var s = getComputedStyle(e.type === 'radio' ? e.nextElementSibling : e); return e === " +
			"document.body || s.outlineStyle !== 'none' || s.boxShadow !== 'none'})(document.activeElement)")); w != "true" {
			t.Errorf("%s has the focus and does not show it", id)
		}
	}
	for _, want := range []string{"serial", "side-R", "stage-wet", "lot", "operator", "follow", "go", "lang", "theme", "sound"} {
		if !seen[want] {
			t.Errorf("%s is not reached by Tab; reached: %v", want, order)
		}
	}
	// Letters in a text field are letters.
	b.do(chromedp.Focus("#lot"))
	b.key("uo r7")
	if got := b.js("document.getElementById('lot').value"); got != "uo r7" {
		t.Errorf("the lot is %q", got)
	}
	if s := r.Snapshot(); s.Phase != Ready {
		t.Errorf("typing started %s", s.Phase)
	}
}

// Another language, dark looks, muted: chosen, kept, and told to the page.
func browserLanguageAndLooks(t *testing.T, browser *aBrowser) {
	r := rig(t, Options{}, reworking())
	b := open(t, browser, r.web.URL)
	b.choose("lang", "zh-Hans")
	b.see("开始")
	b.choose("theme", "dark")
	b.await("dark", "document.body.dataset.ready && document.documentElement.dataset.theme === 'dark'")
	b.key(" ")
	b.phase(Answered)
	b.see("返工")
	b.see("处面板凸出 92 µm")
	if lang := b.js("document.documentElement.lang"); lang != "zh-Hans" {
		t.Errorf("lang=%v", lang)
	}
	// No English word is left but names, units and keys.
	words := fmt.Sprint(b.js("[...document.body.innerText.matchAll(/[A-Za-z]{3,}/g)].map(m => m[0]).join(' ')"))
	for _, w := range strings.Fields(words) {
		if w != "Finishbench" && w != "English" && w != "Esc" && w != "PDF" {
			t.Errorf("the Chinese page says %q", w)
		}
	}
}

// A camera that is lost in the middle is told, the shots stay, and it goes on
// from there.
func browserLostCamera(t *testing.T, browser *aBrowser) {
	r := rig(t, Options{}, passing())
	r.shooter.set(func() { r.shooter.stop = 5 })
	b := open(t, browser, r.web.URL)
	b.key(" ")
	b.phase(Halted)
	b.see("the cable is out")
	b.see("5 pictures are kept")
	r.shooter.set(func() { r.shooter.lost = true })
	b.await("the camera's frame", "document.querySelector('.camera.lost')")
	r.shooter.set(func() { r.shooter.lost, r.shooter.stop = false, 0 })
	b.await("the camera again", "document.querySelector('.camera:not(.lost)')")
	b.key(" ")
	b.phase(Answered)
	if r.shooter.took != 8 {
		t.Errorf("%d shots were taken for 8", r.shooter.took)
	}
}

// An operator who has to turn the unit by hand, and one who gives up.
func browserAskingAndCancel(t *testing.T, browser *aBrowser) {
	r := rig(t, Options{}, passing())
	r.shooter.set(func() { r.shooter.asks[2], r.shooter.asks[4] = true, true })
	b := open(t, browser, r.web.URL)
	b.key(" ")
	b.see("Turn the unit to 60°")
	b.key(" ")
	b.see("Turn the unit to 120°")
	b.key(kb.Escape)
	b.phase(Ready)
	b.see("Nothing was recorded")
	if len(r.memory.all) != 0 {
		t.Error("it was recorded")
	}
}

// The program ends and comes back: the page says so, and heals by itself.
func browserLostServer(t *testing.T, browser *aBrowser) {
	r := rig(t, Options{}, passing())
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	serve := func(l net.Listener, h http.Handler) *http.Server {
		s := &http.Server{Handler: h}
		go func() {
			if err := s.Serve(l); !errors.Is(err, http.ErrServerClosed) {
				t.Error(err)
			}
		}()
		return s
	}
	first := serve(l, r.server)
	b := open(t, browser, "http://"+l.Addr().String())
	_ = first.Close()
	b.await("“lost”", "!document.getElementById('lost').hidden")
	// Another run of the program, at the same address, further on.
	again := rig(t, Options{}, passing())
	again.send(t, Edit{part.UnitInfo{Serial: "z900", Stage: part.Wet}, FollowNumber})
	l, err = net.Listen("tcp", l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	second := serve(l, again.server)
	defer second.Close()
	b.await("the new state, and a page that hears keys",
		"document.getElementById('serial') && document.getElementById('serial').value === 'z900' && document.body.dataset.ready === '1'")
	b.await("no “lost”", "document.getElementById('lost').hidden")
	b.key(" ")
	b.phase(Answered)
}

// Two browsers on one bench see the same.
func browserOnlooker(t *testing.T, browser *aBrowser) {
	r := rig(t, Options{}, reworking())
	one, two := open(t, browser, r.web.URL), another(t, browser, r.web.URL)
	one.key(" ")
	two.phase(Answered)
	two.see("REWORK")
	two.settle()
	two.key(" ")
	one.phase(Ready)
}

// With a passphrase, on a tablet.
func browserPassphrase(t *testing.T, browser *aBrowser) {
	pass, err := people.ParseHash(cheaply("a cured coat is hard"))
	if err != nil {
		t.Fatal(err)
	}
	r := rig(t, Options{Passphrase: pass}, passing())
	b := browser.first(t)
	b.do(chromedp.Navigate(r.web.URL), chromedp.WaitVisible("input[type=password]"))
	b.key("nope\r")
	b.see("That is not the passphrase")
	b.do(chromedp.WaitVisible("input[type=password]"))
	b.key("a cured coat is hard\r")
	b.cautions()
	b.phase(Ready)
	b.key(" ")
	b.phase(Answered)
}

// looks are the screens, with mm of a pixel where one is touched in gloves and read at 1 m: a phone,
// a tablet of 9.7 inches both ways, one of 10.9 upright, a panel, a monitor and 4K.
var looks = []struct {
	w, h  int64
	touch bool
	often bool // in make test too
}{
	{1024, 768, true, true}, {1024, 600, false, true}, {390, 844, true, true}, {768, 1024, true, false}, {820, 1180, true, false},
	{1920, 1080, false, false}, {3840, 2160, false, false},
}

// lookThrough leads a tab through all that the page shows, in some languages, and calls look for each.
func lookThrough(t *testing.T, b *tab, langs []string, look func(name string)) {
	in := func(name, what string) {
		slices.Reverse(langs) // the language of before goes on: one page less to load
		for _, lang := range langs {
			if b.js("document.documentElement.lang") != lang {
				at := b.js("location.pathname + location.search")
				b.choose("lang", lang)
				if strings.Contains(at.(string), "?") { // which a choice leaves out
					b.do(chromedp.Navigate(b.js("location.origin").(string) + at.(string)))
				}
			}
			b.await("the pictures",
				"document.body.dataset.ready && document.readyState === 'complete' && [...document.images].every(i => i.complete) && "+what)
			look(name + ", " + lang)
		}
	}
	dialog := func(name string, open func(), id string) {
		open()
		b.await("the choice", "document.querySelector('#"+id+"[open]')")
		look(name)
		b.js("document.querySelector('#" + id + "').close()")
	}
	names := slices.Sorted(maps.Keys(stories))
	for i, name := range names {
		path, r := stories[name](t)
		b.do(chromedp.Navigate(r.web.URL))
		if i == 0 {
			b.await("the cautions", onCautions)
			in("cautions", "document.querySelector('form[action=\"/seen\"]')")
			b.js("document.querySelector('form[action=\"/seen\"] button').click()")
			b.phase(r.Snapshot().Phase)
		}
		if path != "/" {
			b.do(chromedp.Navigate(r.web.URL + path))
		}
		in(name, "document.querySelector(location.pathname === '/' ? '[data-phase]' : 'main section')")
		switch name {
		case "asking":
			dialog("scanned", func() { b.scan("C-900", 5*time.Millisecond) }, "scanned")
		case "rework":
			dialog("overrule", func() { b.js("document.querySelector('[data-open=overrule]').click()") }, "overrule")
			dialog("undo", func() { b.js("document.querySelector('[data-open=undo]').click()") }, "undo")
		case "ready":
			b.scan("no/serial", 5*time.Millisecond)
			b.see("no/serial")
			look("refused scan")
		case "after one":
			dialog("undo the last", func() { b.js("document.querySelector('[data-open=undo]').click()") }, "undo")
			b.js("document.querySelector('[data-do=undo]').click()")
			b.await("what is withdrawn", "document.querySelector('[data-do=restore]')")
			look("after an undo")
		}
	}
}

// No state needs more room than its screen has, each keeps its next step in sight, its words whole
// and readable, what is touched large enough; and on the first screen axe-core finds no fault, where it
// is there. The first screen in both languages, axe-core in each third state; all screens and states with FINISHBENCH_LONG. With
// FINISHBENCH_STORIES each is stored as a picture.
func browserSizes(t *testing.T, browser *aBrowser) {
	dir, long, axe := os.Getenv("FINISHBENCH_STORIES"), os.Getenv("FINISHBENCH_LONG") != "", axeSource()
	for i, l := range looks {
		if !long && !l.often {
			continue
		}
		t.Run(fmt.Sprintf("%dx%d", l.w, l.h), func(t *testing.T) {
			b := browser.first(t)
			if l.touch {
				b.do(chromedp.EmulateViewport(l.w, l.h, chromedp.EmulateTouch))
				t.Cleanup(func() { b.do(chromedp.EmulateViewport(l.w, l.h)) })
			} else {
				b.do(chromedp.EmulateViewport(l.w, l.h))
			}
			n, langs := 0, []string{"en", "zh-Hans"}
			if i > 0 && !long {
				langs = langs[:1]
			}
			lookThrough(t, b, langs, func(name string) {
				theme := []string{"light", "dark"}[(n+i)%2]
				n++
				b.js(fmt.Sprintf("document.documentElement.dataset.theme = %q", theme))
				for _, fault := range b.js("(" + lookedAt + ")(" + fmt.Sprint(l.touch) + ")").([]any) {
					t.Errorf("%s at %dx%d, %s: %v", name, l.w, l.h, theme, fault)
				}
				if i == 0 && axe != "" && (long || n%3 == 1) {
					for _, fault := range b.axe(axe) {
						t.Errorf("%s, %s: %s", name, theme, fault)
					}
				}
				if dir != "" {
					png, err := chromedp.Run(b, chromedp.CaptureScreenshot())
					if err != nil {
						t.Fatal(err)
					}
					put(t, filepath.Join(dir, fmt.Sprintf("%dx%d-%s.png", l.w, l.h, strings.NewReplacer(" ", "_", ",", "").Replace(name))),
						png)
				}
			})
		})
	}
}

// The looking sees a fault where there is one.
func browserLooksFaults(t *testing.T, browser *aBrowser) {
	r := rig(t, Options{}, reworking())
	b := open(t, browser, r.web.URL)
	b.key(" ")
	b.phase(Answered)
	b.js(`document.querySelector(".facts").style.setProperty("color", "#888");
		document.querySelector(".facts").style.setProperty("background", "#fff");
		const word = document.querySelector(".word"), why = document.querySelector(".why"), todo = document.querySelector(".todo");
		word.style.setProperty("font-size", "90px"); why.style.setProperty("font-size", "12px"); todo.textContent = "Incomprehensibilities";
		document.querySelector(".facts").style.setProperty("width", "2000px");
		const go = document.querySelector(".acts .go"), small = document.querySelector("[data-do=retry]");
		for (const [k, v] of [["width", "30px"], ["min-width", "0"], ["flex", "none"], ["overflow-wrap", "anywhere"], ["padding", "0"]])
			go.style.setProperty(k, v);
		for (const [k, v] of [["min-height", "0"], ["height", "21px"], ["padding", "0"], ["min-width", "0"], ["width", "78px"]])
			small.style.setProperty(k, v);`)
	got := fmt.Sprint(b.js("(" + lookedAt + ")(true)"))
	// #888888 on white: relative luminance 0.246, (1.05)/(0.296) = 3.54, from memory of WCAG 2.1's definition.
	for _, want := range []string{"needs 2", "the verdict's letters are", "why: capitals of 1.7 mm, 4.7 wanted", "contrast 3.54",
		"runs off the screen", "breaks inside a word: Next", "to be touched, 15.0 x 4.0 mm: Take"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is not seen: %s", want, got)
		}
	}
}

// lookedAt lists what is wrong with a page as it stands:
//   - wider than the screen; the next step out of sight; words or pictures of an
//     answer under the row of buttons; anything that runs off to the side, or a word that breaks;
//   - the verdict's capitals under a sixth of the height of a lying screen, or two twenty-firsts of
//     its width where that is less (a fifteenth less for round-off; common practice, no source);
//   - capitals of the sentence and the plan under 16 arc minutes at 1 m, and what is touched under
//     15 mm, on a tablet of 9.7 inches, 1024 px or 197 mm long;
//   - text with less contrast than WCAG 2.1 asks for (1.4.3, level AA: 4.5, and 3
//     from 24 px, or from 18.66 px where bold; relative luminance as its
//     definition has it), with opacity as painted.
const lookedAt = `touched => {
	const bad = [], W = innerWidth, H = innerHeight, root = document.documentElement;
	if (root.scrollWidth > W) bad.push("needs " + root.scrollWidth + " px");
	const box = s => { const e = document.querySelector(s); return e && e.getBoundingClientRect(); };
	const go = box("#view .go"), acts = box(".answered>.acts");
	if (W > H && go && go.bottom > H) bad.push("the next step ends at " + go.bottom);
	if (W > H && acts) for (const s of [".why", ".todo", ".body .main img", ".body .crop img"]) {
		const b = box(s);
		if (b && b.bottom > acts.top + 1) bad.push(s + " ends at " + b.bottom + ", under the buttons at " + acts.top);
		if (b && b.width < 20) bad.push(s + " is " + b.width + " px wide");
	}
	const word = document.querySelector(".verdict .word");
	if (word && W > H) {
		const c = document.createElement("canvas").getContext("2d"), st = getComputedStyle(word);
		c.font = st.fontWeight + " " + st.fontSize + " " + st.fontFamily;
		const cap = c.measureText(word.textContent[0]).actualBoundingBoxAscent;
		if (cap < Math.min(H / 6, W / 10.5) * 14 / 15) bad.push("the verdict's letters are " + cap.toFixed() + " px of " + H);
	}
	const mm = 197.1 / 1024, visible = e => e.offsetParent &&
		!e.closest("dialog:not([open]), .unseen, .skip, option, details:not([open]) > :not(summary)") && getComputedStyle(e).visibility === "visible";
	if (Math.max(W, H) >= 1000) for (const e of document.querySelectorAll(".why, .todo, .plan .do")) {
		const c = document.createElement("canvas").getContext("2d"), st = getComputedStyle(e);
		c.font = st.fontWeight + " " + st.fontSize + " " + st.fontFamily;
		const cap = c.measureText("H").actualBoundingBoxAscent * mm, least = 1000 * Math.tan(16 / 60 * Math.PI / 180);
		if (cap < least - 0.1) bad.push(e.className + ": capitals of " + cap.toFixed(1) + " mm, " + least.toFixed(1) + " wanted");
	}
	const modal = document.querySelector("dialog[open]");
	if (touched) for (const e of (modal || document).querySelectorAll("button, select, input, a, summary")) {
		if (!visible(e) || e.type === "hidden" || e.closest(".quiz, svg")) continue;
		const r = (e.type === "radio" || e.type === "checkbox" ? e.closest("label") : e).getBoundingClientRect();
		if (Math.min(r.width, r.height) * mm < 15 - 0.1) bad.push("to be touched, " + (r.width * mm).toFixed(1) + " x " +
			(r.height * mm).toFixed(1) + " mm: " + (e.id || e.name || e.textContent.trim().slice(0, 20)));
	}
	for (const e of (modal || document).querySelectorAll("main *, header *, .settings *, footer *, .band")) {
		if (!visible(e) || e.closest(".scroll, svg, .plot, .sketch") || e.tagName === "OPTION") continue;
		const r = e.getBoundingClientRect();
		if (r.width && (r.left < -1 || r.right > W + 1)) bad.push("runs off the screen, from " + r.left.toFixed() + " to " +
			r.right.toFixed() + ": " + e.tagName + " " + e.textContent.trim().slice(0, 20));
		for (const n of e.childNodes) {
			if (n.nodeType !== 3) continue;
			for (const m of n.data.matchAll(/[\p{Script=Latin}\d]{2,20}/gu)) {
				const range = document.createRange();
				range.setStart(n, m.index);
				range.setEnd(n, m.index + m[0].length);
				const lines = new Set([...range.getClientRects()].filter(q => q.width).map(q => Math.round(q.top)));
				if (lines.size > 1) bad.push("breaks inside a word: " + m[0] + " of " + n.data.trim().slice(0, 30));
			}
		}
	}
	const rgba = s => { const m = s.match(/[\d.]+/g).map(Number); return m.length < 4 ? [...m, 1] : m; };
	const over = (a, b) => [0, 1, 2].map(i => a[i] * a[3] + b[i] * (1 - a[3])).concat(1);
	const lum = c => { const f = v => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; return 0.2126 * f(c[0]) + 0.7152 * f(c[1]) + 0.0722 * f(c[2]); };
	const ground = e => { // what is painted behind an element's letters
		const up = [];
		for (let p = e; p; p = p.parentElement) up.unshift(p);
		let g = [255, 255, 255, 1];
		for (const p of up) g = over(rgba(getComputedStyle(p).backgroundColor), g);
		return g;
	};
	const seen = new Set();
	for (const e of document.querySelectorAll("body *")) {
		if (e.closest("svg, dialog:not([open]), .unseen, .skip, option") || !e.offsetParent) continue;
		const own = [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
		const hint = e.placeholder && !e.value;
		if (!own && !hint && !["INPUT", "SELECT"].includes(e.tagName) || e.type === "radio") continue;
		const st = getComputedStyle(e, hint ? "::placeholder" : null), g = ground(e);
		let c = rgba(st.color), o = 1;
		for (let p = e; p; p = p.parentElement) o *= Number(getComputedStyle(p).opacity);
		c = over([c[0], c[1], c[2], c[3] * o], g);
		const l = [lum(c), lum(g)].sort((a, b) => b - a), ratio = (l[0] + 0.05) / (l[1] + 0.05), px = parseFloat(st.fontSize);
		const least = px >= 24 || px >= 18.66 && Number(st.fontWeight) >= 700 ? 3 : 4.5;
		const text = (hint ? e.placeholder : e.textContent || e.value).trim().slice(0, 30);
		if (ratio < least && !seen.has(text)) { seen.add(text); bad.push("contrast " + ratio.toFixed(2) + " of \u201c" + text + "\u201d"); }
	}
	return bad;
}`
