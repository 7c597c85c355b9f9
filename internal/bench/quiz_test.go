package bench

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"finishbench/internal/part"
	"finishbench/internal/teach"
)

var quizSpec = teach.Spec{Name: "Spots", Number: 4, CleanShare: 0.25, Repeats: 1, Seed: 3}

// TestQuizBrowser takes tests in a browser, one for all.
func TestQuizBrowser(t *testing.T) {
	browser := chromium(t)
	for _, c := range []struct {
		name string
		f    func(*testing.T, *aBrowser)
	}{
		{"ByKeyboard", quizByKeyboard}, {"ByMouse", quizByMouse}, {"ByTouch", quizByTouch}, {"CutOff", quizCutOff}, {"TimeLimit", quizTimeLimit}, {"TwoOfOneName", quizTwoOfOneName}, {"Sizes", quizSizes},
	} {
		t.Run(c.name, func(t *testing.T) { c.f(t, browser) })
	}
}

// sit opens the page of tests as a new browser.
func sit(t *testing.T, browser *aBrowser, r *rigged) *tab {
	t.Helper()
	b := open(t, browser, r.web.URL)
	b.do(chromedp.Navigate(r.web.URL + "/quiz"))
	b.await("the list of tests, ready for initials", "document.getElementById('begin') && document.activeElement.id === 'initials'")
	return b
}

// unit waits for a showing.
func (b *tab) unit(n int) {
	b.t.Helper()
	b.await(fmt.Sprintf("unit %d", n+1), fmt.Sprintf("document.body.dataset.quizReady && document.getElementById('quiz').dataset.showing === '%d' && [...document.querySelectorAll('#sheet img')].every(i => i.complete && i.naturalWidth > 0)", n))
}

func (b *tab) number(expr string) float64 { b.t.Helper(); return b.js(expr).(float64) }

// onScreen is where a picture's pixel lies on the screen.
func (b *tab) onScreen(x, y float64) (float64, float64) {
	b.t.Helper()
	left, top := b.number("document.getElementById('sheet').getBoundingClientRect().left"), b.number("document.getElementById('sheet').getBoundingClientRect().top")
	s := b.number("document.getElementById('sheet').getBoundingClientRect().width") / 400
	return left + s*(x+0.5), top + s*(y+0.5)
}

var kindKey = map[part.Kind]string{part.Bubble: "1", part.Dust: "2", part.Fibre: "3"}
var verdictKey = map[part.Verdict]string{part.Pass: "p", part.Rework: "r", part.Reject: "j"}

// rightly checks that a whole test was answered without a mistake and scored so.
func (q *quizRoom) rightly(t *testing.T, attempt string, within float64) {
	t.Helper()
	s, err := teach.NewScore(q.test, q.shown(attempt), teach.DefaultScoreOptions())
	if err != nil {
		t.Fatal(err)
	}
	v := s.Verdict
	if len(s.Mistakes) != 0 || s.Units != 4 || s.Showings != 5 || v.Effective.Value() != 1 || v.Reference.Value != 1 || s.Within.Count != 1 || s.FalseMarks.Count != 0 {
		t.Errorf("%d mistakes %+v; %d units, %d showings, effectiveness %g, kappa %g, same again %d", len(s.Mistakes), s.Mistakes, s.Units, s.Showings, v.Effective.Value(), v.Reference.Value, s.Within.Count)
	}
	if off := s.OffMM90(); !(off <= within) {
		t.Errorf("marks are off by %.3f mm, %.3f allowed", off, within)
	}
}

