package report

import (
	"encoding/json"
	"fmt"
	"image"
	_ "image/jpeg"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"finishbench/internal/lang"
	"finishbench/internal/part"
)

func num(v float64) *float64 { return &v }

// sample is an invented result with one of most things; pictures are 1600x1200.
func sample() *part.Result {
	r := &part.Result{
		Schema: 1, Unit: "k12-L", Stage: part.Wet, Verdict: part.Rework, Score: num(61), MMPerPX: 0.015,
		Reasons:  []string{"proud by 92 um at 120 deg, left (limit 50 um)", "bubble of 0.31 mm on the faceplate (limit 0.20 mm)"},
		Surfaces: []part.Surface{{View: part.Face, LookedAt: 0.91, OneLight: 0.06, NotLookedAt: 0.03, Why: map[part.Why]float64{part.Mirrored: 0.02, part.Outermost: 0.01}}},
		Warnings: []string{"only one face light was given: pigment and defects are harder to tell apart"},
		Findings: []part.Finding{
			{Number: 1, Image: "edge_120.png", Kind: part.Step, Box: part.Box{381, 413, 40, 40}, Zone: part.ZoneSeam, Severity: part.Major,
				Confidence: 0.99, Advice: "Sand the faceplate flush at the mark, then lacquer again.", StepStation: "120 deg, left", ValueUM: num(92.4)},
			{Number: 2, Image: "face_raking.png", Kind: part.Bubble, Box: part.Box{812, 540.5, 21, 20}, DiameterMM: num(0.31), LengthMM: num(0.33), WidthMM: num(0.29),
				AreaMM2: num(0.075), AngleDeg: num(0), Zone: part.ZoneFace, Severity: part.Moderate, Confidence: 0.97, Advice: "Prick the bubble and let the lacquer close.",
				Features: map[string]float64{"ring": 0.81, "contrast": 14.25}, AlsoIn: []part.Sighting{{Image: "face_diffuse.png", Box: part.Box{812.5, 541, 20, 20}}}},
			{Number: 3, Image: "face_raking.png", Kind: part.Sanding, Box: part.Box{500, 700, 145, 120}, LengthMM: num(1.9), WidthMM: num(1.2), AngleDeg: num(43.6), Lines: 12,
				Zone: part.ZoneFace, Severity: part.Minor, Confidence: 0.8, Advice: "Sand finer along the marks."},
			{Number: 4, Image: "face_diffuse.png", Kind: part.Dust, Box: part.Box{1000, 400, 9, 8}, DiameterMM: num(0.12), Zone: part.ZoneRim, Severity: part.None, Confidence: 0.9},
		},
		Pictures: []part.PictureReport{
			{File: "edge_120.png", View: part.Edge, State: part.PictureOK, Problems: []part.Problem{}, SharpnessPX: num(1.6), Clipped: num(0.001), WidthPX: 1600, HeightPX: 1200},
			{File: "edge_150.png", View: part.Edge, State: part.PictureNoOK, Problems: []part.Problem{
				{Name: "too_bright", Value: num(0.04), Limit: num(0.005), Unit: "share", Remedy: "light down or exposure shorter"}}},
			{File: "face_diffuse.png", View: part.Face, Light: part.Diffuse, State: part.PictureOK, Problems: []part.Problem{
				{Name: "uneven_light", Value: num(12), Limit: num(10), Unit: "%", Remedy: "turn the dome's left lamp up", Warn: true}}, SharpnessPX: num(2.1)},
			{File: "face_raking.png", View: part.Face, Light: part.Raking, State: part.PictureOK, SharpnessPX: num(2)},
		},
	}
	r.Seam.Stations = []part.StepStation{
		{Image: "edge_120.png", AngleDeg: 120, Side: part.Left, State: part.Measured, StepUM: num(92.4), UUM: num(1.8), GapUM: num(0), BeadUM: num(12), XPX: num(401.2), YPX: num(433.7), SeamFrom: "picture"},
		{Image: "edge_120.png", AngleDeg: 120, Side: part.Right, State: part.Measured, StepUM: num(-31.2), UUM: num(1.4), XPX: num(1201.2), YPX: num(440), SeamFrom: "rim"},
		{Image: "edge_150.png", AngleDeg: 150, Side: part.Left, State: part.Unmeasured, Reason: "4 % of the unit is clipped"},
		{Image: "edge_150.png", AngleDeg: 150, Side: part.Right, State: part.Unmeasured, Reason: "4 % of the unit is clipped"},
	}
	r.Seam.WorstStepUM = num(92.4)
	do := "Wipe the lacquer off. Trim and sand flush, little by little: the faceplate's edge at 10 o'clock (120 deg, left). Then clean, and lacquer again."
	why, unseen := "Faceplate proud by 92 um at 120 deg, left (limit 50 um).", "The step was not measured at 150 deg, left and 150 deg, right"
	r.Plan = &part.Plan{
		Steps:   []part.PlanStep{{Key: part.PlanWipeOff, Do: do, DoPhrase: part.Text(do), Why: why, WhyPhrase: part.Text(why), Findings: []int{1, 2}, Stations: []string{"120 deg, left"}, Care: []part.Care{part.CareGloves, part.CareDust}}},
		MayStay: []int{3}, UnseenPhrases: append([]part.Phrase{part.Text(unseen)}, r.NotLookedAtPhrases()...),
	}
	r.Plan.Unseen = lang.English().SayAll(r.Plan.UnseenPhrases)
	addSampleBudgets(r)
	return r
}

