package bench

import (
	"bytes"
	"context"
	"encoding/base64"
	"fmt"
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// TestLightBrowser tries the light page in a browser.
func TestLightBrowser(t *testing.T) {
	browser := chromium(t)
	for _, c := range []struct {
		name string
		f    func(*testing.T, *aBrowser)
	}{
		{"Patterns", lightPatterns},
		{"OwnPixels", lightOwnPixels},
		{"Interrupted", lightInterrupted},
		{"Card", lightCard},
		{"Greys", lightGreys},
		{"Looks", lightLooks},
	} {
		t.Run(c.name, func(t *testing.T) { c.f(t, browser) })
	}
}

// shine opens a rig's light page, past its words.
func shine(t *testing.T, browser *aBrowser, r *rigged, w, h int64, ratio float64) *tab {
	t.Helper()
	b := browser.first(t)
	b.do(chromedp.EmulateViewport(w, h, chromedp.EmulateScale(ratio)), chromedp.Navigate(r.web.URL+"/light"))
	b.await("the page", "document.body.dataset.ready")
	b.js("localStorage.clear()")
	b.click("#start")
	b.await("the light", fmt.Sprintf("document.getElementById('light').width === %d && document.getElementById('light').height === %d",
		int(float64(w)*ratio), int(float64(h)*ratio)))
	r.lit(t)
	return b
}

// lit waits until the only page has told that it gives light.
func (r *rigged) lit(t *testing.T) {
	t.Helper()
	for end := time.Now().Add(10 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		r.Screens.mu.Lock()
		all, ok := len(r.Screens.open), false
		for _, x := range r.Screens.open {
			ok = x.lit
		}
		r.Screens.mu.Unlock()
		if all == 1 && ok {
			return
		}
	}
	t.Fatal("no page has told that it gives light")
}

// spyOnLight keeps, for the latest pattern that the page tells as painted, the canvas
// of that moment, and how many frames and milliseconds have passed since it was drawn.
const spyOnLight = `(() => {
	const canvas = document.getElementById("light"), ctx = canvas.getContext("2d"), put = ctx.putImageData, send = window.fetch;
	let at = 0, frames = 0;
	ctx.putImageData = function (...a) { put.apply(ctx, a); at = performance.now(); frames = 0; };
	(function frame() { frames++; requestAnimationFrame(frame); })();
	window.told = null;
	window.fetch = function (url, o) {
		const n = Number(o.body.get("painted"));
		if (n && (!told || told.n !== n)) {
			const d = ctx.getImageData(0, 0, canvas.width, canvas.height).data;
			let s = "";
			for (let i = 0; i < d.length; i += 8190) s += String.fromCharCode(...d.subarray(i, i + 8190));
			window.told = {n, frames, ms: performance.now() - at, dots: btoa(s)};
		}
		return send.apply(window, arguments);
	};
})()`

// wants is the value, 0 to 255 and not rounded, that a pixel has to have: the light as
// Pattern tells it, by a power, or where that is 0 by the curve of IEC 61966-2-1.
func (p Pattern) wants(x, y, w, h int, pxPerMM, gamma float64) (rgb [3]float64) {
	dx, dy := (float64(x)-float64(w-1)/2)/pxPerMM, (float64(y)-float64(h-1)/2)/pxPerMM
	along := map[string]float64{"x": dx, "y": dy}[p.Axis]
	light := 1.0
	switch p.Kind {
	case Rings:
		along = math.Sqrt(dx*dx + dy*dy)
		fallthrough
	case Stripes:
		light = 0.5 + 0.5*p.Contrast*math.Cos(2*math.Pi*along/p.PeriodMM+p.PhaseDeg/180*math.Pi)
	case Half:
		if light = 0; along >= 0 && p.PhaseDeg == 0 || along < 0 && p.PhaseDeg == 180 {
			light = 1
		}
	}
	for i, c := range p.Colour {
		if v := c * light; gamma > 0 {
			rgb[i] = 255 * math.Pow(v, 1/gamma)
		} else if v <= 0.0031308 {
			rgb[i] = 255 * 12.92 * v
		} else {
			rgb[i] = 255 * (1.055*math.Pow(v, 1/2.4) - 0.055)
		}
	}
	return rgb
}

// differs tells the first pixel of what is seen that is further from a pattern than
// slack; "" for none.
func (p Pattern) differs(w, h int, pxPerMM, gamma, slack float64, at func(x, y int) [3]float64) string {
	for y := range h {
		for x := range w {
			want, got := p.wants(x, y, w, h, pxPerMM, gamma), at(x, y)
			for i := range want {
				if !(math.Abs(want[i]-got[i]) <= slack) {
					return fmt.Sprintf("pixel %d, %d is %v for %.2f", x, y, got, want)
				}
			}
		}
	}
	return ""
}

// somePattern is drawn by lot.
func somePattern(rng *rand.Rand) Pattern {
	p := Pattern{Colour: [3]float64{1, 1, 1}, Axis: []string{"x", "y"}[rng.IntN(2)], PeriodMM: 1 + 20*rng.Float64(),
		PhaseDeg: 90 * float64(rng.IntN(4)), Contrast: rng.Float64()}
	if rng.IntN(3) == 0 {
		p.Colour = [3]float64{rng.Float64(), rng.Float64(), rng.Float64()}
	}
	switch p.Kind = []PatternKind{Plain, Half, Rings, Stripes, Stripes, Stripes}[rng.IntN(6)]; {
	case p.Kind == Half:
		p.PhaseDeg = 180 * float64(rng.IntN(2))
	case p.Kind == Plain && rng.IntN(2) == 0:
		p.Colour = [3]float64{} // black
	}
	return p
}

// Pattern after pattern, one given up half-way and one drawn anew now and then: what the canvas has as
// the page tells a pattern is just that pattern, whole, after two frames and the
// time to settle; also where the processor is slow, and where the script is kept from
// running at random. FINISHBENCH_LIGHT gives the number of patterns.
func lightPatterns(t *testing.T, browser *aBrowser) {
	n := 40
	if v, err := strconv.Atoi(os.Getenv("FINISHBENCH_LIGHT")); err == nil {
		n = v
	}
	const w, h = 240, 150
	for _, c := range []struct {
		name   string
		share  int // of n, percent
		slower float64
		settle time.Duration // two frames alone take about 33 ms
		gamma  float64       // of the screen, measured; 0: not
		jam    string
	}{
		{"free", 40, 1, time.Millisecond, 0, ""},
		{"slow processor", 30, 6, 60 * time.Millisecond, 1.8, ""},
		{"jammed", 30, 1, 20 * time.Millisecond, 2.6,
			"(function jam() { for (const end = performance.now() + 120 * Math.random(); performance.now() < end;); setTimeout(jam, 60 * " +
				"Math.random()); })()"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := rig(t, Options{})
			r.Screens.Settle, r.Screens.Pace, r.Screens.Gamma = c.settle, time.Millisecond, c.gamma
			b := shine(t, browser, r, w, h, 1)
			b.js(spyOnLight)
			if _, err := chromedp.Call(b, emulation.SetCPUThrottlingRate,
				emulation.SetCPUThrottlingRateParams{Rate: c.slower}); err != nil {
				t.Fatal(err)
			}
			defer chromedp.Call(b, emulation.SetCPUThrottlingRate, emulation.SetCPUThrottlingRateParams{Rate: 1})
			if c.jam != "" {
				b.js(c.jam)
			}
			rng := rand.New(rand.NewPCG(1, 2))
			right, of, number := 0, n*c.share/100, int64(0)
			for i := range of {
				if i%7 == 3 { // one that nobody waits for
					soon, cancel := context.WithTimeout(b, time.Duration(1+rng.IntN(60))*time.Millisecond)
					_ = r.Screens.Show(soon, somePattern(rng))
					cancel()
				}
				if i%7 == 5 { // one that is drawn anew meanwhile
					b.js("setTimeout(() => document.dispatchEvent(new Event('visibilitychange')), 10 + 30 * Math.random())")
				}
				p := somePattern(rng)
				if err := r.Screens.Show(b, p); err != nil {
					t.Fatalf("pattern %d: %v", i, err)
				}
				told, err := chromedp.Run(b, chromedp.Evaluate[struct {
					N      int64
					Frames int
					MS     float64
					Dots   []byte
				}]("told"))
				if err != nil {
					t.Fatal(err)
				}
				number = r.Screens.current().Number
				wrong := ""
				switch at := func(x, y int) [3]float64 {
					d := told.Dots[4*(y*w+x):]
					return [3]float64{float64(d[0]), float64(d[1]), float64(d[2])}
				}; {
				case told.N != number:
					wrong = fmt.Sprintf("told as %d", told.N)
				case told.Frames < 2 || told.MS < float64(c.settle.Milliseconds())-0.1: // clocks of browsers are coarse: 0.1 ms
					wrong = fmt.Sprintf("told after %d frames and %.1f ms", told.Frames, told.MS)
				case len(told.Dots) != 4*w*h:
					wrong = fmt.Sprintf("the canvas has %d bytes", len(told.Dots))
				default:
					wrong = p.differs(w, h, 96/25.4, c.gamma, 0.501, at) // rounded: half a level
				}
				if wrong == "" {
					right++
					continue
				}
				t.Errorf("pattern %d, number %d, %+v: %s", i, number, p, wrong)
			}
			t.Logf("%d of %d patterns right", right, of)
		})
	}
}

