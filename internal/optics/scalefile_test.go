package optics

import (
	"bytes"
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"
)

func number(v float64) *float64 { return &v }

// someScale is an invented scale with everything in it.
func someScale() Scale {
	lens, u := trueLens, Lens{FX: 0.5, FY: 0.5, CX: 0.4, CY: 0.4, K1: 0.001, K2: 0.01, P1: 1e-4, P2: 1e-4, K3: 0.1}
	return Scale{
		Schema: ScaleSchema, MMPerPX: 0.0123, UMMPerPX: 1e-5, Projection: Perspective, Lens: &lens, LensU: &u,
		TiltDeg: number(0.4), SkewDeg: number(-0.02), AspectRatio: number(1.0002), WidthPX: 640, HeightPX: 480,
		Camera: "edge camera", Focus: "locked at 3", FocalLengthMM: number(35), DistanceNote: "120 mm to the faceplate",
		Target: Target{Kind: Chessboard, Cols: 9, Rows: 6, PitchMM: 1.5, URel: 5e-4, Identity: "target 1"},
		Made:   time.Date(2024, 3, 1, 8, 0, 0, 0, time.UTC), MaxAgeDays: 90,
		Pictures: []ScalePicture{{File: "a.png", SHA256: strings.Repeat("0a", 32), Used: true, Marks: 54, RMSPX: number(0.1)},
			{File: "b.png", SHA256: strings.Repeat("1b", 32), Note: "blurred"}},
		RMSPX: 0.11, Rating: RatedGood, Warnings: []string{"a warning"},
	}
}

func TestScaleFileThereAndBack(t *testing.T) {
	var b bytes.Buffer
	if err := EncodeScale(&b, someScale()); err != nil {
		t.Fatal(err)
	}
	if s := b.String(); !strings.Contains(s, "\n  \"mm_per_px\": 0.0123,\n") || !strings.Contains(s,
		"\"fx_px\": 700") || !strings.HasSuffix(s, "}\n") {
		t.Errorf("written:\n%s", s)
	}
	got, err := DecodeScale(bytes.NewReader(b.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got, someScale()) {
		t.Errorf("came back as %+v", got)
	}
	least := someScale()
	least.Lens, least.LensU, least.TiltDeg, least.SkewDeg, least.AspectRatio, least.FocalLengthMM, least.RMSPX, least.Warnings = nil, nil,
		nil, nil, nil, nil, 0, nil
	b.Reset()
	if err := EncodeScale(&b, least); err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{"lens", "u_lens", "tilt_deg", "skew_deg", "aspect_ratio", "focal_length_mm", "\"rms_px\": 0,",
		"warnings"} {
		if strings.Contains(b.String(), key) {
			t.Errorf("what was not measured is written: %s", key)
		}
	}
}

func TestScaleFileRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		change func(s *Scale)
		want   string
	}{
		"scale 0":       {func(s *Scale) { s.MMPerPX = 0 }, "mm_per_px is 0; it must be above 0"},
		"scale NaN":     {func(s *Scale) { s.MMPerPX = math.NaN() }, "mm_per_px is NaN"},
		"exact":         {func(s *Scale) { s.UMMPerPX = 0 }, "no scale is known exactly"},
		"unknown":       {func(s *Scale) { s.UMMPerPX = 1 }, "as large as mm_per_px itself"},
		"projection":    {func(s *Scale) { s.Projection = "" }, "projection is"},
		"RMS":           {func(s *Scale) { s.RMSPX = -1 }, "rms_px is -1"},
		"rating":        {func(s *Scale) { s.Rating = "fine" }, `rating is "fine"`},
		"no date":       {func(s *Scale) { s.Made = time.Time{} }, "made, the date, is missing"},
		"no life":       {func(s *Scale) { s.MaxAgeDays = 0 }, "max_age_days is 0"},
		"no size":       {func(s *Scale) { s.WidthPX = 0 }, "width_px, height_px are 0, 480"},
		"tilt":          {func(s *Scale) { s.TiltDeg = number(91) }, "tilt_deg is 91"},
		"skew":          {func(s *Scale) { s.SkewDeg = number(math.NaN()) }, "skew_deg is NaN"},
		"aspect":        {func(s *Scale) { s.AspectRatio = number(0) }, "aspect_ratio is 0; leave it out"},
		"focal length":  {func(s *Scale) { s.FocalLengthMM = number(-5) }, "focal_length_mm is -5"},
		"lens":          {func(s *Scale) { s.Lens.FX = -1 }, "focal length is -1 by 702 px"},
		"lens's k1":     {func(s *Scale) { s.Lens.K1 = math.Inf(1) }, "the lens's k1 is +Inf"},
		"lens's u":      {func(s *Scale) { s.LensU.P1 = -1 }, "u_lens: p1 is -1"},
		"u alone":       {func(s *Scale) { s.Lens = nil }, "u_lens is given without lens"},
		"target's kind": {func(s *Scale) { s.Target.Kind = "board" }, `kind is "board"`},
		"pitch":         {func(s *Scale) { s.Target.PitchMM = 0 }, "needs pitch_mm above 0"},
		"diameter":      {func(s *Scale) { s.Target.Kind = Disc }, "needs diameter_mm above 0"},
		"u_rel":         {func(s *Scale) { s.Target.URel = 1 }, "u_rel is 1"},
		"columns":       {func(s *Scale) { s.Target.Cols = -1 }, "-1 columns"},
		"no picture":    {func(s *Scale) { s.Pictures = nil }, "none is marked as used"},
		"hash":          {func(s *Scale) { s.Pictures[0].SHA256 = "12" }, "a.png: sha256 must be 64 digits"},
		"no name":       {func(s *Scale) { s.Pictures[1].File = "" }, "number 2 has no file name"},
		"marks":         {func(s *Scale) { s.Pictures[0].Marks = -1 }, "-1 marks"},
		"picture's RMS": {func(s *Scale) { s.Pictures[0].RMSPX = number(math.NaN()) }, "rms_px is NaN"},
		"schema":        {func(s *Scale) { s.Schema = 2 }, "schema is 2"},
	} {
		s := someScale()
		c.change(&s)
		var b bytes.Buffer
		if err := EncodeScale(&b, s); err == nil || !strings.Contains(err.Error(), c.want) || b.Len() > 0 {
			t.Errorf("%s: writing says %v, %d bytes written", name, err, b.Len())
		}
		// What JSON can hold is refused when read, too.
		if raw, err := json.Marshal(s); err == nil {
			if _, err := DecodeScale(bytes.NewReader(raw)); err == nil {
				t.Errorf("%s: was read", name)
			}
		}
	}
}

