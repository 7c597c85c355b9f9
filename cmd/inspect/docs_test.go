package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode"

	"finishbench/internal/cli"
)

// docFiles are the README, what it leads to, and DEVELOPERS.md.
func docFiles(t *testing.T) []string {
	t.Helper()
	files := append([]string{"../../README.md", "../../DEVELOPERS.md"}, must(filepath.Glob("../../docs/*.md"))...)
	if len(files) < 8 {
		t.Fatalf("only %q", files)
	}
	return files
}

// The README is read at a workbench, DEVELOPERS.md at one sitting: 7 kB and 12 kB, by the issue that asked for it.
func TestReadmesAreShort(t *testing.T) {
	for file, most := range map[string]int{"README.md": 7168, "DEVELOPERS.md": 12000} {
		if n := len(must(os.ReadFile("../../" + file))); n > most {
			t.Errorf("%s has %d bytes, at most %d are wanted", file, n, most)
		}
	}
}

var (
	docLink    = regexp.MustCompile(`\]\(([^)\s]+)\)`)
	docHeading = regexp.MustCompile(`(?m)^#+ +(.*)$`)
	docCode    = regexp.MustCompile("`((?:bin/)?inspect [^`]+)`")
	docLine    = regexp.MustCompile(`^\s*(?:bin/)?inspect( .*)?$`)
	docDrawing = regexp.MustCompile(` --{2,} `) // in DEVELOPERS.md: what a command leads to
)

// Every link leads to a file that is there, and to a heading in it.
func TestDocLinks(t *testing.T) {
	for _, file := range docFiles(t) {
		for _, m := range docLink.FindAllStringSubmatch(string(must(os.ReadFile(file))), -1) {
			to, at, _ := strings.Cut(m[1], "#")
			if strings.HasPrefix(to, "https:") || strings.HasPrefix(to, "http:") {
				continue
			}
			path := file
			if to != "" {
				path = filepath.Join(filepath.Dir(file), filepath.FromSlash(to))
			}
			text, err := os.ReadFile(path)
			if err != nil {
				if info, e := os.Stat(path); e != nil || !info.IsDir() {
					t.Errorf("%s leads to %s: %v", file, m[1], err)
				}
				continue
			}
			found := at == ""
			for _, h := range docHeading.FindAllStringSubmatch(string(text), -1) {
				found = found || headingID(h[1]) == at
			}
			if !found {
				t.Errorf("%s leads to %s, where no such heading is", file, m[1])
			}
		}
	}
}

// headingID is what pages call a heading: small letters, figures and hyphens.
func headingID(heading string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == ' ':
			return '-'
		case r == '-' || r == '_' || unicode.IsLetter(r) || unicode.IsDigit(r):
			return unicode.ToLower(r)
		}
		return -1
	}, heading)
}

// docCommands are the command lines in a text: whole ones, indented or fenced, and those in
// the run of a sentence, which may lack arguments.
func docCommands(text string) (whole, named []string) {
	fenced := false
	for line := range strings.Lines(text) {
		line = strings.TrimRight(line, "\n")
		if strings.HasPrefix(line, "```") {
			fenced = !fenced
		} else if docDrawing.MatchString(line) {
			continue
		} else if docLine.MatchString(line) && (fenced || line[0] == ' ' || line[0] == '\t') {
			whole = append(whole, strings.TrimSpace(line))
		} else {
			for _, m := range docCode.FindAllStringSubmatch(line, -1) {
				named = append(named, m[1])
			}
		}
	}
	return whole, named
}

// wordsOfLine splits a line as a shell does, without its comment and what it is sent into.
func wordsOfLine(line string) []string {
	var words []string
	var quote rune
	word, in := "", false
	for _, r := range line + " " {
		switch {
		case quote != 0 && r == quote:
			quote = 0
		case quote != 0:
			word += string(r)
		case r == '"' || r == '\'':
			quote, in = r, true
		case r != ' ':
			word, in = word+string(r), true
		case in:
			if word == "#" || word == ">" || word == "|" {
				return words
			}
			words, word, in = append(words, word), "", false
		}
	}
	return words
}

// parseLine says what the program's own command line has against a line: a command or an option
// that there is not, a value that is none and, with whole, arguments that are missing or too many.
func parseLine(line string, whole bool) error {
	args := wordsOfLine(line)[1:]
	root := newRootCommand()
	cmd, rest, err := root.Find(args)
	if err != nil {
		return err
	}
	cmd.InitDefaultHelpFlag()
	if err := cmd.ParseFlags(rest); err != nil {
		return err
	}
	if cmd == root && len(args) > 0 && !cmd.Flags().Changed("help") {
		return fmt.Errorf("no command")
	}
	if !whole {
		if words := cmd.Flags().Args(); cmd.HasSubCommands() && !cmd.Flags().Changed("help") && len(words) > 0 &&
			strings.ToLower(words[0]) == words[0] && cmd.ValidateArgs(words) != nil {
			return cmd.ValidateArgs(words)
		}
		return nil
	}
	if err := cmd.ValidateArgs(cmd.Flags().Args()); err != nil {
		return err
	}
	return cmd.ValidateRequiredFlags()
}

