package bench

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"finishbench/internal/people"
)

// who waits until the page says who is signed in.
func (b *tab) who(name string) {
	b.t.Helper()
	b.await(name, fmt.Sprintf("document.body.dataset.ready && document.querySelector('.who b') && "+
		"document.querySelector('.who b').textContent === %q", name))
}

// A shift: badges scanned wherever one stands, a unit handed over on its way, an inspector who
// overrules, two browsers, and pages that end.
func browserPeople(t *testing.T, browser *aBrowser) {
	file, path := peopled(t, invented())
	r := rig(t, Options{People: file}, reworking())
	b := browser.first(t)
	b.do(chromedp.Navigate(r.web.URL))
	b.await("the question who it is", "document.getElementById('signin-badge') && document.body.dataset.ready")
	b.scan(own(t, "B1"), 5*time.Millisecond)
	b.cautions()
	b.phase(Ready)
	b.who("Olga Finisher")
	b.scan(badge6, 5*time.Millisecond) // another's, at ready
	b.who("Otto Finisher")
	r.shooter.set(func() { r.shooter.asks[2] = true })
	b.key(" ")
	b.see("Turn the unit to 60°")
	b.scan(own(t, "B1"), 5*time.Millisecond) // while a unit is under way: it stays whose it was
	b.who("Olga Finisher")
	b.see("Turn the unit to 60°")
	b.key(" ")
	b.phase(Answered)
	if got := r.Snapshot().Answer.Operator; got != "Otto Finisher" {
		t.Errorf("the unit handed over is %q's", got)
	}
	b.settle()
	b.key("o") // an operator does not overrule
	if b.js("!!document.querySelector('dialog[open]')") == true {
		t.Error("an operator may overrule")
	}
	b.click("a[href='/signin']")
	b.await("the badge's field", "document.getElementById('signin-badge') && document.body.dataset.ready")
	b.do(chromedp.Focus("[name=badge]"))
	b.key("B2\r") // typed
	b.await("the PIN's field", "document.activeElement.name === 'pin'")
	b.key("9999\r")
	b.see("That is not the PIN of Ines Inspector")
	b.await("the PIN's field", "document.activeElement.name === 'pin'")
	b.key("2580\r")
	b.who("Ines Inspector")
	b.phase(Answered)
	b.settle()
	b.key("o")
	b.await("the choice", "document.querySelector('#overrule[open]')")
	b.see("Ines Inspector")
	b.js("document.querySelector('#overrule [name=verdict][value=pass]').checked = true; " +
		"document.querySelector('#overrule [name=reason][value=wiped_off]').checked = true")
	b.js("document.querySelector('#overrule .go').click()")
	s := r.until(t, "overrule", func(s *Snapshot) bool { return s.Answer != nil && s.Answer.Overruled != nil })
	if s.Answer.Overruled.By != "Ines Inspector" {
		t.Errorf("overruled by %q", s.Answer.Overruled.By)
	}
	// Another browser, another person; the unit is whose browser presses.
	two := browser.beside(t)
	two.do(chromedp.Navigate(r.web.URL))
	two.await("the question who it is", "document.getElementById('signin-badge') && document.body.dataset.ready")
	two.scan(badge6, 5*time.Millisecond)
	two.cautions()
	two.phase(Answered)
	two.settle()
	two.key(" ")
	two.phase(Ready)
	b.phase(Ready)
	r.shooter.set(func() { clear(r.shooter.asks) })
	two.key(" ")
	b.phase(Answered)
	if got := r.Snapshot().Answer.Operator; got != "Otto Finisher" {
		t.Errorf("the second unit is %q's", got)
	}
	// Whoever is removed is out, on the bench and on a page that watches nothing; nobody else is.
	two.do(chromedp.Navigate(r.web.URL + "/look"))
	two.who("Otto Finisher")
	list, err := people.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	list[list.Named("Otto Finisher")].Removed = "2031-02-03"
	if err := people.Save(path, list); err != nil {
		t.Fatal(err)
	}
	two.await("the question who it is", "document.getElementById('signin-badge')")
	b.who("Ines Inspector")
	b.js("document.querySelector('.who button').click()")
	b.await("the question who it is", "location.pathname === '/signin' && document.getElementById('signin-badge')")
	b.do(chromedp.Navigate(r.web.URL + "/shift"))
	b.await("the question who it is", "location.pathname === '/signin'")
}

// badge6 is the label of B6: the CRC-32 (IEEE 802.3) of FB/B/B6 ends in this, by zlib.crc32 of Python.
const badge6 = "FB/B/B6/A5FA"

