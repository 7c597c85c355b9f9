package bench

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/debugger"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"finishbench/internal/lang"
	"finishbench/internal/scan"
)

// aKey is a key by its place, and what the computer takes it for.
type aKey struct {
	code, key string
	shift     bool
	held      bool // its keydown comes again, from the keyboard's own repetition
	composes  bool // an input method takes it
}

// hit strikes keys, gap apart by the times that they bear.
func (b *tab) hit(gap time.Duration, keys ...aKey) {
	b.t.Helper()
	at := time.Now()
	for _, k := range keys {
		at = at.Add(gap)
		b.hitAt(at, k)
	}
}

// hitAt strikes a key that bears a time, not before it.
func (b *tab) hitAt(at time.Time, k aKey) {
	b.t.Helper()
	time.Sleep(time.Until(at))
	p := input.DispatchKeyEventParams{Type: "keyDown", Code: k.code, Key: k.key,
		Timestamp: input.TimeSinceEpoch(float64(at.UnixNano()) / 1e9)}
	if k.held {
		p.AutoRepeat = &k.held
	}
	switch {
	case k.composes:
		p.Key, p.Type, p.WindowsVirtualKeyCode = "Process", "rawKeyDown", 229
	case k.key == "]" && k.code == "": // control and a bracket, as readers send a separator
		p.Modifiers, p.Code, p.Type = 2, "BracketRight", "rawKeyDown"
	case k.key == "Enter":
		p.Text, p.WindowsVirtualKeyCode = "\r", 13
	default:
		p.Text = k.key
	}
	if k.shift {
		p.Modifiers = 8
	}
	if _, err := chromedp.Call(b, input.DispatchKeyEvent, p); err != nil {
		b.t.Fatal(err)
	}
	if k.held {
		return
	}
	p.Type, p.Text = "keyUp", ""
	if _, err := chromedp.Call(b, input.DispatchKeyEvent, p); err != nil {
		b.t.Fatal(err)
	}
}

// keysOf are the keys that a reader set to an English keyboard (US) hits for a text, on a computer
// that takes them for another's: there is what each place types there, plain and with shift.
func keysOf(text string, there map[string]string) []aKey {
	var keys []aKey
	for _, r := range text {
		var k aKey
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z':
			k = aKey{code: "Key" + strings.ToUpper(string(r)), shift: r <= 'Z'}
		case r >= '0' && r <= '9':
			k = aKey{code: "Digit" + string(r)}
		default:
			k = aKey{code: map[rune]string{'-': "Minus", '/': "Slash", '.': "Period"}[r]}
		}
		k.key = string(r)
		if types := []rune(there[k.code]); len(types) == 2 {
			k.key = string(types[0])
			if k.shift {
				k.key = string(types[1])
			}
		}
		keys = append(keys, k)
	}
	return append(keys, aKey{code: "Enter", key: "Enter"})
}

// Parts of two keyboards, from memory.
var (
	german = map[string]string{"KeyY": "zZ", "KeyZ": "yY", "Minus": "ß?", "Slash": "-_"}
	french = map[string]string{
		"KeyA": "qQ", "KeyQ": "aA", "KeyW": "zZ", "KeyZ": "wW", "KeyM": ",?", "Minus": ")°", "Slash": "!§", "Period": ":/",
		"Digit1": "&1", "Digit2": "é2", "Digit3": "\"3", "Digit4": "'4", "Digit5": "(5", "Digit6": "-6", "Digit7": "è7", "Digit8": "_8",
		"Digit9": "ç9", "Digit0": "à0",
	}
)

// shop is a station's patterns.
func shop(t *testing.T) scan.Rules {
	t.Helper()
	var r scan.Rules
	for _, p := range [][2]string{{"unit", `[A-Z]-\d{4}(?:-[LR])?`}, {"badge", `B(\d{3})`}, {"lot", `L\d{4}`}, {"faceplate", `FP-\d+`}} {
		x, err := scan.NewPattern(scan.Kind(p[0]), p[1])
		if err != nil {
			t.Fatal(err)
		}
		r.Patterns = append(r.Patterns, x)
	}
	return r
}

