package atlas

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/report"
)

func (a *Atlas) t(key string, args ...string) string { return a.l.T("atlas."+key, args...) }

func (a *Atlas) kind(k part.Kind) string { return a.l.T("kind." + string(k)) }

// Page is the page of one kind.
func (a *Atlas) Page(ctx context.Context, k part.Kind) (report.Sheet, error) {
	s := report.Sheet{Title: a.t("title"), Subject: a.kind(k), Rating: report.Plain, Word: a.kind(k), Line: a.t(string(k) + ".what"),
		Lang: a.l, Cautions: report.AllCautions(a.l)}
	pictures, from, err := a.pictures(ctx, k)
	if err != nil {
		return s, err
	}
	switch from {
	case fromUnits, fromDrawn:
		s.Warnings = append(s.Warnings, a.t("warn."+from))
	}
	switch k {
	case part.Haze:
		s.Warnings = append(s.Warnings, a.t("warn.plain_only"))
	}
	s.Sections = []report.SheetSection{pictures, {Heading: a.t("cause"), Text: []string{a.t(string(k) + ".cause")}},
		{Heading: a.t("see"), Text: []string{a.t(string(k) + ".see")}}, a.remedies(k)}
	return s, nil
}

// pictures are those of a kind. Where one was forgotten, so were all before it:
// others are chosen among those after it.
func (a *Atlas) pictures(ctx context.Context, k part.Kind) (report.SheetSection, string, error) {
	for {
		samples, from := a.choose(k)
		sec, err := a.strips(ctx, samples)
		var gone *forgottenError
		if !errors.As(err, &gone) {
			return sec, from, err
		}
		a.Recorded[k] = slices.DeleteFunc(a.Recorded[k], func(s Sample) bool { return s.Inspection <= gone.inspection })
	}
}

// forgottenError says of which inspection the pictures are forgotten.
type forgottenError struct{ inspection int64 }

func (e *forgottenError) Error() string {
	return fmt.Sprintf("the pictures of inspection %d are forgotten", e.inspection)
}

// peelShownMM is how much of a face with orange peel is shown, like a defect of this size.
const peelShownMM = 3

// strips are the pictures, at one scale.
func (a *Atlas) strips(ctx context.Context, samples []Sample) (report.SheetSection, error) {
	sec := report.SheetSection{Heading: a.t("pictures")}
	largest := 0.0
	for _, s := range samples {
		if s.Finding.Kind == part.OrangePeel { // all over the face: a piece of it
			largest = math.Max(largest, peelShownMM)
			continue
		}
		if s.Finding.Kind != part.Step && !math.IsNaN(s.SizeMM) {
			largest = math.Max(largest, s.SizeMM)
		}
	}
	for _, s := range samples {
		if err := ctx.Err(); err != nil {
			return sec, err
		}
		p, err := strip(ctx, s, report.StripWindowMM(largest))
		if errors.Is(err, records.ErrForgotten) && s.Inspection > 0 {
			return sec, &forgottenError{s.Inspection}
		}
		if err != nil {
			return sec, fmt.Errorf("atlas: %s %s: %w", s.Unit, s.Finding.Kind, err)
		}
		p.Caption = a.Caption(s)
		p.Alt = p.Caption
		sec.Pictures = append(sec.Pictures, p)
	}
	sec.Text = []string{a.t("pictures.how")}
	if slices.ContainsFunc(samples, func(s Sample) bool { return s.In != "" }) {
		sec.Text = append(sec.Text, a.t("pictures.mirror"))
	}
	sec.Small = !slices.ContainsFunc(sec.Pictures, func(p report.SheetPicture) bool { return p.W > p.H })
	if len(sec.Pictures) == 0 {
		sec.Text = []string{a.t("none")}
	}
	return sec, nil
}

func strip(ctx context.Context, s Sample, windowMM float64) (report.SheetPicture, error) {
	o, err := s.Open(ctx)
	if err != nil {
		return report.SheetPicture{}, err
	}
	defer o.Release()
	return report.MakeStrip(o.Panels(windowMM), windowMM)
}

// Caption says what a sample is, how large, and where it is from.
func (a *Atlas) Caption(s Sample) string {
	text := a.t("no_size")
	switch {
	case s.Finding.ValueUM != nil:
		text = a.t("um", "v", signedText(a, *s.Finding.ValueUM))
	case s.Finding.Kind == part.OrangePeel:
		if _, least := s.Finding.Features["slope_mrad_at_least"]; s.SizeMM > 0 && least {
			text = a.t("slope_at_least", "v", a.l.Number(s.SizeMM, 1))
		} else if s.SizeMM > 0 {
			text = a.t("slope", "v", a.l.Number(s.SizeMM, 1))
		}
	case !math.IsNaN(s.SizeMM):
		text = a.t("size", "v", a.l.Number(s.SizeMM, 2))
	}
	if s.Finding.Severity != "" && s.Finding.Severity != part.None {
		text += ", " + a.l.T("severity."+string(s.Finding.Severity))
	}
	switch s.In {
	case part.GlossMap:
		text += ", " + a.t("gloss_map")
	case part.SlopeMap:
		text += ", " + a.t("slope_map")
	}
	switch {
	case s.Inspection > 0 && s.Confirmed:
		text += ", " + a.t("sure")
	case s.Inspection > 0:
		text += ", " + a.t("tool")
	case s.Unit == "":
		text += ", " + a.t("drawn")
	default:
		text += ", " + a.t("known")
	}
	if s.Inspection > 0 {
		text += fmt.Sprintf(" (%s, %d/%d)", s.Unit, s.Inspection, s.Finding.Number)
	} else if s.Unit != "" {
		text += " (" + s.Unit + ")"
	}
	if s.Caption != "" {
		text += ": " + s.Caption
	}
	return text
}

func signedText(a *Atlas, v float64) string {
	text := a.l.Number(math.Abs(v), 0)
	if v < 0 {
		return "−" + text
	}
	return "+" + text
}

// remedies are what to do at each stage; a step's depend on its direction.
func (a *Atlas) remedies(k part.Kind) report.SheetSection {
	t := report.SheetTable{Caption: a.t("right"), Head: []string{a.t("stage"), a.t("todo")}}
	for _, st := range part.Stages {
		for _, what := range remedyWords(k) {
			name := a.l.T("stage." + string(st))
			if what != string(k) {
				name += ", " + a.t(what)
			}
			if key := "remedy." + what + "." + string(st); a.l.Has(key) {
				t.Rows = append(t.Rows, []string{name, a.l.T(key)})
			}
		}
	}
	return report.SheetSection{Heading: a.t("right"), Tables: []report.SheetTable{t}}
}

func remedyWords(k part.Kind) []string {
	if k == part.Step {
		return []string{"step_proud", "step_recessed"}
	}
	return []string{string(k)}
}

// Index lists the kinds.
func (a *Atlas) Index() report.Sheet {
	t := report.SheetTable{Caption: a.t("index"), Head: []string{a.t("kind"), a.t("from")}}
	for _, k := range part.Kinds {
		_, from := a.choose(k)
		t.Rows = append(t.Rows, []string{a.kind(k), a.t("from." + from)})
		t.Links = append(t.Links, a.LinkTo(k))
	}
	return report.Sheet{Title: a.t("title"), Rating: report.Plain, Word: a.t("index"), Line: a.t("index.line"), Lang: a.l,
		Cautions: report.AllCautions(a.l),
		Sections: []report.SheetSection{{Heading: a.t("index"), Tables: []report.SheetTable{t}}}}
}
