package lang

import (
	"encoding/json"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

func languages(t testing.TB) *Languages {
	t.Helper()
	l, lacking, err := Load("")
	if err != nil {
		t.Fatal(err)
	}
	for tag, n := range lacking {
		t.Errorf("%s lacks %d keys", tag, n)
	}
	return l
}

var place = regexp.MustCompile(`\{[^}]*\}`)

// Each language has the same keys, and in each text the same places; a text of
// a list has at least the form "other".
func TestLanguagesAgree(t *testing.T) {
	l := languages(t)
	en := l.ByTag("en")
	if len(l.all) < 2 || l.all[0] != en {
		t.Fatalf("%d languages, English is not first", len(l.all))
	}
	places := func(f forms) []string {
		// Plural forms may leave the number out ("one"); "other" has all.
		all := place.FindAllString(f["other"], -1)
		slices.Sort(all)
		return slices.Compact(all)
	}
	for _, x := range l.all[1:] {
		for k := range x.text {
			if en.text[k] == nil {
				t.Errorf("%s has the key %s, which English has not", x.Tag, k)
			}
		}
		for k, f := range en.text {
			got := x.text[k]
			if got == nil {
				continue // counted by Load
			}
			if a, b := places(f), places(got); !slices.Equal(a, b) && !strings.HasPrefix(k, "sheet.") {
				t.Errorf("%s, %s: places %v, in English %v", x.Tag, k, b, a)
			}
			for form, s := range got {
				if strings.TrimSpace(s) == "" && !strings.HasPrefix(k, "join.") { // Chinese joins without a space
					t.Errorf("%s, %s, %s: empty", x.Tag, k, form)
				}
			}
		}
	}
}

// Texts that name other texts name such as there are.
func TestTextsWithinTexts(t *testing.T) {
	for _, x := range languages(t).all {
		for k, f := range x.text {
			for _, s := range f {
				for _, p := range place.FindAllString(s, -1) {
					if inner, ok := strings.CutPrefix(p, "{@"); ok && !x.Has(strings.TrimSuffix(inner, "}")) {
						t.Errorf("%s, %s names %s, which is not there", x.Tag, k, p)
					}
				}
			}
		}
	}
}

// Every text is named in the program. One that is put together of parts counts as
// named where each part is, so a few may stay that nothing shows any more.
func TestNoTextIsLeftOver(t *testing.T) {
	x := languages(t).ByTag("en")
	var said strings.Builder
	for _, root := range []string{"../../internal", "../../cmd"} {
		err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || strings.HasSuffix(path, "_test.go") || !slices.Contains([]string{".go", ".js", ".html"},
				filepath.Ext(path)) {
				return err
			}
			data, err := os.ReadFile(path)
			said.Write(data)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	src, within := wordsIn(said.String()), map[string]bool{}
	for _, f := range x.text {
		for _, s := range f {
			for _, p := range place.FindAllString(s, -1) {
				within[strings.Trim(p, "{@}")] = true
			}
		}
	}
	for k := range x.text {
		// A share of the budget is named by its English name (see TestEachShareHasItsName).
		if !within[k] && !src.names(k) && !strings.HasPrefix(k, "budget.part.") {
			t.Errorf("nothing names the text %s", k)
		}
	}
	if src.names("answer.no_such_text") || src.names("no_such_text") {
		t.Error("the search finds what is not there")
	}
}

// words are what stands in a source: whole literals, what follows a dot or an at
// sign to a literal's end, and what literals with a verb of fmt begin with.
type words struct{ quoted, ends, begun map[string]bool }

func wordsIn(src string) words {
	w := words{map[string]bool{}, map[string]bool{}, map[string]bool{}}
	for _, m := range regexp.MustCompile(`"([^"\n]*)"`).FindAllStringSubmatch(src, -1) {
		w.take(m[1])
	}
	// Quotes between two literals pair up as well, so that a lone one shifts nothing.
	for _, m := range regexp.MustCompile(`"([\w. ]+)(?:"|%)`).FindAllStringSubmatch(src, -1) {
		w.take(m[1])
	}
	for _, m := range regexp.MustCompile(`[\w.@]+"`).FindAllString(src, -1) {
		w.tails(strings.TrimSuffix(m, `"`))
	}
	return w
}

func (w words) take(s string) {
	w.quoted[s] = true
	if head, _, cut := strings.Cut(s, "%"); cut {
		w.begun[strings.TrimPrefix(head, "@")] = true
	}
	if strings.HasSuffix(s, ".") {
		w.begun[strings.TrimPrefix(s, "@")] = true
	}
	w.tails(s)
}

func (w words) tails(s string) {
	for i, c := range s {
		switch c {
		case '.':
			w.ends[s[i+1:]] = true
		case '@':
			w.quoted[s[i+1:]] = true
		}
	}
}

// names says whether a source has a key, or a beginning of it up to a dot and
// each part after that.
func (w words) names(key string) bool {
	ends := func(s string) bool { return w.quoted[s] || w.ends[s] }
	part := func(s string) bool {
		_, err := strconv.Atoi(s)
		head, tail, cut := strings.Cut(s, "_")
		return err == nil || ends(s) || ends(strings.ReplaceAll(s, "_", " ")) || cut && w.quoted[head+"_"] && ends(tail)
	}
	if w.quoted[key] {
		return true
	}
	if i := strings.LastIndex(key, "_"); i > 0 && w.quoted[key[:i]] && w.quoted[key[i:]] {
		return true
	}
	parts := strings.Split(key, ".")
	for i := 1; i < len(parts); i++ {
		begun := false
		for j := range i { // a page's own words may be told without the page's name
			begun = begun || w.begun[strings.Join(parts[j:i], ".")+"."]
		}
		if begun && (ends(strings.Join(parts[i:], ".")) || !slices.ContainsFunc(parts[i:], func(s string) bool { return !part(s) })) {
			return true
		}
	}
	return false
}

// What a device says stays as it is, even where it looks like a key.
func TestDeviceWordsStay(t *testing.T) {
	l, _, err := Load("")
	if err != nil {
		t.Fatal(err)
	}
	x := l.Choose("en", "")
	for value, want := range map[string]string{"@#!?": "@#!?", "@view.nothing": "@view.nothing", "@view.edge": x.T("view.edge")} {
		if got := x.T("trouble.other", "detail", value); got != want {
			t.Errorf("%q is shown as %q, want %q", value, got, want)
		}
	}
}

func TestNumbers(t *testing.T) {
	x := languages(t).ByTag("en")
	for _, c := range []struct {
		v    float64
		d    int
		want string
	}{{92.4, 0, "92"}, {0.305, 2, "0.30"}, {-12, 0, "-12"}, {1234.5, 1, "1,234.5"}, {math.NaN(), 1, "not measured"}, {math.Inf(1), 1,
		"not measured"}} {
		if got := strings.ReplaceAll(x.Number(c.v, c.d), "−", "-"); got != c.want && !(c.v == 0.305 && got == "0.31") {
			t.Errorf("%g: %q, %q wanted", c.v, got, c.want)
		}
	}
}

func TestPluralForms(t *testing.T) {
	x := languages(t).ByTag("en")
	if one, two := x.T("ready.count", "n", "1"), x.T("ready.count", "n",
		"2"); one != "1 unit since the start" || two != "2 units since the start" {
		t.Error(one, two)
	}
}

// A further language comes from a folder; what it lacks is English.
func TestFurtherLanguage(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write("de.json", `{"language":"Deutsch","verdict.pass":"GUT","ready.count":{"one":"{n} Stück","other":"{n} Stücke"}}`)
	l, lacking, err := Load(dir)
	if err != nil || lacking["de"] < 100 {
		t.Fatal(err, lacking)
	}
	de := l.Choose("", "fr, de-AT;q=0.8, en;q=0.1")
	if de.Tag != "de" || de.T("verdict.pass") != "GUT" || de.T("verdict.reject") != "REJECT" || de.T("ready.count", "n", "1") != "1 Stück" {
		t.Errorf("%s: %s, %s", de.Tag, de.T("verdict.pass"), de.T("verdict.reject"))
	}
	if x := l.Choose("", "zh-CN,zh;q=0.9"); x.Tag != "zh-Hans" {
		t.Errorf("zh-CN got %s", x.Tag)
	}
	if x := l.Choose("", "fr"); x.Tag != "en" {
		t.Errorf("fr got %s", x.Tag)
	}
	for name, text := range map[string]string{"xx-not-a-tag-at-all.json": `{"language":"x"}`, "it.json": `{"verdict.pass":"x"}`,
		"es.json": `{`, "pt.json": `{"language":"p","a":{"one":"x"}}`} {
		bad := t.TempDir()
		if err := os.WriteFile(filepath.Join(bad, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		if _, _, err := Load(bad); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// The files are tidy: JSON objects without doubled keys.
func TestNoDoubledKeys(t *testing.T) {
	names, _ := fs.Glob(langFiles, "*.json")
	for _, n := range names {
		data, err := langFiles.ReadFile(n)
		if err != nil {
			t.Fatal(err)
		}
		d := json.NewDecoder(strings.NewReader(string(data)))
		seen, depth, key := map[string]bool{}, 0, true
		for {
			tok, err := d.Token()
			if err != nil {
				break
			}
			switch v := tok.(type) {
			case json.Delim:
				if v == '{' {
					depth++
					key = true
				} else {
					depth--
					key = true
				}
			case string:
				if depth == 1 && key {
					if seen[v] {
						t.Errorf("%s has %s twice", n, v)
					}
					seen[v] = true
					key = false
				} else if depth == 1 {
					key = true
				}
			}
		}
	}
}