// What the browser paints on the screen is the pattern too, at the screen's own
// pixels, with no scaling between.
func lightOwnPixels(t *testing.T, browser *aBrowser) {
	for _, ratio := range []float64{1, 1.5, 2} {
		r := rig(t, Options{})
		r.Screens.Pace = time.Millisecond
		b := shine(t, browser, r, 240, 150, ratio)
		for _, p := range []Pattern{{Kind: Stripes, Colour: [3]float64{1, 1, 1}, Axis: "x", PeriodMM: 1.1, Contrast: 1},
			{Kind: Half, Colour: [3]float64{1, 0.5, 0.2}, Axis: "y", PhaseDeg: 180}} {
			err := r.Screens.Show(b, p)
			for until := time.Now().Add(20 * time.Second); err != nil && time.Now().Before(until); err = r.Screens.Show(b, p) {
				time.Sleep(100 * time.Millisecond) // a busy machine's browser is late to tell that it gives light
			}
			if err != nil {
				t.Fatal(err)
			}
			data, err := chromedp.Run(b, chromedp.CaptureScreenshot())
			if err != nil {
				t.Fatal(err)
			}
			im, err := png.Decode(bytes.NewReader(data))
			if err != nil {
				t.Fatal(err)
			}
			w, h := im.Bounds().Dx(), im.Bounds().Dy()
			if w != int(240*ratio) || h != int(150*ratio) {
				t.Fatalf("at %g the screen has %d x %d pixels", ratio, w, h)
			}
			// One level: for colour management; common practice, no source.
			if d := p.differs(w, h, ratio*96/25.4, 0, 1.5, func(x, y int) [3]float64 {
				r, g, b, _ := im.At(x, y).RGBA()
				return [3]float64{float64(r >> 8), float64(g >> 8), float64(b >> 8)}
			}); d != "" {
				t.Errorf("at %g, %+v: %s", ratio, p, d)
			}
		}
	}
}

