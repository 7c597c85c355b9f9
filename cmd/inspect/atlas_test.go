package main

import (
	"bytes"
	"context"
	"encoding/base64"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"finishbench/internal/cli"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/teach"
	"finishbench/internal/teach/atlas"
)

func readPage(t *testing.T, path ...string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(path...))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestAgreedKinds(t *testing.T) {
	said := atlas.AgreedKinds([]records.Label{{Inspection: 1, Number: 1, Kind: part.Dust, By: "a"},
		{Inspection: 1, Number: 1, Kind: part.Dust, By: "b"},
		{Inspection: 2, Number: 1, Kind: part.Dust, By: "a"}, {Inspection: 2, Number: 1, Kind: part.Bubble, By: "b"}})
	if len(said) != 1 || said[teach.Ref{Inspection: 1, Number: 1}] != part.Dust {
		t.Errorf("%v: the first is dust, the second not agreed on", said)
	}
}

// From the records where they have a kind, else from units with known defects, else
// drawn; each page says which.
func TestAtlas(t *testing.T) {
	file := inventedWeeks(t)
	o := atlas.Options{Out: t.TempDir(), Units: "../../testdata/images", Language: "en", N: 3}
	o.Records.URL = file
	mark := func(kind string, args ...string) error {
		return atlas.RunMark(t.Context(), atlas.Options{Records: o.Records, By: "T1"}, kind, args, &bytes.Buffer{})
	}
	ctx := context.Background()
	store, err := records.Open(ctx, file, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	var shown, hidden part.Inspection // two with a picture and dust
	for id := int64(1); hidden.ID == 0; id++ {
		in, err := store.Get(ctx, id)
		if err != nil {
			t.Fatal(err)
		}
		if f, ok := atlas.FindingNumber(&in.Result, 1); ok && f.Kind == part.Dust && in.Operator == "B17" {
			if shown.ID == 0 {
				shown = in
			} else {
				hidden = in
			}
		}
	}
	store.Close()
	ref := func(in part.Inspection) string { return strconv.FormatInt(in.ID, 10) + "/1" }
	if err := mark("pin", ref(shown)); err != nil {
		t.Fatal(err)
	}
	if err := mark("caption", ref(shown), "the brush was <new>"); err != nil {
		t.Fatal(err)
	}
	if err := mark("hide", ref(hidden)); err != nil {
		t.Fatal(err)
	}
	if err := atlas.Run(t.Context(), o, &bytes.Buffer{}); err != nil {
		t.Fatal(err)
	}
	dust := readPage(t, o.Out, "dust.html")
	for _, want := range []string{"Dust nib", "(" + shown.Serial + "-L, " + ref(shown) + ")", "the brush was &lt;new&gt;", "What causes it",
		"data:image/jpeg"} {
		if !strings.Contains(dust, want) {
			t.Errorf("the page of dust lacks %q", want)
		}
	}
	if strings.Contains(dust, ref(hidden)+")") || strings.Contains(dust, "known defects") {
		t.Error("the page of dust shows a hidden finding, or calls its pictures known defects")
	}
	for page, want := range map[string]string{"fibre.html": "of units with known defects", "step.html": "drawn with known defects",
		"haze.html": "on paint without a pattern only", "atlas.html": `href="dust.html"`} {
		if !strings.Contains(readPage(t, o.Out, page), want) {
			t.Errorf("%s lacks %q", page, want)
		}
	}
	// What no lamp's drawing shows is drawn before a screen, three of each.
	for _, k := range []string{"orange_peel.html", "missed_place.html"} {
		if page := readPage(t, o.Out, k); !strings.Contains(page, "before a screen") || strings.Count(page, "data:image/jpeg") < 3 {
			t.Errorf("%s does not show three drawn before a screen: %d", k, strings.Count(page, "data:image/jpeg"))
		}
	}
	for want, err := range map[string]error{
		"has no finding 99":  mark("hide", "1/99"),
		"names no finding":   mark("pin", "twelve"),
		"inspection 999999:": mark("pin", "999999/1"),
	} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
}

// Where all pictures were forgotten, drawn ones stand in, and the page says so.
func TestAtlasForgottenPictures(t *testing.T) {
	file := inventedWeeks(t)
	store, err := records.Open(context.Background(), file, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	if _, err := store.Forget(t.Context(), time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)); err != nil {
		t.Fatal(err)
	}
	l, err := cli.Language("zh-Hans")
	if err != nil {
		t.Fatal(err)
	}
	a := atlas.New(l, 3)
	if err := a.AddRecords(t.Context(), store, records.Filter{}); err != nil {
		t.Fatal(err)
	}
	s, err := a.Page(t.Context(), part.Dust)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	out, err := cli.OpenOut(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := cli.WriteSheetPage(out, "dust.html", s); err != nil {
		t.Fatal(err)
	}
	if page := readPage(t, dir, "dust.html"); !strings.Contains(page, "绘制") || strings.Contains(page, "程序判定") ||
		!strings.Contains(page, "data:image/jpeg") {
		t.Error("the page shows a picture of the records, or does not say that its own are drawn")
	}
}

// Each drawn sample shows a patch of so many mm at so many mm on paper, and the ruler
// is 100 mm: one scale. What lies outside is larger than the limit, inside smaller.
func TestAtlasWall(t *testing.T) {
	o := atlas.Options{Out: t.TempDir(), Stage: "wet", Language: "en"}
	if err := atlas.RunWall(o, &bytes.Buffer{}); err != nil {
		t.Fatal(err)
	}
	page := readPage(t, o.Out, "wall-wet.html")
	if !strings.Contains(page, `<svg width="104mm" height="9mm" viewBox="-2 0 104 9"`) { // 104 units on 104 mm
		t.Error("the ruler is not to scale")
	}
	if !strings.Contains(page, "Bubble") || !strings.Contains(page, "Not drawn: ") {
		t.Error("the page lacks bubbles, or what is not drawn")
	}
	sizes := regexp.MustCompile(`limit ([0-9.]+) mm</b>(?s:.*?)just inside ([0-9.]+) mm(?s:.*?)just outside ([0-9.]+) mm`).FindAllStringSubmatch(page, -1)
	if len(sizes) < 10 {
		t.Fatalf("%d limits", len(sizes))
	}
	for _, m := range sizes {
		limit, _ := strconv.ParseFloat(m[1], 64)
		in, _ := strconv.ParseFloat(m[2], 64)
		out, _ := strconv.ParseFloat(m[3], 64)
		if !(in < limit && limit < out) || math.Abs(out/limit-1.05) > 0.01 {
			t.Errorf("limit %v mm: %v inside, %v outside", limit, in, out)
		}
	}
	src := regexp.MustCompile(`data:image/jpeg;base64,([^"]+)`).FindStringSubmatch(page)
	raw, err := base64.StdEncoding.DecodeString(strings.ReplaceAll(src[1], "&#43;", "+"))
	if err != nil {
		t.Fatal(err)
	}
	if m, err := jpeg.Decode(bytes.NewReader(raw)); err != nil || m.Bounds().Dx() != atlas.WallPixels {
		t.Errorf("%v", err)
	}
}

// A recorded crater before a screen is shown where it shows best: in the gloss, where it is dark and what is
// around it bright, and then in the stripes; a shallow one in the slopes. Expected values: by the drawing.
func TestAtlasBeforeScreen(t *testing.T) {
	store := recordedScreen(t)
	l, err := cli.Language("en")
	if err != nil {
		t.Fatal(err)
	}
	a := atlas.New(l, 3)
	if err := a.AddRecords(t.Context(), store, records.Filter{}); err != nil {
		t.Fatal(err)
	}
	got := a.Recorded[part.Crater]
	if len(got) != 1 || got[0].In != part.GlossMap || !strings.Contains(a.Caption(got[0]), "before a screen: gloss") {
		t.Fatalf("%+v", got)
	}
	o, err := got[0].Open(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer o.Release()
	if len(o.Images) != 2 || len(o.Panels(2)) != 3 {
		t.Fatalf("%d pictures, %d windows", len(o.Images), len(o.Panels(2)))
	}
	grey := func(im *part.Image, p part.Point) uint8 { return im.Pix8[(int(p.Y)*im.W+int(p.X))*im.C] }
	c := o.Box[0].Centre()
	if in, out := grey(o.Images[0], c), grey(o.Images[0], part.Point{X: c.X, Y: c.Y - 60}); in > 60 || out < 180 {
		t.Errorf("gloss %d in the crater, %d beside it", in, out)
	}
	f := got[0].Finding
	f.Features = map[string]float64{"gloss_lost_most": 0.2}
	if in := part.MapOf(f); in != part.SlopeMap {
		t.Errorf("a shallow crater is shown in %q", in)
	}
	f.Kind = part.Haze
	if in := part.MapOf(f); in != part.GlossMap {
		t.Errorf("haze is shown in %q", in)
	}
}

// Missed places, which no lamp's drawing shows, are drawn before a screen: in Chinese; TestAtlas has orange peel's page, too.
func TestAtlasDrawsTheMirrorsKinds(t *testing.T) {
	l, err := cli.Language("zh-Hans")
	if err != nil {
		t.Fatal(err)
	}
	s, err := atlas.New(l, 3).Page(t.Context(), part.Missed)
	if err != nil || len(s.Sections[0].Pictures) < 3 || len(s.Sections[3].Tables[0].Rows) != 3 ||
		!strings.Contains(strings.Join(s.Sections[0].Text, ""), "屏幕前") {
		t.Errorf("%v, %d pictures", err, len(s.Sections[0].Pictures))
	}
}
