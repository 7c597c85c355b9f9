package bench

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"finishbench/internal/lots"
	"finishbench/internal/report/plots"
)

// The page about lots in a browser.
func TestBrowserLots(t *testing.T) {
	browser := chromium(t)
	for _, c := range []struct {
		name string
		f    func(*testing.T, *aBrowser)
	}{
		{"ByKeyboard", lotsByKeyboard},
		{"Live", lotsLive},
		{"Moved", lotsMoved},
		{"Dispositions", lotsDispositions},
		{"LanguageAndLooks", lotsLooks},
	} {
		t.Run(c.name, func(t *testing.T) { c.f(t, browser) })
	}
}

// goTo opens a page about lots, past the cautions.
func (b *tab) goTo(path string) {
	b.t.Helper()
	b.do(chromedp.Navigate(path))
	b.await("the page about lots", "document.body.dataset.lotready")
}

// From the list to a lot, its plots, and a signed decision, by keyboard alone.
func lotsByKeyboard(t *testing.T, browser *aBrowser) {
	r, f := lotRig(t, Options{})
	b := open(t, browser, r.web.URL)
	b.goTo(r.web.URL + "/lot")
	b.see("L-4711")
	b.await("the first lot has the focus", "document.activeElement.textContent === 'L-4710'")
	b.key(kb.ArrowDown)
	b.await("the next has it", "document.activeElement.textContent === 'L-4711'")
	b.key(kb.ArrowUp + kb.ArrowUp + kb.ArrowDown)
	b.key("\r")
	b.await("the lot", "document.body.dataset.lotready && document.querySelector('[data-lot]')")
	b.see("WAITS FOR A DECISION")
	b.await("its plots", "document.querySelector('#lot-more svg.plot') && document.querySelector('#lot-more').dataset.ready")
	// The policy takes no style away: the line has its colour from a class.
	if c := fmt.Sprint(b.js("getComputedStyle(document.querySelector('#lot-more path')).stroke")); c == "none" || c == "" {
		t.Errorf("the plot's line is drawn in %q", c)
	}
	b.await("the button has the focus", "document.activeElement.id === 'lot-decide'")
	b.key("d")
	b.await("the choice", "document.querySelector('dialog[open]')")
	b.key(kb.Escape)
	b.await("no choice", "!document.querySelector('dialog[open]')")
	if len(f.steps) != 0 {
		t.Fatal("a decision was taken by opening and closing")
	}
	b.key("d")
	b.await("the choice again", "document.activeElement.name === 'what'")
	b.key(" ") // accept
	b.key(kb.Tab)
	b.key("inspector 2 d l") // letters in a field are letters
	b.key(kb.Tab + kb.Tab)
	b.key(" ")
	b.key(kb.Tab)
	b.await("the button", "document.activeElement.closest('dialog') && document.activeElement.classList.contains('go')")
	b.key("\r")
	b.see("ACCEPTED")
	b.see("Accepted by inspector 2 d l")
	if len(f.steps) != 1 || f.steps[0].What != "accept" || f.steps[0].By != "inspector 2 d l" {
		t.Errorf("%+v", f.steps)
	}
	b.await("no button any more", "document.body.dataset.lotready && !document.querySelector('#lot-decide')")
	b.key("l")
	b.await("the list", "document.querySelector('.lot-list')")
}

// Counts follow the inspection; the plots are asked for again.
func lotsLive(t *testing.T, browser *aBrowser) {
	r, f := lotRig(t, Options{})
	b := open(t, browser, r.web.URL)
	b.goTo(r.web.URL + "/lot/L-4712")
	b.see("20 of 50 units of the sample are inspected")
	f.set(func() {
		s := f.all["L-4712"]
		s.Taken, s.Seq, s.Left = 31, 33, 19
		for i := range s.Plans {
			s.Plans[i].Looked = 31
		}
		s.Plans[1].Count, s.Plans[1].Call, s.State, s.Steps = 2, lots.Refuses, lots.StateToDecide, []string{"refuse"}
	})
	b.see("Class major: 2 counted, and 2 refuse the lot")
	b.await("the button", "document.getElementById('lot-decide')")
	b.await("only what may be signed", "document.querySelectorAll('#decide input[name=what]').length === 1")
}

// What becomes of a unit that does not pass is signed on the page; a screening names the
// serials that it took out.
func lotsDispositions(t *testing.T, browser *aBrowser) {
	r, f := lotRig(t, Options{})
	b := open(t, browser, r.web.URL)
	b.goTo(r.web.URL + "/lot/L-4713")
	b.see("k008 REJECT: nobody has said what becomes of it")
	b.see("k036 REWORK: Scrapped, inspector 1")
	b.js("document.getElementById('lot-dispose').click()")
	b.await("the choice", "document.querySelector('#dispose[open]')")
	if u := fmt.Sprint(b.js("document.querySelector('#dispose select').value")); u != "k008" {
		t.Errorf("%s is offered first", u)
	}
	b.js("document.getElementById('route-concession').click(); var f = document.querySelector('#dispose form'); f.reference.value = " +
		"'C-118'; f.note.value = 'it is dark'; f.by.value = 'inspector 2'; document.querySelector('#dispose .go').click()")
	b.see("k008 REJECT: Concession by the customer, inspector 2")
	if s := f.steps[0]; s.Unit != "k008" || s.Route != "concession" || s.Reference != "C-118" || s.Note != "it is dark" || s.Seq != 33 {
		t.Errorf("%+v", s)
	}
	b.goTo(r.web.URL + "/lot/L-4710")
	b.key("d")
	b.await("the choice", "document.querySelector('#decide[open]')")
	b.js("document.getElementById('what-screen').click(); var f = document.querySelector('#decide form'); f.taken_out.value = 'k001, " +
		"k002\\nk003-L'; f.by.value = 'inspector 2'; f.sure.checked = true; document.querySelector('#decide .go').click()")
	b.see("REFUSED, SCREENED")
	if s := f.steps[1]; s.What != "screen" || fmt.Sprint(s.Out) != "[k001 k002 k003-L]" {
		t.Errorf("%+v", s)
	}
}