// Every command line that README, DEVELOPERS.md and docs show is one that the program takes.
func TestDocCommands(t *testing.T) {
	for _, bad := range []string{"inspect unti u --out o", "inspect unit u --outt o", "inspect unit --out o", "inspect study gouge a.csv",
		"inspect scale a.png --cols many",
		"inspect version now", "inspect records shft --record b.db"} {
		if parseLine(bad, true) == nil {
			t.Errorf("%q is taken, though it is wrong: this test tells nothing", bad)
		}
	}
	n := 0
	for _, file := range docFiles(t) {
		whole, named := docCommands(string(must(os.ReadFile(file))))
		for _, line := range whole {
			n++
			if err := parseLine(line, true); err != nil {
				t.Errorf("%s: %s: %v", filepath.Base(file), line, err)
			}
		}
		for _, line := range named {
			n++
			if err := parseLine(line, false); err != nil {
				t.Errorf("%s: %s: %v", filepath.Base(file), line, err)
			}
		}
	}
	if n < 80 {
		t.Errorf("only %d command lines were found", n)
	}
}

// What is cheap and wants nothing but testdata is run, in this order, as it stands in README or docs; the
// others were parsed above, and have tests of their own.
func TestDocCommandsRun(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a few seconds")
	}
	lines := map[string]bool{}
	for _, file := range docFiles(t) {
		whole, named := docCommands(string(must(os.ReadFile(file))))
		for _, line := range append(whole, named...) {
			lines[strings.Join(wordsOfLine(line)[1:], " ")] = true
		}
	}
	images := must(filepath.Abs("../../testdata"))
	t.Chdir(t.TempDir())
	if err := os.Symlink(images, "testdata"); err != nil {
		t.Fatal(err)
	}
	var serials, readings strings.Builder
	for i := range 500 {
		fmt.Fprintf(&serials, "u%04d-L\n", i)
	}
	readings.WriteString("part,appraiser,trial,value\n") // invented: parts 10 apart, read to 0.1
	for i := range 40 {
		fmt.Fprintf(&readings, "%d,%c,%d,%.1f\n", i/4, 'A'+i/2%2, i%2, float64(10*(i/4))+0.1*float64(i*7%3))
	}
	for name, text := range map[string]string{"serials.txt": serials.String(), "readings.csv": readings.String()} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		code int
		line string
	}{
		{cli.ExitPass, `inspect version`},
		{cli.ExitPass, `inspect bench label P-01-L P-01-R --out labels.pdf`},
		{cli.ExitFails, `bin/inspect unit testdata/images/u06-R --out results --mm-per-px 0.015`},
		{cli.ExitFails, `bin/inspect unit testdata/images/u06-R --out results --mm-per-px 0.015 --record bench.db --operator B17`},
		{cli.ExitPass, `inspect records shift --record bench.db --out results`},
		{cli.ExitPass, `inspect records backup monday.db --record bench.db`},
		{cli.ExitPass, `inspect records restore monday.db --record new.db`},
		{cli.ExitPass, `inspect records check --record bench.db`},
		{cli.ExitPass, `inspect records export --record bench.db --format trail --out trail.jsonl`},
		{cli.ExitPass, `inspect records check --trail trail.jsonl --record bench.db`},
		{cli.ExitPass, `inspect records export --record bench.db --format csv`},
		{cli.ExitPass, `inspect learn label u06-R 3 dust --by AK --record bench.db`},
		{cli.ExitPass, `inspect learn list --record bench.db`},
		{cli.ExitFails, `inspect learn fit --record bench.db --by AK --out learned`}, // one label is too little, and is refused
		{cli.ExitPass, `inspect coach --operator B17 --record bench.db --out results`},
		{cli.ExitPass, `bin/inspect atlas wall --stage wet --out atlas`},
		{cli.ExitPass, `bin/inspect lot plan --size 500`},
		{cli.ExitPass, `inspect lot plan 31 --size 500 --by "inspector 2" --record bench.db`},
		{cli.ExitPass, `inspect lot draw 31 --serials serials.txt --by "inspector 2" --record bench.db`},
		{cli.ExitPass, `inspect lot design --good 1 --producer 5 --bad 6.5 --consumer 10`},
		{cli.ExitPass, `inspect lot design --zero --bad 1 --consumer 5 --size 500`},
		{cli.ExitPass, `inspect check checks.csv --value 41.3`},
		{cli.ExitPass, `inspect check checks.csv --dealt-with "name: cleaned the lens"`},
		{cli.ExitPass, `inspect study gauge readings.csv --tolerance 60`},
		{cli.ExitPass, `inspect records forget --older-than 90 --record bench.db`},
		{cli.ExitPass, `inspect records erase B17 --record bench.db`},
	} {
		words := wordsOfLine(c.line)
		if !lines[strings.Join(words[1:], " ")] {
			t.Errorf("no text shows %q any more", c.line)
			continue
		}
		if code, stdout, stderr := runCode(t, words[1:]...); code != c.code {
			t.Errorf("%s: exit code %d, want %d\n%s%s", c.line, code, c.code, stdout, stderr)
		}
	}
	var r map[string]any
	readJSON(t, filepath.Join("results", "u06-R", "result.json"), &r)
}
