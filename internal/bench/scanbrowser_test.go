package bench

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// scan types as a reader does: keys gap apart, and Enter.
func (b *tab) scan(text string, gap time.Duration) { b.t.Helper(); b.strike(text+"\r", gap) }

// strike hits keys gap apart, by the times that they bear, however late a busy machine hands
// them over. Unlike [chromedp.KeyEvent] a key that the page holds back types nothing, as
// on a keyboard.
func (b *tab) strike(keys string, gap time.Duration) {
	b.t.Helper()
	at := time.Now()
	for _, key := range keys {
		at = at.Add(gap)
		time.Sleep(time.Until(at))
		parts := kb.Encode(key)
		down, up := *parts[0], *parts[len(parts)-1]
		down.Text, down.UnmodifiedText = parts[1].Text, parts[1].UnmodifiedText
		for _, p := range []input.DispatchKeyEventParams{down, up} {
			p.Timestamp = input.TimeSinceEpoch(float64(at.UnixNano()) / 1e9)
			if _, err := chromedp.Call(b, input.DispatchKeyEvent, p); err != nil {
				b.t.Fatal(err)
			}
		}
	}
}

// scanPlaces are where a scan may come: what brings the bench there, whether it shoots
// or judges a unit for it, and what becomes of the scan.
var scanPlaces = []struct {
	name    string
	phase   Phase
	prepare func(*testing.T, *rigged, *tab)
	asks    bool // before the unit under way is given up
}{
	{"ready, on the start button", Ready, nil, false},
	{"ready, in a field that holds something", Ready, func(t *testing.T, r *rigged, b *tab) {
		b.do(chromedp.Focus("#serial"))
		b.key("zz")
	}, false},
	{"ready, with no serial", Ready, func(t *testing.T, r *rigged, b *tab) {
		u := r.Snapshot().Unit
		u.Serial = ""
		r.send(t, Edit{u, r.Snapshot().Follow})
		b.await("no serial", "document.getElementById('serial').value === ''")
		b.do(chromedp.Focus("#serial"))
	}, false},
	{"ready, while the lot is typed", Ready, func(t *testing.T, r *rigged, b *tab) {
		b.js("document.getElementById('lot').value = ''")
		b.do(chromedp.Focus("#lot"))
		b.key("W48")
	}, false},
	{"ready, on a side", Ready, func(t *testing.T, r *rigged, b *tab) {
		b.js("document.querySelector('[name=side]:checked').focus()")
	}, false},
	{"ready, on the choice of a language", Ready, func(t *testing.T, r *rigged, b *tab) { b.do(chromedp.Focus("#lang")) }, false},
	{"shooting", Shooting, func(t *testing.T, r *rigged, b *tab) {
		r.shooter.set(func() { r.shooter.each = time.Minute })
		r.send(t, Press{})
	}, true},
	{"asking for a turn", Shooting, func(t *testing.T, r *rigged, b *tab) {
		r.shooter.set(func() { r.shooter.asks[2] = true })
		r.send(t, Press{})
		b.see("Turn the unit to 60°")
	}, true},
	{"halted", Halted, func(t *testing.T, r *rigged, b *tab) {
		r.shooter.set(func() { r.shooter.stop = 5 })
		r.send(t, Press{})
	}, true},
	{"judging", Judging, func(t *testing.T, r *rigged, b *tab) {
		r.judge.mu.Lock() // until the scan was made
		r.send(t, Press{})
	}, false},
	{"at the verdict", Answered, func(t *testing.T, r *rigged, b *tab) { r.send(t, Press{}) }, false},
	{"at an open choice", Answered, func(t *testing.T, r *rigged, b *tab) {
		r.send(t, Press{})
		b.phase(Answered)
		b.js("document.querySelector('[data-open=overrule]').click()")
		b.await("the choice", "document.querySelector('#overrule[open]')")
	}, false},
}

