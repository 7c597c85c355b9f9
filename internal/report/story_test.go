package report

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"finishbench/internal/part"
)

// TestStories writes pages of many cases for people to look at: set
// FINISHBENCH_STORIES to a folder, run the test, open index.html there.
func TestStories(t *testing.T) {
	out := os.Getenv("FINISHBENCH_STORIES")
	if out == "" {
		t.Skip("FINISHBENCH_STORIES names no folder to write pages to")
	}
	units := sharedUnits(t)
	var index IndexInput
	for _, name := range []string{"u01-L", "u03-R", "u06-R", "u08-R", "u05-L"} {
		r, tr := resultOfTruth(t, filepath.Join(units, name))
		index.Units = append(index.Units, story(t, out, filepath.Join(units, name), r, tr))
	}
	from := filepath.Join(units, "u01-L")
	for _, s := range []struct {
		name   string
		change func(r *part.Result)
	}{
		{"no-findings", func(r *part.Result) { r.Findings, r.Reasons, r.Verdict, r.Score = nil, nil, part.Pass, num(0) }},
		{"sixty", sixty},
		{"not-measured", func(r *part.Result) {
			r.Verdict, r.Score, r.Findings = part.NotMeasured, nil, nil
			r.Reasons = []string{"two pictures were not fit to measure"}
			for i := range r.Seam.Stations {
				s := &r.Seam.Stations[i]
				if s.Image == "edge_030.jpg" || s.Image == "edge_090.jpg" {
					*s = part.StepStation{Image: s.Image, AngleDeg: s.AngleDeg, Side: s.Side, State: part.Unmeasured, Reason: "the picture is out of focus"}
				}
			}
			for i := range r.Pictures {
				p := &r.Pictures[i]
				if p.File == "edge_030.jpg" || p.File == "edge_090.jpg" {
					p.State, p.SharpnessPX = part.PictureNoOK, num(9.4)
					p.Problems = []part.Problem{{Name: "out_of_focus", Value: num(9.4), Limit: num(4), Unit: "px", Remedy: "set the focus on the seam, or raise the unit to the mark: the edge is 9.4 px wide, limit 4 px"}}
				}
			}
		}},
		{"face-only", func(r *part.Result) {
			r.Seam = part.Seam{}
			r.Pictures = r.Pictures[6:]
		}},
		{"reject-long", func(r *part.Result) {
			r.Verdict = part.Reject
			r.Unit = "a-very-long-serial-number-2031-02-03-lot-000417-left-" + strings.Repeat("x", 60)
			for i := 0; i < 8; i++ {
				r.Reasons = append(r.Reasons, "recessed by 64 um at 150 deg, right (limit 30 um), and the shell beside it shows a groove of 41 um that runs over a third of the seam "+fmt.Sprint(i))
			}
			for i := range r.Findings {
				r.Findings[i].Severity = part.Critical
				r.Findings[i].Advice += " Then look at it again under raking light before the unit goes on, for a mark of this depth shows through two coats of lacquer."
			}
			r.Warnings = []string{"only one face light was given", "the scale was taken from the command line and not from a scale file"}
		}},
	} {
		r, tr := resultOfTruth(t, from)
		s.change(r)
		if len(r.Unit) < 20 {
			r.Unit = s.name
		}
		e := story(t, filepath.Join(out), from, r, tr)
		index.Units = append(index.Units, e)
	}
	for name, s := range sheets(t) {
		file := strings.ReplaceAll(name, " ", "-") + ".html"
		if err := os.WriteFile(filepath.Join(out, file), []byte(sheetPage(t, s)), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	index.Units = append(index.Units, IndexEntry{Unit: "broken", Verdict: part.NotMeasured, Reasons: []string{"the folder holds no picture"}})
	index.Version, index.Generated = "finishbench 0.0 (test)", "2031-02-03"
	var b bytes.Buffer
	if err := IndexPage(&b, index); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(out, "index.html"), b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}

func sixty(r *part.Result) {
	r.Findings = nil
	kinds := part.Kinds[:10]
	for i := 0; i < 60; i++ {
		a, d := float64(i)*2.39996, math.Sqrt(float64(i)/60)
		k := kinds[i%10]
		s := 6 + float64(i%7)*5
		b := part.Box{800 + 480*d*math.Cos(a), 600 + 380*d*math.Sin(a), s, s * (0.6 + 0.2*float64(i%4))}
		r.Findings = append(r.Findings, part.Finding{Number: i + 1, Image: "face_raking.jpg", Kind: k, Box: b, DiameterMM: num(s * 0.015), Zone: part.ZoneFace,
			Severity: part.Severities[i%5], Confidence: 0.5 + float64(i%50)/100, Advice: "Deal with this " + english().kind(k) + " as the sheet says.",
			AlsoIn: []part.Sighting{{Image: "face_diffuse.jpg", Box: b}}})
	}
}

// story writes one unit's files as the command does.
func story(t *testing.T, out, from string, r *part.Result, tr *truth) IndexEntry {
	t.Helper()
	dir := filepath.Join(out, r.Unit)
	if err := os.MkdirAll(filepath.Join(dir, "annotated"), 0o755); err != nil {
		t.Fatal(err)
	}
	ims := map[string]*part.Image{}
	in := PageInput{Result: r, LimitsProudUM: 50, LimitsRecessedUM: 30, Version: "finishbench 0.0 (test)", Generated: "2031-02-03 04:05"}
	var e IndexEntry
	for _, p := range r.Pictures {
		im, err := readPicture(filepath.Join(from, p.File))
		if err != nil {
			t.Fatal(err)
		}
		ims[p.File] = im
		ov := overlay(p.File, r)
		if p.View == part.Face {
			for _, o := range tr.Face.Outline {
				ov.FaceOutline = append(ov.FaceOutline, part.Point{X: o[0], Y: o[1]})
			}
		} else if len(ov.SeamLine) == 2 {
			for _, q := range ov.SeamLine {
				ov.Limbs = append(ov.Limbs, pts(q.X, q.Y-60, q.X, q.Y+90))
			}
		}
		jpeg, err := EncodeJPEG(Annotate(im, ov, r), 90)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, "annotated", AnnotatedName(p.File)), jpeg, 0o644); err != nil {
			t.Fatal(err)
		}
		pp, err := MakePagePicture(im, ov, r, PageWidth)
		if err != nil {
			t.Fatal(err)
		}
		in.Annotated = append(in.Annotated, pp)
		if p.View == part.Face {
			if e.Thumb, e.W, e.H, err = MakeThumb(im, 240); err != nil {
				t.Fatal(err)
			}
		}
	}
	var err error
	if in.Crops, err = MakeCrops(r, func(f string) *part.Image { return ims[f] }); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := Page(&b, in); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "report.html"), b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	e.Unit, e.Href, e.Verdict, e.Score, e.Reasons = r.Unit, r.Unit+"/report.html", r.Verdict, r.Score, r.Reasons
	return e
}
