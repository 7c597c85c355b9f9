package target

import (
	"fmt"
	"image"
	"math"
	"os"
	"path/filepath"
	"testing"

	"gocv.io/x/gocv"

	"finishbench/internal/capture"
	"finishbench/internal/optics"
	"finishbench/internal/part"
)

// samples is where Debian's package opencv-doc has OpenCV's sample pictures.
const samples = "/usr/share/doc/opencv-doc/examples/data"

// leftPictures reads left01 to left14 (there is no left10), 9 x 6 corners.
func leftPictures(t *testing.T) (pictures []*part.Image, names []string) {
	t.Helper()
	for i := 1; i <= 14; i++ {
		if i == 10 {
			continue
		}
		name := fmt.Sprintf("left%02d.jpg", i)
		im, err := capture.Read(filepath.Join(samples, name))
		if err != nil {
			t.Skip("OpenCV's sample pictures are not on this machine: apt-get install opencv-doc")
		}
		pictures, names = append(pictures, im), append(names, name)
	}
	return pictures, names
}

// photos reads a folder of the shared photographs (BoofCV example data by Peter
// Abeles, CC BY 4.0).
func photos(t *testing.T, folder string) (pictures []*part.Image, names []string) {
	t.Helper()
	shared := os.Getenv("FINISHBENCH_SHARED")
	if shared == "" {
		shared = "../../../../shared"
	}
	files, _ := filepath.Glob(filepath.Join(shared, "photos", folder, "*.jpg"))
	if len(files) == 0 {
		t.Skip("the shared photographs are not beside the project; set FINISHBENCH_SHARED")
	}
	for _, file := range files {
		im, err := capture.Read(file)
		if err != nil {
			t.Fatal(err)
		}
		pictures, names = append(pictures, im), append(names, filepath.Base(file))
	}
	return pictures, names
}

// findAll finds a target in each picture.
func findAll(t *testing.T, pictures []*part.Image, names []string, spec optics.Target) []Found {
	t.Helper()
	var all []Found
	for i, im := range pictures {
		f, err := Find(im, spec, names[i])
		if err != nil || f.Partial {
			t.Fatalf("%s: partial %v, %v", names[i], f.Partial, err)
		}
		all = append(all, f)
	}
	return all
}

func viewsOf(all []Found) []optics.View {
	var views []optics.View
	for _, f := range all {
		views = append(views, f.View)
	}
	return views
}

// lensBar holds a calibration to published values: fx within 0.5 %, principal
// point within 2 px, root mean square within 0.1 px.
func lensBar(t *testing.T, c optics.Calibration, fx, cx, cy, rms float64) {
	t.Helper()
	l := c.Lens
	t.Logf("fx %.2f fy %.2f cx %.2f cy %.2f k1 %.4f k2 %.4f, rms %.4f px", l.FX, l.FY, l.CX, l.CY, l.K1, l.K2, c.RMSPX)
	if math.Abs(l.FX/fx-1) > 0.005 {
		t.Errorf("fx %.2f, published %.2f", l.FX, fx)
	}
	if math.Abs(l.CX-cx) > 2 || math.Abs(l.CY-cy) > 2 {
		t.Errorf("principal point %.2f, %.2f; published %.2f, %.2f", l.CX, l.CY, cx, cy)
	}
	if math.Abs(c.RMSPX-rms) > 0.1 {
		t.Errorf("rms %.4f px, published %.4f", c.RMSPX, rms)
	}
}

// Published: OpenCV's modules/python/test/test_calibration.py, expected values.
func TestLeftPictures(t *testing.T) {
	pictures, names := leftPictures(t)
	all := findAll(t, pictures, names, optics.Target{Kind: optics.Chessboard, Cols: 9, Rows: 6, PitchMM: 1})
	c, err := optics.Calibrate(viewsOf(all), optics.CalibrateOptions{})
	if err != nil {
		t.Fatal(err)
	}
	lensBar(t, c, 532.80992189, 342.4952186, 233.8879292, 0.196334638)
}