// What is no scan of this bench is said, and changes nothing; neither does a press that was to
// start what was scanned.
func browserBadScans(t *testing.T, browser *aBrowser) {
	r := rig(t, Options{Scans: shop(t)}, passing())
	b := open(t, browser, r.web.URL)
	const gap = 4 * time.Millisecond
	long := strings.Repeat("A-1001", 84)[:500]
	for _, c := range []struct{ text, said string }{
		{long, "is too long"},
		{"17-A-1001", "looks like no unit, badge, lot or faceplate batch"},
		{"FB/U/A-1001/0000", "not all of it arrived"},
		{"AB--12000012", "looks like no unit"}, // two readers at once, their keys mixed
	} {
		before := r.Snapshot()
		b.strike(c.text+"\r ", gap)
		b.see(c.said)
		time.Sleep(150 * time.Millisecond)
		if s := r.Snapshot(); s.Phase != Ready || s.Unit != before.Unit {
			t.Fatalf("%.40s: %s, %+v", c.text, s.Phase, s.Unit)
		}
		b.await("the serial as it was", fmt.Sprintf("document.getElementById('serial').value === %q", before.Unit.Serial))
	}
	// A later press starts what is shown.
	b.key(" ")
	b.phase(Answered)
	b.strike(long+"\r", gap)
	b.see("is too long")
	if n := len(r.memory.all); n != 1 || r.memory.all[0].Withdrawn != nil || r.Snapshot().Phase != Answered {
		t.Fatalf("at the verdict: %d on record, %s", n, r.Snapshot().Phase)
	}
	// A reader that does not end with Enter: none of its letters is a shortcut.
	b.strike("R-7007", gap)
	b.see("Set it to end with Enter")
	b.strike("OUR", 2*time.Millisecond)
	b.await("the first of three keys at once is a shortcut, as ever", "document.querySelector('#overrule[open]')")
	b.js("document.querySelector('#overrule').close()")
	if s := r.Snapshot(); s.Phase != Answered || s.Count != 1 || r.memory.all[0].Withdrawn != nil {
		t.Errorf("%s, %d units", s.Phase, s.Count)
	}

	// What the code is, is said, and goes where it belongs.
	b.settle()
	b.scan("B017", gap)
	b.see("Badge 017 was scanned")
	b.scan("L4711", gap)
	b.see("Lot L4711 was scanned. This holds from the next unit on.")
	b.scan("FP-9", gap)
	b.see("Faceplate batch FP-9 was scanned")
	b.scan("A-1001-L", gap)
	b.phase(Ready)
	b.see("Unit A-1001-L was scanned")
	if u := r.Snapshot().Unit; u.Operator != "017" || u.Lot != "L4711" || u.Faceplate != "FP-9" || u.Serial != "A-1001" || u.Side != "L" {
		t.Errorf("%+v", u)
	}
	b.await("all on the page",
		"['serial:A-1001', 'operator:017', 'lot:L4711', 'faceplate:FP-9'].every(x => document.getElementById(x.split(':')[0]).value === "+
			"x.split(':')[1])")

	// Two readers, one behind the other in the same moment: neither is taken.
	b.strike("A-1001\rA-2002\r", 3*time.Millisecond)
	b.see("Two scans came at once, A-1001-L and A-2002")
	time.Sleep(100 * time.Millisecond)
	b.scan("A-2002", gap)
	r.until(t, "the one that was meant", func(s *Snapshot) bool { return s.Unit.Serial == "A-2002" && s.Problem == nil })

	time.Sleep(100 * time.Millisecond)
	// GS1, its separator typed as control and a bracket.
	keys := keysOf("010950110153000310W48", nil)
	keys = append(keys[:len(keys)-1], aKey{key: "]"})
	b.hit(gap, append(keys, keysOf("21C-3003-R", nil)...)...)
	b.see("Unit C-3003-R was scanned. Its lot is W48.")

	// While a unit is under way only units are asked about.
	r.shooter.set(func() { r.shooter.each = time.Minute })
	r.send(t, Press{})
	b.phase(Shooting)
	b.scan("B018", gap)
	b.see("Badge 018 was scanned and not taken, for C-3003-R is under way")
	if b.js("!!document.querySelector('dialog[open]')") == true || r.Snapshot().Unit.Operator != "017" {
		t.Error("a badge was asked about, or taken")
	}
}