// A whole test by keyboard alone: from the list of tests to the result.
func quizByKeyboard(t *testing.T, browser *aBrowser) {
	room := newQuizRoom(t, quizSpec)
	r := quizRig(t, room, Options{})
	b := sit(t, browser, r)
	b.await("focus on the initials", "document.activeElement.id === 'initials'")
	b.strike("CD\t17\r", 100*time.Millisecond)
	for n := range quizSpec.Showings() {
		b.unit(n)
		it := room.open(t, "t1")
		if it.Clean() {
			b.key("c")
			b.await("clean said", "document.getElementById('clean').getAttribute('aria-pressed') === 'true'")
		}
		at := [2]float64{199.5, 149.5}
		for _, k := range it.Known {
			c := k.Box.Centre()
			s := b.number("document.getElementById('sheet').getBoundingClientRect().width") / 400
			b.steps((c.X-at[0])*s, kb.ArrowRight, kb.ArrowLeft)
			b.steps((c.Y-at[1])*s, kb.ArrowDown, kb.ArrowUp)
			at = [2]float64{c.X, c.Y}
			b.key(kindKey[k.Kind])
			b.key(" ")
		}
		if n == 0 { // light, zoom and taking a mark off leave the answer as it was
			b.key("l")
			b.await("raking light", "document.getElementById('quiz').dataset.light === 'raking' && document.querySelector('#sheet img[data-light=raking]').offsetWidth > 0 && document.querySelector('#sheet img[data-light=diffuse]').offsetWidth === 0")
			b.key("++")
			b.await("larger", "+document.getElementById('quiz').dataset.zoom > 2")
			b.key("0")
			b.await("whole", "+document.getElementById('quiz').dataset.zoom === 1")
		}
		if len(it.Known) > 0 {
			b.key("3 ") // one too many on the same place, as a fibre: taken off again
			b.await("one more", fmt.Sprintf("document.getElementById('quiz').dataset.marks === '%d'", len(it.Known)+1))
			b.do(chromedp.KeyEvent(kb.Delete))
			b.await("taken off", fmt.Sprintf("document.getElementById('quiz').dataset.marks === '%d'", len(it.Known)))
		}
		b.key(verdictKey[it.Verdict])
		b.key("\r")
	}
	b.see("The test is done")
	b.await("focus on the result", "document.activeElement.id === 'result'")
	b.key("\r")
	b.see("0 mistakes, 4 units")
	room.rightly(t, "t1", 0.1) // the cross goes in steps of 8 px of the screen
}

// steps moves the cross by so many pixels of the screen, in steps of 8.
func (b *tab) steps(px float64, more, less string) {
	b.t.Helper()
	key := more
	if px < 0 {
		key = less
	}
	n := int(math.Round(math.Abs(px) / 8))
	for ; n >= 5; n -= 5 { // with Shift five at a time
		b.do(chromedp.KeyEvent(key, chromedp.KeyModifiers(chromedp.ModifierShift)))
	}
	b.key(strings.Repeat(key, n))
}

func (b *tab) click(sel string) {
	b.t.Helper()
	b.js(fmt.Sprintf("document.querySelector(%q).scrollIntoView({block: 'nearest'})", sel))
	x := b.number(fmt.Sprintf("(r => r.left + r.width / 2)(document.querySelector(%q).getBoundingClientRect())", sel))
	y := b.number(fmt.Sprintf("(r => r.top + r.height / 2)(document.querySelector(%q).getBoundingClientRect())", sel))
	b.do(chromedp.MouseClickXY(x, y))
}

func (b *tab) type_(sel, text string) {
	b.t.Helper()
	b.do(chromedp.Focus(sel))
	b.key(text)
}

