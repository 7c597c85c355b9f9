// Package lang says each sentence of the bench and of the pages in the reader's
// language. A sentence is a [Phrase]: a key of the language files and what goes into
// its places, so that no finished sentence crosses the packages that measure.
package lang

import (
	"embed"
	"encoding/json"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
	"golang.org/x/text/message"
	"golang.org/x/text/number"
)

//go:embed *.json */*.json
var langFiles embed.FS

// langFolders hold the words of pages of their own.
var langFolders = []string{"sheet", "lot", "atlas", "quiz", "learn", "light", "unit", "gauge", "plan"}

// Lang is one language: a file <tag>.json of keys and texts. In a text,
// {name} is a place for an argument, {@key} another text of the same file. A
// text that depends on a number is an object of plural forms (CLDR: one, other
// and so on), chosen by the argument n.
type Lang struct {
	Tag      string
	Name     string // what its speakers call it
	tag      language.Tag
	text     map[string]forms
	fallback *Lang // English, for keys that an added language lacks; nil for English
	printer  *message.Printer
	point    string // its decimal sign
}

// forms are a text's plural forms; only "other" where it has none.
type forms map[string]string

func (f *forms) UnmarshalJSON(b []byte) error {
	var s string
	if json.Unmarshal(b, &s) == nil {
		*f = forms{"other": s}
		return nil
	}
	var m map[string]string
	if err := json.Unmarshal(b, &m); err != nil {
		return fmt.Errorf("a text is a string, or an object of plural forms")
	}
	if m["other"] == "" {
		return fmt.Errorf("plural forms need the form \"other\"")
	}
	*f = m
	return nil
}

// Languages are those that the page can be shown in, English first.
type Languages struct {
	all     []*Lang
	matcher language.Matcher
}

// Load reads the shipped languages, and those of a folder where dir is
// not "". A file of the folder goes before a shipped one of the same name.
// lacking tells, for each added language, how many keys it takes from English.
func Load(dir string) (l *Languages, lacking map[string]int, err error) {
	return load(dir, pageUnits)
}

func load(dir string, units func(forms) forms) (l *Languages, lacking map[string]int, err error) {
	l, lacking = &Languages{}, map[string]int{}
	if err := l.read(langFiles, "."); err != nil {
		return nil, nil, err
	}
	for _, dir := range langFolders {
		if err := l.more(langFiles, dir); err != nil {
			return nil, nil, err
		}
	}
	if dir != "" {
		if err := l.read(os.DirFS(dir), "."); err != nil {
			return nil, nil, fmt.Errorf("languages in %s: %w", dir, err)
		}
	}
	en := l.ByTag("en")
	slices.SortStableFunc(l.all, func(a, b *Lang) int {
		if (a == en) != (b == en) {
			return map[bool]int{true: -1, false: 1}[a == en]
		}
		return strings.Compare(a.Tag, b.Tag)
	})
	var tags []language.Tag
	for _, x := range l.all {
		tags = append(tags, x.tag)
		for k, f := range x.text {
			x.text[k] = units(f)
		}
		if x == en {
			continue
		}
		x.fallback = en
		for k := range en.text {
			if x.text[k] == nil {
				lacking[x.Tag]++
			}
		}
	}
	l.matcher = language.NewMatcher(tags)
	return l, lacking, nil
}

func (l *Languages) read(files fs.FS, dir string) error {
	names, err := fs.Glob(files, path.Join(dir, "*.json"))
	if err != nil {
		return err
	}
	if len(names) == 0 {
		return fmt.Errorf("no language file (<tag>.json, such as de.json)")
	}
	for _, name := range names {
		data, err := fs.ReadFile(files, name)
		if err != nil {
			return err
		}
		x, err := parseLang(strings.TrimSuffix(path.Base(name), ".json"), data)
		if err != nil {
			return fmt.Errorf("%s: %w", path.Base(name), err)
		}
		if i := slices.IndexFunc(l.all, func(o *Lang) bool { return o.Tag == x.Tag }); i >= 0 {
			l.all[i] = x
		} else {
			l.all = append(l.all, x)
		}
	}
	return nil
}

// more adds the texts of further files to the languages of the same names, which
// go on as they are where they have a key already: the words of the shift sheet and
// of lots.
func (l *Languages) more(files fs.FS, dir string) error {
	for _, x := range l.all {
		data, err := fs.ReadFile(files, path.Join(dir, x.Tag+".json"))
		if err != nil {
			return err
		}
		var text map[string]forms
		if err := json.Unmarshal(data, &text); err != nil {
			return fmt.Errorf("%s/%s.json: %w", dir, x.Tag, err)
		}
		for k, f := range text {
			if x.text[k] == nil {
				x.text[k] = f
			}
		}
	}
	return nil
}