// Readers that take the computer's keyboard for another one, and an input method that composes.
func browserKeyboards(t *testing.T, browser *aBrowser) {
	label, err := scan.Own(scan.Unit, "ZY-01-L")
	if err != nil {
		t.Fatal(err)
	}
	r := rig(t, Options{}, passing())
	b := open(t, browser, r.web.URL)
	for _, field := range []string{"go", "serial", "lot"} {
		for _, c := range []struct {
			name, text, serial string
			there              map[string]string
		}{
			{"German, a label", label, "ZY-01", german}, {"German, plain", "A-7-R", "A-7", german},
			{"French, a label", label, "ZY-01", french}, {"French, plain", "M-1234", "M-1234", french}, {"English", "zY-9", "zY-9", nil},
		} {
			b.do(chromedp.Focus("#" + field))
			b.hit(5*time.Millisecond, keysOf(c.text, c.there)...)
			r.until(t, c.name+" into "+field, func(s *Snapshot) bool { return s.Unit.Serial == c.serial })
			b.await(c.name+" on the page, nothing beside",
				fmt.Sprintf("document.getElementById('serial').value === %q && document.getElementById('lot').value === ''", c.serial))
			if c.there != nil {
				b.see("the reader is set to another keyboard")
			}
			time.Sleep(100 * time.Millisecond)
		}
	}

	// Chinese: in a field the input method takes each key, and shows what it composes there; it
	// hands the letters over at the end. Its events as browsers of this kind make them, simulated.
	for _, text := range []string{"R-7007", label} {
		b.do(chromedp.Focus("#lot"))
		at, typed := time.Now(), ""
		for _, k := range keysOf(text, nil) {
			k.composes = true
			at = at.Add(12 * time.Millisecond)
			b.hitAt(at, k)
			if k.key != "Enter" {
				typed += k.key
				if _, err := chromedp.Call(b, input.ImeSetComposition, input.ImeSetCompositionParams{Text: typed,
					SelectionStart: int64(len(typed)), SelectionEnd: int64(len(typed))}); err != nil {
					t.Fatal(err)
				}
			}
		}
		want := text
		if text == label {
			want = "ZY-01"
		}
		r.until(t, "composed "+text, func(s *Snapshot) bool { return s.Unit.Serial == want })
		b.await("nothing in the field",
			"document.getElementById('lot').value === '' && document.getElementById('serial').value === '"+want+"'")
		if lot := r.Snapshot().Unit.Lot; lot != "" {
			t.Errorf("the lot became %q", lot)
		}
		time.Sleep(100 * time.Millisecond)
	}
	// A person who composes, slowly, is no reader; a composing key is no shortcut.
	b.do(chromedp.Focus("#lot"))
	b.hit(150*time.Millisecond, aKey{code: "KeyN", composes: true}, aKey{code: "KeyI", composes: true})
	if _, err := chromedp.Call(b, input.InsertText, input.InsertTextParams{Text: "你"}); err != nil {
		t.Fatal(err)
	}
	b.await("what was composed", "document.getElementById('lot').value === '你'")
}

// A key that is held does what it does once.
func browserHeldKeys(t *testing.T, browser *aBrowser) {
	r := rig(t, Options{}, passing())
	b := open(t, browser, r.web.URL)
	hold := func(code, key string) {
		first := aKey{code: code, key: key, held: false}
		keys := []aKey{}
		for range 30 { // a second of the keyboard's repetition
			keys = append(keys, aKey{code: code, key: key, held: true})
		}
		b.hit(10*time.Millisecond, first)
		b.hit(30*time.Millisecond, keys...)
	}
	for _, k := range []aKey{{code: "Enter", key: "Enter"}, {code: "Space", key: " "}} {
		n := r.Snapshot().Count
		b.do(chromedp.Focus("#go"))
		hold(k.code, k.key)
		r.until(t, "a verdict", func(s *Snapshot) bool { return s.Phase == Answered && s.Count == n+1 })
		b.settle()
		time.Sleep(300 * time.Millisecond)
		if s := r.Snapshot(); s.Phase != Answered || s.Count != n+1 {
			t.Errorf("%q held: %s, %d units", k.key, s.Phase, s.Count-n)
		}
		hold("KeyU", "u")
		b.await("the question", "document.querySelector('#undo[open]')")
		if r.Snapshot().Phase != Answered || r.memory.all[len(r.memory.all)-1].Withdrawn != nil {
			t.Error("U held withdrew")
		}
		b.js("document.querySelector('#undo').close()")
		r.send(t, Press{})
		b.phase(Ready)
	}
}

// A tablet that sleeps in the middle of a unit shows, awake again, how it stands; a press on what
// it showed before does nothing that was not seen.
func browserSleep(t *testing.T, browser *aBrowser) {
	r := rig(t, Options{}, reworking())
	b := another(t, browser, r.web.URL)
	r.shooter.set(func() { r.shooter.asks[3] = true })
	b.key(" ")
	b.see("Turn the unit to 90°")
	tell := func(c func() error) {
		t.Helper()
		if err := c(); err != nil {
			t.Fatal(err)
		}
	}
	// Asleep: its script stands still, and the network forgets it.
	tell(func() error { _, err := chromedp.Call(b, debugger.Enable, debugger.EnableParams{}); return err })
	tell(func() error { _, err := chromedp.Call(b, debugger.Pause, cdp.Empty{}); return err })
	time.Sleep(300 * time.Millisecond)
	r.web.CloseClientConnections()
	r.send(t, Press{}) // somebody at the pedal of another screen
	r.phase(t, Answered)
	time.Sleep(time.Second)
	tell(func() error { _, err := chromedp.Call(b, debugger.Disable, cdp.Empty{}); return err })
	b.phase(Answered)
	b.see("REWORK")
	b.settle()
	b.scan("A-9", 5*time.Millisecond)
	b.phase(Ready)
	if u := r.Snapshot().Unit; u.Serial != "A-9" || len(r.memory.all) != 1 {
		t.Errorf("%+v, %d on record", u, len(r.memory.all))
	}
}

