package bench

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"finishbench/internal/people"
)

// axeSource is the script of axe-core, which .ci/setup fetches; "" where it is not there.
func axeSource() string {
	cache, err := os.UserCacheDir()
	if err != nil {
		return ""
	}
	found, _ := filepath.Glob(filepath.Join(cache, "finishbench", "axe-*.min.js"))
	if len(found) == 0 {
		return ""
	}
	data, _ := os.ReadFile(found[len(found)-1])
	return string(data)
}

// axe lists what axe-core finds wrong with a page as it stands, a line each: all its rules.
func (b *tab) axe(source string) []string {
	b.t.Helper()
	if b.js("typeof window.axe") != "object" {
		// Beside the page's policy, which lets no foreign script in.
		if _, err := chromedp.Call(b, runtime.Evaluate, runtime.EvaluateParams{Expression: source + "; 0"}); err != nil {
			b.t.Fatal(err)
		}
	}
	b.js(`window.found = null; axe.run(document, {resultTypes: ["violations"]}).then(r => {
		found = r.violations.map(v => v.id + " (" + v.impact + "): " + v.help + ": " + v.nodes.slice(0, 4).map(n => n.target.join(" ") +
			" " + (n.any.concat(n.all, n.none)[0] || {}).message).join("; "));
	}, e => { found = ["axe-core failed: " + e]; })`)
	b.await("axe-core", "window.found")
	var all []string
	for _, f := range b.js("found").([]any) {
		all = append(all, f.(string))
	}
	return all
}

// axe-core finds nothing wrong with the pages other than the bench's, whose states are those of
// browserSizes, light and dark.
func browserAxe(t *testing.T, browser *aBrowser) {
	source := axeSource()
	if source == "" {
		t.Skip("no axe-core here: pages were not held to WCAG by it")
	}
	b := browser.first(t)
	n := 0
	hold := func(b *tab, name string) {
		theme := []string{"light", "dark"}[n%2]
		n++
		b.js(fmt.Sprintf("document.documentElement.dataset.theme = %q", theme))
		for _, f := range b.axe(source) {
			t.Errorf("%s, %s: %s", name, theme, f)
		}
	}
	b.do(chromedp.EmulateViewport(1024, 768))
	visit := func(r *rigged, name, path, until string) {
		b.do(chromedp.Navigate(r.web.URL + path))
		b.await(name, "document.readyState === 'complete' && "+until)
		hold(b, name)
	}
	locked := rig(t, Options{Passphrase: &people.Hash{}})
	b.do(chromedp.Navigate("about:blank"))
	if _, err := chromedp.Call(b, network.ClearBrowserCookies, cdp.Empty{}); err != nil {
		t.Fatal(err)
	}
	visit(locked, "login", "/", "document.querySelector('input[type=password]')")
	lots, _ := lotRig(t, Options{})
	lots.Station.Sheets = fakeSheets{}
	b.begin(lots.web.URL)
	visit(lots, "no such page", "/nowhere", "document.querySelector('.band.bad')")
	visit(lots, "shift", "/shift", "window.scans")
	visit(lots, "light", "/light", "document.body.dataset.ready")
	b.js("document.getElementById('measure').click()")
	hold(b, "light, card")
	visit(lots, "lots", "/lot", "document.body.dataset.lotready")
	for _, lot := range []string{"L-4710", "L-4711"} {
		visit(lots, lot, "/lot/"+lot, "document.body.dataset.lotready && document.querySelector('#lot-more').dataset.ready")
		if b.js("!!document.querySelector('[data-open]')") == true {
			b.js("document.querySelector('[data-open]').click()")
			hold(b, lot+", a choice")
		}
	}
	quiz := quizRig(t, newQuizRoom(t, quizSpec), Options{})
	b.do(chromedp.Navigate(quiz.web.URL)) // the cautions were read there: cookies know no ports
	b.phase(Ready)
	visit(quiz, "tests", "/quiz", "document.getElementById('begin')")
	b.js("document.getElementById('initials').value = 'AX'; document.getElementById('badge').value = '1'; " +
		"document.getElementById('begin').click()")
	b.unit(0)
	hold(b, "a test's unit")
	b.key("1 ")
	hold(b, "a test's unit, marked")

	// It sees a fault where there is one.
	b.js("document.querySelector('img, button').outerHTML = '<img src=x>'")
	if got := strings.Join(b.axe(source), "\n"); !strings.Contains(got, "image-alt") {
		t.Errorf("a picture without words is not seen: %s", got)
	}
}