// A whole test by mouse: enlarged by the wheel, moved by dragging, marked by
// clicks.
func quizByMouse(t *testing.T, browser *aBrowser) {
	room := newQuizRoom(t, quizSpec)
	b := sit(t, browser, quizRig(t, room, Options{}))
	b.type_("#initials", "EF")
	b.click("#begin")
	for n := range quizSpec.Showings() {
		b.unit(n)
		it := room.open(t, "t1")
		if it.Clean() {
			b.click("#clean")
		}
		for i, k := range it.Known {
			c := k.Box.Centre()
			x, y := b.onScreen(c.X, c.Y)
			if i == 0 {
				b.do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseWheel, x, y, func(p *input.DispatchMouseEventParams) { p.DeltaX, p.DeltaY = 0.01, -200 }))
				b.await("larger", "+document.getElementById('quiz').dataset.zoom > 1.3")
				x, y = b.onScreen(c.X, c.Y)
				press := func(p *input.DispatchMouseEventParams) { p.Button, p.ClickCount = input.MouseButtonLeft, 1 }
				held := func(p *input.DispatchMouseEventParams) { p.Button, p.Buttons = input.MouseButtonLeft, 1 }
				b.do(chromedp.MouseEvent(chromedp.MousePressed, x, y, press), chromedp.MouseEvent(chromedp.MouseMoved, x+20, y+10, held),
					chromedp.MouseEvent(chromedp.MouseMoved, x+24, y+12, held), chromedp.MouseEvent(chromedp.MouseReleased, x+24, y+12, press))
				if got := b.js("document.getElementById('quiz').dataset.marks"); got != "0" {
					t.Fatalf("dragging set %v marks", got)
				}
				x, y = b.onScreen(c.X, c.Y)
			}
			b.click(fmt.Sprintf("#kinds label:has([value=%s])", k.Kind))
			b.do(chromedp.MouseClickXY(x, y))
			b.await("the mark", fmt.Sprintf("document.getElementById('quiz').dataset.marks === '%d'", i+1))
			b.click("[data-zoom=all]")
		}
		if n == 1 && len(it.Known) > 0 { // a mark in a wrong place, taken off by its button
			x, y := b.onScreen(200, 20)
			b.do(chromedp.MouseClickXY(x, y))
			b.await("one more", fmt.Sprintf("document.getElementById('quiz').dataset.marks === '%d'", len(it.Known)+1))
			b.click("#list li:last-child button")
			b.await("taken off", fmt.Sprintf("document.getElementById('quiz').dataset.marks === '%d'", len(it.Known)))
		}
		b.click("#answer") // too soon, unless clean chose pass
		if !it.Clean() {
			b.see("Mark what you see or say that the unit is clean, and give the verdict.")
			b.click(fmt.Sprintf("#verdict label:has([value=%s])", it.Verdict))
			b.click("#answer")
		}
	}
	b.see("The test is done")
	b.click("#result")
	b.see("0 mistakes, 4 units")
	room.rightly(t, "t1", 0.03)
}

func (b *tab) touch(kind input.DispatchTouchEventType, points ...[2]float64) {
	b.t.Helper()
	p := input.DispatchTouchEventParams{Type: kind, TouchPoints: []*input.TouchPoint{}}
	for i, at := range points {
		id := float64(i)
		p.TouchPoints = append(p.TouchPoints, &input.TouchPoint{X: at[0], Y: at[1], ID: &id})
	}
	b.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, input.DispatchTouchEvent, p)
		return err
	}))
}

func (b *tab) tap(x, y float64) {
	b.t.Helper()
	b.touch(input.DispatchTouchEventTypeTouchStart, [2]float64{x, y})
	b.touch(input.DispatchTouchEventTypeTouchEnd)
}

func (b *tab) tapOn(sel string) {
	b.t.Helper()
	b.js(fmt.Sprintf("document.querySelector(%q).scrollIntoView({block: 'nearest'})", sel))
	b.tap(b.number(fmt.Sprintf("(r => r.left + r.width / 2)(document.querySelector(%q).getBoundingClientRect())", sel)), b.number(fmt.Sprintf("(r => r.top + r.height / 2)(document.querySelector(%q).getBoundingClientRect())", sel)))
}

