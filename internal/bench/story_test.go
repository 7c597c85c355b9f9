package bench

import (
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"finishbench/internal/part"
)

// stories are states with invented content, as requests to a running bench.
// FINISHBENCH_STORIES names a folder into which each is written as a page to be
// looked at, in both languages; the test holds each to have all its words.
func TestStories(t *testing.T) {
	dir := os.Getenv("FINISHBENCH_STORIES")
	for _, lang := range []string{"en", "zh-Hans"} {
		for name, story := range stories {
			t.Run(lang+" "+name, func(t *testing.T) {
				path, r := "/", (*rigged)(nil)
				path, r = story(t)
				html := r.get(t, path, lang)
				for _, hole := range []string{"ZgotmplZ", "&lt;no value", "{@", "why.", "remedy.", "problem.", "<nil>"} {
					if strings.Contains(html, hole) {
						i := strings.Index(html, hole)
						t.Errorf("there is %q in the page: ...%s...", hole, html[max(0, i-60):min(len(html), i+60)])
					}
				}
				if dir != "" {
					write(t, filepath.Join(dir, name+"."+lang+".html"), r, html, lang)
				}
			})
		}
	}
}

var stories = map[string]func(*testing.T) (string, *rigged){
	"ready": func(t *testing.T) (string, *rigged) { return "/", rig(t, Options{}) },
	"after one": func(t *testing.T) (string, *rigged) {
		r := rig(t, Options{}, reworking())
		r.send(t, Press{})
		r.phase(t, Answered)
		r.send(t, Press{})
		return "/", r
	},
	"camera lost": func(t *testing.T) (string, *rigged) {
		r := rig(t, Options{})
		r.shooter.set(func() { r.shooter.lost = true })
		return "/", r
	},
	"asking": func(t *testing.T) (string, *rigged) {
		r := rig(t, Options{})
		r.shooter.set(func() { r.shooter.asks[3] = true })
		r.send(t, Press{})
		r.until(t, "a question", func(s *Snapshot) bool { return s.Progress.Asking != nil })
		return "/", r
	},
	"shooting": func(t *testing.T) (string, *rigged) {
		r := rig(t, Options{})
		r.shooter.set(func() { r.shooter.each = time.Minute })
		r.send(t, Press{})
		r.until(t, "progress", func(s *Snapshot) bool { return s.Progress.Total > 0 })
		return "/", r
	},
	"halted": func(t *testing.T) (string, *rigged) {
		r := rig(t, Options{})
		r.shooter.set(func() { r.shooter.stop = 5 })
		r.send(t, Press{})
		r.phase(t, Halted)
		return "/", r
	},
	"judging": func(t *testing.T) (string, *rigged) {
		r := rig(t, Options{})
		r.judge.took = time.Second
		r.send(t, Press{})
		r.phase(t, Judging)
		return "/", r
	},
	"pass":         func(t *testing.T) (string, *rigged) { return answered(t, passing()) },
	"rework":       func(t *testing.T) (string, *rigged) { return answered(t, reworking()) },
	"reject":       func(t *testing.T) (string, *rigged) { return answered(t, rejecting()) },
	"not measured": func(t *testing.T) (string, *rigged) { return answered(t, unmeasuring()) },
	"not recorded": func(t *testing.T) (string, *rigged) {
		r := rig(t, Options{})
		r.memory.broken = errors.New("the disk is full")
		r.send(t, Press{})
		r.phase(t, Halted)
		return "/", r
	},
	"overruled": func(t *testing.T) (string, *rigged) {
		_, r := answered(t, reworking())
		r.send(t, Overruling{part.Overrule{By: "finisher 3", Verdict: "pass", Reason: "wiped_off"}})
		r.until(t, "overrule", func(s *Snapshot) bool { return s.Answer != nil && s.Answer.Overruled != nil })
		return "/", r
	},
	"second time, with pair": func(t *testing.T) (string, *rigged) { return "/", twice(t) },
	"look up":                func(t *testing.T) (string, *rigged) { return "/look?serial=k041", twice(t) },
	"look up nothing":        func(t *testing.T) (string, *rigged) { return "/look?serial=none", rig(t, Options{}) },
}

func answered(t *testing.T, o Outcome) (string, *rigged) {
	r := rig(t, Options{}, o)
	r.send(t, Press{})
	r.phase(t, Answered)
	return "/", r
}

// twice inspects a left side, then a right one twice.
func twice(t *testing.T) *rigged {
	r := rig(t, Options{}, passing(), reworking(), passing())
	for i, side := range []string{"L", "R", "R"} {
		if i > 0 {
			r.send(t, Press{})
			r.phase(t, Ready)
		}
		r.send(t, Edit{part.UnitInfo{Serial: "k041", Side: side, Stage: "wet"}, FollowNumber}, Press{})
		r.phase(t, Answered)
	}
	return r
}

// get fetches a page as a browser that has been here before.
func (r *rigged) get(t testing.TB, path, lang string) string {
	t.Helper()
	id := r.server.sessions.begin("", time.Now())
	q := httptest.NewRequest(http.MethodGet, path, nil)
	q.Host = "localhost"
	q.Header.Set("Accept", "text/html")
	for n, v := range map[string]string{cookieSession: id, cookieSeen: "1", cookieLang: lang} {
		q.AddCookie(&http.Cookie{Name: n, Value: v})
	}
	w := httptest.NewRecorder()
	r.server.ServeHTTP(w, q)
	if w.Code != http.StatusOK {
		t.Fatalf("GET %s: %d %s", path, w.Code, w.Body)
	}
	return w.Body.String()
}

// write stores a page with all that it needs beside it.
func write(t *testing.T, file string, r *rigged, html, _ string) {
	t.Helper()
	dir := filepath.Dir(file)
	for _, n := range []string{"palette.css", "bench.css"} {
		q := httptest.NewRequest(http.MethodGet, "/"+n, nil)
		q.Host = "localhost"
		w := httptest.NewRecorder()
		r.server.ServeHTTP(w, q)
		put(t, filepath.Join(dir, n), w.Body.Bytes())
	}
	put(t, filepath.Join(dir, "sample.jpg"), grey(800, 600))
	for _, n := range []string{"palette.css", "bench.css"} {
		html = strings.ReplaceAll(html, `href="/`+n, `href="`+n)
	}
	for _, s := range []string{`<script src="/scan.js"></script>`, `<script src="/bench.js" defer></script>`} {
		html = strings.ReplaceAll(html, s, "")
	}
	html = strings.ReplaceAll(html, `class="live"`, `class="live" src="sample.jpg"`)
	for _, from := range []string{`src="/answer/`, `src="/record/`} {
		for strings.Contains(html, from) {
			i := strings.Index(html, from)
			j := i + 5 + strings.Index(html[i+5:], `"`)
			html = html[:i] + `src="sample.jpg` + html[j:]
		}
	}
	put(t, file, []byte(html))
}

func put(t *testing.T, file string, data []byte) {
	t.Helper()
	if err := os.WriteFile(file, data, 0o644); err != nil {
		t.Fatal(fmt.Errorf("story: %w", err))
	}
}