// Two browsers, each with a reader: the last scan holds, and a press starts only what its page
// showed.
func browserTwoReaders(t *testing.T, browser *aBrowser) {
	r := rig(t, Options{}, passing())
	one, two := open(t, browser, r.web.URL), another(t, browser, r.web.URL)
	for i := range 5 {
		mine, other := fmt.Sprintf("A-%d", i), fmt.Sprintf("B-%d", i)
		turn := r.Snapshot().Turn
		one.scan(mine, 3*time.Millisecond)
		r.until(t, mine, func(s *Snapshot) bool { return s.Unit.Serial == mine })
		two.scan(other, 3*time.Millisecond)
		r.until(t, other, func(s *Snapshot) bool { return s.Unit.Serial == other })
		// As if the first one's page had not heard of it yet.
		if err := r.Send(t.Context(), turn, Press{}); err == nil {
			t.Fatalf("a press that saw neither scan started %+v", r.Snapshot().Unit)
		}
		for _, b := range []*tab{one, two} {
			b.await(other+" on both", fmt.Sprintf("document.getElementById('serial').value === %q", other))
		}
	}
	// What one types into a field leaves alone what the other scanned.
	one.do(chromedp.Focus("#lot"))
	one.key("W48")
	two.scan("C-1", 3*time.Millisecond)
	r.until(t, "C-1", func(s *Snapshot) bool { return s.Unit.Serial == "C-1" })
	one.key(kb.Tab)
	if s := r.until(t, "the lot", func(s *Snapshot) bool { return s.Unit.Lot == "W48" }); s.Unit.Serial != "C-1" {
		t.Errorf("%+v", s.Unit)
	}
}

// A clock that is set back an hour, the machine's and the tablet's, in the middle of a unit.
func browserClock(t *testing.T, browser *aBrowser) {
	r := rig(t, Options{}, passing(), reworking())
	var back atomic.Int64
	// Without the monotonic reading, too.
	r.Station.Parts.Now = func() time.Time { return time.Now().Round(0).Add(-time.Duration(back.Load())) }
	b := open(t, browser, r.web.URL)
	b.js("window.realNow = Date.now; window.back = 0; Date.now = () => realNow() - back")
	r.shooter.set(func() { r.shooter.asks[3] = true })
	b.key(" ")
	b.see("Turn the unit to 90°")
	back.Store(int64(time.Hour))
	b.js("window.back = 3600e3")
	b.key(" ")
	b.phase(Answered)
	if a := r.Snapshot().Answer; a.Outcome.Result.StoppedS != nil && *a.Outcome.Result.StoppedS < 0 {
		t.Errorf("stood still for %g s", *a.Outcome.Result.StoppedS)
	}
	if a := r.Snapshot(); a.Answer.Ended.Before(a.Started) {
		t.Errorf("it ended %s before it started", a.Started.Sub(a.Answer.Ended))
	}
	b.settle()
	b.key(" ")
	b.phase(Ready)
	r.shooter.set(func() { clear(r.shooter.asks) })
	for range 3 {
		b.scan("A-1", 5*time.Millisecond)
		r.until(t, "the scan", func(s *Snapshot) bool { return s.Phase == Ready && s.Unit.Serial == "A-1" })
		b.key(" ")
		b.phase(Answered)
		b.settle()
		b.key(" ")
		b.phase(Ready)
	}
	if b.js("document.getElementById('lost').hidden") != true {
		t.Error("the page says that the connection is lost")
	}
}

