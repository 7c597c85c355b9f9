package report

import (
	"bytes"
	"context"
	"fmt"
	"image/color"
	"image/png"
	"math"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"finishbench/internal/report/palette"
)

// browser finds a browser, or skips the test.
func browser(t *testing.T) string {
	t.Helper()
	if testing.Short() {
		t.Skip("the browser is left out of short tests")
	}
	for _, n := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(n); err == nil {
			return p
		}
	}
	t.Skip("no chromium here: pages were not tried in a browser")
	return ""
}

// browse runs the browser without a window and returns its standard output.
func browse(t *testing.T, exe string, args ...string) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 90*time.Second)
	defer cancel()
	base := []string{"--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
		"--disable-component-update", "--disable-sync", "--hide-scrollbars", "--user-data-dir=" + t.TempDir()}
	cmd := exec.CommandContext(ctx, exe, append(base, args...)...)
	cmd.WaitDelay = 5 * time.Second
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Run(); err != nil {
		t.Fatalf("%s %v: %v\n%s", exe, args, err, errs.String())
	}
	return out.String()
}

// measuring is put into a copy of a page, shown in a frame; it tells the page
// around the frame what the browser laid out. The page itself runs no script.
const measuring = `<script>window.onload=function(){
var d=document.documentElement,bad=[],broken=0;
document.querySelectorAll('body *').forEach(function(e){
 var r=e.getBoundingClientRect();
 if(r.right>d.clientWidth+1&&!e.closest('.scroll')&&!e.closest('svg'))bad.push(e.tagName+'.'+e.className);
});
document.querySelectorAll('img').forEach(function(e){if(!e.complete||!e.naturalWidth)broken++});
var w=document.querySelector('.word');
parent.postMessage([window.name,d.scrollWidth,d.clientWidth,broken,w?Math.round(parseFloat(getComputedStyle(w).fontSize)):0,bad.slice(0,4).join(',')].join('|'),'*');
}</script></body>`

// listening is the page around the frames.
const listening = `<!doctype html><body><script>window.onmessage=function(m){
var p=document.createElement('p');p.textContent='seen|'+m.data+'|end';document.body.append(p)}</script>`

func TestPagesInABrowser(t *testing.T) {
	exe := browser(t)
	dir := t.TempDir()
	all := pages(t)
	long := sample()
	long.Unit = strings.Repeat("k12-", 60)
	long.Reasons = []string{strings.Repeat("recessed", 60)}
	long.Pictures[0].File = strings.Repeat("e", 200) + ".png"
	all["long words"] = samplePage(t, long)
	around := listening
	widths := []int{1920, 1024, 360}
	for name, page := range all {
		// The copy may run its one script; the page's own policy forbids all.
		page = regexp.MustCompile(`<meta http-equiv="Content-Security-Policy"[^>]*>`).ReplaceAllString(page, "")
		file := strings.ReplaceAll(name, " ", "-") + ".html"
		if err := os.WriteFile(filepath.Join(dir, file), []byte(strings.Replace(page, "</body>", measuring, 1)), 0o644); err != nil {
			t.Fatal(err)
		}
		for _, w := range widths {
			around += fmt.Sprintf(`<iframe name="%s %d" src="%s" style="border:0;width:%dpx;height:900px"></iframe>`, name, w, file, w)
		}
	}
	path := filepath.Join(dir, "around.html")
	if err := os.WriteFile(path, []byte(around), 0o644); err != nil {
		t.Fatal(err)
	}
	dom := browse(t, exe, "--virtual-time-budget=20000", "--dump-dom", fileURL(path))
	seen := map[string][]string{}
	for _, m := range regexp.MustCompile(`seen\|([^|]*)\|([^|]*)\|([^|]*)\|([^|]*)\|([^|]*)\|([^|]*)\|end`).FindAllStringSubmatch(dom, -1) {
		seen[m[1]] = m[2:]
	}
	for name := range all {
		for _, w := range widths {
			m := seen[fmt.Sprintf("%s %d", name, w)]
			if m == nil {
				t.Errorf("%s at %d px: the browser said nothing", name, w)
				continue
			}
			if m[1] != strconv.Itoa(w) {
				t.Errorf("%s: laid out %s px wide, not %d", name, m[1], w)
			}
			if scroll, err := strconv.Atoi(m[0]); err != nil || scroll > w || m[4] != "" {
				t.Errorf("%s at %d px: needs %s px; beyond the right edge: %s", name, w, m[0], m[4])
			}
			if m[2] != "0" {
				t.Errorf("%s: %s pictures did not load", name, m[2])
			}
			if word, _ := strconv.Atoi(m[3]); name != "index" && w == 1024 && word < 80 {
				t.Errorf("%s: the verdict is %d px high; a metre away that is too small", name, word)
			}
		}
	}
}

// A4 is 210 x 297 mm (ISO 216); a point is 1/72 inch.
func TestPagePrintsOnA4(t *testing.T) {
	exe := browser(t)
	dir := t.TempDir()
	all := pages(t)
	for _, name := range []string{"sample", "sixty", "sheet fair", "sheet poor"} {
		html, pdf := filepath.Join(dir, name+".html"), filepath.Join(dir, name+".pdf")
		if err := os.WriteFile(html, []byte(all[name]), 0o644); err != nil {
			t.Fatal(err)
		}
		browse(t, exe, "--no-pdf-header-footer", "--print-to-pdf="+pdf, fileURL(html))
		raw, err := os.ReadFile(pdf)
		if err != nil {
			t.Fatal(err)
		}
		boxes := regexp.MustCompile(`/MediaBox\s*\[\s*0\s+0\s+([\d.]+)\s+([\d.]+)\s*\]`).FindAllStringSubmatch(string(raw), -1)
		if len(boxes) == 0 {
			t.Fatal("no page in the PDF")
		}
		for _, b := range boxes {
			w, _ := strconv.ParseFloat(b[1], 64)
			h, _ := strconv.ParseFloat(b[2], 64)
			if math.Abs(w-210/25.4*72) > 1 || math.Abs(h-297/25.4*72) > 1 {
				t.Errorf("%s: a page of %g x %g points", name, w, h)
			}
		}
		if n := len(boxes); (name == "sample" || name == "sixty") && n > 2 { // what is folded stays away
			t.Errorf("%s takes %d sheets", name, n)
		}
	}
}

// The picture that the browser shows has the verdict's colour and dark letters
// in its first screen.
func TestPageFirstScreen(t *testing.T) {
	exe := browser(t)
	dir := t.TempDir()
	html, shot := filepath.Join(dir, "p.html"), filepath.Join(dir, "p.png")
	if err := os.WriteFile(html, []byte(samplePage(t, sample())), 0o644); err != nil {
		t.Fatal(err)
	}
	browse(t, exe, "--window-size=1280,900", "--screenshot="+shot, fileURL(html))
	f, err := os.Open(shot)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	m, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	sign, letters := 0, 0
	for y := 0; y < 400; y++ {
		for x := 0; x < 1280; x++ {
			r, g, b, _ := m.At(x, y).RGBA()
			c := color.NRGBA{uint8(r >> 8), uint8(g >> 8), uint8(b >> 8), 0xff}
			if c == verdictColour("rework") {
				sign++
			}
			if c == palette.Ink && x > 250 {
				letters++
			}
		}
	}
	if sign < 5000 || letters < 8000 {
		t.Errorf("%d pixels of the sign, %d of letters", sign, letters)
	}
}

func fileURL(path string) string {
	return (&url.URL{Scheme: "file", Path: filepath.ToSlash(path)}).String()
}