// A whole test by touch, on a screen held upright: two fingers enlarge, one moves,
// a tap marks.
func quizByTouch(t *testing.T, browser *aBrowser) {
	room := newQuizRoom(t, quizSpec)
	b := sit(t, browser, quizRig(t, room, Options{}))
	screen := func(touch bool) chromedp.Action[chromedp.Void] {
		return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
			_, err := cdp.Call(ctx, t, emulation.SetTouchEmulationEnabled, emulation.SetTouchEmulationEnabledParams{Enabled: touch})
			return err
		})
	}
	b.do(chromedp.EmulateViewport(700, 1000), screen(true))
	defer b.do(screen(false))
	b.type_("#initials", "GH") // the screen's own keyboard
	b.tapOn("#begin")
	for n := range quizSpec.Showings() {
		b.unit(n)
		it := room.open(t, "t1")
		b.js("document.getElementById('desk').scrollIntoView()")
		if it.Clean() {
			b.tapOn("#clean")
		}
		for i, k := range it.Known {
			b.tapOn(fmt.Sprintf("#kinds label:has([value=%s])", k.Kind))
			b.js("document.getElementById('desk').scrollIntoView()")
			c := k.Box.Centre()
			x, y := b.onScreen(c.X, c.Y)
			if i == 0 {
				b.touch(input.DispatchTouchEventTypeTouchStart, [2]float64{x - 20, y}, [2]float64{x + 20, y})
				for d := 25.0; d <= 60; d += 5 {
					b.touch(input.DispatchTouchEventTypeTouchMove, [2]float64{x - d, y}, [2]float64{x + d, y})
				}
				b.touch(input.DispatchTouchEventTypeTouchEnd)
				b.await("larger", "+document.getElementById('quiz').dataset.zoom > 2")
				x, y = b.onScreen(c.X, c.Y)
				b.touch(input.DispatchTouchEventTypeTouchStart, [2]float64{x, y})
				b.touch(input.DispatchTouchEventTypeTouchMove, [2]float64{x + 15, y - 10})
				b.touch(input.DispatchTouchEventTypeTouchMove, [2]float64{x + 25, y - 15})
				b.touch(input.DispatchTouchEventTypeTouchEnd)
				if got := b.js("document.getElementById('quiz').dataset.marks"); got != "0" {
					t.Fatalf("two fingers or a moving one set %v marks", got)
				}
				x, y = b.onScreen(c.X, c.Y)
			}
			b.tap(x, y)
			b.await("the mark", fmt.Sprintf("document.getElementById('quiz').dataset.marks === '%d'", i+1))
			b.tapOn("[data-zoom=all]")
		}
		b.tapOn(fmt.Sprintf("#verdict label:has([value=%s])", it.Verdict))
		b.tapOn("#answer")
	}
	b.see("The test is done")
	b.tapOn("#result")
	b.see("0 mistakes, 4 units")
	room.rightly(t, "t1", 0.05)
}

// A test that was cut off goes on where it was: in the same browser with the marks
// of the open unit, in another one with the same initials and badge.
func quizCutOff(t *testing.T, browser *aBrowser) {
	room := newQuizRoom(t, quizSpec)
	r := quizRig(t, room, Options{})
	b := sit(t, browser, r)
	b.strike("KL\t9\r", 100*time.Millisecond)
	for n := range 2 {
		b.unit(n)
		b.key("c\r")
	}
	b.unit(2)
	b.key("2 r")
	b.await("a mark and a verdict",
		"document.getElementById('quiz').dataset.marks === '1' && document.querySelector('[name=verdict]:checked')")
	b.js("delete document.body.dataset.quizReady")
	b.do(chromedp.Navigate(r.web.URL + "/quiz/take/t1")) // the page is lost and opened again
	b.unit(2)
	b.await("the mark again", "document.getElementById('quiz').dataset.marks === '1' && document.querySelector('[name=verdict]:checked').value === 'rework'")
	c := another(t, browser, r.web.URL)
	c.do(chromedp.Navigate(r.web.URL + "/quiz"))
	c.await("the list of tests", "document.getElementById('begin')")
	c.key("KL\t9\r")
	c.unit(2)
	c.key("c\r")
	c.unit(3)
	// The first browser still shows the unit that is answered by now.
	b.key("\r")
	b.unit(3)
	for n := 3; n < quizSpec.Showings(); n++ {
		c.unit(n)
		c.key("c\r")
	}
	c.see("The test is done")
	if got := room.shown("t1"); len(got) != 5 || len(room.attempts) != 1 {
		t.Errorf("%d answers of %d attempts", len(got), len(room.attempts))
	}
}

