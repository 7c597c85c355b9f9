package station

import (
	"context"
	"slices"

	"finishbench/internal/bench"
	"finishbench/internal/bench/lang"
	"finishbench/internal/cli"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/teach/atlas"
)

// Atlas makes the atlas's pages for the bench, from its newest records.
type Atlas struct {
	store *records.Store // nil: nothing is recorded
}

const (
	atlasNewest   = 1000 // inspections that the page looks through
	atlasPictures = 6
)

// AtlasPage is [bench.Atlas].
func (b Atlas) AtlasPage(ctx context.Context, l *lang.Lang, kind string) ([]byte, error) {
	if kind != "" && !slices.Contains(part.Kinds, part.Kind(kind)) {
		return nil, bench.ErrNoKind
	}
	a := atlas.New(l, atlasPictures)
	a.LinkTo = func(k part.Kind) string { return "/atlas/" + string(k) }
	if b.store != nil {
		if err := a.AddRecords(ctx, b.store, records.Filter{NewestFirst: true, Limit: atlasNewest}); err != nil {
			return nil, err
		}
	}
	sheet := a.Index()
	if kind != "" {
		var err error
		if sheet, err = a.Page(ctx, part.Kind(kind)); err != nil {
			return nil, err
		}
	}
	return cli.SheetPage(sheet)
}