// What people see is whole, legible and large enough on each screen, in both looks, and axe-core
// finds no fault. With FINISHBENCH_STORIES each is stored as a picture.
func browserPeopleSizes(t *testing.T, browser *aBrowser) {
	source, dir := axeSource(), os.Getenv("FINISHBENCH_STORIES")
	list := invented()
	list[0].Name, list[1].Name = "Wilhelmina Längstername-Finisher", "W. W. W. W. W. W. W. W. W. W. W. W. W. W. Wider"
	file, _ := peopled(t, list)
	empty, _ := peopled(t, people.List{})
	r := rig(t, Options{People: file}, reworking())
	r.Station.Lots, r.Station.Quizzes = newFakeLots(), newQuizRoom(t, quizSpec)
	r.Station.Atlas = fakeAtlas{}
	r.server = NewServer(r.Station, r.server.Options)
	r.web.Config.Handler = r.server
	alone := rig(t, Options{People: empty})
	b := browser.first(t)
	n := 0
	look := func(name string, touch bool) {
		t.Helper()
		theme := []string{"light", "dark"}[n%2]
		n++
		b.js(fmt.Sprintf("document.documentElement.dataset.theme = %q", theme))
		at := fmt.Sprintf("%s at %v, %s", name, b.js("innerWidth+'x'+innerHeight"), theme)
		for _, fault := range b.js("(" + lookedAt + ")(" + fmt.Sprint(touch) + ")").([]any) {
			t.Errorf("%s: %v", at, fault)
		}
		if source != "" {
			for _, fault := range b.axe(source) {
				t.Errorf("%s: %s", at, fault)
			}
		}
		if dir != "" {
			png, err := chromedp.Run(b, chromedp.CaptureScreenshot())
			if err != nil {
				t.Fatal(err)
			}
			put(t, filepath.Join(dir, "people-"+strings.NewReplacer(" ", "_", ",", "").Replace(at)+".png"), png)
		}
	}
	for i, l := range []struct {
		w, h  int64
		touch bool
	}{{1024, 600, false}, {768, 1024, true}, {390, 844, true}} {
		if l.touch {
			b.do(chromedp.EmulateViewport(l.w, l.h, chromedp.EmulateTouch))
		} else {
			b.do(chromedp.EmulateViewport(l.w, l.h))
		}
		go_ := func(path, until string) {
			t.Helper()
			b.do(chromedp.Navigate(r.web.URL + path))
			b.await(path, "document.body.dataset.ready && document.readyState === 'complete' && "+until)
		}
		go_("/signin", "document.getElementById('signin-badge')")
		if i == 1 {
			b.choose("lang", "zh-Hans")
			go_("/signin", "document.getElementById('signin-badge')")
		}
		look("sign-in", l.touch)
		b.js("document.querySelector('[name=name]').click()")
		b.await("a PIN's field", "document.querySelector('[name=pin]')")
		look("pin", l.touch)
		b.js("document.querySelector('[name=pin]').value = '1111'; document.querySelector('.signin .go').click()")
		b.await("a wrong PIN", "document.querySelector('.signin .bad')")
		look("wrong pin", l.touch)
		go_("/signin", "document.getElementById('signin-badge')")
		b.scan(own(t, "B1"), 5*time.Millisecond)
		if i == 0 {
			b.cautions()
		}
		b.phase(r.Snapshot().Phase)
		if r.Snapshot().Phase == Answered {
			r.send(t, Press{})
		}
		b.phase(Ready)
		look("ready", l.touch)
		b.js("document.getElementById('go').click()")
		b.phase(Answered)
		look("verdict of an operator", l.touch)
		go_("/lot/L-4711", "document.body.dataset.lotready")
		look("lot of an operator", false)
		go_("/quiz", "document.getElementById('begin')")
		look("tests", false)
		go_("/signin", "document.getElementById('signin-badge')")
		b.js("document.querySelector('[name=name]').click()")
		b.await("a PIN's field", "document.querySelector('[name=pin]')")
		b.js("document.querySelector('[name=pin]').value = '2580'; document.querySelector('.signin .go').click()")
		b.phase(Answered)
		b.settle()
		b.js("document.querySelector('[data-open=overrule]').click()")
		look("overrule", l.touch)
		go_("/lot/L-4711", "document.body.dataset.lotready")
		b.js("document.getElementById('lot-decide').click()")
		look("signing", false)
		b.js("document.querySelector('dialog[open]').close()")
		b.do(chromedp.Navigate(alone.web.URL + "/signin"))
		b.await("nobody", "document.body.dataset.ready && document.querySelector('.signin .warn')")
		look("nobody yet", l.touch)
		if i == 1 {
			b.choose("lang", "en")
		}
	}
}
