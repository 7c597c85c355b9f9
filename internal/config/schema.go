package config

import (
	"fmt"
	"math"
	"reflect"
	"regexp"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

// schema compares a file with the type that it is to fill.
type schema struct {
	wrong []Wrong
	lines map[string]int // key path to line
}

func newSchema() *schema { return &schema{lines: map[string]int{}} }

// check walks the file's top mapping along the type of out, a pointer to a
// struct.
func (s *schema) check(root *yaml.Node, out any) {
	t := reflect.TypeOf(out).Elem()
	s.mapping(root, t, "")
	if _, ok := s.lines["version"]; !ok && len(s.wrong) == 0 {
		s.addf(root.Line, "version", "is missing: write version: 1")
	}
}

func (s *schema) addf(line int, key, format string, a ...any) {
	s.wrong = append(s.wrong, Wrong{Line: line, Key: key, What: fmt.Sprintf(format, a...)})
}

// value checks one node against a type.
func (s *schema) value(n *yaml.Node, t reflect.Type, key string) {
	s.lines[key] = n.Line
	if n.Kind == yaml.AliasNode || n.Anchor != "" {
		s.addf(n.Line, key, "anchors (&) and aliases (*) are not used here: write the value out")
		return
	}
	if n.ShortTag() == "!!null" {
		s.addf(n.Line, key, "has no value")
		return
	}
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch t.Kind() {
	case reflect.Struct:
		s.mapping(n, t, key)
	case reflect.Slice:
		if n.Kind != yaml.SequenceNode {
			s.addf(n.Line, key, "wants a list, such as [a, b], not %s", describe(n))
			return
		}
		for i, item := range n.Content {
			s.value(item, t.Elem(), fmt.Sprintf("%s[%d]", key, i))
		}
	case reflect.String:
		s.scalar(n, key, "a word", n.ShortTag() == "!!str")
	case reflect.Bool:
		s.scalar(n, key, "true or false", n.ShortTag() == "!!bool")
	case reflect.Int:
		s.number(n, key, "a whole number", wholeNumber)
	case reflect.Float64:
		s.number(n, key, "a number", decimalNumber)
	default:
		panic(fmt.Sprintf("config: %s: no rule for Go type %s", key, t)) // the program's own mistake
	}
}

// mapping checks the keys of one mapping against the fields of a struct.
func (s *schema) mapping(n *yaml.Node, t reflect.Type, key string) {
	if n.Kind != yaml.MappingNode {
		s.addf(n.Line, key, "wants keys with values, such as {%s: ...}, not %s", t.Field(0).Tag.Get("mapstructure"), describe(n))
		return
	}
	fields, names := map[string]reflect.Type{}, []string{}
	for i := range t.NumField() {
		name := t.Field(i).Tag.Get("mapstructure")
		fields[name] = t.Field(i).Type
		names = append(names, name)
	}
	seen := map[string]int{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		path := join(key, printable(k.Value))
		ft, ok := fields[k.Value]
		switch {
		case k.Kind != yaml.ScalarNode || k.Anchor != "":
			s.addf(k.Line, key, "has a key that is not a plain word")
		case !ok:
			s.addf(k.Line, path, "no such key; %s", suggest(k.Value, names))
		case seen[k.Value] > 0:
			s.addf(k.Line, path, "is there twice, first on line %d", seen[k.Value])
		default:
			seen[k.Value] = k.Line
			s.value(v, ft, path)
		}
	}
	for _, name := range names {
		if fields[name].Kind() == reflect.Bool && seen[name] == 0 {
			s.addf(n.Line, join(key, name), "is missing: write true or false")
		}
	}
}

func (s *schema) scalar(n *yaml.Node, key, want string, ok bool) {
	if n.Kind != yaml.ScalarNode || !ok {
		s.addf(n.Line, key, "wants %s, not %s", want, describe(n))
	}
}

// How numbers are written: plain decimals, nothing that YAML would read as
// octal, hexadecimal or a date.
var (
	wholeNumber   = regexp.MustCompile(`^[-+]?[0-9]+$`)
	decimalNumber = regexp.MustCompile(`^[-+]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][-+]?[0-9]+)?$`)
	leadingZero   = regexp.MustCompile(`^[-+]?0[0-9]`)
)

func (s *schema) number(n *yaml.Node, key, want string, form *regexp.Regexp) {
	tag := n.ShortTag()
	if n.Kind != yaml.ScalarNode || (tag != "!!int" && tag != "!!float") {
		s.addf(n.Line, key, "wants %s, not %s", want, describe(n))
		return
	}
	if leadingZero.MatchString(n.Value) {
		s.addf(n.Line, key, "%s would be read as an octal number: write it without the leading zero", n.Value)
		return
	}
	v, err := strconv.ParseFloat(n.Value, 64)
	if !form.MatchString(n.Value) || err != nil || math.Abs(v) > 1e15 {
		s.addf(n.Line, key, "wants %s, not %s", want, describe(n))
	}
}

// line is where a key stands; for a key that is missing, where the nearest thing
// around it stands.
func (s *schema) line(key string) int {
	for key != "" {
		if n, ok := s.lines[key]; ok {
			return n
		}
		key = key[:max(strings.LastIndexAny(key, ".["), 0)]
	}
	return 0
}

func join(key, name string) string {
	if key == "" {
		return name
	}
	return key + "." + name
}

// describe says what stands there instead.
func describe(n *yaml.Node) string {
	switch n.Kind {
	case yaml.MappingNode:
		return "keys with values"
	case yaml.SequenceNode:
		return "a list"
	}
	switch n.ShortTag() {
	case "!!str":
		return "the text " + strconv.Quote(printable(n.Value))
	case "!!null":
		return "nothing"
	}
	return printable(n.Value)
}

// printable keeps a message on one short line.
func printable(s string) string {
	const most = 40
	out := []rune{}
	for _, r := range s {
		if !strconv.IsPrint(r) {
			r = '?'
		}
		if out = append(out, r); len(out) == most {
			return string(out) + "..."
		}
	}
	return string(out)
}