func TestScaleFileNoScale(t *testing.T) {
	raw, err := json.MarshalIndent(someScale(), "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	good := string(raw)
	for name, c := range map[string]struct{ file, want string }{
		"empty":       {" \n", "it is empty"},
		"no JSON":     {"{\n\"schema\": 1,\n oops", "line 3 is no JSON"},
		"cut off":     {good[:len(good)/2], "is no JSON"},
		"other JSON":  {`{"a": 1}`, "no schema number"},
		"later":       {`{"schema": 7, "new": true}`, "its schema is 7 and this program reads 1"},
		"misspelt":    {strings.Replace(good, "max_age_days", "max_age_day", 1), `the key "max_age_day" is not known`},
		"wrong kind":  {strings.Replace(good, "0.0123", `"0.0123"`, 1), "line 3: mm_per_px is a string and must be a float64"},
		"two":         {good + good, "is no JSON"},
		"a list":      {"[1, 2]", "must be a"},
		"far too big": {strings.Repeat(" ", maxScaleBytes+1), "larger than"},
		"null":        {"null", "no schema number"},
	} {
		if s, err := DecodeScale(strings.NewReader(c.file)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, %+v", name, err, s.MMPerPX)
		}
	}
}

func FuzzDecodeScale(f *testing.F) {
	raw, err := json.Marshal(someScale())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(raw)
	f.Add([]byte(`{"schema":1,"lens":{"fx_px":1e308,"fy_px":1e-308}}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		s, err := DecodeScale(bytes.NewReader(b))
		if err != nil {
			return
		}
		if err := EncodeScale(new(bytes.Buffer), s); err != nil {
			t.Errorf("was read and cannot be written: %v", err)
		}
	})
}

func TestCheckPicture(t *testing.T) {
	s := someScale()
	same := PictureFacts{640, 480, "Edge camera ", "locked at 3", 35.1}
	for name, c := range map[string]struct {
		change func(p *PictureFacts)
		want   string
	}{
		"same": {func(*PictureFacts) {}, ""},
		"turned": {func(p *PictureFacts) { p.WidthPX, p.HeightPX = 480, 640 },
			"the picture has 480 x 640 px, the scale was made at 640 x 480"},
		"camera":        {func(p *PictureFacts) { p.Camera = "face camera" }, `of camera "face camera", the scale of "edge camera"`},
		"focus":         {func(p *PictureFacts) { p.Focus = "locked at 4" }, "a lens focused anew"},
		"focal length":  {func(p *PictureFacts) { p.FocalLengthMM = 50 }, "focal length is 50 mm, the scale's 35 mm"},
		"untold camera": {func(p *PictureFacts) { p.Camera = "" }, ""},
		"untold focus":  {func(p *PictureFacts) { p.Focus, p.FocalLengthMM = "", 0 }, ""},
	} {
		p := same
		c.change(&p)
		err := s.CheckPicture(p)
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if d := s.Doubts(same); len(d) > 0 {
		t.Errorf("doubts about the same: %q", d)
	}
	d := s.Doubts(PictureFacts{WidthPX: 640, HeightPX: 480})
	if len(d) != 3 || said(d[0]) != "the picture does not say its camera, so that it could not be compared with the scale's" {
		t.Errorf("%q", d)
	}
	s.Camera, s.Focus, s.FocalLengthMM = "", "", nil
	d = s.Doubts(PictureFacts{Camera: "x"})
	if len(d) != 3 || said(d[0]) != "the scale does not say its camera, so that the picture's could not be compared" ||
		said(d[1]) != "neither picture nor scale says its focus" {
		t.Errorf("%q", d)
	}
}

func TestAgeState(t *testing.T) {
	s := someScale() // of 1 March, for 90 days: soon from the 72nd
	for _, c := range []struct {
		after time.Duration
		state string
		want  string
	}{
		{0, AgeOK, "0 days old and good for 90 more"},
		{-time.Hour, AgeOK, "0 days old"},
		{71 * 24 * time.Hour, AgeOK, "71 days old and good for 19 more"},
		{72 * 24 * time.Hour, AgeSoon, "another 18 days"},
		{90 * 24 * time.Hour, AgeSoon, "another 0 days"},
		{90*24*time.Hour + time.Second, AgeOver, "90 days old, its limit is 90"},
		{1000 * 24 * time.Hour, AgeOver, "make it again before measuring"},
		{-48 * time.Hour, AgeOver, "still to come"},
	} {
		now := s.Made.Add(c.after)
		if a := s.AgeState(now); a.State != c.state || !strings.Contains(said(a.Sentence), c.want) || s.Age(now) != c.after {
			t.Errorf("after %v: %+v, want %s, %q", c.after, a, c.state, c.want)
		}
	}
	s.Made = time.Time{}
	if a := s.AgeState(time.Now()); a.State != AgeOver {
		t.Errorf("without a date: %+v", a)
	}
}

// A scale made from a view passes the checks of its file.
func TestFlatScaleIsWhole(t *testing.T) {
	f, err := FitFlat(affineView(40, 1, 0, 0, 0.01, grid(11, 8, 1.2), gauss(1, 0.05)),
		FlatViewOptions{TargetURel: 5e-4, Projection: Telecentric})
	if err != nil {
		t.Fatal(err)
	}
	s := f.Scale()
	s.Target, s.Made, s.Pictures, s.Rating = someScale().Target, someScale().Made, someScale().Pictures, RateFlat(f,
		DefaultRateLimits()).Word
	if err := EncodeScale(new(bytes.Buffer), s); err != nil {
		t.Error(err)
	}
	if s.Lens == nil || s.MMPerPX != f.MMPerPX || s.Projection != Telecentric || s.WidthPX != 640 {
		t.Errorf("%+v", s)
	}
}