// addSampleBudgets gives the worst step and the bubble invented budgets.
func addSampleBudgets(r *part.Result) {
	step := part.NewBudget("step at 120 deg, left", 92.4, []part.Contribution{
		{Name: "scale", Unit: "mm/px", Value: num(0.015), U: 0.00003, Distribution: part.Normal, Sensitivity: 92.4 / 0.015},
		{Name: "outline of the shell", Unit: "px", Value: num(401.21), U: 0.11, Distribution: part.Scatter, DOF: num(23.7), Sensitivity: -15},
	})
	size := part.NewBudget("bubble's diameter", 310, []part.Contribution{
		{Name: "ends on the pixel grid", Unit: "px", U: 0.289, Distribution: part.Rectangular, Sensitivity: 15},
	})
	r.Seam.Stations[0].Budget = &step
	r.Findings[1].Budget, r.Findings[1].UDiamMM = &size, num(size.CombinedUM/1000)
}

// ground is a picture of one tone with a lighter disc, 8-bit RGB.
func ground(w, h int) *part.Image {
	im := &part.Image{W: w, H: h, C: 3, Pix8: make([]uint8, w*h*3)}
	for y := 0; y < h; y++ {
		for x := 0; x < w; x++ {
			v := uint8(40)
			if math.Hypot(float64(x-w/2)/float64(w), float64(y-h/2)/float64(h)) < 0.35 {
				v = uint8(120 + (x*7+y*13)%40)
			}
			i := (y*w + x) * 3
			im.Pix8[i], im.Pix8[i+1], im.Pix8[i+2] = v, v, v/2+20
		}
	}
	return im
}

// input makes a whole page's input of a result and one picture for all files.
func input(t testing.TB, r *part.Result, picture func(file string) *part.Image) PageInput {
	t.Helper()
	in := PageInput{Result: r, LimitsProudUM: 50, LimitsRecessedUM: 30, Version: "finishbench 0.0 (test)", Generated: "2031-02-03 04:05"}
	for _, p := range r.Pictures {
		im := picture(p.File)
		if im == nil {
			continue
		}
		pp, err := MakePagePicture(im, overlay(p.File, r), r, PageWidth)
		if err != nil {
			t.Fatal(err)
		}
		in.Annotated = append(in.Annotated, pp)
	}
	var err error
	if in.Crops, err = MakeCrops(r, picture); err != nil {
		t.Fatal(err)
	}
	return in
}

// overlay joins the stations of an edge picture by a line.
func overlay(file string, r *part.Result) Overlay {
	ov := Overlay{File: file}
	for _, s := range r.Seam.Stations {
		if s.Image == file && s.XPX != nil && s.YPX != nil {
			ov.SeamLine = append(ov.SeamLine, part.Point{X: *s.XPX, Y: *s.YPX})
		}
	}
	return ov
}

// sharedUnits is the folder of ray-traced units; tests that need it are skipped
// where it is absent.
func sharedUnits(t testing.TB) string {
	t.Helper()
	dir := os.Getenv("FINISHBENCH_SHARED")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "shared")
	}
	dir = filepath.Join(dir, "units")
	if _, err := os.Stat(dir); err != nil {
		t.Skip("the shared units are not here")
	}
	return dir
}

func readPicture(path string) (*part.Image, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	m, _, err := image.Decode(f)
	if err != nil {
		return nil, err
	}
	b := m.Bounds()
	im := &part.Image{W: b.Dx(), H: b.Dy(), C: 3, Pix8: make([]uint8, 3*b.Dx()*b.Dy())}
	for y := 0; y < im.H; y++ {
		for x := 0; x < im.W; x++ {
			r, g, bl, _ := m.At(b.Min.X+x, b.Min.Y+y).RGBA()
			i := (y*im.W + x) * 3
			im.Pix8[i], im.Pix8[i+1], im.Pix8[i+2] = uint8(r>>8), uint8(g>>8), uint8(bl>>8)
		}
	}
	return im, nil
}

// truth is what a unit's truth.json says, as far as a page can show it.
type truth struct {
	MMPerPX float64 `json:"mm_per_px"`
	Edge    []struct {
		File        string
		AngleDeg    float64 `json:"angle_deg"`
		SeamRow     float64 `json:"seam_row_px"`
		Left, Right struct {
			StepUM float64 `json:"step_um"`
			XPX    float64 `json:"x_px"`
			BeadUM float64 `json:"bead_um"`
		}
	}
	Face struct {
		Outline [][2]float64 `json:"outline_px"`
		Defects []struct {
			Type                    string
			Box                     part.Box `json:"box_px"`
			Diameter, Length, Width float64
			Lines                   int
			AngleDeg                float64            `json:"angle_deg"`
			CNR                     map[string]float64 `json:"cnr"`
		}
	}
}