// A reader's scan, wherever it comes, names the unit that is wanted: it presses no
// button, adds to no field, starts and withdraws nothing. With FINISHBENCH_LONG 50 times each.
// Key gaps are from 2 to 40 ms: those of readers (5 to 30 ms, usual, no source), and beyond.
func browserScans(t *testing.T, browser *aBrowser) {
	rounds := 1
	if os.Getenv("FINISHBENCH_LONG") != "" {
		rounds = 50
	}
	r := rig(t, Options{}, passing())
	b := open(t, browser, r.web.URL)
	random := rand.New(rand.NewPCG(17, 1))
	records, scans := 0, 0
	for i := range rounds * len(scanPlaces) {
		p := scanPlaces[i%len(scanPlaces)]
		if i > 0 && i%len(scanPlaces) == 0 { // time in a tab is bounded
			b = open(t, browser, r.web.URL)
		}
		r.shooter.set(func() { r.shooter.each, r.shooter.stop = 0, 0; clear(r.shooter.asks) })
		if p.prepare != nil {
			p.prepare(t, r, b)
		}
		b.phase(p.phase)
		time.Sleep(100 * time.Millisecond) // no part of what was typed before
		before := r.Snapshot()
		side := string("LR"[i/3%2])
		// They begin with what are shortcuts, among others.
		serial := fmt.Sprintf("%c%c%d", "URouBA7"[i%7], "-k"[i/7%2], 1000+i)
		text := serial + []string{"-", " "}[i/2%2] + side
		gap := time.Duration(2+random.IntN(39)) * time.Millisecond
		b.scan(text, gap)
		what := fmt.Sprintf("%s: %s with %s", p.name, text, gap)

		if p.asks {
			b.await("the question, "+what, "document.querySelector('#scanned[open]')")
			if s := r.Snapshot(); s.Phase != p.phase || s.Unit != before.Unit {
				t.Fatalf("%s: the unit under way became %s, %+v", what, s.Phase, s.Unit)
			}
			b.js("document.getElementById('scanned-take').click()")
		}
		if p.phase == Judging {
			b.see("was scanned and not taken")
			r.judge.mu.Unlock()
			b.phase(Answered)
			b.scan(text, gap)
		}
		if p.phase == Judging || p.phase == Answered {
			records++
		}
		s := r.until(t, what, func(s *Snapshot) bool { return s.Phase == Ready && s.Unit.Serial == serial })
		if s.Unit.Side != side {
			t.Errorf("%s: side %q", what, s.Unit.Side)
		}
		b.await("it on the page, "+what, fmt.Sprintf("document.querySelector('#serial')?.value === %q", serial))
		if p.name == "ready, while the lot is typed" && r.Snapshot().Unit.Lot != "W48" {
			t.Errorf("%s: the lot became %q", what, r.Snapshot().Unit.Lot)
		}
		r.memory.mu.Lock()
		if n := len(r.memory.all); n != records || n > 0 && r.memory.all[n-1].Withdrawn != nil {
			t.Fatalf("%s: %d on record, %d expected, the last one withdrawn: %v", what, n, records,
				n > 0 && r.memory.all[n-1].Withdrawn != nil)
		}
		r.memory.mu.Unlock()
		if lang := b.js("document.documentElement.lang"); lang != "en" {
			t.Fatalf("%s: the page's language became %v", what, lang)
		}
		scans++
	}
	t.Logf("%d scans, each with the right unit", scans)
}

