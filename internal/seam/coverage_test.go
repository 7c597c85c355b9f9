package seam

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"testing"

	"finishbench/internal/part"
)

// traced is a station of a ray-traced unit: what was drawn, and what was measured.
type traced struct {
	unit   string
	err, u float64 // um
	group  [10]string
}

var tracedGroups = [...]string{"set", "side", "blur", "shell", "faceplate", "contrast", "colour", "step", "gap", "slant"}

// tracedStations measures all edge pictures of a set, without being told the
// lens. Stations on a glue bead of more than 5 um are left out, as in all scoring.
func tracedStations(t *testing.T, dir string) []traced {
	t.Helper()
	var all []traced
	truths, _ := filepath.Glob(filepath.Join(dir, "*", "truth.json"))
	for _, name := range truths {
		raw, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		type station struct {
			StepUM float64 `json:"step_um"`
			BeadUM float64 `json:"bead_um"`
		}
		var truth struct {
			MM   float64 `json:"mm_per_px"`
			Edge []struct {
				File        string
				SigmaPX     float64 `json:"psf_sigma_px"`
				Left, Right station
			}
		}
		if err := json.Unmarshal(raw, &truth); err != nil {
			t.Fatal(err)
		}
		for _, e := range truth.Edge {
			im := readJPEG(t, filepath.Join(filepath.Dir(name), e.File))
			m := Measure(im, part.Shot{File: e.File}, DefaultParams(truth.MM))
			for i, want := range [2]station{e.Left, e.Right} {
				s := m.Stations[i]
				if want.BeadUM > 5 || s.State != part.Measured {
					continue
				}
				face, shell, panel := lightBeside(im, s, truth.MM)
				gap := "none told"
				if *s.GapUM > 0 {
					gap = "told"
				}
				all = append(all, traced{unit: filepath.Dir(name), err: *s.StepUM - want.StepUM, u: *s.UUM, group: [...]string{
					filepath.Base(dir), string(s.Side), bin("px", e.SigmaPX, 0.7, 1, 1.3), bin("of white", grey(shell), 0.1, 0.25), bin("of white", grey(face), 0.1, 0.25),
					bin("of white", grey(panel)-min(grey(face), grey(shell)), 0.7, 0.8), bin("of white, spread of shell's channels", spreadOf(shell), 0.1),
					bin("um", math.Abs(want.StepUM), 20, 50, 100), gap, bin("deg", math.Abs(m.Stance.SlantDeg), 0.5, 1)}})
			}
		}
	}
	return all
}

// lightBeside is the linear light of faceplate, shell and panel beside a station.
func lightBeside(im *part.Image, s part.StepStation, mm float64) (face, shell, panel [3]float64) {
	in, off := 0.15/mm, 0.3/mm
	if s.Side == part.Right {
		in = -in
	}
	l := newLight(im, false)
	at := func(x, y float64) (c [3]float64) {
		for i := -3; i <= 3; i++ {
			for j := -3; j <= 3; j++ {
				r, g, b := l.rgb(min(max(int(x)+i, 0), im.W-1), min(max(int(y)+j, 0), im.H-1))
				for ch, v := range [3]float32{r, g, b} {
					c[ch] += l.decode(v) / 49
				}
			}
		}
		return c
	}
	return at(*s.XPX+in, *s.YPX-off), at(*s.XPX+in, *s.YPX+off), at(*s.XPX-2*in, *s.YPX)
}

func grey(c [3]float64) float64     { return (c[0] + c[1] + c[2]) / 3 }
func spreadOf(c [3]float64) float64 { return max(c[0], c[1], c[2]) - min(c[0], c[1], c[2]) }

// bin is the stretch between limits in which a value lies.
func bin(unit string, v float64, limits ...float64) string {
	for i, l := range limits {
		if v < l {
			if i == 0 {
				return fmt.Sprintf("under %g %s", l, unit)
			}
			return fmt.Sprintf("%g to %g %s", limits[i-1], l, unit)
		}
	}
	return fmt.Sprintf("%g %s and more", limits[len(limits)-1], unit)
}