func parseLang(name string, data []byte) (*Lang, error) {
	tag, err := language.Parse(name)
	if err != nil {
		return nil, fmt.Errorf("%q is no language tag (BCP 47), such as en, de or zh-Hans", name)
	}
	x := &Lang{Tag: name, tag: tag, printer: message.NewPrinter(tag)}
	if err := json.Unmarshal(data, &x.text); err != nil {
		return nil, err
	}
	if x.text["language"] == nil {
		return nil, fmt.Errorf("the key \"language\", the language's own name, is missing")
	}
	x.Name = x.text["language"]["other"]
	x.point = strings.Trim(x.printer.Sprint(number.Decimal(1.5)), "15")
	return x, nil
}

// ByTag is the language of a tag as its file is named; nil where there is none.
func (l *Languages) ByTag(tag string) *Lang {
	for _, x := range l.all {
		if x.Tag == tag {
			return x
		}
	}
	return nil
}

// All are the languages, English first.
func (l *Languages) All() []*Lang { return l.all }

// Choose picks the language: the one asked for by its tag, else the one that
// fits best what a browser accepts, else English.
func (l *Languages) Choose(tag, accept string) *Lang {
	if x := l.ByTag(tag); x != nil {
		return x
	}
	want, _, err := language.ParseAcceptLanguage(accept)
	if err != nil || len(want) == 0 {
		return l.all[0]
	}
	_, i, c := l.matcher.Match(want...)
	if c == language.No {
		return l.all[0]
	}
	return l.all[i]
}

// Han says whether this language is written in Chinese characters.
func (x *Lang) Han() bool {
	s, _ := x.tag.Script()
	return strings.HasPrefix(s.String(), "Han")
}

// Has says whether there is a text of this key.
func (x *Lang) Has(key string) bool { return x.find(key) != nil }

func (x *Lang) find(key string) forms {
	if f := x.text[key]; f != nil {
		return f
	}
	if x.fallback != nil {
		return x.fallback.text[key]
	}
	return nil
}

// maxDepth keeps texts that name each other from going round.
const maxDepth = 4

// T is the text of a key. args are names and values in turn; a value that
// begins with @ is a key itself.
func (x *Lang) T(key string, args ...string) string {
	m := make(map[string]string, len(args)/2)
	for i := 0; i+1 < len(args); i += 2 {
		m[args[i]] = args[i+1]
	}
	return x.fill(key, m, 0)
}

func (x *Lang) fill(key string, args map[string]string, depth int) string {
	f := x.find(key)
	if f == nil || depth > maxDepth {
		return key // seen by a person, and by the tests
	}
	s := f["other"]
	if len(f) > 1 {
		if t, ok := f[x.form(args["n"])]; ok {
			s = t
		}
	}
	var b strings.Builder
	for {
		head, rest, ok := strings.Cut(s, "{")
		b.WriteString(head)
		if !ok {
			return b.String()
		}
		name, tail, ok := strings.Cut(rest, "}")
		if !ok {
			b.WriteString("{" + rest)
			return b.String()
		}
		s = tail
		if k, ok := strings.CutPrefix(name, "@"); ok {
			b.WriteString(x.fill(k, args, depth+1))
			continue
		}
		v := args[name]
		if k, ok := strings.CutPrefix(v, "@"); ok && x.find(k) != nil { // else it is what a device or a person wrote
			v = x.fill(k, nil, depth+1)
		}
		b.WriteString(v)
	}
}

// form is the plural form of a whole number in this language.
func (x *Lang) form(n string) string {
	v, err := strconv.Atoi(n)
	if err != nil || v < 0 {
		return "other"
	}
	f := plural.Cardinal.MatchPlural(x.tag, v, 0, 0, 0, 0)
	return [...]string{plural.Other: "other", plural.Zero: "zero", plural.One: "one", plural.Two: "two", plural.Few: "few",
		plural.Many: "many"}[f]
}

// Number writes a number with so many decimals; NaN is "not measured".
func (x *Lang) Number(v float64, decimals int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return x.T("not_measured")
	}
	if v == 0 {
		v = 0 // no minus before a nought
	}
	s := x.printer.Sprint(number.Decimal(v, number.MinFractionDigits(decimals), number.MaxFractionDigits(decimals)))
	return strings.ReplaceAll(s, "-", "−") // a minus, not a hyphen, as elsewhere
}
