package inspection

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"path"
	"slices"
	"strings"

	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/part"
	"finishbench/internal/report"
)

// Quality of the annotated pictures' JPEG, and width of the index page's small
// pictures.
const (
	annotatedQuality = 85
	thumbWidth       = 160
)

// drawn is what one picture gives to the page.
type drawn struct {
	page  report.PagePicture
	crops []report.Crop
	ok    bool
}

// render writes a unit's pictures, page and result into its folder. The small
// picture is for the index page.
func (u *Unit) render(ctx context.Context, r *part.Result, dir *cli.UnitDir) (thumb report.IndexEntry, err error) {
	names := annotatedNames(u.pictures)
	got := make([]drawn, len(u.pictures))
	main := u.mainPicture()
	err = u.each(ctx, u.pictures, func(p *Picture) error {
		i := slices.Index(u.pictures, p)
		if err := u.readAgain(p); err != nil || p.Image == nil {
			return err
		}
		defer u.letGo(p)
		if p == main {
			var err error
			if thumb.Thumb, thumb.W, thumb.H, err = report.MakeThumb(p.Image, thumbWidth); err != nil {
				return err
			}
		}
		var err error
		got[i], err = u.draw(p, r, names[i], dir)
		return err
	})
	if err != nil {
		return thumb, err
	}
	for _, s := range u.Scenes {
		l, _ := u.lengthsOf(s.pose.View)
		for _, m := range s.mapPictures(l.MMPerPX) {
			m.over.Lang = u.language
			d, err := drawOver(m.image(), m.over, r, m.over.File, dir)
			if err != nil {
				return thumb, err
			}
			got = append(got, d)
		}
	}
	in := report.PageInput{Result: r, Version: cli.Version, Generated: u.generated, Lang: u.language}
	proud, recessed := u.Limits.StepLimits(r.Stage)
	in.LimitsProudUM, in.LimitsRecessedUM = finiteOr0(proud), finiteOr0(recessed)
	for _, d := range got {
		if d.ok {
			in.Annotated = append(in.Annotated, d.page)
		}
		in.Crops = append(in.Crops, d.crops...)
	}
	sortCrops(in.Crops, r)
	var page bytes.Buffer
	if err := report.Page(&page, in); err != nil {
		return thumb, err
	}
	if err := dir.Write(cli.ReportFile, page.Bytes()); err != nil {
		return thumb, err
	}
	data, err := encodeResult(u.written(r))
	if err != nil {
		return thumb, err
	}
	return thumb, dir.Write(cli.ResultFile, data)
}

// finiteOr0 turns "no limit" into the page's word for it.
func finiteOr0(v float64) float64 {
	if math.IsInf(v, 0) {
		return 0
	}
	return v
}

// mainPicture is the one that stands for the unit: the first of the face in which it is
// seen, else the first.
func (u *Unit) mainPicture() *Picture {
	order := u.workOrder()
	for _, p := range order {
		if p.Shot.Light.ShowsUnit() {
			return p
		}
	}
	if len(order) == 0 {
		return nil
	}
	return order[0]
}

// readAgain reads a picture that was let go for want of room. One that could
// not be read the first time stays away.
func (u *Unit) readAgain(p *Picture) (err error) {
	if p.Image == nil && p.Report.WidthPX > 0 {
		p.Image, err = capture.Read(p.Shot.Path)
	}
	return err
}

// draw makes a picture's parts of the page, then annotates and writes it.
func (u *Unit) draw(p *Picture, r *part.Result, name string, dir *cli.UnitDir) (drawn, error) {
	return drawOver(p.Image, u.overlay(p), r, name, dir)
}

// drawOver does so for an image, on which it draws itself.
func drawOver(im *part.Image, over report.Overlay, r *part.Result, name string, dir *cli.UnitDir) (drawn, error) {
	var d drawn
	var err error
	if d.page, err = report.MakePagePicture(im, over, r, report.PageWidth); err != nil {
		return d, err
	}
	d.page.Href = path.Join(cli.AnnotatedDir, name)
	d.crops, err = report.MakeCrops(r, func(file string) *part.Image {
		if file == over.File {
			return im
		}
		return nil
	})
	if err != nil {
		return d, err
	}
	d.ok = true
	// Last, since it draws on the picture itself.
	jpeg, err := report.EncodeJPEG(report.AnnotateInPlace(im, over, r), annotatedQuality)
	if err != nil {
		return d, err
	}
	return d, dir.Write(path.Join(cli.AnnotatedDir, name), jpeg)
}

// overlay is what was followed and fitted in a picture.
func (u *Unit) overlay(p *Picture) report.Overlay {
	over := report.Overlay{Lang: u.language, File: p.Shot.File, SeamLine: p.seam.SeamLine, Limbs: p.seam.Outline}
	for _, s := range u.Scenes {
		if s.holds(p) && p.fit() {
			over.FaceOutline = s.found.OutlineIn(p.Shot.File)
			for _, n := range s.found.Unseen {
				if n.Image == p.Shot.File {
					l, _ := u.lengthsOf(s.pose.View)
					over.Unseen = report.NewUnseen(n.Step, n.W, n.H, n.In, l.MMPerPX)
				}
			}
		}
	}
	return over
}

// annotatedNames gives each picture's annotated file a name of its own: its
// own name, and with its ending where two differ in nothing else.
func annotatedNames(pictures []*Picture) []string {
	count := map[string]int{}
	for _, p := range pictures {
		count[strings.ToLower(report.AnnotatedName(p.Shot.File))]++
	}
	names := make([]string, len(pictures))
	for i, p := range pictures {
		names[i] = report.AnnotatedName(p.Shot.File)
		if count[strings.ToLower(names[i])] > 1 {
			names[i] = report.AnnotatedName(p.Shot.File + ".jpg")
		}
	}
	return names
}

// sortCrops orders crops by finding, the picture in which it shows best first.
func sortCrops(crops []report.Crop, r *part.Result) {
	best := map[int]string{}
	for _, f := range r.Findings {
		best[f.Number] = f.Image
		if name := part.MapOf(f); name != "" {
			best[f.Number] = name
		}
	}
	slices.SortStableFunc(crops, func(a, b report.Crop) int {
		if a.Number != b.Number {
			return a.Number - b.Number
		}
		switch {
		case a.File == b.File:
			return 0
		case a.File == best[a.Number]:
			return -1
		case b.File == best[b.Number]:
			return 1
		}
		return strings.Compare(a.File, b.File)
	})
}

func encodeResult(r *part.Result) ([]byte, error) {
	data, err := json.MarshalIndent(r, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("result of %s: %w", r.Unit, err)
	}
	return append(data, '\n'), nil
}
