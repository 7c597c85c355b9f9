package report

import (
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
)

// Wall is a sheet of boundary samples, to be printed on A4 at true size.
type Wall struct {
	Lang, Title, Line, Ruler, True, Missing string
	Kinds                                   []WallKind
	Cautions                                []string
}

// WallKind is the samples of one kind.
type WallKind struct {
	Name string
	Rows []WallRow
}

// WallRow is one limit with its samples: just inside, then just outside it.
type WallRow struct {
	Limit, Class string
	Pairs        []WallSample
}

// WallSample is a square picture of so many mm on the unit, shown at true size and
// enlarged.
type WallSample struct {
	JPEG            []byte
	MM, BigMM       float64 // side of the unit's patch, and of the enlarged picture on paper
	Word, Size, Big string
	Out             bool // outside the limit
}

//go:embed wall.html
var wallHTML string

type wallView struct {
	Wall
	Ticks []struct{ X, H float64 }
	Kinds []wallKindView
}

type wallKindView struct {
	Name string
	Rows []wallRowView
}

type wallRowView struct {
	WallRow
	Pairs []wallSampleView
}

type wallSampleView struct {
	WallSample
	Src template.URL
}

// WallPage writes the sheet as a page. Its ruler proves the print's scale.
func WallPage(w io.Writer, s Wall) error {
	t, err := template.New("").Parse(wallHTML)
	if err != nil {
		return fmt.Errorf("report: wall: %w", err)
	}
	v := wallView{Wall: s}
	for mm := range 101 {
		h := 2.0
		switch {
		case mm%10 == 0:
			h = 5
		case mm%5 == 0:
			h = 3.5
		}
		v.Ticks = append(v.Ticks, struct{ X, H float64 }{float64(mm) - 0.1, h})
	}
	for _, k := range s.Kinds {
		kv := wallKindView{Name: k.Name}
		for _, r := range k.Rows {
			rv := wallRowView{WallRow: r}
			for _, p := range r.Pairs {
				rv.Pairs = append(rv.Pairs, wallSampleView{p, template.URL("data:image/jpeg;base64," +
					base64.StdEncoding.EncodeToString(p.JPEG))}) // #nosec G203: made by EncodeJPEG
			}
			kv.Rows = append(kv.Rows, rv)
		}
		v.Kinds = append(v.Kinds, kv)
	}
	if err := t.ExecuteTemplate(w, "wall", v); err != nil {
		return fmt.Errorf("report: wall: %w", err)
	}
	return nil
}

// MakePatch is a square window of a picture as a JPEG of its own, without marks, for
// a [WallSample]. sidePX is the JPEG's side.
func MakePatch(p StripPanel, windowMM float64, sidePX int) ([]byte, error) {
	small, err := window(p, windowMM, sidePX)
	if err != nil {
		return nil, fmt.Errorf("report: patch: %w", err)
	}
	return EncodeJPEG(small, 92)
}
