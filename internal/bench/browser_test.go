package bench

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	cdpruntime "github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"finishbench/internal/part"
)

// chromium starts one browser for all tests of a page; it is skipped where none
// is installed.
func chromium(t *testing.T) context.Context {
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
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(exe), chromedp.NoSandbox, chromedp.UserDataDir(t.TempDir()), chromedp.WindowSize(1024, 600),
		chromedp.Flag("disable-quic", true), chromedp.Flag("accept-lang", "en"))
	ctx, cancel := chromedp.NewExecAllocator(context.Background(), opts...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("%s does not start: %v", exe, err)
	}
	return ctx
}

// tab is a browser's page on a bench. Errors that its script throws fail the test.
type tab struct {
	context.Context
	t *testing.T
}

// open opens a bench in a tab with cookies of its own, past the cautions.
func open(t *testing.T, browser context.Context, url string) *tab {
	t.Helper()
	ctx, cancel := chromedp.NewContext(browser, chromedp.WithNewBrowserContext())
	t.Cleanup(cancel)
	ctx, cancel = context.WithTimeout(ctx, 40*time.Second)
	t.Cleanup(cancel)
	b := &tab{ctx, t}
	b.do()
	err := chromedp.Listen(ctx, func(e any) {
		if x, ok := e.(*cdpruntime.EventExceptionThrown); ok {
			t.Errorf("the page's script failed: %+v", x)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	b.do(chromedp.EmulateViewport(1024, 600), chromedp.Navigate(url), chromedp.WaitVisible("button.go"))
	// First run: the cautions, and Enter on their button, which has the focus.
	b.cautions()
	b.phase(Ready)
	return b
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

// await waits until an expression is true.
func (b *tab) await(what, expr string) {
	b.t.Helper()
	for end := time.Now().Add(15 * time.Second); ; time.Sleep(15 * time.Millisecond) {
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

// settle lets an answer stand for the moment in which a press is not taken.
func (b *tab) settle() { time.Sleep(600 * time.Millisecond) }

// see waits for words on the page.
func (b *tab) see(words string) {
	b.t.Helper()
	b.await("“"+words+"”", fmt.Sprintf("document.body.innerText.includes(%q)", words))
}

// cautions are read once by each browser; Enter on their button, which has the
// focus.
func (b *tab) cautions() {
	b.t.Helper()
	b.await("the cautions", "document.body.dataset.ready && document.querySelector('form[action=\"/seen\"]')")
	b.key("\r")
}

// choose takes a choice at the page's top, which loads it again.
func (b *tab) choose(id, value string) {
	b.t.Helper()
	b.js(fmt.Sprintf("delete document.body.dataset.ready; document.getElementById(%q).value = %q; document.getElementById(%q).dispatchEvent(new Event('change', {bubbles: true}))", id, value, id))
	b.await(value, fmt.Sprintf("document.body.dataset.ready && document.getElementById(%q).value === %q", id, value))
}

func (b *tab) key(keys string) { b.t.Helper(); b.do(chromedp.KeyEvent(keys)) }

// TestBrowser tries the page in a browser, one for all.
func TestBrowser(t *testing.T) {
	browser := chromium(t)
	for _, c := range []struct {
		name string
		f    func(*testing.T, context.Context)
	}{
		{"ByKeyboard", browserByKeyboard},
		{"Focus", browserFocus},
		{"LanguageAndLooks", browserLanguageAndLooks},
		{"LostCamera", browserLostCamera},
		{"AskingAndCancel", browserAskingAndCancel},
		{"LostServer", browserLostServer},
		{"Onlooker", browserOnlooker},
		{"Passphrase", browserPassphrase},
		{"Sizes", browserSizes},
	} {
		t.Run(c.name, func(t *testing.T) { c.f(t, browser) })
	}
}

// One unit after the other by keyboard alone: shot, verdict, next, undo,
// overrule, rework, pair.
func browserByKeyboard(t *testing.T, browser context.Context) {
	// In turn: rework, the same again and better, the other side.
	r := rig(t, Options{PedalKeys: []string{"PageDown"}}, reworking(), passing(), rejecting(), passing())
	r.Station.Comparer = nil
	b := open(t, browser, r.web.URL)
	b.await("live picture", "document.querySelector('img.live.here') && document.querySelector('img.live').naturalWidth > 0")
	b.await("gauges", "document.querySelectorAll('.aid .gauge').length === 3")

	// A reader types the serial and ends with Enter; that does not start.
	b.do(chromedp.Focus("#serial"))
	b.js("document.getElementById('serial').select()")
	b.key("r77\r")
	r.until(t, "the serial", func(s *Snapshot) bool { return s.Unit.Serial == "r77" })
	b.await("focus on the start button", "document.activeElement.id === 'go'")
	b.key(" ")
	b.phase(Answered)
	b.key(" ") // in haste: the answer stays
	b.see("REWORK")
	b.see("Faceplate proud by 92 µm at 120°, left (limit 50 µm).")
	b.see("Wipe the lacquer off, sand the faceplate's edge flush, lacquer again.")
	b.await("both pictures", "[...document.querySelectorAll('.body img')].length === 2 && [...document.querySelectorAll('.body img')].every(i => i.complete && i.naturalWidth > 0)")
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
	b.key(kb.Tab)
	b.await("the button", "document.activeElement.closest('dialog') && document.activeElement.tagName === 'BUTTON'")
	b.key("\r")
	b.see("Overruled by")
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

	// Undo: the answer is withdrawn, its unit comes back.
	b.key("u")
	b.phase(Ready)
	b.see("is withdrawn")
	if got := b.js("document.getElementById('serial').value"); got != "r77" {
		t.Errorf("after the undo the serial is %v", got)
	}
	if !r.memory.all[1].Withdrawn {
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

// Every control is reached by Tab, shows its focus, and Tab comes round.
func browserFocus(t *testing.T, browser context.Context) {
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
		if w := fmt.Sprint(b.js("(e => {var s = getComputedStyle(e.type === 'radio' ? e.nextElementSibling : e); return e === document.body || s.outlineStyle !== 'none' || s.boxShadow !== 'none'})(document.activeElement)")); w != "true" {
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
func browserLanguageAndLooks(t *testing.T, browser context.Context) {
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
		if w != "Finishbench" && w != "English" && w != "Esc" {
			t.Errorf("the Chinese page says %q", w)
		}
	}
}

// A camera that is lost in the middle is told, the shots stay, and it goes on
// from there.
func browserLostCamera(t *testing.T, browser context.Context) {
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
func browserAskingAndCancel(t *testing.T, browser context.Context) {
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
func browserLostServer(t *testing.T, browser context.Context) {
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
	again.send(t, Edit{UnitInfo{Serial: "z900", Stage: part.Wet}, FollowNumber})
	l, err = net.Listen("tcp", l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	second := serve(l, again.server)
	defer second.Close()
	b.await("the new state", "document.getElementById('serial') && document.getElementById('serial').value === 'z900'")
	b.await("no “lost”", "document.getElementById('lost').hidden")
	b.key(" ")
	b.phase(Answered)
}

// Two browsers on one bench see the same.
func browserOnlooker(t *testing.T, browser context.Context) {
	r := rig(t, Options{}, reworking())
	one, two := open(t, browser, r.web.URL), open(t, browser, r.web.URL)
	one.key(" ")
	two.phase(Answered)
	two.see("REWORK")
	two.settle()
	two.key(" ")
	one.phase(Ready)
}

// With a passphrase, on a tablet.
func browserPassphrase(t *testing.T, browser context.Context) {
	line, _ := HashPassphrase("a cured coat is hard")
	pass, err := ParsePassphrase(line)
	if err != nil {
		t.Fatal(err)
	}
	r := rig(t, Options{Passphrase: pass}, passing())
	ctx, cancel := chromedp.NewContext(browser, chromedp.WithNewBrowserContext())
	defer cancel()
	ctx, cancel = context.WithTimeout(ctx, 30*time.Second)
	defer cancel()
	b := &tab{ctx, t}
	b.do(chromedp.Navigate(r.web.URL), chromedp.WaitVisible("input[type=password]"))
	b.key("not the passphrase\r")
	b.see("That is not the passphrase")
	b.do(chromedp.WaitVisible("input[type=password]"))
	b.key("a cured coat is hard\r")
	b.cautions()
	b.phase(Ready)
	b.key(" ")
	b.phase(Answered)
}

// No state needs more room than its screen has, and each keeps its next step in
// sight: from a small panel to 4K, light and dark, both languages. With
// FINISHBENCH_STORIES each is stored as a picture.
func browserSizes(t *testing.T, browser context.Context) {
	dir := os.Getenv("FINISHBENCH_STORIES")
	type look struct {
		w, h  int64
		theme string
		lang  string
	}
	looks := []look{{1024, 600, "dark", "zh-Hans"}, {3840, 2160, "light", "en"}, {820, 1180, "light", "zh-Hans"}, {1024, 600, "light", "en"}}
	if dir != "" {
		looks = append(looks, look{1920, 1080, "dark", "en"})
	}
	for _, name := range []string{"ready", "asking", "halted", "rework", "not measured", "second time, with pair"} {
		_, r := stories[name](t)
		ctx, cancel := chromedp.NewContext(browser, chromedp.WithNewBrowserContext())
		ctx, stop := context.WithTimeout(ctx, 40*time.Second)
		b := &tab{ctx, t}
		b.do(chromedp.Navigate(r.web.URL), chromedp.WaitVisible("button.go"))
		b.cautions()
		b.await("the state", "document.querySelector('[data-phase]')")
		for _, l := range looks {
			b.do(chromedp.EmulateViewport(l.w, l.h))
			b.js(fmt.Sprintf("delete document.body.dataset.ready; document.getElementById('lang').value = %q; document.getElementById('theme').value = %q; document.getElementById('set').submit()", l.lang, l.theme))
			b.await("the looks", fmt.Sprintf("document.body.dataset.ready && document.documentElement.lang === %q && document.documentElement.dataset.theme === %q && document.querySelector('[data-phase]') && document.readyState === 'complete' && [...document.images].every(i => i.complete)", l.lang, l.theme))
			if wide := b.js("document.documentElement.scrollWidth").(float64); int64(wide) > l.w {
				t.Errorf("%s at %dx%d, %s: needs %g px", name, l.w, l.h, l.lang, wide)
			}
			if l.w > l.h {
				if bottom := b.js("document.querySelector('#view .go').getBoundingClientRect().bottom").(float64); int64(bottom) > l.h {
					t.Errorf("%s at %dx%d, %s: the next step ends at %g", name, l.w, l.h, l.lang, bottom)
				}
			}
			if dir != "" {
				png, err := chromedp.Run(b, chromedp.CaptureScreenshot())
				if err != nil {
					t.Fatal(err)
				}
				put(t, filepath.Join(dir, fmt.Sprintf("%s-%dx%d-%s-%s.png", strings.ReplaceAll(name, " ", "_"), l.w, l.h, l.theme, l.lang)), png)
			}
		}
		stop()
		cancel()
	}
}
