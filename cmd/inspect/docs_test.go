package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode"
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

// The README is read at a workbench: 7 kB, by the issue that asked for it.
func TestReadmeIsShort(t *testing.T) {
	if n := len(must(os.ReadFile("../../README.md"))); n > 7168 {
		t.Errorf("README.md has %d bytes, at most 7168 are wanted", n)
	}
}

var (
	docLink    = regexp.MustCompile(`\]\(([^)\s]+)\)`)
	docHeading = regexp.MustCompile(`(?m)^#+ +(.*)$`)
	docCode    = regexp.MustCompile("`((?:bin/)?inspect [^`]+)`")
	docLine    = regexp.MustCompile(`^(?:    |\t)?(?:bin/)?inspect( .*)?$`)
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
		if words := cmd.Flags().Args(); cmd.HasSubCommands() && !cmd.Flags().Changed("help") && len(words) > 0 && strings.ToLower(words[0]) == words[0] && cmd.ValidateArgs(words) != nil {
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
	for _, bad := range []string{"inspect unti u --out o", "inspect unit u --outt o", "inspect unit --out o", "inspect study gouge a.csv", "inspect scale a.png --cols many",
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