// A lot that moves on while a person chooses: what was seen stays, and the decision
// is not taken.
func lotsMoved(t *testing.T, browser *aBrowser) {
	r, f := lotRig(t, Options{})
	b := open(t, browser, r.web.URL)
	b.goTo(r.web.URL + "/lot/L-4713")
	b.key("d")
	b.await("the choice", "document.activeElement.name === 'what'")
	f.set(func() { f.all["L-4713"].Seq++; f.all["L-4713"].Plans[1].Count = 3 })
	b.js("document.querySelector('#decide input[name=what]').checked = true; document.querySelector('#decide input[name=by]').value = " +
		"'x'; document.querySelector('#decide input[name=sure]').checked = true; document.querySelector('#decide-form').requestSubmit()")
	b.see("The lot has moved on")
	if len(f.steps) != 0 {
		t.Errorf("%+v was taken", f.steps)
	}
	b.js("document.querySelector('[data-close=decide]').click()")
	b.see("Class major: 3 counted, and 2 refuse the lot")
}

// Both languages, light and dark, from a small panel to a large screen: no word is
// missing, nothing is too wide. With FINISHBENCH_STORIES each is stored as a picture.
func lotsLooks(t *testing.T, browser *aBrowser) {
	dir := os.Getenv("FINISHBENCH_STORIES")
	r, f := lotRig(t, Options{})
	b := open(t, browser, r.web.URL)
	svg, err := plots.Times(plots.Options{X: "x", Y: "y"}, plots.TimeChart{Values: []float64{1, 2, 3, 2, 9, 2}, Centre: []float64{2},
		Upper: []float64{4, 5, 4, 5, 4, 5}, Lower: []float64{0}, Signs: []plots.Sign{{Point: 4, Number: "N1", Text: "."}}})
	if err != nil {
		t.Fatal(err)
	}
	f.svg = svg
	for _, l := range []struct {
		w, h        int64
		theme, lang string
	}{{1024, 600, "dark", "zh-Hans"}, {1920, 1080, "light", "en"}, {820, 1180, "dark", "en"}} {
		b.do(chromedp.EmulateViewport(l.w, l.h))
		for _, path := range []string{"/lot", "/lot/L-4711", "/lot/L-4713", "/lot/L-4712", "/lot/L-4710"} {
			b.goTo(r.web.URL + path)
			b.js(fmt.Sprintf("delete document.body.dataset.lotready; document.getElementById('lang').value = %q; "+
				"document.getElementById('theme').value = %q; document.getElementById('set').submit()", l.lang, l.theme))
			b.await("the looks", fmt.Sprintf("document.body.dataset.lotready && document.documentElement.lang === %q && "+
				"document.documentElement.dataset.theme === %q && location.pathname === %q", l.lang, l.theme, path))
			if path != "/lot" {
				b.await("the plots", "document.querySelector('#lot-more').dataset.ready")
			}
			if wide := b.js("document.documentElement.scrollWidth").(float64); int64(wide) > l.w {
				t.Errorf("%s at %dx%d, %s: needs %g px", path, l.w, l.h, l.lang, wide)
			}
			text := fmt.Sprint(b.js("document.getElementById('view').innerText"))
			if hole := regexp.MustCompile(`\blot\.[a-z]+|\{|undefined`).FindString(text); hole != "" {
				t.Errorf("%s, %s: there is %q in %s", path, l.lang, hole, text)
			}
			if l.lang == "zh-Hans" {
				for _, w := range []string{"Accept", "Refuse", "counted", "inspected", "Sample"} {
					if strings.Contains(text, w) {
						t.Errorf("%s: the Chinese page says %q", path, w)
					}
				}
			}
			if dir != "" {
				png, err := chromedp.Run(b, chromedp.CaptureScreenshot())
				if err != nil {
					t.Fatal(err)
				}
				put(t, filepath.Join(dir, fmt.Sprintf("%s-%dx%d-%s-%s.png", strings.ReplaceAll(strings.Trim(path, "/"), "/", "_"), l.w, l.h,
					l.theme, l.lang)), png)
			}
		}
		b.goTo(r.web.URL + "/lot/L-4711")
		b.key("d")
		b.await("the choice", "document.querySelector('dialog[open]')")
		if dir != "" {
			png, err := chromedp.Run(b, chromedp.CaptureScreenshot())
			if err != nil {
				t.Fatal(err)
			}
			put(t, filepath.Join(dir, fmt.Sprintf("lot_decide-%dx%d-%s-%s.png", l.w, l.h, l.theme, l.lang)), png)
		}
		b.key(kb.Escape)
	}
}