// When time is over what was marked is sent.
func quizTimeLimit(t *testing.T, browser *aBrowser) {
	s := quizSpec
	s.LimitS = 2
	room := newQuizRoom(t, s)
	b := sit(t, browser, quizRig(t, room, Options{}))
	b.see("2 s a unit")
	b.strike("MN\r", 100*time.Millisecond)
	b.unit(0)
	b.see("Time left")
	b.key("1 ")
	b.unit(1)
	got := room.shown("t1")
	if a := got[0].Answer; !a.TimeOver || len(a.Marks) != 1 || a.Verdict != "" {
		t.Errorf("%+v", a)
	}
}

// Two of one name: the badge is asked for, and what was typed stays.
func quizTwoOfOneName(t *testing.T, browser *aBrowser) {
	room := newQuizRoom(t, quizSpec)
	b := sit(t, browser, quizRig(t, room, Options{}))
	b.strike("AB\r", 100*time.Millisecond)
	b.see("2 people go by AB: give the badge too (17, 23; - is for the one without).")
	b.await("focus on the badge, initials kept", "document.activeElement.id === 'badge' && document.getElementById('initials').value === 'AB'")
	b.strike("17\r", 100*time.Millisecond)
	b.unit(0)
	if room.attempts["t1"].who != "AB17" {
		t.Errorf("%+v", room.attempts["t1"])
	}
}

// On usual screens all that is needed is on the screen, and nothing is too wide.
func quizSizes(t *testing.T, browser *aBrowser) {
	room := newQuizRoom(t, quizSpec)
	b := sit(t, browser, quizRig(t, room, Options{}))
	b.strike("OP\r", 100*time.Millisecond)
	b.unit(0)
	for _, lang := range []string{"en", "zh-Hans"} {
		if lang != "en" {
			b.js("delete document.body.dataset.quizReady")
			b.do(chromedp.Navigate(b.js("location.origin").(string) + "/quiz"))
			b.await("the list", "document.getElementById('begin')")
			b.choose("lang", lang)
			b.do(chromedp.Navigate(b.js("location.origin").(string) + "/quiz/take/t1"))
			b.unit(0)
		}
		for _, size := range [][2]int64{{1366, 768}, {1920, 1080}, {1024, 600}, {700, 1000}, {390, 844}} {
			b.do(chromedp.EmulateViewport(size[0], size[1]))
			b.await(fmt.Sprintf("%s, %v: nothing too wide", lang, size), fmt.Sprintf("document.documentElement.scrollWidth <= %d", size[0]))
			if size[0] >= 1366 {
				if bottom := b.number("document.getElementById('answer').getBoundingClientRect().bottom"); bottom > float64(size[1]) {
					t.Errorf("%s, %v: the answer button ends at %g", lang, size, bottom)
				}
			}
		}
	}
}

