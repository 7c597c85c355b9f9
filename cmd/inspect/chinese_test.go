package main

import (
	"finishbench/internal/synth"
	"html"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"
)

// chineseCase are commands that make pages, and the files that they need.
type chineseCase struct {
	name    string
	archive string // of testdata, whose files are in the folder
	make    func(t *testing.T, dir string)
	args    []string // commands, a line each; "IMAGES" is testdata/images
}

// TestChineseIsWhole makes pages, PDFs and terminal texts of each command in Chinese and
// looks for sentences that stayed English.
func TestChineseIsWhole(t *testing.T) {
	images, err := filepath.Abs("../../testdata/images")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range chineseCases(images) {
		t.Run(c.name, func(t *testing.T) {
			if c.name == "coach" || c.name == "learn" {
				synth.Sampled(t, 2)
			}
			dir := t.TempDir()
			if keep := os.Getenv("FINISHBENCH_KEEP"); keep != "" {
				dir = filepath.Join(keep, c.name)
				if err := os.MkdirAll(dir, 0o755); err != nil {
					t.Fatal(err)
				}
			}
			if c.archive != "" {
				unpack(t, filepath.Join("testdata", c.archive), dir)
			}
			if c.make != nil {
				c.make(t, dir)
			}
			t.Chdir(dir)
			for _, line := range c.args {
				args := strings.Split(strings.ReplaceAll(line, "IMAGES", images), " ")
				code, stdout, stderr := runCode(t, append(args, "--language", "zh-Hans")...)
				if code == 1 || code == 2 {
					t.Errorf("%s: exit code %d: %s", line, code, stderr)
				}
				leftOver(t, line, stdout)
			}
			looked := 0
			err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
				if err != nil || d.IsDir() || filepath.Ext(path) != ".html" && filepath.Ext(path) != ".pdf" {
					return err
				}
				if text, ok := shownIn(t, path); ok {
					leftOver(t, filepath.Base(path), text)
					looked++
				}
				return nil
			})
			if err != nil || looked == 0 {
				t.Errorf("%d pages were looked at (%v)", looked, err)
			}
		})
	}
}