// How much further apart keys are, by the times that they bear here, than they were sent: mostly
// less than what scan.js leaves, 20 ms beyond a reader's 40. A keyboard's own times are better.
func browserGaps(t *testing.T, browser *aBrowser) {
	if os.Getenv("FINISHBENCH_LONG") == "" {
		t.Skip("set FINISHBENCH_LONG for the gaps between keys, measured (a minute)")
	}
	const keys = 400
	r := rig(t, Options{})
	b := open(t, browser, r.web.URL)
	b.js("window.seen = []; window.addEventListener('keydown', e => seen.push(e.timeStamp), true)")
	for _, ms := range []int{2, 5, 10, 20, 30, 40} {
		b.js("seen.length = 0")
		var sent []time.Time
		next := time.Now()
		for range keys {
			time.Sleep(time.Until(next))
			sent = append(sent, time.Now())
			if _, err := chromedp.Call(b, input.DispatchKeyEvent, input.DispatchKeyEventParams{Type: "rawKeyDown", Code: "ShiftLeft",
				Key: "Shift"}); err != nil {
				t.Fatal(err)
			}
			next = sent[len(sent)-1].Add(time.Duration(ms) * time.Millisecond)
		}
		b.await("all keys", fmt.Sprintf("seen.length === %d", keys))
		got := b.js("seen").([]any)
		var added []float64 // ms
		for i := 1; i < len(got); i++ {
			added = append(added, got[i].(float64)-got[i-1].(float64)-float64(sent[i].Sub(sent[i-1]).Microseconds())/1000)
		}
		slices.Sort(added)
		at := func(share float64) float64 { return added[min(len(added)-1, int(share*float64(len(added))))] }
		t.Logf("%d ms apart: arrived that later than sent: median %.1f, 99 %% %.1f, at most %.1f ms", ms, at(.5), at(.99),
			added[len(added)-1])
		if at(.9) > 20 {
			t.Errorf("%d ms apart: one key in ten is later by %.1f ms", ms, at(.9))
		}
	}
}

// What is no scan goes where it belongs: typed letters, shortcuts, a choice to go on.
func browserNoScans(t *testing.T, browser *aBrowser) {
	r := rig(t, Options{}, passing())
	b := open(t, browser, r.web.URL)
	// On ready each letter is the serial's, whatever has the focus.
	b.do(chromedp.Focus("#go"))
	b.strike("ur7", 150*time.Millisecond)
	b.await("the typed serial", "document.getElementById('serial').value === 'ur7'")
	b.strike("\r", 150*time.Millisecond)
	r.until(t, "the typed serial", func(s *Snapshot) bool { return s.Phase == Ready && s.Unit.Serial == "ur7" })

	// A press right after a scan starts the scanned unit.
	for i := range 5 {
		serial := fmt.Sprintf("Z-%d", i)
		b.strike(serial+"-L\r ", 2*time.Millisecond)
		s := r.until(t, "an answer", func(s *Snapshot) bool { return s.Phase == Answered })
		if s.Unit.Serial != serial || s.Unit.Side != "L" {
			t.Errorf("started %+v, scanned %s", s.Unit, serial)
		}
		b.phase(Answered)
		b.scan("ur7-R", 2*time.Millisecond)
		b.phase(Ready)
	}

	// Keys further apart than a reader's are shortcuts: those for overrule and for again.
	r.send(t, Press{})
	b.phase(Answered)
	b.strike("ou", 150*time.Millisecond)
	b.await("the choice", "document.querySelector('#overrule[open]')")
	time.Sleep(400 * time.Millisecond) // no letter waits any more
	b.js("document.querySelector('#overrule').close()")
	if n := len(r.memory.all); n != 6 || r.memory.all[5].Withdrawn != nil {
		t.Errorf("at an open choice a letter withdrew: %+v", r.memory.all)
	}
	b.strike("r7", 5*time.Millisecond) // without Enter: each its own
	r.until(t, "the unit again", func(s *Snapshot) bool { return s.Phase == Answered && s.Count == 7 })

	// Asked in the middle, one may go on; what came meanwhile is shown then.
	r.shooter.set(func() { r.shooter.each = time.Minute })
	b.see("Record 7")
	b.js("document.querySelector('[data-do=retry]').click()")
	b.phase(Shooting)
	for _, same := range []string{"ur7-R", "ur7"} {
		b.scan(same, 5*time.Millisecond)
		time.Sleep(50 * time.Millisecond)
		if b.see("it is under way already"); b.js("!!document.querySelector('dialog[open]')") == true {
			t.Errorf("%s is asked about, and is what is under way", same)
		}
	}
	b.scan("C-9", 5*time.Millisecond)
	b.await("the question", "document.querySelector('#scanned[open]')")
	b.see("C-9")
	b.strike("\r\r", 50*time.Millisecond) // a reader's second Enter, and one more
	if b.js("!!document.querySelector('#scanned[open]')") != true {
		t.Error("a reader's second Enter answered the question")
	}
	b.js("document.querySelector('#scanned .go').click()")
	b.await("no question", "!document.querySelector('dialog[open]')")
	if s := r.Snapshot(); s.Phase != Shooting || s.Unit.Serial != "ur7" {
		t.Errorf("after “go on”: %s, %+v", s.Phase, s.Unit)
	}
}