// resultOfTruth invents a result from a unit's truth: what a perfect
// inspection would say, with made-up limits and uncertainties.
func resultOfTruth(t testing.TB, dir string) (*part.Result, *truth) {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var tr truth
	if err := json.Unmarshal(raw, &tr); err != nil {
		t.Fatal(err)
	}
	r := &part.Result{Schema: 1, Unit: filepath.Base(dir), Stage: part.Wet, Verdict: part.Pass, MMPerPX: tr.MMPerPX, Score: num(0)}
	add := func(f part.Finding, reason string) {
		f.Number = len(r.Findings) + 1
		r.Findings = append(r.Findings, f)
		*r.Score += []float64{0, 1, 10, 50, 100}[f.Severity.Rank()]
		if f.Severity.Rank() >= part.Moderate.Rank() {
			r.Verdict = part.Rework
			r.Reasons = append(r.Reasons, reason)
		}
	}
	for i, e := range tr.Edge {
		r.Pictures = append(r.Pictures, part.PictureReport{File: e.File, View: part.Edge, State: part.PictureOK, SharpnessPX: num(1.6), Clipped: num(0.0008)})
		for _, side := range []part.Side{part.Left, part.Right} {
			l := e.Left
			if side == part.Right {
				l = e.Right
			}
			s := part.StepStation{Image: e.File, AngleDeg: e.AngleDeg, Side: side, State: part.Measured, StepUM: num(l.StepUM), UUM: num(1.5 + 0.2*float64(i)),
				GapUM: num(0), BeadUM: num(l.BeadUM), XPX: num(l.XPX), YPX: num(e.SeamRow), SeamFrom: "picture"}
			r.Seam.Stations = append(r.Seam.Stations, s)
			if w := r.Seam.WorstStepUM; w == nil || math.Abs(*s.StepUM) > math.Abs(*w) {
				r.Seam.WorstStepUM = s.StepUM
			}
			if l.StepUM > 50 || l.StepUM < -30 {
				advice := "Sand the faceplate flush at the mark, wipe, lacquer again."
				if l.StepUM < 0 {
					advice = "Do not sand. Fill the edge or replace the faceplate."
				}
				add(part.Finding{Image: e.File, Kind: part.Step, Box: part.Box{l.XPX - 18, e.SeamRow - 18, 36, 36}, Zone: part.ZoneSeam, Severity: part.Major, Confidence: 0.98,
					Advice: advice, StepStation: fmt.Sprintf("%g deg, %s", e.AngleDeg, side), ValueUM: s.StepUM},
					fmt.Sprintf("step of %+.0f um at %g deg, %s (limits +50, -30 um)", l.StepUM, e.AngleDeg, side))
			}
		}
	}
	for _, l := range []part.Light{part.Diffuse, part.Raking} {
		r.Pictures = append(r.Pictures, part.PictureReport{File: "face_" + string(l) + ".jpg", View: part.Face, Light: l, State: part.PictureOK, SharpnessPX: num(1.9)})
	}
	advice := map[part.Kind]string{
		part.Bubble: "Prick the bubble with a clean needle and let the lacquer close.", part.Dust: "Lift the nib out with a tacky tip, close with a drop of lacquer.",
		part.Fibre: "Draw the fibre out with tweezers along its length.", part.Sanding: "Wipe the lacquer off, sand finer across the marks, lacquer again.",
		part.Crater: "Wipe the place with cleaner, lacquer again.", part.Run: "Turn the unit and draw the run off with a brush."}
	for _, d := range tr.Face.Defects {
		if max(d.CNR["diffuse"], d.CNR["raking"]) < 5 {
			continue
		}
		sev := part.Minor
		if size := max(d.Diameter, d.Length); size > 0.4 {
			sev = part.Moderate
		}
		best, other := "face_diffuse.jpg", "face_raking.jpg"
		if d.CNR["raking"] > d.CNR["diffuse"] {
			best, other = other, best
		}
		f := part.Finding{Image: best, Kind: part.Kind(d.Type), Box: d.Box, Zone: part.ZoneFace, Severity: sev, Confidence: 0.93, Advice: advice[part.Kind(d.Type)],
			Lines: d.Lines, Features: map[string]float64{"contrast_noise": max(d.CNR["diffuse"], d.CNR["raking"]), "roundness": 0.91}, AlsoIn: []part.Sighting{{Image: other, Box: d.Box}}}
		if d.Diameter > 0 {
			f.DiameterMM, f.AreaMM2 = num(d.Diameter), num(math.Pi/4*d.Diameter*d.Diameter)
		}
		if d.Length > 0 {
			f.LengthMM, f.WidthMM, f.AngleDeg = num(d.Length), num(d.Width), num(math.Mod(d.AngleDeg+180, 180))
		}
		add(f, fmt.Sprintf("%s of %.2f mm on the faceplate (limit 0.40 mm)", strings.ReplaceAll(d.Type, "_", " "), max(d.Diameter, d.Length)))
	}
	return r, &tr
}
