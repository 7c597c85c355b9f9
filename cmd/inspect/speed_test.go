package main

import (
	"bufio"
	"fmt"
	"image"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/disintegration/imaging"

	"finishbench/internal/capture"
	"finishbench/internal/cli"
	"finishbench/internal/codec"
	"finishbench/internal/part"
)

// TestFigures prints the speed and memory of the whole program, from process
// start to the last file written, beside the bars of the issue that asked for
// it. `make bench` runs it; it takes minutes, and wants a quiet machine.
//
//	FINISHBENCH_FIGURES  set: run
//	FINISHBENCH_PROGRAM  the program; absent: this test binary under its name
//	FINISHBENCH_UNITS    units of the long run, 500 where absent
func TestFigures(t *testing.T) {
	if os.Getenv("FINISHBENCH_FIGURES") == "" {
		t.Skip("takes minutes and wants a quiet machine: `make bench` runs it")
	}
	unit := "../../testdata/images/u06-R"
	fmt.Printf("%d cores (GOMAXPROCS %d), medians; bars are for 2 cores\n\n", runtime.NumCPU(), runtime.GOMAXPROCS(0))

	bare := bareDecoding(t, unit)
	fmt.Printf("bare decoding of the unit's 8 pictures, one thread:  %4.0f ms\n", ms(bare))
	var resident float64
	nothing := median(9, func() time.Duration {
		r := timed(t, "version")
		resident = max(resident, r.peakMiB)
		return r.wall
	})
	row("start and end of the program, nothing else", nothing <= 30*time.Millisecond, "%.0f ms (bar 30 ms)", ms(nothing))
	row("  memory", resident <= 20, "%.0f MiB (bar 20)", resident)

	one := medianRun(t, 9, "--mm-per-px", "0.015", unit)
	ratio := ms(one.wall) / ms(bare)
	row("one unit, eight 2-Mpx pictures", one.wall <= time.Second, "%.0f ms (bar 1000 ms)", ms(one.wall))
	row("  ratio to bare decoding", ratio <= 2.3, "%.2f (bar 2.3)", ratio)
	row("  memory", one.peakMiB <= 200, "%.0f MiB (bar 200)", one.peakMiB)
	big := bigUnit(t, unit)
	faces := medianRun(t, 5, "--mm-per-px", "0.006", facesOf(t, big))
	row("two 12-Mpx face pictures", faces.wall <= 1500*time.Millisecond, "%.0f ms (bar 1500 ms)", ms(faces.wall))

	station := benchOfReplay(t)
	oneAnswer(t, station)
	answer := median(20, func() time.Duration { return oneAnswer(t, station) })
	row("bench: press to answer, eight 2-Mpx pictures", answer <= answerBar, "%.0f ms (bar %d ms)", ms(answer), answerBar.Milliseconds())

	const most = 400
	four := timed(t, append([]string{"unit", "--jobs", "2", "--mm-per-px", "0.015", "--out", t.TempDir()}, testUnits(t)...)...)
	row("memory, four units, --jobs 2", four.peakMiB <= most, "%.0f MiB (bar %d)", four.peakMiB, most)
	bigRun := timed(t, "unit", "--jobs", "2", "--mm-per-px", "0.006", "--out", t.TempDir(), big, copyOf(t, big))
	row("memory, two units of eight 12-Mpx pictures", bigRun.peakMiB <= most, "%.0f MiB (bar %d)", bigRun.peakMiB, most)

	n := 500
	if v, err := strconv.Atoi(os.Getenv("FINISHBENCH_UNITS")); err == nil && v >= 20 {
		n = v
	}
	long := timed(t, append([]string{"unit", "--jobs", "2", "--mm-per-px", "0.015", "--out", t.TempDir()}, manyUnits(t, n)...)...)
	early, late := long.meanBetween(0.2, 0.4), long.meanBetween(0.8, 1.0)
	row(fmt.Sprintf("%d units: memory over time", n), late-early < 20, "%.0f MiB early, %.0f MiB late (bar: flat)", early, late)
	row(fmt.Sprintf("%d units: peak", n), long.peakMiB <= most, "%.0f MiB (bar %d)", long.peakMiB, most)
	each := ms(long.wall) / float64(n)
	row(fmt.Sprintf("%d units: time of each", n), each <= 200, "%.0f ms (bar 200 ms)", each)
}

func row(what string, met bool, format string, a ...any) {
	word := "met"
	if !met {
		word = "NOT MET"
	}
	fmt.Printf("%-46s %s: %s\n", what, fmt.Sprintf(format, a...), word)
}

func ms(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }

// bareDecoding times OpenCV's decoding of a unit's pictures in one thread, in a
// process that does nothing else: the median of nine.
func bareDecoding(t *testing.T, unit string) time.Duration {
	files, err := filepath.Glob(filepath.Join(unit, "*.jpg"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no pictures in %s (%v)", unit, err)
	}
	decode := filepath.Join(t.TempDir(), "baredecode")
	if out, err := exec.Command("go", "build", "-o", decode, "./testdata/baredecode").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	return median(9, func() time.Duration {
		out, err := exec.Command(decode, files...).Output()
		if err != nil {
			t.Fatal(err)
		}
		v, err := strconv.ParseFloat(strings.TrimSpace(string(out)), 64)
		if err != nil {
			t.Fatal(err)
		}
		return time.Duration(v * float64(time.Millisecond))
	})
}

func median(n int, f func() time.Duration) time.Duration {
	v := make([]time.Duration, n)
	for i := range v {
		v[i] = f()
	}
	slices.Sort(v)
	return v[n/2]
}

// ran is one run of the program.
type ran struct {
	wall    time.Duration
	peakMiB float64
	samples []float64 // resident MiB, every 3 ms
}

func (r ran) meanBetween(a, b float64) float64 {
	s := r.samples[int(a*float64(len(r.samples))):int(b*float64(len(r.samples)))]
	sum := 0.0
	for _, v := range s {
		sum += v
	}
	return sum / float64(max(1, len(s)))
}

// medianRun inspects a unit n times, each into a new folder: the median time, and the most memory.
func medianRun(t *testing.T, n int, args ...string) ran {
	var r ran
	r.wall = median(n, func() time.Duration {
		one := timed(t, append([]string{"unit", "--out", t.TempDir()}, args...)...)
		r.peakMiB = max(r.peakMiB, one.peakMiB)
		return one.wall
	})
	return r
}

// timed runs the program and watches its memory.
func timed(t *testing.T, args ...string) ran {
	t.Helper()
	var cmd *exec.Cmd
	if p := os.Getenv("FINISHBENCH_PROGRAM"); p != "" {
		cmd = exec.Command(p, args...)
	} else {
		cmd = program(t, args...)
	}
	start := time.Now()
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	var r ran
	watched := make(chan struct{})
	go func() {
		defer close(watched)
		for {
			select {
			case <-done:
				return
			case <-time.After(3 * time.Millisecond):
				if v, ok := statusMiB(cmd.Process.Pid, "VmRSS:"); ok {
					r.samples = append(r.samples, v)
				}
				// Not the Maxrss of its end: a process counts what the one that started it held until then.
				if v, ok := statusMiB(cmd.Process.Pid, "VmHWM:"); ok {
					r.peakMiB = max(r.peakMiB, v)
				}
			}
		}
	}()
	_ = cmd.Wait() // exit codes 3 and 4 are results
	r.wall = time.Since(start)
	close(done)
	<-watched
	if c := cmd.ProcessState.ExitCode(); c != cli.ExitPass && c != cli.ExitFails && c != cli.ExitUnmeasured {
		t.Fatalf("exit code %d: %v", c, args)
	}
	return r
}

// statusMiB is a size in MiB that Linux tells of a running process.
func statusMiB(pid int, name string) (float64, bool) {
	f, err := os.Open(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0, false
	}
	defer f.Close()
	for s := bufio.NewScanner(f); s.Scan(); {
		if v, ok := strings.CutPrefix(s.Text(), name); ok {
			kib, err := strconv.ParseFloat(strings.TrimSuffix(strings.TrimSpace(v), " kB"), 64)
			return kib / 1024, err == nil
		}
	}
	return 0, false
}

// bigUnit enlarges a unit's pictures to 4000x3000.
func bigUnit(t *testing.T, unit string) string {
	dir := filepath.Join(t.TempDir(), "big")
	if err := os.Mkdir(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	files, _ := filepath.Glob(filepath.Join(unit, "*.jpg"))
	for _, f := range files {
		enlarge(t, f, filepath.Join(dir, filepath.Base(f)))
	}
	return dir
}

func enlarge(t *testing.T, from, to string) {
	im, err := capture.Read(from)
	if err != nil {
		t.Fatal(err)
	}
	small := &image.NRGBA{Pix: make([]uint8, 0, 4*im.W*im.H), Stride: 4 * im.W, Rect: image.Rect(0, 0, im.W, im.H)}
	for p := range slices.Chunk(im.Pix8, 3) {
		small.Pix = append(small.Pix, p[0], p[1], p[2], 255)
	}
	big := &part.Image{W: 4000, H: 3000, C: 3}
	for p := range slices.Chunk(imaging.Resize(small, 4000, 3000, imaging.CatmullRom).Pix, 4) {
		big.Pix8 = append(big.Pix8, p[:3]...)
	}
	data, err := codec.EncodeJPEG(big, 92)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(to, data, 0o666); err != nil {
		t.Fatal(err)
	}
}

func facesOf(t *testing.T, unit string) string {
	dir := filepath.Join(t.TempDir(), "faces")
	if err := os.Mkdir(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	files, _ := filepath.Glob(filepath.Join(unit, "face_*"))
	for _, f := range files {
		if err := os.Link(f, filepath.Join(dir, filepath.Base(f))); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func copyOf(t *testing.T, unit string) string {
	link := filepath.Join(t.TempDir(), "again")
	if err := os.Symlink(unit, link); err != nil {
		t.Fatal(err)
	}
	return link
}

// manyUnits makes n names for the units of testdata/images.
func manyUnits(t *testing.T, n int) []string {
	dir := t.TempDir()
	real := testUnits(t)
	var out []string
	for i := range n {
		to, err := filepath.Abs(real[i%len(real)])
		if err != nil {
			t.Fatal(err)
		}
		link := filepath.Join(dir, fmt.Sprintf("n%03d", i))
		if err := os.Symlink(to, link); err != nil {
			t.Fatal(err)
		}
		out = append(out, link)
	}
	return out
}