// What is asked of the server besides pages: nothing tells the truth before the
// answer, and nothing is taken that is no answer.
func TestQuizRequests(t *testing.T) {
	room := newQuizRoom(t, quizSpec)
	r := quizRig(t, room, Options{})
	p := r.person(t)
	p.get("/quiz")
	if code, body := p.post("/quiz/begin", url.Values{"quiz": {"Q1"}, "initials": {"CD"}}); code != http.StatusOK || !strings.Contains(body, `id="quiz"`) {
		t.Fatalf("%d %.300s", code, body)
	}
	it := room.open(t, "t1")
	_, body, _ := p.get("/quiz/take/t1")
	if strings.Contains(body, it.Unit+"<") || strings.Contains(body, "box_px") || strings.Contains(body, "reference") {
		t.Error("the page gives the truth away")
	}
	if code, _, h := p.get("/quiz/take/t1/0/1"); code != http.StatusOK || h.Get("Content-Type") != "image/png" {
		t.Errorf("picture: %d %v", code, h)
	}
	for path, want := range map[string]int{"/quiz/take/t1/1/0": http.StatusNotFound, "/quiz/take/t1/x/0": http.StatusNotFound, "/quiz/take/zz": http.StatusNotFound, "/quiz/certificate/t1": http.StatusConflict} {
		if code, _, _ := p.get(path); code != want {
			t.Errorf("%s: %d, want %d", path, code, want)
		}
	}
	for name, f := range map[string]url.Values{
		"nothing":         {},
		"no verdict":      {"showing": {"0"}, "took": {"1"}, "marks": {"[]"}},
		"no such":         {"showing": {"0"}, "took": {"1"}, "marks": {"[]"}, "verdict": {"good"}},
		"outside":         {"showing": {"0"}, "took": {"1"}, "marks": {`[{"x_px":900,"y_px":1,"kind":"bubble"}]`}, "verdict": {"pass"}},
		"no kind":         {"showing": {"0"}, "took": {"1"}, "marks": {`[{"x_px":9,"y_px":1,"kind":"smudge"}]`}, "verdict": {"pass"}},
		"not JSON":        {"showing": {"0"}, "took": {"1"}, "marks": {`[`}, "verdict": {"pass"}},
		"not the open":    {"showing": {"3"}, "took": {"1"}, "marks": {"[]"}, "verdict": {"pass"}},
		"time of no sort": {"showing": {"0"}, "took": {"NaN"}, "marks": {"[]"}, "verdict": {"pass"}},
	} {
		if code, _ := p.post("/quiz/take/t1", f); code != http.StatusBadRequest && code != http.StatusConflict {
			t.Errorf("%s: %d", name, code)
		}
	}
	if n := len(room.shown("t1")); n != 0 {
		t.Fatalf("%d answers were taken", n)
	}
	ok := url.Values{"showing": {"0"}, "took": {"1.5"}, "marks": {"[]"}, "verdict": {"pass"}}
	token := p.token
	p.token = "other"
	if code, _ := p.post("/quiz/take/t1", ok); code != http.StatusForbidden {
		t.Errorf("without the session's token: %d", code)
	}
	p.token = token
	if code, _ := p.post("/quiz/take/t1", ok); code != http.StatusNoContent {
		t.Errorf("%d", code)
	}
	if code, body := p.post("/quiz/take/t1", ok); code != http.StatusConflict || !strings.Contains(body, "answered already") {
		t.Errorf("the same again: %d %s", code, body)
	}
	if code, body := p.post("/quiz/progress", url.Values{"initials": {"XY"}}); code != http.StatusConflict || !strings.Contains(body, "XY has not taken a test yet.") {
		t.Errorf("%d", code)
	}
	// Without records there are no tests, and no way to them.
	q := rig(t, Options{}).person(t)
	if code, _, _ := q.get("/quiz"); code != http.StatusNotFound {
		t.Errorf("%d", code)
	}
	if _, body, _ := q.get("/"); strings.Contains(body, "/quiz") {
		t.Error("the navigation leads to tests that are not there")
	}
	if _, body, _ := p.get("/"); !strings.Contains(body, `href="/quiz"`) {
		t.Error("the navigation does not lead to the tests")
	}
}

// No words stand in the script of tests: they come from the language files.
func TestNoWordsInQuizScript(t *testing.T) {
	data, err := assets.ReadFile("quiz.js")
	if err != nil {
		t.Fatal(err)
	}
	code := strings.Replace(regexp.MustCompile(`(?m)(^|\s)//.*$|/\*.*?\*/`).ReplaceAllString(string(data), ""), `"use strict";`, "", 1)
	for _, m := range regexp.MustCompile(`"([^"\n]*)"`).FindAllStringSubmatch(code, -1) {
		if regexp.MustCompile(`\pL+ \pL+`).MatchString(m[1]) && !strings.ContainsAny(m[1], "[#.=") {
			t.Errorf("the words %q", m[1])
		}
	}
}
