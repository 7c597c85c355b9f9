package bench

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"testing"

	"finishbench/internal/bench/lang"
)

type fakeAtlas struct{}

func (fakeAtlas) AtlasPage(_ context.Context, l *lang.Lang, kind string) ([]byte, error) {
	if kind != "" && kind != "dust" {
		return nil, ErrNoKind
	}
	return fmt.Appendf(nil, "<!doctype html><html lang=%q><body>\n<h1>%s %s</h1></body></html>", l.Tag, l.T("atlas.title"), kind), nil
}

func TestAtlasPages(t *testing.T) {
	r := atlasRig(t)
	p := r.person(t)
	for path, want := range map[string]string{"/atlas": "<h1>Atlas </h1>", "/atlas/dust": `<a href="/atlas">`, "/": `<a href="/atlas"`} {
		if code, body, _ := p.get(path); code != http.StatusOK || !strings.Contains(body, want) {
			t.Errorf("%s: %d, lacks %q", path, code, want)
		}
	}
	if code, _, _ := p.get("/atlas/nothing"); code != http.StatusNotFound {
		t.Errorf("a kind that is none: %d", code)
	}
}

// atlasRig is a server with an atlas.
func atlasRig(t testing.TB) *rigged {
	t.Helper()
	r := rig(t, Options{}, passing())
	r.Station.Atlas = fakeAtlas{}
	r.server = NewServer(r.Station, Options{Languages: languages(t)})
	r.web.Config.Handler = r.server
	return r
}