// Each letter that is typed on an empty ready page, from the moment that it is there, goes to the
// serial: 6 loads, with FINISHBENCH_LONG 60.
func browserFirstLetters(t *testing.T, browser *aBrowser) {
	r := rig(t, Options{}, passing())
	u := r.Snapshot().Unit
	u.Serial = ""
	r.send(t, Edit{u, FollowTyped})
	b := open(t, browser, r.web.URL)
	random := rand.New(rand.NewPCG(5, 17))
	loads := 6
	if os.Getenv("FINISHBENCH_LONG") != "" {
		loads = 60
	}
	for i := range loads {
		if i > 0 && i%12 == 0 { // time in a tab is bounded
			b = open(t, browser, r.web.URL)
		}
		ctx, stop := context.WithTimeout(b, 20*time.Second)
		// As soon as the field is there, or some time later: before the script, while it begins, after.
		if err := chromedp.Do(ctx, chromedp.Navigate("about:blank")); err != nil {
			t.Fatal(err)
		}
		b.js(fmt.Sprintf("location.href = %q", r.web.URL))
		b.await("the field", "document.getElementById('serial')")
		stop()
		if i%3 > 0 {
			time.Sleep(time.Duration(random.IntN(300)) * time.Millisecond)
		}
		if i%4 == 3 { // whatever else has the focus
			b.await("the script", "document.body.dataset.ready")
			b.js("document.activeElement.blur()")
		}
		b.strike("K7-u02r", 25*time.Millisecond)
		time.Sleep(150 * time.Millisecond)
		if got := b.js("document.getElementById('serial').value"); got != "K7-u02r" {
			t.Errorf("load %d: the serial is %q", i, got)
		}
		time.Sleep(600 * time.Millisecond / time.Duration(1+i%3)) // states that come meanwhile
		if got := b.js("document.getElementById('serial').value"); got != "K7-u02r" {
			t.Errorf("load %d, a while later: the serial is %q", i, got)
		}
	}
}

// Pages that are no bench take scans all the same: they say what was scanned, and nothing is pressed.
func browserScanPages(t *testing.T, browser *aBrowser) {
	r := rig(t, Options{})
	r.Station.Sheets = fakeSheets{}
	r.Station.Atlas = fakeAtlas{}
	again := NewServer(r.Station, Options{Languages: languages(t), Scans: shop(t)})
	r.web.Config.Handler = again
	b := open(t, browser, r.web.URL)
	for _, path := range []string{"/shift", "/atlas", "/atlas/dust"} {
		b.do(chromedp.Navigate(r.web.URL + path))
		b.await("the page", "window.scans")
		b.scan("A-1001", 5*time.Millisecond)
		b.see("Unit A-1001 was scanned. Scans are taken at the bench")
		b.scan("xyz", 5*time.Millisecond)
		b.see("xyz was scanned. It looks like no unit")
		if got := b.js("location.pathname + location.search"); got != path {
			t.Errorf("a scan on %s led to %v", path, got)
		}
	}
	// A field there keeps what stood in it.
	b.do(chromedp.Navigate(r.web.URL + "/shift"))
	b.await("the page", "window.scans")
	b.do(chromedp.Focus("input[name=from]"))
	was := b.js("document.querySelector('input[name=from]').value")
	b.scan("A-1001", 5*time.Millisecond)
	b.see("Unit A-1001 was scanned")
	if got := b.js("document.querySelector('input[name=from]').value"); got != was {
		t.Errorf("the field became %v, was %v", got, was)
	}

	// The light's words say it; once it shines the scan goes to the bench, and nothing lies on the light.
	b = shine(t, browser, r, 800, 600, 1)
	b.scan("A-1001-L", 5*time.Millisecond)
	r.until(t, "the scan", func(s *Snapshot) bool { return s.Unit.Serial == "A-1001" && s.Unit.Side == "L" })
	b.scan("xyz", 5*time.Millisecond)
	r.until(t, "what is wrong with it", func(s *Snapshot) bool { return s.Problem != nil && s.Problem.Key == "scan.wrong.none" })
	if b.js("document.body.classList.contains('lit') && document.getElementById('said').hidden") != true {
		t.Error("a scan put the light out, or wrote on it")
	}
	b.strike(kb.Escape, time.Millisecond)
	b.await("the words", "!document.body.classList.contains('lit') && document.activeElement.id === 'start'")
	b.scan("B017", 5*time.Millisecond)
	b.see("Badge 017 was scanned. Scans are taken at the bench")
	if b.js("document.body.classList.contains('lit')") == true || r.Snapshot().Unit.Operator != "" {
		t.Error("a scan pressed the button, or changed the bench from a page that shows words")
	}
}

type fakeSheets struct{}

func (fakeSheets) ShiftSheet(_ context.Context, _ *lang.Lang, _, _ time.Time) ([]byte, error) {
	return []byte(`<!doctype html><html lang="en"><head><title>Shift</title></head><body><main><h1>Shift</h1></main></body></html>`), nil
}