// On other pages a scan presses nothing and answers nothing; where units are looked up
// it looks up.
func browserScansElsewhere(t *testing.T, browser *aBrowser) {
	room := newQuizRoom(t, quizSpec)
	r := quizRig(t, room, Options{})
	b := browser.first(t)
	b.do(chromedp.Navigate(r.web.URL))
	b.await("the cautions", onCautions)
	b.scan("C-9", 5*time.Millisecond)
	b.see("Unit C-9 was scanned. Scans are taken at the bench")
	if b.js("!!document.querySelector('form[action=\"/seen\"]')") != true {
		t.Error("a scan read the cautions")
	}
	time.Sleep(600 * time.Millisecond) // past a reader's second Enter
	b.cautions()
	b.phase(Ready)

	b.do(chromedp.Navigate(r.web.URL + "/look?serial=K-76"))
	b.await("the look-up", "document.body.dataset.ready && document.activeElement.name === 'serial'")
	b.scan("K-77", 5*time.Millisecond)
	b.await("the scanned one", "location.search === '?serial=K-77' && document.body.dataset.ready")

	b.do(chromedp.Navigate(r.web.URL + "/quiz"))
	b.await("the list of tests", "document.body.dataset.ready && document.getElementById('begin')")
	b.do(chromedp.Focus("#initials"))
	b.strike("CD\t17\r", 150*time.Millisecond)
	b.unit(0)
	b.key("2 r") // one mark, and rework: ready to be sent
	draft := "document.getElementById('quiz').dataset.marks + document.querySelector('[name=verdict]:checked')?.value"
	b.await("the draft", draft+" === '1rework'")
	for _, text := range []string{"c0p-17", "J3-9"} { // all of them are keys there
		b.scan(text, 5*time.Millisecond)
		b.see(text + " was scanned.")
		b.strike("\r", 5*time.Millisecond)
		if got := b.js(draft); got != "1rework" || len(room.shown("t1")) != 0 {
			t.Errorf("%s: the draft became %v, %d units answered", text, got, len(room.shown("t1")))
		}
	}

	lots, f := lotRig(t, Options{})
	b = open(t, browser, lots.web.URL)
	b.goTo(lots.web.URL + "/lot/L-4711")
	b.scan("d-l", 5*time.Millisecond)
	b.see("d-l was scanned.")
	if b.js("location.pathname") != "/lot/L-4711" || b.js("!!document.querySelector('dialog[open]')") == true {
		t.Error("a scan's letters are shortcuts on a lot's page")
	}
	b.js("document.querySelector('#lot-decide').click()")
	b.await("the choice", "document.querySelector('#decide[open]')")
	b.js("document.querySelector('[name=what]').checked = document.querySelector('[name=sure]').checked = true")
	b.type_("[name=by]", "anna")
	time.Sleep(100 * time.Millisecond)
	b.scan("A-1001", 5*time.Millisecond)
	b.await("the name alone", "document.querySelector('[name=by]').value === 'anna'")
	b.js("document.querySelector('[name=sure]').focus()")
	b.scan("A-1001", 5*time.Millisecond)
	time.Sleep(100 * time.Millisecond)
	if len(f.steps) != 0 {
		t.Errorf("a scan signed the lot: %+v", f.steps)
	}
}