// worth is how many independent values those of some units are: their number over the
// design effect, the variance of the share between units over that of a simple sample (Kish
// 1965, ratio estimator); where all agree that cannot be told, and each unit counts once.
func worth(in map[string][2]int) int {
	n, k := 0, 0
	for _, v := range in {
		n, k = n+v[1], k+v[0]
	}
	p, m := float64(k)/float64(n), float64(len(in))
	if k == 0 || k == n || len(in) < 2 {
		return len(in)
	}
	between := 0.0
	for _, v := range in {
		d := float64(v[0]) - p*float64(v[1])
		between += d * d
	}
	between *= m / (m - 1) / float64(n*n)
	return min(n, max(1, int(float64(n)/max(1, between/(p*(1-p)/float64(n))))))
}

// binomialChance is the chance of a count no likelier than k of n at p, two-sided.
func binomialChance(k, n int, p float64) float64 {
	lg := func(v int) float64 { l, _ := math.Lgamma(float64(v) + 1); return l }
	at := func(i int) float64 {
		return math.Exp(lg(n) - lg(i) - lg(n-i) + float64(i)*math.Log(p) + float64(n-i)*math.Log(1-p))
	}
	sum, most := 0.0, at(k)*(1+1e-9)
	for i := range n + 1 {
		if c := at(i); c <= most {
			sum += c
		}
	}
	return min(1, sum)
}

// Exact by hand: 2 of 2 at 1/2 is one in four, and 0 of 2 as likely; all of 20 at 95 % is 0.36.
func TestBinomialChance(t *testing.T) {
	near(t, "2 of 2", binomialChance(2, 2, 0.5), 0.5, 1e-9)
	near(t, "1 of 2", binomialChance(1, 2, 0.5), 1, 1e-9)
	if c := binomialChance(90, 120, 0.95); c > 1e-6 {
		t.Errorf("75 %% of 120: %g", c)
	}
	if n := worth(map[string][2]int{"a": {9, 10}, "b": {1, 10}}); n > 4 {
		t.Errorf("two units that disagree are worth %d", n)
	}
}

// How the stated uncertainty holds, by what might spoil it: for `make score`, with
// FINISHBENCH_FIGURES set. FINISHBENCH_EDGES names more sets, with commas between.
func TestStepTable(t *testing.T) {
	if os.Getenv("FINISHBENCH_FIGURES") == "" {
		t.Skip("set FINISHBENCH_FIGURES for the table of steps")
	}
	dirs := []string{sharedUnits(t)}
	for _, d := range strings.Split(os.Getenv("FINISHBENCH_EDGES"), ",") {
		if d != "" {
			dirs = append(dirs, d)
		}
	}
	var all []traced
	for _, d := range dirs {
		all = append(all, tracedStations(t, d)...)
	}
	if len(all) == 0 {
		t.Fatal("no edge pictures")
	}
	fmt.Printf("steps by what might spoil them: error over u, within 2 u (95 %% is right; tested where worth 100 values or more)\n")
	fmt.Printf("%-10s %-42s %5s %6s %8s %7s %7s %8s  %s\n", "", "", "n", "worth", "bias um", "SD um", "rms z", "in 2u %", "chance")
	row := func(what, name string, of []traced) {
		units := map[string][2]int{}
		sum, sq, z2, in := 0.0, 0.0, 0.0, 0
		for _, s := range of {
			c := units[s.unit]
			c[1]++
			if math.Abs(s.err) <= 2*s.u {
				c[0]++
				in++
			}
			units[s.unit] = c
			sum, sq, z2 = sum+s.err, sq+s.err*s.err, z2+s.err*s.err/s.u/s.u
		}
		n := float64(len(of))
		mean, share := sum/n, float64(in)/n
		w := worth(units)
		said := "too few"
		if w >= 100 {
			p := binomialChance(int(math.Round(share*float64(w))), w, 0.95)
			if said = fmt.Sprintf("%.3f", p); p < 0.01 {
				said += " NOT 95 %"
				t.Errorf("%s %s: within 2u at %.1f %% of %d independent values", what, name, 100*share, w)
			}
		}
		sd := math.Sqrt(max(0, sq/n-mean*mean))
		fmt.Printf("%-10s %-42s %5d %6d %+8.2f %7.2f %7.2f %8.1f  %s\n", what, name, len(of), w, mean, sd, math.Sqrt(z2/n), 100*share, said)
	}
	row("all", "", all)
	for g, what := range tracedGroups {
		by := map[string][]traced{}
		for _, s := range all {
			by[s.group[g]] = append(by[s.group[g]], s)
		}
		var names []string
		for n := range by {
			names = append(names, n)
		}
		sort.Strings(names)
		for _, n := range names {
			row(what, n, by[n])
		}
	}
}