// The other ways to take the same corners, and what each gives. Published for a
// half window of 5 px: as above; for 11 px: samples/data/left_intrinsics.yml in
// OpenCV, average error 0.3926, of which left02 has 1.18 px and no other more than
// 0.39. The corner pulled away there is the reason for [saddle].
func TestLeftPicturesOtherCorners(t *testing.T) {
	pictures, names := leftPictures(t)
	for _, window := range []int{5, 11} {
		var views []optics.View
		for i, im := range pictures {
			views = append(views, plainCorners(t, im, names[i], 9, 6, window))
		}
		c, err := optics.Calibrate(views, optics.CalibrateOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if window == 5 {
			lensBar(t, c, 532.80992189, 342.4952186, 233.8879292, 0.196334638)
			if math.Abs(c.RMSPX-0.1964) > 0.002 { // computed with OpenCV 4.6.0: 0.19643
				t.Errorf("rms %.5f px with the same corners", c.RMSPX)
			}
			continue
		}
		if math.Abs(c.RMSPX-0.39259) > 0.002 {
			t.Errorf("half window 11: rms %.5f px, published 0.39259", c.RMSPX)
		}
		for i, v := range c.Views {
			if odd := names[i] == "left02.jpg"; odd != (v.RMSPX > 1) || !odd && v.RMSPX > 0.39 {
				t.Errorf("half window 11: %s has %.3f px", names[i], v.RMSPX)
			}
		}
		suspects := optics.Suspect(c)
		if len(suspects) != 1 || suspects[0].Name != "left02.jpg" || suspects[0].Without == nil {
			t.Fatalf("half window 11: %d views are suspect: %+v", len(suspects), suspects)
		}
		// Without it the lens is that of the better corners.
		lensBar(t, *suspects[0].Without, 532.80992189, 342.4952186, 233.8879292, 0.196334638)
		t.Log(suspects[0].Description)
	}
}

// plainCorners are those of OpenCV's quad finder after its cornerSubPix (eps 0.1,
// 30 rounds).
func plainCorners(t *testing.T, im *part.Image, name string, cols, rows, window int) optics.View {
	t.Helper()
	p, err := grey(im)
	if err != nil {
		t.Fatal(err)
	}
	corners, _, _, err := searchCorners(p, cols, rows, quadFinder, false)
	if err != nil || corners == nil {
		t.Fatalf("%s: no corners, %v", name, err)
	}
	src, err := gocv.NewMatFromBytes(p.H, p.W, gocv.MatTypeCV8UC1, encoded(p))
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	at := gocv.NewMatWithSize(len(corners), 1, gocv.MatTypeCV32FC2)
	defer at.Close()
	v, err := at.DataPtrFloat32()
	if err != nil {
		t.Fatal(err)
	}
	for i, q := range corners {
		v[2*i], v[2*i+1] = float32(q.X), float32(q.Y)
	}
	if err := gocv.CornerSubPix(src, &at, image.Pt(window, window), image.Pt(-1, -1), gocv.NewTermCriteria(gocv.Count|gocv.EPS, 30, 0.1)); err != nil {
		t.Fatal(err)
	}
	view := optics.View{Name: name, W: im.W, H: im.H}
	for i := range corners {
		view.Marks = append(view.Marks, optics.Mark{Col: i % cols, Row: i / cols, XMM: float64(i % cols), YMM: float64(i / cols), XPX: float64(v[2*i]), YPX: float64(v[2*i+1])})
	}
	return view
}

// Published with the photographs: fx 701.01, principal point 308.46, 246.84, k1
// -0.25559, k2 0.09997 (no other terms). The root mean square is that of OpenCV
// 4.6.0's corners and the same terms: 0.158 px.
func TestChessPhotos(t *testing.T) {
	pictures, names := photos(t, "chess")
	all := findAll(t, pictures, names, optics.Target{Kind: optics.Chessboard, Cols: 6, Rows: 4, PitchMM: 30})
	c, err := optics.Calibrate(viewsOf(all), optics.CalibrateOptions{Terms: optics.TermsRadial})
	if err != nil {
		t.Fatal(err)
	}
	lensBar(t, c, 701.01, 308.46, 246.84, 0.158)
}

// Six photographs of 10 x 8 printed dots, pitch 25 mm, diameter 15 mm (the print
// is uncertified). The sheet is bent: what is left after a calibration of a flat
// one, 0.47 px, is the same at each dot in all six, and a tenth of it once the
// dots' places are freed. Bars: mean diameter within 1 % of 15.0 mm, standard
// deviation of all 480 at most 0.15 mm where the dots lie; on the plane that the
// sheet is not, it is 0.151.
func TestDotPhotos(t *testing.T) {
	pictures, names := photos(t, "dots")
	spec := optics.Target{Kind: optics.Dots, Cols: 10, Rows: 8, PitchMM: 25, DiameterMM: 15}
	all := findAll(t, pictures, names, spec)
	c, err := optics.Calibrate(viewsOf(all), optics.CalibrateOptions{})
	if err != nil {
		t.Fatal(err)
	}
	s, err := FindShape(viewsOf(all), c, spec.PitchMM)
	if err != nil {
		t.Fatal(err)
	}
	var flat, bent []float64
	for i, f := range all {
		a, err := BoardDiameters(f, c.Lens, c.Views[i].Placement)
		if err != nil {
			t.Fatal(err)
		}
		b, err := ShapeDiameters(f, s, i, spec.PitchMM)
		if err != nil {
			t.Fatal(err)
		}
		for k := range a {
			flat, bent = append(flat, a[k].DiameterMM), append(bent, b[k].DiameterMM)
		}
	}
	for _, k := range []struct {
		name string
		d    []float64
		most float64
	}{{"flat", flat, 0.155}, {"bent", bent, 0.15}} {
		mean, sd := meanSD(k.d)
		t.Logf("%s: %d dots, mean %.4f mm, SD %.4f mm", k.name, len(k.d), mean, sd)
		if len(k.d) != 480 || math.Abs(mean/15-1) > 0.01 || sd > k.most {
			t.Errorf("%s: %d dots, mean %.4f mm, SD %.4f mm", k.name, len(k.d), mean, sd)
		}
	}
	t.Logf("rms %.4f px flat, %.4f px bent; marks off by %.2f mm at most, %.2f mm root mean square", c.RMSPX, s.RMSPX, s.LargestMM, s.RMSMM)
	if s.RMSPX > 0.2*c.RMSPX {
		t.Errorf("rms %.4f px flat, %.4f px bent", c.RMSPX, s.RMSPX)
	}
}

func meanSD(v []float64) (mean, sd float64) {
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		sd += (x - mean) * (x - mean) / float64(len(v)-1)
	}
	return mean, math.Sqrt(sd)
}