// A screen asleep, a page taken back to its words, a line that is cut: told, and over
// once it is mended.
func lightInterrupted(t *testing.T, browser *aBrowser) {
	r := rig(t, Options{})
	r.Screens.Pace = time.Millisecond
	b := shine(t, browser, r, 240, 150, 1)
	show := func(want string) {
		t.Helper()
		if err := r.Screens.Show(b, stripes("x", 90)); want == "" && err != nil || want != "" && !isKey(err, want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
	told := func(what string, ok func(*screen) bool) {
		t.Helper()
		for end := time.Now().Add(10 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
			r.Screens.mu.Lock()
			found := false
			for _, x := range r.Screens.open {
				found = ok(x)
			}
			r.Screens.mu.Unlock()
			if found {
				return
			}
		}
		t.Fatalf("the page does not tell %s", what)
	}
	show("")
	hide := func(yes bool) {
		b.js(fmt.Sprintf("Object.defineProperty(document, 'hidden', {value: %t, configurable: true}); document.dispatchEvent(new "+
			"Event('visibilitychange'))", yes))
		told("sleep and waking", func(x *screen) bool { return x.hidden == yes })
	}
	hide(true)
	show("screen.problem.hidden")
	hide(false)
	show("")
	r.web.CloseClientConnections()
	b.await("lost said", "!document.getElementById('lost').hidden")
	b.await("mended", "document.getElementById('lost').hidden")
	show("")
	// While the bench waits.
	cut := time.AfterFunc(20*time.Millisecond, r.web.CloseClientConnections)
	defer cut.Stop()
	r.Screens.Settle = 150 * time.Millisecond
	show("")
	b.key(kb.Escape)
	told("its words", func(x *screen) bool { return !x.lit })
	show("screen.problem.unlit")
	b.await("the start button's focus", "document.activeElement.id === 'start'")
	b.key("\r")
	r.lit(t)
	show("")
	// A finger that brushes by changes nothing, one that is held brings the words back.
	press := "document.getElementById('light').dispatchEvent(new PointerEvent('%s'))"
	b.js(fmt.Sprintf(press, "pointerdown"))
	b.js(fmt.Sprintf(press, "pointerup"))
	time.Sleep(1100 * time.Millisecond)
	show("")
	b.js(fmt.Sprintf(press, "pointerdown"))
	told("its words", func(x *screen) bool { return !x.lit })
	b.do(chromedp.Navigate("about:blank"))
	for end := time.Now().Add(10 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if isKey(r.Screens.able(), "screen.problem.none") {
			break
		}
	}
	show("screen.problem.none")
}

// A card held to the screen tells the pixels of a millimetre; they are kept, and doubted
// where the zoom is another.
func lightCard(t *testing.T, browser *aBrowser) {
	r := rig(t, Options{})
	r.Screens.Pace = time.Millisecond
	b := shine(t, browser, r, 1024, 600, 1)
	state := func() (st screenState) {
		r.Screens.mu.Lock()
		defer r.Screens.mu.Unlock()
		for _, x := range r.Screens.open {
			st = x.screenState
		}
		return st
	}
	if st := state(); st.pxPerMM != 0 {
		t.Errorf("before it was measured: %+v", st)
	}
	b.key(kb.Escape)
	b.see("Not measured: stripes")
	b.click("#measure")
	b.await("the field", "document.getElementById('outline').clientWidth > 300")
	// ISO/IEC 7810, ID-1: 85.60 by 53.98 mm.
	b.js("var s = document.getElementById('size'); s.value = 428; s.dispatchEvent(new Event('input'))")
	b.click("#less")
	b.click("#more")
	if w, h := b.number("document.getElementById('outline').getBoundingClientRect().width"),
		b.number("document.getElementById('outline').getBoundingClientRect().height"); math.Abs(w-428) > 0.1 ||
		math.Abs(h-428*53.98/85.60) > 0.1 {
		t.Errorf("the field is %g by %g", w, h)
	}
	b.click("#fits")
	b.see("205 × 120 mm") // 1024 and 600 pixels at 5 a millimetre
	b.click("#start")
	r.lit(t)
	if st := state(); math.Abs(st.pxPerMM-5) > 1e-9 {
		t.Errorf("428 pixels for 85.60 mm are told as %+v", st)
	}
	p := stripes("x", 0) // 4 mm are 20 pixels
	if err := r.Screens.Show(b, p); err != nil {
		t.Fatal(err)
	}
	row, err := base64.StdEncoding.DecodeString(b.js("btoa(" +
		"String.fromCharCode(...document.getElementById('light').getContext('2d').getImageData(0, 0, 1024, 1).data))").(string))
	if err != nil {
		t.Fatal(err)
	}
	for x := range 1024 {
		if want, got := p.wants(x, 0, 1024, 600, 5, 0)[0], float64(row[4*x]); math.Abs(want-got) > 0.501 {
			t.Fatalf("pixel %d is %g for %.2f", x, got, want)
		}
	}
	// Kept for the next time, and doubted at another zoom.
	for ratio, doubt := range map[float64]bool{1: false, 1.25: true} {
		b.do(chromedp.EmulateViewport(1024, 600, chromedp.EmulateScale(ratio)), chromedp.Navigate(r.web.URL+"/light"))
		b.await("the page", "document.body.dataset.ready")
		b.await("whether it is in doubt",
			fmt.Sprintf("document.getElementById('doubt').hidden === %t && document.getElementById('told').hidden === %t && "+
				"document.getElementById('untold').hidden", !doubt, doubt))
		b.click("#start")
		r.lit(t)
		if st := state(); math.Abs(st.pxPerMM-5) > 1e-9 || st.doubt != doubt {
			t.Errorf("at a zoom of %g: %+v", ratio, st)
		}
	}
}

// A grey of a wedge is just that level on the screen, whatever curve holds.
func lightGreys(t *testing.T, browser *aBrowser) {
	for _, gamma := range []float64{0, 1.8, 2.6} {
		r := rig(t, Options{})
		r.Screens.Pace, r.Screens.Settle, r.Screens.Gamma = time.Millisecond, time.Millisecond, gamma
		b := shine(t, browser, r, 240, 150, 1)
		for _, level := range []int{255, 0, 1, 10, 11, 16, 128, 251, 255} {
			if err := r.Screens.Show(b, r.Screens.Grey(level)); err != nil {
				t.Fatal(err)
			}
			got := b.number("document.getElementById('light').getContext('2d').getImageData(120, 75, 1, 1).data[1]")
			if got != float64(level) {
				t.Errorf("gamma %g: level %d is shown as %g", gamma, level, got)
			}
		}
	}
}

// Words and buttons stay on their screen and readable, in every language. With
// FINISHBENCH_STORIES each is stored as a picture.
func lightLooks(t *testing.T, browser *aBrowser) {
	dir := os.Getenv("FINISHBENCH_STORIES")
	r := rig(t, Options{})
	b := browser.first(t)
	for _, lang := range []string{"en", "zh-Hans"} {
		for i, l := range looks {
			if !l.often && os.Getenv("FINISHBENCH_LONG") == "" {
				continue
			}
			theme := []string{"light", "dark"}[i%2]
			b.do(chromedp.EmulateViewport(l.w, l.h), chromedp.Navigate(r.web.URL+"/light"))
			b.await("the page", "document.body.dataset.ready")
			b.js(fmt.Sprintf("document.cookie = 'lang=%s'; localStorage.clear()", lang))
			b.do(chromedp.Navigate(r.web.URL + "/light"))
			b.await("the page", fmt.Sprintf("document.body.dataset.ready && document.documentElement.lang === %q", lang))
			b.js(fmt.Sprintf("document.documentElement.dataset.theme = %q", theme))
			for _, part := range []string{"begin", "card"} {
				if part == "card" {
					b.click("#measure")
				} else {
					b.js("document.getElementById('sleeps').hidden = false") // the most that it may have to say
				}
				if bottom := b.number("document.querySelector('#words').getBoundingClientRect().bottom"); l.w > l.h &&
					bottom > float64(l.h)+1 {
					t.Errorf("%s at %dx%d, %s: it ends at %g", part, l.w, l.h, lang, bottom)
				}
				for _, fault := range b.js("(" + lookedAt + ")(" + fmt.Sprint(l.touch) + ")").([]any) {
					t.Errorf("%s at %dx%d, %s, %s: %v", part, l.w, l.h, theme, lang, fault)
				}
				if dir != "" {
					data, err := chromedp.Run(b, chromedp.CaptureScreenshot())
					if err != nil {
						t.Fatal(err)
					}
					put(t, filepath.Join(dir, fmt.Sprintf("light-%s-%dx%d-%s-%s.png", part, l.w, l.h, theme, lang)), data)
				}
			}
		}
	}
}