func unpack(t *testing.T, archive, dir string) {
	t.Helper()
	a, err := txtar.ParseFile(archive)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range a.Files {
		path := filepath.Join(dir, f.Name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, f.Data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

var (
	unseen     = regexp.MustCompile(`(?s)<style.*?</style>|<script.*?</script>|<!--.*?-->`)
	spoken     = regexp.MustCompile(`(?:alt|title|aria-label|placeholder)="([^"]*)"`)
	markup     = regexp.MustCompile(`(?s)<[^>]*>`)
	stays      = regexp.MustCompile(`(?s)'inspect [^']*'|“inspect [^”]*”|\binspect [a-z]+ [^\n]*--[^\n]*`)
	englishRow = regexp.MustCompile(`\b[a-z]{2,}(?:,? [a-z]{2,}){2,}\b`)
)

// shownIn is what a page or PDF says, a line for each piece of it; false where nothing here reads it.
func shownIn(t *testing.T, path string) (string, bool) {
	t.Helper()
	if filepath.Ext(path) == ".pdf" {
		if _, err := exec.LookPath("pdftotext"); err != nil {
			t.Log("no pdftotext here: the PDF's text was not looked at")
			return "", false
		}
		out, err := exec.Command("pdftotext", "-raw", path, "-").CombinedOutput()
		if err != nil {
			t.Fatalf("%s: %v: %s", path, err, out)
		}
		return string(out), true
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	page := unseen.ReplaceAllString(string(data), "")
	var b strings.Builder
	for _, m := range spoken.FindAllStringSubmatch(page, -1) {
		b.WriteString(m[1] + "\n")
	}
	b.WriteString(markup.ReplaceAllString(page, "\n"))
	return html.UnescapeString(b.String()), true
}

// leftOver tells of English in a Chinese text: three lower-case words in a row, outside of commands
// that are typed as they stand. What follows is not of this program's words, but of the cases' own.
func leftOver(t *testing.T, where, text string) {
	t.Helper()
	var told []string
	for _, found := range englishRow.FindAllString(stays.ReplaceAllString(text, ""), -1) {
		if !slices.Contains(told, found) && !slices.Contains(chineseData, found) {
			told = append(told, found)
			t.Errorf("%s: English is left over: %q", where, found)
		}
	}
}

// chineseData are English words of the cases' own data: names and reasons that people gave.
var chineseData = []string{"plain black oak"}

func chineseCases(images string) []chineseCase {
	return []chineseCase{
		{name: "unit", args: []string{
			"unit IMAGES/u06-R IMAGES/u01-L --out unit --mm-per-px 0.015 --record bench.db --operator B17 --budget",
			"records shift --record bench.db --out shift",
			"records ticket u06-R --record bench.db --out ticket.pdf",
		}},
		{name: "panel", make: func(t *testing.T, dir string) {
			data, err := os.ReadFile(filepath.Join(images, "u06-R", "face_diffuse.jpg"))
			if err == nil {
				err = os.WriteFile(filepath.Join(dir, "p1_diffuse.jpg"), data, 0o600)
			}
			if err != nil {
				t.Fatal(err)
			}
		}, args: []string{"surface p1_diffuse.jpg --out panel --mm-per-px 0.015"}},
		{name: "lot", args: []string{
			"lot plan --size 500 --out plan", "lot plan --size 500 --level S-4 --aql major=0.65 --mode reduced --out reduced",
			"lot design --good 1 --bad 6 --out design", "lot design --zero --size 200 --bad 5 --out zero",
			"lot step --size 500 --out step",
			"lot plan 31 --size 2 --stage wet --record bench.db --by B17 --mode tightened --why hot",
			"lot draw 31 --serials serials --seed 7 --record bench.db --by B17 --out draw",
			"lot take 31 IMAGES --out taken --mm-per-px 0.015 --record bench.db --by B17",
			"lot show 31 --record bench.db", "lot decide 31 --by B17 --record bench.db", "lot list --record bench.db",
			"lot decide 31 --returned --by B17 --record bench.db", "lot step 31 --size 50 --record bench.db",
			"lot report 31 --record bench.db --out report",
		}, make: func(t *testing.T, dir string) {
			if err := os.WriteFile(filepath.Join(dir, "serials"), []byte("u06-R\nu01-L\n"), 0o600); err != nil {
				t.Fatal(err)
			}
		}},
		{name: "lots", make: func(t *testing.T, dir string) {
			file, _ := inventedLots(t, 6, 300, false)
			if err := os.Rename(file, filepath.Join(dir, "lots.db")); err != nil {
				t.Fatal(err)
			}
		}, args: []string{
			"lot report L-4704 --record lots.db --out report", "lot chart --kind u --record lots.db --out u",
			"lot chart --kind ewma --record lots.db --out ewma", "lot chart --kind xbar --record lots.db --out xbar",
			"lot show L-4704 --record lots.db", "lot list --record lots.db",
		}},
		{name: "camera", archive: "camera.txtar", args: []string{"camera --edge IMAGES/u01-L/edge_000.jpg --out camera"}},
		{name: "setup", archive: "setup.txtar", args: []string{
			"setup IMAGES/u01-L --out out", "setup IMAGES/u01-L --step height --station lens.yaml --out height",
			"setup IMAGES/u01-L --step focus --station sharp.yaml --out focus", "setup bad.png --step focus --out bad",
		}},
		{name: "check", archive: "check.txtar", args: []string{
			"check new.csv --value 12.3", "check steady.csv", "study stability steady.csv --unit um --out steady",
			"check steady.csv --value 19", "study stability given.csv --out given", "check old.csv",
			"check unit.csv --unit results/piece",
		}},
		{name: "gauge", archive: "study_gauge.txtar", args: []string{"study gauge aiag.csv --tolerance 8 --out good",
			"study gauge aiag.csv --tolerance 5 --out poor"}},
		{name: "agreement", archive: "study_agreement.txtar", args: []string{"study agreement calls.csv --out calls",
			"study agreement noref.csv --out noref", "study agreement good.csv --out good"}},
		{name: "bias", archive: "study_bias.txtar", args: []string{"study bias pieces.csv --out pieces --variation 2.5",
			"study bias one.csv --out one", "study bias single.csv --out single"}},
		{name: "detection", archive: "study_detection.txtar", args: []string{"study detection truth results --out study",
			"study detection bliss.csv --scale size --out bliss", "study detection apart.csv --out apart"}},
		{name: "learn", make: func(t *testing.T, dir string) {
			data, err := os.ReadFile("../../internal/learn/testdata/drawn-pale.csv")
			if err == nil {
				err = os.WriteFile(filepath.Join(dir, "labels.csv"), data, 0o600)
			}
			if err != nil {
				t.Fatal(err)
			}
		}, args: []string{"learn fit --labels labels.csv --out learned"}},
		{name: "coach", make: func(t *testing.T, dir string) {
			if err := os.Rename(inventedWeeks(t), filepath.Join(dir, "weeks.db")); err != nil {
				t.Fatal(err)
			}
		}, args: []string{
			"coach --operator B17 --from 2026-03-01 --to 2026-06-01 --record weeks.db --out coach",
			"records shift --record weeks.db --from 2026-03-02 --to 2026-03-09 --out shift",
			"atlas --record weeks.db --units IMAGES --out atlas",
			"learn fit --record weeks.db --by AK --out learned",
		}},
	}
}
