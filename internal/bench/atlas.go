package bench

import (
	"context"
	"errors"
	"net/http"

	"finishbench/internal/lang"
)

// Atlas writes the pages of what each kind of defect looks like, each a page that
// stands by itself. kind "" is the list of all. Links lead to /atlas/<kind>. The
// error is ErrNoKind where there is no such kind.
type Atlas interface {
	AtlasPage(ctx context.Context, l *lang.Lang, kind string) ([]byte, error)
}

// ErrNoKind says that the atlas has no such page.
var ErrNoKind = errors.New("no such kind")

func (s *Server) atlasRoutes() {
	if s.b.Atlas == nil {
		return
	}
	s.on("GET /atlas", s.atlas)
	s.on("GET /atlas/{kind}", s.atlas)
}

func (s *Server) atlas(w http.ResponseWriter, r *http.Request, x session) {
	l := s.lang(r)
	kind := r.PathValue("kind")
	data, err := s.b.Atlas.AtlasPage(r.Context(), l, kind)
	switch {
	case errors.Is(err, ErrNoKind):
		s.wrong(w, r, http.StatusNotFound, "wrong.not_found")
		return
	case err != nil:
		s.fault(w, r, err)
		return
	}
	bar, err := page{Lang: l, View: kind != ""}.render("atlasbar")
	if err != nil {
		s.fault(w, r, err)
		return
	}
	s.sheet(w, r, x, data, bar)
}
